"""The list of sources: what stands behind every formula and every number, by key.

The list itself is ``sources.toml`` beside this file.  A key such as ``reynolds:1886`` stands in docstrings and in
plans; here it becomes a citation.
"""

from __future__ import annotations

import difflib
import tomllib
from functools import cache
from importlib import resources

from attrs import field, frozen
from attrs.validators import in_

from vatwright.errors import InputError
from vatwright.wording import say, to_say

KINDS = ("mathematics", "published", "standard", "common practice", "from memory", "estimate", "user")
"""What a source can be, from what can be proved to what was only said."""

PRACTICE = "practice:bench"
ESTIMATE = "estimate:vatwright"
READING = "user:reading"
STATEMENT = "user:statement"
"""Keys that name no printed work."""


@frozen(kw_only=True)
class ListedSource:
    """One entry of the list.

    Parameters
    ----------
    key : str
        Key, ``author:year``.
    citation : str
        Full citation.
    kind : str
        One of :data:`KINDS`.
    doi : str or None
        Digital object identifier, without address.
    url : str or None
        Address of the work where it has no identifier.
    note : str
        How far it was read, and what was done about it.
    """

    key: str
    citation: str
    kind: str = field(validator=in_(KINDS))
    doi: str | None = None
    url: str | None = None
    note: str = ""

    @property
    def link(self) -> str | None:
        """Address to open, where there is one."""
        return f"https://doi.org/{self.doi}" if self.doi else self.url

    @property
    def at_hand(self) -> bool:
        """Whether it was opened here; else it is cited as others cite it, and what is taken from it is checked by sums."""
        return "not at hand" not in self.note.lower()

    def __str__(self) -> str:
        told = f"{say(self.citation)} [{self.key}; {say(self.kind)}]"
        return told if self.at_hand else f"{told} {say('Not at hand: cited without being opened.')}"


_OURS = (
    to_say("Engineering estimate of this tool, without a source; replace it with a reading."),
    to_say("Remembered by the authors as commonly printed; not looked up."),
    to_say("Common practice at the bench; no source."),
    to_say("A reading you took."),
    to_say("A value you gave."),
)
"""What stands for a source where there is no work to cite: said in the reader's language, while titles stay as printed."""

_KIND_WORDS = (
    to_say("published"), to_say("standard"), to_say("mathematics"), to_say("common practice"), to_say("estimate"),
    to_say("from memory"), to_say("user"),
)  # fmt: skip


@cache
def _by_key() -> dict[str, ListedSource]:
    """Read the list once."""
    table = tomllib.loads(resources.files("vatwright").joinpath("sources.toml").read_text(encoding="utf-8"))
    return {key: ListedSource(key=key, **entry) for key, entry in table.items()}


def all_sources() -> tuple[ListedSource, ...]:
    """Return every source, in the order of their keys.

    Examples
    --------
    >>> [s.key for s in all_sources()][:2]
    ['acgih:2010', 'alexander:1977']
    """
    return tuple(sorted(_by_key().values(), key=lambda s: s.key))


def source(key: str) -> ListedSource:
    """Return the source behind a key.

    Raises
    ------
    InputError
        When the list has no such key.

    Examples
    --------
    >>> source("kendall:1975").link
    'https://doi.org/10.1088/0022-3727/8/13/005'
    >>> source("kendall:75")
    Traceback (most recent call last):
    vatwright.errors.InputError: kendall:75: is not in the list of sources. Did you mean kendall:1975?
    """
    found = _by_key().get(key)
    if found is None:
        near = difflib.get_close_matches(key, _by_key(), n=1)
        raise InputError.one(
            key,
            to_say("is not in the list of sources"),
            f"Did you mean {near[0]}?" if near else "Add it to sources.toml",
        )
    return found
