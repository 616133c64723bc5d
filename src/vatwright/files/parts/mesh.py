"""A part file in, arrays and plain warnings out: which reader a file gets, and what is refused before and after.

Part files come from strangers.  Everything that could fill the memory or the disk is bounded by :class:`Limits`, and
whatever cannot be used is refused with its place and a remedy, as many mistakes at once as can be told apart.
"""

from __future__ import annotations

import difflib
import errno
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import attrs
import numpy as np
from numpy.typing import NDArray

from vatwright.compiled import kernel
from vatwright.errors import InputError, Mistake
from vatwright.files.parts import bitmaps as part_bitmaps
from vatwright.files.parts.bitmaps import LayerBitmaps
from vatwright.files.parts.formats import FirstBytes, format_of, formats, names
from vatwright.files.parts.limits import LIMITS, Limits
from vatwright.files.parts.package_3mf import SliceStack
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.geometry.mesh import Mesh


class LengthUnit(NamedTuple):
    """A unit of part files: one of it is `times / over` metres."""

    times: int
    over: int
    plural: str


UNITS = {
    "um": LengthUnit(1, 1_000_000, "micrometres"),
    "mm": LengthUnit(1, 1_000, "millimetres"),
    "cm": LengthUnit(1, 100, "centimetres"),
    "m": LengthUnit(1, 1, "metres"),
    # The inch is 25.4 mm and the foot 0.3048 m exactly, by the international agreement of 1959 (from memory).
    "in": LengthUnit(254, 10_000, "inches"),
    "ft": LengthUnit(3_048, 10_000, "feet"),
}
_SPELLINGS = {
    "inch": "in",
    "inches": "in",
    '"': "in",
    "foot": "ft",
    "feet": "ft",
    "micron": "um",
    "µm": "um",
    "μm": "um",
}

SMALL_M, LARGE_M = 0.002, 1.0
"""A part with a largest side below 2 mm or above 1 m was probably drawn in another unit; common practice, no source."""
USUAL_M = (0.005, 0.5)
"""Sizes that a unit must give to be worth suggesting; common practice, no source."""
COARSE_STEP_M = 1e-6
"""Float32 steps above this are worth a word: a tenth of the thinnest layers is 1 um."""

_FOREIGN = {
    b"\x89PNG": "a single picture",
    b"\xff\xd8\xff": "a single picture",
    b"GIF8": "a single picture",
    b"II*\x00": "a single picture",
    b"MM\x00*": "a single picture",
    b"%PDF": "a PDF document",
    b"\x1f\x8b": "a gzip archive",
    b"7z\xbc\xaf": "a 7z archive",
    b"Rar!": "a RAR archive",
    b"\xff\xfe": "text in UTF-16",
    b"\xfe\xff": "text in UTF-16",
    b"OFF": "an OFF mesh",
    b"ISO-10303": "a STEP drawing",
}
_SHOWN_FACETS = 5


