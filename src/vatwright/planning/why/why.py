"""Why a print failed: causes ranked by what the plan's own margins say of them, and what tells the first two apart.

P(cause | seen) is summed over worlds: those of the plan, and those in which one thing was not as the records say.  Each
world counts by how likely it shows what was seen (:mod:`vatwright.planning.why.signs`) and read; what is behind it there
is asked by putting one thing at a time right.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, frozen

from vatwright.planning.carry.advise import Advised
from vatwright.planning.demand.case import Case
from vatwright.planning.why.causes import CAUSES, NO_MODEL, Cause, hand_hit
from vatwright.planning.why.evidence import speaks_against, speaks_for
from vatwright.planning.why.margins import Holds, PlatformSpot, Shows
from vatwright.planning.why.signs import Resets, Sight, by_chance, shares, sights, spot_of, together
from vatwright.planning.why.tell import expected, height_m, likelihood, sigma_of, spot_of_reading, tell_apart
from vatwright.planning.why.weighed import Weighed, every, low_corner
from vatwright.planning.why.worlds import Inquiry, RunWorlds, inquiry
from vatwright.records.run import Quantity, Reading
from vatwright.records.why import CauseFigure, Evidence, Observed, RankedCause, Remedy, Speaks, TellApart, WhySheet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SHOWN_CHANCE = 0.01
"""A cause less likely than this is not listed [-]."""

MOST = 8
"""How many causes are listed."""

HEIGHT_SPREAD_M = 2e-5
"""How much printed heights differ from run to run [m]; engineering estimate, no source."""

HEIGHT_REACH_M = 5e-4
"""Heights that nothing here describes lie anywhere within this of the nominal [m]; engineering estimate, no source."""

_SOURCES = ("reynolds:1886", "jacobs:1992", "rivlin:1944", "andrade:1930", "joe:2008", "lindley:1956",
            "practice:bench", "estimate:vatwright")  # fmt: skip


class _Seen(NamedTuple):
    """All that was seen in one group: how likely, what is behind it, and each way of each thing on its own."""

    likely: Floats
    blame: dict[str, Floats]
    ways: list[Sight]


@frozen(kw_only=True, eq=False)
class _Belief:
    """What is believed after looking: the weight of every world of every group, and how it splits.

    Parameters
    ----------
    weight : tuple of (S,) ndarray
        Of every group; all groups and `unmodelled` add up to 1 [-].
    seen : tuple of _Seen
        What was seen, of every group.
    reference : _Seen
        The same in the world where everything is as believed.
    unmodelled : float
        Chance that nothing here describes what happened [-].
    foretold : float
        Chance that a run does just this [-].
    """

    weight: tuple[Floats, ...]
    seen: tuple[_Seen, ...]
    reference: _Seen
    unmodelled: float
    foretold: float

    def of(self, cause: str) -> tuple[Floats, ...]:
        """Return how much each world of each group speaks for a cause."""
        zero = np.zeros(1)
        return tuple(w * s.blame.get(cause, zero) for w, s in zip(self.weight, self.seen, strict=True))


def why(case: Case, advised: Advised, observed: Observed, *, causes: tuple[Cause, ...] = CAUSES) -> WhySheet:
    """Return why a run failed.

    Parameters
    ----------
    case : Case
        The job and its worlds after the proven runs.
    advised : Advised
        The values the carry chose: the run was printed with them, but for `observed.settings`.
    observed : Observed
        What was seen and read.
    causes : tuple of Cause
        What may be behind it.

    Returns
    -------
    WhySheet
        Causes, likeliest first, with margins, evidence and mend, and the reading that separates the first two.

    Notes
    -----
    Several things seen at once count as independent given the world.  What was not seen counts for nothing: a run that
    failed early shows little of what comes later.

    References
    ----------
    Margins: Reynolds [reynolds:1886], Jacobs [jacobs:1992], Rivlin [rivlin:1944]. What a reading is worth: Lindley, Ann.
    Math. Stat. 27 (1956) 986-1005. [lindley:1956]
    """
    inq = inquiry(case, advised, observed.settings, causes=causes, hands=observed.hands)
    belief = _believed(inq, observed, causes)
    chances = {c.name: float(sum(w.sum() for w in belief.of(c.name))) for c in causes}
    known = sum(chances.values())
    chances[NO_MODEL.name] = belief.unmodelled + max(1.0 - belief.unmodelled - known, 0.0)
    # What is known to have gone otherwise by hand is told first: the rest is weighed beside it.
    first = "hand_late" if hand_hit(inq, observed.events) is not None else ""
    listed = (c for c in causes if chances[c.name] >= SHOWN_CHANCE or c.name == first)
    order = sorted(listed, key=lambda c: (c.name != first, -chances[c.name]))[:MOST]
    return WhySheet(
        job=case.job.name,
        machine=case.job.target.name,
        origin=case.job.origin.name,
        resin=case.job.resin.name,
        platform=case.job.target.platform,
        room_k=case.job.room_k,
        layer_m=inq.settings.layer_m,
        observed=observed,
        foretold=belief.foretold,
        causes=tuple(_ranked(inq, observed, belief, c, min(chances[c.name], 1.0)) for c in order),
        tell_apart=_telling(inq, _spot(observed), [c.name for c in order if c is not NO_MODEL], belief),
        often={c.name: c.often for c in causes if c.often},
        unused=tuple(dict.fromkeys(r.quantity for r in observed.readings if r.quantity in _UNFORETOLD)),
        hanging_known=bool(case.target_study.hanging),
        sources=_SOURCES,
    )


_UNFORETOLD = (Quantity.PULL, Quantity.STROKE, Quantity.WALL, Quantity.GAP, Quantity.PIN)
"""Readings that nothing here foretells."""


def _telling(inq: Inquiry, spot: PlatformSpot | None, modelled: Sequence[str], belief: _Belief) -> TellApart | None:
    if len(modelled) < 2:
        return None
    first, second = modelled[:2]
    weight = {c: tuple(np.broadcast_to(w, g.shape) for w, g in zip(belief.of(c), belief.weight, strict=True))
              for c in (first, second)}  # fmt: skip
    return tell_apart(inq, spot, first, second, weight)


def _spot(observed: Observed) -> PlatformSpot | None:
    spots = [spot_of(e) for e in observed.events] + [spot_of_reading(r) for r in observed.readings]
    return next((s for s in spots if s is not None), None)


# --- weighing ----------------------------------------------------------------------------------------------------------


def _believed(inq: Inquiry, observed: Observed, causes: tuple[Cause, ...]) -> _Belief:
    holds = Holds(inq)
    seen = [_seen(inq, observed, Resets(inq, g.state, causes), holds) for g in inq.groups]
    read = [_read(inq, observed, g.state) for g in inq.groups]
    joint = [
        g.often / len(r) * s.likely * r for g, s, r in zip(inq.groups, seen, read, strict=True)
    ]  # fmt: skip
    # What nothing here describes goes with any reading as an ordinary run does.
    plain = float(read[0].mean())
    unmodelled = _unmodelled(inq, observed) * plain
    foretold = float(sum((g.often * s.likely.mean()) for g, s in zip(inq.groups, seen, strict=True)))
    whole = float(sum(w.sum() for w in joint)) + unmodelled
    return _Belief(
        weight=tuple(w / whole for w in joint),
        seen=tuple(seen),
        reference=_seen(inq, observed, Resets(inq, inq.reference, causes), holds),
        unmodelled=unmodelled / whole,
        foretold=min(foretold, 1.0),
    )


def _seen(inq: Inquiry, observed: Observed, resets: Resets, holds: Holds) -> _Seen:
    state = resets.state
    found = [sights(inq, event, state, resets, holds) for event in observed.events]
    if not found:
        found = [[_height(inq, r, state, resets)] for r in observed.readings if r.quantity is Quantity.HEIGHT][:1]
    likely = np.ones(len(state.zero_m))
    blame: dict[str, Floats] = {}
    for ways in found:
        chance, behind = together(ways)
        likely = likely * chance
        for cause, share in behind.items():
            blame[cause] = blame.get(cause, np.zeros(len(share))) + share / len(found)
    return _Seen(likely, blame, [way for ways in found for way in ways])


def _height(inq: Inquiry, reading: Reading, state: RunWorlds, resets: Resets) -> Sight:
    """A height that is not the nominal one, as something seen."""
    spot = spot_of_reading(reading) or PlatformSpot(0.0, 0.0)
    sigma = math.hypot(reading.sigma, HEIGHT_SPREAD_M)

    def missed(s: RunWorlds) -> Floats:
        return np.asarray((height_m(s, spot) - reading.value) / sigma)

    nominal = float(inq.reference.run.load.layer_m.sum())
    off = height_m(state, spot) - nominal
    back = {
        cause: np.maximum(np.abs(off) - np.abs(height_m(mended, spot) - nominal), 0.0) / sigma
        for cause, mended in resets.behind(Shows.HEIGHT).items()
    }
    chance = np.exp(-0.5 * missed(state) ** 2) * 2.0 * HEIGHT_REACH_M / (sigma * math.sqrt(2.0 * math.pi))
    return Sight(chance=chance, log_margin=np.zeros(len(off)), blame=shares(back), back={}, layer=0)


def _read(inq: Inquiry, observed: Observed, state: RunWorlds) -> Floats:
    likely = np.ones(len(state.zero_m))
    for reading in observed.readings:
        if not observed.events and reading.quantity is Quantity.HEIGHT:
            continue  # it is what was seen
        found = likelihood(inq, reading, state)
        likely = likely if found is None else likely * found
    return likely


def _unmodelled(inq: Inquiry, observed: Observed) -> float:
    if not observed.events:
        return 1.0
    return math.prod(by_chance(inq, event) for event in observed.events)


# --- one cause ---------------------------------------------------------------------------------------------------------


def _ranked(inq: Inquiry, observed: Observed, belief: _Belief, cause: Cause, chance: float) -> RankedCause:
    if cause is NO_MODEL:
        told = (Evidence(code=Speaks.NOTHING_ELSE),) if chance > 0.5 else ()
        return RankedCause(cause=cause.name, chance=chance, speaks_for=told, mend=Remedy(minutes=cause.minutes))
    weighed = _weigh(inq, observed, belief, cause)
    return RankedCause(
        cause=cause.name,
        chance=chance,
        margin_believed=weighed.margin_believed,
        margin=weighed.margin,
        layer=weighed.layer,
        area_times=_area_times(inq, weighed.layer),
        figure=_figure(inq, cause, weighed),
        speaks_for=tuple(speaks_for(inq, cause, weighed)),
        speaks_against=tuple(speaks_against(inq, cause, weighed)),
        mend=evolve(cause.mend(inq, observed, weighed), minutes=cause.minutes),
    )


def _area_times(inq: Inquiry, layer: int) -> float:
    """The area of a layer over that of the one before it [-]."""
    area = inq.case.target_study.area_m2
    before = float(area[layer - 1]) if layer else 0.0
    return float(area[layer]) / before if before > 0.0 else 1.0


def _figure(inq: Inquiry, cause: Cause, weighed: Weighed) -> CauseFigure | None:
    if cause.number is None:
        return None
    value, spot = cause.number.of(inq, weighed), low_corner(inq, weighed)
    values = every(inq, value)
    low, middle, high = (weighed.quantile(values, share) for share in (0.05, 0.5, 0.95))
    return CauseFigure(
        what=cause.number.what, unit=cause.number.unit, believed=float(value(inq.reference)[0]), low=low, middle=middle,
        high=high, layer=weighed.layer, x_m=spot.x_m, y_m=spot.y_m,
    )  # fmt: skip


def _weigh(inq: Inquiry, observed: Observed, belief: _Belief, cause: Cause) -> Weighed:
    weight = np.concatenate(
        [np.broadcast_to(w, g.shape) for w, g in zip(belief.of(cause.name), belief.weight, strict=True)]
    )
    best = _way_of(belief, cause)
    ways = [s.ways[best] for s in belief.seen]
    reference = belief.reference.ways[best]
    log_margin = np.concatenate([w.log_margin for w in ways])
    zero = np.zeros(len(belief.weight[0]))
    back = np.concatenate([w.back.get(cause.name, zero) for w in ways])
    judged = bool(ways[0].back)
    weighed = Weighed(
        spot=_spot(observed),
        event=observed.events[0] if observed.events else None,
        layer=reference.layer,
        weight=weight,
        margin_believed=math.exp(float(reference.log_margin[0])) if judged else None,
        margin=None,
        margin_mended=None,
        times_likelier=_times_likelier(inq, belief, cause),
        readings=(),
    )
    if judged:
        margin = math.exp(weighed.middle(log_margin))
        mended = math.exp(weighed.middle(log_margin + back)) if back.any() else None
        weighed = weighed._replace(margin=margin, margin_mended=mended)
    return weighed._replace(readings=tuple(_compared(inq, weighed, r) for r in observed.readings))


def _way_of(belief: _Belief, cause: Cause) -> int:
    """The way in which a cause mostly led to what was seen."""
    counts = [
        sum(
            float((w * s.ways[k].chance * s.ways[k].blame.get(cause.name, np.zeros(1))).sum())
            for w, s in zip(belief.weight, belief.seen, strict=True)
        )
        for k in range(len(belief.seen[0].ways))
    ]
    return int(np.argmax(counts))


def _times_likelier(inq: Inquiry, belief: _Belief, cause: Cause) -> float | None:
    """How much likelier what was seen is where this departs from the records than in an ordinary run."""
    mine = [k for k, g in enumerate(inq.groups) if g.departure == cause.name]
    if not mine:
        return None
    often = sum(inq.groups[k].often for k in mine)
    here = sum(float(belief.weight[k].sum()) for k in mine) / often
    return here / max(float(belief.weight[0].sum()) / inq.groups[0].often, 1e-12)


def _compared(inq: Inquiry, weighed: Weighed, reading: Reading) -> tuple[Reading, float | None, float]:
    """A reading, the middle of what it would show under this cause, and how many standard uncertainties it is off."""
    shown = [expected(inq, reading, g.state) for g in inq.groups]
    if any(s is None for s in shown):
        return reading, None, 0.0
    middle = weighed.middle(np.concatenate([s for s in shown if s is not None]))
    sigma = float(sigma_of(reading, np.array([middle]))[0])
    return reading, middle, abs(reading.value - middle) / sigma
