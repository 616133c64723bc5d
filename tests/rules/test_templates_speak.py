"""What a template shows comes from the catalogue: no word stands between its tags, or in what a tag reads out, by itself."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "vatwright" / "interfaces"
TEMPLATES = sorted(SOURCE.glob("*/templates/*.html"))
SAME_IN_ALL = {"Vatwright", "vatwright", "serve", "phones", "shop", "calc", "toml", "mm"}
"""Our name, what is typed on a command line, a unit."""

JINJA = re.compile(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", re.DOTALL)
READ_OUT = re.compile(r"\b(?:aria-label|alt|title|placeholder|label|data-head)=\"([^\"]*)\"")
SPOKEN = re.compile(r"\bsay(?:_many)?\(")
CHOSEN = re.compile(r"(?:\belse|\bor)\s+\"([^\"]*)\"|\"([^\"]*)\"\s+if\b")
TAG = re.compile(r"<(script|style)\b.*?</\1>|<!?/?[a-zA-Z][^>]*>", re.DOTALL)


def _words(text):
    return [w for w in re.findall(r"[^\W\d_]{2,}", re.sub(r"&\w+;|#[\w-]+", " ", text)) if w not in SAME_IN_ALL]


def _shown(source):
    """Return what stands in a template by itself: between its tags, and in attributes that are read out."""
    plain = JINJA.sub(" ", source)
    return [*READ_OUT.findall(plain), TAG.sub(" ", plain)]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.name)
def test_a_template_has_no_words_of_its_own(path):
    assert [w for text in _shown(path.read_text(encoding="utf-8")) for w in _words(text)] == []


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.name)
def test_a_choice_of_words_in_a_template_is_said(path):
    """``{{ "yes" if it else "no" }}`` between tags speaks English to everybody; within a tag it is the tag's own."""
    between = TAG.sub(" ", re.sub(r"\{%.*?%\}", " ", path.read_text(encoding="utf-8"), flags=re.DOTALL))
    chosen = [a or b for place in JINJA.findall(between) if not SPOKEN.search(place) for a, b in CHOSEN.findall(place)]
    assert [w for text in chosen for w in _words(text)] == []


def test_the_rule_sees_words():
    source = '<p class="plain">Hello {{ say("there") }}</p>{% if x %}<img alt="a lamp">{% endif %}<a href="#part">{{ y }}</a>'
    assert [w for text in _shown(source) for w in _words(text)] == ["lamp", "Hello"]
