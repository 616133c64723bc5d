"""3MF: a zip package whose model part lists objects, how they are composed, and which of them are built.

Read are the core specification (meshes, components, build items, transforms, units), the path attribute of the
production extension and the slice extension.  Colours and materials are read over.  The package is not trusted:
entries, sizes, names, document types, nesting and instance counts are bounded before anything is unpacked or placed.
"""

from __future__ import annotations

import posixpath
import re
import struct
import urllib.parse
import zipfile
import zlib
from array import array
from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple
from xml.parsers import expat

import attrs
import numpy as np

from vatwright.errors import InputError, Mistake
from vatwright.files.parts.formats import FirstBytes, MeshFile, PartFormat
from vatwright.files.parts.package_3mf_rows import LONGEST_ROW, TRIANGLE, VERTEX, RowKind, read_rows
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from vatwright.files.parts.limits import Limits

# Namespaces and relationship types as the published specifications write them; they are names, nothing is fetched.
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
SLICE = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
MATERIAL = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
START_PART = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
RELATIONSHIPS = "http://schemas.openxmlformats.org/package/2006/relationships"

UNITS = {"micron": "um", "millimeter": "mm", "centimeter": "cm", "inch": "in", "foot": "ft", "meter": "m"}
_IDENTITY = np.vstack([np.eye(3), np.zeros(3)])
_SHOWN_MISTAKES = 8
_CHUNK = 1 << 20
_ALWAYS_FINE_RATIO_BYTES = 1 << 20

Key = tuple[str, str]
"""An object or slice stack: the model part it stands in, and its id there."""


class ObjectUse(NamedTuple):
    """A use of an object: which, and the (4, 3) matrix that row vectors are multiplied with."""

    key: Key
    matrix: NDArray[np.float64]


class Slice(NamedTuple):
    """One slice: its upper height, and its closed rings, each (N, 2) without the repeated first point."""

    z_top: float
    rings: tuple[NDArray[np.float64], ...]


class SliceStack(NamedTuple):
    """Slices from the bottom up, in the unit of the file until :meth:`scaled`."""

    z_bottom: float
    slices: tuple[Slice, ...]

    def scaled(self, times: int, over: int) -> SliceStack:
        """Return the stack with every length multiplied by `times` and divided by `over`."""
        slices = tuple(Slice(s.z_top * times / over, tuple(r * times / over for r in s.rings)) for s in self.slices)
        return SliceStack(self.z_bottom * times / over, slices)


class Package(NamedTuple):
    """What a 3MF builds: corners (F, 3, 3) and slice stacks in `unit`, whether the unit is stated, and warnings."""

    corners: NDArray[np.float64]
    unit: str
    unit_stated: bool
    slices: tuple[SliceStack, ...] | None
    warnings: list[str]


@attrs.define
class _Object:
    """One object of a model part."""

    kind: str = "model"
    vertices: array[float] = attrs.field(factory=lambda: array("d"))
    faces: array[int] = attrs.field(factory=lambda: array("q"))
    components: list[ObjectUse] = attrs.field(factory=list)
    stack: str | None = None
    coarse: bool = False


@attrs.define
class _Stack:
    """One slice stack of a model part: its own slices, or references to other stacks."""

    z_bottom: float = 0.0
    slices: list[Slice] = attrs.field(factory=list)
    references: list[Key] = attrs.field(factory=list)


@attrs.define
class _Model:
    """One model part."""

    unit: str = "mm"
    unit_stated: bool = False
    objects: dict[str, _Object] = attrs.field(factory=dict)
    stacks: dict[str, _Stack] = attrs.field(factory=dict)
    build: list[ObjectUse] = attrs.field(factory=list)


class _Wrong(Exception):  # noqa: N818 - carried only as far as the element's own place
    """A fault and its remedy, raised where an attribute is read."""

    def __init__(self, what: str, do: str = "Export the part again") -> None:
        super().__init__(what)
        self.what, self.do = what, do


def short(name: str) -> str:
    """Return an element's name without its namespace."""
    return name.rpartition(" ")[2]


def read_3mf(path: Path, limits: Limits) -> Package:
    """Return all that the package builds, each object placed as often as it is asked for."""
    try:
        # Numbers that overflow under a transform are refused with the facets they end in.
        with zipfile.ZipFile(path) as archive, np.errstate(over="ignore", invalid="ignore"):
            return _Reader(path, archive, limits).package()
    except InputError:
        raise
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OverflowError, LookupError, struct.error) as fault:
        what = f"the package cannot be unpacked ({fault})"
        raise InputError.one(str(path), what, to_say("Copy or export the part again: it is not whole")) from fault


