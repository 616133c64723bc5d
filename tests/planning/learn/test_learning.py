"""What runs teach: the sign of every event and reading, films that are gone, old runs, oddities, and the score."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from attrs import evolve
from tests.planning.simulated_shop import kinds
from tests.planning.workshop import carried, job, machine, plate

from vatwright.evidence.belief import Belief, Unknown
from vatwright.planning.carry.carry import PlateCounts, carry, planned
from vatwright.planning.demand.exposure import BLUR_M, finest_m
from vatwright.planning.demand.unknowns import TIME_SPREAD
from vatwright.planning.learn.learning import (
    FADES_S,
    Learned,
    beliefs,
    disagreements,
    fading,
    learn_from,
    plain_counts,
    predicted,
    scores,
)
from vatwright.planning.learn.run_evidence import SCATTER, witnesses
from vatwright.records.run import KEPT_ONLY, Event, Prediction, Quantity, Reading, Seen


def run(kind=1, name="r", *, held=True, events=(), readings=(), **changes):
    """A run of one of the invented shop's kinds; 1 is Heron with a short settle."""
    witness = kinds()[kind]
    outcome = evolve(
        witness.run.outcome, run=name, held=held, events=tuple(Event(what=e) for e in events), readings=tuple(readings)
    )
    return evolve(witness, run=evolve(witness.run, outcome=outcome, **changes))


def reading(quantity, value, sigma, **at):
    return Reading(quantity=quantity, value=value, sigma=sigma, at=at)


def learned(*runs, count=512) -> Learned:
    return learn_from(runs, count=count)


def middle(belief: Learned, what: str, of: str = "") -> float:
    return float(np.median(belief.belief.values(Unknown(what, of))))


def margin(belief: Learned, name: str, kind=1) -> float:
    z = belief.coordinates()
    return float(np.median(getattr(kinds()[kind].outlook(z), name)))


@pytest.fixture(scope="module")
def nothing():
    return learned(run(weight=0.0))


@pytest.mark.parametrize(
    ("seen", "name"),
    [(Seen.BASE_LET_GO, "base"), (Seen.LAYER_SPLIT, "body"), (Seen.NOT_RELEASED, "release"),
     (Seen.STUCK_TO_FILM, "release")],
)  # fmt: skip
def test_each_event_lowers_its_own_margin(nothing, seen, name):
    after = learned(*(run(held=False, events=(seen,), name=f"r{k}") for k in range(3)))
    assert margin(after, name) < margin(nothing, name) - 0.2


def test_runs_that_hold_raise_the_chance_and_failures_lower_it(nothing):
    held, failed = learned(*(run() for _ in range(3))), learned(*(run(held=False) for _ in range(3)))
    chances = [predicted(b, kinds()[1]).mean() for b in (failed, nothing, held)]
    assert chances[0] < chances[1] - 0.2 < chances[2] - 0.3


def test_one_base_that_let_go_against_eleven_that_held_moves_that_base_alone():
    """Reference: Bayes' rule, the belief after eleven runs weighed anew by how well each value explains the twelfth."""
    held = [run(name=f"r{k}") for k in range(11)]
    last = run(name="last", held=False, events=(Seen.BASE_LET_GO,))
    before, after = learned(*held, count=1024), learned(*held, last, count=1024)

    def chances(belief: Learned, kind: int, weight=None) -> dict[str, float]:
        z = {u: np.zeros(1024) for u in kinds()[kind].matters()} | belief.coordinates()
        found = kinds()[kind].chances(kinds()[kind].outlook(z), z)
        return {n: float(np.average(c, weights=weight)) for n, c in found.items()}

    z = before.coordinates()
    expected = chances(before, 1, np.exp(last.log_likelihood(last.outlook(z), z)))
    was, now = chances(before, 1), chances(after, 1)
    assert now["base"] == pytest.approx(expected["base"], abs=0.03)
    assert now["base"] < was["base"] - 0.02
    assert now["release"] > was["release"] - 0.01
    assert was["base"] - now["base"] > 2.0 * (chances(before, 0)["base"] - chances(after, 0)["base"])


@pytest.mark.parametrize("seen", [Seen.TORN])
def test_what_has_no_model_teaches_nothing(seen):
    assert seen in KEPT_ONLY
    witness = run(held=False, events=(seen,))
    rng = np.random.default_rng(1)
    z = {u: rng.standard_normal(50) for u in witness.matters()}
    assert np.ptp(witness.log_likelihood(witness.outlook(z), z)) == 0.0


