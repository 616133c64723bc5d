"""The quick margins of a run against the full computation they stand for."""

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import job, machine, plate, settings

from vatwright.evidence.belief import Belief, Unknown, unknown_of
from vatwright.planning.demand.base import stack_load
from vatwright.planning.demand.base_bond import under_the_base
from vatwright.planning.demand.exposure import plate_light
from vatwright.planning.demand.outcome import margins
from vatwright.planning.demand.settle import RUN_SCATTER, Run
from vatwright.planning.demand.unknowns import AXES, draw
from vatwright.planning.learn.run_evidence import NotedRun, witnesses
from vatwright.planning.learn.run_table import CLOSE
from vatwright.records.machine import Backing


def noted(work, study, said=None, **changes):
    from datetime import UTC, datetime

    from vatwright.records.run import RunOutcome

    outcome = RunOutcome(
        run="one", at=datetime(2026, 3, 1, tzinfo=UTC), job=work.name, recipe="proven", machine=work.target.name,
        resin=work.resin.name, room_k=work.room_k, held=True,
    )  # fmt: skip
    return NotedRun(outcome=evolve(outcome, **changes), job=work, study=study, settings=said or settings())


def large(backing=Backing.GLASS):
    known = machine("Heron", width_mm=218.0, depth_mm=122.0, stiffness_n_m=1.2e5)
    return evolve(known, film=evolve(known.film, backing=backing))


@pytest.mark.parametrize("backing", [Backing.GLASS, Backing.FREE])
@pytest.mark.parametrize("radius_mm", [[12.0] * 70, [14.0] * 30 + [6.0] * 20 + [13.0] * 40])
def test_quick_margins_are_the_plans_margins(backing, radius_mm):
    """A tenth of the run scatter is far below what a run can tell: so close the table must be to the plan itself."""
    work = job(target=large(backing), room_k=291.0)
    study = plate(radius_mm, span_mm=60.0, spread_mm=(50.0, 30.0))
    (witness,) = witnesses([noted(work, study)])
    z = np.random.default_rng(9).standard_normal((64, len(witness.unknowns)))
    quick = witness.outlook({u: z[:, k] for k, u in enumerate(witness.unknowns)})
    drawn = draw(work, count=64, belief=Belief(unknowns=witness.unknowns, samples=z))
    worlds = under_the_base(drawn, work, study, study)
    full = margins(
        Run(
            machine=work.target, settings=settings(), load=stack_load(study, work.target), side=worlds.target,
            overcure_m=worlds.overcure_m, confidence=0.9, dimmest=plate_light(work.target.light, study).dimmest,
        ),
        reach_m=0.03,
    )  # fmt: skip
    assert witness.table.error < CLOSE
    for name in ("base", "body", "release"):
        off = getattr(quick, name) - np.log(getattr(full, name))
        assert np.sqrt((off**2).mean()) < 0.1 * RUN_SCATTER, name
    assert np.log(quick.first_layer_m) == pytest.approx(np.log(full.thickness_m[:, 0]), abs=0.02)
    # A film that gives makes the table a little coarser: still closer than callipers read a piece of this height.
    close = 1e-3 if backing is Backing.GLASS else 5e-3
    assert quick.height_m == pytest.approx(full.thickness_m.sum(axis=1), rel=close)


def test_thickness_depends_on_two_ratios_alone():
    """The squeeze law is linear in force (Reynolds 1886): all forces times three change no gap."""
    work, study = job(target=large()), plate([12.0] * 30)
    worlds = draw(work, count=16)
    load = stack_load(study, work.target)
    run = Run(machine=work.target, settings=settings(), load=load, side=worlds.target, overcure_m=worlds.overcure_m,
              confidence=0.9)  # fmt: skip
    side = worlds.target
    names = ("viscosity_pa_s", "stiffness_n_m", "ceiling_n")
    scaled = evolve(run, side=evolve(side, **{n: 3.0 * getattr(side, n) for n in names}))
    assert scaled.result().thickness_m == pytest.approx(run.result().thickness_m, rel=1e-9)


