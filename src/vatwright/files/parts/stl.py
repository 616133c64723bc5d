"""STL, binary and text: three corners per facet, no unit.

Binary: 80 bytes of header, a count, 50 bytes a facet.  Which of the two a file is, its length decides, because
headers of binary files may begin with "solid" too.  Stored normals are not used: the order of the corners says where
outside is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.compiled import kernel
from vatwright.errors import InputError, Mistake
from vatwright.files.parts.formats import FirstBytes, MeshFile, PartFormat
from vatwright.files.parts.text import (
    ASK_PYTHON,
    blank,
    count_of,
    file_bytes,
    line_of,
    not_numbers,
    pack,
    packed,
    scan_number,
    settle_hard,
    word_at,
    word_end,
)
from vatwright.wording import to_say

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from vatwright.files.parts.limits import Limits

HEADER, FACET = 84, 50
_FACET_ROW = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])

# What a text STL is made of: the words, the places one can be in, and where each word leads.
SOLID, ENDSOLID, FACET_WORD, NORMAL, OUTER, LOOP, VERTEX, ENDLOOP, ENDFACET, OTHER = range(10)
_WORDS = np.array(
    [packed(w) for w in ("solid", "endsolid", "facet", "normal", "outer", "loop", "vertex", "endloop", "endfacet")],
    dtype=np.int64,
)
OUTSIDE, NAME, NAME_FACET, HEAD, CORNERS, TAIL = range(6)
FINE, STRAY, BROKEN, EXTRA, UNKNOWN, SHORT, WRONG_COUNT, CUT = range(8)
_NEXT = np.array(
    [  # solid endsolid facet normal outer loop vertex endloop endfacet other
        [NAME, NAME, HEAD, OUTSIDE, OUTSIDE, OUTSIDE, OUTSIDE, OUTSIDE, OUTSIDE, OUTSIDE],
        [NAME, NAME, NAME_FACET, NAME, NAME, NAME, NAME, NAME, NAME, NAME],
        [NAME, NAME, NAME_FACET, HEAD, NAME, NAME, NAME, NAME, NAME, NAME],
        [HEAD, NAME, HEAD, HEAD, HEAD, CORNERS, CORNERS, TAIL, OUTSIDE, HEAD],
        [CORNERS, NAME, HEAD, CORNERS, CORNERS, CORNERS, CORNERS, TAIL, OUTSIDE, CORNERS],
        [TAIL, NAME, HEAD, TAIL, TAIL, TAIL, TAIL, TAIL, OUTSIDE, TAIL],
    ]
)
_FAULT = np.array(
    [
        [FINE, FINE, FINE, STRAY, STRAY, STRAY, STRAY, STRAY, STRAY, UNKNOWN],
        [FINE] * 10,
        [FINE] * 10,
        [BROKEN, BROKEN, BROKEN, FINE, FINE, FINE, BROKEN, BROKEN, BROKEN, FINE],
        [BROKEN, BROKEN, BROKEN, BROKEN, BROKEN, BROKEN, FINE, FINE, BROKEN, EXTRA],
        [BROKEN, BROKEN, BROKEN, BROKEN, BROKEN, BROKEN, BROKEN, BROKEN, FINE, EXTRA],
    ]
)
_KEPT_FAULTS = 64
_SHOWN_FAULTS = 8


def is_binary_length(size: int, head: bytes) -> bool:
    """Tell whether a file of `size` bytes that starts with `head` has exactly the length its facet counter asks for."""
    return size >= HEADER and size == HEADER + FACET * int.from_bytes(head[80:84], "little")


def read_binary(path: Path, limits: Limits) -> tuple[NDArray[np.float32], list[str]]:
    """Return the corners (F, 3, 3) of a binary STL, with the file's own bits."""
    return np.array(corners_in_place(path, limits)), []


def corners_in_place(path: Path, limits: Limits) -> NDArray[np.float32]:
    """Return the corners (F, 3, 3) of a binary STL as they lie on the disk."""
    size = path.stat().st_size
    with path.open("rb") as stream:
        head = stream.read(HEADER)
    if not is_binary_length(size, head):
        raise InputError.one(str(path), *_damaged(path, size, head))
    count = int.from_bytes(head[80:84], "little")
    if count > limits.triangles:
        raise InputError.one(str(path), *limits.too_many_triangles(count))
    if count == 0:
        raise InputError.one(str(path), to_say("the file holds no triangles"), to_say("Export the part again"))
    rows = np.memmap(path, dtype=_FACET_ROW, mode="r", offset=HEADER, shape=(count,))
    corners: NDArray[np.float32] = rows["corners"]
    return corners


