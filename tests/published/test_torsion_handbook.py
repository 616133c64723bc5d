"""Torsion constants of handbook sections.

Rectangles: coefficient beta of J = beta a b^3, Timoshenko and Goodier, Theory of Elasticity, chapter 10, as printed
to three digits in structural handbooks; the same series evaluated to seven digits serves for the tighter check.
Circle, ellipse, equilateral triangle: closed forms, same chapter.  Semicircle: (pi/2 - 4/pi) R^4, closed form.
Hexagon: 1.0355 s^4, handbook 1.04 s^4.  Right isosceles triangle and the angle of three squares: independent finite
elements of second order, converged to the digits given.  Annuli: closed forms, sealed (hollow
shaft) and with both edges held at zero.
"""

from __future__ import annotations

import numpy as np
import pytest

from vatwright.geometry.torsion import region_torsion


def polygon(radius: float, corners: int, turn: float = 0.1) -> np.ndarray:
    angle = turn + 2 * np.pi * np.arange(corners) / corners
    return radius * np.c_[np.cos(angle), np.sin(angle)]


def rectangle(a: float, b: float) -> np.ndarray:
    return np.array([[0.0, 0.0], [a, 0.0], [a, b], [0.0, b]])


def turned(points: np.ndarray, angle: float) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return points @ np.array([[c, s], [-s, c]])


ANGLES = (0.0, 0.2, 0.61, np.pi / 4)

BETA = {
    1.0: 0.1405770, 1.2: 0.1661189, 1.5: 0.1957607, 2.0: 0.2286817, 2.5: 0.2493651, 3.0: 0.2633169, 4.0: 0.2808130,
    5.0: 0.2913168, 6.0: 0.2983195, 8.0: 0.3070730, 10.0: 0.3123250, 20.0: 0.3228292, 100.0: 0.3312325,
}  # fmt: skip
PRINTED = {1.0: 0.141, 1.2: 0.166, 1.5: 0.196, 2.0: 0.229, 2.5: 0.249, 3.0: 0.263, 4.0: 0.281, 5.0: 0.291}


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("ratio", BETA)
def test_rectangles_timoshenko_series(ratio: float, angle: float) -> None:
    found = region_torsion(turned(rectangle(ratio * 0.01, 0.01), angle)) / (ratio * 0.01**4)
    assert found == pytest.approx(BETA[ratio], rel=1e-3)


@pytest.mark.parametrize("ratio", PRINTED)
def test_rectangles_to_the_printed_digits_of_the_beta_table(ratio: float) -> None:
    found = region_torsion(rectangle(ratio * 0.01, 0.01)) / (ratio * 0.01**4)
    assert found == pytest.approx(PRINTED[ratio], abs=5.5e-4)


FULL_TURN = np.linspace(0.0, np.pi, 400)
SECTIONS = {
    "circle": (polygon(1.0, 720), np.pi / 2, 5e-4),
    "ellipse 2:1": (polygon(1.0, 720) * [2.0, 1.0], np.pi * 8 / 5, 5e-4),
    "ellipse 5:1": (polygon(1.0, 720) * [5.0, 1.0], np.pi * 125 / 26, 5e-4),
    "equilateral triangle": (polygon(1 / np.sqrt(3), 3), np.sqrt(3) / 80, 1e-3),
    "right isosceles triangle": (np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]), 0.0260897, 1e-3),
    "hexagon": (polygon(1.0, 6), 1.03546, 1e-3),
    "semicircle": (np.c_[np.cos(FULL_TURN), np.sin(FULL_TURN)], np.pi / 2 - 4 / np.pi, 1e-3),
    "angle of three squares": (np.array([[0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2.0]]), 0.8563, 1e-2),
}


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("name", SECTIONS)
def test_solid_sections(name: str, angle: float) -> None:
    points, expected, tolerance = SECTIONS[name]
    assert region_torsion(turned(points, angle)) == pytest.approx(expected, rel=tolerance)


@pytest.mark.parametrize(("ratio", "tolerance"), [(0.1, 1e-2), (0.5, 1e-3), (0.8, 1e-3), (0.95, 1e-3)])
def test_annuli_sealed_and_vented(ratio: float, tolerance: float) -> None:
    points = np.vstack([polygon(1.0, 720), polygon(ratio, 720)[::-1]])
    loops = np.array([0, 720, 1440])
    sealed = np.pi / 2 * (1 - ratio**4)
    vented = sealed - np.pi / 2 * (1 - ratio**2) ** 2 / np.log(1 / ratio)
    flags = np.array([False, True])
    assert region_torsion(points, loops, loop_sealed=flags) == pytest.approx(sealed, rel=tolerance)
    assert region_torsion(points, loops) == pytest.approx(vented, rel=tolerance)


def test_vented_to_sealed_ratio_of_the_half_bored_annulus() -> None:
    """Closed forms give 0.134383 for R1/R2 = 0.5."""
    points = np.vstack([polygon(1.0, 720), polygon(0.5, 720)[::-1]])
    loops = np.array([0, 720, 1440])
    both = [region_torsion(points, loops, loop_sealed=np.array([False, s])) for s in (False, True)]
    assert both[0] / both[1] == pytest.approx(0.134383, rel=2e-3)


def test_thin_tube_bredt() -> None:
    """Bredt's second formula, J = 4 A^2 t / midline, for a square tube; its own error is of order wall / side."""
    outer, inner = rectangle(1.0, 1.0) - 0.5, (rectangle(0.96, 0.96) - 0.48)[::-1]
    found = region_torsion(np.vstack([outer, inner]), np.array([0, 4, 8]), loop_sealed=np.array([False, True]))
    assert found == pytest.approx(4 * 0.98**4 * 0.02 / (4 * 0.98), rel=0.01)
