# ruff: noqa: RUF001 - the page has en dashes
import itertools
import re
from html.parser import HTMLParser
from importlib import resources

import pytest
from tests.interfaces.render.sample_sheet import HOSTILE_HTML, bare_sheet, cite, crowded_sheet, sample_sheet
from tests.interfaces.render.shown import carry_html

VOID = {"meta", "br", "img", "link", "input", "hr"}


class Page(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.words, self.ids, self.wrong = [], [], [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        self.tags.append((tag, attributes, tuple(self.open)))
        self.ids += [attributes["id"]] if "id" in attributes else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs), tuple(self.open)))

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)

    def all(self, name):
        return [attributes for tag, attributes, _ in self.tags if tag == name]


SHEETS = pytest.mark.parametrize(
    "sheet",
    [sample_sheet(), sample_sheet(part=HOSTILE_HTML, job=HOSTILE_HTML), crowded_sheet(), bare_sheet()],
    ids=["sample", "hostile", "crowded", "bare"],
)


@SHEETS
def test_tags_nest_and_ids_are_unique(sheet):
    page = Page(carry_html(sheet, cite=cite))
    assert page.wrong == []
    assert page.open == []
    assert len(page.ids) == len(set(page.ids))


@SHEETS
def test_nothing_is_fetched_and_no_script_runs(sheet):
    text = carry_html(sheet, cite=cite)
    page = Page(text)
    assert not page.all("script") + page.all("link") + page.all("iframe") + page.all("img")
    assert all(a["href"].startswith("#") for a in page.all("a"))
    for _, attributes, _ in page.tags:
        assert not [k for k in attributes if k in {"src", "srcset", "action", "data"} or k.startswith("on")]
    assert "url(" not in text
    assert "@import" not in text


def test_hostile_words_stay_words():
    page = Page(carry_html(sample_sheet(part=HOSTILE_HTML, job=HOSTILE_HTML), cite=lambda _: HOSTILE_HTML))
    assert not page.all("script")
    assert sum(HOSTILE_HTML in w for w in page.words) >= 3


@SHEETS
def test_every_table_has_a_caption_and_scopes(sheet):
    page = Page(carry_html(sheet, cite=cite))
    assert len(page.all("table")) == len(page.all("caption")) > 0
    assert all(a.get("scope") in {"col", "row", "rowgroup"} for a in page.all("th"))


@SHEETS
def test_headings_step_by_one_and_links_have_targets(sheet):
    page = Page(carry_html(sheet, cite=cite))
    levels = [int(tag[1]) for tag, _, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b <= a + 1 for a, b in itertools.pairwise(levels))
    assert {a["href"][1:] for a in page.all("a")} <= set(page.ids)
    assert page.all("html")[0]["lang"] == "en"


def test_pictures_have_names_and_tables():
    page = Page(carry_html(sample_sheet(), cite=cite))
    figures = page.all("figure")
    assert len(figures) == 10  # map, pull, time, two settle, two thickness, three beliefs
    assert len(page.all("figcaption")) == len(figures)
    assert len(page.all("details")) >= len(figures)
    assert all(a.get("role") == "img" and a.get("aria-labelledby") for a in page.all("svg"))


def test_every_setting_stands_side_by_side():
    words = " ".join(" ".join(Page(carry_html(sample_sheet(), cite=cite)).words).replace("\xa0", " ").split())
    for text in (
        "45 s (33–61) one value for base and body, by hand",
        "2.9 s (2.7–3.1) yes",
        "0.5 s (0–0.9) no",
        "Will hold if",
    ):
        assert text in words


def colours(block):
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6});", block))


def luminance(colour):
    """Relative luminance, W3C WCAG 2.1, definition in section 'Terms'."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    channels = [int(digits[i : i + 2], 16) / 255.0 for i in (0, 2, 4)]
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_formula_gives_its_known_ends():
    # WCAG 2.1, note to "contrast ratio": from 1 to 21.
    assert contrast("#000", "#fff") == pytest.approx(21.0)
    assert contrast("#123456", "#123456") == 1.0


@pytest.mark.parametrize("theme", [0, 1, 2], ids=["light", "dark", "print"])
def test_text_and_marks_stand_out(theme):
    # WCAG 2.1, success criteria 1.4.3 (text, 4.5) and 1.4.11 (parts of pictures, 3).
    css = (resources.files("vatwright.interfaces.render") / "templates" / "carry.css").read_text(encoding="utf-8")
    shown = colours(css.split(":root {")[1 + theme].split("}")[0])
    for text in ("ink", "soft", "accent"):
        assert contrast(shown[text], shown["paper"]) >= 4.5, text
    assert contrast(shown["ink"], shown["fill"]) >= 4.5
    assert contrast(shown["accent-ink"], shown["accent-fill"]) >= 4.5
    assert contrast(shown["line"], shown["paper"]) >= 3.0


def test_a_phone_has_no_wide_fixed_width():
    # Widths that could push a 360 px page sideways are bound to the page or scroll inside their own box.
    css = (resources.files("vatwright.interfaces.render") / "templates" / "carry.css").read_text(encoding="utf-8")
    for width in re.findall(r"[^-]width: ([\d.]+)rem", css):
        assert float(width) * 16.0 <= 360.0 - 32.0
    page = Page(carry_html(sample_sheet(), cite=cite))
    for tag, attributes, path in page.tags:
        if tag == "table" and attributes.get("class") not in {"cards", "few"}:
            assert "div" in path
