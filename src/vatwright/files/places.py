"""Which line of a TOML file a key stands on, so that a mistake can name its place."""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right

Where = tuple[str | int, ...]
"""The way to a value: keys, and positions in lists."""

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2}(?!"))|' r"'''.*?'''(?:'{0,2}(?!'))|" r'"(?:[^"\\\n]|\\.)*"|' r"'[^'\n]*'",
    re.DOTALL,
)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}\n#]*")


def key_lines(text: str) -> dict[Where, int]:
    r"""Return the line, counted from 1, of every key, table and list entry of a valid TOML text.

    Parameters
    ----------
    text : str
        TOML that a parser has already accepted, with ``\n`` or ``\r\n`` line ends.

    Examples
    --------
    >>> lines = key_lines('[[part]]\nfile = "lamp.stl"\nplaces = [\n {x_mm = 1},\n {x_mm = 2},\n]\n')
    >>> lines["part", 0, "file"], lines["part", 0, "places", 1, "x_mm"]
    (2, 5)
    """
    return _Scanner(text).scan()


def line_of(lines: dict[Where, int], where: Where) -> int:
    """Return the line of a value, or of the nearest table around it.

    Examples
    --------
    >>> line_of({("job",): 4}, ("job", "to"))
    4
    """
    while where and where not in lines:
        where = where[:-1]
    return lines.get(where, 1)


class _Scanner:
    """One pass over the text; it trusts that the text is valid."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.ends = [i for i, c in enumerate(text) if c == "\n"]
        self.lines: dict[Where, int] = {}
        self.entries: dict[Where, int] = {}

    def scan(self) -> dict[Where, int]:
        table: Where = ()
        self.skip(_BLANK)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self.header()
            else:
                self.pair(table)
            self.skip(_BLANK)
        return self.lines

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        found = match[0] if match else ""
        self.at += len(found)
        return found

    def note(self, where: Where) -> None:
        for n in range(1, len(where) + 1):
            self.lines.setdefault(where[:n], bisect_right(self.ends, self.at - 1) + 1)

    def keys(self) -> tuple[str, ...]:
        found = []
        while True:
            self.skip(_SPACE)
            quoted = self.text[self.at] in "\"'"
            key = self.skip(_STRING if quoted else _BARE_KEY)
            found.append(tomllib.loads(f"key = {key}")["key"] if quoted else key)
            self.skip(_SPACE)
            if self.text[self.at] != ".":
                return tuple(found)
            self.at += 1

    def header(self) -> Where:
        start, listed = self.at, self.text.startswith("[[", self.at)
        self.at += 2 if listed else 1
        parts = self.keys()
        end = self.at + (2 if listed else 1)
        where: Where = ()
        for depth, part in enumerate(parts):
            where = (*where, part)
            if listed and depth == len(parts) - 1:
                self.entries[where] = self.entries.get(where, 0) + 1
            if where in self.entries:
                where = (*where, self.entries[where] - 1)
        self.at = start
        self.note(where)
        self.at = end
        return where

    def pair(self, table: Where) -> None:
        start = self.at
        where = (*table, *self.keys())
        end, self.at = self.at, start
        self.note(where)
        self.at = end + 1  # past the equals sign
        self.value(where)

    def value(self, where: Where) -> None:
        self.skip(_SPACE)
        first = self.text[self.at]
        if first in "\"'":
            self.skip(_STRING)
        elif first in "[{":
            self.at += 1
            self.several(where, "]" if first == "[" else "}")
        else:
            self.skip(_SCALAR)

    def several(self, where: Where, close: str) -> None:
        """Go through the entries of a list or of an inline table."""
        index = 0
        self.skip(_BLANK)
        while self.text[self.at] != close:
            if close == "]":
                self.note((*where, index))
                self.value((*where, index))
                index += 1
            else:
                self.pair(where)
            self.skip(_BLANK)
            if self.text[self.at] == ",":
                self.at += 1
                self.skip(_BLANK)
        self.at += 1
