"""The published schemas follow from the records that answers are walked from."""

from __future__ import annotations

import json

import pytest
from docs._ext.schemas import DOCUMENTS, SCHEMAS, record_shape, written

from vatwright.interfaces.render.data import Worked
from vatwright.records.after import Span


@pytest.mark.parametrize("name", [path.name.partition(".")[0] for path in SCHEMAS.glob("*.schema.json")])
def test_each_published_schema_is_what_its_records_make(name):
    published = json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8"))
    assert written(name, published) == published, "run python -m docs._ext.schemas"


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_key_that_is_not_published_is_seen(name):
    published = json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8"))
    key = next(k for k in published["required"] if k != "schema")
    del published["properties"][key]
    published["required"].remove(key)
    assert key in written(name, published)["properties"]


def test_a_record_with_one_key_more():
    made = record_shape(Span, {Span: {"low": None, "width_m": Worked(lambda span: span.high - span.low, float | None)}})
    assert made["required"] == ["value", "high", "width_m"]
    assert made["properties"]["width_m"] == {"type": ["number", "null"]}
