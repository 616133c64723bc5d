"""What to learn next: value against closed forms, and the chosen step against any other in the invented workshop."""

import numpy as np
import pytest
from attrs import evolve
from tests.planning.simulated_shop import a_shop, base_settle_s, believed, kinds, mixed_runs
from tests.planning.workshop import job, plate

from vatwright.evidence.preposterior import share_left
from vatwright.planning.carry.carry import planned
from vatwright.planning.demand.narrowing import readings
from vatwright.planning.trial.next_reading import ML_MINUTES, TRIALS, candidates, next_steps
from vatwright.records.run import Quantity
from vatwright.records.trial import TrialKind


@pytest.fixture(scope="module")
def planning():
    work = job(target=kinds()[1].run.job.target, resin_from=kinds()[1].run.job.resin)
    return planned(work, proven=plate([9.0] * 60), target=kinds()[1].run.study)


def test_every_reading_and_trial_is_weighed_and_the_best_comes_first(planning):
    case, advised = planning
    found = candidates(case, advised)
    assert len(found) == len(readings(case.job)) + len(TRIALS) - 1  # a proven recipe: how fine it prints was seen
    steps = next_steps(case, advised, run_s=3600.0, most=20)
    assert steps
    worth = [s.saves_s / (s.minutes + ML_MINUTES * s.resin_m3 * 1e6) for s in steps]
    assert worth == sorted(worth, reverse=True)
    assert all(0.0 < s.share_left <= 1.0 and s.saves_s >= 0.0 for s in steps)


def test_every_kind_of_trial_is_weighed_once():
    """One table: what is weighed here is what the trial command makes."""
    assert [t.kind for t in TRIALS] == list(TrialKind)


def test_where_nobody_knows_how_fine_it_prints_the_ladder_of_lights_is_told(planning):
    """The same job by a recipe nobody ran: what tells detail is among the first steps, and a measured dose says part of it."""
    case, advised = planning
    never = evolve(case, nobody_ran=True)
    ladder = f"print the trial detail-ladder on {case.job.target.name}"
    told = {s.what: s for s in next_steps(never, advised, run_s=3600.0)}
    assert told[ladder].setting == "detail"
    assert told[ladder].share_left < 0.8
    assert ladder not in {s.what for s in next_steps(case, advised, run_s=3600.0, most=20)}


def test_a_trial_that_would_not_bond_is_not_offered(planning):
    """With a hundredth of the light no layer bonds: only what needs no platform is left of the trials."""
    case, advised = planning
    body = evolve(advised.settings.body, exposure_s=0.01 * advised.settings.body.exposure_s)
    dim = evolve(advised, settings=evolve(advised.settings, body=body))
    kinds_of = lambda found: [c.what for c in found if c.kind == "trial"]  # noqa: E731 - one line, twice
    assert len(kinds_of(candidates(case, advised))) == len(TRIALS) - 1
    assert kinds_of(candidates(case, dim)) == [f"print the trial cure-depth on {case.job.target.name}"]


def test_what_is_known_already_is_not_advised(planning):
    """Once the arm's stiffness is certain, weighing it down narrows nothing."""
    case, advised = planning
    worlds = case.worlds
    told = evolve(worlds, axes=worlds.axes | {"stiffness target": np.zeros(worlds.count)})
    steps = next_steps(evolve(case, worlds=told), advised, run_s=3600.0, most=20)
    assert not any("weigh down the arm of Heron" in s.what for s in steps)
    assert any("weigh down the arm of Heron" in s.what for s in next_steps(case, advised, run_s=3600.0, most=20))


def test_a_longer_run_is_worth_more(planning):
    case, advised = planning
    short, long = (max(s.saves_s for s in next_steps(case, advised, run_s=r)) for r in (60.0, 36_000.0))
    assert long > short


@pytest.mark.slow
def test_the_chosen_reading_narrows_more_than_a_random_one():
    """In 16 invented shops after six runs: the settle range after the reading that looks best against that after any."""
    menu = (Quantity.DEFLECTION, Quantity.VISCOSITY, Quantity.FIRST_LAYER, Quantity.RUN_TIME)
    rng, kind, gained = np.random.default_rng(8), kinds()[1], []
    for seed in range(16):
        shop = a_shop(1000 + seed)
        runs = mixed_runs(shop, 6, read=False)
        z = believed(runs).coordinates()
        settle, left, after = base_settle_s(kind, z), [], []
        for quantity in menu:
            read = shop.run(kind, "next", readings=(quantity,))
            # Asked before the run: as if it will hold, or the time of it would say nothing.
            asked = evolve(read, run=evolve(read.run, outcome=evolve(read.run.outcome, held=True)))
            (model,) = asked.shown(asked.outlook(z), z)
            shown = model.middle + model.scatter * rng.standard_normal(len(settle))
            ever = np.isfinite(settle)  # where no settle bonds there is none to narrow: as the weighing itself does
            left.append(share_left(wanted=settle[ever], shown=shown[ever, None]))
            told = base_settle_s(kind, believed([*runs, read]).coordinates())
            after.append(float(np.ptp(np.quantile(told, (0.05, 0.95)))))
        gained.append(after[int(np.argmin(left))] / np.mean(after))
    assert np.exp(np.mean(np.log(gained))) < 0.9
