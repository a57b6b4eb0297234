"""Works through a lesson in JupyterLab as a reader would, in a headless Chromium: opens it, runs all cells, changes one and
runs it again, begins a study of many minutes and interrupts it, looks at the variables again, moves a slider by mouse and by
keys. Fails when a cell errs that is not meant to, when a step takes too long, when a script of the page fails, or when
anything is asked of another machine.

Run:  python tests/outside/lab.py [PROGRAM] [--pictures FOLDER]
PROGRAM is the built `railrise` (default: target/release/railrise). Needs the packages of tests/outside/requirements.txt
and a Chromium, named by the variable CHROMIUM or found on the path; no browser is fetched.
"""

import argparse
import json
import os
import pathlib
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request

import nbformat
from browser import launch
from playwright.sync_api import expect, sync_playwright

ROOT = pathlib.Path(__file__).resolve().parents[2]
LESSON = "04-a-rating-is-one-point.ipynb"
# A loaded machine compiles a cell slowly; nobody waits this long on a quiet one.
PATIENCE = 180_000
# JupyterLab draws a cell's error as it draws the error stream, into which no lesson prints.
ERRORS = ".jp-OutputArea-output[data-mime-type='application/vnd.jupyter.stderr']"
# What the status line says; the mark beside the kernel's name is idle before there is a kernel, too.
IDLE = ".jp-StatusBar-TextItem >> text=/^Railrise \\| Idle$/"


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


class Server:
    """JupyterLab with settings, kernels and notebooks of its own, all in one temporary folder."""

    def __init__(self, program):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="railrise lab "))
        self.books = self.folder / "notebooks"
        self.books.mkdir()
        for book in (ROOT / "notebooks").glob("*.ipynb"):
            shutil.copy(book, self.books)
        subprocess.run([program, "kernel", "install", "--prefix", self.folder], check=True)
        # All cells stay in the page, so that they can be counted, and nobody is asked anything.
        settings = {"notebook-extension/tracker": {"windowingMode": "none"},
                    "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True}}
        for name, values in settings.items():
            file = self.folder / "settings/@jupyterlab" / f"{name}.jupyterlab-settings"
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(json.dumps(values))
        self.port = free_port()
        environment = os.environ | {
            "JUPYTER_PATH": str(self.folder / "share/jupyter"), "JUPYTER_CONFIG_DIR": str(self.folder / "config"),
            "JUPYTER_DATA_DIR": str(self.folder / "data"), "JUPYTER_RUNTIME_DIR": str(self.folder / "runtime"),
            "JUPYTERLAB_SETTINGS_DIR": str(self.folder / "settings"), "JUPYTERLAB_WORKSPACES_DIR": str(self.folder / "workspaces"),
            "JUPYTER_PLATFORM_DIRS": "1"}
        self.log = open(self.folder / "log", "w+")
        command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1", f"--port={self.port}",
                   "--ServerApp.port_retries=0", "--IdentityProvider.token=", f"--ServerApp.root_dir={self.books}"]
        self.process = subprocess.Popen(command, env=environment, stdout=self.log, stderr=subprocess.STDOUT)
        for _ in range(240):
            try:
                urllib.request.urlopen(f"{self.address}/api/status", timeout=5)
                return
            except OSError:
                assert self.process.poll() is None, self.said()
                time.sleep(0.5)
        raise AssertionError(f"JupyterLab does not answer:\n{self.said()}")

    @property
    def address(self):
        return f"http://127.0.0.1:{self.port}"

    def said(self):
        return (self.folder / "log").read_text()[-3000:]

    def stop(self):
        self.process.terminate()
        try:
            self.process.wait(30)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)