def check_archive(path: Path, archive: zipfile.ZipFile, limits: Limits) -> None:
    """Refuse a package that is too large, too dense, encrypted, or plays tricks with names."""
    entries = archive.infolist()
    again, plain = "Export the part again", "Do not open this file unless you know who made it"
    mistakes = []
    if len(entries) > limits.zip_entries:
        mistakes.append(
            Mistake(
                str(path),
                to_say(
                    "{entries} files inside, at most {zip_entries} are read",
                    entries=len(entries),
                    zip_entries=limits.zip_entries,
                ),
                again,
            )
        )
    total = sum(e.file_size for e in entries)
    if total > limits.unpacked_bytes:
        what = f"it would unpack to {total} bytes, at most {limits.unpacked_bytes} are read"
        mistakes.append(Mistake(str(path), what, plain))
    names = [e.filename.lower() for e in entries]
    if len(set(names)) < len(names):
        mistakes.append(Mistake(str(path), to_say("two files inside have the same name"), again))
    faults = ((entry, _entry_fault(entry, limits)) for entry in entries[: limits.zip_entries])
    mistakes += [Mistake(f"{path}, {entry.filename[:80]}", fault, plain) for entry, fault in faults if fault]
    if mistakes:
        raise InputError(mistakes[:_SHOWN_MISTAKES])


def _entry_fault(entry: zipfile.ZipInfo, limits: Limits) -> str:
    """Return why one entry of a package is refused, or nothing."""
    pieces = re.split(r"[/\\]", entry.filename)
    if ".." in pieces or entry.filename.startswith("/") or "\\" in entry.filename or ":" in pieces[0]:
        return "its name leads outside the package"
    if entry.flag_bits & 0x1:
        return "it is encrypted"
    if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return "it is packed in a way that 3MF does not allow"
    if entry.file_size > max(_ALWAYS_FINE_RATIO_BYTES, limits.zip_ratio * entry.compress_size):
        ratio = entry.file_size // max(entry.compress_size, 1)
        return f"it unpacks to {ratio} times its size, at most {limits.zip_ratio} times is read"
    return ""


