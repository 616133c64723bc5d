"""What another peel speed of the body would cost and save: rise, pull, time and chance, all else as advised."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve

from vatwright.planning.carry.advise import Advised, doubted, set_within_rules, wanted_value, with_refill
from vatwright.planning.demand.lift import release_margin
from vatwright.planning.hands.plan_by_hand import one_value_for_both
from vatwright.records.machine import Obeys
from vatwright.records.plan import PeelTrade

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from vatwright.planning.demand.case import Case
    from vatwright.records.process import Settings

    Floats = NDArray[np.float64]

SHARES = (0.5, 1.0, 2.0)
"""Speeds that are told, over the one advised [-]."""

SPEED = "body.peel_speed_mm_s"
MOVED = (SPEED, "body.peel_lift_mm", "body.clear_lift_mm")


def peel_trade(
    case: Case,
    chosen: Advised,
    *,
    needed: Callable[[Case], Mapping[str, Floats]],
    reach_m: float,
    time_s: Callable[[Settings, Floats], float],
) -> tuple[PeelTrade, ...]:
    """Return rise, pull, time and chance at half the body's peel speed, at the one advised, and at twice.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    chosen : Advised
        The sheet's own plan: its cover and its waits are kept.
    needed : callable
        What every world needs by setting name.
    reach_m : float
        Rise over tan(theta) at which the hardest layer of the target lets go [m].
    time_s : callable
        How long all plates take with settings and the settle of each layer [s].

    Returns
    -------
    tuple of PeelTrade
        Slowest first; nothing where the controller does not take a peel speed.
    """
    if case.job.target.controller.rule(SPEED).obeys is Obeys.NO:
        return ()
    own = chosen.settings.body.peel_speed_m_s
    found: dict[float, PeelTrade] = {}
    for share in SHARES:
        settings = chosen.settings if share == 1.0 else _at(case, chosen, needed, share * own)
        row = _row(case, chosen, settings, reach_m=reach_m, to_s=time_s(settings, chosen.settle_s))
        found.setdefault(row.peel_speed_m_s, row)
    return tuple(found[speed] for speed in sorted(found))


def _at(case: Case, chosen: Advised, needed: Callable[[Case], Mapping[str, Floats]], speed_m_s: float) -> Settings:
    needs = needed(evolve(case, peel_m_s=dict(case.peel_m_s) | {"body": speed_m_s}))
    settings = chosen.settings
    for name in MOVED:
        settings = set_within_rules(case, settings, name, wanted_value(name, needs[name], chosen.share["release"]))
    settings, _ = with_refill(case, settings, "body", chosen.share["release"])
    return one_value_for_both(settings, case.job.target.controller)


def _row(case: Case, chosen: Advised, settings: Settings, *, reach_m: float, to_s: float) -> PeelTrade:
    run = case.target_run(settings)
    outcome = evolve(chosen.outcome, release=release_margin(run, reach_m))
    reach = case.target_study.reach
    fronts = reach.front_m[settings.base_layers :] if reach is not None else np.zeros(0)
    return PeelTrade(
        peel_speed_m_s=settings.body.peel_speed_m_s,
        lift_m=settings.body.lift_m,
        pull_n=float(np.median(run.film("body").front_force_n_m)) * float(fronts.max(initial=0.0)),
        to_s=to_s,
        mean=doubted(float(outcome.chance().mean()), chosen.doubt),
    )