def test_a_thick_band_says_thicker_and_a_thin_one_thinner():
    z = {u: np.zeros(41) for u in run().matters()}
    off = np.linspace(-0.6, 0.6, 41)
    outlook = evolve(run().outlook(z), thickest=off, thinnest=off)
    thick, thin = (run(events=(e,)).log_likelihood(outlook, z) for e in (Seen.THICK_BAND, Seen.THIN_BAND))
    assert (np.diff(thick) >= 0.0).all()
    assert thick[-1] > thick[0] + 2.0
    assert (np.diff(thin) <= 0.0).all()
    assert thin[0] > thin[-1] + 2.0


def test_readings_pull_their_own_unknown_to_what_was_read():
    """Hooke: 49 N over 100 um is 490 N/mm, well above the 200 N/mm that Heron is taken for."""
    after = learned(run(readings=[reading(Quantity.DEFLECTION, 1.0e-4, 2e-6, load_N=49.0)]))
    stiffness = np.median(kinds()[1].outlook(after.coordinates()).side.stiffness_n_m)
    assert stiffness == pytest.approx(4.9e5, rel=0.03)
    kelvin = kinds()[1].run.room_k
    after = learned(run(readings=[reading(Quantity.VISCOSITY, 1.4, 0.02, temperature_C=kelvin)]))
    assert np.median(kinds()[1].outlook(after.coordinates()).side.viscosity_pa_s) == pytest.approx(1.4, rel=0.02)


def test_what_a_ladder_showed_tells_the_blur_of_an_edge_and_the_dose():
    """Readings made of a blur of 60 um, twice what is believed, at four doses: the belief goes there and narrows."""
    side = evolve(kinds()[1].outlook({u: np.zeros(1) for u in kinds()[1].matters()}))
    layer_m = kinds()[1].run.settings.layer_m
    readings = []
    for dose in (60.0, 100.0, 160.0, 260.0):
        finest = finest_m(side.side, side.overcure_m, np.array([6.0e-5]), dose_j_m2=dose, layer_m=layer_m)
        for quantity, value in finest.items():
            if np.isfinite(value).all() and value[0] > 1e-5:
                # The finest seen is, on average, half a step of the ladder above the finest that can be had.
                seen = 2.0**0.25 * float(value[0])
                readings.append(reading(quantity, seen, 0.1 * seen, dose_mJ_cm2=dose))
    assert len(readings) >= 9
    after = learned(run(readings=readings))
    blur = 3.0e-5 * np.exp(BLUR_M.spread * after.belief.values(Unknown("blur", kinds()[1].run.job.target.name)))
    low, high = np.quantile(blur, (0.05, 0.95))
    assert low < 6.0e-5 < high
    assert high / low < 0.5 * math.exp(2.0 * 1.645 * BLUR_M.spread)
    told = {b.name: b for b in beliefs(after)}
    assert told["blur of an edge"].share_left < 0.5


def test_light_depth_pull_height_and_first_layer_move_the_right_way(nothing):
    def moved(quantity, value, sigma, name, **at):
        after = learned(run(readings=[reading(quantity, value, sigma, **at)]))
        was, now = (np.median(getattr(kinds()[1].outlook(b.coordinates()).side, name)) for b in (nothing, after))
        return now / was

    assert moved(Quantity.IRRADIANCE, 40.0, 0.5, "irradiance_w_m2") > 1.1
    assert moved(Quantity.IRRADIANCE, 22.0, 0.5, "irradiance_w_m2") < 0.9
    # Jacobs: D_p ln(E/E_c) = 150 um ln 4 = 208 um at four times the critical dose.
    assert moved(Quantity.CURE_DEPTH, 260e-6, 5e-6, "curve_depth_m", dose_mJ_cm2=120.0) > 1.03
    thick = learned(run(readings=[reading(Quantity.FIRST_LAYER, 450e-6, 5e-6)]))
    assert np.median(kinds()[1].outlook(thick.coordinates()).first_layer_m) > 1.2 * np.median(
        kinds()[1].outlook(nothing.coordinates()).first_layer_m
    )


def test_a_slip_of_the_pen_does_not_carry_the_day(nothing):
    """A reading a hundred times off is more likely a slip: it moves its unknown less than to the far tail."""
    after = learned(run(readings=[reading(Quantity.DEFLECTION, 2.5e-2, 1e-3, load_N=49.0)]))
    assert abs(middle(after, "stiffness", "Heron")) < 6.0