class _Reader:
    """Reads the model parts of one package and puts together what is built."""

    def __init__(self, path: Path, archive: zipfile.ZipFile, limits: Limits) -> None:
        check_archive(path, archive, limits)
        self.path, self.archive, self.limits = path, archive, limits
        self.names = {"/" + e.filename.lower(): e for e in archive.infolist() if not e.is_dir()}
        self.models: dict[str, _Model] = {}
        self.warnings: list[str] = []

    def package(self) -> Package:
        """Return everything the build section asks for."""
        root = self.root_part()
        model = self.model(root, f"{self.path}")
        self.load_all(root)
        if not model.build:
            raise InputError.one(
                f"{self.path}, {root}", to_say("nothing in the file is to be built"), to_say("Export the part again")
            )
        placements = _Placements(self.path, self.models, self.limits)
        corners, stacks, said = placements.place(model.build)
        return Package(corners, model.unit, model.unit_stated, tuple(stacks) or None, self.warnings + said)

    def root_part(self) -> str:
        """Return the name of the model part that the package's relationships point to."""
        if "/_rels/.rels" in self.names:
            found: list[str] = []

            def start(name: str, given: dict[str, str]) -> None:
                if name == f"{RELATIONSHIPS} Relationship" and given.get("Type") == START_PART:
                    found.append(posixpath.normpath(posixpath.join("/", urllib.parse.unquote(given.get("Target", "")))))

            self.parse("/_rels/.rels", start, lambda _: None, lambda: None)
            if found:
                return found[0]
        models = [name for name in self.names if name.endswith(".model")]
        if len(models) == 1:
            self.warnings.append("the package does not say which part is the model; its only model part was read")
            return models[0]
        what = "the package does not say which part is the model"
        raise InputError.one(str(self.path), what, to_say("Make sure it is a 3MF file, and export it again"))

    def load_all(self, root: str) -> None:
        """Read every model part that components, build items or slices of those read so far point to."""
        waiting = [root]
        while waiting:
            name = waiting.pop()
            model = self.model(name, str(self.path))
            keys = [p.key for o in model.objects.values() for p in o.components] + [p.key for p in model.build]
            keys += [key for stack in model.stacks.values() for key in stack.references]
            for part in {part for part, _ in keys if part.lower() not in self.models}:
                self.model(part, f"{self.path}, {name}")
                waiting.append(part)

    def model(self, part: str, asked_by: str) -> _Model:
        """Return a model part, read once."""
        key = part.lower()
        if key not in self.models:
            if key not in self.names:
                what = f"the package has no part {part!r}"
                raise InputError.one(asked_by, what, to_say("Export the part again: it is not whole"))
            if len(self.models) >= self.limits.model_parts:
                what = f"more than {self.limits.model_parts} model parts"
                raise InputError.one(asked_by, what, to_say("Export the parts as separate files"))
            self.models[key] = _ModelParser(self, part).read()
            if len({m.unit for m in self.models.values()}) > 1:
                what = f"its unit is {self.models[key].unit}, unlike that of the other model parts"
                raise InputError.one(f"{self.path}, {part}", what, to_say("Export the part again"))
        return self.models[key]

    def parse(
        self,
        part: str,
        start: Callable[[str, dict[str, str]], None],
        end: Callable[[str], None],
        check: Callable[[], None],
        rows: dict[str, _Rows] | None = None,
    ) -> None:
        """Run an XML part through two handlers, and a check after each chunk; refuse document types and entities.

        Elements named in `rows` hand over what is in them many rows at a time, as far as it is plain.
        """
        parser = expat.ParserCreate(namespace_separator=" ")
        where = f"{self.path}, {part}"

        def refuse(*_: object) -> None:
            what = "it declares a document type or entities, which 3MF does not allow"
            raise InputError.one(where, what, to_say("Do not open this file unless you know who made it"))

        parser.StartDoctypeDeclHandler = refuse
        parser.EntityDeclHandler = refuse
        parser.EndElementHandler = end
        feed = _Feed(parser, start, rows or {})
        with self.entry(part) as stream:
            try:
                while chunk := stream.read(_CHUNK):
                    feed.take(chunk)
                    check()
                feed.end()
            except expat.ExpatError as fault:
                nested = self.archive.open(self.names[part.lower()]).read(4) == b"PK\x03\x04"
                what = "it is a package inside the package" if nested else f"it is not well-formed XML ({fault})"
                raise InputError.one(where, what, to_say("Copy or export the part again: it is not whole")) from fault
            except _Wrong as fault:
                place = f"{where}, line {parser.CurrentLineNumber}"
                raise InputError.one(place, fault.what, fault.do) from fault

    @contextmanager
    def entry(self, part: str) -> Iterator[zipfile.ZipExtFile]:
        """Open one entry; what the archive library says about broken ones becomes a mistake of the file."""
        try:
            with self.archive.open(self.names[part.lower()]) as stream:
                yield stream  # type: ignore[misc]
        except (zlib.error, EOFError, RuntimeError, NotImplementedError) as fault:
            what = f"it cannot be unpacked ({fault})"
            raise InputError.one(f"{self.path}, {part}", what, to_say("Copy or export the part again")) from fault


class _Rows(NamedTuple):
    """How an element's rows are spelled, and who takes their numbers (n, 3)."""

    kind: RowKind
    take: Callable[[NDArray[np.float64]], None]


