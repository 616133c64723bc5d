"""Why a value is what it is, in one plain sentence, and where its numbers come from."""

from __future__ import annotations

import numpy as np

from vatwright.planning.demand.case import Case
from vatwright.planning.demand.exposure import both_lights_guessed, curve_belief
from vatwright.planning.demand.narrowing import CURE_SQUARES
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.planning.demand.unknowns import PEEL_ANGLE_RAD, SPEED_EXPONENT
from vatwright.records.job import Job
from vatwright.records.machine import Backing, Obeys
from vatwright.records.plan import EVEN, HandPlan, Measurement, Outlook, Risk, Success
from vatwright.records.process import Settings
from vatwright.records.sourced import Sourced
from vatwright.units import ZERO_CELSIUS_K
from vatwright.wording import to_join, to_say, to_say_many

ALIKE = 0.03
"""Ratios closer to one than this are called the same [-]."""


def verdict(
    outlook: Outlook,
    *,
    success: Success,
    at_odds: tuple[str, ...],
    watch: tuple[Risk, ...],
    hand: HandPlan | None,
    measure: tuple[Measurement, ...],
    proven: bool = True,
    thick: int = 0,
) -> str:
    """Return the verdict in a sentence or two; nothing where the resin's warmth alone decides.

    Parameters
    ----------
    outlook : Outlook
        The verdict as a code.
    success : Success
        Chance that the run holds, with its range.
    at_odds : tuple of str
        What the proof contradicts.
    watch : tuple of Risk
        Risks, likeliest first.
    hand : HandPlan or None
        What is done by hand.
    measure : tuple of Measurement
        Readings worth taking, best first.
    proven : bool
        Whether anybody ever ran what it starts from.
    thick : int
        Layers that come out thicker than the job allows, where more do than may.
    """
    first = to_say("First {reading}.", reading=measure[0].reading) if measure else ""
    worst = watch[0] if watch else None
    because = () if worst is None else (worst.what, worst.do)
    least = to_say("it may be as few as {low:.0f} runs in 100", low=success.low * 100.0)
    doubt = least if proven else to_say("nobody ran this yet: {least}", least=least)
    count = 0 if hand is None else len(hand.visits)
    untrue = said_too_thick(thick) if thick else ""
    said = {
        Outlook.HOLDS: (_will_hold(count), untrue),
        Outlook.UNSURE: (_should_hold(count, doubt), untrue, first),
        Outlook.LIKELY: (to_say("Likely to hold, but too little is known to count on it."), first),
        Outlook.KNOWN_TOO_LITTLE: (
            to_say("Too little is known about this resin to count on it."),
            to_say("First {reading}.", reading=CURE_SQUARES),
        ),
        Outlook.AT_ODDS: at_odds[-1:],
        Outlook.NOT_SAFE: (
            to_say("Not safe yet.") if success.mean >= EVEN else to_say("Do not print it like this."),
            *because,
        ),
    }
    return to_join(said.get(outlook, ()))


def said_too_thick(layers: int) -> str:
    """Return that so many layers are thicker than the job allows."""
    return to_say_many(
        layers,
        "{n} layer comes out thicker than you allow.",
        "{n} layers come out thicker than you allow.",
    )


def _will_hold(visits: int) -> str:
    if not visits:
        return to_say("Will hold.")
    return to_say_many(
        visits,
        "Will hold, with {count} visit to the machine.",
        "Will hold, with {count} visits to the machine.",
        count=_count(visits),
    )


def _should_hold(visits: int, doubt: str) -> str:
    if not visits:
        return to_say("Should hold, but {doubt}.", doubt=doubt)
    return to_say_many(
        visits,
        "Should hold, with {count} visit to the machine, but {doubt}.",
        "Should hold, with {count} visits to the machine, but {doubt}.",
        count=_count(visits),
        doubt=doubt,
    )


COUNTS = (
    to_say("no"), to_say("one"), to_say("two"), to_say("three"), to_say("four"), to_say("five"), to_say("six"),
    to_say("seven"), to_say("eight"), to_say("nine"), to_say("ten"),
)  # fmt: skip
"""Numbers that are said in letters."""


def _count(number: int) -> str:
    return COUNTS[number] if number < len(COUNTS) else str(number)


def reason(case: Case, settings: Settings, name: str, *, hand: HandPlan | None) -> str:
    """Return why the setting called `name` has the advised value, in one sentence."""
    proven, value = case.job.recipe.settings.value(name), settings.value(name)
    rule = case.job.target.controller.rule(name)
    if rule.obeys is Obeys.NO:
        return to_say("{name} ignores it and does this whatever is set.", name=case.job.target.name)
    if (
        hand is not None
        and name.rsplit(".", maxsplit=1)[-1] == hand.setting.split(".")[-1]
        and hand.visits
        and "." in name
    ):
        return to_say("{physics} Set by hand as scheduled.", physics=_physics(case, settings, name))
    if rule.obeys is Obeys.SHARED and "." in name and not name.endswith("layers"):
        return to_say("{physics} One value serves base and body.", physics=_physics(case, settings, name))
    if value in {rule.minimum, rule.maximum} and value != proven:
        because = _physics(case, settings, name)
        return to_say("As far as {name} goes; {because!l}", name=case.job.target.name, because=because)
    return _physics(case, settings, name) if value != proven else _unchanged(case, settings, name)


