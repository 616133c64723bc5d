"""One part, layer by layer, in its own frame: what a study keeps so that moving the part costs nothing.

Layer 0 touches the platform; the part's lowest point is its zero height.
"""

from __future__ import annotations

from bisect import bisect_left
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, frozen

from vatwright.errors import InputError
from vatwright.geometry.layer_torsion import layer_torsion, torsion_from_spans
from vatwright.geometry.mesh import Mesh, inspect, mend
from vatwright.geometry.profile import area_profile, layer_count
from vatwright.geometry.region_track import Regions, connect
from vatwright.geometry.sections import Sections, loop_measures, sections
from vatwright.geometry.spans import Spans, row_pitch, spans, spans_from_bitmaps

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]
    Step = Callable[[str, int, int], None]

NM_PER_M = 1_000_000_000
AGREE = 0.02
"""Share by which exact and row-wise area may differ before the row-wise one is believed [-]: rows of a region 50 rows
high are within this (a midpoint rule)."""

OVERLAP_TOLD = 0.005
"""Overlap below this share of the volume is what supports do when they run into a part, and is not told [-]."""


@frozen(kw_only=True, eq=False)
class PartLayers:
    """Everything the layers of one part demand, in the part's own frame.

    Parameters
    ----------
    layer_nm : int
        Layer thickness [nm].
    bounds_m : (2, 3) ndarray
        Lowest and highest corner [m].
    volume_m3, overlap_m3, surface_m2 : float
        Union, overlap, surface.
    area_m2, perimeter_m, torsion_m4 : (N,) ndarray
        By layer.
    islands : (N,) ndarray of int
        By layer.
    runs : Spans
        Runs of solid, for distances to a window's edge.
    fresh : (F, 4) ndarray
        Layer, x [m], y [m], area [m2] of fresh islands.
    pockets : (K, 4) ndarray
        First layer, last layer, volume [m3], mouth [m2] of sealed pockets.
    base_loops_m, outline_loops_m : tuple of (P, 2) ndarray
        Outlines of the first layer, and of the first and the largest for a picture [m].
    closed : bool
        Whether the mesh is closed.
    warnings : tuple of str
        What is wrong, and where.
    """

    layer_nm: int
    bounds_m: Floats
    volume_m3: float
    overlap_m3: float
    surface_m2: float
    area_m2: Floats
    perimeter_m: Floats
    torsion_m4: Floats
    islands: Counts
    runs: Spans
    fresh: Floats
    pockets: Floats
    base_loops_m: tuple[Floats, ...]
    outline_loops_m: tuple[Floats, ...]
    closed: bool
    warnings: tuple[str, ...]

    @property
    def layers(self) -> int:
        """How many layers."""
        return len(self.area_m2)


def layers_of_mesh(mesh: Mesh, *, layer_nm: int, step: Step) -> PartLayers:
    """Return the layers of a mesh, mended where that is safe; what could not be mended is told, never hidden.

    Parameters
    ----------
    mesh : Mesh
        The part as its file has it.
    layer_nm : int
        Layer thickness [nm].
    step : callable
        Told what is being done, how far and of how much; may raise to stop.

    Returns
    -------
    PartLayers
        With warnings for whatever is open, badly wound, duplicated, inverted or overlapping.

    Raises
    ------
    InputError
        When the middle of no layer cuts it: there is nothing to print.

    Notes
    -----
    Areas are exact where the mesh is closed (Green's theorem on the cuts), less what overlaps; in layers where it is open
    they come from rows of runs, which close each gap with a straight line.
    """
    step("mending", 0, 5)
    mended, notes = mend(mesh)
    health = inspect(mended)
    bottom_m, top_m = float(health.bounds_m[0, 2]), float(health.bounds_m[1, 2])
    count = layer_count(top_m - bottom_m, layer_nm)
    step("areas", 1, 5)
    profile = area_profile(mended, layer_nm=layer_nm, bottom_m=bottom_m, layers=count)
    if not profile.perimeter_m.any():
        raise InputError.one(
            "mesh",
            f"is {(top_m - bottom_m) * 1e3:g} mm tall: no layer of {layer_nm / 1e6:g} mm holds any of it",
            "Check its unit, or take thinner layers",
        )
    step("sections", 2, 5)
    return _measured(
        sections(mended, layer_nm=layer_nm, bottom_m=bottom_m, first=0, count=count),
        bounds_m=health.bounds_m,
        area=profile.area_m2,
        perimeter=profile.perimeter_m,
        open_layers=profile.open_layers,
        closed=health.closed,
        notes=tuple(n.text for n in notes),
        step=step,
    )


