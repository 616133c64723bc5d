"""Changes to the parts that may do more than waiting: a vent, plates split by height, a part at a slant, a longer ramp."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from vatwright.geometry.attitude import tilted
from vatwright.geometry.profile import area_profile, layer_count
from vatwright.planning.carry.part_changes import (
    FewWorlds,
    PlanTotals,
    beats_waiting,
    holds_as_often,
    of_plan,
    ramp_can_help,
    rescues,
    tells,
    vent_hole_m,
)
from vatwright.planning.plates.packing import PieceKind
from vatwright.records.part_change import ChangeKind, PartChange, SlowFace
from vatwright.records.plan import EVEN
from vatwright.records.study import SealedPocket
from vatwright.services.study_parts import PartBench, PlatePlan, reader_of, sealed_pockets, study_plate
from vatwright.units import to_si
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from vatwright.geometry.mesh import Mesh
    from vatwright.geometry.part_layers import PartLayers
    from vatwright.planning.carry.advise import Advised
    from vatwright.planning.demand.case import Case
    from vatwright.records.part import PartUse

    Floats = NDArray[np.float64]

TALLER = 1.3
"""Parts are told apart by height where the taller ones are this many times as tall [-]: our own choice."""

EASES = 0.02
"""A vent that takes less than this share of what the hardest layer resists is not looked at further [-]: our own choice."""

TILTS = tuple(math.radians(a) for a in (15.0, 30.0, 45.0))
"""Slants that are tried [rad]; common practice tilts flat parts by 15 to 45 degrees, no source."""

RAMPS = (4, 8, 12)
"""Ramps that are tried; common practice has some 4 to 10 layers, no source."""

LONGER = 1.5
"""A body settle this many times the proven one may be that of the first layers after the base [-]: our own choice."""

NEARLY = 0.9
"""Of ramps, the shortest that saves this share of what the best one does [-]: our own choice."""

COARSE = 4
"""A slant is first looked at in layers this many times as thick: what a section resists does not know the layer."""

MOST_FACES = 150_000
"""A part with more triangles is not tilted here, so that a sheet stays quick: our own choice."""

FACE = 10.0
"""A layer that resists this many times as much as the middle one is a face that may better stand at a slant [-]: our own
choice."""

WAITED = 0.5
"""Share of the time spent on body settle from which that is said first [-]: our own choice."""

SETTLE_SHARE = 0.2
"""Share of the time spent on body settle from which a slant is tried [-]: it can save nothing else."""


class Baseline(NamedTuple):
    """What changes are held against: the few worlds, the plates and what they come to."""

    few: FewWorlds
    plan: PlatePlan
    bench: PartBench
    before: PlanTotals
    sheet: PlanTotals


class Changes(NamedTuple):
    """Changes to a job's parts, and what most of its time is waited for where none of them is to be told first."""

    changes: tuple[PartChange, ...]
    slow_face: SlowFace | None


def part_changes(case: Case, chosen: Advised, bench: PartBench, plan: PlatePlan) -> Changes:
    """Return the changes to a job's parts that save more than an estimate may be off, the most saving first.

    Parameters
    ----------
    case : Case
        What the carry works on.
    chosen : Advised
        What it advises.
    bench : PartBench
        Has read and studied the parts.
    plan : PlatePlan
        The plates as they are.

    Returns
    -------
    Changes
        Each by itself; none costs chance.  A vent is taken to end the pocket's share of what the layers resist; a slant to
        change sections, height and how many fit, supports left out.
    """
    few = FewWorlds(case, chosen)
    before = few.asked(few.as_planned(plan.layers))
    plate = Baseline(few, plan, bench, before, of_plan(case, chosen, plan.layers))
    found = [*_ramps(plate), *_vents(plate), *_splits(plate), *_tilts(plate)]
    told = any(change.worth for change in found)
    return Changes(
        tuple(sorted(found, key=lambda change: -change.saves_s)), None if told else _slow_face(plate, chosen)
    )


def _slow_face(plate: Baseline, chosen: Advised) -> SlowFace | None:
    """The flat part whose settle is most of a run that is long enough to matter."""
    base = chosen.settings.base_layers
    waits_s = sum(float(chosen.settle_s[base:layers].sum()) for layers in plate.plan.layers)
    part, total_s = _hardest(plate), plate.sheet.to_s
    if not (beats_waiting(waits_s, total_s) and waits_s > WAITED * total_s and _is_flat(plate.bench.layers(part))):
        return None
    return SlowFace(part=part.name, waits_s=waits_s, total_s=total_s)


