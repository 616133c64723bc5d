"""Quick looks over the interface for programs: what moves, what is refused, and what is no longer kept."""

from __future__ import annotations

from functools import cache

import pytest
from attrs import evolve
from tests.planning.workshop import demo_job, plate

from vatwright.planning.carry.carry import PlateCounts, carry
from vatwright.planning.carry.quick_look import Planned
from vatwright.services.recent_plans import RecentPlans, recent

API = "/api/v1"
COUNTS = PlateCounts(origin=(80,), target=(80,))


@cache
def _planned():
    """A carry of the demo recipe on plates of plain bars."""
    job, kept = demo_job("Albatross"), []
    sheet = carry(
        job,
        proven=plate([9.0] * 80),
        target=plate([9.0] * 80),
        plates=COUNTS,
        found=lambda case, chosen: kept.append(Planned(case=case, chosen=chosen, plates=COUNTS)) or (),
    )
    return job, sheet, kept[0]


@pytest.fixture
def work(app):
    """The work of a carry that is done."""
    job, sheet, planned = _planned()
    recent.keep(planned)
    work = app.state.desk.work.start("carry", job.name, lambda told: sheet)
    work.about = job
    assert work.ended.wait(30.0)
    return work


def test_what_moves_is_told_beside_the_sheet(desk, work):
    answer = desk.post(f"{API}/work/{work.id}/look", json={"what": "room_c", "value": 35.0})
    assert answer.status_code == 200, answer.text
    look = answer.json()
    sheet = {a.name: a.to_value for a in _planned()[1].settings}
    assert look["before"]["settings"]["body.settle_s"] == sheet["body.settle_s"]
    # Warmer resin is thinner and needs no longer settle (Andrade's law).
    assert look["now"]["settings"]["base.settle_s"] <= look["before"]["settings"]["base.settle_s"]
    assert look["now"]["time_s"] <= look["before"]["time_s"]
    chance = look["now"]["chance"]
    assert 0.0 <= chance["low_percent"] <= chance["percent"] <= chance["high_percent"] <= 100.0


def test_a_value_set_otherwise_stands(desk, work):
    asked = {"what": "body.clear_lift_mm", "value": 1.0}
    look = desk.post(f"{API}/work/{work.id}/look", json=asked).json()
    assert look["now"]["settings"]["body.clear_lift_mm"] == 1.0
    assert look["now"]["time_s"] < look["before"]["time_s"]


def test_another_resin_of_the_shop(desk, work, app):
    other = next(r.name for r in app.state.desk.shop().records.resins if r.name != "slate")
    look = desk.post(f"{API}/work/{work.id}/look", json={"what": "resin", "resin": other})
    assert look.status_code == 200, look.text


@pytest.mark.parametrize(
    ("asked", "word"),
    [
        ({"what": "room_c", "value": 90.0}, "room"),
        ({"what": "room_c"}, "not given"),
        ({"what": "visits", "value": 1.5}, "visits"),
        ({"what": "visits", "value": 21}, "0\N{EN DASH}20"),
        ({"what": "confidence_percent", "value": 20}, "50\N{EN DASH}99.9 %"),
        ({"what": "body.settle_s", "value": -1}, "body settle"),
        ({"what": "body.peel_lift_mm", "value": 0}, "peel lift"),
        ({"what": "base.layers", "value": 5}, "cannot be changed"),
        ({"what": "layer_mm", "value": 0.1}, "cannot be changed"),
        ({"what": "<script>", "value": 1}, "cannot be changed"),
        ({"what": "resin", "resin": "no such"}, "none called"),
    ],
)
def test_what_cannot_be_looked_at_is_said(desk, work, asked, word):
    answer = desk.post(f"{API}/work/{work.id}/look", json=asked)
    assert answer.status_code == 422
    assert word in answer.text


def test_a_plan_that_is_no_longer_kept_is_said(desk, work):
    work.about = evolve(work.about)  # the same words, another carry
    answer = desk.post(f"{API}/work/{work.id}/look", json={"what": "room_c", "value": 25.0})
    assert answer.status_code == 422
    assert "work the sheet out again" in answer.text
    assert desk.post(f"{API}/work/nothing/look", json={"what": "room_c", "value": 25.0}).status_code == 404


def test_the_last_few_plans_are_kept():
    planned = _planned()[2]
    plans, jobs = RecentPlans(), []
    for n in range(6):
        jobs.append(evolve(planned.case.job, name=f"job {n}"))
        plans.keep(evolve(planned, case=evolve(planned.case, job=jobs[-1])))
        plans.of(jobs[0])  # asked for again and again, it stays
    assert [plans.of(j) is not None for j in jobs] == [True, False, False, True, True, True]


def test_a_plan_whose_answer_was_known_is_worked_out_when_it_is_asked_for():
    planned, made = _planned()[2], []
    plans = RecentPlans()
    plans.promise(planned.case.job, lambda: made.append(1) or planned)
    assert plans.of(evolve(planned.case.job)) is None
    assert made == []
    assert plans.of(planned.case.job) is plans.of(planned.case.job) is planned
    assert made == [1]