class Reader:
    """One reader at one notebook."""

    def __init__(self, page, server, pictures):
        self.page, self.server, self.pictures, self.taken = page, server, pictures, 0

    def picture(self, name):
        if self.pictures:
            self.taken += 1
            self.page.screenshot(path=self.pictures / f"{self.taken:02}-{name}.png")

    def menu(self, *names):
        bar, *rest = names
        self.page.locator(".lm-MenuBar-item", has_text=re.compile(f"^{bar}$")).click()
        for name in rest:
            self.page.locator(".lm-Menu-item", has=self.page.locator(".lm-Menu-itemLabel", has_text=re.compile(f"^{name}$"))).click()

    def wait_idle(self):
        self.page.wait_for_selector(IDLE, timeout=PATIENCE)
        # Idle between two cells of a row does not count.
        expect(self.prompts("[*]:")).to_have_count(0, timeout=PATIENCE)

    def prompts(self, text):
        return self.page.locator(".jp-NotebookPanel .jp-InputPrompt", has_text=text)

    def cell(self, n):
        return self.page.locator(".jp-Notebook > * .jp-Cell, .jp-Notebook > .jp-Cell").nth(n)

    def write(self, cell, code):
        cell.locator(".cm-content").click()
        self.page.keyboard.press("Control+a")
        self.page.keyboard.insert_text(code)

    def run(self, cell):
        cell.locator(".cm-content").click()
        self.page.keyboard.press("Control+Enter")

    def new_cell(self, code):
        """A cell below the last one."""
        self.page.locator(".jp-Notebook .jp-Cell").last.locator(".jp-InputPrompt, .jp-MarkdownOutput").first.click()
        self.page.keyboard.press("Escape")
        before = self.page.locator(".jp-Notebook .jp-Cell").count()
        self.page.keyboard.press("b")
        expect(self.page.locator(".jp-Notebook .jp-Cell")).to_have_count(before + 1)
        cell = self.page.locator(".jp-Notebook .jp-Cell").last
        self.write(cell, code)
        return cell

    def saved(self):
        path = self.server.books / LESSON
        before = path.stat().st_mtime_ns
        self.page.keyboard.press("Control+s")
        for _ in range(100):
            if path.stat().st_mtime_ns != before:
                time.sleep(0.3)
                return nbformat.read(path, 4)
            time.sleep(0.1)
        raise AssertionError("the notebook was not saved")


def index_of(book, words):
    return next(n for n, c in enumerate(book.cells) if c.cell_type == "code" and words in c.source)


def run_all(reader):
    begun = time.time()
    reader.menu("Run", "Run All Cells")
    # The last code cell gets its number when all before it have run.
    expect(reader.page.locator(".jp-CodeCell .jp-InputPrompt").last).to_have_text(re.compile(r"\[\d+\]:"), timeout=PATIENCE)
    reader.wait_idle()
    book = reader.saved()
    ran = [c for c in book.cells if c.cell_type == "code" and c.source.strip()]
    meant = [c for c in ran if "raises-exception" in c.metadata.get("tags", [])]
    failed = [c for c in ran if any(o.output_type == "error" for o in c.outputs)]
    assert all(c.execution_count for c in ran), "a cell did not run"
    assert failed == meant, f"a cell erred: {[c.source for c in failed if c not in meant]}"
    seen = reader.page.locator(ERRORS).all_inner_texts()
    assert len(seen) == len(meant), f"the page shows other errors than the file holds: {seen}"
    figures = reader.page.locator(".jp-OutputArea-output svg[role=img]:visible").count()
    assert figures >= 4, f"only {figures} figures are seen"
    print(f"all {len(ran)} cells ran within {time.time() - begun:.0f} s, {figures} figures, {len(meant)} error that is meant")
    return book


def change_one(reader, book):
    reader.write(reader.cell(index_of(book, "let speed = rpm")), "let speed = rpm(5000.0);\nlet boost = bar(0.9);")
    reader.page.keyboard.press("Control+Enter")
    cell = reader.cell(index_of(book, "the engine asks for {}"))
    before = cell.locator(".jp-OutputArea").inner_text()
    reader.run(cell)
    reader.wait_idle()
    after = cell.locator(".jp-OutputArea").inner_text()
    assert "the engine asks for" in after and after != before, (before, after)
    print(f"one cell changed: {before.strip()!r} became {after.strip()!r}")