def _unchanged(case: Case, settings: Settings, name: str) -> str:
    if not case.job.recipe.tried:
        return to_say("As common practice sets it on a machine of this size.")
    if name in {"base.layers", "ramp.layers", "layer_mm"}:
        return to_say("Kept as proven.")
    if case.job.origin == case.job.target and case.job.room_k == case.job.recipe.proof.room_k:
        return to_say("Proven on this machine.")
    quantity = name.split(".")[1]
    if quantity == "settle_s":
        return to_say("Kept as proven; {squeeze}.", squeeze=_squeeze(case, name))
    if quantity.endswith("lift_mm"):
        return to_say("Kept as proven; {window}.", window=_window(case, settings, name))
    if quantity == "exposure_s":
        return to_say("Kept as proven; {light}.", light=_light(case))
    return to_say("Kept as proven: nothing between the machines changes it.")


def _physics(case: Case, settings: Settings, name: str) -> str:
    quantity = name.rsplit(".", maxsplit=1)[-1]
    if name == "ramp.layers":
        return to_say("As this job asks: more light for the layers after the base, where the whole platform squeezes.")
    if quantity == "settle_s":
        return _sentence(_squeeze(case, name))
    if quantity == "exposure_s":
        return _sentence(_light(case))
    if quantity == "peel_lift_mm":
        return _sentence(
            to_say("{window}; the slow part of the lift grows in step", window=_window(case, settings, name))
        )
    if quantity == "clear_lift_mm":
        return _sentence(
            to_say(
                "{window}; the fast part clears the parts by as much as before", window=_window(case, settings, name)
            )
        )
    if quantity == "refill_s":
        return to_say("Resin has further to flow back under the middle at this rise.")
    if quantity == "peel_speed_mm_s" and _slowed(case, settings, name):
        return _sentence(
            to_say("slower than proven: at that speed the film would pull pieces off more often than you accept")
        )
    if quantity.endswith("speed_mm_s"):
        return to_say("As fast as the machine allows, no faster than proven.")
    return to_say("Kept as proven.")


def _sentence(text: str) -> str:
    return to_say("{text!c}.", text=text)


def _squeeze(case: Case, name: str) -> str:
    """What differs in the squeeze: torsion constant, viscosity, stiffness."""
    worlds = case.worlds
    if name.startswith("base"):
        a, b = case.proven.load.platform_torsion_m4[0], case.target_load.platform_torsion_m4[0]
        what = to_say("in the base, resin from under the whole platform leaves")
    else:
        a, b = (float(s.torsion_m4.max()) for s in (case.proven_study, case.target_study))
        what = to_say("resin from under the plate's widest layer leaves")
    tried = case.job.recipe.tried
    if not tried:
        what = to_say("against a common load, {what}", what=what)
    parts = [to_join((what, _as_slowly(b / a) if a > 0.0 else ""))]
    thicker = float(np.median(worlds.target.viscosity_pa_s / worlds.origin.viscosity_pa_s))
    if abs(thicker - 1.0) > ALIKE:
        cold = case.job.room_k < case.job.recipe.proof.room_k and case.job.resin == case.job.resin_from
        parts.append(
            to_say("the colder resin is {times} as thick", times=_times(thicker))
            if cold
            else to_say("the resin is {times} as thick", times=_times(thicker))
        )
    if case.job.origin != case.job.target:
        stiffer = float(np.median(worlds.target.stiffness_n_m / worlds.origin.stiffness_n_m))
        parts.append(
            to_say("the arm is about as stiff")
            if abs(stiffer - 1.0) <= 0.15
            else to_say("the arm is {times} as stiff", times=_times(stiffer))
        )
    spare = to_say("the proven recipe's spare wait is kept")
    parts.append(spare if tried else to_say("the spare wait of common practice is kept"))
    if case.job.target.film.backing is not Backing.GLASS:
        parts.append(to_say("its film gives and pushes back softly"))
    return to_join(parts, "; ")


def _times(ratio: float) -> str:
    if abs(ratio - 1.0) <= ALIKE:
        return to_say("just")
    return to_say("{ratio:.2g} times", ratio=ratio) if ratio < 9.5 else to_say("{ratio:.0f} times", ratio=ratio)


def _as_slowly(ratio: float) -> str:
    """How much more slowly, or faster, resin leaves where it has so many times the resistance."""
    if abs(ratio - 1.0) <= ALIKE:
        return to_say("as fast as before")
    return (
        to_say("{times} as slowly", times=_times(ratio))
        if ratio > 1.0
        else to_say("{times} as fast", times=_times(1.0 / ratio))
    )


