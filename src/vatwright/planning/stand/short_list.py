"""From a few hundred directions to the few that are worth a study: each is the best in something."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from vatwright.compiled import on_one_core
from vatwright.planning.stand.glance import Glance, Looks

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

Direction = tuple[float, float]
Wish = Callable[[Glance], tuple[bool, int, int, int]]
"""What is wanted of a direction: whether it misses a limit, and three values in steps, less being better."""

STEP_DEG = 15.0
"""Distance of the directions looked at first [deg]."""

FINE_DEG = 5.0
"""Distance of the directions looked at around the best [deg]: what a person sets by hand."""

ROUNDS = 6
"""Steps taken from a direction towards a better one, at most [1]."""

ALIKE = 0.02
"""Directions that differ by less in everything are one [-]; our own choice."""

MOST = 7
"""Directions studied besides the part as drawn [1]."""

SHORT_ENOUGH = 1.1
"""More pieces a plate are worth this much more time of a piece [-]; our own choice."""


def first_directions() -> Iterator[Direction]:
    """Return directions all over the sphere, tilt and turn in whole steps [deg].

    Examples
    --------
    >>> looked = list(first_directions())
    >>> len(looked), looked[:2]
    (182, [(0.0, 0.0), (15.0, 0.0)])
    """
    for tilt in range(0, 181, round(STEP_DEG)):
        turn = next(
            s for s in (15, 20, 30, 45, 60, 90, 360) if s * math.sin(math.radians(tilt)) >= 0.9 * STEP_DEG or s == 360
        )
        yield from ((float(tilt), float(a)) for a in range(0, 360, turn))


def short_list(looks: Looks, sides: Sequence[Direction]) -> list[Direction]:
    """Return the directions worth a study, without the part as drawn.

    Parameters
    ----------
    looks : Looks
        Looks at the part.
    sides : sequence of tuple of float
        Directions in which it lies flat [deg].

    Returns
    -------
    list of tuple of float
        At most `MOST`, unlike each other and unlike the part as drawn: the quickest; the quickest with half, with a
        quarter of its supports, and with no more than as drawn; the one that pulls least, the one of which most fit, and
        the lowest.
    """
    with on_one_core():
        return _listed(looks, sides)


def _listed(looks: Looks, sides: Sequence[Direction]) -> list[Direction]:
    for tilt, turn in (*first_directions(), *sides):
        looks.at(tilt, turn)
    drawn = looks.at(0.0, 0.0)
    quickest = _best(looks, _quick(math.inf))
    limits = sorted({quickest.supports_m2 / 2.0, quickest.supports_m2 / 4.0, drawn.supports_m2}, reverse=True)
    wishes = (*(_quick(m) for m in limits), _light, _narrow(SHORT_ENOUGH * drawn.time_s), _low)
    found = [drawn]
    for best in (quickest, *(_best(looks, wish) for wish in wishes)):
        if best.fits and not any(_alike(best, other) for other in found):
            found.append(best)
    return [(g.tilt_deg, g.turn_deg) for g in found[1 : MOST + 1]]


def _steps(value: float) -> int:
    """A value in steps of what counts as alike, nil below all others."""
    return round(math.log(value) / ALIKE) if value > 0.0 else -(10**6)


def _quick(supports_m2: float) -> Wish:
    def wish(g: Glance) -> tuple[bool, int, int, int]:
        return (
            g.supports_m2 > supports_m2 * (1.0 + ALIKE),
            _steps(g.time_s),
            _steps(g.supports_m2),
            _steps(g.section_m2),
        )

    return wish


def _narrow(time_s: float) -> Wish:
    def wish(g: Glance) -> tuple[bool, int, int, int]:
        return g.time_s > time_s, _steps(g.plan_m2), _steps(g.time_s), _steps(g.supports_m2)

    return wish


def _light(g: Glance) -> tuple[bool, int, int, int]:
    return False, _steps(g.section_m2), _steps(g.time_s), _steps(g.supports_m2)


def _low(g: Glance) -> tuple[bool, int, int, int]:
    return False, _steps(g.height_m), _steps(g.time_s), _steps(g.supports_m2)


def _best(looks: Looks, wish: Wish) -> Glance:
    """The best direction of those looked at, and of those around it; of equal ones the plainest."""

    def rank(g: Glance) -> tuple[bool | int | float, ...]:
        return (not g.fits, *wish(g), g.turn_deg % 90.0 != 0.0, g.tilt_deg % 90.0 != 0.0, g.tilt_deg, g.turn_deg)

    best = min(looks.seen.values(), key=rank)
    for _ in range(ROUNDS):
        around = min((looks.at(*d) for d in _around(best)), key=rank)
        if rank(around) >= rank(best):
            break
        best = around
    return best


def _around(g: Glance) -> Iterator[Direction]:
    """The eight directions a fine step away; around upright and upside down the turns are as wide as the steps."""
    wide = FINE_DEG / max(math.sin(math.radians(g.tilt_deg)), math.sin(math.radians(FINE_DEG)))
    turn = next((s for s in (5.0, 10.0, 15.0, 30.0, 45.0) if s >= wide - 1e-9), 90.0)
    for tilt in (g.tilt_deg - FINE_DEG, g.tilt_deg, g.tilt_deg + FINE_DEG):
        for shift in (-turn, 0.0, turn):
            if 0.0 <= tilt <= 180.0 and (tilt, shift) != (g.tilt_deg, 0.0):
                upright = tilt in {0.0, 180.0}
                yield tilt, 0.0 if upright else (g.turn_deg + shift) % 360.0


def _alike(one: Glance, other: Glance) -> bool:
    """Whether two directions differ in nothing: a turn of something round, another side of a box."""
    pairs = zip(one[2:8], other[2:8], strict=True)
    least = ALIKE * other.section_m2
    return all(abs(a - b) <= max(ALIKE * abs(b), least if k >= 3 else 0.0) for k, (a, b) in enumerate(pairs))