def interrupt(reader):
    page = reader.page
    reader.wait_idle()
    cell = reader.new_cell("let long = across_tolerances(\n    &raised, rpm(5800.0), 5_000_000, 11);")
    page.keyboard.press("Control+Enter")
    bar = cell.locator(".jp-OutputArea progress")
    bar.wait_for(timeout=PATIENCE)
    page.wait_for_timeout(2000)
    cell.scroll_into_view_if_needed()
    said = cell.locator(".jp-OutputArea").inner_text()
    assert re.search(r"\d+ of 8388608 .*left", said), said
    reader.picture("study-with-its-bar")
    asked = time.time()
    page.locator(".jp-NotebookPanel-toolbar [data-jp-item-name='interrupt']").first.click()
    cell.locator(ERRORS).wait_for(timeout=20_000)
    took = time.time() - asked
    said = cell.locator(ERRORS).inner_text()
    assert "all variables are kept" in said, said
    reader.picture("study-interrupted")
    reader.wait_idle()
    cell = reader.new_cell("long")
    page.keyboard.press("Control+Enter")
    cell.locator(".jp-OutputArea table").wait_for(timeout=PATIENCE)
    said = cell.locator(".jp-OutputArea").inner_text()
    assert re.search(r"\d+ of \d+", said), said
    reader.picture("what-the-study-has")
    cell = reader.new_cell("words(full_load.asked_flow())")
    page.keyboard.press("Control+Enter")
    expect(cell.locator(".jp-OutputArea-executeResult")).to_contain_text("L/h", timeout=PATIENCE)
    print(f"interrupted within {took:.1f} s; what the study has and the variables before it are there")


def slide(reader):
    box = reader.page.locator(".railrise-explorable").last
    box.locator("input[type=range]").hover()  # scrolls there and waits until nothing moves
    slider, shown = box.locator("input[type=range]"), box.locator("output")
    frame = lambda: box.locator(".railrise-stage > .railrise-frame").get_attribute("data-frame")
    place = slider.bounding_box()
    across = lambda part: place["x"] + 8 + part * (place["width"] - 16)
    y = place["y"] + place["height"] / 2
    first, values = frame(), [shown.inner_text()]
    reader.page.mouse.move(across(int(slider.input_value()) / int(slider.get_attribute("max"))), y)
    reader.page.mouse.down()
    reader.page.mouse.move(across(0.6), y, steps=8)
    reader.page.mouse.move(across(1.0), y, steps=8)
    reader.page.mouse.up()
    values.append(shown.inner_text())
    assert frame() == slider.get_attribute("max") != first, f"dragged to the end: frame {frame()}"
    reader.picture("slider-dragged")
    steps = {"ArrowLeft": -1, "Home": None, "ArrowRight": 1, "ArrowUp": 1, "ArrowDown": -1}
    at = int(frame())
    for key, step in steps.items():
        reader.page.keyboard.press(key)
        at = 0 if step is None else at + step
        assert frame() == str(at), f"{key}: frame {frame()}, not {at}"
        assert slider.evaluate("e => e === document.activeElement"), f"{key} took the slider's focus"
        values.append(shown.inner_text())
    reader.picture("slider-by-keys")
    print(f"the slider went through {values}")


def main():
    sys.stdout.reconfigure(line_buffering=True)
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program", nargs="?", type=pathlib.Path, default=ROOT / "target/release/railrise")
    parser.add_argument("--pictures", type=pathlib.Path, help="folder for screenshots")
    wanted = parser.parse_args()
    if wanted.pictures:
        wanted.pictures.mkdir(parents=True, exist_ok=True)
    server = Server(wanted.program.resolve())
    try:
        with sync_playwright() as play:
            browser = launch(play)
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            elsewhere, scripts = [], []
            page.on("request", lambda r: r.url.startswith((server.address, "data:", "blob:")) or elsewhere.append(r.url))
            page.on("pageerror", lambda error: scripts.append(str(error)))
            reader = Reader(page, server, wanted.pictures)
            try:
                page.goto(f"{server.address}/lab/tree/{LESSON}")
                page.wait_for_selector(IDLE, timeout=PATIENCE)
                book = run_all(reader)
                reader.picture("all-cells-run")
                slide(reader)
                change_one(reader, book)
                reader.picture("one-cell-changed")
                interrupt(reader)
            except BaseException:
                reader.picture("where-it-failed")
                raise
            assert not elsewhere, f"asked of other machines: {elsewhere}"
            assert not scripts, f"scripts failed: {scripts}"
            browser.close()
    except BaseException:
        print(server.said(), file=sys.stderr)
        raise
    finally:
        server.stop()


if __name__ == "__main__":
    main()
