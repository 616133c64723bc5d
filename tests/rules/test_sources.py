"""One list of sources: every key the code names is in it, and every entry is named by the code."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import vatwright
from vatwright.errors import InputError
from vatwright.sources import KINDS, ListedSource, all_sources, source

SRC = Path(vatwright.__file__).parent
KEY = re.compile(r"[\[\"'`]([a-z]+:(?:\d{4}[a-z]?|vatwright|bench|reading|statement))[\]\"'`]")


def _named() -> dict[str, set[str]]:
    """Return every key named under src, with the files that name it; the list itself does not count."""
    found: dict[str, set[str]] = {}
    for path in sorted(SRC.rglob("*")):
        if path.suffix in {".py", ".toml", ".json", ".typ", ".html"} and path.name != "sources.toml":
            for key in KEY.findall(path.read_text(encoding="utf-8")):
                found.setdefault(key, set()).add(str(path.relative_to(SRC)))
    return found


NAMED = _named()
LISTED = {s.key for s in all_sources()}


def test_every_named_key_is_listed() -> None:
    unknown = {key: sorted(files) for key, files in NAMED.items() if key not in LISTED}
    assert not unknown


def test_every_listed_key_is_named() -> None:
    assert not sorted(LISTED - set(NAMED))


@pytest.mark.parametrize("entry", all_sources(), ids=lambda s: s.key)
def test_entry_is_whole(entry: ListedSource) -> None:
    assert entry.kind in KINDS
    assert entry.citation.endswith(".")
    if re.fullmatch(r"[a-z]+:\d{4}[a-z]?", entry.key):
        year = entry.key.split(":")[1][:4]
        assert year in entry.citation or year in entry.note, "the key's year is not in the citation"
    if entry.doi is not None:
        assert re.fullmatch(r"10\.\d{4,9}/\S+", entry.doi)
        assert entry.link == f"https://doi.org/{entry.doi}"
    if entry.url is not None:
        assert entry.url.startswith("https://")


def test_unknown_key_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match=r"reynold:1886: is not in the list of sources. Did you mean reynolds:1886"):
        source("reynold:1886")
    with pytest.raises(InputError, match=r"Add it to sources.toml"):
        source("zzzz")


def test_the_four_that_name_no_work() -> None:
    kinds = {
        key: source(key).kind for key in ("practice:bench", "estimate:vatwright", "user:reading", "user:statement")
    }
    assert kinds == {
        "practice:bench": "common practice",
        "estimate:vatwright": "estimate",
        "user:reading": "user",
        "user:statement": "user",
    }


def test_a_source_that_was_not_opened_says_so_wherever_it_is_cited() -> None:
    """The list says it in its note; a reader of an answer sees the citation only."""
    for entry in all_sources():
        assert entry.at_hand == ("not at hand" not in entry.note.lower())
        assert str(entry).endswith(f"[{entry.key}; {entry.kind}]" if entry.at_hand else "cited without being opened.")
    assert source("bipm:2019").at_hand
    assert not source("stefan:1874").at_hand
