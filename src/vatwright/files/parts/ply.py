"""PLY, text and binary of either byte order: a header that lists elements and their properties; no unit.

A text body is turned into doubles first and then read like a binary one whose every property is a double.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.compiled import kernel
from vatwright.errors import InputError, Mistake
from vatwright.files.parts.formats import MeshFile, PartFormat
from vatwright.files.parts.polygons import Polygons, triangles
from vatwright.files.parts.text import all_numbers, byte_at, count_of, file_bytes, not_numbers
from vatwright.wording import to_say

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from vatwright.files.parts.limits import Limits

_TYPES = {
    **dict.fromkeys(("char", "int8"), "i1"),
    **dict.fromkeys(("uchar", "uint8"), "u1"),
    **dict.fromkeys(("short", "int16"), "i2"),
    **dict.fromkeys(("ushort", "uint16"), "u2"),
    **dict.fromkeys(("int", "int32"), "i4"),
    **dict.fromkeys(("uint", "uint32"), "u4"),
    **dict.fromkeys(("float", "float32"), "f4"),
    **dict.fromkeys(("double", "float64"), "f8"),
}
_ORDERS = {"ascii": "=", "binary_little_endian": "<", "binary_big_endian": ">"}
_HEADER_BYTES = 65_536
_INDEX_NAMES = ("vertex_indices", "vertex_index")


class Property(NamedTuple):
    """One property: its type, and the type of its length if it is a list."""

    name: str
    kind: str
    length: str | None


class Element(NamedTuple):
    """A kind of row, how many there are, and what each holds."""

    name: str
    rows: int
    properties: list[Property]


class Header(NamedTuple):
    """What stands before the body: the byte order ("=" for text), the elements, where the body starts."""

    order: str
    elements: list[Element]
    body: int


def read_ply(path: Path, limits: Limits) -> tuple[NDArray[np.floating], list[str]]:
    """Return the corners (F, 3, 3) of a PLY, polygons cut into fans, and the warnings."""
    data = file_bytes(path)
    header = _header(path, data)
    _check_elements(path, header, limits)
    body, said = data[header.body :], []
    if header.order == "=":
        values, bad = all_numbers(body)
        if bad:
            place = [(slot, header.body + at, word) for slot, at, word in bad]
            raise InputError.one(*not_numbers(str(path), data, place))
        body = values.view(np.uint8)
        header = header._replace(elements=[_as_doubles(e) for e in header.elements])
    vertices, faces, end = _elements(path, header, body)
    if (over := body.size - end) > 0:
        said.append(f"left out: {count_of(over // _step(header), _unit(header))} after the last element")
    _check_references(path, faces, len(vertices))
    if int(np.maximum(faces.counts - 2, 0).sum()) > limits.triangles:
        raise InputError.one(str(path), *limits.too_many_triangles(int(np.maximum(faces.counts - 2, 0).sum())))
    rows, doubts = triangles(vertices, faces)
    if len(rows) == 0:
        raise InputError.one(
            str(path), to_say("no face has three corners"), to_say("Export the part again as a triangle mesh")
        )
    return vertices[rows], said + doubts


def _unit(header: Header) -> str:
    """Return what a body is counted in."""
    return "number" if header.order == "=" else "byte"


def _step(header: Header) -> int:
    """Return how many bytes of the body make one of what it is counted in."""
    return 8 if header.order == "=" else 1


def _header(path: Path, data: NDArray[np.uint8]) -> Header:
    """Read the header; raise every mistake in it at once."""
    head = bytes(data[:_HEADER_BYTES])
    end = head.find(b"end_header")
    if end < 0:
        raise InputError.one(
            str(path), to_say("the header has no end_header"), to_say("Copy or export the part again: it is not whole")
        )
    body = end + len(b"end_header")
    body += 2 if head[body : body + 2] == b"\r\n" else 1
    order, elements, mistakes = "", [], []
    for number, line in enumerate(head[:end].decode("ascii", "replace").splitlines(), start=1):
        words = line.split()
        try:
            if words[:1] == ["format"]:
                order = _ORDERS[words[1]]
            elif words[:1] == ["element"]:
                elements.append(Element(words[1], _row_count(words[2]), []))
            elif words[:1] == ["property"]:
                elements[-1].properties.append(_property(words))
            elif words and words[0] not in ("ply", "comment", "obj_info"):
                raise KeyError(words[0])  # noqa: TRY301 - an unknown line is one more way to be wrong here
        except (KeyError, IndexError, ValueError):
            mistakes.append(
                Mistake(
                    to_say("{path}, line {number}", path=path, number=number),
                    to_say("{text!r} is not understood", text=line.strip()),
                    to_say("Export it again"),
                )
            )
    if not order and not mistakes:
        mistakes.append(Mistake(str(path), to_say("the header names no format"), to_say("Export the part again")))
    if mistakes:
        raise InputError(mistakes)
    return Header(order, elements, body)


def _row_count(text: str) -> int:
    """Return how many rows an element says it has."""
    count = int(text)
    if count < 0:
        raise ValueError(text)
    return count


def _property(words: list[str]) -> Property:
    """Return the property that a header line names."""
    if words[1] == "list":
        length, kind, name = words[2:5]
        if _TYPES[length][0] == "f":
            raise ValueError(length)
        return Property(name, _TYPES[kind], _TYPES[length])
    kind, name = words[1:3]
    return Property(name, _TYPES[kind], None)


def _as_doubles(element: Element) -> Element:
    """Return the element as it lies in a text body that was turned into doubles."""
    return element._replace(properties=[Property(p.name, "f8", p.length and "f8") for p in element.properties])


def _check_elements(path: Path, header: Header, limits: Limits) -> None:
    """Refuse a header without vertices or faces, or with more rows than the body could hold."""
    mistakes = []
    by_name = {e.name: e for e in header.elements}
    if len(by_name) < len(header.elements):
        mistakes.append(
            Mistake(str(path), to_say("the header has two elements of one name"), to_say("Export the part again"))
        )
    vertex, face = by_name.get("vertex"), by_name.get("face")
    plain = {p.name for p in vertex.properties if p.length is None} if vertex else set()
    if missing := sorted({"x", "y", "z"} - plain):
        mistakes.append(
            Mistake(
                str(path),
                to_say("the vertices have no {missing}", missing=", ".join(missing)),
                to_say("Export the part again"),
            )
        )
    if face is None or face.rows == 0:
        what = (
            "the file holds points or strips but no faces" if vertex and vertex.rows else "the file holds no triangles"
        )
        mistakes.append(Mistake(str(path), what, to_say("Export the part again as a triangle mesh")))
    elif not any(p.name in _INDEX_NAMES and p.length for p in face.properties):
        mistakes.append(
            Mistake(str(path), to_say("the faces have no list of vertices"), to_say("Export the part again"))
        )
    if any(e.rows > limits.vertices for e in header.elements):
        most = max(e.rows for e in header.elements)
        mistakes.append(Mistake(str(path), *limits.too_many_triangles(most)))
    if mistakes:
        raise InputError(mistakes)


def _elements(path: Path, header: Header, body: NDArray[np.uint8]) -> tuple[NDArray[np.floating], Polygons, int]:
    """Return vertices, faces and where the body's last element ends."""
    vertices: NDArray[np.floating] = np.empty((0, 3))
    faces = Polygons(np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64))
    at = 0
    for element in header.elements:
        places, end = _places(path, header, element, body, at)
        names = [p.name for p in element.properties]
        if element.name == "vertex":
            columns = [
                _column(element.properties[names.index(c)], header.order, body, places[names.index(c)]) for c in "xyz"
            ]
            vertices = np.stack(columns, axis=1)
        elif element.name == "face":
            which = next(k for k, p in enumerate(element.properties) if p.name in _INDEX_NAMES and p.length)
            faces = _lists(element.properties[which], header.order, body, places[which])
        at = end
    return vertices, faces, at


