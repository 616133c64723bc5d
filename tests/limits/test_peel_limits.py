"""Limits of the peel of a stretched film: tension alone, stretch alone, right angle, weak bond."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vatwright.physics import film_peel as peel

FILM = {"modulus_pa": 0.5e9, "film_m": 100e-6}


def test_tension_alone() -> None:
    """T0 far above what stretch adds: T0 theta^2/2 = G."""
    angle = peel.peel_angle(tension_n_m=2000.0, energy_j_m2=1e-6, **FILM)
    assert angle == pytest.approx(math.sqrt(2.0 * 1e-6 / 2000.0), rel=1e-6)


def test_stretch_alone() -> None:
    """T0 = 0, weak bond: (3/8) E t theta^4 = G."""
    angle = peel.peel_angle(tension_n_m=0.0, energy_j_m2=1e-8, **FILM)
    assert angle == pytest.approx((1e-8 / (0.375 * 5e4)) ** 0.25, rel=1e-6)


def test_kendall_at_no_angle_and_rivlin_in_a_stiff_film() -> None:
    """theta -> 0: F/b = sqrt(2 E t G); E t -> infinity: Rivlin."""
    flat = peel.kendall_force(energy_j_m2=5.0, angle_rad=0.0, **FILM)
    assert flat == pytest.approx(math.sqrt(2.0 * 5e4 * 5.0), rel=1e-14)
    stiff = peel.kendall_force(energy_j_m2=5.0, angle_rad=1.0, modulus_pa=1e18, film_m=1.0)
    assert stiff == pytest.approx(peel.rivlin_force(energy_j_m2=5.0, angle_rad=1.0), rel=1e-12)


@given(
    tension=st.floats(min_value=0.0, max_value=5e3),
    log_energy=st.floats(min_value=-9.0, max_value=6.0),
    log_sheet=st.floats(min_value=1.0, max_value=7.0),
)
def test_angle_gives_its_energy_back(tension: float, log_energy: float, log_sheet: float) -> None:
    film = {"modulus_pa": 10.0 ** (log_sheet + 4), "film_m": 1e-4, "tension_n_m": tension}
    energy = 10.0**log_energy
    angle = peel.peel_angle(energy_j_m2=energy, **film)
    assert peel.peel_energy(angle_rad=angle, **film) == pytest.approx(energy, rel=1e-9)


@given(tension=st.floats(min_value=0.0, max_value=5e3), energy=st.floats(min_value=1e-3, max_value=1e3))
def test_tighter_films_release_earlier_and_pull_harder(tension: float, energy: float) -> None:
    """The rule at the bench: more tension, less lift, more pull."""
    slack, tight = (
        peel.strip_release(tension_n_m=t, energy_j_m2=energy, span_m=0.05, **FILM) for t in (tension, tension + 50.0)
    )
    assert tight.lift_m < slack.lift_m
    assert tight.force_n_m > slack.force_n_m