def _measured(
    cut: Sections,
    *,
    bounds_m: Floats,
    area: Floats,
    perimeter: Floats,
    open_layers: Counts,
    closed: bool,
    notes: tuple[str, ...],
    step: Step,
) -> PartLayers:
    """Everything that follows from the outlines of all layers, given their exact areas and perimeters."""
    layer_nm = cut.layer_nm
    outlines = (cut.points_m, cut.loop_start, cut.layer_start)
    ruling = row_pitch((*bounds_m[0, :2], *bounds_m[1, :2]))
    runs = spans(*outlines, **ruling._asdict())
    step("regions", 3, 5)
    regions = connect(runs, thickness_m=layer_nm / NM_PER_M)
    step("torsion", 4, 5)
    torsion = layer_torsion(*outlines, spans=runs, regions=regions).layer_torsion_m4
    union, doubtful = _areas(area, runs, open_layers)
    overlap_m3 = float(runs.overlap_area_m2.sum()) * layer_nm / NM_PER_M
    return PartLayers(
        layer_nm=layer_nm,
        bounds_m=bounds_m,
        volume_m3=float(union.sum()) * layer_nm / NM_PER_M,
        overlap_m3=overlap_m3,
        surface_m2=_surface(perimeter, union, layer_nm),
        area_m2=union,
        perimeter_m=perimeter,
        torsion_m4=torsion,
        islands=np.diff(regions.island_start),
        runs=runs,
        fresh=_fresh(regions),
        pockets=_pockets(regions),
        base_loops_m=_loops(cut, 0),
        outline_loops_m=_loops(cut, 0) + _loops(cut, int(np.argmax(union))),
        closed=closed,
        warnings=notes + _told(doubtful, open_layers, overlap_m3, union, layer_nm),
    )


class OutlineStack(NamedTuple):
    """Outlines from the bottom up: lowest height [m], upper height of each slice [m], its closed rings (P, 2) [m]."""

    bottom_m: float
    tops_m: tuple[float, ...]
    rings_m: tuple[tuple[Floats, ...], ...]


def layers_of_outlines(stacks: Sequence[OutlineStack], *, layer_nm: int, step: Step) -> PartLayers:
    """Return the layers of parts that come as stacks of outlines, each layer taking the slice at its middle.

    Parameters
    ----------
    stacks : sequence of OutlineStack
        Outer rings counter-clockwise, holes clockwise.
    layer_nm : int
        Layer thickness [nm]; need not be that of the slices.
    step : callable
        Told how far the work is.

    Returns
    -------
    PartLayers
        As for a mesh.

    Raises
    ------
    InputError
        When there is no ring at all.
    """
    bottom_m = min(s.bottom_m for s in stacks)
    top_m = max((s.tops_m[-1] for s in stacks if s.tops_m), default=bottom_m)
    count = layer_count(top_m - bottom_m, layer_nm)
    rings = [_rings_at(stacks, bottom_m + (k + 0.5) * layer_nm / NM_PER_M) for k in range(count)]
    flat = [ring for layer in rings for ring in layer]
    if not flat:
        raise InputError.one("slices", "hold no outline", "Export the part again")
    step("regions", 3, 5)
    cut = Sections(
        layer_nm=layer_nm,
        bottom_m=bottom_m,
        first=0,
        points_m=np.concatenate(flat),
        loop_start=np.concatenate(([0], np.cumsum([len(r) for r in flat]))).astype(np.int64),
        layer_start=np.concatenate(([0], np.cumsum([len(layer) for layer in rings]))).astype(np.int64),
        loop_open=np.zeros(len(flat), dtype=bool),
    )
    measures = loop_measures(cut)
    layer_of = np.repeat(np.arange(count), np.diff(cut.layer_start))
    low, high = cut.points_m.min(axis=0), cut.points_m.max(axis=0)
    return _measured(
        cut,
        bounds_m=np.array([[*low, bottom_m], [*high, top_m]]),
        area=np.bincount(layer_of, measures.area_m2, count).astype(np.float64),
        perimeter=np.bincount(layer_of, measures.perimeter_m, count).astype(np.float64),
        open_layers=np.zeros(0, dtype=np.int64),
        closed=True,
        notes=(),
        step=step,
    )


def _rings_at(stacks: Sequence[OutlineStack], height_m: float) -> list[Floats]:
    rings: list[Floats] = []
    for stack in stacks:
        index = bisect_left(stack.tops_m, height_m)
        if stack.bottom_m < height_m and index < len(stack.tops_m):
            rings += stack.rings_m[index]
    return rings


