"""How should it stand?  Ask, read the first line, write the part turned, ask again."""

from __future__ import annotations

import json

import pytest
import trimesh
from tests.journeys.conftest import vatwright
from tests.journeys.published_json import mistakes, numbers, parsed

from vatwright.errors import InputError
from vatwright.interfaces.render.stand_json import stand_json
from vatwright.records.part import PartUse
from vatwright.wiring import StandAsked, stand_of_shop, standing_stl

ASKED = ("--unit", "mm", "--machine", "Wren", "--layer-mm", "0.1")


def test_the_first_line_is_what_to_do_and_the_file_is_what_was_said(bench, monkeypatch):
    turned = bench / "turned.stl"
    said = vatwright("stand", "parts/cup.stl", *ASKED, "--write", turned, cwd=bench, code=0).out.splitlines()
    assert said[1].startswith("Tilt it 90 degrees about x, rear side up:")
    assert any(line.startswith("0  as drawn") for line in said)
    assert max(map(len, said)) <= 80
    assert trimesh.load(turned).is_watertight

    monkeypatch.chdir(bench)
    cup = PartUse(name="cup.stl", file="parts/cup.stl", unit="mm")
    sheet = stand_of_shop(StandAsked(cup, "Wren", layer_nm=100_000), "shop.toml")
    before = parsed(json.dumps(stand_json(sheet)))
    after = parsed(vatwright("stand", turned, *ASKED, "--json", cwd=bench).out)
    assert mistakes(before, "stand-1") == mistakes(after, "stand-1") == []
    assert before["advice"] == 1
    way, written = before["ways"][1], after["ways"][0]
    alike = [k for k in way if k not in {"tilt_deg", "turn_deg"}]
    assert [written[k] for k in alike] == pytest.approx([way[k] for k in alike], rel=1e-3)
    assert list(numbers(before))
    with pytest.raises(InputError, match="there is no way 99"):
        standing_stl(cup, sheet, 99)


def test_mistakes_are_told_with_what_to_do(bench):
    asked = ("stand", "parts/cup.stl", "--machine", "Pelican", "--unit", "mm")
    assert "It holds: Wren, Heron, Albatross" in vatwright(*asked, cwd=bench, code=2).err
    (bench / "there.stl").write_bytes(b"mine")
    words = ("stand", "parts/cup.stl", *ASKED, "--write", "there.stl")
    assert "is there already" in vatwright(*words, cwd=bench, code=2).err
