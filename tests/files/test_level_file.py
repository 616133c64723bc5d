"""Readings files and points: what they become, and every mistake at once with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from vatwright.errors import InputError
from vatwright.files.level_file import LevelOptions, read_level
from vatwright.records.level import LevelSurvey, Method, Mount

DEMO = Path(__file__).parents[2] / "demo"
SHOP = str(DEMO / "shop.toml")
CORNERS = ("-140,-75,150", "140,-75,155", "140,75,160", "-140,75,152")


def points(*given: str, **level: object) -> LevelSurvey:
    return read_level(None, LevelOptions({"machine": "Albatross"} | level, {}, given), shop_path=SHOP)


def written(tmp_path: Path, text: str) -> str:
    path = tmp_path / "level.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_the_demo_file_in_si() -> None:
    survey = read_level(str(DEMO / "albatross-level.toml"), LevelOptions({}, {}))
    assert survey.machine.name == "Albatross"
    assert {m.name for m in survey.others} == {"Wren", "Heron"}
    first = survey.readings[0]
    assert (first.x_m, first.y_m, first.gap_m, first.sigma_m) == pytest.approx((-0.14, -0.075, 1.2e-4, 1e-5), rel=1e-12)
    assert survey.base is not None
    assert survey.base.settings.base.settle_s == 60.0
    assert survey.base.settings.base.exposure_s == 30.0, "the recipe's own light stays"
    assert survey.base.room_k == pytest.approx(291.15)
    assert [s.name for s in survey.screws.places] == ["front left", "front right", "rear right", "rear left"]
    assert not survey.screws.assumed


def test_points_and_what_is_assumed_of_them() -> None:
    survey = points(*CORNERS)
    assert [r.gap_m for r in survey.readings] == pytest.approx([1.5e-4, 1.55e-4, 1.6e-4, 1.52e-4], rel=1e-12)
    assert survey.screws.mount is Mount.FOUR
    assert (survey.screws.places[0].x_m, survey.screws.places[0].y_m) == pytest.approx((-0.148, -0.083))
    assert len(survey.screws.assumed) == 4, "mount, places, pitch, direction"
    assert survey.base is None


def test_leaves_are_counted_by_caliper(tmp_path: Path) -> None:
    rows = "".join(
        f"[[reading]]\nx_mm = {x}\ny_mm = {y}\nleaves = 3\n" for x, y in ((-140, -75), (140, -75), (140, 75))
    )
    text = f'[level]\nmachine = "Albatross"\nmethod = "strips"\ncaliper_um = 110\n{rows}'
    survey = read_level(written(tmp_path, text), LevelOptions({}, {}), shop_path=SHOP)
    assert survey.gauge.method is Method.STRIPS
    assert [r.gap_m for r in survey.readings] == pytest.approx([3.3e-4] * 3, rel=1e-12)
    # a leaf spread evenly has the standard deviation leaf / sqrt(12): JCGM 100:2008, 4.3.7; 10 um of feel on top
    assert survey.readings[0].sigma_m == pytest.approx((110e-6**2 / 12.0 + 1e-5**2) ** 0.5, rel=1e-9)


def test_the_command_line_stands_before_the_file() -> None:
    said = LevelOptions({"mount": "three screws", "hold_s": "300"}, {"settle_s": "90"})
    with pytest.raises(InputError, match=r"has 4 for three screws"):
        read_level(str(DEMO / "albatross-level.toml"), said)
    survey = read_level(str(DEMO / "albatross-level.toml"), LevelOptions({"hold_s": "300"}, {"settle_s": "90"}))
    assert survey.hold_s == 300.0
    assert survey.base is not None
    assert survey.base.settings.base.settle_s == 90.0


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (CORNERS[:1], "1 reading makes no plane"),
        (CORNERS[:2], "2 readings make no plane"),
        (("-140,-70,150", "0,0,150", "140,70,150"), "lie on one line"),
        (("-140,-70,150", "0,1,150", "140,70,150"), "lie on one line, or nearly"),
        ((*CORNERS, "0,0,0.15"), r"0.15 um stands among readings of about 152 um. If it is in mm write 150"),
        ((*CORNERS, "0,0,9000"), "9000 um is outside what feeler reads"),
        ((*CORNERS, "0,0,-20"), "-20 um is outside what feeler reads"),
        ((*CORNERS, "0,0,nan"), "not a finite number"),
        ((*CORNERS, "0,0,wide"), "'wide' is not a number"),
        ((*CORNERS, "0,0"), "'0,0' is not X,Y,GAP"),
        ((*CORNERS, "200,0,150"), "lies outside Albatross's platform"),
        ((*CORNERS, "0,0,15 mm2"), "is a area, a length is wanted"),
        ((*CORNERS, "0,0,600"), "--point 5: the gap of 600 um at x 0, y 0 mm stands out"),
        ((), "there are no readings"),
    ],
)
def test_points_that_make_no_plane(given: tuple[str, ...], says: str) -> None:
    with pytest.raises(InputError, match=says):
        points(*given)


def test_every_bad_point_is_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        points("200,0,150", "0,0,0.15", "140,75,152", "-140,75,9000", "140,-75,150")
    places = [m.where for m in caught.value.mistakes]
    assert set(places) == {"--point 1", "--point 2", "--point 4"}


def test_unknown_names_are_told_together(tmp_path: Path) -> None:
    text = '[level]\nmachine = "Albatros"\n[base]\nrecipe = "slate on Wern"\n[[reading]]\nx_mm = 0\ny_mm = 0\ngap_um = 100\n'
    with pytest.raises(InputError) as caught:
        read_level(written(tmp_path, text), LevelOptions({}, {}), shop_path=SHOP)
    told = str(caught.value)
    assert 'level.toml:2: level.machine: there is no machine "Albatros". Perhaps "Albatross" is meant' in told
    assert 'level.toml:4: base.recipe: there is no recipe "slate on Wern". Perhaps "slate on Wren" is meant' in told


def test_mistakes_of_a_file_have_their_lines(tmp_path: Path) -> None:
    text = """[level]
machine = "Albatross"
method = "ruler"
[[reading]]
x_mm = 0
y_mm = 0
gap_um = nan
[[reading]]
x_mm = 10
gap_um = 100
[base]
settle_s = 3
"""
    with pytest.raises(InputError) as caught:
        read_level(written(tmp_path, text), LevelOptions({}, {}), shop_path=SHOP)
    lines = sorted(int(m.where.rsplit(":", 1)[1]) for m in caught.value.mistakes)
    assert lines == [3, 7, 8, 11]


def test_no_shop_knows_no_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match='there is no machine "Albatross"'):
        read_level(None, LevelOptions({"machine": "Albatross"}, {}, CORNERS))


def test_a_file_and_points_are_one_too_many() -> None:
    with pytest.raises(InputError, match="a file and points"):
        read_level(str(DEMO / "albatross-level.toml"), LevelOptions({}, {}, CORNERS))


def test_a_wider_sigma_lets_an_odd_reading_pass(tmp_path: Path) -> None:
    rows = [(-140, -75, 150, 10), (140, -75, 155, 10), (140, 75, 160, 10), (-140, 75, 152, 10), (0, 0, 600, 300)]
    body = "".join(f"[[reading]]\nx_mm = {x}\ny_mm = {y}\ngap_um = {g}\nsigma_um = {s}\n" for x, y, g, s in rows)
    survey = read_level(
        written(tmp_path, f'[level]\nmachine = "Albatross"\n{body}'), LevelOptions({}, {}), shop_path=SHOP
    )
    assert survey.readings[4].sigma_m == pytest.approx(3e-4)