class _Feed:
    """Feeds an XML parser, except for the plain rows of large elements, which never reach it.

    That an element really opens is for the parser to say, at the very byte: the same letters may stand in a comment.
    """

    def __init__(
        self, parser: expat.XMLParserType, start: Callable[[str, dict[str, str]], None], rows: dict[str, _Rows]
    ) -> None:
        self._parser = parser
        self._rows = {f"<{short(name)}>".encode(): (name, how) for name, how in rows.items()}
        self._open_tag = re.compile(b"|".join(map(re.escape, self._rows))) if rows else None
        self._longest = max(map(len, self._rows), default=1)
        self._held, self._fed = b"", 0
        self._opened = ("", -1)
        self._inside: _Rows | None = None

        def started(name: str, given: dict[str, str]) -> None:
            self._opened = (name, parser.CurrentByteIndex)
            start(name, given)

        parser.StartElementHandler = started

    def take(self, chunk: bytes) -> None:
        """Go on with a chunk; an end that may be cut in the middle waits for the next one."""
        data, self._held = self._held + chunk, b""
        while data:
            data = self._take_rows(data, self._inside) if self._inside else self._to_parser(data)

    def end(self) -> None:
        """Pass on what waits, and the end."""
        self._parser.Parse(self._held, True)

    def _to_parser(self, data: bytes) -> bytes:
        """Feed the parser up to where rows begin, and return the rest; without rows, all but a cut tag."""
        if self._open_tag is None:
            self._pass_on(data)
            return b""
        found = self._open_tag.search(data)
        if found is None:
            cut = data.rfind(b"<", max(0, len(data) - self._longest))
            cut = len(data) if cut < 0 else cut
            self._pass_on(data[:cut])
            self._held = data[cut:]
            return b""
        self._pass_on(data[: found.end()])
        name, how = self._rows[found[0]]
        if self._opened == (name, self._fed - len(found[0])):
            self._inside = how
        return data[found.end() :]

    def _take_rows(self, data: bytes, how: _Rows) -> bytes:
        values, stop = read_rows(data, how.kind)
        if len(values):
            how.take(values)
        self._pass_on(b"\n" * data.count(b"\n", 0, stop))  # so that the parser's line numbers stay right
        rest = data[stop:]
        if len(rest) < LONGEST_ROW and not rest.lstrip().startswith(b"</"):
            self._held = rest
            return b""
        self._inside = None
        return rest

    def _pass_on(self, data: bytes) -> None:
        self._fed += len(data)
        self._parser.Parse(data, False)


