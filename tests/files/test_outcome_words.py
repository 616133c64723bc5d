"""What happened, in words: each word is what its help says, and every mistake is told at once."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from attrs import evolve
from tests.store.things import demo_job

from vatwright.errors import InputError
from vatwright.files.outcome_words import PlateWords, Said, outcome_of_job, outcome_of_words
from vatwright.records.run import Event, Quantity, Seen

PLATE = PlateWords(layer_nm=50_000, width_m=0.2, depth_m=0.1)
NOW = datetime(2026, 3, 1, 17, 30, tzinfo=UTC)


def only(key, word):
    (found,) = outcome_of_words([word], PLATE)[key]
    return found


@pytest.mark.parametrize(
    ("word", "where"),
    [
        ("base_let_go", {}),
        ("layer_split@412", {"layer": 412}),
        ("layer_split@20.6mm", {"layer": 412}),  # layer 412, counted from 0, reaches from 20.600 to 20.650 mm
        ("layer_split@20.649mm", {"layer": 412}),
        ("layer_split@2.06cm", {"layer": 412}),
        ("torn@-12.5,7", {"x_mm": Decimal("-12.5"), "y_mm": 7}),
        ("torn@3@-12.5,7", {"layer": 3, "x_mm": Decimal("-12.5"), "y_mm": 7}),
        ("base_let_go@rear-left", {"x_mm": -100, "y_mm": 50}),
        ("base_let_go@front-right", {"x_mm": 100, "y_mm": -50}),
        ("base_let_go@middle", {"x_mm": 0, "y_mm": 0}),
    ],
)
def test_something_seen(word, where):
    assert only("events", word) == {"what": word.partition("@")[0]} | where


@pytest.mark.parametrize(
    ("word", "value", "sigma", "at"),
    [
        ("first_layer_um=62", "62", None, {}),
        ("first_layer_um=0.062mm", "62", None, {}),
        ("first_layer_um=62+-5@10,-5", "62", "5", {"x_mm": 10, "y_mm": -5}),
        ("run_time_s=2h", "7200", None, {}),
        ("viscosity_Pa_s=310mPa.s+-20mPa.s@18C", "0.31", "0.02", {"temperature_C": 18}),
        ("cure_depth_um=140@20mJ/cm2", "140", None, {"dose_mJ_cm2": 20}),
        ("deflection_um=190@49N", "190", None, {"load_N": 49}),
        # a kilogram weighs 9.80665 N by convention (3rd CGPM, 1901)
        ("deflection_um=190@5kg", "190", None, {"load_N": Decimal("49.03325")}),
        ("stroke_s=6.12@60mm@10mm/s", "6.12", None, {"distance_mm": 60, "speed_mm_s": 10}),
        ("pull_N=12±1.5@400", "12", "1.5", {"layer": 400}),
        ("pull_N=12@20mm", "12", None, {"z_mm": 20}),
        ("height_mm=40.1@z_mm=20@x_mm=3", "40.1", None, {"z_mm": 20, "x_mm": 3}),
        ("resin_C=18.5", "18.5", None, {}),
        ("resin_C=-2°C", "-2", None, {}),
    ],
)
def test_something_read(word, value, sigma, at):
    found = only("readings", word)
    assert found["quantity"] == word.partition("=")[0]
    assert float(found["value"]) == float(value)
    assert found.get("sigma") is None if sigma is None else float(found["sigma"]) == float(sigma)
    assert {k: float(v) for k, v in found["at"].items()} == {k: float(v) for k, v in at.items()}


def test_something_set():
    said = outcome_of_words(["held", "body.settle_s=4.5", "base.layers=5", "body.peel_lift_mm=0.3cm"], PLATE)
    assert {k: float(v) for k, v in said["settings"].items()} == {
        "body.settle_s": 4.5, "base.layers": 5, "body.peel_lift_mm": 3
    }  # fmt: skip


@pytest.mark.parametrize(
    ("words", "held"),
    [
        (["held"], True), (["failed"], False), (["held", "thick_band@40"], True), (["held", "lines"], True),
        (["not_released"], False), (["failed", "torn"], False), (["thin_band"], None), (["first_layer_um=60"], None),
    ],
)  # fmt: skip
def test_whether_it_came_out_is_said_or_understood(words, held):
    assert outcome_of_words(words, PLATE).get("held") is held


@pytest.mark.parametrize(
    ("word", "told"),
    [
        ("hold", "Perhaps held is meant"),
        ("base_let_go=3", "nothing that can be seen, read or set is called so"),
        ("layer_splitt@4", "Perhaps layer_split is meant"),
        ("first_layer_um", "Write first_layer_um=VALUE"),
        ("first_layer_um=", "is not a number"),
        ("first_layer_um=6 kg", "a length is wanted"),
        ("first_layer_um=-3", "outside 0.1 to 20000"),
        ("first_layer_um=60+-0", "has the sigma 0"),
        ("first_layer_um=60+-x", "is not a number"),
        ("cure_depth_um=140", "does not say dose_mJ_cm2"),
        ("stroke_s=6@60mm", "does not say speed_mm_s"),
        ("viscosity_Pa_s=0.3@18F", "'18F' is no condition"),
        ("viscosity_Pa_s=0.3@18C@19C", "one condition twice"),
        ("resin_C=64K", "is no temperature"),
        ("base_let_go@101,0", "off the platform, which reaches 100"),
        ("base_let_go@left", "'left' is no place"),
        ("layer_split@4@5", "says where twice"),
        ("layer_split@4.5", "is no place"),
        ("body.settle_s=-1", "outside 0 to 7200 s"),
        ("body.settle_s=4@5", "a setting holds everywhere"),
        ("base.layers=4.5", "a whole number is wanted"),
        ("base.layers=four", "is no whole number"),
        ("", "nothing that can be seen, read or set is called so"),
    ],
)
def test_a_word_that_says_nothing_is_told_by_itself(word, told):
    with pytest.raises(InputError) as error:
        outcome_of_words([word], PLATE)
    assert told in str(error.value)
    assert [m.where for m in error.value.mistakes] == [word]


def test_every_mistake_is_told_at_once():
    with pytest.raises(InputError) as error:
        outcome_of_words(["hold", "first_layer_um=-3", "torn@x", "held", "failed", "torn"], PLATE)
    assert [m.where for m in error.value.mistakes] == ["hold", "first_layer_um=-3", "torn@x", "failed", "held"]


class TestOfAJob:
    def outcome(self, *words, file=None, **options):
        return outcome_of_job(demo_job(), Said(words, options, file), now=NOW)

    def test_the_job_says_what_nobody_else_does(self):
        found = self.outcome("held")
        assert (found.job, found.recipe, found.machine, found.resin, found.room_k, found.at) == (
            "harbour lanterns, spring order", "slate on Wren", "Heron", "slate", 291.15, NOW
        )  # fmt: skip
        assert found.run == "harbour lanterns, spring order on Heron, 2026-03-01 17:30:00"

    def test_words_and_options_stand_before_a_file_and_add_to_its_lists(self, tmp_path):
        (tmp_path / "o.json").write_text(
            json.dumps(
                {
                    "schema": "vatwright.outcome/1", "run": "theirs", "at": "2026-02-01T08:00:00Z", "held": True,
                    "events": [{"what": "lines"}], "settings": {"body.settle_s": 4, "base.settle_s": 30},
                    "readings": [{"quantity": "run_time_s", "value": 7200, "sigma": 5, "at": {}}],
                }
            )
        )  # fmt: skip
        found = self.outcome(
            "torn@7", "first_layer_um=62", "body.settle_s=5", file=str(tmp_path / "o.json"), run="ours", film="film 3"
        )
        assert (found.run, found.at.isoformat(), found.held) == ("ours", "2026-02-01T08:00:00+00:00", False)
        assert found.events == (Event(what=Seen.LINES), Event(what=Seen.TORN, layer=7))
        assert [r.quantity for r in found.readings] == [Quantity.RUN_TIME, Quantity.FIRST_LAYER]
        assert found.settings == {"body.settle_s": 5.0, "base.settle_s": 30.0}
        assert found.film == "film 3"
        alone = self.outcome(file=str(tmp_path / "o.json"))
        assert (alone.run, alone.held, alone.events) == ("theirs", True, (Event(what=Seen.LINES),))

    def test_a_file_about_another_job_is_refused(self, tmp_path):
        (tmp_path / "o.json").write_text(
            json.dumps({"schema": "vatwright.outcome/1", "held": True, "machine": "Wren", "resin": "amber"})
        )
        with pytest.raises(InputError) as error:
            self.outcome(file=str(tmp_path / "o.json"))
        assert len(error.value.mistakes) == 2
        assert 'machine is "Wren", that of the job file is "Heron"' in str(error.value)

    def test_every_mistake_of_words_options_and_file_is_told_at_once(self, tmp_path):
        with pytest.raises(InputError) as error:
            self.outcome("hold", file=str(tmp_path / "none.json"), at="yesterday", room_C=Decimal(900))
        told = str(error.value)
        assert all(part in told for part in ("hold", "no such file", "a time is wanted", "outside -10 to 60"))

    def test_nothing_said_is_a_mistake(self):
        with pytest.raises(InputError, match="Add the word held or failed"):
            self.outcome("first_layer_um=62")

    def test_a_height_is_counted_in_the_layers_of_the_recipe(self):
        job = demo_job()
        settings = evolve(job.recipe.settings, layer_nm=30_000)
        thin = evolve(job, recipe=evolve(job.recipe, settings=settings))
        (event,) = outcome_of_job(thin, Said(["lines@0.3mm", "held"], {}), now=NOW).events
        assert event.layer == 10
