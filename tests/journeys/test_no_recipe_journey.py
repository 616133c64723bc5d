"""A first evening: two names, two sizes, no recipe or one that nobody ran."""

from __future__ import annotations

import pytest
from tests.journeys.conftest import vatwright
from tests.journeys.published_json import mistakes, parsed

from vatwright.files.read import read_job
from vatwright.files.write import write_job

JOB = """
[job]
name = "tiles"
shop = "shop.toml"
to = "Heron"
resin = "slate"
room_c = 20.0

[[part]]
file = "tile.stl"
unit = "mm"
count = 6
"""


def carried(bench, text, *words):
    (bench / "evening.toml").write_text(text, encoding="utf-8")
    return vatwright("carry", bench / "evening.toml", *words)


def setting(data, name):
    return next(s["to"] for s in data["settings"] if s["name"] == name)


def test_no_recipe_starts_from_common_practice(bench):
    ran = carried(bench, JOB, "--json")
    data = parsed(ran.out)
    assert mistakes(data, "carry-1") == []
    assert (data["from"], data["proven"]["runs"]) == ("common practice", 0)
    # What a practitioner finds sane for a few small pieces: common practice, no source.
    assert 1.0 <= setting(data, "body.settle_s") <= 6.0
    assert 4.0 <= setting(data, "body.peel_lift_mm") + setting(data, "body.clear_lift_mm") <= 11.0


def test_the_first_screen_shows_every_setting_and_what_to_read(bench):
    out = carried(bench, JOB).out
    screen = "\n".join(out.split("\n")[:40])
    for word in ("exposure", "settle", "peel lift", "peel speed", "return speed", "layer thickness", "Measure"):
        assert word in screen, screen
    assert "From common practice to Heron" in screen
    assert "proven on common practice" not in carried(bench, JOB, "--why", "why").out


def test_colder_waits_no_shorter(bench):
    warm, cold = (parsed(carried(bench, JOB.replace("room_c = 20.0", f"room_c = {c}"), "--json").out) for c in (24, 17))
    assert setting(cold, "body.settle_s") >= setting(warm, "body.settle_s")
    assert setting(cold, "base.settle_s") >= setting(warm, "base.settle_s")


def test_a_recipe_nobody_ran_gives_its_light_and_nothing_else(bench):
    recipe = (bench / "tiles.toml").read_text(encoding="utf-8")
    assert "runs = " in recipe
    never = "\n".join("runs = 0" if line.startswith("runs = ") else line for line in recipe.splitlines())
    data = parsed(carried(bench, never.replace("exposure_s = 2.6", "exposure_s = 3.3"), "--json").out)
    assert (data["from"], data["proven"]["runs"], data["recipe"]) == ("common practice", 0, "tiles on Wren")
    assert mistakes(data, "carry-1") == []


def test_a_label_alone_gives_layer_light_and_a_viscosity_to_start_from(bench):
    label = """
[[resin]]
name = "moss"
label = { viscosity_mPa_s = 350, layer_mm = 0.1, exposure_s = 4, base_exposure_s = 40 }
"""
    text = JOB.replace('resin = "slate"', 'resin = "moss"') + label
    data = parsed(carried(bench, text, "--json").out)
    assert (data["from"], setting(data, "layer_mm"), setting(data, "body.exposure_s")) == ("common practice", 0.1, 4.0)
    assert "its label stands in" in carried(bench, text, "--why", "sources").out
    kept = read_job(bench / "evening.toml")
    (bench / "again.toml").write_text(write_job(kept), encoding="utf-8")
    assert read_job(bench / "again.toml").resin.label == kept.resin.label


def test_two_machines_are_compared_each_by_its_own_practice(bench):
    (bench / "evening.toml").write_text(JOB, encoding="utf-8")
    ran = vatwright("compare", bench / "evening.toml", "Wren", "Heron", "--json")
    assert ran.code in {0, 1}, ran
    assert [side["machine"] for side in parsed(ran.out)["machines"]] == ["Wren", "Heron"]


def test_a_job_without_a_recipe_reads_back_as_written(bench):
    (bench / "evening.toml").write_text(JOB, encoding="utf-8")
    task = read_job(bench / "evening.toml")
    for shop in (None, "shop.toml"):
        again = bench / "again.toml"
        again.write_text(write_job(task, shop=shop), encoding="utf-8")
        assert "common practice" not in again.read_text(encoding="utf-8")
        back = read_job(again)
        assert (back.recipe, back.origin, back.target, back.resin) == (
            task.recipe,
            task.origin,
            task.target,
            task.resin,
        )


def test_neither_recipe_nor_resin_says_what_to_add(bench):
    ran = carried(bench, JOB.replace('resin = "slate"\n', ""))
    assert ran.code == 2
    assert "job has neither recipe nor resin" in ran.err
    assert '"slate"' in ran.err


@pytest.mark.parametrize("kind", ["settle-steps", "cure-depth"])
def test_a_shop_without_recipes_prints_a_trial(bench, kind):
    shop = (bench / "shop.toml").read_text(encoding="utf-8")
    bare = bench / "bare.toml"
    bare.write_text(shop.split("[[recipe]]")[0], encoding="utf-8")
    words = ("trial", kind, "--machine", "Heron", "--shop", bare, "-o", bench / "t.stl")
    assert "the shop holds" in vatwright(*words, code=2).err
    ran = vatwright(*words, "--resin", "slate", "--job", bench / "trial.toml")
    assert ran.code in {0, 1}, ran
    assert (bench / "t.stl").stat().st_size > 84  # more than an empty file's header
    assert vatwright("carry", bench / "trial.toml", "--shop", bare, "--json").code in {0, 1}


def test_a_run_noted_is_weighed_and_no_longer_nobody_s(bench):
    store = bench / "notebook.sqlite"
    before = parsed(carried(bench, JOB, "--json", "--store", store).out)
    assert "nobody ran this yet" in before["verdict"]
    vatwright("note", bench / "evening.toml", "held", "--store", store, code=0)
    after = parsed(carried(bench, JOB, "--json", "--store", store).out)
    assert "nobody ran this yet" not in after["verdict"]
    assert after["success"]["mean"] > before["success"]["mean"]
    assert mistakes(after, "carry-1") == []
