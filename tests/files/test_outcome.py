"""``vatwright.outcome/1``: what is written reads back to the last bit, and every mistake is told at once.

Compared with: what was handed in, the definition of the bench units (SI brochure 2019), and Python's own JSON reader.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vatwright.errors import InputError
from vatwright.files.outcome import RANGES, SIGMAS, bench_unit, outcome_of_text, outcome_text
from vatwright.records.process import COUNT_SETTINGS, SETTING_NAMES
from vatwright.records.run import CONDITIONS, Event, Prediction, Quantity, Reading, RunOutcome, Seen, SetByHand
from vatwright.units import BENCH_UNITS, ZERO_CELSIUS_K

PUBLISHED = Path(__file__).parents[2] / "docs" / "schemas" / "outcome-1.schema.json"
MINIMAL = {
    "schema": "vatwright.outcome/1", "run": "r", "at": "2026-03-01T18:30:00+01:00", "held": True, "job": "j",
    "recipe": "c", "machine": "m", "resin": "s", "room_C": 18,
}  # fmt: skip


def read(**changes):
    return outcome_of_text("o.json", json.dumps({**MINIMAL, **changes}))


def si_range(name):
    low, high = (float(v) for v in RANGES[name])
    unit = bench_unit(name)
    if unit == "C":
        return low + ZERO_CELSIUS_K + 1e-6, high + ZERO_CELSIUS_K - 1e-6
    scale = BENCH_UNITS[unit].times / BENCH_UNITS[unit].over if unit else 1.0
    return low * scale * (1 + 1e-9) if low > 0 else low * scale * (1 - 1e-9), high * scale * (1 - 1e-9)


def in_range(name):
    if name == "layer":
        return st.integers(0, 1_000_000).map(float)
    return st.floats(*si_range(name), allow_nan=False)


_SETTING = {"exposure_s": (0.02, 7000), "peel_lift_mm": (2e-5, 0.19), "peel_speed_mm_s": (2e-6, 0.19),
            "clear_speed_mm_s": (2e-6, 0.19), "return_speed_mm_s": (2e-6, 0.19), "clear_lift_mm": (0, 0.19)}  # fmt: skip


def setting_value(name):
    if name in COUNT_SETTINGS:
        return st.integers(1, 200).map(float)
    if name == "layer_mm":
        return st.floats(2e-6, 9e-4)
    return st.floats(*_SETTING.get(name.partition(".")[2], (0, 7000)))


words = st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=20).filter(str.strip)
events = st.builds(
    Event, what=st.sampled_from(Seen), layer=st.none() | st.integers(0, 9999), x_m=st.none() | st.floats(-0.9, 0.9),
    y_m=st.none() | st.floats(-0.9, 0.9),
)  # fmt: skip
NEEDED = {
    Quantity.CURE_DEPTH: ["dose_mJ_cm2"],
    Quantity.DEFLECTION: ["load_N"],
    Quantity.STROKE: ["distance_mm", "speed_mm_s"],
    **{quantity: ["dose_mJ_cm2"] for quantity in (Quantity.WALL, Quantity.GAP, Quantity.PIN)},
}


@st.composite
def readings(draw):
    quantity = draw(st.sampled_from(Quantity))
    names = {*NEEDED.get(quantity, ()), *draw(st.lists(st.sampled_from(CONDITIONS), max_size=2))}
    value = draw(in_range(quantity))
    at = {name: draw(in_range(name)) for name in sorted(names)}
    # A share of a temperature in kelvin is no thermometer's uncertainty.
    sigma = draw(st.floats(0.001, 1)) * (1.0 if quantity is Quantity.RESIN_TEMPERATURE else abs(value))
    return Reading(quantity=quantity, value=value, sigma=sigma, at=at)


chances = st.lists(st.floats(0, 1), min_size=3, max_size=3).map(sorted)
predictions = st.builds(
    lambda c, t, x, r: Prediction(
        chance_low=c[0], chance=c[1], chance_high=c[2], run_time_s=t, first_layer_m=x, release=r
    ),
    chances, st.floats(0, 1e6), st.floats(0, 1e-2), st.just("") | words,
)  # fmt: skip
moments = st.datetimes(datetime(1980, 1, 1), datetime(2100, 1, 1)).flatmap(  # noqa: DTZ001 - the zone comes next
    lambda t: st.integers(-720, 840).map(lambda m: t.replace(tzinfo=timezone(timedelta(minutes=m))))
)
outcomes = st.builds(
    RunOutcome, run=words, at=moments, job=words, recipe=words, machine=words, resin=words,
    room_k=st.floats(264.0, 333.0), held=st.booleans(),
    settings=st.lists(st.sampled_from(SETTING_NAMES), unique=True, max_size=4).flatmap(
        lambda names: st.fixed_dictionaries({n: setting_value(n) for n in names})
    ),
    hands=st.lists(
        st.builds(SetByHand, layer=st.integers(0, 3000), settle_s=st.floats(0, 7200)), max_size=3
    ).map(tuple),
    events=st.lists(events, max_size=3).map(tuple), readings=st.lists(readings(), max_size=3).map(tuple),
    prediction=st.none() | predictions, film=st.just("") | words, screen=st.just("") | words, lot=st.just("") | words,
    photos=st.lists(words, max_size=2).map(tuple), note=st.just("") | words,
)  # fmt: skip


@given(outcomes)
def test_any_run_reads_back_to_the_last_bit_and_is_as_published(outcome):
    text = outcome_text(outcome)
    back = outcome_of_text("x", text)
    assert back == outcome
    assert back.at.utcoffset() == outcome.at.utcoffset()
    assert outcome_text(back) == text
    jsonschema.validate(json.loads(text), json.loads(PUBLISHED.read_text(encoding="utf-8")))


def test_bench_units_become_si():
    run = read(
        settings={"body.settle_s": 4.5, "body.peel_lift_mm": 3, "base.layers": 5, "body.peel_speed_mm_s": 1.5},
        events=[{"what": "layer_split", "layer": 412, "x_mm": -120, "y_mm": 70}],
        readings=[
            {"quantity": "viscosity_Pa_s", "value": 0.31, "sigma": 0.02, "at": {"temperature_C": 18}},
            {"quantity": "irradiance_mW_cm2", "value": 3.1, "sigma": 0.1, "at": {"x_mm": 10, "y_mm": 5}},
            {"quantity": "cure_depth_um", "value": 140, "sigma": 4, "at": {"dose_mJ_cm2": 20}},
            {"quantity": "deflection_um", "value": 190, "sigma": 10, "at": {"load_N": 49}},
            {"quantity": "stroke_s", "value": 6.1, "sigma": 0.2, "at": {"distance_mm": 60, "speed_mm_s": 10}},
            {"quantity": "resin_C", "value": 18.5, "sigma": 0.5, "at": {}},
        ],
    )
    assert run.settings == {
        "body.settle_s": 4.5, "body.peel_lift_mm": 0.003, "base.layers": 5.0, "body.peel_speed_mm_s": 0.0015
    }  # fmt: skip
    assert run.events == (Event(what=Seen.LAYER_SPLIT, layer=412, x_m=-0.12, y_m=0.07),)
    assert [(r.value, r.sigma, r.at) for r in run.readings] == [
        (0.31, 0.02, {"temperature_C": 291.15}),
        (31.0, 1.0, {"x_mm": 0.01, "y_mm": 0.005}),  # 1 mW/cm2 is 10 W/m2
        (1.4e-4, 4e-6, {"dose_mJ_cm2": 200.0}),  # 1 mJ/cm2 is 10 J/m2
        (1.9e-4, 1e-5, {"load_N": 49.0}),
        (6.1, 0.2, {"distance_mm": 0.06, "speed_mm_s": 0.01}),
        (291.65, 0.5, {}),
    ]
    assert run.room_k == 291.15


@pytest.mark.parametrize("quantity", Quantity)
def test_a_reading_without_its_uncertainty_gets_the_stated_one(quantity):
    at = dict.fromkeys(NEEDED.get(quantity, ()), 10)
    (reading,) = read(readings=[{"quantity": quantity, "value": 20, "sigma": None, "at": at}]).readings
    share, amount = (float(v) for v in SIGMAS[quantity])
    unit = bench_unit(quantity)
    scale = BENCH_UNITS[unit].times / BENCH_UNITS[unit].over if unit != "C" else 1.0
    assert reading.sigma == pytest.approx(((share * 20) ** 2 + amount**2) ** 0.5 * scale, rel=1e-12)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"held": "yes"}, "held is the text 'yes', true or false is wanted"),
        ({"at": "2026-03-01T18:30:00"}, "has no time zone"),
        ({"at": "yesterday"}, "a time is wanted"),
        ({"settings": {"body.setle_s": 4}}, "names 'body.setle_s', which is no setting"),
        ({"settings": {"base.layers": 4.5}}, "base.layers is 4.5, a whole number is wanted"),
        ({"settings": {"body.settle_s": 1e9}}, "outside 0 to 7200 s"),
        ({"events": [{"what": "exploded"}]}, "is the text 'exploded'"),
        ({"events": [{"what": "lines", "layer": -1}]}, "outside 0 to 1000000"),
        ({"events": [{"what": "lines", "where": 3}]}, "unknown key 'where'"),
        ({"readings": [{"quantity": "pull_N", "value": "7"}]}, "a number in N is wanted"),
        ({"readings": [{"quantity": "pull_N", "value": 7, "sigma": 0}]}, "has the sigma 0"),
        (
            {"readings": [{"quantity": "pull_N", "value": 7, "at": {"colour": 1}}]},
            "says 'colour', which is no condition",
        ),
        ({"readings": [{"quantity": "cure_depth_um", "value": 140}]}, "does not say dose_mJ_cm2"),
        ({"readings": [{"quantity": "viscosity_Pa_s", "value": 310}]}, "outside 0.0001 to 100"),
        ({"note": "\u0000"}, "a text is wanted"),
        ({"schema": "vatwright.outcome/2"}, "schema is the text 'vatwright.outcome/2'"),
        ({"room_C": 1000}, "outside -10 to 60"),
        ({"colour": "red"}, "unknown key 'colour'"),
        ({"machine": None}, "has no machine"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(changes, told):
    with pytest.raises(InputError) as error:
        read(**changes)
    assert told in str(error.value)
    assert all(m.where == "o.json" and m.do for m in error.value.mistakes)


def test_every_mistake_is_told_at_once():
    with pytest.raises(InputError) as error:
        read(held=1, at="x", events=[{"what": "x"}], room_C="warm", settings={"x": 1})
    assert len(error.value.mistakes) == 5


@pytest.mark.parametrize("text", ["", "[]", "{", '{"held": NaN}', '"x"', "[" * 100_000, '{"at": 1' + "0" * 5000 + "}"])
def test_what_is_no_outcome_is_refused(text):
    with pytest.raises(InputError):
        outcome_of_text("o.json", text)


def test_numbers_that_are_not_finite_are_refused():
    for number in ("NaN", "Infinity", "1e999"):
        text = json.dumps(MINIMAL)[:-1] + f', "readings": [{{"quantity": "pull_N", "value": {number}}}]}}'
        with pytest.raises(InputError):
            outcome_of_text("o.json", text)


def test_a_decimal_is_not_bent_by_a_float():
    text = json.dumps(MINIMAL)[:-1] + ', "readings": [{"quantity": "first_layer_um", "value": 29}]}'
    assert outcome_of_text("o", text).readings[0].value == float(Decimal("29e-6"))
