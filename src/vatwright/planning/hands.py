"""What a person does because the controller does not: one value where two are needed, changed while it runs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve

from vatwright.planning.case import Case
from vatwright.planning.duration import layer_times
from vatwright.planning.settle import demand_s
from vatwright.planning.visits import HandSchedule, plan_visits
from vatwright.records.machine import Controller, Obeys
from vatwright.records.plan import HandPlan, Visit
from vatwright.records.process import PHASE_SETTINGS, Settings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ROUNDS = 8
"""How often the schedule is laid again after its own settles changed what the layers demand."""

SETTLE = "body.settle_s"


def hand_plan(case: Case, settings: Settings, share: float) -> tuple[Settings, HandPlan | None, Floats]:
    """Return the settings as the controller can take them, what to do by hand, and the settle each layer gets.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    settings : Settings
        What base and body want, as if the controller obeyed everything.
    share : float
        Share of the worlds to cover [-].

    Returns
    -------
    tuple
        Settings; HandPlan or None where the controller does it all; (N,) settle of each layer [s].

    Notes
    -----
    What a layer demands depends on the settles before it, so schedule and demand are found in turn; the demand only ever
    rises between rounds, which ends the search.
    """
    controller = case.job.target.controller
    settings = one_value_for_both(settings, controller)
    run = case.target_run(settings)
    rule = controller.rule(SETTLE)
    if rule.obeys is not Obeys.SHARED:
        return settings, None, run.settle_s()
    wanted = run.settle_s()
    rest = layer_times(settings, case.job.target, layers=run.layers, settle_s=np.zeros(run.layers)).layer_s
    settle = wanted
    for _ in range(ROUNDS):
        bond = np.quantile(
            demand_s(run, case.standard, settle_s=settle, bond_only=True), share, axis=0, method="inverted_cdf"
        )
        wanted = np.maximum(wanted, np.minimum(bond, rule.maximum))
        wanted[: settings.base_layers] = max(settings.base.settle_s, float(wanted[: settings.base_layers].max()))
        schedule = _schedule(case, wanted, rest)
        settle = schedule.settle_s
        if (wanted <= settle + 1e-9).all() and not (bond > settle + 1e-6).any():
            break
    given = evolve(
        settings,
        base=evolve(settings.base, settle_s=float(settle[0])),
        body=evolve(settings.body, settle_s=float(settle[-1])),
    )
    return given, _told(case, schedule, wanted, rest), settle


def one_value_for_both(settings: Settings, controller: Controller) -> Settings:
    """Return settings whose shared quantities have one value, settle apart: the one that serves both.

    The longer wait, the longer light and the higher rise serve both; of speeds the slower one does.

    Parameters
    ----------
    settings : Settings
        What base and body want.
    controller : Controller
        What it shares.

    Returns
    -------
    Settings
        With equal values in base and body where they are shared.
    """
    for setting in PHASE_SETTINGS:
        if setting.phase == "base" or setting.attribute == "settle_s":
            continue
        if controller.rule(setting.name).obeys is not Obeys.SHARED:
            continue
        both = [getattr(phase, setting.attribute) for phase in (settings.base, settings.body)]
        value = min(both) if setting.unit == "mm_s" else max(both)
        for phase in ("base", "body"):
            settings = settings.with_value(setting.name.replace("body", phase, 1), value)
    return settings


def _schedule(case: Case, wanted: Floats, rest: Floats) -> HandSchedule:
    rule, hands = case.job.target.controller.rule(SETTLE), case.job.hands
    return plan_visits(
        demand_s=wanted,
        rest_s=rest,
        minimum_s=rule.minimum,
        maximum_s=rule.maximum,
        step_s=max(rule.step, 0.1),
        visits=hands.visits if rule.live else 0,
        until_s=hands.present_s,
        late_s=hands.late_s,
        early_s=hands.early_s,
    )


def _told(case: Case, schedule: HandSchedule, wanted: Floats, rest: Floats) -> HandPlan:
    name = case.job.target.name
    saved_min = (schedule.alone_total_s - schedule.total_s) / 60.0
    if not schedule.visits:
        note = f"{name} has one settle for base and body; this one serves both."
        if not case.job.target.controller.rule(SETTLE).live:
            note += " It cannot be changed while it runs."
    else:
        note = f"{name} has one settle for base and body; changing it by hand saves {saved_min:.0f} min."
    if not schedule.covers:
        note += " Some layers need more than this machine allows."
    return HandPlan(
        start_value=float(schedule.start_s),
        setting=SETTLE,
        visits=tuple(
            Visit(
                at_s=v.at_s, layer=v.layer, setting=SETTLE, value=v.value_s, late_ok_s=v.late_ok_s, early_ok_s=v.early_ok_s
            )
            for v in schedule.visits
        ),
        total_s=schedule.total_s,
        alone_value=float(schedule.alone_s),
        alone_total_s=schedule.alone_total_s,
        obeyed_total_s=float((rest + wanted).sum()),
        covers=schedule.covers,
        note=note,
    )
