"""A large order book and thousands of parts: ``python -m benchmarks.fleet``, a few minutes; prints, writes nothing.

The book: 2,000 pieces of 200 kinds in 20 orders on 12 machines, through the whole service, part files to plan.
The parts: 5,000 distinct meshes on a dask cluster of two workers, one of them killed in the middle.
``make bench`` takes both smaller, for its page.
"""

from __future__ import annotations

import itertools
import os
import signal
import sys
import tempfile
import time
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve
from demo.make_parts import extrude

from vatwright.files.read import read_shop
from vatwright.records.orders import Order, OrderBook, Past, Shift, Unit
from vatwright.records.part import PartUse
from vatwright.wiring import demo_folder, plan_book, warm_up

if TYPE_CHECKING:
    from collections.abc import Iterator

KINDS, EACH, ORDERS, MESHES = 200, 10, 20, 5000
UNITS = {"Wren": 6, "Heron": 4, "Albatross": 2}
HOURS = (7.0, 22.0)
HOUR_S, DAY_S = 3600.0, 86_400.0


def kind(folder: Path, number: int) -> PartUse:
    """A raft, a stem and a head: three irregular prisms on each other, each kind another."""
    draw = np.random.default_rng(number)
    height = float(draw.uniform(15.0, 80.0))
    levels = np.cumsum([1.0, height * 0.7, height * 0.3])
    radius = float(draw.uniform(6.0, 18.0))
    solid, low = [], 0.0
    for level, share in zip(levels, (1.0, 0.5, 0.9), strict=True):
        turn = (np.arange(9) + 0.8 * draw.random(9)) * 2.0 * np.pi / 9
        reach = share * radius * (0.35 + 0.65 * draw.random(9))
        outline = list(zip(reach * np.cos(turn), reach * np.sin(turn), strict=True))
        # The fan of `extrude` needs an outline seen whole from its first corner: from the middle all are.
        for a, b in zip(outline, outline[1:] + outline[:1], strict=True):
            solid.append(extrude([(0.0, 0.0), a, b], max(low - 0.05, 0.0), float(level)))
        low = float(level)
    corners = np.concatenate(solid)
    record = np.zeros(len(corners), dtype=[("normal", "<3f4"), ("corners", "<9f4"), ("extra", "<u2")])
    record["corners"] = corners.reshape(-1, 9)
    path = folder / f"kind-{number:03d}.stl"
    path.write_bytes(b" " * 80 + np.uint32(len(corners)).tobytes() + record.tobytes())
    return PartUse(name=path.stem, file=str(path), unit="mm", count=EACH)


