"""What is believed of one cause after looking: the weight of every world, the margins, what its readings would show."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.planning.why.margins import PlatformSpot, corners
from vatwright.planning.why.worlds import Inquiry, RunWorlds
from vatwright.records.run import Event, Reading

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class Weighed(NamedTuple):
    """What is believed of one cause.

    Parameters
    ----------
    spot, event : Spot or None, Event or None
        Where, and what was seen.
    layer : int
        The layer asked about.
    weight : (M,) ndarray
        How much each world of all groups, one group after the other, speaks for it [-].
    margin_believed, margin, margin_mended : float or None
        As believed; where this is behind it; the same with it put right [-].
    times_likelier : float or None
        How many times likelier what was seen is where this departs from the records [-].
    readings : tuple
        Each reading, the middle of what it would show under this cause, and how far off it is.
    """

    spot: PlatformSpot | None
    event: Event | None
    layer: int
    weight: Floats
    margin_believed: float | None
    margin: float | None
    margin_mended: float | None
    times_likelier: float | None
    readings: tuple[tuple[Reading, float | None, float], ...]

    def quantile(self, values: Floats, share: float) -> float:
        """Return the value that this share of the weight lies below."""
        order = np.argsort(values)
        along = np.cumsum(self.weight[order])
        at = min(int(np.searchsorted(along, share * along[-1])), len(order) - 1)
        return float(values[order][at])

    def middle(self, values: Floats) -> float:
        """Return the weighted median."""
        return self.quantile(values, 0.5)


def low_corner(inq: Inquiry, weighed: Weighed) -> PlatformSpot:
    """Return the place that was named, else the corner whose gap is widest under this cause."""
    if weighed.spot is not None:
        return weighed.spot
    return max(corners(inq), key=lambda c: weighed.middle(every(inq, lambda s: s.excess_m(*c))))


def every(inq: Inquiry, values: Callable[[RunWorlds], Floats]) -> Floats:
    """Return something of all groups, one after the other, (M,)."""
    return np.concatenate([values(g.state) for g in inq.groups])