def layers_of_bitmaps(
    masks: Iterable[NDArray[np.bool_]], *, pixel_m: float, layers: int, layer_nm: int, step: Step
) -> PartLayers:
    """Return the layers of a stack of pictures, the first one being the layer on the platform.

    Parameters
    ----------
    masks : iterable of (H, W) ndarray of bool
        True where light shines; row 0 is the far edge of the platform.
    pixel_m : float
        Pixel size [m].
    layers : int
        Pictures.
    layer_nm : int
        Layer thickness [nm].
    step : callable
        Told how far the work is.

    Returns
    -------
    PartLayers
        In a frame whose origin is the middle of the picture.

    Notes
    -----
    Perimeters are counted along pixel edges, which overstates slanting outlines by up to 4/pi.
    """
    perimeter: list[float] = []
    size = [1, 1]

    def watched() -> Iterable[NDArray[np.bool_]]:
        for done, mask in enumerate(masks):
            if done % 50 == 0:
                step("reading layers", done, layers)
            size[:] = mask.shape
            perimeter.append(_edge_length(mask) * pixel_m)
            # Pictures run from the far edge towards the person; the platform's y runs away from the person.
            yield mask[::-1]

    raw = spans_from_bitmaps(watched(), pixel_m=pixel_m)
    height, width = size[0] * pixel_m, size[1] * pixel_m
    runs = evolve(
        raw,
        x0_m=raw.x0_m - width / 2.0,
        x1_m=raw.x1_m - width / 2.0,
        origin_m=(raw.origin_m[0] - width / 2.0, raw.origin_m[1] - height / 2.0),
    )
    regions = connect(runs, thickness_m=layer_nm / NM_PER_M)
    area = runs.area_m2
    lines = np.array(perimeter)
    box = regions.box_m
    ends = (box[:, :2].min(axis=0), box[:, 2:].max(axis=0)) if len(box) else (np.zeros(2), np.zeros(2))
    return PartLayers(
        layer_nm=layer_nm,
        bounds_m=np.array([[*ends[0], 0.0], [*ends[1], len(area) * layer_nm / NM_PER_M]]),
        volume_m3=float(area.sum()) * layer_nm / NM_PER_M,
        overlap_m3=0.0,
        surface_m2=_surface(lines, area, layer_nm),
        area_m2=area,
        perimeter_m=lines,
        torsion_m4=torsion_from_spans(runs, regions).layer_torsion_m4,
        islands=np.diff(regions.island_start),
        runs=runs,
        fresh=_fresh(regions),
        pockets=_pockets(regions),
        base_loops_m=_boxes(regions, 0),
        outline_loops_m=_boxes(regions, int(np.argmax(area))) if len(area) else (),
        closed=True,
        warnings=(),
    )


def _areas(exact: Floats, runs: Spans, open_layers: Counts) -> tuple[Floats, Counts]:
    """Area of the union of every layer, and the layers in which it rests on rows alone though the mesh is closed there."""
    union = exact - runs.overlap_area_m2
    by_rows = np.zeros(len(exact), dtype=bool)
    by_rows[open_layers] = True
    # Three shells in one place count twice too often above; then only the rows know.
    piled = np.abs(union - runs.area_m2) > AGREE * runs.area_m2 + runs.pitch_m**2
    piled &= runs.overlap_area_m2 > 0.0
    inverted = (union < 0.0) & ~by_rows
    return np.where(by_rows | piled | inverted, runs.area_m2, union), np.flatnonzero(inverted)


def _surface(perimeter: Floats, area: Floats, layer_nm: int) -> float:
    """Sides from perimeters, and tops and bottoms from what changes between layers."""
    flats = float(np.abs(np.diff(area, prepend=0.0, append=0.0)).sum())
    return float(perimeter.sum()) * layer_nm / NM_PER_M + flats


def _fresh(regions: Regions) -> Floats:
    layer, x, y, area = regions.fresh_islands
    return np.column_stack((layer.astype(np.float64), x, y, area)) if len(layer) else np.zeros((0, 4))


def _pockets(regions: Regions) -> Floats:
    p = regions.pockets
    if not len(p.first_layer):
        return np.zeros((0, 4))
    return np.column_stack((p.first_layer, p.last_layer, p.volume_m3, p.open_area_m2)).astype(np.float64)


def _loops(cut: Sections, layer: int) -> tuple[Floats, ...]:
    loops = range(cut.layer_start[layer], cut.layer_start[layer + 1])
    return tuple(cut.points_m[cut.loop_start[i] : cut.loop_start[i + 1]].copy() for i in loops)


def _boxes(regions: Regions, layer: int) -> tuple[Floats, ...]:
    boxes = regions.box_m[regions.island_start[layer] : regions.island_start[layer + 1]]
    return tuple(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) for x0, y0, x1, y1 in boxes)


def _edge_length(mask: NDArray[np.bool_]) -> float:
    """Length of the outlines of a picture along pixel edges, in pixels."""
    padded = np.pad(mask, 1)
    return float((padded[1:] != padded[:-1]).sum() + (padded[:, 1:] != padded[:, :-1]).sum())


def _told(doubtful: Counts, open_layers: Counts, overlap_m3: float, area: Floats, layer_nm: int) -> tuple[str, ...]:
    told = []
    mm = layer_nm / 1_000_000
    if len(open_layers):
        first, last = int(open_layers[0]), int(open_layers[-1])
        told.append(
            f"the mesh is open in {len(open_layers)} layers between {first + 1} and {last + 1} ({first * mm:.1f} to "
            f"{(last + 1) * mm:.1f} mm): each gap is closed by a straight line there, so these areas are estimates"
        )
    if len(doubtful):
        told.append(f"the mesh is inside out in {len(doubtful)} layers from layer {int(doubtful[0]) + 1}")
    volume = float(area.sum()) * layer_nm / NM_PER_M
    if overlap_m3 > OVERLAP_TOLD * volume:
        told.append(f"shells overlap in {overlap_m3 * 1e9:.0f} mm3; what two claim is counted once")
    return tuple(told)
