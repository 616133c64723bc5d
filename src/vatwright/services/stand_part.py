"""How a part should stand: look at a few hundred directions, study the best few, set them against the part as drawn."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, frozen

from vatwright.compiled import on_one_core
from vatwright.errors import InputError
from vatwright.evidence.belief import Belief
from vatwright.geometry.attitude import Facets, clustered, lying_sides, tilted
from vatwright.geometry.mesh import Mesh
from vatwright.geometry.view import front_view
from vatwright.planning.carry.carry import PlateCounts, planned, run_time, success_of
from vatwright.planning.carry.risks import HOLLOW
from vatwright.planning.carry.warmth import refuse_unchecked
from vatwright.planning.demand.base import LEAST_TORSION_M4
from vatwright.planning.demand.holding import weakest_section
from vatwright.planning.demand.lift import pull_n
from vatwright.planning.demand.practice import common_recipe
from vatwright.planning.demand.settle import MISSED_SHARE
from vatwright.planning.plates.packing import pieces_on
from vatwright.planning.stand.choose import advised, shown
from vatwright.planning.stand.glance import NM_PER_M, Looks, Yardstick, yardstick
from vatwright.planning.stand.short_list import short_list
from vatwright.records.job import Job, Shop
from vatwright.records.part import PartUse
from vatwright.records.progress import Progress, silent
from vatwright.records.stand import Portrait, StandSheet, Way
from vatwright.records.study import Study
from vatwright.services.carry_recipe import proven_study
from vatwright.services.ports import PartReader, StudyMemory
from vatwright.services.study_parts import PartBench, reader_of, sealed_pockets, study_plate
from vatwright.services.trial_job import named, recipe_to_start_from
from vatwright.wording import to_say_many

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from vatwright.planning.carry.advise import Advised

    Floats = NDArray[np.float64]

FACES_AT_A_GLANCE = 50_000
"""Faces that a first look is made with [1]: a few milliseconds each, areas within a few thousandths (as tested)."""

DENT_M3 = 1.0e-9
"""A sealed pocket below this is a dent that pulls at nothing, and is not counted [m3]; our own choice."""

MANY_FACES, FEWER = 300_000, 2
"""Of a mesh with so many faces so many directions are studied, so that the answer is there in seconds; our own choice."""

EVERY = 4
"""Every so many of a carry's worlds are asked what a way needs [1]: they tell ways apart as all of them do, sooner."""

CELLS_ACROSS = 96
"""Cells along the longest side of a portrait [1]: what a small picture can show."""

AT_ONCE = 2
"""Directions studied at the same time, each on one core [1]: more would hold a large mesh in memory once more each."""

SIDES = 12
"""Flat sides on which a part is looked at lying [1]."""


class StandWanted(NamedTuple):
    """Which part on which machine, in which resin and room: names; None takes what the recipe says."""

    part: PartUse
    machine: str
    resin: str | None = None
    room_k: float | None = None


def stand_job(shop: Shop, wanted: StandWanted) -> Job:
    """Return the job of one part: from the proven recipe that is nearest, where the shop has none from common practice.

    Raises
    ------
    InputError
        When the shop has no such machine or resin, or nothing says which resin.
    """
    machine = named(shop.machines, wanted.machine, "machine")
    resin = None if wanted.resin is None else named(shop.resins, wanted.resin, "resin")
    recipe = recipe_to_start_from(shop, machine, resin)
    if resin is not None and recipe.resin != resin.name:
        recipe = common_recipe(machine, resin=resin)
    resin_from = named(shop.resins, recipe.resin, "resin")
    return Job(
        name=f"{wanted.part.name} on {machine.name}", recipe=recipe, target=machine,
        origin=named(shop.machines, recipe.machine, "machine"), resin_from=resin_from, resin=resin or resin_from,
        room_k=recipe.proof.room_k if wanted.room_k is None else wanted.room_k, parts=(wanted.part,),
    )  # fmt: skip


