"""Bars, what pays and a person's hours: the pictures say what the numbers are."""

from __future__ import annotations

import re

import pytest
from defusedxml import ElementTree
from tests.planning.fleet.test_fleet import planned, week

from vatwright.answers.fleet import worth_words
from vatwright.interfaces.render.pictures.bars import Bar, BarWords, bars
from vatwright.interfaces.render.pictures.compare import pay_figure
from vatwright.interfaces.render.pictures.fleet import hands_figure
from vatwright.planning.fleet.plate_time import break_even, machine_work
from vatwright.records.after import Span
from vatwright.records.cost import PayBack

NS = "{http://www.w3.org/2000/svg}"
WORDS = BarWords("x", "a finding", "what it shows", "hours [h]")


def drawn(rows):
    return ElementTree.fromstring(bars(WORDS, rows, ("what", "how long"), [(r.label, r.text) for r in rows]).picture)


def filled(root):
    return [r for r in root.iter(f"{NS}rect") if "accent-fill" in r.get("style", "")]


def test_bars_are_as_long_as_their_values():
    """Lengths are to each other as the values, in whatever scale."""
    rows = [Bar("one", 2.0, "2"), Bar("other", 5.0, "5"), Bar("none", 0.0, "0")]
    short, long, none = (float(r.get("width")) for r in filled(drawn(rows)))
    assert short / long == pytest.approx(2.0 / 5.0, abs=0.002)
    assert none <= 1.0


def test_range_and_mark_stand_where_their_values_are():
    root = drawn([Bar("one", 4.0, "4", low=2.0, high=6.0, mark=8.0), Bar("rule", 8.0, "8")])
    left, right = (float(r.get("x")) + float(r.get("width")) for r in filled(root))
    start = float(filled(root)[0].get("x"))
    path = next(p.get("d") for p in root.iter(f"{NS}path") if p.get("d").count("M") == 3)
    low, high = (float(v) for v in re.match(r"M([\d.]+) [\d.]+H([\d.]+)", path).groups())
    scale = (right - start) / 8.0
    assert left == pytest.approx(start + 4.0 * scale, abs=0.1)
    assert (low, high) == pytest.approx((start + 2.0 * scale, start + 6.0 * scale), abs=0.1)
    stroke = [line for line in root.iter(f"{NS}line") if "stroke-width:2" in line.get("style", "")]
    assert float(stroke[0].get("x1")) == pytest.approx(right, abs=0.1)


def test_no_word_leaves_the_picture():
    """Seven pixels a character is the house's own measure of a label."""
    rows = [Bar("a label that is far too long to be shown whole", 1e-9, "1,234,567 of something"), Bar("b", 3.0, "3")]
    root = drawn(rows)
    width = float(root.get("viewBox").split()[2])
    for text in root.iter(f"{NS}text"):
        long = len("".join(text.itertext())) * 7.0
        x, anchor = float(text.get("x")), text.get("text-anchor")
        left = x - (long if anchor == "end" else long / 2 if anchor == "middle" else 0.0)
        if text.get("transform") is None:
            assert left >= -1.0, text.text
            assert left + long <= width + 8.0, text.text


def test_a_persons_hours_are_the_sum_of_what_is_to_be_done():
    plan = planned(week())
    handling = plan.book.handling
    wanted = sum(
        r.begin_s - r.start_s + handling.unload_s + len(r.visits_s) * handling.visit_s for r in plan.runs
    )  # fmt: skip
    rows = hands_figure(plan).rows
    minutes = 0
    for _, busy, _there in rows:
        found = re.fullmatch(r"(?:(\d+) h)?\s?(?:(\d+) min)?", busy)
        minutes += 60 * int(found[1] or 0) + int(found[2] or 0)
    assert minutes * 60.0 == pytest.approx(wanted, abs=30.0 * len(rows))


def paid(fixed, low, value, high, pieces):
    small = machine_work("Wren", goods="tile", pieces=6, print_s=17_000.0, layers=1000, hands_s=1200.0)
    large = machine_work("Albatross", goods="tile", pieces=24, print_s=25_500.0, layers=1000, hands_s=1200.0)
    return PayBack(
        work=break_even(large, small), fixed=fixed, rent_per_piece=None, saves=Span(low=low, value=value, high=high),
        pieces=pieces, pieces_range=(pieces, None), months=None, missing=(),
    )  # fmt: skip


def test_the_line_crosses_where_it_has_paid():
    """1200 over 15.5 a piece: 77.4, so the upright line at 78 pieces stands at the crossing, within a piece."""
    root = ElementTree.fromstring(pay_figure(paid(1200.0, 12.0, 15.5, 20.0, 78), "marks").picture)
    style = "stroke-width:2.5"
    line = next(p for p in root.iter(f"{NS}polyline") if style in p.get("style"))
    (x0, y0), (x1, y1) = (tuple(map(float, pair.split(","))) for pair in line.get("points").split())
    zero = next(
        e for e in root.iter(f"{NS}line") if "stroke-width:1.5" in e.get("style") and e.get("y1") == e.get("y2")
    )
    crossing = x0 + (float(zero.get("y1")) - y0) / (y1 - y0) * (x1 - x0)
    upright = next(e for e in root.iter(f"{NS}line") if "stroke-dasharray" in e.get("style"))
    pixels_a_piece = (float(upright.get("x1")) - x0) / 78.0
    assert float(upright.get("x1")) - crossing == pytest.approx(0.6 * pixels_a_piece, abs=0.6)


def test_about_four_is_told_with_its_numbers():
    """24/6 = 4.0; (17,000 + 1,200) / (25,500 + 1,200) = 1/1.467: 4.0 / 1.467 = 2.7."""
    said = worth_words(paid(1.0, 1.0, 1.0, 1.0, 1).work)
    for number in ("work of 2.7 Wren", "4.0 times as many pieces", "1.5 times as long", "work of 4.0", "about four"):
        assert number in said