def book(folder: Path, kinds: int) -> OrderBook:
    """So many kinds in 20 orders, due four at a time from the third day on."""
    shop = read_shop(demo_folder() / "shop.toml")
    machines = {m.name: m for m in shop.machines}
    slate = next(r for r in shop.resins if r.name == "slate")
    parts = [kind(folder, k) for k in range(kinds)]
    size = kinds // ORDERS
    orders = tuple(
        Order(
            name=f"order {i + 1}", due_s=DAY_S * (3 + 2 * (i // 4)), parts=tuple(parts[i * size : (i + 1) * size]),
            recipe=shop.recipes[0], resin_from=slate, resin=slate,
        )
        for i in range(ORDERS)
    )  # fmt: skip
    return OrderBook(
        name="benchmark", starts=datetime(2026, 3, 2, tzinfo=UTC), room_k=293.15, orders=orders,
        units=tuple(Unit(name=f"{n} {k + 1}", machine=machines[n]) for n, c in UNITS.items() for k in range(c)),
        origins=shop.machines, persons=3,
        shifts=tuple(Shift(DAY_S * d + HOURS[0] * HOUR_S, DAY_S * d + HOURS[1] * HOUR_S) for d in range(60)),
    )  # fmt: skip


class Stages:
    """Progress that notes when each stage began."""

    def __init__(self) -> None:
        self.began: dict[str, float] = {}

    def __call__(self, what: str, done: int, total: int) -> None:  # noqa: ARG002 - a Progress
        if ":" not in what and not what.startswith("reading"):
            self.began.setdefault(what, time.perf_counter())


def large_book(kinds: int = KINDS) -> Iterator[str]:
    """Plan the book with parts never seen, with parts known, and with one person fewer; what to tell."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["VATWRIGHT_CACHE"] = str(Path(folder) / "cache")
        warm_up()
        made = book(Path(folder), kinds)
        for turn, persons in (("parts never seen", 3), ("parts known", 3), ("parts known", 2)):
            stages, began = Stages(), time.perf_counter()
            plan = plan_book(evolve(made, persons=persons), Past(), progress=stages)
            end = time.perf_counter()
            bounds, late = plan.bounds, sum(o.late_s > 0.0 for o in plan.orders)
            asked = f"{kinds * EACH} pieces of {kinds} kinds on {sum(UNITS.values())} machines"
            yield f"{asked}, {persons} persons, {turn}: {end - began:.1f} s"
            marks = [*stages.began.items(), ("end", end)]
            for (what, at), (_, following) in itertools.pairwise(marks):
                yield f"  {what}: {following - at:.1f} s"
            by = Counter(p.machine.name for p in plan.plates)
            yield f"  {len(plan.plates)} plates ({', '.join(f'{n} {c}' for n, c in by.items())}), {late} orders late"
            yield (
                f"  done after {bounds.makespan_s / HOUR_S:.1f} h, no order of these plates before "
                f"{bounds.makespan_least_s / HOUR_S:.1f} h: gap {100 * bounds.gap:.1f} %; no plates at all before "
                f"{bounds.any_plates_s / HOUR_S:.1f} h"
            )


def many_parts(meshes: int = MESHES) -> Iterator[str]:
    """Study thousands of parts on two workers and kill one half-way; then once more, all known; what to tell."""
    from dask.distributed import Client, LocalCluster
    from tests.services.many_parts import task, write_parts

    from vatwright.services.study_many import study_many

    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        parts = write_parts(root / "parts", meshes)
        (root / "log").mkdir()
        work = task(root / "cache", root / "log")
        with (
            LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster,
            Client(cluster) as client,
        ):
            killed = []

            def kill(_what: str, done: int, total: int) -> None:
                if done >= total // 2 and not killed:
                    killed.append(next(iter(client.run(os.getpid).values())))
                    os.kill(killed[0], signal.SIGKILL)

            began = time.perf_counter()
            found = study_many(parts, work, client.get_executor(pure=False), progress=kill)
            first = time.perf_counter() - began
            new = Counter(p.name.split(".")[0] for p in (root / "log").iterdir() if ".new." in p.name)
            began = time.perf_counter()
            again = study_many(parts, work, client.get_executor(pure=False))
            second = time.perf_counter() - began
        same = [p.digest for p in again.parts] == [p.digest for p in found.parts]
        yield (
            f"{meshes} meshes on 2 workers, one killed in the middle: {first:.1f} s, {len(found.parts)} done, "
            f"{len(found.refused)} refused, {sum(n - 1 for n in new.values())} studied twice; once more, all known: "
            f"{second:.1f} s, {again.new} new, {'identical' if same else 'DIFFERENT'}"
        )


def section(kinds: int = 100, meshes: int = 500) -> str:
    """Return the section of the page of benchmarks, of a smaller book and fewer parts."""
    told = [*large_book(kinds), *many_parts(meshes)]
    lines = [f"{'  ' if line.startswith(' ') else ''}- {line.strip()}" for line in told]
    return "\n".join(["## A large order book, thousands of parts", "", *lines])


if __name__ == "__main__":
    for name in sys.argv[1:] or ("large_book", "many_parts"):
        for line in globals()[name]():
            print(line, flush=True)
