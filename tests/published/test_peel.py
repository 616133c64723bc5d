"""Film peel against Rivlin 1944 and Kendall 1975; strips under tension against energies computed here."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vatwright.errors import DomainError
from vatwright.physics import film_peel as peel
from vatwright.physics import squeeze_film

FILM = {"modulus_pa": 0.5e9, "film_m": 100e-6}


@pytest.mark.parametrize(
    ("degrees", "force"),
    [(0, 707.107), (10, 278.179), (30, 37.2171), (45, 17.0611), (90, 4.99975), (180, 2.49997)],
)
def test_kendall_1975(degrees: float, force: float) -> None:
    """E 0.5 GPa, 100 um, G 5 J/m2: force per width in N/m."""
    found = peel.kendall_force(energy_j_m2=5.0, angle_rad=math.radians(degrees), **FILM)
    assert found == pytest.approx(force, rel=3e-6)
    # His equation is a quadratic in the force per width; its positive root by numpy's eigenvalues.
    roots = np.roots([1.0 / (2.0 * 0.5e9 * 100e-6), 1.0 - math.cos(math.radians(degrees)), -5.0])
    assert found == pytest.approx(float(max(roots.real)), rel=1e-9)


@pytest.mark.parametrize(("degrees", "force"), [(60, 10.0), (90, 5.0), (180, 2.5)])
def test_a_film_that_does_not_stretch_by_hand(degrees: float, force: float) -> None:
    """A film that does not stretch gives its end F (1 - cos th) for each length peeled: 5 J/m2 at cos 1/2, 0 and -1."""
    assert peel.rivlin_force(energy_j_m2=5.0, angle_rad=math.radians(degrees)) == pytest.approx(force, rel=1e-12)


def test_a_film_that_stretches_peels_at_less_than_one_that_does_not() -> None:
    """A property of the two laws, not a published number: stretch gives energy of its own."""
    for degrees in (1, 10, 60, 120, 180):
        angle = math.radians(degrees)
        stiff = peel.rivlin_force(energy_j_m2=5.0, angle_rad=angle)
        assert peel.kendall_force(energy_j_m2=5.0, angle_rad=angle, **FILM) <= stiff


@pytest.mark.parametrize(
    ("tension", "lift_mm", "degrees", "released", "force"),
    [
        (0.0, 3.8467, 7.3068, 409.36, 52.063),
        (500.0, 3.1452, 5.9850, 776.77, 80.992),
        (2000.0, 2.0346, 3.8798, 2119.45, 143.409),
    ],
)
def test_strip_under_tension(tension: float, lift_mm: float, degrees: float, released: float, force: float) -> None:
    """Span 30 mm, E t 5e4 N/m, G 5 J/m2 (derived by a root finder on the energy balance, printed to five digits)."""
    found = peel.strip_release(tension_n_m=tension, energy_j_m2=5.0, span_m=0.03, **FILM)
    assert found.lift_m * 1e3 == pytest.approx(lift_mm, rel=2e-5)
    assert math.degrees(found.angle_rad) == pytest.approx(degrees, rel=2e-5)
    assert found.tension_n_m == pytest.approx(released, rel=2e-5)
    assert found.force_n_m == pytest.approx(force, rel=2e-5)


@pytest.mark.parametrize("span_m", [0.03, 0.08])
def test_energy_balance_against_the_energy_of_a_strip(span_m: float) -> None:
    """Move the front of a clamped strip by a little and count the energy; agrees to the strain while bonded (1 %).

    The strip lies flat at strain e0; the clamped end stays, the front at a distance a is lifted by z.  Freed length a
    (1 + e0)^-1 of unstrained film spans sqrt(a^2 + z^2).  The plate holds z, so no outside work is done.
    """
    sheet, tension = 5e4, 500.0
    e0 = tension / sheet
    angle = math.radians(4.0)
    lift = span_m * math.tan(angle)

    def energy(a: float) -> float:
        unstrained = a / (1.0 + e0)
        strain = math.hypot(a, lift) / unstrained - 1.0
        whole = (0.2 - a) / (1.0 + e0)  # bonded rest, held at e0
        return 0.5 * sheet * (strain**2 * unstrained + e0**2 * whole)

    step = 1e-6
    released = -(energy(span_m + step) - energy(span_m - step)) / (2.0 * step)
    found = peel.peel_energy(tension_n_m=tension, angle_rad=angle, **FILM)
    assert found == pytest.approx(released, rel=1.01 * e0)


def test_peel_angle_and_energy_are_inverse() -> None:
    for tension in (0.0, 1e-3, 300.0, 2500.0, 1e6):
        for energy in (1e-6, 0.1, 5.0, 400.0, 1e6):
            angle = peel.peel_angle(tension_n_m=tension, energy_j_m2=energy, **FILM)
            assert 0.0 < angle < 0.5 * math.pi
            assert peel.peel_energy(tension_n_m=tension, angle_rad=angle, **FILM) == pytest.approx(energy, rel=1e-11)


def test_slack_film_is_kendalls_film() -> None:
    """At T0 = 0 the freed tension solves Kendall's quadratic in the force at that angle; its root by numpy."""
    found = peel.strip_release(tension_n_m=0.0, energy_j_m2=5.0, span_m=0.03, **FILM)
    roots = np.roots([1.0 / (2.0 * 0.5e9 * 100e-6), 1.0 - math.cos(found.angle_rad), -5.0])
    assert found.tension_n_m == pytest.approx(float(max(roots.real)), rel=1e-9)


