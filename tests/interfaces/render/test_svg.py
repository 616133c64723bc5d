import math
import re

import attrs
import numpy as np
import pytest
from attrs import evolve
from defusedxml import ElementTree
from hypothesis import example, given
from hypothesis import strategies as st
from tests.interfaces.render.sample_sheet import HOSTILE_HTML, bare_sheet, crowded_sheet, sample_sheet

from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.belief_plot import belief_plot, margin_bar
from vatwright.interfaces.render.pictures.platform_map import contour_levels, place_name, platform_map
from vatwright.interfaces.render.pictures.plots import figures, thickness_by_layer

SVG = "{http://www.w3.org/2000/svg}"


def every_figure(sheet):
    return [
        platform_map(sheet),
        *figures(attrs.evolve(sheet, tolerance=0.1)),
        *(belief_plot(b, k) for k, b in enumerate(sheet.beliefs)),
    ]


SHEETS = [sample_sheet(part=HOSTILE_HTML, job=HOSTILE_HTML), crowded_sheet(), bare_sheet()]


@pytest.mark.parametrize("sheet", SHEETS, ids=["hostile", "crowded", "bare"])
def test_every_picture_is_well_formed_and_named(sheet):
    for figure in every_figure(sheet):
        root = ElementTree.fromstring(figure.picture)
        titles = root.findall(f"{SVG}title")
        assert root.tag == f"{SVG}svg"
        assert [t.text for t in titles] == [figure.title]
        ids = {e.get("id") for e in root.iter() if e.get("id")}
        assert set(root.get("aria-labelledby").split()) <= ids
        assert figure.title
        assert figure.rows
        assert all(len(row) == len(figure.columns) for row in figure.rows)


@pytest.mark.parametrize("sheet", SHEETS, ids=["hostile", "crowded", "bare"])
def test_no_picture_holds_a_number_that_is_none(sheet):
    for figure in every_figure(sheet):
        assert not re.search(r"[ \",(](nan|inf|-inf)\b", figure.picture)


@pytest.mark.parametrize("sheet", SHEETS, ids=["hostile", "crowded", "bare"])
def test_everything_is_drawn_inside_the_picture(sheet):
    for figure in every_figure(sheet):
        root = ElementTree.fromstring(figure.picture)
        _, _, width, height = (float(n) for n in root.get("viewBox").split())
        for e in root.iter():
            for pair in (e.get("points") or "").split():
                x, y = (float(n) for n in pair.split(","))
                assert -0.1 <= x <= width + 0.1
                assert -0.1 <= y <= height + 0.1
            for name, limit in (
                ("x", width),
                ("x1", width),
                ("x2", width),
                ("y", height),
                ("y1", height),
                ("y2", height),
            ):
                assert -0.1 <= float(e.get(name) or 0.0) <= limit + 0.1


def test_a_hostile_part_name_is_text():
    picture = platform_map(SHEETS[0]).picture
    assert "<script" not in picture
    titles = [e.text for e in ElementTree.fromstring(picture).iter(f"{SVG}title")]
    assert HOSTILE_HTML in titles


@example("a\ufffe\uffff\x00\x1b\x85b", "\ud800")
@given(st.text(), st.text())
def test_any_text_survives_as_text(child, attribute):
    root = ElementTree.fromstring(svg.tag("text", child, id=attribute))
    assert len(root) == 0
    assert (root.text or "") == svg.one_line(child)


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6))
def test_an_axis_covers_its_range_with_even_ticks(low, long):
    axis = svg.axis("x [mm]", low, low + long)
    assert axis.low <= low + 1e-6 * long
    assert axis.high >= low + long * (1.0 - 1e-6)
    gaps = np.diff(axis.ticks)
    assert gaps == pytest.approx(gaps[0], rel=1e-6)
    assert 2 <= len(axis.ticks) <= 8


def test_pixels_are_linear_in_the_value():
    frame = svg.Frame(svg.axis("lift [mm]", 0.0, 8.0), svg.axis("pull [N]", 0.0, 40.0))
    assert frame.at_x(4.0) == pytest.approx((frame.at_x(0.0) + frame.at_x(8.0)) / 2.0)
    assert frame.at_y(0.0) == frame.height - frame.bottom
    assert frame.at_y(40.0) == frame.top


def test_thinning_keeps_every_extreme():
    values = np.random.default_rng(4).normal(size=5000)
    kept = svg.thinned([values])
    assert values[kept].max() == values.max()
    assert values[kept].min() == values.min()


def test_print_leaves_no_variable():
    for figure in every_figure(SHEETS[0]):
        assert "var(" not in svg.for_print(figure.picture)
        ElementTree.fromstring(svg.for_print(figure.picture))


def test_axes_name_their_units():
    for figure in every_figure(sample_sheet()):
        if figure.slug == "platform":
            continue
        texts = [e.text for e in ElementTree.fromstring(figure.picture).iter(f"{SVG}text")]
        assert any(re.search(r"\[[^\]]+\]$", t) or "layer (0" in t for t in texts), figure.slug


def test_contours_lie_where_the_lift_says():
    # Distance from a straight edge is measured square to it, so the line of lift v is inset by v / tan(angle).
    sheet = sample_sheet()
    view = sheet.platform_view
    root = ElementTree.fromstring(platform_map(sheet).picture)
    scale = (svg.WIDTH_PX - 8.0) / view.window.width_m
    drawn = [float(e.get("height")) / scale for e in root.findall(f"{SVG}rect")]
    for level in contour_levels(view):
        wanted = view.window.depth_m - 2.0 * level / 1e3 / math.tan(math.radians(5.0))
        assert min(abs(h - wanted) for h in drawn) < 1e-5
    assert len(contour_levels(view)) == 7  # 1 to 7 mm: the middle needs 7.79 mm


@pytest.mark.parametrize(
    ("x", "y", "name"),
    [
        (-1, 1, "rear left"),
        (1, 1, "rear right"),
        (-1, -1, "front left"),
        (1, -1, "front right"),
        (0, 0, "middle"),
        (0, 1, "rear middle"),
        (-1, 0, "middle left"),
    ],
)
def test_places_are_named_as_the_person_stands(x, y, name):
    assert place_name(0.12 * x, 0.07 * y, width_m=0.3, depth_m=0.17) == name


def test_the_title_states_whether_it_cures_through():
    sheet = sample_sheet()
    assert "the light cures 8" in thickness_by_layer(sheet, 60, 1300).title
    thick = evolve(sheet, layers=evolve(sheet.layers, thickness_m=sheet.layers.thickness_m * 2.0))
    assert "cures only" in thickness_by_layer(thick, 60, 1300).title


@pytest.mark.parametrize(("margin", "share"), [(0.5, 0.25), (1.0, 0.5), (1.5, 0.75), (5.0, 1.0), (math.inf, 1.0)])
def test_a_margin_bar_is_as_long_as_the_margin(margin, share):
    frame, bar = ElementTree.fromstring(margin_bar(margin, 0)).findall(f"{SVG}rect")
    assert float(bar.get("width")) == pytest.approx(share * float(frame.get("width")), abs=0.01)