def _damaged(path: Path, size: int, head: bytes) -> tuple[str, str]:
    """Return fault and remedy of a binary STL whose counter and length disagree."""
    if size < HEADER:
        what = f"a binary STL starts with {HEADER} bytes, this file ends after {size}"
        return what, "Copy or export it again: it was cut short"
    count = int.from_bytes(head[80:84], "little")
    data = file_bytes(path)
    mangled = bytes(data[:65536]).count(b"\xef\xbf\xbd")
    if mangled * 40 > min(size, 65536):
        return (
            "its bytes were changed by a program that took it for text (it is full of replacement characters)",
            "Copy it again as a binary file, or export the part again",
        )
    room, rest = divmod(size - HEADER, FACET)
    expected = HEADER + FACET * count
    what = (
        f"its counter says {count_of(count, 'triangle')}, which is {expected} bytes; "
        f"the file has {size}, which is {count_of(room, 'triangle')}"
        + (f" and {count_of(rest, 'byte')} over" if rest else "")
    )
    cause = "The file was cut short, or its counter is wrong" if size < expected else "Its counter is wrong"
    return what, f"{cause}: export or copy the part again"


@kernel
def _count_facets(data: NDArray[np.uint8], words: NDArray[np.int64]) -> int:
    """Count the words "facet", an upper bound of the facets of a text STL."""
    at, count = 0, 0
    while at < data.size:
        if blank(data[at]):
            at += 1
            continue
        stop = word_end(data, at)
        if stop - at == 5 and pack(data, at, stop) == words[FACET_WORD]:
            count += 1
        at = stop
    return count


@kernel
def _which(data: NDArray[np.uint8], at: int, stop: int, words: NDArray[np.int64]) -> int:
    """Return which of the STL's words stands from `at` to `stop`, or OTHER."""
    byte = data[at]
    if byte < 65 or stop - at > 8:
        return OTHER
    value = pack(data, at, stop)
    for k in range(words.size):
        if words[k] == value:
            return k
    return OTHER


@kernel
def _note(tally: NDArray[np.int64], kept: NDArray[np.int64], kind: int, at: int, facet: int, detail: int) -> None:
    """Keep one fault, as long as there is room, and count it."""
    total = tally[0]
    if total < kept.shape[0]:
        kept[total, 0], kept[total, 1], kept[total, 2], kept[total, 3] = kind, at, facet, detail
    tally[0] += 1


@kernel
def _vertex(
    data: NDArray[np.uint8],
    at: int,
    words: NDArray[np.int64],
    corner: NDArray[np.float64],
    hard: NDArray[np.int64],
    slot: int,
    tally: NDArray[np.int64],
) -> tuple[int, int]:
    """Read up to three numbers after "vertex"; return how many there were and where to go on (slot -1: too many)."""
    for k in range(3):
        start = at
        while start < data.size and blank(data[start]):
            start += 1
        stop = word_end(data, start)
        if stop == start or _which(data, start, stop, words) != OTHER:
            return k, at
        corner[k], kind = scan_number(data, start, stop)
        if kind == ASK_PYTHON and slot >= 0:
            waiting = tally[1]
            hard[waiting, 0], hard[waiting, 1], hard[waiting, 2] = slot + k, start, stop
            tally[1] += 1
        at = stop
    return 3, at


@kernel
def _scan(  # noqa: C901 - one pass over the words; the grammar itself stands in the two tables
    data: NDArray[np.uint8],
    words: NDArray[np.int64],
    leads: NDArray[np.int64],
    faults: NDArray[np.int64],
    corners: NDArray[np.float64],
    hard: NDArray[np.int64],
    kept: NDArray[np.int64],
    tally: NDArray[np.int64],
) -> int:
    """Walk the words of a text STL; return the whole facets.

    `tally`: faults, waiting numbers, facets begun, "solid" words, "endsolid" words, facets without a whole normal,
    words not known, and where the first of those stands.
    """
    at, state, done, corner, normals = 0, OUTSIDE, 0, 0, 0
    spare = np.zeros(3)
    facet_at = 0
    while at < data.size:
        if blank(data[at]):
            if data[at] in (10, 13) and state in (NAME, NAME_FACET):
                state = OUTSIDE
            at += 1
            continue
        stop = word_end(data, at)
        word = _which(data, at, stop, words)
        fault, before = faults[state, word], state
        state = leads[state, word]
        if fault == UNKNOWN:
            if tally[6] == 0:
                tally[7] = at
            tally[6] += 1
        elif fault != FINE:
            _note(tally, kept, fault, at, tally[2], 0)
        if state == HEAD and (word == FACET_WORD or before == NAME_FACET):
            tally[2] += 1
            corner, normals, facet_at = 0, 0, at
        elif before == HEAD and word == OTHER:
            normals += 1
        elif before == HEAD and state == CORNERS and normals != 3:
            tally[5] += 1
        elif before == TAIL and word == ENDFACET:
            if corner == 3:
                done += 1
            else:
                _note(tally, kept, WRONG_COUNT, facet_at, tally[2], corner)
        elif before in (OUTSIDE, NAME, NAME_FACET) and word == ENDSOLID:
            tally[4] += 1
        elif before == OUTSIDE and word == SOLID:
            tally[3] += 1
        at, start = stop, at
        if state == CORNERS and word == VERTEX:
            if corner < 3 and done < corners.shape[0]:
                got, at = _vertex(data, at, words, corners[done, corner], hard, 9 * done + 3 * corner, tally)
            else:
                got, at = _vertex(data, at, words, spare, hard, -1, tally)
            if got < 3:
                _note(tally, kept, SHORT, start, tally[2], got)
            corner += 1
    if state in (HEAD, CORNERS, TAIL):
        _note(tally, kept, CUT, data.size - 1, tally[2], 0)
    return done


