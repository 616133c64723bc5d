"""The written documents: every page of a PDF renders, and the HTML page stands alone."""

from __future__ import annotations

import subprocess
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image
from tests.journeys.conftest import vatwright

VOID = {
    "area",
    "base",
    "br",
    "col",
    "embed",
    "hr",
    "img",
    "input",
    "link",
    "meta",
    "source",
    "track",
    "wbr",
}  # HTML, 13.1.2
DOCUMENTS = [
    ("main_job", "carry-sheet.pdf"), ("main_job", "carry-sheet-with-appendix.pdf"), ("main_job", "run-sheet.pdf"),
    ("to_heron", "sheet.pdf"),
]  # fmt: skip


def pages_of(path):
    told = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    return int(next(line.split()[1] for line in told.splitlines() if line.startswith("Pages:")))


@pytest.mark.parametrize(("job", "name"), DOCUMENTS)
def test_every_page_of_a_pdf_renders_and_holds_something(request, tmp_path, job, name):
    path = request.getfixturevalue(job).folder / name
    pages = pages_of(path)
    done = subprocess.run(
        ["pdftoppm", "-r", "40", "-png", path, tmp_path / "p"], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    pictures = sorted(tmp_path.glob("p*.png"))
    assert len(pictures) == pages >= 1
    assert pages <= 3 or "appendix" in name  # what the command's help promises
    for picture in pictures:
        ink = (np.asarray(Image.open(picture).convert("L")) < 128).mean()
        assert 0.0005 < ink < 0.5, f"{picture.name} is empty or black"


def test_a_sheet_in_another_language_has_no_more_pages(demo_workshop, tmp_path):
    job, path = demo_workshop / "harbour-lanterns.toml", tmp_path / "blatt.pdf"
    vatwright("--language", "de", "carry", job, "--without-notebook", "--pdf", path)
    assert pages_of(path) <= 3


@pytest.mark.parametrize(("job", "name"), DOCUMENTS)
def test_pdf_text_can_be_read_and_holds_the_settings(request, job, name):
    carried = request.getfixturevalue(job)
    text = subprocess.run(["pdftotext", "-layout", carried.folder / name, "-"], capture_output=True, check=True)
    words = text.stdout.decode("utf-8")
    assert carried.to in words
    for wanted in ("settle", "exposure", "peel lift", "gloves"):
        assert wanted in words


class Page(HTMLParser):
    """Collects what a page asks for and whether its tags close."""

    def __init__(self):
        super().__init__()
        self.open, self.tags, self.addresses, self.handlers = [], [], [], []
        self.text = []

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        for key, value in attributes:
            if key in {"src", "href", "srcset", "action", "data", "poster", "xlink:href"}:
                self.addresses.append(value or "")
            if key.startswith("on"):
                self.handlers.append(key)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        if tag in self.open:
            while self.open and self.open[-1] in {"p", "li", "td", "th", "tr", "dt", "dd"} and self.open[-1] != tag:
                self.open.pop()  # their end tags may be left out
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag, f"</{tag}> closes another"

    def handle_data(self, data):
        self.text.append(data)


@pytest.mark.parametrize(("job", "name"), [("main_job", "carry-sheet.html"), ("to_heron", "sheet.html")])
def test_html_parses_and_needs_nothing_from_outside(request, job, name):
    carried = request.getfixturevalue(job)
    source = (carried.folder / name).read_text(encoding="utf-8")
    assert source.lower().startswith("<!doctype html>")
    page = Page()
    page.feed(source)
    page.close()
    assert page.open == []
    assert not {"script", "iframe", "object", "embed", "form"} & set(page.tags)
    assert page.handlers == []
    assert [a for a in page.addresses if not a.startswith("#")] == []
    assert "@import" not in source
    assert "url(" not in source
    assert 'charset="utf-8"' in source.lower()
    assert 'name="viewport"' in source
    text = " ".join(page.text)
    assert carried.to in text
    assert "settle" in text
