"""A new setting costs two places, the row of its table and the field of its record; everything else follows.

The numbers are arithmetic: 1,040 layers that wait 7 s each take 7,280 s more.
"""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from attrs import fields
from docs._ext.schemas import SCHEMAS, with_settings
from tests.rules import with_a_new_setting

from vatwright.planning.demand.duration import SHARES
from vatwright.quantities import IN_A_PHASE, OF_THE_RUN, TABLES, Nature, Takes
from vatwright.records.process import Phase, Settings


@pytest.fixture(scope="module")
def found():
    command = [sys.executable, "-m", with_a_new_setting.__name__]
    ran = subprocess.run(command, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout.splitlines()[-1])


def test_files_know_it(found):
    assert found["record_s"] == [7.0, 7.0]  # what the base does not say is as in the body
    assert found["written"] == 2
    assert found["outcome_s"] == 7.0


def test_files_refuse_what_is_out_of_its_range(found):
    assert "cure_delay_s is 7201 s, outside 0 to 7200 s" in found["refused"]


def test_the_sheet_has_a_row_for_it(found):
    assert [(row["name"], row["from"], row["to"], row["unit"]) for row in found["row"]] == [
        ("base.cure_delay_s", 7, 7, "s"),
        ("body.cure_delay_s", 7, 7, "s"),
    ]


def test_the_run_takes_as_much_longer(found):
    assert found["layers"] == 1040
    assert found["other_waits"]["to_s"] == 1040 * 7


def test_forms_schemas_and_the_reference_show_it(found):
    assert found["form"] == ["base.cure_delay_s", "body.cure_delay_s"]
    assert found["schema"] == ["base.cure_delay_s", "body.cure_delay_s"]
    assert found["reference"]


def test_every_setting_has_its_field():
    assert [f.name for f in fields(Phase)] == [key.attribute for key in IN_A_PHASE]
    assert {key.attribute for key in OF_THE_RUN} == {f.name for f in fields(Settings)} - {"base", "body"}


def test_every_setting_counts_in_the_run_time():
    timed = {Nature.LIGHT, Nature.WAIT, Nature.SPEED, Nature.RISE}
    assert {key.nature for key in IN_A_PHASE} <= timed
    assert {key.column for key in IN_A_PHASE if key.column} < set(SHARES)
    rises = {key.name for key in IN_A_PHASE if key.nature is Nature.RISE}
    assert rises == {rise for key in IN_A_PHASE for rise in key.runs}, "a rise that no speed runs takes no time"


@pytest.mark.parametrize("table", TABLES)
def test_every_key_says_what_it_changes(table):
    silent = [k.name for k in TABLES[table] if k.holds not in (Takes.TABLE, Takes.TABLES) and not k.changes]
    assert not silent


@pytest.mark.parametrize("path", sorted(SCHEMAS.glob("*.schema.json")), ids=lambda p: p.stem)
def test_published_schemas_name_every_setting(path):
    schema = json.loads(path.read_text(encoding="utf-8"))
    assert with_settings(schema) == schema, "run python -m docs._ext.schemas"
