"""What must hold for every plane: turning the frame changes nothing real, and what is advised takes the tilt away."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vatwright.physics.plane import fit_plane, plane_sigma
from vatwright.planning.level.corrections import screw_corrections, turns_for
from vatwright.records.level import FittedPlane, Mount, Screw, Screws

PLACES = np.array([(-0.14, -0.07), (0.14, -0.07), (0.14, 0.07), (-0.14, 0.07), (0.01, 0.02)])
gaps = st.lists(st.floats(2e-5, 5e-4), min_size=5, max_size=5)
slopes = st.floats(-3e-3, 3e-3)


@given(gaps, st.floats(0.0, 2.0 * math.pi))
def test_turning_the_frame_turns_the_tilt_and_nothing_else(gap: list[float], angle: float) -> None:
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    turned = PLACES @ turn.T
    sigma = [1e-5] * 5
    a = fit_plane(x_m=PLACES[:, 0], y_m=PLACES[:, 1], gap_m=gap, sigma_m=sigma)
    b = fit_plane(x_m=turned[:, 0], y_m=turned[:, 1], gap_m=gap, sigma_m=sigma)
    assert b.offset_m == pytest.approx(a.offset_m, abs=1e-12)
    assert np.array([b.tilt_x, b.tilt_y]) == pytest.approx(turn @ [a.tilt_x, a.tilt_y], abs=1e-11)
    assert b.residual_m == pytest.approx(a.residual_m, abs=1e-12)
    spot = turn @ [0.15, 0.08]
    before = plane_sigma(x_m=PLACES[:, 0], y_m=PLACES[:, 1], sigma_m=sigma, at_x_m=0.15, at_y_m=0.08)
    after = plane_sigma(x_m=turned[:, 0], y_m=turned[:, 1], sigma_m=sigma, at_x_m=spot[0], at_y_m=spot[1])
    assert after == pytest.approx(before, rel=1e-9)


@given(slopes, slopes, st.floats(-1e-4, 1e-4), st.sampled_from([Mount.FOUR, Mount.THREE]), st.booleans())
def test_corrections_leave_only_the_twist(
    tilt_x: float, tilt_y: float, twist: float, mount: Mount, raises: bool
) -> None:
    """Move the platform at its screws as advised: the plane through them is level, and the gaps keep +-twist."""
    corners = [("fl", -0.1, -0.05), ("fr", 0.1, -0.05), ("rr", 0.1, 0.05), ("rl", -0.1, 0.05)]
    places = [Screw(name=n, x_m=x, y_m=y) for n, x, y in corners][: 4 if mount is Mount.FOUR else 3]
    screws = Screws(mount=mount, places=tuple(places), pitch_m=7e-4, clockwise_raises=raises)
    gap = np.array([2e-4 + tilt_x * x + tilt_y * y + twist * np.sign(x * y) for _, x, y in corners])
    xs, ys = ([c[k] for c in corners] for k in (1, 2))
    fit = fit_plane(x_m=xs, y_m=ys, gap_m=gap, sigma_m=[1e-5] * 4)
    plane = FittedPlane(
        offset_m=fit.offset_m, offset_sigma_m=0.0, tilt_x=fit.tilt_x, tilt_y=fit.tilt_y, twist_m=twist, twist_sigma_m=0.0,
        twisted=False, residual_m=(), residual_rms_m=0.0, scatter=1.0,
    )  # fmt: skip
    advised = screw_corrections(plane, screws, {p.name: 0.0 for p in places})
    moved = {c.what: (c.turns or 0.0) * screws.pitch_m * (1.0 if raises else -1.0) for c in advised}
    lift = fit_plane(
        x_m=[p.x_m for p in places], y_m=[p.y_m for p in places], gap_m=[moved[p.name] for p in places],
        sigma_m=[1e-5] * len(places),
    )  # fmt: skip
    after = gap + [lift.at(x, y) for x, y in zip(xs, ys, strict=True)]
    assert np.ptp(after) == pytest.approx(2.0 * abs(twist), abs=1e-12)
    assert after.mean() == pytest.approx(gap.mean(), abs=1e-12)


@given(st.floats(-1e-3, 1e-3), st.floats(2e-4, 2e-3), st.booleans())
def test_turns_times_pitch_is_the_travel(travel: float, pitch: float, raises: bool) -> None:
    screws = Screws(mount=Mount.FOUR, places=(), pitch_m=pitch, clockwise_raises=raises)
    assert turns_for(travel, screws) * pitch * (1.0 if raises else -1.0) == pytest.approx(travel, abs=1e-15)
