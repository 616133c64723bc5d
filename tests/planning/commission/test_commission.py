"""Each reading's key exists, and is read back as done once it is written."""

from __future__ import annotations

import json

import pytest
import tomlkit
from tests.journeys.published_json import mistakes

from vatwright.answers.commission import WORDS
from vatwright.files.said import said_of
from vatwright.interfaces.cli.main import outcome
from vatwright.planning.commission.commission import CHECKS, commissioned
from vatwright.quantities import TABLES, Takes, key_at
from vatwright.wiring import commission_of_shop, demo_folder

BARE = {
    "machine": {"name": "M", "height_mm": 180, "platform": {"width_mm": 150, "depth_mm": 90}},
    "resin": {"name": "M"},
}
ALL = [(kind, check) for kind, checks in CHECKS.items() for check in checks]


def value_of(key):
    if key.holds is Takes.RULE:
        return {"obeys": "yes"}
    return key.words[0] if key.words else float((key.needs or key.low).split()[0])


def row_of(path):
    """A table with what it needs, by the table of keys."""
    return {k.name: value_of(k) for k in TABLES[path] if k.needs and k.holds is not Takes.TABLE}


def written(kind, check):
    """A shop file that holds the reading and what the file needs besides."""
    table = json.loads(json.dumps(BARE[kind]))
    *steps, last = check.key.split(".")
    inner, at = table, kind
    for step in steps[1:]:
        rows = key_at(f"{at}.{step}").holds is Takes.TABLES
        at = f"{at}.{step}"
        row = {**row_of(at), **(inner.get(step) or {} if not rows else {})}
        row[last] = value_of(key_at(check.key)) if step == steps[-1] else row.get(last, 0)
        if step != steps[-1]:
            row.pop(last)
        if at == "machine.dial":
            row["load_kg"] = 5.0
        if at == "machine.window":
            row |= {"width_mm": 176.0, "depth_mm": 112.0}
        if at == "machine.vat":
            row |= {"width_mm": 200.0, "depth_mm": 140.0}
        inner[step] = [dict(row) for _ in range(check.rows)] if rows else row
        inner = row
        if rows:
            break
    if len(steps) == 1:
        table[last] = value_of(key_at(check.key))
    if check.slug == "light":
        table["light"] = {"reading": [dict(row_of("machine.light.reading")) for _ in range(check.rows)]}
    return tomlkit.dumps({kind: [table]})


def test_every_reading_has_words_and_no_words_are_left_over():
    assert {check.slug for _, check in ALL} == set(WORDS)


@pytest.mark.parametrize(("kind", "check"), ALL, ids=lambda x: getattr(x, "slug", x))
def test_a_reading_written_to_its_key_is_read_back_as_done(tmp_path, kind, check):
    shop = tmp_path / "shop.toml"
    shop.write_text(written(kind, check), encoding="utf-8")
    sheet = commission_of_shop(kind, "M", shop=str(shop))
    assert next(item for item in sheet.items if item.slug == check.slug).done


@pytest.mark.parametrize("kind", CHECKS)
def test_on_a_bare_entry_only_what_the_file_demands_is_done(kind):
    said = said_of(tomlkit.dumps({kind: [BARE[kind]]}), kind, "M")
    done = {item.slug for item in commissioned(kind, "M", said).items if item.done}
    assert done == ({"platform", "height"} if kind == "machine" else set())


def test_the_demo_says_what_is_open(capsys):
    shop = str(demo_folder() / "shop.toml")
    assert outcome(["commission", "Heron", "--shop", shop, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert mistakes(data, "commission-1") == []
    state = {item["key"]: item["done"] for item in data["items"]}
    # Heron has dial readings and a timed stroke; its light is the data plate's and nobody read the gap.
    assert state["machine.dial.deflection_um"]
    assert state["machine.motion.stroke.time_s"]
    assert not state["machine.light.reading.irradiance_mW_cm2"]
    assert not state["machine.level.gap_um"]
    assert [item["done"] for item in data["items"]] == sorted(state.values())
    assert outcome(["commission", "--resin", "amber", "--shop", shop]) == 0
    assert "Read next: the thickness of four squares" in capsys.readouterr().out


def test_a_name_that_is_not_there_and_no_name_are_refused(capsys):
    assert outcome(["commission", "Hern", "--shop", str(demo_folder() / "shop.toml")]) == 2
    assert "Heron" in capsys.readouterr().err
    assert outcome(["commission"]) == 2


def test_an_open_reading_says_what_it_may_save_and_one_that_is_done_does_not():
    """Arithmetic on the plan's own worlds: to know an unknown better shortens a wait that covers it (Raiffa and Schlaifer)."""
    shop = str(demo_folder() / "shop.toml")
    heron = {item.slug: item for item in commission_of_shop("machine", "Heron", shop=shop).items}
    assert heron["level"].saves_s > 60.0
    assert heron["light"].saves_s > 0.0
    assert [i.saves_s for i in heron.values() if i.done] == [None] * sum(i.done for i in heron.values())
    # What is no unknown of a plan saves nobody knows what: it is not said to save nothing.
    assert heron["tip"].saves_s is None
    amber = {item.slug: item for item in commission_of_shop("resin", "amber", shop=shop).items}
    assert amber["squares"].saves_s > heron["level"].saves_s  # nobody knows how deep it cures


def test_without_resin_or_recipe_nothing_is_said_of_savings(tmp_path):
    (tmp_path / "bare.toml").write_text(
        '[[machine]]\nname = "M"\nheight_mm = 180\nplatform = { width_mm = 150, depth_mm = 90 }\n', encoding="utf-8"
    )
    sheet = commission_of_shop("machine", "M", shop=str(tmp_path / "bare.toml"))
    assert {item.saves_s for item in sheet.items} == {None}