class _ModelParser:
    """Turns the elements of one model part into a :class:`_Model`."""

    def __init__(self, reader: _Reader, part: str) -> None:
        self.reader, self.part, self.model = reader, part, _Model()
        self.depth = 0
        self.object = _Object()
        self.stack = _Stack()
        self.points: list[tuple[float, float]] = []
        self.rings: list[list[int]] = []
        self.z_top = 0.0
        self.left_out: set[str] = set()
        self.elements: dict[str, Callable[[dict[str, str]], None]] = {
            f"{CORE} vertex": self.vertex,
            f"{CORE} triangle": self.triangle,
            f"{CORE} model": self.head,
            f"{CORE} object": self.open_object,
            f"{CORE} component": self.component,
            f"{CORE} item": self.item,
            f"{SLICE} slicestack": self.open_stack,
            f"{SLICE} slice": self.open_slice,
            f"{SLICE} vertex": self.slice_vertex,
            f"{SLICE} polygon": self.polygon,
            f"{SLICE} segment": self.segment,
            f"{SLICE} sliceref": self.slice_reference,
        }

    def read(self) -> _Model:
        """Return the model part."""
        rows = {
            f"{CORE} vertices": _Rows(VERTEX, lambda found: self.object.vertices.frombytes(found.tobytes())),
            f"{CORE} triangles": _Rows(
                TRIANGLE, lambda found: self.object.faces.frombytes(found.astype(np.int64).tobytes())
            ),
        }
        self.reader.parse(self.part, self.start, self.end, self.check_size, rows)
        if self.depth < 0:
            raise InputError.one(
                f"{self.reader.path}, {self.part}", to_say("it is no 3MF model"), to_say("Export the part again")
            )
        for name in sorted(self.left_out):
            self.reader.warnings.append(f"the file also holds a {name}, which was left out")
        return self.model

    def start(self, name: str, given: dict[str, str]) -> None:
        """Take in an element."""
        self.depth += 1
        if self.depth > self.reader.limits.xml_depth:
            raise _Wrong(f"elements are nested more than {self.reader.limits.xml_depth} deep")
        handler = self.elements.get(name)
        if handler is not None:
            try:
                handler(given)
            except KeyError as fault:
                raise _Wrong(f"<{short(name)}> has no {fault.args[0]}") from fault
            except (ValueError, OverflowError) as fault:
                raise _Wrong(f"<{short(name)}> holds what is not a number ({fault})") from fault
        elif self.depth == 1:
            raise _Wrong("the part is no 3MF model", "Make sure it is a 3MF file, and export it again")
        elif name.endswith((" beamlattice", " volumetricstack", " booleanshape", " displacementmesh")):
            self.left_out.add(short(name))

    def end(self, name: str) -> None:
        """Close a slice; nothing else needs closing."""
        self.depth -= 1
        if name == f"{SLICE} slice":
            self.close_slice()

    def head(self, given: dict[str, str]) -> None:
        """Read unit and required extensions."""
        if (unit := given.get("unit", "millimeter")) not in UNITS:
            raise _Wrong(f"the unit {unit!r} is none of {', '.join(UNITS)}")
        self.model.unit, self.model.unit_stated = UNITS[unit], "unit" in given
        # Prefixes are resolved from the raw start of the part: the parser hands over names that are resolved already.
        needed = given.get("requiredextensions", "").split()
        unknown = [p for p in needed if self.namespace(p) not in (SLICE, PRODUCTION, MATERIAL)]
        if unknown:
            raise _Wrong(f"the file needs the extension {', '.join(unknown)}, which is not read", "Export a plain mesh")

    def namespace(self, prefix: str) -> str:
        """Return what a prefix stands for in this part."""
        with self.reader.entry(self.part) as stream:
            top = stream.read(65_536).decode("utf-8", "replace")
        found = re.search(rf"xmlns:{re.escape(prefix)}\s*=\s*[\"']([^\"']*)[\"']", top)
        return found[1] if found else ""

    def vertex(self, given: dict[str, str]) -> None:
        """Read a corner of the current mesh."""
        self.object.vertices.extend((float(given["x"]), float(given["y"]), float(given["z"])))

    def triangle(self, given: dict[str, str]) -> None:
        """Read a triangle of the current mesh."""
        self.object.faces.extend((int(given["v1"]), int(given["v2"]), int(given["v3"])))

    def check_size(self) -> None:
        """Stop at a mesh that grows beyond what is read; called once a chunk, so it may overshoot by one."""
        found = max(len(self.object.vertices), len(self.object.faces)) // 3
        if found > self.reader.limits.vertices:
            raise _Wrong(*self.reader.limits.too_many_triangles(found))

    def open_object(self, given: dict[str, str]) -> None:
        """Begin an object."""
        if given["id"] in self.model.objects:
            raise _Wrong(f"two objects have the id {given['id']}")
        self.object = self.model.objects[given["id"]] = _Object(
            kind=given.get("type", "model"),
            stack=given.get(f"{SLICE} slicestackid"),
            coarse=given.get(f"{SLICE} meshresolution") == "lowres",
        )

    def component(self, given: dict[str, str]) -> None:
        """Compose the current object of another."""
        self.object.components.append(self.placed(given))

    def item(self, given: dict[str, str]) -> None:
        """Ask for an object to be built."""
        self.model.build.append(self.placed(given))

    def placed(self, given: dict[str, str]) -> ObjectUse:
        """Return which object is used, and where."""
        part = given.get(f"{PRODUCTION} path", self.part)
        return ObjectUse((part, given["objectid"]), matrix_of(given.get("transform")))

    def open_stack(self, given: dict[str, str]) -> None:
        """Begin a slice stack."""
        self.stack = self.model.stacks[given["id"]] = _Stack(z_bottom=float(given.get("zbottom", "0")))

    def open_slice(self, given: dict[str, str]) -> None:
        """Begin a slice."""
        self.z_top, self.points, self.rings = float(given["ztop"]), [], []
        before = self.stack.slices[-1].z_top if self.stack.slices else self.stack.z_bottom
        if not self.z_top > before:
            raise _Wrong(f"a slice ends at {self.z_top:g}, not above the one before it ({before:g})")
        if len(self.stack.slices) >= self.reader.limits.layers:
            raise _Wrong(f"more than {self.reader.limits.layers} slices")

    def slice_vertex(self, given: dict[str, str]) -> None:
        """Read a corner of the current slice."""
        point = float(given["x"]), float(given["y"])
        if not np.isfinite(point).all():
            raise _Wrong("a corner of a slice is not a finite number")
        self.points.append(point)

    def polygon(self, given: dict[str, str]) -> None:
        """Begin a ring of the current slice."""
        self.rings.append([int(given["startv"])])

    def segment(self, given: dict[str, str]) -> None:
        """Go on along the current ring."""
        if not self.rings:
            raise _Wrong("a segment stands outside a polygon")
        self.rings[-1].append(int(given["v2"]))

    def slice_reference(self, given: dict[str, str]) -> None:
        """Point to a stack in another part."""
        part = given.get("slicepath", self.part)
        self.stack.references.append((part, given["slicestackid"]))

    def close_slice(self) -> None:
        """Check the rings of a slice and keep it."""
        points = np.array(self.points, dtype=np.float64).reshape(-1, 2)
        rings = []
        for ring in self.rings:
            if min(ring) < 0 or max(ring) >= len(points):
                raise _Wrong(f"a slice asks for corner {max(ring)}, it has {len(points)}")
            if ring[0] != ring[-1] or len(ring) < 4:
                raise _Wrong(f"the outline of the slice that ends at {self.z_top:g} is not closed")
            rings.append(points[ring[:-1]])
        self.stack.slices.append(Slice(self.z_top, tuple(rings)))


