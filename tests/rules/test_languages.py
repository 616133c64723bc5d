"""Every text that the source says is in every catalogue, translated, with the places that the English has."""

from __future__ import annotations

import ast
import importlib.util
import re
import string
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

import vatwright

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


REFUSED = ("InputError", "WillNotWork", "DomainError", "Mistake")
"""What a message stands in that a person reads, in the reader's language."""


def plain_in(file: Path) -> list[str]:
    """Sentences of refusals that no language but English could say: literals that bypass :func:`to_say`."""
    found = []
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if not (isinstance(node, ast.Call) and any(name in ast.unparse(node.func).split(".") for name in REFUSED)):
            continue
        where_first = ast.unparse(node.func).split(".")[-1] in {"one", "Mistake"}
        for told in node.args[where_first:]:
            words = [c.value for c in ast.walk(told) if isinstance(c, ast.Constant) and isinstance(c.value, str)]
            if isinstance(told, ast.Constant | ast.JoinedStr) and any(
                re.search(r"[a-z]{2,} |[a-z] [a-z]", w) for w in words
            ):
                found.append(f"{file.name}:{node.lineno}: {ast.unparse(told)}")
    return found


def test_every_refusal_can_be_said_in_another_language():
    house = Path(vatwright.__file__).parent
    plain = [told for file in sorted(house.rglob("*.py")) if file.name != "errors.py" for told in plain_in(file)]
    assert plain == []


def test_a_plain_refusal_would_be_found(tmp_path):
    file = tmp_path / "wrong.py"
    file.write_text('raise InputError.one("a", f"is {x} too much", to_say("Give less"))\n', encoding="utf-8")
    assert len(plain_in(file)) == 1
