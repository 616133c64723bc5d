"""Invented order books for the tests of the fleet: plain pieces, machines of the workshop, times that need no carry."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
from attrs import frozen
from tests.planning.workshop import ROOM_K, machine, resin, settings

from vatwright.planning.fleet.plate_time import QuickPlate
from vatwright.planning.plates.plate_filling import Goods, Want
from vatwright.records.orders import Order, OrderBook, Shift, Unit
from vatwright.records.part import PartUse, PlateLoad
from vatwright.records.process import Proof, Recipe

HOUR_S, DAY_S = 3600.0, 86_400.0
LAYER_M = 5e-5
WREN = machine("Wren")
HERON = machine("Heron", width_mm=216.0, depth_mm=134.0)
ALBATROSS = machine("Albatross", width_mm=296.0, depth_mm=166.0)


@frozen
class PlainTimes:
    """A fixed time a layer, and one for the base."""

    layer_s: float
    base_s: float = 600.0
    visits_s: tuple[float, ...] = ()

    def plate(self, torsion_m4):
        return QuickPlate(print_s=self.at_least(len(torsion_m4)), settle_s=2.0, visits_s=self.visits_s)

    def like_fullest(self, layers):
        return self.at_least(layers)

    def at_least(self, layers):
        return self.base_s + self.layer_s * layers


TIMES = {("Wren", 0): PlainTimes(17.0), ("Heron", 0): PlainTimes(20.0), ("Albatross", 0): PlainTimes(25.0)}


def disc(radius_mm, height_mm, *, name="piece", material=0, resin_name="slate", corners=24) -> Goods:
    turn = np.linspace(0.0, 2.0 * math.pi, corners, endpoint=False)
    loop = radius_mm / 1e3 * np.column_stack((np.cos(turn), np.sin(turn)))
    layers = round(height_mm / 1e3 / LAYER_M)
    return Goods(
        name=name, material=material, resin=resin_name, loops_m=(loop,), height_m=height_mm / 1e3,
        torsion_m4=np.full(layers, math.pi * (radius_mm / 1e3) ** 4 / 2.0), area_m2=math.pi * (radius_mm / 1e3) ** 2,
    )  # fmt: skip


def shifts(days=30, *, hours=(8.0, 18.0), weekend=True):
    """The same hours every day from a Monday at midnight."""
    return tuple(
        Shift(d * DAY_S + hours[0] * HOUR_S, d * DAY_S + hours[1] * HOUR_S) for d in range(days) if weekend or d % 7 < 5
    )


def recipe() -> Recipe:
    proof = Proof(runs=8, room_k=ROOM_K, load=PlateLoad(pieces=4, section_m2=3e-4, height_m=0.003))
    return Recipe(name="proven", machine="Wren", resin="slate", settings=settings(), proof=proof)


def order(name, pieces, due_h=None, machines=()) -> Order:
    """Pieces: (name, count)."""
    parts = tuple(PartUse(name=n, file=f"{n}.stl", count=c) for n, c in pieces)
    due = None if due_h is None else due_h * HOUR_S
    return Order(
        name=name, due_s=due, parts=parts, machines=machines, recipe=recipe(), resin_from=resin(), resin=resin()
    )


def book(orders, units=None, **changes) -> OrderBook:
    units = units or (Unit(name="Wren 1", machine=WREN), Unit(name="Wren 2", machine=WREN))
    whole = {
        "name": "a book", "starts": datetime(2026, 3, 2, tzinfo=UTC), "room_k": ROOM_K, "orders": tuple(orders),
        "units": tuple(units), "origins": (WREN,), "shifts": shifts(),
    }  # fmt: skip
    return OrderBook(**whole | changes)


def wants(a_book, goods) -> list[Want]:
    names = [g.name for g in goods]
    everywhere = frozenset(m.name for m in a_book.machines)
    return [
        Want(
            order=o.name, part=p.name, goods=names.index(p.name), count=p.count,
            due_s=math.inf if o.due_s is None else o.due_s, machines=frozenset(o.machines) or everywhere,
        )
        for o in a_book.orders
        for p in o.parts
    ]  # fmt: skip