def test_resin_read_in_the_run_counts_instead_of_the_room():
    cold = run(readings=[reading(Quantity.RESIN_TEMPERATURE, 288.15, 0.5)]).run
    assert cold.room_k == 288.15
    (witness,) = witnesses([cold])
    z = {u: np.zeros(1) for u in witness.matters()}
    assert witness.outlook(z).side.viscosity_pa_s[0] > 1.3 * kinds()[1].outlook(z).side.viscosity_pa_s[0]


def test_an_old_film_informs_only_what_films_share():
    events = {"held": False, "events": (Seen.NOT_RELEASED,)}
    now, old = (learned(*(run(name=f"r{k}", **events, **w) for k in range(3))) for w in ({}, {"old_film": "film 1"}))
    (witness,) = witnesses([evolve(kinds()[1].run, old_film="film 1")])
    assert Unknown("tension", "Heron with film film 1") in witness.matters()
    assert Unknown("tension", "Heron") not in witness.matters()
    assert not Belief(unknowns=witness.unknowns, samples=np.zeros((1, len(witness.unknowns)))).knows(
        Unknown("tension", "Heron")
    )
    assert now.belief.knows(Unknown("tension", "Heron"))
    assert old is not None


def test_old_runs_count_less():
    assert fading(0.0) == 1.0
    assert fading(FADES_S) == 0.5
    assert fading(-5.0) == 1.0
    event = {"held": False, "events": (Seen.BASE_LET_GO,)}
    fresh, faded = (learned(*(run(name=f"r{k}", **event, weight=w) for k in range(3))) for w in (1.0, 0.1))
    assert margin(fresh, "base") < margin(faded, "base") - 0.1


def test_time_that_is_always_longer_is_told_as_a_factor():
    said = kinds()[1].time_s
    runs = [run(name=f"r{k}", readings=[reading(Quantity.RUN_TIME, 1.3 * said, 30.0)]) for k in range(4)]
    after = learned(*runs)
    (told,) = [d for d in disagreements(after) if "times as long" in d.what]
    assert "1.3" in told.what
    assert told.machine == "Heron"
    plain = learned(*(run(name=f"r{k}", readings=[reading(Quantity.RUN_TIME, said, 30.0)]) for k in range(4)))
    assert not disagreements(plain)


def test_readings_that_contradict_each_other_are_told():
    """An arm that gives 100 um under 49 N, and 400 um under the same: no stiffness explains both."""
    runs = [run(name=f"r{k}", readings=[reading(Quantity.DEFLECTION, um * 1e-6, 1e-6, load_N=49.0)])
            for k, um in enumerate((100.0, 400.0))]  # fmt: skip
    told = disagreements(learned(*runs))
    assert any("disagree about the stiffness on Heron" in d.what for d in told)
    assert told == tuple(sorted(told, key=lambda d: d.chance))


def test_beliefs_are_told_with_the_run_that_moved_them():
    after = learned(
        run(name="calm"), run(name="weighed", readings=[reading(Quantity.DEFLECTION, 1e-4, 2e-6, load_N=49.0)])
    )
    stiffness = next(b for b in beliefs(after) if (b.name, b.of) == ("stiffness", "Heron"))
    assert stiffness.share_left < 0.1
    assert stiffness.moved_by[0].run == "weighed"
    assert stiffness.before[0] < stiffness.after[0] < stiffness.after[2]
    assert {b.of for b in beliefs(after, machine="Wren")} <= {"", "Wren"}
    assert beliefs(learned()) == ()


def test_belief_narrows_the_carry_and_without_one_nothing_changes():
    """With an arm weighed at 490 N/mm the settle range of the carry shrinks; without a belief the sheet is the same."""
    work = job(target=kinds()[1].run.job.target, resin_from=kinds()[1].run.job.resin)
    low, full = plate([9.0] * 60), kinds()[1].run.study
    counts = PlateCounts(origin=(60,), target=(60,))
    after = learned(
        run(readings=[
            reading(Quantity.DEFLECTION, 2.5e-4, 2e-6, load_N=49.0),
            reading(Quantity.VISCOSITY, 0.9, 0.01, temperature_C=kinds()[1].run.room_k),
        ]), count=1024,
    )  # fmt: skip
    plain = carried(work, low, full)
    told = carry(work, proven=low, target=full, plates=counts, belief=after.belief)

    def width(sheet):
        advice = next(a for a in sheet.settings if a.name == "base.settle_s")
        return advice.high - advice.low

    assert width(told) < 0.7 * width(plain)
    again = carry(work, proven=low, target=full, plates=counts, belief=None)
    assert [(a.to_value, a.low, a.high) for a in again.settings] == [
        (a.to_value, a.low, a.high) for a in plain.settings
    ]


