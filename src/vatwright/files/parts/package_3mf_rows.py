"""The rows of a 3MF mesh, ``<vertex x= y= z= />`` and ``<triangle v1= v2= v3= />``, without an event for each.

Only the plain spelling that nearly every file uses is understood: the three attributes in that order, numbers in quotes,
for triangles also property numbers.  Reading stops before anything else, and the XML parser goes on from there, so what
is refused, and where, stays with it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.compiled import kernel
from vatwright.files.parts.text import ASK_PYTHON, scan_number, settle_hard

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bytes = NDArray[np.uint8]

SHORTEST_ROW = 20
"""Bytes of the shortest row there can be."""

LONGEST_ROW = 4096
"""A row longer than this many bytes is left to the XML parser."""

_CLOSE, _EQUALS, _LESS, _P, _SLASH, _ZERO, _NINE = 62, 61, 60, 112, 47, 48, 57
_LETTER_A, _LETTER_Z = 97, 122


def _spelled(*words: bytes) -> tuple[Bytes, ...]:
    return tuple(np.frombuffer(word, np.uint8) for word in words)


class RowKind(NamedTuple):
    """What rows of one kind look like: how they start, their three attributes, whether these are whole numbers."""

    stem: Bytes
    names: tuple[Bytes, Bytes, Bytes]
    whole: bool


VERTEX = RowKind(np.frombuffer(b"<vertex", np.uint8), _spelled(b"x", b"y", b"z"), False)  # type: ignore[arg-type]
TRIANGLE = RowKind(np.frombuffer(b"<triangle", np.uint8), _spelled(b"v1", b"v2", b"v3"), True)  # type: ignore[arg-type]


@kernel
def _past_blanks(data: Bytes, at: int) -> int:
    """Return where the white space from `at` on ends."""
    while at < data.size and (data[at] == 32 or data[at] == 9 or data[at] == 10 or data[at] == 13):
        at += 1
    return at


@kernel
def _past_word(data: Bytes, at: int, word: Bytes) -> int:
    """Return where `word` ends that stands at `at`; -1 where it does not."""
    if at < 0 or at + word.size > data.size:
        return -1
    for k in range(word.size):
        if data[at + k] != word[k]:
            return -1
    return at + word.size


@kernel
def _quoted(data: Bytes, at: int) -> tuple[int, int]:
    """Return first byte and end of a value after ``=``, quotes left out; (-1, -1) where there is none."""
    if at < 0 or at + 2 >= data.size or data[at] != _EQUALS:
        return -1, -1
    quote = data[at + 1]
    if quote != 34 and quote != 39:
        return -1, -1
    stop = at + 2
    while stop < data.size and data[stop] != quote and data[stop] != _LESS:
        stop += 1
    if stop >= data.size or data[stop] == _LESS:
        return -1, -1
    return at + 2, stop


@kernel
def _all_digits(data: Bytes, at: int, stop: int) -> bool:
    """Tell whether there are digits and nothing else, few enough for exact numbers."""
    for k in range(at, stop):
        if not _ZERO <= data[k] <= _NINE:
            return False
    return 0 < stop - at <= 15


@kernel
def _past_properties(data: Bytes, at: int) -> int:
    """Return where the property numbers of a triangle end: names that start with p, values of digits."""
    while True:
        name = _past_blanks(data, at)
        if name == at or name >= data.size or data[name] != _P:
            return at
        stop = name
        while stop < data.size and (_LETTER_A <= data[stop] <= _LETTER_Z or _ZERO <= data[stop] <= _NINE):
            stop += 1
        first, end = _quoted(data, stop)
        if first < 0 or not _all_digits(data, first, end):
            return -1
        at = end + 1


@kernel
def _scan_rows(
    data: Bytes, stem: Bytes, one: Bytes, two: Bytes, three: Bytes, whole: bool, values: NDArray[np.float64],
    hard: NDArray[np.int64], starts: NDArray[np.int64],
) -> tuple[int, int, int]:  # fmt: skip
    """Fill values, row by row; return how many rows, where the last of them ends, and how many numbers wait in hard."""
    at, waiting, rows = 0, 0, 0
    while rows < values.shape[0]:
        start = _past_blanks(data, at)
        p = _past_word(data, start, stem)
        held = waiting
        for c in range(3):
            q = _past_blanks(data, p) if p >= 0 else -1
            if q == p:  # names are parted by white space
                p = -1
                break
            first, p = _quoted(data, _past_word(data, q, one if c == 0 else two if c == 1 else three))
            if first < 0 or (whole and not _all_digits(data, first, p)):
                p = -1
                break
            values[rows, c], kind = scan_number(data, first, p)
            if kind == ASK_PYTHON:
                hard[waiting, 0], hard[waiting, 1], hard[waiting, 2] = 3 * rows + c, first, p
                waiting += 1
            p += 1
        if p >= 0 and whole:
            p = _past_properties(data, p)
        p = _past_blanks(data, p) if p >= 0 else data.size
        if p + 1 >= data.size or data[p] != _SLASH or data[p + 1] != _CLOSE:
            return rows, at, held
        starts[rows] = start
        rows += 1
        at = p + 2
    return rows, at, waiting


def read_rows(data: bytes, kind: RowKind) -> tuple[NDArray[np.float64], int]:
    """Return the rows (n, 3) that `data` starts with, and where what is no plain row begins.

    Examples
    --------
    >>> rows, stop = read_rows(b'<vertex x="1" y="-.5" z="2e1"/> <vertex x="1" y="2"/>', VERTEX)
    >>> rows.tolist(), stop
    ([[1.0, -0.5, 20.0]], 31)
    """
    text = np.frombuffer(data, np.uint8)
    most = len(data) // SHORTEST_ROW + 1
    values, starts = np.empty((most, 3)), np.empty(most, np.int64)
    hard = np.empty((3 * most, 3), np.int64)
    rows, stop, waiting = _scan_rows(text, kind.stem, *kind.names, kind.whole, values, hard, starts)
    bad = settle_hard(text, values, hard[:waiting])
    if bad:
        rows = bad[0][0] // 3
        stop = int(starts[rows])
    return values[:rows], stop
