"""An invented workshop whose truth is known: unknowns drawn from the priors, runs made from them with more scatter."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from functools import cache

import numpy as np
from attrs import evolve, frozen
from tests.planning.workshop import job, machine, plate, read, settings

from vatwright.evidence.belief import Unknown
from vatwright.planning.demand.settle import Standard, least_base_settle_s
from vatwright.planning.demand.unknowns import TIME_SPREAD
from vatwright.planning.learn.learning import Learned, learn_from
from vatwright.planning.learn.run_evidence import NotedRun, Witness, witnesses
from vatwright.records.material import Resin, ViscosityReading, WorkingCurve
from vatwright.records.run import Event, Quantity, Reading, RunOutcome, Seen
from vatwright.records.sourced import Kind, Sourced
from vatwright.units import ZERO_CELSIUS_K

RUN_NOISE = 0.15
"""Scatter of the simulated runs (log): half as much again as the plan takes."""

OTHER_CAUSE = 0.03
"""Share of simulated runs that fail for something outside any model."""


def guessed(value: float, factor: float) -> Sourced:
    return Sourced.about(value, factor=factor, source="estimate:vatwright", kind=Kind.ESTIMATE)


def wide(name: str, **changes) -> object:
    """A machine of which little is known."""
    known = machine(name, **changes)
    return evolve(
        known,
        stiffness_n_m=guessed(known.stiffness_n_m.value, 2.5),
        ceiling_n=guessed(245.0, 1.1),
        film=evolve(known.film, tension_n_m=guessed(900.0, 2.0)),
        light=evolve(known.light, irradiance_w_m2=guessed(30.0, 1.4), meter=""),
    )


def thick_resin() -> Resin:
    """Read once, roughly: thicker than most, so that settle matters."""
    return Resin(
        name="slate",
        viscosity=(ViscosityReading(temperature_k=ZERO_CELSIUS_K + 25.0, viscosity_pa_s=0.9, sigma_pa_s=0.5),),
        curve=WorkingCurve(depth_m=read(1.5e-4, factor=1.2), critical_j_m2=read(30.0, factor=1.3)),
    )


@cache
def kinds() -> tuple[Witness, ...]:
    """The kinds of runs of this shop, tabulated once: settle and light varied on two machines and in two rooms."""
    small, large = wide("Wren"), wide("Heron", width_mm=218.0, depth_mm=122.0, stiffness_n_m=2.0e5)
    low, full = plate([9.0] * 60), plate([14.0] * 60, span_mm=60.0, spread_mm=(50.0, 30.0))
    found = []
    for to, study, base_s, body_s, light_s, room_c in (
        (small, low, 30.0, 2.0, 3.0, 22.0), (large, full, 20.0, 3.0, 3.5, 22.0), (large, full, 50.0, 6.0, 3.5, 22.0),
        (large, full, 80.0, 10.0, 3.5, 18.0),
    ):  # fmt: skip
        said = settings()
        said = evolve(
            said,
            base=evolve(said.base, settle_s=base_s, clear_lift_m=0.008),
            body=evolve(said.body, settle_s=body_s, exposure_s=light_s, clear_lift_m=0.009),
        )
        work = job(origin=small, target=to, resin_from=thick_resin(), room_k=ZERO_CELSIUS_K + room_c)
        outcome = RunOutcome(
            run="r", at=datetime(2026, 3, 1, tzinfo=UTC), job=work.name, recipe="proven", machine=to.name, resin="slate",
            room_k=work.room_k, held=True,
        )  # fmt: skip
        found.append(NotedRun(outcome=outcome, job=work, study=study, settings=said))
    return witnesses(found)


@frozen(eq=False)
class Truth:
    """One shop as it really is: every unknown, and how much its runs scatter."""

    z: dict[Unknown, np.ndarray]
    rng: np.random.Generator

    def run(self, witness: Witness, name: str, *, readings: tuple[Quantity, ...] = ()) -> Witness:
        """A run of this kind as it turns out in this shop."""
        outlook = witness.outlook(self.z)
        kinds_of = (("base", Seen.BASE_LET_GO), ("body", Seen.LAYER_SPLIT), ("release", Seen.NOT_RELEASED))
        short = []
        for margin, seen in kinds_of:
            has = float((getattr(outlook, margin) + witness.better(margin, self.z))[0])
            if has + RUN_NOISE * self.rng.standard_normal() < 0.0:
                short.append(seen)
        other = self.rng.random() < OTHER_CAUSE
        taken = tuple(self.read(witness, quantity) for quantity in readings)
        outcome = evolve(
            witness.run.outcome, run=name, held=not short and not other,
            events=tuple(Event(what=s) for s in short[:1]), readings=taken,
        )  # fmt: skip
        return evolve(witness, run=evolve(witness.run, outcome=outcome))

    def read(self, witness: Witness, quantity: Quantity) -> Reading:
        """A reading, as noisy as a bench is."""
        outlook = witness.outlook(self.z)
        side = outlook.side
        noise = float(np.exp(0.08 * self.rng.standard_normal()))
        truth, at = {
            Quantity.DEFLECTION: (49.0 / float(side.stiffness_n_m[0]), {"load_N": 49.0}),
            # Wherever it was measured, the platform stood a little further off there or a little closer.
            Quantity.FIRST_LAYER: (
                max(float(outlook.first_layer_m[0] + 0.5 * side.unlevel_m[0] * self.rng.standard_normal()), 1e-5), {},
            ),
            Quantity.VISCOSITY: (float(side.viscosity_pa_s[0]), {"temperature_C": witness.run.room_k}),
            Quantity.RUN_TIME: (
                witness.time_s * float(np.exp(TIME_SPREAD * self.z[Unknown("time", witness.run.job.target.name)][0])), {},
            ),
        }[quantity]  # fmt: skip
        return Reading(quantity=quantity, value=truth * noise, sigma=0.08 * truth, at=at)


def a_shop(seed: int) -> Truth:
    rng = np.random.default_rng(seed)
    unknowns = sorted(set().union(*(w.matters() for w in kinds())))
    # What no model has is left out of the truth: the margins fit their description here.
    drawn = {u: rng.standard_normal(1) for u in unknowns if not u.what.endswith(" fit")}
    return Truth({u: drawn.get(u, np.zeros(1)) for u in unknowns}, rng)


def mixed_runs(shop: Truth, count: int, *, read: bool = True) -> list[Witness]:
    """Runs as a shop has them: of every kind, now and then with a reading."""
    menu = ((), (Quantity.RUN_TIME,), (), (Quantity.FIRST_LAYER,), (Quantity.VISCOSITY,), ())
    return [
        shop.run(kinds()[k % len(kinds())], f"run {k}", readings=menu[(k // 2) % len(menu)] if read else ())
        for k in range(count)
    ]


def believed(runs: list[Witness], *, count: int = 256, seed: int = 1) -> Learned:
    return learn_from(runs, count=count, seed=seed)


def base_settle_s(kind: Witness, z: dict[Unknown, np.ndarray]) -> np.ndarray:
    """The least base settle that bonds in every world: what a settle advice is made of."""
    side, overcure = kind.sides(z)
    ones = np.ones(len(overcure))
    run = evolve(kind.table.run, side=side, overcure_m=overcure)
    return least_base_settle_s(run, Standard(base_slack=ones, body_slack=ones, tolerance=0.1 * ones))


def covered(seed: int, runs: int) -> bool:
    """Whether the 90 % range of a kind's base settle holds the truth after so many noted runs."""
    shop, kind = a_shop(seed), kinds()[1]
    low, high = np.quantile(base_settle_s(kind, believed(mixed_runs(shop, runs)).coordinates()), (0.05, 0.95))
    return bool(low <= float(base_settle_s(kind, shop.z)[0]) <= high)


if __name__ == "__main__":
    noted, shops = map(int, sys.argv[1:])
    share = np.mean([covered(seed, noted) for seed in range(shops)])
    sys.stdout.write(f"after {noted} runs the range held the truth in {share:.3f} of {shops} shops\n")