def matrix_of(text: str | None) -> NDArray[np.float64]:
    """Return the (4, 3) matrix of a transform attribute, the identity if there is none.

    Examples
    --------
    >>> matrix_of("1 0 0 0 1 0 0 0 1 5 6 7")[3].tolist()
    [5.0, 6.0, 7.0]
    """
    if text is None:
        return _IDENTITY
    numbers = np.array([float(word) for word in text.split()])
    if numbers.size != 12 or not np.isfinite(numbers).all():
        raise _Wrong(f"the transform {text[:60]!r} is not twelve finite numbers")
    matrix = numbers.reshape(4, 3)
    if np.linalg.det(matrix[:3]) == 0.0:
        raise _Wrong(f"the transform {text[:60]!r} flattens the part")
    return matrix


def moved(points: NDArray[np.float64], matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return points (N, 3) under a (4, 3) matrix; the identity keeps every bit."""
    return points if np.array_equal(matrix, _IDENTITY) else points @ matrix[:3] + matrix[3]


class _Placements:
    """Counts, then places, what a build section asks for."""

    def __init__(self, path: Path, models: dict[str, _Model], limits: Limits) -> None:
        self.path, self.models, self.limits = path, models, limits
        self.counted: dict[Key, tuple[int, int, int]] = {}
        self.warnings: list[str] = []
        self.stacks: list[SliceStack] = []
        self.pieces: list[NDArray[np.float64]] = []

    def place(self, build: list[ObjectUse]) -> tuple[NDArray[np.float64], list[SliceStack], list[str]]:
        """Return corners, slice stacks and warnings of all build items."""
        totals = [self.count(item.key, ()) for item in build]
        if (triangles := sum(t for t, _, _ in totals)) > self.limits.triangles:
            raise InputError.one(str(self.path), *self.limits.too_many_triangles(triangles))
        if (uses := sum(u for _, u, _ in totals)) > self.limits.placements:
            what = f"objects are placed {uses} times, at most {self.limits.placements} are read"
            raise InputError.one(str(self.path), what, to_say("Export the parts as separate files"))
        self.check_meshes()
        for item in build:
            self.put(item.key, item.matrix)
        if not self.pieces and not self.stacks:
            raise InputError.one(str(self.path), to_say("the file holds no triangles"), to_say("Export the part again"))
        corners = np.concatenate(self.pieces) if self.pieces else np.empty((0, 3, 3))
        return corners, self.stacks, list(dict.fromkeys(self.warnings))

    def get(self, key: Key) -> _Object:
        """Return an object."""
        model = self.models.get(key[0].lower())
        if model is None or key[1] not in model.objects:
            what = f"object {key[1]} is asked for and not there"
            raise InputError.one(f"{self.path}, {key[0]}", what, to_say("Export the part again: it is not whole"))
        return model.objects[key[1]]

    def count(self, key: Key, above: tuple[Key, ...]) -> tuple[int, int, int]:
        """Return the triangles, uses and levels under an object, without placing any; refuse circles."""
        where = f"{self.path}, {key[0]}"
        if key in above:
            ring = " -> ".join(k[1] for k in (*above[above.index(key) :], key))
            raise InputError.one(
                where, to_say("objects are composed of themselves ({ring})", ring=ring), to_say("Export the part again")
            )
        if key not in self.counted and len(above) <= self.limits.component_depth:
            item = self.get(key)
            under = [self.count(c.key, (*above, key)) for c in item.components]
            triangles, uses = sum(t for t, _, _ in under), sum(u for _, u, _ in under)
            levels = 1 + max((d for _, _, d in under), default=0)
            self.counted[key] = (len(item.faces) // 3 + triangles, 1 + uses, levels)
        found = self.counted.get(key)
        if found is None or len(above) + found[2] > self.limits.component_depth:
            what = f"objects are composed more than {self.limits.component_depth} deep"
            raise InputError.one(where, what, to_say("Export the part as one mesh"))
        return found

    def check_meshes(self) -> None:
        """Refuse triangles that ask for corners an object does not have; every such object at once."""
        mistakes = []
        for part, name in self.counted:
            item = self.get((part, name))
            faces, corners = np.array(item.faces, dtype=np.int64), len(item.vertices) // 3
            outside = np.flatnonzero((faces < 0) | (faces >= corners))
            if outside.size:
                first = outside[0]
                what = f"triangle {first // 3} of object {name} asks for corner {faces[first]}, it has {corners}"
                mistakes.append(Mistake(f"{self.path}, {part}", what, to_say("Export the part again: it is not whole")))
        if mistakes:
            raise InputError(mistakes[:_SHOWN_MISTAKES])

    def put(self, key: Key, matrix: NDArray[np.float64]) -> None:
        """Place an object and all it is composed of."""
        item = self.get(key)
        if item.kind != "model":
            self.warnings.append(f"object {key[1]} is marked as {item.kind}; it is studied like any other")
        if item.faces:
            points = moved(np.array(item.vertices).reshape(-1, 3), matrix)
            rows = np.array(item.faces, dtype=np.int64).reshape(-1, 3)
            # A mirrored object keeps its outside outside.
            mirrored = np.linalg.det(matrix[:3]) < 0
            self.pieces.append(points[rows[:, ::-1] if mirrored else rows])
        if item.stack is not None:
            self.put_stack((key[0], item.stack), matrix)
            if item.coarse:
                self.warnings.append(f"the mesh of object {key[1]} is a coarse stand-in; its slices are the real shape")
        for part in item.components:
            self.put(part.key, np.vstack([part.matrix[:3] @ matrix[:3], part.matrix[3] @ matrix[:3] + matrix[3]]))

    def put_stack(self, key: Key, matrix: NDArray[np.float64]) -> None:
        """Place a slice stack; slices can be moved and turned in their plane only."""
        if matrix[2, 2] != 1 or matrix[:2, 2].any() or matrix[2, :2].any():
            what = f"slice stack {key[1]} is tilted or stretched in height, which slices do not allow"
            raise InputError.one(f"{self.path}, {key[0]}", what, to_say("Export the part again, or without slices"))
        stack = self.find_stack(key)
        parts = [self.find_stack(r) for r in stack.references] or [stack]
        if any(p.references for p in parts if p is not stack):
            what = f"slice stack {key[1]} points to stacks that point on"
            raise InputError.one(f"{self.path}, {key[0]}", what, to_say("Export the part again"))
        up = matrix[3, 2]
        for part in parts:
            slices = tuple(Slice(s.z_top + up, tuple(_in_plane(r, matrix) for r in s.rings)) for s in part.slices)
            self.stacks.append(SliceStack(part.z_bottom + up, slices))

    def find_stack(self, key: Key) -> _Stack:
        """Return a slice stack."""
        model = self.models.get(key[0].lower())
        if model is None or key[1] not in model.stacks:
            what = f"slice stack {key[1]} is asked for and not there"
            raise InputError.one(f"{self.path}, {key[0]}", what, to_say("Export the part again: it is not whole"))
        return model.stacks[key[1]]


def _in_plane(ring: NDArray[np.float64], matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a ring under the plane part of a matrix, its direction kept when it is mirrored."""
    turned = ring @ matrix[:2, :2] + matrix[3, :2]
    return turned[::-1] if np.linalg.det(matrix[:2, :2]) < 0 else turned


def _certain(first: FirstBytes) -> str:
    return "3MF" if first.head.startswith((b"PK\x03\x04", b"PK\x05\x06")) else ""


def _likely(first: FirstBytes) -> str:
    if first.path.suffix.lower() == FORMAT.ending and not first.text:
        raise InputError.one(
            str(first.path), to_say("it is no 3MF package"), to_say("Copy or export the part again: it is not whole")
        )
    return ""


def _read(_kind: str, path: Path, limits: Limits) -> MeshFile:
    package = read_3mf(path, limits)
    return MeshFile(package.corners, package.warnings, package.unit, package.unit_stated, package.slices)


FORMAT = PartFormat(name="3MF", ending=".3mf", asked=1, read=_read, has_unit=True, certain=_certain, likely=_likely)
