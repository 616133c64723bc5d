"""How fine a thing the light can draw: the thinnest wall and pin that come out, and the narrowest gap that stays open.

Pixels, glass and resin blur an edge.  Where the blur is Gaussian, the dose in the middle of a thing is its whole dose times
a share that hangs on its width over the blur alone: erf(w / (2 sqrt(2) b)) for a long wall, what that leaves for a gap,
1 - exp(-d^2 / (8 b^2)) on the axis of a pin.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import erfcinv, erfinv

from vatwright.errors import require_positive

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

STRIP = 2.0 * math.sqrt(2.0)
"""Width of a strip over its blur where the error function's argument is one [-]."""


def thinnest_wall(*, share: Floats | float, blur_m: Floats | float) -> Floats:
    r"""Return the thinnest wall whose middle still gets a share of the whole dose.

    .. math:: w = 2 \sqrt 2\, b \operatorname{erf}^{-1}(s)

    Parameters
    ----------
    share : ndarray or float
        Dose that a layer needs to bond over the dose that is given, :math:`s` [-].
    blur_m : ndarray or float
        Standard deviation of the blur, :math:`b` [m].

    Returns
    -------
    ndarray
        Width as drawn [m]; infinite where even a wide one gets too little.

    Raises
    ------
    DomainError
        When the blur is not above zero.

    Notes
    -----
    Convolution of a long strip with a Gaussian.  A pixel is never drawn thinner than it is.

    Examples
    --------
    >>> round(1e6 * float(thinnest_wall(share=0.9044, blur_m=30e-6)))
    100

    References
    ----------
    Inverse of the error function: Olver and others (2010), section 7.17. [olver:2010]
    """
    require_positive(blur_m=float(np.min(blur_m)))
    return np.asarray(STRIP * blur_m * erfinv(np.minimum(share, 1.0)))


def thinnest_pin(*, share: Floats | float, blur_m: Floats | float) -> Floats:
    r"""Return the thinnest pin whose axis still gets a share of the whole dose.

    .. math:: d = b \sqrt{-8 \ln(1 - s)}

    Parameters
    ----------
    share : ndarray or float
        Dose that a layer needs to bond over the dose that is given, :math:`s` [-].
    blur_m : ndarray or float
        Standard deviation of the blur, :math:`b` [m].

    Returns
    -------
    ndarray
        Diameter as drawn [m]; infinite where even a wide one gets too little.

    Raises
    ------
    DomainError
        When the blur is not above zero.

    Notes
    -----
    A Gaussian over a disc, in polar coordinates.

    Examples
    --------
    >>> round(1e6 * float(thinnest_pin(share=0.7506, blur_m=30e-6)))
    100

    References
    ----------
    An elementary integral; error functions of strips beside it: Olver and others (2010). [olver:2010]
    """
    require_positive(blur_m=float(np.min(blur_m)))
    with np.errstate(divide="ignore"):
        return np.asarray(blur_m * np.sqrt(-8.0 * np.log1p(-np.minimum(share, 1.0))))


def narrowest_gap(*, share: Floats | float, blur_m: Floats | float) -> Floats:
    r"""Return the narrowest gap whose middle gets no more than a share of the whole dose.

    .. math:: g = 2 \sqrt 2\, b \operatorname{erfc}^{-1}(s)

    Parameters
    ----------
    share : ndarray or float
        Dose at which a gap closes over the dose that is given, :math:`s` [-].
    blur_m : ndarray or float
        Standard deviation of the blur, :math:`b` [m].

    Returns
    -------
    ndarray
        Width as drawn [m]; 0 where the dose that is given closes no gap.

    Raises
    ------
    DomainError
        When the blur is not above zero.

    Notes
    -----
    Between solids that are wide against the blur.

    Examples
    --------
    >>> round(1e6 * float(narrowest_gap(share=0.0956, blur_m=30e-6)))
    100

    References
    ----------
    Inverse of the complementary error function: Olver and others (2010), section 7.17. [olver:2010]
    """
    require_positive(blur_m=float(np.min(blur_m)))
    return np.asarray(STRIP * blur_m * erfcinv(np.minimum(share, 1.0)))
