"""The base on the sheet: words, pictures and data, each of which must say what the record says."""

import json
import math
import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from attrs import evolve
from tests.interfaces.render.sample_sheet import cite, sample_sheet
from tests.interfaces.render.shown import carry_html, carry_pdf, carry_text
from tests.interfaces.render.test_json import undocumented, validator

from vatwright.answers.base import (
    first_sentence,
    mend_rows,
    mend_sentence,
    pressure_sentence,
    short_lines,
)
from vatwright.interfaces.render.carry_json import DECLARED, carry_json
from vatwright.interfaces.render.data import as_data
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.first_layer import corner_bars, first_layer_figures, level_lines, spare_map
from vatwright.records.first_layer import BaseLayer, BasePlace, BasePressure, FirstLayers, Mend, TypedBase
from vatwright.records.machine import Platform

X, Y = np.linspace(-0.15, 0.15, 21), np.linspace(-0.085, 0.085, 13)
PLATFORM = Platform(width_m=0.3, depth_m=0.17)


def place(name="rear left", gap_um=240.0, bonds_um=190.0, x_m=-0.14, y_m=0.08, chance=0.12) -> BasePlace:
    gap, bonds = gap_um * 1e-6, bonds_um * 1e-6
    return BasePlace(
        name=name, x_m=x_m, y_m=y_m, gap_m=(0.8 * gap, gap, 1.3 * gap), bonds_to_m=(0.9 * bonds, bonds, 1.1 * bonds),
        layer_m=5e-5, unsettled_m=gap - 9e-5, uneven_m=4e-5, tipped_m=0.0, chance=chance,
    )  # fmt: skip


def layer(worst: BasePlace, number=0) -> BaseLayer:
    names = (("front left", -1, -1), ("front right", 1, -1), ("rear right", 1, 1), ("rear left", -1, 1))
    corners = [place(n, 120.0, x_m=0.14 * sx, y_m=0.08 * sy, chance=0.97) for n, sx, sy in names]
    spare = np.broadcast_to((worst.spare_m + 5e-4 * (X + 0.14))[None, :], (len(Y), len(X)))
    return BaseLayer(
        layer=number, worst=worst, corners=(*corners[:3], worst), spare_m=spare, chance=np.full(spare.shape, 0.5),
        settle_s=35.0, exposure_s=35.0,
    )  # fmt: skip


def mend(kind, start, end, minutes, chance, **changes) -> Mend:
    whole = {"enough": chance > 0.9, "allowed": True, "note": "As it says", "source": ""}
    return Mend(kind=kind, from_value=start, to_value=end, minutes=minutes, chance=chance, **whole | changes)


MENDS = (
    mend("settle", 35.0, 52.0, 1.13, 0.92, note="In the base layers alone"),
    mend("warmth", 291.15, 299.15, 31.0, 0.91, source="estimate:vatwright"),
    mend("exposure", 35.0, 140.0, 7.0, 0.93, allowed=False, note="Albatross takes 120 s at most"),
    mend("level", 9e-5, 1e-5, 30.0, 0.55, source="practice:bench"),
    mend("layers", 4.0, 12.0, 4.0, 0.12),
)


def base(**changes) -> FirstLayers:
    worst = place()
    field = 4e3 * (1.0 - (X / 0.15)[None, :] ** 2) * (1.0 - (Y / 0.085)[:, None] ** 2)
    pressures = tuple(
        BasePressure(
            layer=n, peak_n=120.0 + n, end_n=30.0, centre_x_m=0.012, centre_y_m=-0.005, peak_moment_j=1.56,
            end_moment_j=0.39, pressure_pa=field,
        )
        for n in range(2)
    )  # fmt: skip
    square = np.array([(-0.14, -0.08), (0.14, -0.08), (0.14, 0.08), (-0.14, 0.08)])
    whole = {
        "platform": PLATFORM, "outlines_m": (square,), "weak": (True,), "x_m": X, "y_m": Y,
        "layers": (layer(worst), layer(place("middle", 80.0, chance=0.999), 1)), "pressures": pressures, "first": 0,
        "chance": 0.12, "enough": 0.9, "level_read": True, "tip_read": False,
        "typed": TypedBase(settle_s=2.0, exposure_s=33.0, layer=0, worst=place(gap_um=510.0), chance=0.01),
        "mends_plan": True, "mends": MENDS, "notes": ("Nobody read how flat Albatross's platform is",),
    }  # fmt: skip
    return FirstLayers(**whole | changes)