def _places(
    path: Path, header: Header, element: Element, body: NDArray[np.uint8], at: int
) -> tuple[NDArray[np.int64], int]:
    """Return where each property of each row starts (properties, rows), and where the element ends."""
    types = [np.dtype(p.length or p.kind) for p in element.properties]
    sizes = np.array([t.itemsize for t in types], dtype=np.int64)
    items = np.array([np.dtype(p.kind).itemsize if p.length else 0 for p in element.properties], dtype=np.int64)
    least = at + element.rows * int(sizes.sum())
    if least > body.size:
        need, left = (least - at) // _step(header), (body.size - at) // _step(header)
        rows = f"{count_of(element.rows, 'row')} of {element.name!r}"
        what = f"the body is cut short: {rows} need at least {count_of(need, _unit(header))}, {left} are left"
        raise InputError.one(str(path), what, to_say("Copy or export the part again"))
    if not items.any():
        offsets = np.cumsum(sizes) - sizes
        return at + offsets[:, None] + np.arange(element.rows) * sizes.sum(), least
    double = np.array([p.length == "f8" for p in element.properties])
    signed = np.array([bool(p.length) and str(p.length)[0] == "i" for p in element.properties])
    places = np.empty((len(types), element.rows), dtype=np.int64)
    end = _walk(body, at, sizes, items, double, signed, header.order == ">", places)
    if end < 0:
        what = f"row {-end} of {element.name!r} runs over the end of the file, or the length of its list is no count"
        raise InputError.one(str(path), what, to_say("Copy or export the part again"))
    return places, int(end)


