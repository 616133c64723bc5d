"""Plan an order book: study its parts, carry each recipe once to each kind of machine, fill plates, schedule them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, frozen

from vatwright.planning.carry.carry import planned
from vatwright.planning.demand.practice import job_on
from vatwright.planning.fleet.fleet import plan_fleet
from vatwright.planning.fleet.plate_time import CarriedRecipe
from vatwright.planning.plates.packing import PackingBench
from vatwright.planning.plates.plate_filling import Goods, Packer, Want, wanted_of_each
from vatwright.records.job import Hands, Job
from vatwright.records.material import Resin
from vatwright.records.process import Recipe
from vatwright.records.progress import Progress, silent
from vatwright.records.stock import StationKind
from vatwright.services.carry_recipe import proven_study
from vatwright.services.ports import PartReader, StudyMemory
from vatwright.services.study_parts import PartBench, study_plate
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from vatwright.geometry.part_layers import PartLayers
    from vatwright.records.fleet import FleetPlan
    from vatwright.records.machine import Machine
    from vatwright.records.orders import OrderBook, Past
    from vatwright.records.part import PartUse, Place

    Floats = NDArray[np.float64]

HEIGHT_SHARE = 0.5
"""The plate by which a recipe is carried holds pieces at least this share as tall as the tallest [-]: they set its time."""


@frozen(kw_only=True, eq=False)
class _Material:
    """A recipe with the resin it is used with."""

    recipe: Recipe
    resin_from: Resin
    resin: Resin


class _Book:
    """An order book with its parts studied."""

    def __init__(self, book: OrderBook, read: PartReader, progress: Progress, memory: StudyMemory | None) -> None:
        self.book, self.progress = book, progress
        used = {
            (o.recipe.name, o.resin.name): _Material(recipe=o.recipe, resin_from=o.resin_from, resin=o.resin)
            for o in book.orders
        }
        self.materials = list(used.values())
        self.benches = [
            PartBench(read, layer_nm=m.recipe.settings.layer_nm, progress=progress, memory=memory)
            for m in self.materials
        ]
        self.goods: list[Goods] = []
        self.parts: list[PartUse] = []
        self.wants: list[Want] = []
        self._seen: dict[tuple[str, str | None, float | None, int], int] = {}
        total = sum(len(o.parts) for o in book.orders)
        for order in book.orders:
            material = self._material(order.recipe, order.resin)
            names = frozenset(order.machines or [m.name for m in book.machines])
            for part in order.parts:
                progress(to_say("looking at the pieces"), len(self.wants), total)
                due = math.inf if order.due_s is None else order.due_s
                want = Want(
                    order=order.name, part=part.name, goods=self._good(part, material), count=part.count,
                    due_s=due, machines=names,
                )  # fmt: skip
                self.wants.append(want)

    def _material(self, recipe: Recipe, resin: Resin) -> int:
        return next(
            k for k, m in enumerate(self.materials) if (m.recipe.name, m.resin.name) == (recipe.name, resin.name)
        )

    def _good(self, part: PartUse, material: int) -> int:
        key = (part.file, part.unit, part.pixel_m, material)
        if key not in self._seen:
            layers = self.benches[material].layers(part)
            self._seen[key] = len(self.goods)
            made = _goods(part.name, layers, material, self.materials[material].resin.name)
            self.goods.append(evolve(made, half_turns_only=part.pixel_m is not None))
            self.parts.append(part)
        return self._seen[key]

    def carried(self, machine: Machine, material: int, packer: Packer) -> CarriedRecipe | None:
        """Carry a recipe to a machine with the fullest plate of what may go there; None where nothing may."""
        mine = [
            w for w in self.wants
            if self.goods[w.goods].material == material and machine.name in w.machines
            and packer.fits[w.goods, machine.name]
        ]  # fmt: skip
        if not mine:
            return None
        return self._carry_with(self._fullest(machine, mine), machine, material)

    def _carry_with(self, pieces: Sequence[tuple[int, Place]], machine: Machine, material: int) -> CarriedRecipe:
        used = self.materials[material]
        found: dict[int, list[Place]] = {}
        for kind, place in pieces:
            found.setdefault(kind, []).append(place)
        parts = tuple(evolve(self.parts[g], places=tuple(p), count=len(p)) for g, p in found.items())
        job = Job(
            name=self.book.name,
            recipe=used.recipe,
            origin=next(m for m in self.book.origins if m.name == used.recipe.machine),
            target=machine,
            resin_from=used.resin_from,
            resin=used.resin,
            room_k=self.book.room_k,
            parts=parts,
            hands=Hands(visits=self.book.visits),
            confidence=self.book.confidence,
        )
        job = job_on(job, machine)
        target = study_plate(parts, self.benches[material], machine=machine).study
        self.progress(to_say("carrying {name} to {name_2}", name=used.recipe.name, name_2=machine.name), 0, 1)
        case, chosen = planned(job, proven=proven_study(job, self.benches[material], target), target=target)
        return CarriedRecipe(case=case, chosen=chosen)

    def _fullest(self, machine: Machine, wants: Sequence[Want]) -> list[tuple[int, Place]]:
        """A full plate of the taller pieces, as drawn or half turned: other turns would have to be looked at anew."""
        tallest = max(self.goods[w.goods].height_m for w in wants)
        chosen = [w for w in wants if self.goods[w.goods].height_m >= HEIGHT_SHARE * tallest]
        kinds = [g.kind for g in self.goods]
        bench = PackingBench(kinds, clearance_m=self.book.clearance_m, pitch_m=0.001, turns_deg=(0.0, 180.0))
        queue = [w.goods for w in sorted(chosen, key=lambda w: -self.goods[w.goods].area_m2) for _ in range(w.count)]
        stand, _ = bench.fill(queue, bench.floor(machine.platform, margin_m=self.book.margin_m))
        return [(piece.kind, piece.place) for piece in stand]


def _goods(name: str, layers: PartLayers, material: int, resin: str) -> Goods:
    loops = layers.shadow_m
    return Goods(
        name=name,
        material=material,
        resin=resin,
        loops_m=loops,
        height_m=float(layers.bounds_m[1, 2] - layers.bounds_m[0, 2]),
        torsion_m4=np.asarray(layers.torsion_m4),
        area_m2=sum(_signed_area(loop) for loop in loops),
    )


def _signed_area(loop: Floats) -> float:
    x, y = loop.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2.0


def plan_orders(
    book: OrderBook,
    read: PartReader,
    *,
    past: Past | None = None,
    progress: Progress = silent,
    memory: StudyMemory | None = None,
) -> FleetPlan:
    """Return the plan of an order book.

    Parameters
    ----------
    book : OrderBook
        With every record it names.
    read : PartReader
        Reads part files.
    past : Past or None
        What has happened to an earlier plan.
    progress : Progress
        Told how far the work is; may raise to stop it.
    memory : StudyMemory or None
        What remembers studies from run to run.

    Returns
    -------
    FleetPlan
        Plates, runs, outcomes, bounds.

    Raises
    ------
    InputError
        Where parts cannot be used.
    WillNotWork
        Where a piece fits no machine, or nothing fits into the hours.
    """
    made = _Book(book, read, progress, memory)
    progress(to_say("laying pieces on platforms"), 0, 1)
    packer = Packer(book, made.goods, counts=wanted_of_each(made.wants, len(made.goods)))
    times = {
        (machine.name, material): carried
        for machine in book.machines
        for material in range(len(made.materials))
        if (carried := made.carried(machine, material, packer)) is not None
    }
    progress(to_say("planning plates and runs"), 0, 1)
    notes = (*_doubts(made, times), *_too_big(book, made))
    return plan_fleet(book, made.wants, made.goods, times, past=past, packer=packer, notes=notes, step=progress)


def _doubts(made: _Book, times: Mapping[tuple[str, int], CarriedRecipe]) -> list[str]:
    """Recipes that the full carry does not trust as far as asked."""
    said = []
    for (machine, material), carried in times.items():
        used = made.materials[material]
        if carried.chance < made.book.confidence - 0.005:
            said.append(
                to_say(
                    "{name} on {machine} holds with a chance of {chance:.0f} % on a full plate; "
                    "{confidence:.0f} % was asked for. Carry it on its own to see why.",
                    name=used.resin.name,
                    machine=machine,
                    chance=100 * carried.chance,
                    confidence=100 * made.book.confidence,
                )
            )
    return said


def _too_big(book: OrderBook, made: _Book) -> list[str]:
    """Pieces that no station of a kind takes."""
    said = []
    for kind in StationKind:
        there = [s for s in book.stations if s.kind is kind]
        for goods in made.goods if there else ():
            size = np.ptp(np.concatenate(goods.loops_m), axis=0)
            fits = [
                s for s in there
                if max(size) <= max(s.width_m, s.depth_m) and min(size) <= min(s.width_m, s.depth_m)
                and goods.height_m <= s.height_m
            ]  # fmt: skip
            if not fits:
                said.append(to_say("{name} fits into no {kind} station as it stands.", name=goods.name, kind=kind))
    return said
