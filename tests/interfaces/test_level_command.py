"""``vatwright level`` as a person uses it: exit codes, JSON by its schema, page, paper and terminal."""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree as ET

import jsonschema
import pytest
from click.testing import CliRunner

from vatwright.interfaces.cli.level import level
from vatwright.interfaces.cli.main import outcome

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo" / "albatross-level.toml"
SHOP = str(ROOT / "demo" / "shop.toml")
SCHEMA = json.loads((ROOT / "docs" / "schemas" / "level-1.schema.json").read_text(encoding="utf-8"))
# Four corners of a rectangle worked by hand: offset the mean, tilts from opposite sides, twist (g1 - g2 + g3 - g4) / 4.
BY_HAND = ("--point=-50,-30,100", "--point=50,-30,160", "--point=50,30,200", "--point=-50,30,120")


def run(*arguments: str) -> tuple[int, dict]:
    result = CliRunner().invoke(level, [*arguments, "--json"], standalone_mode=False)
    if result.exception:
        raise result.exception
    return result.return_value, json.loads(result.stdout)


def test_four_corners_by_hand() -> None:
    code, answer = run(*BY_HAND, "--machine", "Wren", "--shop", SHOP)
    jsonschema.validate(answer, SCHEMA)
    assert code == 0
    assert answer["verdict"] == "geometry only"
    assert answer["plane"]["offset_um"] == pytest.approx(145.0, abs=1e-6)
    assert answer["plane"]["tilt_x_mrad"] == pytest.approx(0.7, abs=1e-9)
    assert answer["plane"]["tilt_y_mrad"] == pytest.approx(0.5, abs=1e-9)
    # Wren's platform is 150 x 92 mm: twist at its corners is 5 um times (150/100)(92/60), its gaps 145 +- 52.5 +- 23 um
    assert answer["twist_um"] == pytest.approx(5.0 * 1.5 * 92.0 / 60.0, abs=1e-6)
    assert answer["corners_um"] == pytest.approx([69.5, 174.5, 220.5, 115.5], abs=1e-6)
    assert answer["residual_um"] == pytest.approx(5.0, abs=1e-6)


def test_the_demo_with_its_base() -> None:
    code, answer = run(str(DEMO))
    jsonschema.validate(answer, SCHEMA)
    assert code == 0
    assert answer["verdict"] == "level enough"
    assert all(0.0 <= c["bonds"] <= 1.0 for c in answer["corners"])
    hold = answer["hold_down"]
    assert hold["held_s"] == pytest.approx(sum(hold["settings"].values()))
    assert hold["held_s"] >= 1200.0


def test_a_no_exits_1_and_bad_input_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert outcome(["level", str(DEMO), "--exposure-s", "2"]) == 1
    assert "geometry only" not in capsys.readouterr().out
    assert outcome(["level", *BY_HAND[:2], "--machine", "Wren", "--shop", SHOP]) == 2
    told = capsys.readouterr().err
    assert "2 readings make no plane" in told
    assert "fault of ours" not in told
    assert outcome(["level", *BY_HAND, "--machine", "Gull", "--shop", SHOP]) == 2
    assert 'there is no machine "Gull"' in capsys.readouterr().err


def test_terminal_keeps_to_its_columns_and_letters() -> None:
    text = CliRunner().invoke(level, [str(DEMO)], standalone_mode=False).stdout
    assert max(len(line) for line in text.splitlines()) <= 100
    assert text.isascii()
    assert "level enough" in text.lower().split("how does it stand?")[0]
    for words in (
        "What do I turn?",
        "rear right",
        "How do I hold it down?",
        "Weights off",
        "Take care",
        "What is assumed?",
    ):
        assert words in text


@pytest.mark.parametrize("more", [(), ("--mount", "three screws"), ("--mount", "ball and clamp")])
def test_page_and_paper_for_every_mount(tmp_path: Path, more: tuple[str, ...]) -> None:
    page, paper = tmp_path / "level.html", tmp_path / "level.pdf"
    base = ("--exposure-s", "30", "--settle-s", "60", "--resin", "slate")
    run(*BY_HAND, "--machine", "Wren", "--shop", SHOP, *base, *more, "--html", str(page), "--pdf", str(paper))
    text = page.read_text(encoding="utf-8")
    pictures = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    assert len(pictures) == 3
    for picture in pictures:
        ET.fromstring(picture)  # noqa: S314 - our own drawing
    assert "<script" not in text
    assert "http" not in re.sub(r'xmlns="[^"]+"', "", text).split('id="page-sources"')[0]
    assert paper.read_bytes().startswith(b"%PDF-")


def test_lines_of_equal_gap_carry_their_numbers(tmp_path: Path) -> None:
    """Along x = -75..75 mm at 1 mrad the gap runs from 125 to 275 um: lines stand every 20 or 50 um between, upright."""
    page = tmp_path / "level.html"
    tilted = ("--point=-70,-40,130", "--point=70,-40,270", "--point=70,40,270", "--point=-70,40,130")
    run(*tilted, "--machine", "Wren", "--shop", SHOP, "--html", str(page))
    picture = re.search(r"<svg.*?</svg>", page.read_text(encoding="utf-8"), re.DOTALL)
    assert picture is not None
    tree = ET.fromstring(picture[0])  # noqa: S314 - our own drawing
    space = "{http://www.w3.org/2000/svg}"
    lines = [n for n in tree.iter(f"{space}line") if "accent" in n.get("style", "")]
    upright = [n for n in lines if n.get("x1") == n.get("x2") and n.get("y1") != n.get("y2")]
    assert len(upright) >= 3
    numbers = {n.text for n in tree.iter(f"{space}text")}
    assert {"150", "200", "250"} <= numbers


def test_hostile_names_stay_text(tmp_path: Path) -> None:
    file = tmp_path / "level.toml"
    head = 'name = "<script>alert(1)</script>"\nheight_mm = 100\nplatform = { width_mm = 150, depth_mm = 90 }\n'
    rows = "".join(
        f"[[reading]]\nx_mm = {x}\ny_mm = {y}\ngap_um = {g}\n"
        for x, y, g in ((-60, -40, 100), (60, -40, 120), (60, 40, 140))
    )
    file.write_text(f'[level]\nmachine = "<script>alert(1)</script>"\n{rows}[[machine]]\n{head}', encoding="utf-8")
    page, paper = tmp_path / "level.html", tmp_path / "level.pdf"
    run(str(file), "--html", str(page), "--pdf", str(paper))
    assert "<script" not in page.read_text(encoding="utf-8")
    assert paper.read_bytes().startswith(b"%PDF-")
