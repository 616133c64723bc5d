"""Noting a run: what it took from the stock, what is kept as said before it, and that twice does not count twice.

Compared with: sums by hand (layers, hours, millilitres of an invented plate).
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from types import SimpleNamespace

import numpy as np
import pytest
from attrs import evolve
from tests.store.things import SLATE, WREN, noted_job, outcome

from vatwright.files.documents import TomlDocuments, run_page
from vatwright.records.plan import ResinNeed, RunTime, Success
from vatwright.records.run import Quantity, Reading, SetByHand
from vatwright.records.stock import FittedFilm, Lot, Screen
from vatwright.services.note_outcome import as_printed, note_outcome, prediction_of, use_of, with_fitted
from vatwright.store.notebook import DatabaseNotebook

FILM = FittedFilm(name="film 1", machine="Wren", fitted=date(2026, 1, 1), layers=100, used_s=3600.0)
SCREEN = Screen(name="screen 1", machine="Wren", used_s=7200.0)
LOT = Lot(name="lot 1", resin="slate", left_m3=500e-6)
RUN = outcome(machine="Wren", film="", screen="", held=True, events=(), readings=(), prediction=None)


def sheet(plates=1, hand=None):
    """Of a carry sheet, what noting looks at: 800 layers in two hours, 90 ml of parts and 10 ml carried out."""
    return SimpleNamespace(
        success=Success(low=0.6, mean=0.8, high=0.9),
        time=RunTime(
            from_s=1.0,
            to_s=7200.0 * plates,
            from_plates=1,
            to_plates=plates,
            per_piece_from_s=1.0,
            per_piece_to_s=1.0,
            shares=(),
        ),
        layers=SimpleNamespace(thickness_m=[7e-5] + [5e-5] * 799),
        resin_need=ResinNeed(parts_m3=90e-6, drag_out_m3=10e-6, pool_m3=1.0, pour_m3=1.0),
        hand=hand,
        noted=None,
        trimmed=None,
    )


@pytest.fixture
def book(tmp_path):
    with DatabaseNotebook(str(tmp_path / "n.sqlite"), TomlDocuments("x"), create=True) as made:
        made.keep("shop", [WREN, SLATE, FILM, SCREEN, LOT])
        yield made


def test_a_run_uses_film_screen_and_lot(book):
    noted = note_outcome(book, RUN, noted_job(), run_page, sheet=sheet())
    stock = book.stock()
    assert stock.films == (evolve(FILM, layers=900, used_s=3600.0 + 7200.0),)
    assert stock.screens == (evolve(SCREEN, used_s=14_400.0),)
    assert stock.lots[0].left_m3 == pytest.approx(400e-6, rel=1e-12)
    assert noted.used == (
        "film film 1: 800 layers more, 900 in all", "screen screen 1: 4.0 h in all", "lot lot 1: about 400 ml left"
    )  # fmt: skip
    assert (noted.outcome.film, noted.outcome.screen) == ("film 1", "screen 1")
    assert book.runs() == (noted.outcome,)


def test_all_of_it_is_one_change_that_can_be_taken_back(book):
    noted = note_outcome(book, RUN, noted_job(), run_page, sheet=sheet())
    assert [t.kind for t in noted.change.touched] == ["film", "screen", "lot", "job", "run"]
    book.undo()
    assert (book.stock().films, book.stock().lots, book.runs(), book.jobs()) == ((FILM,), (LOT,), (), ())


def test_noting_it_twice_counts_it_once(book):
    first = note_outcome(book, RUN, noted_job(), run_page, sheet=sheet())
    again = note_outcome(book, RUN, noted_job(), run_page, sheet=sheet())
    assert (again.change, again.used) == (None, ())
    assert again.outcome == first.outcome
    assert book.stock().films[0].layers == 900


def test_what_was_said_first_stays(book):
    said = evolve(RUN, prediction=prediction_of(sheet(), release="0.1"))
    note_outcome(book, said, noted_job(), run_page, sheet=sheet())
    note_outcome(book, RUN, noted_job(), run_page)
    assert book.runs()[0].prediction.chance == 0.8


def test_without_a_sheet_nothing_is_counted(book):
    note_outcome(book, RUN, noted_job(), run_page)
    assert book.stock().films == (FILM,)


def test_a_run_that_failed_early_used_its_share_of_the_time(book):
    short = Reading(quantity=Quantity.RUN_TIME, value=1800.0, sigma=30.0)
    use = use_of(sheet(), evolve(RUN, held=False, readings=(short,)))
    assert (use.layers, use.time_s) == (200, 1800.0)
    assert use.resin_m3 == pytest.approx(25e-6, rel=1e-12)


def test_a_lot_is_never_less_than_empty(book):
    book.keep("used", [evolve(LOT, left_m3=30e-6)])
    note_outcome(book, RUN, noted_job(), run_page, sheet=sheet())
    assert book.stock().lots[0].left_m3 == 0.0


@pytest.mark.parametrize(
    ("films", "wanted"),
    [
        ((FILM,), "film 1"),
        ((evolve(FILM, removed=date(2026, 2, 1)),), ""),  # the run was in May
        ((evolve(FILM, fitted=date(2026, 6, 1)),), ""),
        ((evolve(FILM, removed=date(2026, 5, 4)),), "film 1"),  # taken out on the day of the run
        ((FILM, evolve(FILM, name="film 2")), ""),  # nobody can tell which
        ((FILM, evolve(FILM, name="film 2", machine="Heron")), "film 1"),
    ],
)
def test_the_film_that_is_fitted_is_taken(book, films, wanted):
    stock = evolve(book.stock(), films=films)
    assert with_fitted(RUN, stock).film == wanted
    assert with_fitted(evolve(RUN, film="mine"), stock).film == "mine"


@pytest.mark.parametrize(
    ("plan", "run_time_s"),
    [(sheet(), 7200.0), (sheet(plates=3), 7200.0), (sheet(plates=3, hand=SimpleNamespace(total_s=7000.0)), 7000.0)],
)
def test_what_was_said_is_of_one_run(plan, run_time_s):
    said = prediction_of(plan, release="0.1")
    assert (said.chance_low, said.chance, said.chance_high) == (0.6, 0.8, 0.9)
    assert (said.run_time_s, said.first_layer_m, said.release) == (run_time_s, 7e-5, "0.1")


def test_the_day_is_that_of_the_runs_own_zone(book):
    late = evolve(RUN, at=datetime(2026, 1, 1, 0, 30, tzinfo=RUN.at.tzinfo))  # still 2025 in UTC
    assert late.at.astimezone(UTC).year == 2025
    assert with_fitted(late, book.stock()).film == "film 1"


def test_a_run_keeps_the_settings_of_a_sheet_that_nobody_could_work_out_again():
    """Reference: the sheet itself, layer by layer, where a hand did not set another."""
    settings = tuple(
        SimpleNamespace(name=n, to_value=v)
        for n, v in (("body.settle_s", 5.0), ("body.peel_lift_mm", 0.0037), ("body.peel_speed_mm_s", 0.001))
    )
    layers = SimpleNamespace(settle_given_s=np.array([37.0, 37.0, 5.0, 5.0, 9.5, 5.0]))
    plain = SimpleNamespace(noted=None, trimmed=None, settings=settings, layers=layers, hand=None)
    run = evolve(RUN, settings={"body.peel_lift_mm": 0.004}, hands=())
    assert as_printed(run, plain) == run
    trimmed = SimpleNamespace(**vars(plain) | {"trimmed": object()})
    assert as_printed(run, trimmed).settings == {"body.settle_s": 5.0, "body.peel_lift_mm": 0.004}
    by_hand = SimpleNamespace(**vars(trimmed) | {"hand": object()})
    told = as_printed(evolve(run, hands=(SetByHand(layer=3, settle_s=6.0),)), by_hand)
    assert told.settings == {"body.peel_lift_mm": 0.004}
    assert [(h.layer, h.settle_s) for h in told.hands] == [(0, 37.0), (2, 5.0), (3, 6.0)]
