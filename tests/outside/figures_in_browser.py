"""Opens figures and their slider in a real browser and checks what only a browser knows: no words lie on each other or
outside their figure, identifiers are unique, nothing is loaded; the slider moves by keys, in a page and in HTML that is put
in later (as a notebook does), two on one page keep apart, without scripting the first frame and a list of all others stand
there, and printing shows the frame on stage.

Run:  RAILRISE_PICTURES=FOLDER cargo test --no-default-features pictures_for_the_eye
      python tests/outside/figures_in_browser.py FOLDER [--pictures FOLDER]
Needs playwright (tests/outside/requirements.txt) and a Chromium, named by the variable CHROMIUM or found on the path.
"""

import argparse
import json
import pathlib
import sys

from browser import launch
from playwright.sync_api import sync_playwright

# Words of one drawing that lie on each other, or stick out of it. A pixel of touch is allowed: boxes are taller than letters.
WORDS = """() => {
  const found = [];
  for (const svg of document.querySelectorAll('main figure > svg, main svg[role=img]')) {
    const frame = svg.getBoundingClientRect();
    if (frame.width === 0) continue;
    const texts = [...svg.querySelectorAll('text')], boxes = texts.map(t => t.getBoundingClientRect());
    texts.forEach((t, i) => {
      const a = boxes[i];
      if (a.left < frame.left - 1 || a.right > frame.right + 1 || a.top < frame.top - 1 || a.bottom > frame.bottom + 1)
        found.push('"' + t.textContent + '" sticks out');
      for (let j = i + 1; j < texts.length; j++) {
        const b = boxes[j];
        if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 &&
            Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 0.25 * Math.min(a.height, b.height))
          found.push('"' + t.textContent + '" lies on "' + texts[j].textContent + '"');
      }
    });
  }
  const ids = [...document.querySelectorAll('[id]')].map(e => e.id);
  ids.filter((id, i) => ids.indexOf(id) !== i).forEach(id => found.push('identifier ' + id + ' stands twice'));
  for (const svg of document.querySelectorAll('svg[role=img]'))
    for (const id of svg.getAttribute('aria-labelledby').split(' '))
      if (!svg.contains(document.getElementById(id))) found.push('the label ' + id + ' is in another figure');
  return found;
}"""

STAGE = """box => { const stage = box.querySelector('.railrise-stage');
  return {frames: stage.children.length, frame: stage.firstElementChild.dataset.frame,
    visible: stage.querySelector('svg').getBoundingClientRect().height > 100,
    value: box.querySelector('output').textContent, spoken: box.querySelector('input').getAttribute('aria-valuetext'),
    slider: box.querySelector('input').checkVisibility(),
    slots: [...box.querySelectorAll('.railrise-slot')].map(s => s.querySelectorAll('.railrise-frame').length)}; }"""


def page_of(piece):
    return f"<!DOCTYPE html><html lang='en'><meta charset='utf-8'><title>figures</title><main>{piece}</main></html>"


def expect(faults, what, found, wanted):
    if found != wanted:
        faults.append(f"{what}: {found!r}, not {wanted!r}")


def slide(page, faults, where, box, count):
    """Moves one slider by keys and looks at the stage each time."""
    slider = box.locator("input[type=range]")
    slider.focus()
    place = int(slider.input_value())
    moves = {"ArrowRight": lambda p: min(p + 1, count - 1), "End": lambda p: count - 1, "ArrowLeft": lambda p: max(p - 1, 0),
             "Home": lambda p: 0, "ArrowUp": lambda p: min(p + 1, count - 1)}
    for key, law in moves.items():
        page.keyboard.press(key)
        place = law(place)
        state = box.evaluate(STAGE)
        expect(faults, f"{where}, {key}: frame on stage", state["frame"], str(place))
        expect(faults, f"{where}, {key}: frames on stage", state["frames"], 1)
        expect(faults, f"{where}, {key}: visible", (state["visible"], state["slider"]), (True, True))
        expect(faults, f"{where}, {key}: places of the others", state["slots"], [int(i != place) for i in range(count)])
        expect(faults, f"{where}, {key}: value spoken", state["spoken"], state["value"])
        wanted = box.locator(f".railrise-slot[data-slot='{place}']").get_attribute("data-value")
        expect(faults, f"{where}, {key}: value shown", state["value"], wanted)