def stand_part(
    job: Job,
    read: PartReader,
    *,
    layer_nm: int,
    progress: Progress = silent,
    memory: StudyMemory | None = None,
    belief: Belief | None = None,
) -> StandSheet:
    """Return how the part of a job should stand on the job's machine.

    Parameters
    ----------
    job : Job
        Of one part; see :func:`stand_job`.
    read : PartReader
        Reads part files.
    layer_nm : int
        Layer thickness [nm].
    progress : Progress
        Told how far the work is; may raise to stop it.
    memory : StudyMemory or None
        What remembers studies from run to run; parts turned otherwise are not kept.
    belief : Belief or None
        What noted runs have taught.

    Returns
    -------
    StandSheet
        As drawn, and the ways that no other is better than in everything.

    Raises
    ------
    InputError
        When the part cannot be used: a file without triangles, without a unit, larger than any machine.
    WillNotWork
        In a room that is too cold or too warm for any answer.
    """
    refuse_unchecked(job.room_k, "How it should stand is not told")
    (part,) = job.parts
    bench = PartBench(read, layer_nm=layer_nm, progress=progress, memory=memory)
    proof = PartBench(read, layer_nm=job.recipe.settings.layer_nm, memory=memory)
    with ThreadPoolExecutor(1) as beside:  # reading and joining a large part keep one core busy
        proven = beside.submit(proven_study, job, proof)
        mesh = bench.mesh(part)
        bench.layers(part)
    studies = _Studies(
        job=job, mesh=mesh, facets=Facets.of(mesh), layer_nm=layer_nm, belief=belief, proven=proven.result()
    )
    drawn = studies.way(bench, part, (0.0, 0.0))
    coarse = clustered(studies.facets, faces=FACES_AT_A_GLANCE)
    progress("looking at directions", 0, 1)
    looks = Looks(Facets.of(coarse), studies.yard(drawn))
    listed = short_list(looks, lying_sides(coarse, most=SIDES))
    if len(mesh.faces) > MANY_FACES:
        listed = listed[:FEWER]
    studied = [drawn, *studies.all_turned(part, listed, progress)]
    found = shown(portrayed(coarse, studied))
    hollow = (HOLLOW,) if any(pocket.stays_closed for pocket in sealed_pockets(bench.layers(part))) else ()
    warnings = (*bench.layers(part).warnings, *_left_out(len(listed) + 1 - len(studied)))
    return StandSheet(
        part=part.name, count=part.count, machine=job.target.name, resin=job.resin.name, recipe=job.recipe.name,
        layer_nm=layer_nm, ways=found, advice=advised(found), looked_at=len(looks.seen), warnings=warnings, cautions=hollow,
    )  # fmt: skip


def _left_out(count: int) -> tuple[str, ...]:
    if not count:
        return ()
    return (
        to_say_many(
            count,
            "{n} direction could not be worked out and is left out.",
            "{n} directions could not be worked out and are left out.",
        ),
    )


def standing_corners(part: PartUse, way: Way, read: PartReader, *, layer_nm: int) -> Floats:
    """Return the triangles of a part as it stands, (F, 3, 3) [m]: its middle over the origin, its lowest point at 0."""
    mesh = PartBench(read, layer_nm=layer_nm).mesh(part)
    turned = tilted(mesh, tilt_deg=way.tilt_deg, turn_deg=way.turn_deg)
    low, high = turned.bounds_m
    shift = np.array([*((low + high)[:2] / 2.0), low[2]])
    return np.asarray((turned.vertices_m - shift)[turned.faces])


class _Studied(NamedTuple):
    """A way, what it covers seen from above (P, 2) [m], and where it fits what was chosen for it."""

    way: Way
    plan_m: tuple[Floats, ...]
    chosen: Advised | None
    study: Study | None


def portrayed(mesh: Mesh, studied: Sequence[_Studied]) -> list[Way]:
    """Return ways with their portraits, all on one scale."""
    meshes = [tilted(mesh, tilt_deg=s.way.tilt_deg, turn_deg=s.way.turn_deg) for s in studied]
    cell_m = max(float(np.ptp(m.bounds_m, axis=0)[[0, 2]].max()) for m in meshes) / CELLS_ACROSS
    return [
        evolve(s.way, portrait=Portrait(front=front_view(m, cell_m=cell_m), cell_m=cell_m, plan_m=s.plan_m))
        for s, m in zip(studied, meshes, strict=True)
    ]


