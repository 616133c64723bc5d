"""Every text that the source says is in every catalogue, translated, with the places that the English has."""

from __future__ import annotations

import importlib.util
import string
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

ROOT = Path(__file__).parents[2]
SHELF = ROOT / "src" / "vatwright" / "languages"
CODES = sorted(p.stem for p in SHELF.glob("*.po"))


def _gathered():
    spec = importlib.util.spec_from_file_location("words", ROOT / "tools" / "words.py")
    words = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(words)
    return {message.id for message in words.gathered() if message.id}


def _read(code):
    with (SHELF / f"{code}.po").open("rb") as file:
        return read_po(file, locale=code)


def _places(text):
    """Return what stands in braces; a text whose braces do not close raises (PEP 3101)."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def _forms(message):
    return (message.string,) if isinstance(message.string, str) else message.string


def test_there_is_a_second_language():
    assert "de" in CODES


@pytest.mark.parametrize("code", CODES)
def test_a_catalogue_has_every_text_of_the_source_and_no_other(code):
    assert {m.id for m in _read(code) if m.id} == _gathered(), "run make words"


@pytest.mark.parametrize("code", CODES)
def test_every_text_is_translated_for_sure(code):
    left = [m.id for m in _read(code) if m.id and (m.fuzzy or not all(_forms(m)) or not _forms(m))]
    assert left == []


@pytest.mark.parametrize("code", CODES)
def test_a_translation_keeps_the_places_and_the_blanks_at_its_ends(code):
    wrong = []
    for message in (m for m in _read(code) if m.id):
        english = message.id if isinstance(message.id, str) else message.id[-1]
        for form in _forms(message):
            told, meant = _places(form), _places(english)
            # A form for one alone may do without its number: "ein Loch".
            kept = told == meant or (not isinstance(message.id, str) and told | {"n"} == meant | {"n"})
            ends = [(t[:1].isspace(), t[-1:].isspace()) for t in (form, english)]
            if not kept or ends[0] != ends[1]:
                wrong.append((english, form))
    assert wrong == []
