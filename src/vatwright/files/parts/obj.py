"""OBJ: vertices, and faces that count them from one or backwards from the last; no unit.

Texture and normal numbers, names, groups and materials are read over; curved surfaces are not read.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.compiled import kernel
from vatwright.errors import InputError, Mistake
from vatwright.files.parts.formats import FirstBytes, MeshFile, PartFormat
from vatwright.files.parts.polygons import Polygons, triangles
from vatwright.files.parts.text import (
    ASK_PYTHON,
    blank,
    byte_at,
    count_of,
    file_bytes,
    line_of,
    not_numbers,
    pack,
    packed,
    scan_number,
    settle_hard,
    word_at,
)
from vatwright.wording import to_say

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from vatwright.files.parts.limits import Limits

_VERTEX, _FACE = packed("v"), packed("f")
_READ_OVER = np.array(
    [packed(w) for w in ("vt", "vn", "vp", "g", "o", "s", "l", "p", "mg", "lod", "bevel", "c_interp", "d_interp")]
    + [packed(w) for w in ("usemtl", "mtllib", "usemap", "maplib")],
    dtype=np.int64,
)
_CURVED = np.array([packed(w) for w in ("curv", "curv2", "surf", "cstype")], dtype=np.int64)
OTHER_LINE, VERTEX_LINE, FACE_LINE, COMMENT_LINE, CURVED_LINE, UNKNOWN_LINE = range(6)
SHORT_VERTEX, SHORT_FACE, BAD_REFERENCE = range(3)
_KEPT_FAULTS, _SHOWN_FAULTS = 64, 8


@kernel
def _kind(data: NDArray[np.uint8], at: int, stop: int, known: NDArray[np.int64], curved: NDArray[np.int64]) -> int:
    """Return what kind of line the word from `at` to `stop` opens."""
    if data[at] == 35:
        return COMMENT_LINE
    word = pack(data, at, stop)
    if word == _VERTEX:
        return VERTEX_LINE
    if word == _FACE:
        return FACE_LINE
    for k in range(known.size):
        if known[k] == word:
            return OTHER_LINE
    for k in range(curved.size):
        if curved[k] == word:
            return CURVED_LINE
    return UNKNOWN_LINE


@kernel
def _next_word(data: NDArray[np.uint8], at: int) -> tuple[int, int, bool]:
    """Return the next word (start, stop) and whether a new line began before it; a backslash joins lines."""
    fresh = at == 0
    while at < data.size:
        byte = data[at]
        if byte == 92 and at + 1 < data.size and data[at + 1] in (10, 13):
            at += 3 if data[at + 1] == 13 and at + 2 < data.size and data[at + 2] == 10 else 2
        elif blank(byte):
            fresh = fresh or byte in (10, 13)
            at += 1
        else:
            break
    stop = at
    while stop < data.size and not blank(data[stop]) and data[stop] != 92:
        stop += 1
    return at, max(stop, min(at + 1, data.size)), fresh


@kernel
def _count(
    data: NDArray[np.uint8], known: NDArray[np.int64], curved: NDArray[np.int64], found: NDArray[np.int64]
) -> None:
    """Fill `found`: vertices, faces, face corners, curved lines, unknown lines, where the first of these stands."""
    at, kind = 0, OTHER_LINE
    while True:
        at, stop, fresh = _next_word(data, at)
        if at >= data.size:
            return
        if fresh:
            kind = _kind(data, at, stop, known, curved)
            found[0] += kind == VERTEX_LINE
            found[1] += kind == FACE_LINE
            found[3] += kind == CURVED_LINE
            if kind == UNKNOWN_LINE:
                if found[4] == 0:
                    found[5] = at
                found[4] += 1
        elif kind == FACE_LINE:
            found[2] += 1
        at = stop


@kernel
def _reference(data: NDArray[np.uint8], at: int, stop: int, vertices: int) -> int:
    """Return the vertex number (from 0) that a face corner such as 7, 7/1, 7//3 or -1/2/3 names; -1 if it is none."""
    minus = data[at] == 45
    at += minus
    first, value = at, 0
    while at < stop and 48 <= data[at] <= 57:
        value = min(value * 10 + (byte_at(data, at) - 48), 1 << 48)
        at += 1
    if at == first or value == 0 or (at < stop and data[at] != 47):
        return -1
    if minus:
        return max(vertices - value, -1)
    return value - 1


@kernel
def _fault(faults: NDArray[np.int64], total: int, kind: int, at: int) -> int:
    """Keep one fault, as long as there is room; return how many there are now."""
    if total < faults.shape[0]:
        faults[total, 0], faults[total, 1] = kind, at
    return total + 1