def outcome(k, *, held, chance=0.9, machine="Heron", time_s=None):
    said = Prediction(chance_low=0.7, chance=chance, chance_high=0.97, run_time_s=1000.0, first_layer_m=1e-4)
    taken = () if time_s is None else (reading(Quantity.RUN_TIME, time_s, 10.0),)
    return evolve(
        kinds()[1].run.outcome, run=f"r{k}", held=held, machine=machine, prediction=said, readings=taken,
        at=datetime(2026, 3, 1, tzinfo=UTC) + timedelta(days=k),
    )  # fmt: skip


def test_score_counts_by_machine():
    runs = [outcome(k, held=k >= 2, time_s=1100.0) for k in range(19)] + [outcome(30, held=True, machine="Wren")]
    all_together, heron, wren = scores([*runs, evolve(runs[0], prediction=None)])
    assert (all_together.machine, heron.machine, wren.machine) == ("", "Heron", "Wren")
    assert [(c.held, c.runs) for c in heron.classes] == [(17, 19)]
    assert heron.run_time.middle == 1.1
    assert heron.run_time.runs == 17  # a run that failed says nothing of the time
    assert heron.brier == pytest.approx((17 * 0.01 + 2 * 0.81) / 19)
    assert scores([]) == ()


def test_time_lost_to_caution_is_what_runs_took_beyond_the_quickest_that_held():
    """Reference: addition; a run of a job that held once only is held against nothing."""
    runs = [outcome(k, held=k != 1, time_s=t) for k, t in enumerate((1000.0, 700.0, 800.0, 900.0))]
    heron = scores([*runs, outcome(9, held=True, machine="Wren", time_s=5000.0)])[1]
    assert (heron.caution.waited_s, heron.caution.lost_s, heron.caution.runs) == (300.0, 700.0, 4)
    assert scores(runs[:2])[0].caution is None


def test_what_runs_taught_of_scatter_and_hands_is_in_the_plan():
    """Better hands hold more often and need no more settle; runs that scatter more hold less often where most hold."""
    work = job(target=kinds()[1].run.job.target, resin_from=kinds()[1].run.job.resin)
    low, full = plate([9.0] * 60), kinds()[1].run.study

    def plan(what, of, z):
        belief = Belief(unknowns=(Unknown(what, of),), samples=np.full((1024, 1), z))
        return planned(work, proven=low, target=full, belief=belief)[1]

    plain, without = plan("time", "Heron", 0.0), planned(work, proven=low, target=full)[1]
    same = plan("hands", "Heron", 0.0)
    assert same.settings == plain.settings
    assert same.chance == pytest.approx(plain.chance)
    # With a notebook the proof is weighed by its table: worlds change places, the advice by no more than their draw allows.
    assert plain.chance == pytest.approx(without.chance, abs=0.01)
    assert plain.settings.base.settle_s == pytest.approx(without.settings.base.settle_s, rel=0.05)
    good, bad = plan("hands", "Heron", 2.0), plan("hands", "Heron", -2.0)
    assert good.settings.base.settle_s <= plain.settings.base.settle_s <= bad.settings.base.settle_s
    rough = plan("scatter between runs", "", 2.0)
    assert rough.settings.base.settle_s >= plain.settings.base.settle_s


def test_a_machine_that_is_slower_than_its_moves_say_takes_longer_in_the_plan():
    work = job(target=kinds()[1].run.job.target)
    low, full = plate([9.0] * 60), kinds()[1].run.study
    counts = PlateCounts(origin=(60,), target=(60,))
    slow = Belief(unknowns=(Unknown("time", "Heron"),), samples=np.full((1024, 1), 1.5))
    plain = carried(work, low, full)
    told = carry(work, proven=low, target=full, plates=counts, belief=slow)
    assert told.time.to_s / plain.time.to_s == pytest.approx(np.exp(1.5 * TIME_SPREAD))