def holding(**changes) -> FirstLayers:
    """A plan that holds where the values as typed would not."""
    fine = place("rear left", 150.0, 420.0, chance=0.999)
    whole = {"layers": (layer(fine),), "chance": 0.997, "weak": (False,), "mends_plan": False}
    return base(**whole | changes)


def sheet(first: FirstLayers):
    return evolve(sample_sheet(), first_layer=first)


# --- words --------------------------------------------------------------------------------------------------------------


def test_it_says_who_lets_go_first_and_why():
    said = first_sentence(base())
    assert said == (
        "The base lets go first at the rear left, in layer 0 (it holds in 12 % of runs): the resin there is 240 µm thick when "
        "the light comes on, and 35 s of light bonds through 190 µm."
    )
    assert mend_sentence(base()) == "The cheapest mend is 52 s of base settle (35 s now); it takes 1 min 8 s more."


def test_it_says_that_all_hold_and_what_the_values_as_typed_would_do():
    assert first_sentence(holding()).startswith(
        "The base holds everywhere (in over 99 % of runs). Tightest at the rear left: the resin there is 150 µm"
    )
    said = mend_sentence(holding())
    assert (
        "Typed in as proven (2 s settle, 33 s light) it would hold in only 1 % of runs and let go first at the rear left"
        in said
    )
    easy = mend_sentence(
        holding(mends=(), typed=TypedBase(settle_s=30.0, exposure_s=33.0, layer=0, worst=place(), chance=0.97))
    )
    assert easy == "Typed in as proven (30 s settle, 33 s light) it would hold too, in 97 % of runs."


def test_without_a_mend_it_says_so():
    hopeless = tuple(evolve(m, enough=False) for m in MENDS)
    assert mend_sentence(base(mends=hopeless)) == "No single change mends it."
    assert short_lines(base(mends=hopeless))[1] == "No single change mends it."


def test_a_mend_row_tells_its_state_in_words():
    rows = mend_rows(base())
    assert [r.does for r in rows] == ["enough", "enough", "not taken", "not enough", "not enough"]
    assert rows[1].cost == "about 31 min before the run (estimate)"
    assert rows[3].cost == "about 30 min before the run (common practice)"
    assert rows[2].note == "Albatross takes 120 s at most."


def test_the_moment_is_force_times_arm_in_the_words_too():
    said = pressure_sentence(base())
    assert "13 mm off its middle" in said  # sqrt(12^2 + 5^2)
    assert "1.6 N m" in said
    centred = tuple(evolve(p, centre_x_m=0.0, centre_y_m=0.0, peak_moment_j=0.0) for p in base().pressures)
    assert "nothing tips it" in pressure_sentence(base(pressures=centred))


def test_a_base_that_lets_go_is_on_the_first_screen_and_one_that_holds_a_page_away():
    first = carry_text(sheet(base()), cite=cite, whole=False)
    assert len(first.splitlines()) <= 40
    said = " ".join(first.split())
    assert "Base Lets go first at the rear left (holds in 12 % of runs): 240 um there, 190 um bond." in said
    assert "Cheapest mend: 52 s of base settle, 1 min 8 s more." in said
    assert "Lets go first" not in carry_text(sheet(holding()), cite=cite, whole=False)
    for made in (base(), holding()):
        assert "Does the base hold everywhere" in carry_text(sheet(made), cite=cite)


# --- data ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("make", [base, holding])
def test_data_keep_to_the_published_schema(make):
    check = validator("carry-1")
    data = json.loads(json.dumps(carry_json(sheet(make()), cite=cite), allow_nan=False))
    assert [e.json_path + ": " + e.message for e in check.iter_errors(data)] == []
    assert undocumented(data, check.schema) == []
    assert data["first_layer"]["worst"]["spare_um"] == pytest.approx(make().worst.spare_m * 1e6)


