"""How a giving film bows under the layers of a plate: the few numbers that :mod:`vatwright.geometry.film_law` works out."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

LASTS, LASTS_ON = 0.6, 0.5
"""What the second layer of a part on a larger raft keeps of the unevenness of the film it stands on, over its square [-], and
each further layer of that [-]: fitted to a part and a foot on a raft."""


@frozen(kw_only=True, eq=False)
class FilmLaw:
    """What outlines in a window make of a giving film.

    Parameters
    ----------
    stiffness : float
        With which an even gap settles in the end, over the tension [-].
    slows : float
        By how much a gap that is all bow settles slower than an even one [-].
    force : float
        Force over stiffness times mean deflection, while the film is bowed as a blister [-].
    worst_early, worst_late : float
        Greatest deflection under the outlines over the mean, of the blister and of the tail [-].
    bow : (ny, nx) ndarray
        The blister's deflection at the window's nodes, over its mean under the outlines [-].
    x_m, y_m : (nx,), (ny,) ndarray
        Where those nodes are [m].
    """

    stiffness: float
    slows: float
    force: float
    worst_early: float
    worst_late: float
    bow: Array
    x_m: Array
    y_m: Array

    @property
    def worst_at_m(self) -> tuple[float, float]:
        """Where the film bows most [m]: always under the outlines."""
        row, column = np.unravel_index(int(np.argmax(self.bow)), self.bow.shape)
        return float(self.x_m[column]), float(self.y_m[row])

    def bow_at(self, places_m: Array) -> Array:
        """Return the blister's deflection at places (P, 2) over its mean under the outlines, (P,) [-]."""
        (nx, ny), (x, y) = (len(self.x_m), len(self.y_m)), places_m.T
        across, along = np.interp(x, self.x_m, np.arange(nx)), np.interp(y, self.y_m, np.arange(ny))
        i, j = np.minimum(across.astype(int), nx - 2), np.minimum(along.astype(int), ny - 2)
        u, v = across - i, along - j
        low, high = ((1.0 - u) * self.bow[k, i] + u * self.bow[k, i + 1] for k in (j, j + 1))
        inside = (x >= self.x_m[0]) & (x <= self.x_m[-1]) & (y >= self.y_m[0]) & (y <= self.y_m[-1])
        return np.asarray(np.where(inside, (1.0 - v) * low + v * high, 0.0))


@frozen(kw_only=True, eq=False)
class BowedLayers:
    """How a giving film bows under each layer of a plate.

    Parameters
    ----------
    laws : tuple of FilmLaw
        Of the outlines that differ.
    which : (N,) ndarray of int
        Which of them each layer has.
    handed, uneven : (N,) ndarray
        What the layer before hands each layer, :func:`film_law.handed_on` [-].
    """

    laws: tuple[FilmLaw, ...]
    which: Counts
    handed: Array
    uneven: Array

    def column(self, name: str) -> Array:
        """Return one number of the laws for every layer, (N,) [-]."""
        return np.array([getattr(law, name) for law in self.laws])[self.which]

    @property
    def lasting(self) -> Array:
        """What is left in each layer of the unevenness that a change of outlines some layers before has made, (N,) [-]."""
        left = np.zeros(len(self.uneven))
        for n in range(1, len(left)):
            fresh = self.uneven[n - 1]
            left[n] = LASTS * fresh**2 if fresh > 0.0 else LASTS_ON * left[n - 1]
        return np.where(self.uneven > 0.0, 0.0, left)
