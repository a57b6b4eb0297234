"""Checks notebooks with the official schema and pages with a strict HTML parser.

A notebook (.ipynb) must satisfy the JSON schema of its own format version as the package `nbformat` carries it, without any
repair, and be laid out as that package writes it. A page (.html) must be parsed by `html5lib` without a single parse error,
and name nothing that a browser would load.

Run:  python tests/outside/notebooks_and_pages.py [PATH...]
Without a path: the notebooks of this repository, and the pages of notebooks/out when they have been made.
"""

import json
import pathlib
import sys
import warnings

import html5lib
import nbformat

ROOT = pathlib.Path(__file__).resolve().parents[2]
LOADING = {"src", "srcset", "poster", "background", "data", "action", "formaction", "manifest"}


def notebook(path):
    text = path.read_text(encoding="utf-8")
    document = json.loads(text)
    try:
        with warnings.catch_warnings():
            # What the package would repair with a warning is a fault here.
            warnings.simplefilter("error")
            nbformat.validate(document, version=4, version_minor=document["nbformat_minor"])
    except (nbformat.ValidationError, Warning) as fault:
        return [str(fault).splitlines()[0]]
    written = json.dumps(document, ensure_ascii=False, indent=1) + "\n"
    return [] if text == written else ["is laid out differently from what notebook editors write"]


def page(path):
    text = path.read_text(encoding="utf-8")
    parser = html5lib.HTMLParser(namespaceHTMLElements=False)
    tree = parser.parse(text)
    faults = [f"line {at[0]}, column {at[1]}: {html5lib.constants.E[code] % data}" for at, code, data in parser.errors]
    for element in tree.iter():
        if not isinstance(element.tag, str):
            continue
        tag = element.tag.rpartition("}")[2]
        for key, value in element.attrib.items():
            key = key.rpartition("}")[2]
            loads = key in LOADING or (key == "href" and tag != "a")
            if loads and not value.startswith(("data:", "#")):
                faults.append(f"<{tag} {key}={value[:60]!r}> would be loaded")
        style = element.attrib.get("style", "") + (element.text or "" if tag == "style" else "")
        if "@import" in style or any("url(" + quote + "http" in style for quote in ("", '"', "'")):
            faults.append(f"a style of <{tag}> would load something")
    if tree.find(".//title") is None or not (tree.find(".//title").text or "").strip():
        faults.append("has no title")
    if not tree.attrib.get("lang"):
        faults.append("does not say its language")
    return faults


def main():
    paths = [pathlib.Path(name) for name in sys.argv[1:]]
    if not paths:
        paths = [*ROOT.glob("tests/notebook/*.ipynb"), *ROOT.glob("notebooks/*.ipynb"), *ROOT.glob("notebooks/out/*")]
    paths = [path for path in paths if path.suffix in (".ipynb", ".html")]
    if not paths:
        sys.exit("nothing to check: name notebooks or pages")
    bad = 0
    for path in sorted(paths):
        faults = notebook(path) if path.suffix == ".ipynb" else page(path)
        bad += bool(faults)
        print(f"{path}: {'good' if not faults else ''}")
        for fault in faults:
            print(f"  {fault}")
    print(f"{len(paths)} files, {bad} with faults")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