@attrs.frozen(kw_only=True, eq=False)
class PartFile:
    """What a part file holds, as it is stored, and how to bring it to metres.

    Parameters
    ----------
    name : str
        The file's or folder's name, for messages.
    kind : str
        ``"binary STL"``, ``"text STL"``, ``"3MF"``, ``"OBJ"``, ``"PLY"`` or ``"layer bitmaps"``.
    corners : ndarray, shape (F, 3, 3)
        Facets x corners x (x, y, z) in `unit`; float32 with the file's own bits where it stores float32, else
        float64.  Corners that share a vertex have the same bits.  Empty for layer bitmaps and for a 3MF of slices only.
    unit : str
        A key of :data:`UNITS`.
    unit_origin : str
        ``"given"``, ``"the file says so"`` or ``"the 3MF default"``.
    warnings : tuple of str
        Plain sentences about what is odd but usable.
    slices : tuple of SliceStack or None
        The slices of a 3MF, one stack per use of an object, lengths in metres.
    masks : LayerBitmaps or None
        The layers of a folder of bitmaps.
    """

    name: str
    kind: str
    corners: NDArray[np.floating]
    unit: str
    unit_origin: str
    warnings: tuple[str, ...] = ()
    slices: tuple[SliceStack, ...] | None = None
    masks: LayerBitmaps | None = None

    @property
    def corners_m(self) -> NDArray[np.float64]:
        """Corners (F, 3, 3) [m], made anew; equal bits stay equal, and minus zero becomes zero."""
        scale = UNITS[self.unit]
        metres: NDArray[np.float64] = np.multiply(self.corners, scale.times, dtype=np.float64)
        metres /= scale.over
        metres += 0.0
        return metres

    def mesh(self) -> Mesh:
        """Return the triangles joined, in metres.

        Single precision is joined as it is stored, which takes a third of the memory and comes to the same: no two
        single numbers become one in metres of double precision.
        """
        from vatwright.geometry.mesh import Mesh, merge_triangles

        if self.corners.dtype != np.float32:
            return merge_triangles(self.corners_m)
        stored = merge_triangles(self.corners)
        scale = UNITS[self.unit]
        metres = stored.vertices_m * scale.times
        metres /= scale.over
        return Mesh(vertices_m=metres, faces=stored.faces)


class Survey(NamedTuple):
    """One pass over all facets: bounds (3,), facets with a corner that is no finite number, facets without area."""

    low: NDArray[np.float64]
    high: NDArray[np.float64]
    not_finite: NDArray[np.int64]
    not_finite_count: int
    without_area: int


def read_part(
    path: str | Path,
    *,
    unit: str | None = None,
    pixel_m: float | None = None,
    layer_nm: int | None = None,
    limits: Limits = LIMITS,
) -> PartFile:
    """Return what a part file, or a folder of layer bitmaps, holds.

    Parameters
    ----------
    path : str or Path
        STL, 3MF, OBJ or PLY (told apart by content, not by name), or a folder of PNG, BMP or TIFF layers.
    unit : str, optional
        ``um``, ``mm``, ``cm``, ``m``, ``in`` or ``ft``; needed for STL, OBJ and PLY, which have none.
    pixel_m : float, optional
        Side of a pixel [m]; needed for a folder of bitmaps.
    layer_nm : int, optional
        Layer thickness [nm]; needed for a folder of bitmaps.
    limits : Limits, optional
        What the file may ask for.

    Returns
    -------
    PartFile

    Raises
    ------
    InputError
        The file cannot be used; every mistake that can be told apart, with its place and remedy.

    Notes
    -----
    Nothing is repaired or merged here.  Stored normals are not used.  A 3MF always keeps its own unit.

    References
    ----------
    3MF Consortium, 3D Manufacturing Format: core specification, and slice extension 1.0.
    """
    path = Path(path)
    mistakes = [] if unit is None or unit in UNITS else [_no_such_unit(unit)]
    try:
        if _is_folder(path, limits):
            return _bitmaps(path, unit, pixel_m, layer_nm, mistakes, limits)
        return _mesh(path, unit, mistakes, limits)
    except InputError as fault:
        raise InputError([*mistakes, *fault.mistakes]) from fault
    except MemoryError as fault:
        what = "it does not fit into this computer's memory"
        raise InputError(
            [*mistakes, Mistake(str(path), what, to_say("Simplify the mesh or split the part"))]
        ) from fault
    except OSError as fault:
        what = f"it cannot be read ({fault.strerror or fault})"
        raise InputError(
            [*mistakes, Mistake(str(path), what, to_say("Check the file and your rights to it"))]
        ) from fault


