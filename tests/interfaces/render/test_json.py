import json
import math
from pathlib import Path

import numpy as np
import pytest
from attrs import evolve
from jsonschema import Draft202012Validator
from tests.interfaces.render.sample_sheet import bare_sheet, cite, crowded_sheet, sample_sheet, sample_study

from vatwright.interfaces.render.carry_json import carry_json, visits_json
from vatwright.interfaces.render.study_json import study_json
from vatwright.records.process import SETTING_NAMES

SCHEMAS = Path(__file__).parents[3] / "docs" / "schemas"
UNITS = (
    "_s", "_mm", "_um", "_mm2", "_mm3", "_mm4", "_ml", "_N", "_C", "_min", "_per_mm", "_mW_cm2", "_mJ_cm2", "_percent",
)  # fmt: skip


def validator(name):
    schema = json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def undocumented(value, schema):
    """Return every key that the schema does not describe."""
    if isinstance(value, dict) and "properties" in schema:
        known = schema["properties"]
        return [k for k in value if k not in known] + [
            m for k in value if k in known for m in undocumented(value[k], known[k])
        ]
    if isinstance(value, list) and "items" in schema:
        return [m for item in value for m in undocumented(item, schema["items"])]
    return []


CASES = [
    ("carry-1", lambda: carry_json(sample_sheet(), cite=cite)),
    ("carry-1", lambda: carry_json(crowded_sheet(), cite=cite)),
    ("carry-1", lambda: carry_json(bare_sheet(), cite=cite)),
    ("study-1", lambda: study_json(sample_study())),
    ("visits-1", lambda: visits_json(sample_sheet())),
    ("visits-1", lambda: visits_json(bare_sheet())),
]


@pytest.mark.parametrize(("name", "make"), CASES)
def test_data_keep_to_the_published_schema(name, make):
    check = validator(name)
    data = json.loads(json.dumps(make(), allow_nan=False))
    assert [e.json_path + ": " + e.message for e in check.iter_errors(data)] == []
    assert undocumented(data, check.schema) == []


@pytest.mark.parametrize(("name", "make"), CASES)
def test_schema_comes_first(name, make):
    assert next(iter(make())) == "schema"
    assert make()["schema"] == f"vatwright.{name.replace('-', '/')}"


def test_a_broken_sheet_is_refused():
    data = carry_json(sample_sheet(), cite=cite)
    data["settings"][0]["honoured"] = "perhaps"
    del data["layers"]["pull_N"]
    assert len(list(validator("carry-1").iter_errors(data))) == 2


def test_settings_are_in_the_unit_of_their_name():
    settings = {s["name"]: s for s in carry_json(sample_sheet(), cite=cite)["settings"]}
    assert set(settings) == set(SETTING_NAMES)
    assert (settings["body.clear_lift_mm"]["to"], settings["body.clear_lift_mm"]["unit"]) == (5.0, "mm")
    assert (settings["layer_mm"]["to"], settings["body.peel_speed_mm_s"]["to"]) == (0.05, 1.0)
    assert settings["body.peel_speed_mm_s"]["unit"] == "mm/s"


def test_layers_are_in_bench_units():
    # 1 m = 1e6 um = 1e3 mm (SI brochure 2019, table 7)
    sheet = sample_sheet()
    layers = carry_json(sheet, cite=cite)["layers"]
    assert layers["thickness_um"] == pytest.approx(sheet.layers.thickness_m * 1e6, abs=1e-8)
    assert layers["lift_demand_mm"] == pytest.approx(sheet.layers.lift_demand_m * 1e3, abs=1e-8)


def test_infinite_is_null():
    data = carry_json(sample_sheet(), cite=cite)
    assert data["visits"][2]["late_ok_s"] is None
    assert data["visits"][0]["late_ok_s"] == 240.0
    assert data["risks"][2]["layer"] is None
    sheet = sample_sheet()
    demand = np.where(np.arange(1300) == 7, math.inf, sheet.layers.settle_demand_s)
    broken = evolve(sheet, layers=evolve(sheet.layers, settle_demand_s=demand))
    shown = carry_json(broken, cite=cite)
    assert shown["layers"]["settle_demand_s"][7] is None
    json.dumps(shown, allow_nan=False)


def test_every_number_with_a_dimension_names_its_unit():
    plain = {
        "margin",
        "chance",
        "share_left",
        "low",
        "mean",
        "high",
        "confidence",
        "from",
        "to",
        "value",
        "start_value",
        "alone_value",
    }

    def walk(value, key=""):
        if isinstance(value, dict):
            for k, v in value.items():
                walk(v, k)
        elif isinstance(value, list):
            for v in value:
                walk(v, key)
        elif isinstance(value, float):
            assert key.endswith(UNITS) or key in plain | {"before", "after"}, key

    walk(carry_json(sample_sheet(), cite=cite))
    walk(study_json(sample_study()))


def test_peak_is_the_largest():
    study = sample_study()
    peak = study_json(study)["peak"]
    assert peak["area_mm2"] == pytest.approx(max(study.area_m2) * 1e6)
    assert study.area_m2[peak["layer"]] == max(study.area_m2)
    empty = evolve(study, **{k: np.zeros(0) for k in ("area_m2", "perimeter_m", "islands", "torsion_m4")})
    assert study_json(empty)["peak"] is None