def test_twice_the_span_twice_the_lift() -> None:
    near, far = (peel.strip_release(tension_n_m=500.0, energy_j_m2=5.0, span_m=span, **FILM) for span in (0.03, 0.06))
    assert far.lift_m == pytest.approx(2.0 * near.lift_m, rel=1e-15)
    assert (far.angle_rad, far.force_n_m) == (near.angle_rad, near.force_n_m)


def test_cup_at_perfect_vacuum() -> None:
    """20 mm across, one standard atmosphere: 31.832 N."""
    assert squeeze_film.suction_limit(math.pi * 0.01**2) == pytest.approx(31.832, rel=1e-4)


def test_disc_on_a_membrane() -> None:
    """T 20 N/m, r 2.5 mm in a window of 30 mm: 50.571 N/m; the logarithm solves Laplace's equation."""
    found = peel.membrane_stiffness(tension_n_m=20.0, disc_radius_m=2.5e-3, window_radius_m=30e-3)
    assert found == pytest.approx(50.571, rel=1e-5)


def test_pull_of_a_front() -> None:
    angle = math.radians(5.9850)
    assert peel.pull(tension_n_m=776.77, angle_rad=angle, front_m=0.1) == pytest.approx(8.0992, rel=2e-5)


@pytest.mark.parametrize("tension", [0.0, 20.0, 900.0, 5000.0])
def test_many_films_and_one_keep_the_same_balance(tension: float) -> None:
    """Kendall's balance by another solver: the front stands at u / tan(theta) = v_r, where speed changes nothing."""
    angle = peel.peel_angle(tension_n_m=tension, energy_j_m2=5.0, **FILM)
    film = {"sheet_n_m": np.array([5e4]), "tension_n_m": np.array([tension]), "exponent": np.array([0.35])}
    found = peel.peel_angle_at_speed(energy_j_m2=np.array([5.0]), rise_speed_ratio=np.tan([angle]), **film)
    assert found[0] == pytest.approx(angle, rel=1e-12)
    back = peel.bond_energy(angle_rad=found, front_speed_ratio=np.array([1.0]), **film)
    assert back[0] == pytest.approx(5.0, rel=1e-12)


@pytest.mark.parametrize(("tension", "order"), [(1e7, 2.0), (0.0, 4.0)])
def test_speed_law_in_its_limits(tension: float, order: float) -> None:
    """Small angles: G = T0 theta^2 / 2 where tension rules and 3 E t theta^4 / 8 where stretch does (series of the balance),

    with v = u / theta and G = G_r (v/v_r)^n: theta goes with u^(n / (order + n)).
    """
    film = {"sheet_n_m": np.full(2, 5e4), "tension_n_m": np.full(2, tension), "exponent": np.full(2, 0.3)}
    # an energy at which the angle is small: some hundredths of a radian
    energy = np.full(2, 5.0 if tension else 1e-4)
    slow, fast = peel.peel_angle_at_speed(energy_j_m2=energy, rise_speed_ratio=np.array([1.0, 8.0]), **film)
    assert fast / slow == pytest.approx(8.0 ** (0.3 / (order + 0.3)), rel=1e-3)


def test_out_of_range_is_refused() -> None:
    with pytest.raises(DomainError, match=r"angle_rad: must be below pi/2"):
        peel.lift_demand(span_m=0.03, angle_rad=math.pi / 2)
    with pytest.raises(DomainError, match=r"angle_rad: must be below pi/2"):
        peel.released_tension(tension_n_m=1.0, angle_rad=2.0, **FILM)
    with pytest.raises(DomainError, match=r"angle_rad: must not exceed"):
        peel.rivlin_force(energy_j_m2=5.0, angle_rad=30.0)
    with pytest.raises(DomainError, match=r"disc_radius_m: must be below the window's"):
        peel.membrane_stiffness(tension_n_m=1.0, disc_radius_m=1.0, window_radius_m=1.0)
    with pytest.raises(DomainError, match="energy_j_m2"):
        peel.peel_angle(tension_n_m=1.0, energy_j_m2=0.0, **FILM)
