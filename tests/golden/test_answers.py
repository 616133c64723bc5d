"""The demo's answers hold still, number by number; see `tests.golden.record` for how and when they are recorded anew."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest
from tests.golden.record import FOLDER, QUESTIONS, answer, workshop_in

NEAR = 1e-6
"""Relative difference that two builds of the same libraries may show."""


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    return workshop_in(tmp_path_factory.mktemp("workshop"))


def kept_answer(name: str) -> dict:
    """An answer as it was recorded."""
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def numbers(data: object, place: str = "") -> Iterator[tuple[str, object]]:
    """Walk an answer: every number, truth value and null with its place, and how long every list is."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from numbers(value, f"{place}.{key}")
    elif isinstance(data, list):
        yield f"{place}.length", len(data)
        for index, value in enumerate(data):
            yield from numbers(value, f"{place}[{index}]")
    elif isinstance(data, str):
        yield place, "words"
    else:
        yield place, data


@pytest.mark.parametrize("name", QUESTIONS)
def test_no_number_moves(name, workshop):
    kept = dict(numbers(kept_answer(name)))
    now = dict(numbers(answer(QUESTIONS[name], workshop)))
    assert now.keys() == kept.keys()
    moved = {place: (kept[place], now[place]) for place in kept if not _same(kept[place], now[place])}
    assert not moved


def _same(kept: object, now: object) -> bool:
    if isinstance(kept, bool) or not isinstance(kept, int | float):
        return kept == now
    return now == pytest.approx(kept, rel=NEAR, abs=1e-12)


def test_every_record_is_asked_for():
    assert {path.stem for path in FOLDER.glob("*.json")} == set(QUESTIONS)


def test_what_a_job_costs_and_how_it_compares_go_by_the_chance_that_its_sheet_tells():
    # The stock says how old film and resin are: to every answer about the job, or two of them contradict each other.
    told = kept_answer("carry-lanterns")["success"]
    assert kept_answer("cost-lanterns")["success"] == told
    beside = next(m for m in kept_answer("compare-lanterns")["machines"] if m["machine"] == "Albatross")
    assert beside["cost"]["success"] == told
