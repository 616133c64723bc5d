"""What is told: jumps in area, pockets, fresh islands, soft films."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve
from tests.interfaces.render.sample_sheet import cite
from tests.planning.workshop import carried, demo_job, demo_plate, job, lowest, machine, plate

from vatwright.answers.carry import risk_measure
from vatwright.interfaces.render.carry_json import carry_json
from vatwright.interfaces.render.pictures.plots import settle_by_clock
from vatwright.planning.carry.carry import WORTH_S
from vatwright.planning.trial.next_reading import steps_of
from vatwright.records.job import Hands
from vatwright.records.machine import Backing, Controller, Obeys, Rule
from vatwright.records.study import FreshIsland, PlacedOutline

# raft, posts, slab, tube: area jumps 87 times at layer 42 and drops 12 times at layer 54
JUMP, DROP = 42, 54
JUMPS = np.concatenate((np.full(8, 9.0), np.full(34, 1.5), np.full(12, 14.0), np.full(10, 4.0)))


def risk(sheet, words):
    return next((r for r in sheet.risks if words in r.what), None)


@pytest.fixture(scope="module")
def jumping():
    # 2 s were proven on this very plate, so 2 s it stays, and the jump shows
    return carried(job(), plate(JUMPS))


def test_a_jump_in_area_comes_out_thick_and_a_drop_thin(jumping):
    # x - a = d: the arm that is held up gives thick layers, and thin ones when it springs back (Reynolds 1886, Hooke)
    thick = jumping.layers.thickness_m / 50e-6
    assert thick[JUMP] > 1.2
    assert thick[JUMP] > thick[JUMP + 5]
    assert thick[DROP] < 0.8
    assert thick[DROP] < thick[DROP + 5]
    # layers on a steady section are as commanded
    assert thick[JUMP - 1] == pytest.approx(1.0, abs=0.01)
    assert thick[-1] == pytest.approx(1.0, abs=0.01)


def test_a_layer_that_comes_out_thick_is_told_with_its_layer_and_cause(jumping):
    told = next(r for r in jumping.risks if r.layer == JUMP)
    assert "times as thick" in told.what or "may split" in told.what
    assert "area jumps 87 times" in told.why
    assert f"{JUMP * 0.05:.1f} mm" in told.why


def test_the_line_after_a_drop_is_told(jumping):
    line = risk(jumping, "fine line")
    assert line is not None
    assert line.layer == DROP
    assert f"{DROP * 0.05:.1f} mm" in line.what


def test_the_layer_after_the_settle_is_lowered_by_hand_is_told():
    # x - a = d: what waits less is still held up, so the first such layer is thicker (Reynolds 1886, Hooke)
    wren, albatross = demo_plate("Wren", lantern=5), demo_plate("Albatross", lantern=20, lantern_base=4)
    sheet = carried(demo_job("Albatross"), wren, albatross)
    given, thick = sheet.layers.settle_given_s, sheet.layers.thickness_m / 50e-6
    lowered = [v.layer for v in sheet.hand.visits if v.layer >= 40 and given[v.layer] < given[v.layer - 1]]
    worst = max(lowered, key=lambda n: thick[n])
    assert thick[worst] > thick[worst - 1]
    told = risk(sheet, "settle is lowered")
    assert told.layer == worst
    assert thick[worst] > 1.1
    assert f"{100 * (thick[worst] - 1):.0f} %" in told.what
    never = carried(demo_job("Albatross", hands=Hands(visits=0)), wren, albatross)
    assert risk(never, "settle is lowered") is None


def test_a_slab_on_posts_is_told_with_its_layer():
    slab = lowest(demo_plate("Albatross", lantern_base=12), 150)
    study = demo_plate("Wren", bishop=4)
    # posts meet the slab at 6 mm, in layers of 50 um: layer 120
    sheet = carried(demo_job("Albatross"), lowest(study, 150), slab)
    jump = int(np.argmax(np.diff(slab.area_m2)[20:])) + 21
    assert jump == pytest.approx(120, abs=1)
    assert slab.area_m2[jump] / slab.area_m2[jump - 1] > 10.0
    table = sheet.layers
    assert int(np.argmax(table.settle_demand_s[40:])) + 40 == jump
    assert table.settle_true_s[jump] > 2.0 * table.settle_true_s[jump + 25]
    assert table.thickness_m[jump] > table.thickness_m[jump - 2]
    # what it gets is the most that any layer of the body gets, raised just before it or from the start, and it then holds
    assert table.settle_given_s[jump] == table.settle_given_s[sheet.hand.visits[0].layer :].max()
    assert sheet.hand.covers


def test_a_cup_pulls_like_a_cup():
    cup = demo_plate("Wren", cup=2)
    assert len(cup.pockets) == 2
    # its hollow: mouth about 19 to 22 mm across in the file, one atmosphere on it: 28 to 38 N (ISO 2533)
    sheet = carried(demo_job("Wren"), lowest(demo_plate("Wren", bishop=4), 160), lowest(cup, 160))
    told = risk(sheet, "ockets of")
    assert told is not None
    assert "2 sealed" in told.what
    assert 110 <= told.layer <= 114  # 5.6 mm floor in layers of 50 um
    pull = float(told.why.split("add up to ")[1].split(" N")[0])
    assert 28.0 <= pull <= 38.0
    assert "vent" in told.do


def test_a_fresh_island_is_told_with_its_layer():
    floating = (FreshIsland(30, 0.01, 0.0, 2e-6), FreshIsland(33, 0.0, 0.0, 9e-6))
    sheet = carried(job(), evolve(plate(np.full(48, 9.0)), fresh=floating))
    told = risk(sheet, "nothing beneath")
    assert told.what.startswith("2 regions")
    assert told.layer == 33
    assert "9.0 mm2" in told.why


def test_a_film_on_no_glass_is_told():
    plain = machine("Wagtail")
    free = evolve(plain, film=evolve(plain.film, backing=Backing.FREE))
    sheet = carried(job(target=free), plate(np.full(48, 9.0)))
    assert any("backs the film" in question for question in sheet.open_questions)
    assert "film gives" in sheet.advice("body.settle_s").reason
    stiff = carried(job(target=plain), plate(np.full(48, 9.0)))
    assert not any("backs the film" in question for question in stiff.open_questions)


def test_a_screen_that_carries_less_than_it_gets_is_told():
    weak = machine("Albatross", width_mm=250.0, depth_mm=150.0, screen_force_n=50.0)
    told = risk(carried(job(target=weak), plate(np.full(48, 9.0))), "on a screen")
    assert told is not None
    assert told.margin < 1.0


def test_cautions_always_stand_on_the_sheet(jumping):
    told = " ".join(jumping.cautions).lower()
    for word in (
        "gloves",
        "eye protection",
        "safety data sheet",
        "flammable",
        "never look",
        "hazardous waste",
        "medical",
        "trial",
    ):
        assert word in told


def test_only_what_was_reckoned_says_in_how_many_runs_it_goes_wrong(jumping):
    told = {r.layer: r for r in jumping.risks}
    assert told[DROP].chance is None, "a line at a drop is seen in the plan, not reckoned over the worlds"
    assert told[JUMP].chance is not None
    assert "goes wrong" not in risk_measure(told[DROP])
    assert "goes wrong" in risk_measure(told[JUMP])


def test_one_reading_has_one_share_and_the_order_of_what_saves_most():
    steps = []

    def found(case, chosen):
        # Turned round and said to save minutes, so that the order of narrowing is another one.
        steps.extend(evolve(s, saves_s=600.0 - n) for n, s in enumerate(reversed(steps_of(case, chosen))))
        return steps

    sheet = carried(demo_job("Albatross"), plate(JUMPS), found=found)
    place = {step.what: n for n, step in enumerate(steps) if step.saves_s >= WORTH_S}
    ranked = [place.get(m.reading, len(steps)) for m in sheet.measure_next]
    assert len(set(ranked)) > 1
    assert ranked == sorted(ranked)
    for told in sheet.measure_next:
        step = next((s for s in steps if s.what == told.reading and s.setting == told.setting), None)
        assert step is None or step.share_left == told.share_left


def dim_machine(**changes):
    """A machine whose controller gives a tenth of the light that a layer needs, and no more."""
    return machine(
        "Heron",
        controller=Controller(rules={"exposure_s": Rule(obeys=Obeys.YES, maximum=0.3)}, overhead_s=0.5),
        **changes,
    )


def test_a_layer_that_no_settle_saves_has_no_demand_and_a_reason():
    # Jacobs' working curve: the cure depth is the logarithm of the dose, which no wait adds to
    sheet = carried(job(target=dim_machine()), plate(np.full(48, 9.0)))
    assert np.isinf(sheet.layers.settle_demand_s).all()
    told = risk(sheet, "No settle saves 48 layers")
    assert told.layer == 0
    assert "bonds through 0 um" in told.why
    shown = carry_json(sheet, cite=cite)["layers"]
    assert set(shown["settle_demand_s"]) == set(shown["settle_true_s"]) == {None}
    picture = settle_by_clock(sheet, 0, 48)
    assert "layer 0 needs more than any settle" in picture.title
    assert not any("inf" in cell for row in picture.rows for cell in row)


@pytest.mark.parametrize(
    ("width_mm", "depth_mm", "height_mm", "fits"),
    [(143, 85, 10, True), (85, 143, 10, True), (145, 85, 10, False), (143, 87, 10, False), (143, 85, 201, False)],
)
def test_a_machine_is_named_only_where_the_pieces_fit_it(width_mm, depth_mm, height_mm, fits):
    # 150 x 92 mm, 200 mm high, 3 mm to be kept from every edge: 144 x 86 mm is left
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (width_mm, depth_mm) / 2e3
    free = dim_machine(film=evolve(machine().film, backing=Backing.FREE))
    proven = plate(np.full(48, 9.0))
    wide = evolve(proven, height_m=height_mm / 1e3, outlines=(PlacedOutline("lamp foot", (corners,)),))
    verdict = carried(job(target=free), proven, wide).verdict
    assert ("carry it to Wren, whose film lies on glass" in verdict) is fits
    assert ("print it on a machine whose film lies on glass" in verdict) is not fits


def test_where_nobody_knows_the_pieces_no_machine_is_named():
    free = dim_machine(film=evolve(machine().film, backing=Backing.FREE))
    assert "carry it to" not in carried(job(target=free), plate(np.full(48, 9.0))).verdict