def test_mends_in_bench_units():
    kinds = {m["kind"]: m for m in as_data(base(), DECLARED)["mends"]}
    assert (kinds["warmth"]["from"], kinds["warmth"]["to"], kinds["warmth"]["unit"]) == (18.0, 26.0, "C")
    assert (kinds["level"]["from"], kinds["level"]["unit"]) == (90.0, "um")
    assert (kinds["settle"]["to"], kinds["settle"]["unit"], kinds["settle"]["time_min"]) == (52.0, "s", 1.13)


# --- pictures -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("make", [base, holding])
def test_pictures_are_sound_and_themed(make):
    for figure in first_layer_figures(make()):
        root = ET.fromstring(figure.picture)  # noqa: S314 - our own drawing
        assert root.find("{http://www.w3.org/2000/svg}title").text == figure.title
        assert all(len(row) == len(figure.columns) for row in figure.rows)
        assert not re.search(r"#[0-9a-f]{6}(?!\))", figure.picture)  # every colour is a variable with a fallback
        assert "var(" not in svg.for_print(figure.picture)
        assert "nan" not in figure.picture


def test_what_may_let_go_is_told_by_words_and_shape():
    weak, fine = spare_map(base()), spare_map(holding())
    assert "may let go" in weak.picture
    assert "may let go" not in fine.picture
    assert "lets go first" in weak.title
    assert ">enough<" in weak.picture  # the line between what holds and what does not
    assert weak.title == "The rear left lets go first in layer 0: 50 µm too thick"


def test_an_even_base_has_no_lines():
    flat = layer(place("middle", 80.0, 190.0, chance=0.99))
    flat = evolve(flat, spare_m=np.full(flat.spare_m.shape, 1.1e-4))
    figure = spare_map(base(layers=(flat,), chance=0.99))
    assert figure.title == "Base layer 0 has the same everywhere: 110 µm to spare"
    assert figure.rows[0][3] == "everywhere"


def test_bars_name_the_corner_that_is_short_and_show_the_values_as_typed():
    assert corner_bars(base()).title == "Not enough light for the gap at the rear left"
    assert len(corner_bars(base()).rows) == 4
    shown = corner_bars(holding())
    assert shown.rows[4][0] == "as typed"
    assert shown.title.startswith("Every corner is within what the light bonds through")


def test_a_plane_gives_straight_lines():
    x, y = np.linspace(0.0, 3.0, 13), np.linspace(0.0, 2.0, 9)
    values = 2.0 * x[None, :] + 1.0 * y[:, None]
    (line,) = level_lines(x, y, values, 3.1)
    assert len(line) == 2
    assert np.array(sorted(line)) == pytest.approx(np.array([(0.55, 2.0), (1.55, 0.0)]))


def test_a_cone_gives_one_closed_ring():
    x = np.linspace(-1.0, 1.0, 41)
    (ring,) = level_lines(x, x, np.hypot(x[None, :], x[:, None]), 0.6)
    assert ring[0] == ring[-1]
    assert [math.hypot(*p) for p in ring] == pytest.approx([0.6] * len(ring), abs=2e-3)  # pitch^2 / 8 r is 5e-4


def test_a_line_through_nodes_does_not_fork():
    x = np.arange(5.0)
    (line,) = level_lines(x, x, np.broadcast_to(x[None, :], (5, 5)).copy(), 2.0)
    assert np.array(sorted(line)) == pytest.approx(np.array([(2.0, 0.0), (2.0, 4.0)]), abs=1e-6)


# --- page and paper -----------------------------------------------------------------------------------------------------


def test_page_and_paper_carry_the_section():
    for first in (base(), holding()):
        page = carry_html(sheet(first), cite=cite)
        assert "Does the base hold everywhere?" in page
        assert 'id="base-map"' in page
        assert 'id="base-corners"' in page
        assert 'id="base-pressure"' in page
        assert "does it do?" in page
        assert carry_pdf(sheet(first), cite=cite).startswith(b"%PDF")
    assert "Does the base hold everywhere?" not in carry_html(sample_sheet(), cite=cite)