@kernel
def _whole(body: NDArray[np.uint8], at: int, size: int, signed: bool, big: bool) -> int:
    """Return the whole number in `size` bytes at `at`."""
    value = 0
    for k in range(size):
        value = value * 256 + byte_at(body, at + (k if big else size - 1 - k))
    if signed and value >= 1 << (8 * size - 1):
        value -= 1 << (8 * size)
    return value


@kernel
def _walk(
    body: NDArray[np.uint8],
    at: int,
    sizes: NDArray[np.int64],
    items: NDArray[np.int64],
    double: NDArray[np.bool_],
    signed: NDArray[np.bool_],
    big: bool,
    places: NDArray[np.int64],
) -> int:
    """Fill `places` with the start of each property, row by row; return the end, or minus the row that does not fit."""
    word = np.zeros(1)
    raw = word.view(np.uint8)
    for row in range(places.shape[1]):
        for k in range(sizes.size):
            if at + sizes[k] > body.size:
                return -(row + 1)
            places[k, row] = at
            count = 0
            if items[k] > 0 and double[k]:
                for b in range(8):
                    raw[b] = body[at + b]
                if not 0 <= word[0] <= 1e9 or word[0] != np.floor(word[0]):
                    return -(row + 1)
                count = int(word[0])
            elif items[k] > 0:
                count = _whole(body, at, sizes[k], signed[k], big)
            at += sizes[k]
            if count < 0 or count > (body.size - at) // max(items[k], 1):
                return -(row + 1)
            at += count * items[k]
    return at


@kernel
def _gather(
    body: NDArray[np.uint8], starts: NDArray[np.int64], counts: NDArray[np.int64], raw: NDArray[np.uint8]
) -> None:
    """Copy `counts` items of ``raw.shape[1]`` bytes from each of `starts` into the rows of `raw`."""
    row = 0
    for k in range(starts.size):
        at = starts[k]
        for _ in range(counts[k]):
            for b in range(raw.shape[1]):
                raw[row, b] = body[at + b]
            at += raw.shape[1]
            row += 1


def _items(
    kind: str, body: NDArray[np.uint8], starts: NDArray[np.int64], counts: NDArray[np.int64]
) -> NDArray[np.number]:
    """Return the items of type `kind` that stand in a row at each of `starts`."""
    raw = np.empty((int(counts.sum()), np.dtype(kind).itemsize), dtype=np.uint8)
    _gather(body, starts, counts, raw)
    return raw.view(kind).reshape(-1)


def _column(prop: Property, order: str, body: NDArray[np.uint8], places: NDArray[np.int64]) -> NDArray[np.floating]:
    """Return one plain property of all rows as floats, with the file's own bits where it stores floats."""
    values = _items(order + prop.kind, body, places, np.ones(places.size, dtype=np.int64))
    return values.astype(np.float32 if prop.kind == "f4" else np.float64)


def _lists(prop: Property, order: str, body: NDArray[np.uint8], places: NDArray[np.int64]) -> Polygons:
    """Return the vertex numbers of all faces; what is no whole number becomes -1."""
    length = str(prop.length)
    counts = _items(order + length, body, places, np.ones(places.size, dtype=np.int64)).astype(np.int64)
    values = _items(order + prop.kind, body, places + np.dtype(length).itemsize, counts)
    if prop.kind[0] == "f":
        values = np.where((values == np.floor(values)) & (np.abs(values) < 1e15), values, -1)
    return Polygons(counts, values.astype(np.int64))


def _check_references(path: Path, faces: Polygons, vertices: int) -> None:
    """Refuse faces that ask for a vertex the file does not have."""
    outside = np.flatnonzero((faces.refs < 0) | (faces.refs >= vertices))
    if outside.size:
        face = int(np.searchsorted(np.cumsum(faces.counts), outside[0], side="right"))
        more = f" ({outside.size} such corners in all)" if outside.size > 1 else ""
        what = (
            f"face {face} asks for vertex {int(faces.refs[outside[0]])}, the file has {vertices}, counted from 0{more}"
        )
        raise InputError.one(str(path), what, to_say("Copy or export the part again: it is not whole"))


FORMAT = PartFormat(
    name="PLY",
    ending=".ply",
    asked=3,
    read=lambda _, path, limits: MeshFile(*read_ply(path, limits)),
    certain=lambda first: "PLY" if first.head[:4] in (b"ply\n", b"ply\r") else "",
)