def read_text(path: Path, limits: Limits) -> tuple[NDArray[np.float64], list[str]]:
    """Return the corners (F, 3, 3) of a text STL, with the bits ``float`` gives each number."""
    data = file_bytes(path)
    bound = _count_facets(data, _WORDS)
    if bound > limits.triangles:
        raise InputError.one(str(path), *limits.too_many_triangles(bound))
    corners = np.empty((bound, 3, 3))
    kept, tally = np.zeros((_KEPT_FAULTS, 4), dtype=np.int64), np.zeros(8, dtype=np.int64)
    hard = np.empty((9 * bound, 3), dtype=np.int64)
    done = _scan(data, _WORDS, _NEXT, _FAULT, corners, hard, kept, tally)
    mistakes = _text_mistakes(path, data, kept, int(tally[0]))
    if not mistakes and (bad := settle_hard(data, corners, hard[: tally[1]])):
        mistakes.append(Mistake(*not_numbers(str(path), data, bad)))
    if not mistakes and done == 0:
        mistakes.append(Mistake(str(path), to_say("the file holds no triangles"), to_say("Export the part again")))
    if mistakes:
        raise InputError(mistakes)
    return corners[:done], _text_warnings(data, tally)


def _text_mistakes(path: Path, data: NDArray[np.uint8], kept: NDArray[np.int64], total: int) -> list[Mistake]:
    """Put the faults of a text STL into sentences, the first few one by one."""
    mistakes = []
    for kind, at, facet, detail in kept[: min(total, _SHOWN_FAULTS)].tolist():
        word = word_at(data, at)
        what = {
            STRAY: f"{word!r} stands outside a facet",
            BROKEN: f"{word!r} does not belong here in facet {facet}",
            EXTRA: f"{word!r} is one word too many in facet {facet}",
            SHORT: f"a corner of facet {facet} has {count_of(detail, 'number')}, it needs three",
            WRONG_COUNT: f"facet {facet} has {count_of(detail, 'corner')}, an STL facet has three",
            CUT: f"the file ends in the middle of facet {facet}",
        }[kind]
        do = "Copy or export it again: it was cut short" if kind == CUT else "Export the part again, as triangles"
        mistakes.append(Mistake(to_say("{path}, line {line}", path=path, line=line_of(data, at)), what, do))
    if total > _SHOWN_FAULTS:
        mistakes.append(
            Mistake(
                str(path),
                to_say("{more} like these", more=count_of(total - _SHOWN_FAULTS, "more mistake")),
                to_say("Export the part again"),
            )
        )
    return mistakes


def _text_warnings(data: NDArray[np.uint8], tally: NDArray[np.int64]) -> list[str]:
    """Return what is odd about a text STL that can still be used."""
    solids, ends, normals, unknown, first = tally[3:8].tolist()
    said = []
    if ends < max(solids, 1):
        said.append("the file does not end with endsolid: make sure it was copied whole")
    if solids == 0:
        said.append("the file does not start with solid: make sure it was copied whole")
    if normals:
        said.append(
            f"no whole normal in {count_of(normals, 'facet')}; the order of the corners is used, as for all facets"
        )
    if unknown:
        where = f"the first is {word_at(data, first)!r} in line {line_of(data, first)}"
        said.append(f"left out, because not understood: {count_of(unknown, 'word')} outside the facets; {where}")
    return said


def _certain(first: FirstBytes) -> str:
    return "binary STL" if is_binary_length(first.size, first.head) else ""


def _likely(first: FirstBytes) -> str:
    if first.words[:1] in ((b"solid",), (b"facet",)) or b"facet normal" in first.text:
        return "text STL"
    if first.path.suffix.lower() == FORMAT.ending and b"\x00" in first.head:  # damaged, told before anything is read
        raise InputError.one(str(first.path), *_damaged(first.path, first.size, first.head))
    return ""


def _read(kind: str, path: Path, limits: Limits) -> MeshFile:
    return MeshFile(*(read_binary if kind == "binary STL" else read_text)(path, limits))


FORMAT = PartFormat(name="STL", ending=".stl", asked=0, read=_read, certain=_certain, likely=_likely)