def explorable(browser, piece, pictures):
    faults = []
    count = piece.count('<div class="railrise-slot"')
    page = browser.new_page(viewport={"width": 1100, "height": 900})
    loads = []
    page.on("request", lambda request: loads.append(request.url))
    page.on("pageerror", lambda error: faults.append(f"script fails: {error}"))
    page.set_content(page_of(piece))
    page.wait_for_timeout(200)
    slide(page, faults, "page", page.locator(".railrise-explorable"), count)
    faults += page.evaluate(WORDS)
    if pictures:
        page.screenshot(path=pictures / "explorable.png", full_page=True)
    # Put in later, as a notebook puts in outputs: script elements would not run there.
    page.set_content(page_of("<div id='first'></div><div id='second'></div>"))
    page.evaluate(f"html => document.getElementById('first').innerHTML = {json.dumps(piece)}")
    page.evaluate(f"html => document.getElementById('second').innerHTML = {json.dumps(piece)}")
    page.wait_for_timeout(200)
    boxes = page.locator(".railrise-explorable")
    slide(page, faults, "put in later, second copy", boxes.nth(1), count)
    expect(faults, "the first copy stayed", boxes.nth(0).evaluate(STAGE)["frame"], "0")
    slide(page, faults, "put in later, first copy", boxes.nth(0), count)
    page.emulate_media(media="print")
    state = boxes.nth(0).evaluate(STAGE)
    expect(faults, "printed: frame on stage is visible", state["visible"], True)
    faults += [f"loads {url}" for url in loads if not url.startswith(("data:", "about:"))]
    page.close()

    quiet = browser.new_context(java_script_enabled=False)
    page = quiet.new_page()
    path = pictures / "explorable-page.html" if pictures else pathlib.Path("explorable-page.html")
    path.write_text(page_of(piece), encoding="utf-8")
    page.goto(path.resolve().as_uri())
    expect(faults, "without scripting: slider hidden", page.locator("input[type=range]").is_visible(), False)
    expect(faults, "without scripting: first frame", page.locator(".railrise-stage svg[role=img]").is_visible(), True)
    page.locator("details.railrise-frames > summary").click()
    listed = page.locator(".railrise-slot svg[role=img]")
    expect(faults, "without scripting: others listed", [f.is_visible() for f in listed.all()], [True] * (count - 1))
    quiet.close()
    if not pictures:
        path.unlink()
    return faults


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("figures", type=pathlib.Path, help="folder with the figures as HTML")
    parser.add_argument("--pictures", type=pathlib.Path, help="folder for screenshots")
    wanted = parser.parse_args()
    if wanted.pictures:
        wanted.pictures.mkdir(parents=True, exist_ok=True)
    pages = sorted(wanted.figures.glob("*.html"))
    sliders = [path for path in pages if "railrise-explorable" in path.read_text(encoding="utf-8")]
    if not sliders or len(pages) < 15:
        sys.exit(f"{wanted.figures} holds {len(pages)} figures and {len(sliders)} with a slider: draw them first")
    bad = 0
    with sync_playwright() as play:
        browser = launch(play)
        for path in pages:
            piece = path.read_text(encoding="utf-8")
            if path in sliders:
                faults = explorable(browser, piece, wanted.pictures)
            else:
                page = browser.new_page(viewport={"width": 1200, "height": 900})
                page.set_content(page_of(piece))
                faults = page.evaluate(WORDS)
                if page.evaluate("() => document.querySelector('figure details').open"):
                    faults.append("the numbers are open before anyone asked")
                page.locator("figure details > summary").focus()
                page.keyboard.press("Enter")
                if not page.locator("figure details table").is_visible():
                    faults.append("the numbers do not open by keyboard")
                if wanted.pictures:
                    page.locator("figure > svg").screenshot(path=wanted.pictures / f"{path.stem}.png")
                page.close()
            bad += bool(faults)
            print(f"{path.name}: {'good' if not faults else ''}")
            for fault in faults:
                print(f"  {fault}")
        browser.close()
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