def _is_folder(path: Path, limits: Limits) -> bool:
    """Tell a folder from a file; refuse what is neither, empty or too large."""
    try:
        status = path.stat()
    except OSError as fault:
        if fault.errno not in (errno.ENOENT, errno.ENOTDIR, errno.ENAMETOOLONG):
            raise
        raise InputError.one(str(path), to_say("there is no such file"), _similar(path)) from fault
    except ValueError as fault:
        raise InputError.one(repr(str(path)), to_say("this is no file name"), to_say("Check the name")) from fault
    if path.is_dir():
        return True
    if not path.is_file():
        raise InputError.one(str(path), to_say("it is neither a file nor a folder"), to_say("Give a part file"))
    if status.st_size == 0:
        raise InputError.one(str(path), to_say("the file is empty"), to_say("Copy or export the part again"))
    if status.st_size > limits.file_bytes:
        what = f"the file has {status.st_size} bytes, at most {limits.file_bytes} are read"
        raise InputError.one(str(path), what, to_say("Simplify the mesh before exporting it, or split the part"))
    return False


def _similar(path: Path) -> str:
    """Return a hint at a file of nearly the same name beside a missing one."""
    try:
        beside = [p.name for p in path.parent.iterdir()] if path.parent.is_dir() else []
    except OSError:
        beside = []
    close = difflib.get_close_matches(path.name, beside, n=1)
    return f"Did you mean {close[0]}?" if close else "Check the name and the folder"


def _bitmaps(
    path: Path, unit: str | None, pixel_m: float | None, layer_nm: int | None, mistakes: list[Mistake], limits: Limits
) -> PartFile:
    """Read a folder of layer bitmaps."""
    masks, warnings = part_bitmaps.read_folder(path, pixel_m=pixel_m, layer_nm=layer_nm, limits=limits)
    if mistakes:
        raise InputError([])
    if unit is not None:
        warnings.append("a unit was given and not used: pictures have the pixel size that was given")
    return PartFile(
        name=path.name,
        kind="layer bitmaps",
        corners=np.empty((0, 3, 3)),
        unit="m",
        unit_origin="given",
        warnings=tuple(warnings),
        masks=masks,
    )


def _mesh(path: Path, unit: str | None, mistakes: list[Mistake], limits: Limits) -> PartFile:
    """Read a mesh file; mistakes about its unit are reported with those inside it."""
    kind = kind_of(path)
    warnings = _about_the_name(path, kind)
    form = format_of(kind)
    if unit is None and not form.has_unit:
        mistakes.append(unit_missing(path, kind))
    held = form.read(kind, path, limits)
    corners, origin, slices = held.corners, "given", None
    if held.unit is not None:
        if unit is not None and unit != held.unit:
            warnings.append(f"{unit} was given and not used: {path.name} is in {UNITS[held.unit].plural}")
        unit, origin = held.unit, "the file says so" if held.unit_stated else f"the {form.name} default"
        scale = UNITS[unit]
        slices = tuple(s.scaled(scale.times, scale.over) for s in held.slices) if held.slices else None
    warnings += held.warnings
    if len(corners) == 0 and slices:
        survey = None
    else:
        survey = survey_of(corners)
        found = _mistakes_in(path, survey, len(corners), unit, limits)
        if found or mistakes:
            raise InputError(found)
    if unit is None or mistakes:
        raise InputError([])
    if survey is not None:
        warnings += size_warnings(path.name, survey, unit, coarse=corners.dtype == np.float32)
    return PartFile(
        name=path.name,
        kind=kind,
        corners=corners,
        unit=unit,
        unit_origin=origin,
        warnings=tuple(warnings),
        slices=slices,
    )


