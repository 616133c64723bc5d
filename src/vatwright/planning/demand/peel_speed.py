"""How fast base and body rise while the film peels: as proven, or slower where that makes the pieces hold as asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.planning.demand.choice import settable
from vatwright.planning.demand.holding import holds_on
from vatwright.records.machine import Obeys

if TYPE_CHECKING:
    from vatwright.planning.demand.case import Case

PHASES = ("base", "body")

SLOWER = (0.7, 0.5, 0.35, 0.25)
"""Shares of the proven speed that are tried where it pulls too hard [-]; a quarter takes some sixth off the pull, and less
would hardly take more; engineering estimate."""

SETTING = "peel_speed_mm_s"


def proven_speeds(case: Case) -> dict[str, float]:
    """Return the proven peel speed of base and body [m/s]."""
    settings = case.job.recipe.settings
    return {phase: getattr(settings, phase).peel_speed_m_s for phase in PHASES}


def wanted_speeds(case: Case) -> dict[str, float]:
    """Return the peel speeds wanted on the target, the proven ones where nobody looked for others [m/s]."""
    return proven_speeds(case) | dict(case.peel_m_s)


def given_speeds(case: Case, wanted: dict[str, float]) -> dict[str, float]:
    """Return the speeds at which the target rises where these are wanted: what its controller and drive make of them."""
    controller, fastest = case.job.target.controller, case.job.target.motion.fastest_m_s
    given = {}
    for phase in PHASES:
        rule = controller.rule(f"{phase}.{SETTING}")
        value = wanted[phase]
        speed = (
            rule.fixed if rule.obeys is Obeys.NO else settable(value, unit="mm_s", rule=rule, proven=value, up=False)
        )
        given[phase] = min(speed, fastest)
    if controller.rule(f"body.{SETTING}").obeys is Obeys.SHARED:
        given = dict.fromkeys(PHASES, min(given.values()))
    return given


def peel_speeds(case: Case) -> dict[str, float]:
    """Return the peel speeds wanted on the target [m/s].

    As proven, but where the pieces of the target's plate would hold on less often than asked, and less often than the
    proven ones do: then slower in the base, in the body or in both, if that makes them hold.

    Parameters
    ----------
    case : Case
        Both studies and the worlds.

    Returns
    -------
    dict of str to float
        By phase.
    """
    proven = proven_speeds(case)
    kept = holds_on(case, given_speeds(case, proven))
    if kept >= case.job.confidence:
        return proven
    asked = min(case.job.confidence, holds_on(case, proven, proven=True))
    if kept >= asked:
        return proven
    if not _holds(case, {phase: SLOWER[-1] * speed for phase, speed in proven.items()}, asked):
        return proven  # what the slowest does not hold none in between does
    for share in SLOWER:
        for slowed in (("base",), ("body",), PHASES):
            wanted = {phase: speed * (share if phase in slowed else 1.0) for phase, speed in proven.items()}
            if _holds(case, wanted, asked):
                return wanted
    return proven


def _holds(case: Case, wanted: dict[str, float], asked: float) -> bool:
    return holds_on(case, given_speeds(case, wanted)) >= asked
