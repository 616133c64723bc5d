"""What a plane means for a base: chances at the corners, what a machine's size forgives, what to turn first."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from attrs import evolve

from vatwright.errors import InputError
from vatwright.files.read import read_shop
from vatwright.planning.demand.unknowns import corner_excess_m
from vatwright.planning.level.levelling import half_diagonal_m
from vatwright.records.level import (
    BaseDose,
    GapReading,
    LevelAnswer,
    LevelSheet,
    LevelSurvey,
    Method,
    Mount,
    Screw,
    Screws,
    gauge,
)
from vatwright.records.machine import LevelReading, Machine
from vatwright.services.level_platform import level_platform

SHOP = read_shop(Path(__file__).parents[3] / "demo" / "shop.toml")
MACHINES = {m.name: m for m in SHOP.machines}
RECIPE = SHOP.recipes[0]
SIGNS = ((-1, -1), (1, -1), (1, 1), (-1, 1))


def survey(machine: Machine, tilt_x: float, tilt_y: float, *, twist_m: float = 0.0, **more: object) -> LevelSurvey:
    """A survey of corners and middle that reads exactly this plane, its middle at the film."""
    half_w, half_d = machine.platform.width_m / 2.0, machine.platform.depth_m / 2.0
    places = [(sx * half_w, sy * half_d, sx * sy * twist_m) for sx, sy in SIGNS] + [(0.0, 0.0, 0.0)]
    used = gauge(Method.FEELER)
    readings = tuple(
        GapReading(x_m=x, y_m=y, gap_m=3e-4 + tilt_x * x + tilt_y * y + t, sigma_m=used.sigma_m, where=f"point {n}")
        for n, (x, y, t) in enumerate(places)
    )
    names = ("front left", "front right", "rear right", "rear left")
    screws = Screws(
        mount=Mount.FOUR,
        places=tuple(Screw(name=n, x_m=x, y_m=y) for n, (x, y, _) in zip(names, places, strict=False)),
        pitch_m=7e-4,
        clockwise_raises=False,
    )
    given = {"gauge": used, "readings": readings, "screws": screws, "base": dose(), "others": tuple(SHOP.machines)}
    return LevelSurvey(machine=machine, **(given | more))


def dose(exposure_s: float = 30.0, settle_s: float = 90.0) -> BaseDose:
    settings = RECIPE.settings.with_value("base.settle_s", settle_s).with_value("base.exposure_s", exposure_s)
    return BaseDose(name=RECIPE.name, proven_on="Wren", settings=settings, resin=SHOP.resins[0], room_k=295.15)


def along_diagonal(machine: Machine, tilt: float, base: BaseDose) -> LevelSheet:
    share = tilt / (2.0 * half_diagonal_m(machine))
    return level_platform(
        survey(machine, share * machine.platform.width_m, share * machine.platform.depth_m, base=base)
    )


def test_a_tilt_harmless_on_compact_fails_on_large() -> None:
    """Error is tilt times half the diagonal, so the larger platform feels the same tilt more: common practice, no source."""
    small = MACHINES["Wren"]
    large = evolve(MACHINES["Albatross"], controller=small.controller)
    base, tilt = dose(exposure_s=8.0, settle_s=60.0), 6e-4
    compact, tilted, level = (along_diagonal(m, t, base) for m, t in ((small, tilt), (large, tilt), (large, 0.0)))
    assert compact.worst.error_m == pytest.approx(tilt * half_diagonal_m(small), rel=1e-6)
    assert tilted.worst.error_m == pytest.approx(tilt * half_diagonal_m(large), rel=1e-6)
    assert compact.answer is LevelAnswer.YES
    assert tilted.answer is LevelAnswer.NO
    assert level.answer is not LevelAnswer.NO, "it is the tilt, not the size"
    assert "let go at the rear right corner" in tilted.verdict


def test_verdict_follows_the_dose() -> None:
    """Enough light bonds every corner; a tenth of it bonds none: the answer turns with nothing else changed."""
    machine = MACHINES["Wren"]
    plenty, little = (level_platform(survey(machine, 2e-4, 1e-4, base=dose(exposure_s=e))) for e in (60.0, 3.0))
    assert plenty.answer is LevelAnswer.YES
    assert little.answer is LevelAnswer.NO
    assert all((a.bonds or 0.0) >= (b.bonds or 0.0) for a, b in zip(plenty.corners, little.corners, strict=True))


def test_a_steep_platform_presses_on_the_film() -> None:
    sheet = level_platform(survey(MACHINES["Wren"], 3e-3, 0.0))
    assert sheet.answer is LevelAnswer.NO
    assert (sheet.nearest.touches or 0.0) > 0.5
    assert "press on the film" in sheet.verdict


def test_without_a_base_it_is_geometry_only() -> None:
    sheet = level_platform(survey(MACHINES["Wren"], 1e-3, 0.0, base=None))
    assert sheet.answer is LevelAnswer.GEOMETRY
    assert sheet.base is None
    assert "geometry only" in sheet.verdict
    assert all(c.bonds is None and c.touches is None for c in sheet.corners)


def test_sizes_share_the_tilt() -> None:
    """A slope is a slope on every platform: error over half diagonal is the same number (geometry)."""
    sheet = level_platform(survey(MACHINES["Heron"], 6e-4, 8e-4))
    assert sheet.sizes[0].machine == "Heron"
    assert {s.machine for s in sheet.sizes} == set(MACHINES)
    for s in sheet.sizes:
        assert s.error_m / s.half_diagonal_m == pytest.approx(1e-3, rel=1e-6)
        assert (s.forgiven_tilt or 0.0) * s.half_diagonal_m == pytest.approx(sheet.base.allowed_m, rel=1e-9)


def test_twist_is_named_with_its_diagonal_and_eased_first() -> None:
    sheet = level_platform(survey(MACHINES["Albatross"], 2e-4, 1e-4, twist_m=8e-5))
    assert sheet.plane.twisted
    assert sheet.plane.twist_m == pytest.approx(8e-5, rel=1e-6)
    first = sheet.corrections[0]
    assert (first.kind, first.what) == ("twist", "front left - rear right")
    assert sheet.worst.error_m == pytest.approx(2e-4 * 0.148 + 1e-4 * 0.083 + 8e-5, rel=1e-6)


def test_small_twist_is_left_alone() -> None:
    sheet = level_platform(survey(MACHINES["Albatross"], 2e-4, 1e-4, twist_m=4e-6))
    assert not sheet.plane.twisted
    assert all(c.kind != "twist" for c in sheet.corrections)


def test_the_farthest_screw_comes_first_then_the_one_across() -> None:
    sheet = level_platform(survey(MACHINES["Albatross"], 5e-4, 3e-4))
    order = [c.what for c in sheet.corrections if c.kind == "screw"]
    assert set(order[:2]) == {"front left", "rear right"}
    rise = next(c for c in sheet.corrections if c.what == "front left")
    assert rise.travel_m == pytest.approx(5e-4 * 0.148 + 3e-4 * 0.083, rel=1e-6), "the low corner goes up"
    assert (rise.turns or 0.0) < 0.0, "clockwise lowers here"


def test_height_by_sheets() -> None:
    """Read on the bare screen at zero, a 150 um film leaves 320 - 150 = 170 um too much, two sheets of 100: arithmetic."""
    flat = survey(MACHINES["Albatross"], 0.0, 0.0, height_m=0.0)
    high = evolve(flat, readings=tuple(evolve(r, gap_m=3.2e-4) for r in flat.readings))
    zero = level_platform(high).corrections[-1]
    assert (zero.kind, zero.sheets, zero.needed) == ("zero", -2, True)
    assert zero.travel_m == pytest.approx(-1.7e-4, rel=1e-9)
    on_film = level_platform(survey(MACHINES["Albatross"], 0.0, 0.0, height_m=3e-4, on_film=True))
    assert not on_film.corrections[-1].needed


def test_an_indicator_says_nothing_about_height() -> None:
    sheet = level_platform(survey(MACHINES["Albatross"], 1e-4, 0.0, gauge=gauge(Method.INDICATOR), height_m=0.0))
    assert all(c.kind != "zero" for c in sheet.corrections)
    assert sheet.base is not None
    assert sheet.base.zero_m is None


def test_a_ball_gets_leaves_under_its_low_corners() -> None:
    plain = survey(MACHINES["Albatross"], 1e-3, 1e-3)
    sheet = level_platform(evolve(plain, screws=evolve(plain.screws, mount=Mount.BALL)))
    leaves = {c.what: c.sheets for c in sheet.corrections if c.kind == "shim"}
    assert leaves == {"rear right": 0, "front right": 2, "rear left": 3, "front left": 5}  # 166, 296, 462 um in 100s


def odd(index: int, extra_m: float, base: LevelSurvey) -> LevelSurvey:
    readings = tuple(evolve(r, gap_m=r.gap_m + (extra_m if n == index else 0.0)) for n, r in enumerate(base.readings))
    return evolve(base, readings=readings)


def test_a_contradicting_reading_is_named() -> None:
    with pytest.raises(InputError, match="point 4: the gap of 600 um at x 0, y 0 mm stands out") as caught:
        level_platform(odd(4, 3e-4, survey(MACHINES["Albatross"], 1e-4, 1e-4)))
    assert len(caught.value.mistakes) == 1


def test_readings_that_cannot_be_told_apart_are_all_named() -> None:
    """Of four corners and the middle, one corner off looks like the opposite one off: geometry."""
    with pytest.raises(InputError, match="is one of 2 that stand out") as caught:
        level_platform(odd(2, 4e-4, survey(MACHINES["Albatross"], 0.0, 0.0)))
    assert [m.where for m in caught.value.mistakes] == ["point 0", "point 2"]


def test_the_carry_asks_the_same_plane() -> None:
    """corner_excess_m of the carry and the level sheet agree on one set of readings."""
    machine = MACHINES["Albatross"]
    readings = tuple(
        GapReading(x_m=r.x_m, y_m=r.y_m, gap_m=r.gap_m, sigma_m=machine.level_sigma_m) for r in machine.level
    )
    sheet: LevelSheet = level_platform(evolve(survey(machine, 0.0, 0.0), readings=readings))
    excess, sigma = corner_excess_m(machine.platform, machine.level, machine.level_sigma_m) or (math.nan, math.nan)
    worst = max(sheet.corners, key=lambda c: c.plane_m)
    assert worst.plane_m - sheet.plane.offset_m == pytest.approx(excess, rel=1e-9)
    # the level sheet asks for the corner's gap, the carry for what it has beyond the middle's: s^2/5 less over five readings
    middle = machine.level_sigma_m / math.sqrt(5.0)
    assert worst.sigma_m == pytest.approx(math.hypot(sigma, middle) * sheet.plane.scatter, rel=1e-9)


def test_corner_excess_needs_a_plane() -> None:
    line = tuple(LevelReading(x_m=x, y_m=x, gap_m=1e-4) for x in (-0.1, 0.0, 0.1))
    assert corner_excess_m(MACHINES["Albatross"].platform, line, 1e-5) is None
    assert corner_excess_m(MACHINES["Albatross"].platform, line[:2], 1e-5) is None