def _kinds(plate: Baseline) -> list[PartUse]:
    """Every part of the job, once."""
    return list({part.name: part for pieces in plate.plan.parts for part in pieces}.values())


def _resisted(plate: Baseline, torsion: dict[str, Floats]) -> Floats:
    """Torsion constants of the fullest plate if a piece of each part had these [m4]."""
    layers = [len(torsion[part.name]) for part in plate.plan.parts[0] if part.name in torsion]
    total = np.zeros(max(layers, default=0))
    for part in plate.plan.parts[0]:
        if part.name in torsion:
            total[: len(torsion[part.name])] += torsion[part.name]
    return total


def _as_is(plate: Baseline) -> dict[str, Floats]:
    return {part.name: plate.bench.layers(part).torsion_m4 for part in _kinds(plate)}


def _change(plate: Baseline, kind: ChangeKind, part: str, after: PlanTotals, **rest: Any) -> PartChange | None:
    """A change that is worth telling, in the sheet's own figures: the few worlds tell by what part they move."""
    before, sheet = plate.before, plate.sheet
    meant = min(max(sheet.chance + after.chance - before.chance, 0.0), 1.0)
    mends = rescues(meant, sheet.chance, plate.few.case.job.confidence)
    if not mends and not (tells(before.to_s - after.to_s, before.to_s) and holds_as_often(after, before)):
        return None
    scale = sheet.to_s / before.to_s
    to_s = scale * after.to_s
    rest |= {name: scale * rest[name] for name in rest if name.endswith("_s")}
    return PartChange(
        kind=kind, part=part, saves_s=sheet.to_s - to_s, to_s=to_s,
        worth=mends or (meant >= EVEN and beats_waiting(sheet.to_s - to_s, sheet.to_s)),
        settle_s=sheet.settle_s, settled_s=after.settle_s, mean=sheet.chance,
        meant=meant, **rest,
    )  # fmt: skip


# --- more layers between base and body ------------------------------------------------------------------------------------


def _ramps(plate: Baseline) -> Iterable[PartChange]:
    """A longer ramp, where the first layers after the base would make all others wait: the shortest that does."""
    job = plate.few.case.job
    proven = job.recipe.settings
    if not ramp_can_help(job) or plate.before.settle_s <= LONGER * proven.body.settle_s:
        return
    now = proven.ramp_layers if job.ramp_layers is None else job.ramp_layers
    as_is = plate.few.as_planned(plate.plan.layers)
    tried = [
        _change(plate, ChangeKind.RAMP, "", plate.few.with_ramp(n).asked(as_is), ramp_layers=n)
        for n in RAMPS
        if n > now
    ]
    found = [change for change in tried if change is not None]
    most_s = max((change.saves_s for change in found), default=0.0)
    yield from [change for change in found if change.saves_s >= NEARLY * most_s][:1]


# --- a hole in a pocket ------------------------------------------------------------------------------------------------


def _vents(plate: Baseline) -> Iterable[PartChange]:
    as_is = _as_is(plate)
    now = _resisted(plate, as_is)
    for part in _kinds(plate):
        layers = plate.bench.layers(part)
        vented = _resisted(plate, as_is | {part.name: layers.vented_m4})
        if not len(layers.pockets) or float((now - vented).max(initial=0.0)) <= EASES * float(now.max(initial=0.0)):
            continue
        after = plate.few.asked(plate.few.with_torsion(vented, plate.plan.layers))
        pockets = _pockets(layers)
        found = _change(
            plate, ChangeKind.VENT, part.name, after, pockets=len(pockets), layer_nm=layers.layer_nm,
            hole_m=vent_hole_m(plate.few.case, pockets, layers.torsion_m4, layers.vented_m4),
            first_layer=max(pockets, key=lambda p: p.open_area_m2).first_layer,
        )  # fmt: skip
        if found:
            yield found


def _pockets(layers: PartLayers) -> list[SealedPocket]:
    """Pockets of a part that a vent is worth looking at for: those below a tenth of the largest mouth pull little."""
    found = sealed_pockets(layers)
    least = 0.1 * max(pocket.open_area_m2 for pocket in found)
    return [pocket for pocket in found if pocket.open_area_m2 >= least]


# --- tall parts on a plate of their own ----------------------------------------------------------------------------------