@kernel
def _scan(  # noqa: C901 - one pass over the words, the kinds of line told apart above
    data: NDArray[np.uint8],
    known: NDArray[np.int64],
    curved: NDArray[np.int64],
    vertices: NDArray[np.float64],
    counts: NDArray[np.int64],
    refs: NDArray[np.int64],
    line_at: NDArray[np.int64],
    hard: NDArray[np.int64],
    faults: NDArray[np.int64],
) -> tuple[int, int]:
    """Fill vertices, corner counts and references; return how many numbers wait in `hard`, and the faults."""
    at, kind, opened, seen = 0, OTHER_LINE, 0, 0
    v, f, r, waiting, bad = -1, -1, 0, 0, 0
    while True:
        at, stop, fresh = _next_word(data, at)
        if fresh or at >= data.size:
            if kind == VERTEX_LINE and seen < 3:
                bad = _fault(faults, bad, SHORT_VERTEX, opened)
            if kind == FACE_LINE and seen < 3:
                bad = _fault(faults, bad, SHORT_FACE, opened)
        if at >= data.size:
            return waiting, bad
        if fresh:
            kind, opened, seen = _kind(data, at, stop, known, curved), at, 0
            if kind == VERTEX_LINE:
                v += 1
            elif kind == FACE_LINE:
                f += 1
                counts[f], line_at[f] = 0, at
        elif kind == VERTEX_LINE and seen < 3:
            vertices[v, seen], spelling = scan_number(data, at, stop)
            if spelling == ASK_PYTHON:
                hard[waiting, 0], hard[waiting, 1], hard[waiting, 2] = 3 * v + seen, at, stop
                waiting += 1
            seen += 1
        elif kind == FACE_LINE and data[at] == 35:
            kind = OTHER_LINE if seen >= 3 else kind
        elif kind == FACE_LINE:
            refs[r] = _reference(data, at, stop, v + 1)
            if refs[r] < 0:
                bad = _fault(faults, bad, BAD_REFERENCE, at)
            r, seen = r + 1, seen + 1
            counts[f] = seen
        at = stop


def read_obj(path: Path, limits: Limits) -> tuple[NDArray[np.float64], list[str]]:
    """Return the corners (F, 3, 3) of an OBJ, polygons cut into fans, and the warnings."""
    data = file_bytes(path)
    found = np.zeros(6, dtype=np.int64)
    _count(data, _READ_OVER, _CURVED, found)
    n_vertices, n_faces, n_refs, n_curved, n_unknown, unknown_at = found.tolist()
    if n_refs - 2 * n_faces > limits.triangles or n_vertices > limits.vertices:
        raise InputError.one(str(path), *limits.too_many_triangles(max(n_refs - 2 * n_faces, n_vertices // 3)))
    vertices, counts = np.full((n_vertices, 3), np.nan), np.zeros(n_faces, dtype=np.int64)
    refs, line_at = np.zeros(n_refs, dtype=np.int64), np.zeros(n_faces, dtype=np.int64)
    hard, faults = np.empty((3 * n_vertices, 3), dtype=np.int64), np.zeros((_KEPT_FAULTS, 2), dtype=np.int64)
    waiting, bad = _scan(data, _READ_OVER, _CURVED, vertices, counts, refs, line_at, hard, faults)
    faces = Polygons(counts, refs[: counts.sum()])
    mistakes = _mistakes(path, data, faults, bad)
    if words := settle_hard(data, vertices, hard[:waiting]):
        mistakes.append(Mistake(*not_numbers(str(path), data, words)))
    mistakes += _out_of_range(path, data, faces, n_vertices, line_at)
    if n_faces == 0 and not mistakes:
        what = "the file holds points but no faces" if n_vertices else "the file holds no triangles"
        mistakes.append(Mistake(str(path), what, to_say("Export the part again as a triangle mesh")))
    if mistakes:
        raise InputError(mistakes)
    rows, said = triangles(vertices, faces)
    if n_curved:
        said.append("the file also describes curved surfaces, which were left out: export the part as a triangle mesh")
    if n_unknown:
        where = f"the first is {word_at(data, unknown_at)!r} in line {line_of(data, unknown_at)}"
        said.append(f"left out, because not understood: {count_of(n_unknown, 'line')}; {where}")
    return vertices[rows], said


def _mistakes(path: Path, data: NDArray[np.uint8], faults: NDArray[np.int64], total: int) -> list[Mistake]:
    """Put the faults of an OBJ into sentences, the first few one by one."""
    what = {SHORT_VERTEX: "a vertex has fewer than three numbers", SHORT_FACE: "a face has fewer than three corners"}
    mistakes = [
        Mistake(
            to_say("{path}, line {line}", path=path, line=line_of(data, at)),
            what.get(kind, f"{word_at(data, at)!r} names no vertex"),
            to_say("Export the part again"),
        )
        for kind, at in faults[: min(total, _SHOWN_FAULTS)].tolist()
    ]
    if total > _SHOWN_FAULTS:
        mistakes.append(
            Mistake(
                str(path),
                to_say("{more} like these", more=count_of(total - _SHOWN_FAULTS, "more mistake")),
                to_say("Export the part again"),
            )
        )
    return mistakes


def _out_of_range(
    path: Path, data: NDArray[np.uint8], faces: Polygons, vertices: int, line_at: NDArray[np.int64]
) -> list[Mistake]:
    """Name the faces that ask for a vertex the file does not have."""
    outside = np.flatnonzero(faces.refs >= vertices)
    if outside.size == 0:
        return []
    face = int(np.searchsorted(np.cumsum(faces.counts), outside[0], side="right"))
    where = f"{path}, line {line_of(data, int(line_at[face]))}"
    more = f" ({outside.size} such corners in all)" if outside.size > 1 else ""
    what = f"face {face + 1} asks for vertex {int(faces.refs[outside[0]]) + 1}, the file has {vertices}{more}"
    return [Mistake(where, what, to_say("Copy or export the part again: it is not whole"))]


_LINES = frozenset({b"v", b"vt", b"vn", b"f", b"o", b"g", b"mtllib", b"usemtl", b"s"})


def _likely(first: FirstBytes) -> str:
    named = first.path.suffix.lower() == FORMAT.ending and first.text
    starts = bool(first.words) and first.words[0] in _LINES
    return "OBJ" if starts or (named and (not first.words or _LINES & set(first.words))) else ""


FORMAT = PartFormat(
    name="OBJ", ending=".obj", asked=2, read=lambda _, path, limits: MeshFile(*read_obj(path, limits)), likely=_likely
)