def kind_of(path: Path) -> str:
    """Return which kind of file it is, from its first bytes and length; its name decides only for damaged files.

    Raises
    ------
    InputError
        Where it is no part that can be read, going by these.
    """
    with path.open("rb") as stream:
        head = stream.read(4096)
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    is_text = b"\x00" not in head
    first = FirstBytes(path, path.stat().st_size, head, _first_words(text) if is_text else (), text if is_text else b"")
    if kind := next((k for f in formats() if (k := f.certain(first))), ""):
        return kind
    for start, what in _FOREIGN.items():
        if head.startswith(start):
            raise InputError.one(str(path), to_say("it is {what}, not a part", what=what), _export())
    if first.text.startswith(b"<"):
        raise InputError.one(str(path), *_marked_up(text))
    if kind := next((k for f in formats() if (k := f.likely(first))), ""):
        return kind
    if first.text and path.suffix.lower() in {f.ending for f in formats()}:
        what = f"it is a text, but not a part: it starts with {text[:24].decode('ascii', 'replace')!r}"
        raise InputError.one(str(path), what, to_say("Copy or export the part again"))
    raise InputError.one(str(path), to_say("it is no {names} file, going by its content", names=names()), _export())


def _export() -> str:
    return f"Export the part as {names()}, or give a folder of layer pictures"


def _first_words(text: bytes) -> tuple[bytes, ...]:
    """Return the first word of each line that is no remark."""
    return tuple(
        line.split(None, 1)[0] for line in text.splitlines() if line.strip() and not line.lstrip().startswith(b"#")
    )


def _marked_up(text: bytes) -> tuple[str, str]:
    """Return fault and remedy of a web page or another XML text."""
    if b"<html" in text or b"<!doctype html" in text:
        what = "it is a web page that was saved under this name, not a part"
        return what, "Download the part itself, not the page about it"
    return "it is an XML text, not a part", _export()


def _about_the_name(path: Path, kind: str) -> list[str]:
    """Say so when a file's name promises another format."""
    if path.suffix.lower() == format_of(kind).ending:
        return []
    return [f"{path.name} is {'an' if kind == 'OBJ' else 'a'} {kind} by its content and was read as one"]


def _no_such_unit(unit: str) -> Mistake:
    """Return the mistake of an unknown unit."""
    meant = _SPELLINGS.get(unit.strip().lower(), unit.strip().lower())
    do = f"Write {meant}" if meant in UNITS else f"Use one of {', '.join(UNITS)}"
    return Mistake("unit", to_say("{unit!r} is no unit of length that is known here", unit=unit), do)


def unit_missing(path: Path, kind: str) -> Mistake:
    """Return the mistake of a missing unit."""
    do = f'Write unit = "mm" for it in the job file, or --unit mm (one of {", ".join(UNITS)})'
    return Mistake(str(path), to_say("{kind} files have no unit of length", kind=kind.rpartition(" ")[2]), do)


@kernel
def _survey(
    corners: NDArray[np.floating], low: NDArray[np.float64], high: NDArray[np.float64], bad: NDArray[np.int64]
) -> tuple[int, int]:
    """Fill bounds and the first facets that are not finite; return how many of these, and how many without area."""
    not_finite, without_area = 0, 0
    for f in range(corners.shape[0]):
        total = 0.0
        for c in range(3):
            for k in range(3):
                total += abs(np.float64(corners[f, c, k]))
        if not total < np.inf:
            if not_finite < bad.size:
                bad[not_finite] = f
            not_finite += 1
            continue
        for k in range(3):
            for c in range(3):
                low[k] = min(low[k], np.float64(corners[f, c, k]))
                high[k] = max(high[k], np.float64(corners[f, c, k]))
        flat = True
        for k in range(3):
            i, j = (k + 1) % 3, (k + 2) % 3
            ax = np.float64(corners[f, 1, i]) - np.float64(corners[f, 0, i])
            ay = np.float64(corners[f, 1, j]) - np.float64(corners[f, 0, j])
            bx = np.float64(corners[f, 2, i]) - np.float64(corners[f, 0, i])
            by = np.float64(corners[f, 2, j]) - np.float64(corners[f, 0, j])
            flat = flat and ax * by == ay * bx
        without_area += flat
    return not_finite, without_area