def test_axes_belong_to_whom_they_should():
    work = job(target=large())
    owned = {axis: unknown_of(axis, work) for axis in AXES}
    assert owned["stiffness target"] == Unknown("stiffness", "Heron")
    assert owned["tension origin"] == Unknown("tension", "Wren")
    assert owned["viscosity"] == owned["viscosity target"] == Unknown("viscosity", "slate")
    assert owned["peel angle"] == Unknown("peel angle", "Wren")
    assert owned["light common"] == Unknown("light common")


def test_a_belief_gives_its_values_to_the_axes_it_knows_and_leaves_the_rest_alone():
    work = job(target=large())
    plain = draw(work, count=64)
    samples = np.linspace(-1.0, 1.0, 64)[:, None]
    told = draw(work, count=64, belief=Belief(unknowns=(Unknown("stiffness", "Heron"),), samples=samples))
    assert np.array_equal(told.axes["stiffness target"], samples[:, 0])
    for axis in set(AXES) - {"stiffness target"}:
        assert np.array_equal(told.axes[axis], plain.axes[axis]), axis
    again = draw(work, count=64, belief=None)
    assert all(np.array_equal(again.axes[a], plain.axes[a]) for a in AXES)


def ledge(layer, value_m):
    from vatwright.records.run import Quantity, Reading

    return Reading(quantity=Quantity.HEIGHT, value=value_m, sigma=1e-5, at={"layer": float(layer)})


def test_heights_of_ledges_are_those_of_the_plan():
    """A height read up to a layer is held against the sum of the plan's thickness up to it, not against the whole piece."""
    work, study = job(target=large()), plate([12.0] * 70)
    run = noted(work, study, readings=(ledge(20, 1.02e-3), ledge(40, 2.02e-3)))
    (witness,) = witnesses([run])
    z = np.random.default_rng(9).standard_normal((32, len(witness.unknowns)))
    quick = witness.table(z)
    drawn = draw(work, count=32, belief=Belief(unknowns=witness.unknowns, samples=z))
    worlds = under_the_base(drawn, work, study, study)
    full = Run(machine=work.target, settings=settings(), load=stack_load(study, work.target), side=worlds.target,
               overcure_m=worlds.overcure_m, confidence=0.9).result().thickness_m  # fmt: skip
    for layer in (20, 40):
        assert quick.heights_m[layer] == pytest.approx(full[:, :layer].sum(axis=1), rel=2e-3)
    named = {u: z[:, k] for k, u in enumerate(witness.unknowns)} | dict.fromkeys(witness.own, z[:, 0])
    shown = witness.shown(witness.outlook(named), named)
    assert [s.value for s in shown] == [1.02e-3, 2.02e-3]
    assert np.all(shown[0].middle < shown[1].middle)


def test_a_piece_that_came_off_short_says_nothing_of_thickness():
    work, study = job(target=large()), plate([12.0] * 70)
    (witness,) = witnesses([noted(work, study, readings=(ledge(40, 1.1e-3),))])
    z = {u: np.zeros(1) for u in (*witness.unknowns, *witness.own)}
    assert witness.shown(witness.outlook(z), z) == ()


class Grids:
    """Remembers grids in memory, and counts how often one was found."""

    def __init__(self):
        self.kept, self.found = {}, 0

    def recall(self, whole, settle_s, job, heights):
        grid = self.kept.get((job.name, repr(whole.settings), heights))
        self.found += grid is not None
        return grid

    def keep(self, whole, settle_s, job, heights, grid):
        self.kept[(job.name, repr(whole.settings), heights)] = grid


def test_a_kept_grid_gives_the_same_run_to_the_last_bit():
    work, study, grids = job(target=large()), plate([12.0] * 30), Grids()
    (first,), (again,) = (witnesses([noted(work, study)], memory=grids) for _ in range(2))
    assert grids.found == 1
    z = np.random.default_rng(9).standard_normal((8, len(first.unknowns)))
    for name in ("base", "body", "release", "height_m"):
        assert np.array_equal(getattr(first.table(z), name), getattr(again.table(z), name))
