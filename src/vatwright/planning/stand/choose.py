"""Which ways are worth showing, and which one to take."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vatwright.records.stand import Way

if TYPE_CHECKING:
    from collections.abc import Sequence

ALIKE = 0.01
"""Differences below this are none [-]; our own choice."""

WORTH = 0.1
"""A way is worth the turning, and its supports, where it saves this share of the time [-]; our own choice."""

WORTH_S = 600.0
"""And so many seconds [s]; our own choice."""

LESS_SURE = 0.02
"""A way may hold this much less often and still be advised [-]; our own choice."""

HARDER = 1.5
"""A way may pull by this factor harder than as drawn and still be advised [-]: practice takes pull to scatter by more;
our own choice."""

HOLDS_ON = 2.5
"""A way whose weakest section carries so many times the pull is as good as any [-], as pull scatters; below, it may carry no
less than as drawn; our own choice."""

SLOWER = 1.1
"""To be rid of a sealed pocket a way may take this factor longer [-]; our own choice."""


def shown(ways: Sequence[Way]) -> tuple[Way, ...]:
    """Return the ways that no other is better than in everything, as drawn first, then by time.

    Parameters
    ----------
    ways : sequence of Way
        As drawn first.
    """
    drawn, *others = ways
    kept = [w for w in others if w.fits and not any(_beaten(w, by) for by in ways if by is not w and by.fits)]
    return (drawn, *sorted(kept, key=lambda w: (w.to_s or 0.0, w.supports_m2, w.tilt_deg)))


def _costs(way: Way) -> tuple[float, ...]:
    """What of a way should be little."""
    carries = 0.0 if way.neck is None else min(way.neck, HOLDS_ON)
    known = (way.to_s or 0.0, way.body_settle_s or 0.0, way.pull_n or 0.0, -(way.mean or 0.0), -carries)
    return (*known, float(way.pockets), way.height_m, way.supports_m2, -float(way.pieces))


def _beaten(way: Way, by: Way) -> bool:
    pairs = list(zip(_costs(way), _costs(by), strict=True))
    no_worse = all(b <= a + ALIKE * abs(a) for a, b in pairs)
    return no_worse and any(b < a - ALIKE * abs(a) for a, b in pairs)


def advised(ways: Sequence[Way]) -> int:
    """Return which of the ways to take: the quickest that is worth it and no less sure, else as drawn.

    Parameters
    ----------
    ways : sequence of Way
        As drawn first.

    Returns
    -------
    int
        Where it stands among them; 0, too, where not one fits.

    Notes
    -----
    Worth it is a tenth of the time and ten minutes, or being rid of a sealed pocket for a tenth more.  Where the part does
    not fit as drawn, the quickest way that does is taken.
    """
    drawn = ways[0]
    able = [k for k, way in enumerate(ways) if way.fits and (not drawn.fits or _as_sure(way, drawn))]
    if drawn.fits:
        able = [k for k in able if k and _worth(ways[k], drawn)]
    return min(
        able, key=lambda k: (ways[k].pockets, ways[k].to_s or 0.0) if drawn.fits else ways[k].to_s or 0.0, default=0
    )


def _as_sure(way: Way, drawn: Way) -> bool:
    surely = (way.mean or 0.0) >= (drawn.mean or 0.0) - LESS_SURE
    carries = math.inf if way.neck is None else way.neck
    as_strong = carries >= min(HOLDS_ON, math.inf if drawn.neck is None else drawn.neck) * (1.0 - ALIKE)
    return (
        surely and as_strong and way.pockets <= drawn.pockets and (way.pull_n or 0.0) <= HARDER * (drawn.pull_n or 0.0)
    )


def _worth(way: Way, drawn: Way) -> bool:
    took, takes = drawn.to_s or 0.0, way.to_s or 0.0
    quicker = took - takes >= max(WORTH * took, WORTH_S)
    return quicker or (way.pockets < drawn.pockets and takes <= SLOWER * took)