def survey_of(corners: NDArray[np.floating]) -> Survey:
    """Return bounds, bad facets and facets without area of `corners` (F, 3, 3), in one pass.

    Examples
    --------
    >>> survey_of(np.array([[[0.0, 0, 0], [1, 0, 0], [0, 2, 0]]])).high.tolist()
    [1.0, 2.0, 0.0]
    """
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    bad = np.zeros(_SHOWN_FACETS, dtype=np.int64)
    not_finite, without_area = _survey(np.ascontiguousarray(corners), low, high, bad)
    return Survey(low, high, bad[:not_finite], int(not_finite), int(without_area))


def _mistakes_in(path: Path, survey: Survey, facets: int, unit: str | None, limits: Limits) -> list[Mistake]:
    """Return what is wrong with the facets themselves."""
    if facets == 0:
        return [Mistake(str(path), to_say("the file holds no triangles"), to_say("Export the part again"))]
    mistakes = []
    if survey.not_finite_count:
        some = ", ".join(str(f + 1) for f in survey.not_finite.tolist())
        more = f" and {rest} more" if (rest := survey.not_finite_count - len(survey.not_finite)) else ""
        what = f"corners that are not finite numbers, in facet {some}{more}"
        mistakes.append(Mistake(str(path), what, to_say("Export the part again")))
    if survey.without_area == facets - survey.not_finite_count and survey.without_area:
        what = f"none of its {facets} triangles has an area"
        mistakes.append(
            Mistake(str(path), what, to_say("Export the part again, in a smaller unit if its numbers are very small"))
        )
    farthest = float(np.max(np.abs([survey.low, survey.high]))) if survey.not_finite_count < facets else 0.0
    scale = UNITS[unit] if unit in UNITS else UNITS["um"]
    if farthest * scale.times / scale.over > limits.extent_m:
        what = f"a coordinate of {farthest:g} {unit or ''}".rstrip() + f" is beyond {limits.extent_m:g} m"
        mistakes.append(Mistake(str(path), what, to_say("Check the unit, and move the part to the origin")))
    return mistakes


def size_warnings(name: str, survey: Survey, unit: str, *, coarse: bool) -> list[str]:
    """Return doubts about a part's size and place: another unit may have been meant, or its numbers are too coarse.

    Examples
    --------
    >>> survey = survey_of(np.array([[[0.0, 0, 0], [1, 0, 0], [0, 0, 1.6]]]))
    >>> size_warnings("lantern.stl", survey, "mm", coarse=False)
    ['lantern.stl is 1.6 mm tall; if it was drawn in inches it would be 40.6 mm: check the unit']
    """
    said = []
    scale = UNITS[unit]
    sizes = survey.high - survey.low
    axis = int(np.argmax(sizes))
    size_m = float(sizes[axis]) * scale.times / scale.over
    if 0 < size_m < SMALL_M or size_m > LARGE_M:
        way = ("wide", "deep", "tall")[axis]
        said.append(f"{name} is {_millimetres(size_m)} {way}{_better_unit(float(sizes[axis]))}: check the unit")
    farthest_m = float(np.max(np.abs([survey.low, survey.high]))) * scale.times / scale.over
    step_m = farthest_m * float(np.finfo(np.float32).eps)
    if coarse and step_m > COARSE_STEP_M:
        said.append(
            f"{name} lies {farthest_m:.3g} m from the origin, where its numbers step by {step_m * 1e6:.2g} um: "
            "move it to the origin before exporting"
        )
    return said


def _millimetres(size_m: float) -> str:
    """Return a length in millimetres, three digits or to the whole millimetre."""
    size_mm = size_m * 1e3
    return f"{size_mm:.3g} mm" if size_mm < 1_000 else f"{size_mm:.0f} mm"


def _better_unit(size: float) -> str:
    """Return which unit would give a usual size, as a clause."""
    for name in ("in", "mm", "cm", "m", "ft", "um"):
        scale = UNITS[name]
        if USUAL_M[0] <= (size_m := size * scale.times / scale.over) <= USUAL_M[1]:
            return f"; if it was drawn in {scale.plural} it would be {_millimetres(size_m)}"
    return ""
