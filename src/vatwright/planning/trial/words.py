"""How to print and read each trial, and what its readings mean, in plain sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from vatwright.planning.demand.exposure import curve_is_known
from vatwright.records.machine import Machine, Obeys
from vatwright.records.process import PHASE_SETTINGS, Settings
from vatwright.records.trial import TrialKind

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from vatwright.records.job import Job

    Floats = NDArray[np.float64]


class TrialWords(NamedTuple):
    """How to print it, how to read it, what readings mean, what to take care of; a sentence each."""

    print_it: tuple[str, ...]
    read_it: tuple[str, ...]
    tells: tuple[str, ...]
    cautions: tuple[str, ...]


def trial_words(kind: TrialKind, settings: Settings, name: str) -> TrialWords:
    """Return the words of a trial, printed with these settings on the machine of that name."""
    layer_um = settings.layer_m * 1e6
    if kind is TrialKind.SETTLE_STEPS:
        return TrialWords(
            ("Print it where the file has it: no supports, no raft, nothing else on the plate.",),
            (
                "Take it off, wash and dry it. Cure it a little, no more: it must not warp.",
                "Measure the height of each ledge over the foot with a micrometer, at three places round; note the mean.",
            ),
            (
                (
                    f"A ledge that stands higher than its layers of {layer_um:.0f} um make was held up by the resin under it: "
                    f"the arm was not at rest after {settings.body.settle_s:.1f} s."
                ),
                "The first layer adds the same to all: what counts is how much the wide ledges stand higher than the last.",
                (
                    "Higher wide ledges: a softer arm or thicker resin. All alike: the arm is stiffer than believed, and the "
                    "settle has room to spare."
                ),
            ),
            (),
        )
    if kind is TrialKind.RELEASE_SPAN:
        rise_mm = settings.body.lift_m * 1e3
        return TrialWords(
            (
                f"Set the whole rise of the body to {rise_mm:.1f} mm, in one slow stage: on purpose too little for the middle.",
                "Print the posts where the file has them: each stands at its own distance from the frame.",
            ),
            (
                "Look which posts are whole and which are short or have a hollow end; note the height of each.",
                "Or listen: note the rise at which the film of each region lets go.",
            ),
            (
                (
                    f"The last whole post stands at s1 from the frame, the first short one at s2: the film lets go at "
                    f"{rise_mm:.1f} mm / s1 to {rise_mm:.1f} mm / s2, its rise over its distance."
                ),
                "All whole: it lets go earlier than any believed. None whole: later; tighten or change the film.",
            ),
            ("Short posts leave cured flakes in the vat: filter the resin and look through the film afterwards.",),
        )
    if kind is TrialKind.CURE_DEPTH:
        return TrialWords(
            (
                "Take the platform off, and make sure that nothing of the arm comes near the film. Pour 2 mm of resin.",
                (
                    f"Every layer lights for {settings.body.exposure_s:.1f} s; the squares stop one by one, so each gets "
                    "1, 2, 4, 8 or 16 times that dose."
                ),
            ),
            (
                "Lift each square off the film with a plastic card, wipe it on paper, do not cure it on.",
                "Measure its thickness with a micrometer, lightly; leave out what did not cure.",
            ),
            (
                "Each doubling of the dose adds 0.69 D_p: the slope of depth over ln(dose) is D_p.",
                "Where that line meets zero depth is the critical dose E_c.",
                "All squares thinner by the same amount: less light, or a resin that wants more. Both count the same here.",
            ),
            ("The light shines with no platform above it: keep the lid closed, never look in.",),
        )
    if kind is TrialKind.BASE_BOND:
        return TrialWords(
            (
                "Print the cones as they stand: their feet get wider from one to the next, their heads are alike.",
                "Stay near: a cone that lets go lies on the film. Stop the run when the last one is out.",
            ),
            (
                "Note how tall each cone grew before it let go: measure it where it lies. A whole one has its full height.",
            ),
            (
                "A cone lets go where the pull of its front, tension x sin(angle) x its width there, exceeds bond x foot.",
                "The widest foot that let go and the narrowest that held are the ends of the range of the bond.",
            ),
            ("Cones that let go lie on the film: fish them out with a plastic card and filter the resin.",),
        )
    return TrialWords(
        (f"Print the five pads: {settings.base_layers} base layers, light and settle as in the base of every run.",),
        (
            "Leave the platform as it is, pry the pads off, wipe them, and measure each with a micrometer at three places.",
            f"Write down which is which: seen standing in front of {name}.",
        ),
        (
            (
                f"A pad's thickness less {(settings.base_layers - 1) * layer_um:.0f} um is the first gap at its place: "
                "vatwright level --method print takes these as readings."
            ),
            "Differences between pads are tilt and twist; what all share is the zero and a settle that was short.",
            "A pad that is missing did not bond there: its gap was deeper than the light.",
        ),
        (),
    )


def by_hand(settings: Settings, machine: Machine, starts_s: Floats) -> tuple[str, ...]:
    """Return what a person sets during the run because the controller shares it between base and body."""
    told = []
    for setting in PHASE_SETTINGS:
        rule = machine.controller.rule(setting.name)
        base, body = (getattr(p, setting.attribute) for p in (settings.base, settings.body))
        if setting.phase == "base" and rule.obeys is Obeys.SHARED and rule.live and base != body:
            n = min(settings.base_layers, len(starts_s) - 1)
            factor = 1.0 if setting.unit == "s" else 1e3
            told.append(
                f"{machine.name} has one {setting.label} for base and body: start with {base * factor:.1f} and set "
                f"{body * factor:.1f} by hand at layer {n}, about {float(starts_s[n]) / 60.0:.0f} min after the start."
            )
    return tuple(told)


def assumed(job: Job) -> tuple[str, ...]:
    """Return what a trial rests on."""
    told = []
    if job.origin != job.target:
        told.append(
            f"No recipe is proven on {job.target.name}: the settings are those of {job.recipe.name!r}, carried to it."
        )
    if not curve_is_known(job.resin):
        told.append(f"Nobody measured how deep {job.resin.name} cures: the light is carried by dose alone.")
    return (*told, "Ranges are 5 % to 95 % of what is believed after the proven runs.")