@frozen(kw_only=True, eq=False)
class _Studies:
    """Studies one part in one direction after another, each as a job of one piece."""

    job: Job
    mesh: Mesh
    facets: Facets
    layer_nm: int
    proven: Study
    belief: Belief | None

    def all_turned(
        self, part: PartUse, listed: Sequence[tuple[float, float]], progress: Progress
    ) -> Iterator[_Studied]:
        """Yield a part studied in other directions, two at a time; one whose layers cannot be worked out is left out."""

        def attempt(direction: tuple[float, float]) -> _Studied | None:
            with on_one_core(), suppress(InputError):
                return self.turned(part, direction)
            return None

        # A stop asked for by the user waits for the two under way, and starts no others.
        pool = ThreadPoolExecutor(AT_ONCE)
        try:
            for k, found in enumerate(pool.map(attempt, listed)):
                progress("studying the best directions", k, len(listed))
                if found is not None:
                    yield found
        finally:
            pool.shutdown(wait=True, cancel_futures=True)

    def turned(self, part: PartUse, direction: tuple[float, float]) -> _Studied:
        """Return a part studied in another direction."""
        mesh = tilted(self.mesh, tilt_deg=direction[0], turn_deg=direction[1])

        return self.way(PartBench(reader_of(mesh), layer_nm=self.layer_nm), part, direction)

    def way(self, bench: PartBench, part: PartUse, direction: tuple[float, float]) -> _Studied:
        """Return how a part stands as its bench has it."""
        layers, (tilt, turn) = bench.layers(part), direction
        plan_m = bench.kind(part).loops_m
        bare = Way(
            tilt_deg=tilt, turn_deg=turn, height_m=float(layers.bounds_m[1, 2] - layers.bounds_m[0, 2]),
            layers=layers.layers, pockets=int((layers.pockets[:, 2] >= DENT_M3).sum()), pieces=0,
            supports_m2=self.facets.overhang_m2(tilt_deg=tilt, turn_deg=turn, platform_m=layers.layer_nm / NM_PER_M),
        )  # fmt: skip
        try:
            plates = study_plate([part], bench, machine=self.job.target)
        except InputError:  # it does not fit: the part itself was good enough to be cut into layers
            return _Studied(bare, plan_m, None, None)
        study = plates.study
        case, chosen = planned(self.job, proven=self.proven, target=study, belief=self.belief, every=EVERY)
        pull = (
            pull_n(case.target_run(chosen.settings).film("body"), study.reach.front_m)
            if study.reach
            else np.zeros((1, 1))
        )
        counts = PlateCounts(origin=(), target=plates.layers)
        settings = chosen.settings
        body = chosen.settle_s[settings.base_layers + settings.ramp_layers :]
        weak = weakest_section(case, settings)
        way = evolve(
            bare, pieces=pieces_on(self.job.target.platform, bench.kind(part)),
            to_s=run_time(case, settings, chosen.settle_s, counts).to_s,
            body_settle_s=float(np.median(body)) if len(body) else settings.body.settle_s,
            pull_n=float(np.median(pull, axis=0).max()), mean=success_of(chosen.outcome).mean,
            neck=weak.margin if weak else None, neck_m=weak.height_m if weak else None,
        )  # fmt: skip
        return _Studied(way, plan_m, chosen, study)

    def yard(self, drawn: _Studied) -> Yardstick:
        """Return the yardstick of a first look, set by the part as drawn where that fits and has to settle."""
        yard = yardstick(self.job, layer_nm=self.layer_nm)
        if drawn.chosen is None or drawn.study is None:
            return yard
        hardest_m4 = max(float(np.quantile(drawn.study.torsion_m4, 1.0 - MISSED_SHARE)), LEAST_TORSION_M4)
        known = drawn.chosen.least_s["body"][1]
        known = known[np.isfinite(known)]
        needed_s = float(np.median(known)) if len(known) else 0.0
        settle_s = drawn.chosen.settings.body.settle_s
        return evolve(yard, spare_s=max(settle_s - needed_s, 0.0), settle_s_m4=needed_s / hardest_m4)