def _splits(plate: Baseline) -> Iterable[PartChange]:
    height = {part.name: plate.bench.layers(part).layers for part in _kinds(plate)}
    levels = sorted(set(height.values()))
    cuts = [low for low, high in pairwise(levels) if high >= TALLER * low]
    groups = [[[p for p in _kinds(plate) if (height[p.name] <= c) is lower] for lower in (True, False)] for c in cuts]
    guessed = [_guessed(plate, two) for two in groups]
    if not groups or not _saves(plate, min(guessed)):
        return
    likeliest = groups[guessed.index(min(guessed))]
    if _saves(plate, sum(_screened(plate, group) for group in likeliest)):
        yield from _split(plate, *likeliest)


def _saves(plate: Baseline, to_s: float) -> bool:
    return tells(plate.before.to_s - to_s, plate.before.to_s)


def _alone(plate: Baseline, group: Sequence[PartUse]) -> tuple[Floats, tuple[int, ...]]:
    """What these parts resist where they stand, and the layers of every plate that has any of them."""
    names = {part.name for part in group}
    torsion = _resisted(plate, {n: t for n, t in _as_is(plate).items() if n in names})
    each = ([plate.bench.layers(p).layers for p in pieces if p.name in names] for pieces in plate.plan.parts)
    return torsion, tuple(max(layers) for layers in each if layers)


def _guessed(plate: Baseline, groups: Sequence[Sequence[PartUse]]) -> float:
    """Time of all plates, each printed as two, if settle went with what the hardest layer resists [s]."""
    rest_s = plate.before.to_s / sum(plate.plan.layers) - plate.before.settle_s
    hardest = float(plate.plan.study.torsion_m4.max())
    total = 0.0
    for group in groups:
        torsion, layers = _alone(plate, group)
        if not len(torsion):  # none of them stands on the fullest plate: they are apart already
            return math.inf
        total += sum(layers) * (rest_s + plate.before.settle_s * float(torsion.max()) / hardest)
    return total


def _screened(plate: Baseline, group: Sequence[PartUse]) -> float:
    """Time of the plates that these parts alone would take, standing as they stand [s]."""
    return plate.few.asked(plate.few.with_torsion(*_alone(plate, group))).to_s


def _split(plate: Baseline, low: Sequence[PartUse], high: Sequence[PartUse]) -> Iterable[PartChange]:
    """The split with both kinds of plates laid out and studied anew."""
    tall, rest = (_asked_anew(plate, group, plate.bench) for group in (high, low))
    after = PlanTotals(tall.to_s + rest.to_s, min(tall.settle_s, rest.settle_s), min(tall.chance, rest.chance))
    found = _change(plate, ChangeKind.SPLIT, _named(high), after, rest=_named(low), alone_s=tall.to_s, rest_s=rest.to_s)
    return (found,) if found else ()


def _asked_anew(plate: Baseline, parts: Sequence[PartUse], bench: PartBench) -> PlanTotals:
    plan = study_plate(parts, bench, machine=plate.few.case.job.target)
    return plate.few.asked(plate.few.on_the_machine(plan.study, plan.layers))


def _named(parts: Sequence[PartUse]) -> str:
    names = list(dict.fromkeys(part.name for part in parts))
    return (
        names[0] if len(names) == 1 else to_say("{names} and {names_2}", names=", ".join(names[:-1]), names_2=names[-1])
    )


# --- a part at a slant ---------------------------------------------------------------------------------------------------


def _tilts(plate: Baseline) -> Iterable[PartChange]:
    layers = sum(plate.plan.layers)
    if plate.before.settle_s * layers < SETTLE_SHARE * plate.before.to_s:
        return
    part = _hardest(plate)
    if not _is_flat(plate.bench.layers(part)):
        return
    mesh = plate.bench.mesh(part) if plate.bench.turns_freely(part) else None
    if mesh is None or len(mesh.faces) > MOST_FACES:
        return
    tilt = _likeliest(plate, part, mesh)
    # Fewer may fit on a plate, and supports come on top: only what saves much before that is studied.
    if tilt and beats_waiting(plate.before.to_s - _screened_tilt(plate, part, mesh, tilt), plate.before.to_s):
        yield from _tilted(plate, part, mesh, tilt)


