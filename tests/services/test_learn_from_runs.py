"""Learning from a notebook: which runs are used, what is said of those that are not, and the sheet in words and data."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import trimesh
from attrs import evolve
from tests.journeys.published_json import all_finite, mistakes

from vatwright.answers.learn import learn_answer
from vatwright.errors import InputError
from vatwright.files.read import read_job, read_shop
from vatwright.interfaces.render.learn_json import learn_json
from vatwright.interfaces.render.terminal import answer_text
from vatwright.records.part import PartUse
from vatwright.records.run import Event, Prediction, Quantity, Reading, RunOutcome, Seen
from vatwright.records.stock import FittedFilm, Stock
from vatwright.services.learn_from_runs import LearningBench, as_described_today, learn_from_runs, shop_belief
from vatwright.services.ports import PartGeometry
from vatwright.wiring import demo_folder

NOW = datetime(2026, 4, 1, tzinfo=UTC)
TILE = PartUse(name="tile", file="tile", count=4)


def read(part, *, layer_nm):
    if part.file == "lost":
        raise InputError.one("lost", "is not there", "Find it")
    solid = trimesh.creation.box(extents=(40.0, 40.0, 3.0))
    return PartGeometry(name=part.name, corners_m=np.asarray(solid.vertices[solid.faces]) / 1e3)


class Notebook:
    """A notebook in memory."""

    def __init__(self, runs, job, stock=None):
        self._runs, self._job, self._stock = runs, job, stock or Stock()

    def shop(self):
        return read_shop(demo_folder() / "shop.toml")

    def stock(self):
        return self._stock

    def runs(self, machine=None, resin=None, *, newest=None):
        found = tuple(r for r in self._runs if machine in {None, r.machine} and resin in {None, r.resin})
        return found if newest is None else found[-newest:]

    def job_digests(self, runs):
        return {run: run if run == "astray" else "one" for run in runs}

    def jobs(self):
        return (self._job.name,)

    def job(self, name):
        return self._job

    def job_of(self, run):
        return evolve(self._job, parts=(evolve(TILE, file="lost"),)) if run == "astray" else self._job


@pytest.fixture(scope="module")
def job():
    found = read_job(demo_folder() / "harbour-lanterns.toml", to="Albatross")
    recipe = evolve(found.recipe, proof=evolve(found.recipe.proof, parts=(TILE,)))
    return evolve(found, recipe=recipe, parts=(TILE,))


def run(job, name, *, held=True, day=0, **changes):
    said = Prediction(chance_low=0.7, chance=0.9, chance_high=0.98, run_time_s=4000.0, first_layer_m=9e-5)
    whole = {
        "run": name, "at": NOW - timedelta(days=day), "job": job.name, "recipe": job.recipe.name, "machine": "Albatross",
        "resin": job.resin.name, "room_k": job.room_k, "held": held, "prediction": said,
    }  # fmt: skip
    return RunOutcome(**whole | changes)


@pytest.fixture(scope="module")
def runs(job):
    weighed = Reading(quantity=Quantity.DEFLECTION, value=2.5e-4, sigma=5e-6, at={"load_N": 49.0})
    timed = Reading(quantity=Quantity.RUN_TIME, value=4400.0, sigma=10.0)
    return [
        run(job, "first", day=40, readings=(timed,)),
        run(job, "short", held=False, day=30, events=(Event(what=Seen.BASE_LET_GO),), settings={"base.settle_s": 2.0}),
        run(job, "weighed", day=20, readings=(weighed, timed), film="film 1"),
        run(job, "torn", held=False, day=10, events=(Event(what=Seen.TORN),)),
        run(job, "astray", day=5),
    ]


@pytest.fixture(scope="module")
def sheet(job, runs):
    films = (FittedFilm(name="film 2", machine="Albatross"),)
    bench = LearningBench(store=Notebook(runs, job, Stock(films=films)), read=read, now=NOW)
    return learn_from_runs(bench, machine="Albatross")


def test_runs_that_cannot_be_studied_are_told_not_dropped(sheet):
    assert (sheet.runs, sheet.held) == (4, 2)
    (told,) = sheet.left_out
    assert told.startswith("astray:")
    assert "is not there" in told


def test_what_has_no_model_and_what_is_gone_are_said(sheet):
    notes = " ".join(sheet.notes)
    assert "torn" in notes
    assert "film 1 is no longer in use" in notes


def test_the_weighed_arm_is_believed(sheet):
    """Hooke: 49 N over 250 um is 196 N/mm."""
    stiffness = next(b for b in sheet.believed if b.name == "stiffness")
    assert stiffness.after[1] == pytest.approx(1.96e5, rel=0.03)
    assert stiffness.share_left < 0.2
    assert "weighed" in [p.run for p in stiffness.moved_by]


def test_the_score_and_the_counts(sheet):
    (score,) = sheet.scores
    assert [(c.held, c.runs) for c in score.classes] == [(3, 5)]
    assert score.run_time.middle == pytest.approx(1.1)
    (count,) = sheet.counts
    assert (count.held, count.runs, count.more_to_show) == (3, 5, None)
    assert count.next_holds == pytest.approx(3.5 / 6.0)  # Jeffreys: (3 + 1/2)/(5 + 1)


def test_text_answers_first_and_fits_the_terminal(sheet):
    text = answer_text(learn_answer(sheet, cite=str), whole=True)
    assert "4 runs on Albatross learned from; 2 held." in text.partition("What to measure next")[0]
    assert "said 90 %, 3 of 5 held" in text
    assert max(map(len, text.splitlines())) <= 80
    assert text.isascii()


def test_data_follow_the_published_schema(sheet):
    data = learn_json(sheet, cite=str)
    assert mistakes(data, "learn-1") == []
    assert all_finite(data)


def test_a_named_machine_without_runs_is_refused_with_what_there_is(job, runs):
    bench = LearningBench(store=Notebook(runs, job), read=read, now=NOW)
    with pytest.raises(InputError, match="has no run of 'Owl'"):
        learn_from_runs(bench, machine="Owl")
    with pytest.raises(InputError, match="no run in it yet"):
        learn_from_runs(LearningBench(store=Notebook([], job), read=read, now=NOW))


def test_belief_of_an_empty_notebook_is_none(job):
    assert shop_belief(LearningBench(store=Notebook([], job), read=read, now=NOW)) is None


def test_a_run_is_judged_with_the_machine_as_it_is_described_now(job, runs):
    old = evolve(job, target=evolve(job.target, height_m=0.1))
    shop = read_shop(demo_folder() / "shop.toml")
    today = as_described_today(old, runs[0], shop)
    assert today.target == next(m for m in shop.machines if m.name == "Albatross")
    gone = evolve(shop, machines=())
    assert as_described_today(old, runs[0], gone).target == old.target
