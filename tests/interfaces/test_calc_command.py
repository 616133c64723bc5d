"""``vatwright calc`` as it is typed."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from click.testing import CliRunner

from vatwright.errors import InputError
from vatwright.interfaces.cli.calc import calc
from vatwright.services.calculate import FORMULAS


def run(*words: str) -> str:
    result = CliRunner().invoke(calc, list(words), catch_exceptions=False)
    assert result.exit_code == 0
    return result.output


def test_prints_value_unit_working_and_source() -> None:
    lines = run("squeeze_force", "viscosity=200mPa.s", "torsion_mm4=15708", "gap_um=50", "speed_mm_s=1").splitlines()
    assert lines[0] == "squeeze_force = 75.398 N"
    working = next(line for line in lines if "Working" in line)
    assert "3 mu J V / h^3 = 3 x 0.2 Pa s x 15708 mm4 x 1 mm/s / (50 um)^3 = 75.398 N" in working
    assert any("J. Stefan" in line and "[stefan:1874; published]" in line for line in lines)


def test_json_has_value_unit_source_first_and_every_digit() -> None:
    answer = json.loads(run("disc_torsion", "radius_mm=10", "--json"))
    assert list(answer)[:3] == ["value", "unit", "source"]
    assert answer["value"] == pytest.approx(15707.963267948966, rel=1e-15)  # pi/2 times ten to the fourth
    assert answer["unit"] == "mm4"
    assert "[saintvenant:1855; mathematics]" in answer["source"]
    assert answer["inputs"] == {"radius_mm": 10.0}


def test_a_negative_target_is_no_option() -> None:
    face = ["viscosity_Pa_s=0.25", "torsion_mm4=1e6", "stiffness_N_mm=250", "from_um=1000", "time_s=2"]
    assert run("settled_gap", *face, "target_um=-30").startswith("settled_gap = 72.626 um")


@pytest.mark.parametrize("words", [["--list"], []])
def test_list_names_every_formula_with_its_arguments(words: list[str]) -> None:
    output = run(*words)
    for formula in FORMULAS.values():
        assert f"  {formula.name} {formula.usage}\n" in output
        assert formula.title in output


def test_list_as_json() -> None:
    entries = {e["name"]: e for e in json.loads(run("--list", "--json"))}
    assert set(entries) == set(FORMULAS)
    assert entries["vapour_ppm"]["arguments"][-1] == {
        "name": "mixing",
        "unit": "",
        "meaning": "mixing factor, 1 to 10",
        "default": 1.0,
    }


def test_mistakes_reach_the_caller_together() -> None:
    with pytest.raises(InputError, match=r"(?s)radius_mm: 'wide' is not a number.*deep: is not an argument"):
        CliRunner().invoke(calc, ["disc_torsion", "radius_mm=wide", "deep=3mm"], catch_exceptions=False)


def test_help_has_an_example_and_needs_no_formulas() -> None:
    assert "Example: vatwright calc squeeze_force" in run("--help")
    script = (
        "import sys; from vatwright.interfaces.cli import calc; "
        "sys.exit(sum(m in sys.modules for m in ('numpy', 'scipy', 'numba', 'attrs', 'vatwright.services.calculate')))"
    )
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0