def test_runs_alone_show_where_a_setting_began_to_hold():
    base = kinds()[1].run
    told = []
    for k, (settle, held) in enumerate(((10.0, False), (20.0, False), (30.0, True), (25.0, True), (28.0, False))):
        out = evolve(base.outcome, run=f"r{k}", held=held, events=() if held else (Event(what=Seen.BASE_LET_GO),))
        told.append(evolve(base, outcome=out, settings=base.settings.with_value("base.settle_s", settle)))
    (count,) = plain_counts(told)
    assert (count.setting, count.failed_at, count.held_at, count.runs) == ("base.settle_s", 28.0, 25.0, 5)
    assert 20.0 < count.middle < 30.0
    (sharp,) = plain_counts(told[:3])
    assert (sharp.failed_at, sharp.held_at, sharp.middle) == (20.0, 30.0, None)
    assert plain_counts(told[:2]) == ()


def test_same_runs_same_belief():
    one, two = (learned(run(), run(held=False, events=(Seen.BASE_LET_GO,))).belief for _ in range(2))
    assert one.unknowns == two.unknowns
    assert np.array_equal(one.samples, two.samples)
    assert SCATTER in one.unknowns


def test_machines_know_of_each_other_only_what_they_share():
    """A failure on Heron says something of the resin, nothing of Wren's arm."""
    after = learned(*(run(held=False, events=(Seen.BASE_LET_GO,), name=f"r{k}") for k in range(4)), run(0), count=1024)
    assert abs(middle(after, "stiffness", "Wren")) < 0.35
    assert middle(after, "stiffness", "Heron") < -0.2
    assert machine("Wren").name == "Wren"


# --- many runs, and runs that contradict the model --------------------------------------------------------------------


def test_alike_runs_count_as_often_as_they_happened():
    """Runs are independent given the unknowns: three alike are one whose likelihood counts three times."""
    three = learned(*(run(name=f"r{k}") for k in range(3)))
    once = learned(run(weight=3.0))
    assert np.array_equal(three.belief.samples, once.belief.samples)


def test_lines_tell_of_layers_that_differ():
    witness = run(held=True, events=(Seen.LINES,))
    z = {u: np.random.default_rng(1).standard_normal(400) for u in witness.matters()}
    outlook = witness.outlook(z)
    plain = run(held=True)
    gained = witness.log_likelihood(outlook, z) - plain.log_likelihood(plain.outlook(z), z)
    apart = outlook.thickest - outlook.thinnest
    assert np.corrcoef(gained, apart)[0, 1] > 0.0
    assert gained[np.argmax(apart)] >= gained[np.argmin(apart)]


def test_a_timed_stroke_tells_of_the_machines_time(nothing):
    """A stroke of 60 mm at 2 mm/s takes 30 s and what the ramps add; ten seconds more are a slower machine."""
    slow = learned(*(run(name=f"r{k}", readings=(reading(Quantity.STROKE, 40.0, 0.2, distance_mm=0.06, speed_mm_s=0.002),))
                     for k in range(2)))  # fmt: skip
    assert middle(slow, "time", "Heron") > middle(nothing, "time", "Heron") + 1.0
    assert np.exp(TIME_SPREAD * middle(slow, "time", "Heron")) > 1.1


def arm(value, name):
    return run(name=name, readings=(reading(Quantity.DEFLECTION, value, 1e-6, load_N=49.0),))


def test_readings_that_contradict_each_other_widen_the_belief_and_are_told():
    """Two states of an arm, each read to a hundredth, twice: no stiffness explains both (Birge's ratio is far above 1)."""
    agree = learned(*(arm(v, f"r{k}") for k, v in enumerate((4.00e-4, 4.01e-4, 4.00e-4, 4.01e-4))))
    differ = learned(*(arm(v, f"r{k}") for k, v in enumerate((3.6e-4, 4.5e-4, 3.6e-4, 4.5e-4, 3.6e-4, 4.5e-4))))
    assert agree.at_odds == ()
    (odds,) = differ.at_odds
    assert odds.counted < 0.5
    assert "the stiffness on Heron" in odds.words
    assert odds.words in differ.belief.notes
    assert odds.words in [d.what for d in disagreements(differ)]

    def width(belief):
        return np.ptp(np.quantile(belief.belief.values(Unknown("stiffness", "Heron")), (0.05, 0.95)))

    assert width(differ) > 2.0 * width(agree)


def test_one_slip_condemns_nobody():
    odd = learned(arm(4.00e-4, "a"), arm(4.01e-4, "b"), arm(8.0e-4, "slip"))
    assert odd.at_odds == ()