def _light(case: Case) -> str:
    if both_lights_guessed(case.job):
        return to_say("nobody read the light of either machine, so the seconds stay")
    ratio = float(np.median(case.worlds.target.irradiance_w_m2 / case.worlds.origin.irradiance_w_m2))
    ratio *= case.light_to.dimmest / case.light_from.dimmest
    percent = round(abs(ratio - 1.0) * 100.0)
    how = to_say("same dose where it is dimmest")
    if percent < 1:
        return to_say("{how}: the light there is the same", how=how)
    meter = _by_which_meter(case.job)
    if ratio > 1.0:
        return to_say("{how}: the light there is {percent} % brighter {meter}", how=how, percent=percent, meter=meter)
    return to_say("{how}: the light there is {percent} % dimmer {meter}", how=how, percent=percent, meter=meter)


def _by_which_meter(job: Job) -> str:
    a, b = (m.light for m in (job.origin, job.target))
    if a.meter and a.meter == b.meter:
        return to_say("by your meter")
    if a.meter and b.meter:
        return to_say("by two meters, whose errors do not cancel")
    return to_say("as far as known")


def _slowed(case: Case, settings: Settings, name: str) -> bool:
    """Whether the machine could rise as fast as proven."""
    rule, proven = case.job.target.controller.rule(name), case.job.recipe.settings.value(name)
    goes = rule.obeys is not Obeys.NO and rule.minimum <= proven <= rule.maximum
    return goes and settings.value(name) < proven


def _window(case: Case, settings: Settings, name: str) -> str:
    proven, target = (s.reach for s in (case.proven_study, case.target_study))
    assert proven is not None and target is not None  # noqa: S101, PT018 - carry() refused studies without reach
    ratio = float(target.reach_m.max() / proven.reach_m.max())
    speed = _speed(case, settings, name.split(".", maxsplit=1)[0])
    if not case.job.recipe.tried:
        return to_say("a film just as tight lets go of this plate at {ratio:.2g} times the common rise", ratio=ratio)
    if abs(ratio - 1.0) <= ALIKE:
        return to_say("a film just as tight lets go of this plate at the same rise as before{speed}", speed=speed)
    return to_say(
        "a film just as tight lets go of this plate at {ratio:.2g} times the proven rise{speed}",
        ratio=ratio,
        speed=speed,
    )


def _speed(case: Case, settings: Settings, phase: str) -> str:
    """What another peel speed than the proven one makes of the angle at which the film lets go; empty where it is the same."""
    fastest_m_s = case.job.target.motion.fastest_m_s
    before_m_s, now_m_s = (getattr(s, phase).peel_speed_m_s for s in (case.job.recipe.settings, settings))
    if before_m_s == now_m_s:
        return ""
    before, now = (case.worlds.target.peeling(v) for v in (before_m_s, min(now_m_s, fastest_m_s)))
    angle = float(np.median(now.tan_angle / before.tan_angle))
    return to_say(
        "; peeled {times} as fast, it lets go at {angle:.2g} times the angle",
        times=_times(now_m_s / before_m_s),
        angle=angle,
    )


def sources(name: str, job: Job) -> tuple[str, ...]:
    """Return the keys of what stands behind the advice on a setting."""
    quantity = name.rsplit(".", maxsplit=1)[-1]
    if quantity == "settle_s":
        keys = ["reynolds:1886", "stefan:1874", job.origin.stiffness_n_m.source, job.target.stiffness_n_m.source]
        keys.append(viscosity_belief(job.resin).viscosity_pa_s.source)
    elif quantity == "exposure_s":
        light = (job.origin.light.irradiance_w_m2.source, job.target.light.irradiance_w_m2.source)
        keys = ["jacobs:1992", "feng:2007", *light]
    elif quantity in {"peel_lift_mm", "clear_lift_mm"}:
        keys = ["rivlin:1944", "kendall:1975", PEEL_ANGLE_RAD.source, job.target.film.tension_n_m.source]
    elif quantity == "peel_speed_mm_s":
        keys = ["user:statement", "maugis:1978", SPEED_EXPONENT.source]
    elif quantity == "refill_s":
        keys = ["estimate:vatwright"]
    else:
        keys = ["user:statement"]
    return tuple(dict.fromkeys(keys))


def kind_of(field: str, job: Job) -> str:
    """Return what stands behind an unknown that no machine record states."""
    return _stated(field, job).kind.value


def source_of(field: str, job: Job) -> str:
    """Return the source key of an unknown that no machine record states."""
    return _stated(field, job).source


def _stated(field: str, job: Job) -> Sourced:
    if field == "viscosity_pa_s":
        return viscosity_belief(job.resin).viscosity_pa_s
    if field == "angle_rad":
        return PEEL_ANGLE_RAD
    curve = curve_belief(job.resin)
    return curve.depth_m if field == "curve_depth_m" else curve.critical_j_m2


def celsius(temperature_k: float) -> str:
    """Return a temperature for a sentence."""
    return f"{temperature_k - ZERO_CELSIUS_K:.0f} C"