def _likeliest(plate: Baseline, part: PartUse, mesh: Mesh) -> float:
    """The slant that saves most if settle went with the square of the largest section, as it does for like ones; 0 for none."""
    layer_nm = plate.bench.layers(part).layer_nm * COARSE
    rest_s = plate.before.to_s / sum(plate.plan.layers) - plate.before.settle_s

    def would_take(tilt_rad: float) -> float:
        turned = slanted(mesh, tilt_rad)
        bottom, top = (float(turned.bounds_m[i, 2]) for i in (0, 1))
        layers = layer_count(top - bottom, layer_nm)
        areas = area_profile(turned, layer_nm=layer_nm, bottom_m=bottom, layers=layers).area_m2
        return layers * (rest_s + plate.before.settle_s * (float(areas.max()) / largest_m2) ** 2)

    largest_m2 = float(plate.bench.layers(part).area_m2.max())
    return min((0.0, *TILTS), key=would_take)


def _is_flat(layers: PartLayers) -> bool:
    """Whether a part is wider than high, or has a face that resists far more than most of its layers do."""
    wide = math.sqrt(float(layers.area_m2.max())) > layers.layers * to_si(layers.layer_nm, "nm")
    return wide or float(layers.torsion_m4.max()) > FACE * float(np.median(layers.torsion_m4))


def _hardest(plate: Baseline) -> PartUse:
    """The part that makes most of what the hardest layer resists."""
    layer = int(np.argmax(plate.few.case.target_study.torsion_m4))
    pieces = Counter(part.name for part in plate.plan.parts[0])

    def resists(part: PartUse) -> float:
        torsion = plate.bench.layers(part).torsion_m4
        return pieces[part.name] * float(torsion[layer]) if layer < len(torsion) else 0.0

    return max(_kinds(plate), key=resists)


def _screened_tilt(plate: Baseline, part: PartUse, mesh: Mesh, tilt_rad: float) -> float:
    """Time of all plates with the part at a slant, seen in coarse layers, as many pieces to a plate as now [s]."""
    fine_nm = plate.plan.study.layer_nm
    coarse = _slanted_bench(plate, part, mesh, tilt_rad, layer_nm=COARSE * fine_nm).layers(part)
    torsion = _as_is(plate) | {part.name: np.repeat(coarse.torsion_m4, COARSE)}
    layers = tuple(max(len(torsion[p.name]) for p in pieces) for pieces in plate.plan.parts)
    return plate.few.asked(plate.few.with_torsion(_resisted(plate, torsion), layers)).to_s


def _slanted_bench(plate: Baseline, part: PartUse, mesh: Mesh, tilt_rad: float, *, layer_nm: int) -> SlantedBench:
    return SlantedBench(plate.bench, part, slanted(mesh, tilt_rad), layer_nm=layer_nm)


def _tilted(plate: Baseline, part: PartUse, mesh: Mesh, tilt_rad: float) -> Iterable[PartChange]:
    bench = _slanted_bench(plate, part, mesh, tilt_rad, layer_nm=plate.plan.study.layer_nm)
    after = _asked_anew(plate, plate.few.case.job.parts, bench)
    found = _change(plate, ChangeKind.TILT, part.name, after, tilt_rad=tilt_rad)
    return (found,) if found else ()


class SlantedBench(PartBench):
    """A bench on which one part stands at a slant and the others as they are.

    Parameters
    ----------
    others : PartBench
        Has the other parts.
    part : PartUse
        The part.
    mesh : Mesh
        It at a slant.
    layer_nm : int
        Layer thickness it is studied in [nm].
    """

    def __init__(self, others: PartBench, part: PartUse, mesh: Mesh, *, layer_nm: int) -> None:
        super().__init__(reader_of(mesh), layer_nm=layer_nm)
        self._others, self._part = others, part

    def _whose(self, part: PartUse) -> PartBench:
        return super() if part.name == self._part.name else self._others  # type: ignore[return-value]

    def layers(self, part: PartUse, *, turn_deg: float = 0.0) -> PartLayers:
        """Return the layers of a part turned about the vertical."""
        return self._whose(part).layers(part, turn_deg=turn_deg)

    def kind(self, part: PartUse) -> PieceKind:
        """Return a part as the packer knows it."""
        return self._whose(part).kind(part)

    def turns_freely(self, part: PartUse) -> bool:
        """Return whether a part can be had in any turn."""
        return self._whose(part).turns_freely(part)


def slanted(mesh: Mesh, tilt_rad: float) -> Mesh:
    """Return a mesh turned about its longer side in plan, so that its shorter side rises."""
    width, depth, _ = mesh.bounds_m[1] - mesh.bounds_m[0]
    return tilted(mesh, tilt_deg=math.degrees(tilt_rad), turn_deg=0.0 if width >= depth else 90.0)
