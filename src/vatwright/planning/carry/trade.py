"""What a wider thickness tolerance buys: the same plan, held to less, and the time and the chance that follow."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve

from vatwright.planning.carry.advise import Advised
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import covering, settable
from vatwright.planning.demand.outcome import margins
from vatwright.planning.demand.settle import asked_standard, carried_settle_s, least_body_settle_s
from vatwright.planning.hands.plan_by_hand import hand_plan, hands_can_help
from vatwright.records.machine import Obeys
from vatwright.records.plan import Trade
from vatwright.records.process import Settings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

TOLERANCES = (0.05, 0.1, 0.2, 0.4)
"""Tolerances that are tried, as shares of the layer [-]: from a fine fit to where only the bond counts."""

FEW = 8
"""Every so many worlds tell what moves [-]: differences need fewer than levels do."""

SETTLE = "body.settle_s"


def trade(
    case: Case, chosen: Advised, *, reach_m: float, time_s: Callable[[Settings, Floats], float]
) -> tuple[Trade, ...]:
    """Return time and chance for a few thickness tolerances, strictest first.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    chosen : Advised
        The sheet's own plan: its cover is kept.
    reach_m : float
        Rise over tan(theta) at which the hardest layer of the target lets go [m].
    time_s : callable
        How long all plates take with settings and the settle of each layer [s].

    Returns
    -------
    tuple of Trade
        None where the controller does not take a settle.  What differs from the sheet is reckoned in one of `FEW` worlds
        and added to the sheet's figures.  A wider tolerance never takes longer.
    """
    if case.job.target.controller.rule(SETTLE).obeys is Obeys.NO:
        return ()
    rows = np.arange(FEW // 2, case.worlds.count, FEW)
    few, from_s = case.few(rows), chosen.least_s["body"][0][rows]
    own = covering(chosen.ranges[SETTLE][rows], chosen.share["body"])
    was = float(
        margins(few.target_run(chosen.settings), reach_m=reach_m, settle_s=chosen.settle_s, forces=False)
        .chance()
        .mean()
    )
    found: list[Trade] = []
    for tolerance in TOLERANCES:
        job = evolve(case.job, tolerance=tolerance)
        there = evolve(few, job=job, standard=asked_standard(few.proof_standard, job))
        settings, _, settle = hand_plan(there, _wanted(there, chosen, from_s, own), chosen.share["body"])
        now = margins(there.target_run(settings), reach_m=reach_m, settle_s=settle, forces=False).chance().mean()
        mean = float(np.clip(chosen.chance + float(now) - was, 0.0, 1.0))
        to_s = min([time_s(settings, settle), *(t.to_s for t in found)])
        found.append(Trade(tolerance=tolerance, to_s=to_s, mean=mean))
    return tuple(found)


def _wanted(there: Case, chosen: Advised, from_s: Floats, own_s: float) -> Settings:
    """What base and body want with the body held to another tolerance."""
    job, wanted = there.job, chosen.wanted
    least = least_body_settle_s(there.target_run(wanted), there.standard, bond=not hands_can_help(job))
    proven_s = job.recipe.settings.value(SETTLE)
    carried = carried_settle_s(proven_s, needed_from_s=from_s, needed_to_s=least)
    sheet_s = covering(chosen.ranges[SETTLE], chosen.share["body"])
    few_more_s = sheet_s - own_s if math.isfinite(own_s) else 0.0  # no settle helps in any of the few worlds
    value = covering(carried, chosen.share["body"]) + few_more_s
    rule = job.target.controller.rule(SETTLE)
    return wanted.with_value(SETTLE, settable(max(value, 0.0), unit="s", rule=rule, proven=proven_s, up=True))
