"""How fine the light draws, against a numerical blur of what was drawn (scipy.ndimage, scipy.integrate)."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.ndimage import gaussian_filter1d

from vatwright.errors import DomainError
from vatwright.physics.cure_width import narrowest_gap, thinnest_pin, thinnest_wall

BLUR = 3.0e-5
STEP = 1.0e-6


@pytest.mark.parametrize("width", [3e-5, 8e-5, 1.6e-4])
def test_a_strip_and_a_gap_blurred_on_a_fine_grid(width):
    """A strip of that width on a grid of a micrometre, filtered; a gap is what it leaves."""
    x = (np.arange(2001) - 1000) * STEP
    strip = np.clip((width / 2.0 - np.abs(x)) / STEP + 0.5, 0.0, 1.0)
    middle = float(gaussian_filter1d(strip, BLUR / STEP)[1000])
    assert float(thinnest_wall(share=middle, blur_m=BLUR)) == pytest.approx(width, rel=2e-3)
    assert float(narrowest_gap(share=1.0 - middle, blur_m=BLUR)) == pytest.approx(width, rel=2e-3)


@pytest.mark.parametrize("diameter", [4e-5, 1e-4, 2e-4])
def test_a_disc_blurred_in_polar_coordinates(diameter):
    share, _ = quad(lambda r: r / BLUR**2 * math.exp(-(r**2) / (2.0 * BLUR**2)), 0.0, diameter / 2.0)
    assert float(thinnest_pin(share=share, blur_m=BLUR)) == pytest.approx(diameter, rel=1e-6)


def test_limits():
    """Too little light draws nothing however wide; light that never closes a gap leaves any; a pin wants more than a wall."""
    share = np.array([0.3, 0.8])
    assert math.isinf(thinnest_wall(share=1.2, blur_m=BLUR))
    assert math.isinf(thinnest_pin(share=1.2, blur_m=BLUR))
    assert float(narrowest_gap(share=1.2, blur_m=BLUR)) == 0.0
    assert (thinnest_pin(share=share, blur_m=BLUR) > thinnest_wall(share=share, blur_m=BLUR)).all()
    assert np.allclose(thinnest_wall(share=share, blur_m=2 * BLUR), 2 * thinnest_wall(share=share, blur_m=BLUR))
    with pytest.raises(DomainError):
        thinnest_wall(share=0.5, blur_m=0.0)
