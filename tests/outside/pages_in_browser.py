"""Opens exported pages in a real browser, at a desk's and a telephone's width and printed on A4, and checks what only a
browser knows: nothing is loaded, no script fails, nothing runs over the edge, no words of a figure lie on each other or
outside it, everything is reached by the keyboard, sliders answer to keys, and the rules of axe-core 4 (WCAG 2.2 A and AA).

Run:  python tests/outside/pages_in_browser.py PAGE.html... [--pictures FOLDER]
Needs the packages of tests/outside/requirements.txt and a Chromium, named by the variable CHROMIUM or found on the path.
"""

import argparse
import pathlib
import sys

from axe_playwright_python.sync_playwright import Axe
from browser import launch
from playwright.sync_api import sync_playwright

WIDTHS = (1280, 390)
# Axe's "best practice" rules are opinions; these tags are the standard.
STANDARD = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}

# Elements that stand out of the page to the right, other than inside something that scrolls by itself.
OVER_THE_EDGE = """() => {
  const scrolls = e => { for (let p = e.parentElement; p && p !== document.body; p = p.parentElement)
    { const o = getComputedStyle(p).overflowX; if (o === 'auto' || o === 'scroll' || o === 'hidden') return true; } return false; };
  const found = [...document.querySelectorAll('main *, header *, footer *, nav *')].filter(e => {
    const box = e.getBoundingClientRect();
    return box.width > 0 && box.right > innerWidth + 1 && !scrolls(e) && !e.closest('svg svg, .skip'); });
  if (document.documentElement.scrollWidth > innerWidth + 1) found.push(document.documentElement);
  return found.slice(0, 5).map(e => e.tagName + '.' + (e.getAttribute('class') || '') + ' to ' + Math.round(e.getBoundingClientRect().right));
}"""

# Words of one drawing that lie on each other, or stick out of it. A pixel of touch is allowed: boxes are taller than letters.
WORDS_OF_DRAWINGS = """() => {
  const found = [];
  for (const svg of document.querySelectorAll('main svg:not([aria-hidden])')) {
    const frame = svg.getBoundingClientRect();
    if (frame.width === 0) continue;
    const texts = [...svg.querySelectorAll('text')].filter(t => {
      const s = getComputedStyle(t), b = t.getBoundingClientRect();
      return t.textContent.trim() && b.width > 0 && s.visibility !== 'hidden' && s.opacity !== '0' && s.display !== 'none'; });
    const boxes = texts.map(t => t.getBoundingClientRect());
    const name = (svg.querySelector('title') || {}).textContent || svg.getAttribute('aria-label') || 'drawing';
    texts.forEach((t, i) => {
      const a = boxes[i];
      if (a.left < frame.left - 1 || a.right > frame.right + 1 || a.top < frame.top - 1 || a.bottom > frame.bottom + 1)
        found.push(name + ': "' + t.textContent.trim() + '" sticks out');
      for (let j = i + 1; j < texts.length; j++) {
        const b = boxes[j];
        const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (across > 1 && down > 0.25 * Math.min(a.height, b.height))
          found.push(name + ': "' + t.textContent.trim() + '" lies on "' + texts[j].textContent.trim() + '"');
      }
    });
  }
  return found;
}"""

REACHABLE = """() => [...document.querySelectorAll('a[href], summary, input:not([disabled]), button, select, [tabindex="0"]')]
  .filter(e => e.checkVisibility({contentVisibilityAuto: true, visibilityProperty: true}) && !e.closest('details:not([open]) > :not(summary)'))
  .filter(e => !(e.type === 'radio' && !e.checked)).length"""


def reached_by_tab(page, wanted):
    """How many different elements the Tab key visits."""
    page.evaluate("() => { window.visited = new Set(); document.activeElement.blur(); }")
    for _ in range(wanted + 3):
        page.keyboard.press("Tab")
        page.evaluate("() => { if (document.activeElement !== document.body) window.visited.add(document.activeElement); }")
    return page.evaluate("() => window.visited.size")


def sliders(page):
    """Sliders that do not answer to the arrow keys with a change of what is shown beside them."""
    deaf = []
    for n, slider in enumerate(page.locator("main input[type=range]").all()):
        if not slider.is_visible():
            continue
        shown = "e => (e.closest('.rich') || e.parentElement).innerHTML + getComputedStyle(e.closest('.rich') || e).cssText"
        before = slider.evaluate(shown)
        slider.focus()
        for key in ("ArrowRight", "End", "Home"):
            page.keyboard.press(key)
            if slider.evaluate(shown) != before:
                break
        else:
            deaf.append(f"slider {n + 1} changes nothing")
    return deaf


def look(browser, path, pictures):
    """All complaints about one page."""
    faults = []
    for width in WIDTHS:
        page = browser.new_page(viewport={"width": width, "height": 900})
        loads, said = [], []
        page.on("request", lambda request: loads.append(request.url))
        page.on("console", lambda message: said.append(message.text) if message.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(path.resolve().as_uri())
        if pictures:
            page.screenshot(path=pictures / f"{path.stem}-{width}.png", full_page=True)
        faults += [f"{width} px: over the edge: {what}" for what in page.evaluate(OVER_THE_EDGE)]
        if width == WIDTHS[0]:
            faults += page.evaluate(WORDS_OF_DRAWINGS)
            wanted = page.evaluate(REACHABLE)
            reached = reached_by_tab(page, wanted)
            if reached < wanted:
                faults.append(f"the Tab key reaches {reached} of {wanted} elements")
            faults += sliders(page)
        for rule in Axe().run(page, options=STANDARD).response["violations"]:
            where = rule["nodes"][0]
            faults.append(f"{width} px: {rule['id']}: {rule['help']}: {where['html'][:150]} ({len(rule['nodes'])} places)")
        # Answers and folded code must hold the edge too, once they are opened.
        page.evaluate("() => document.querySelectorAll('details').forEach(d => d.open = true)")
        faults += [f"{width} px, unfolded: over the edge: {what}" for what in page.evaluate(OVER_THE_EDGE)]
        faults += [f"loads {url}" for url in loads if url != path.resolve().as_uri() and not url.startswith("data:")]
        faults += [f"the browser says: {what}" for what in said]
        page.close()
    page = browser.new_page(viewport={"width": 673, "height": 990})  # A4 less the page's own margins, at 96 dots an inch
    page.goto(path.resolve().as_uri())
    page.emulate_media(media="print")
    faults += [f"printed: over the edge: {what}" for what in page.evaluate(OVER_THE_EDGE)]
    tall = page.evaluate("() => [...document.querySelectorAll('figure, .formula, .slip')].filter(e => e.getBoundingClientRect().height > innerHeight)"
                         ".map(e => e.className + ' ' + Math.round(e.getBoundingClientRect().height) + ' px')")
    faults += [f"printed: taller than a page: {what}" for what in tall]
    if pictures:
        page.pdf(path=pictures / f"{path.stem}.pdf", prefer_css_page_size=True, print_background=True)
    page.close()
    return faults


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pages", nargs="+", type=pathlib.Path)
    parser.add_argument("--pictures", type=pathlib.Path, help="folder for screenshots and the printed page")
    wanted = parser.parse_args()
    if wanted.pictures:
        wanted.pictures.mkdir(parents=True, exist_ok=True)
    bad = 0
    with sync_playwright() as play:
        browser = launch(play)
        for path in wanted.pages:
            faults = look(browser, path, wanted.pictures)
            bad += bool(faults)
            print(f"{path}: {'good' if not faults else ''}")
            for fault in faults:
                print(f"  {fault}")
        browser.close()
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
