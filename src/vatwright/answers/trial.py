"""A trial piece in words: what it tells, how to print and read it, and what its readings mean."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.blocks import Answer, Column, Figure, Part, Row, Source, Table, Working, points, said
from vatwright.answers.names import capital, setting_called
from vatwright.answers.numbers import (
    bench,
    celsius,
    duration,
    fixed,
    one_line,
    percent,
    quantity,
    resin_volume,
    setting_value,
    unit_label,
)
from vatwright.answers.settings import setting_label
from vatwright.records.process import SETTING_NAMES
from vatwright.records.run import DETAILS
from vatwright.records.trial import DETAIL_M, TrialKind
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.trial import SharedByHand, Trial, TrialPiece

EVEN = 0.5
"""A trial that comes out less often than this is not worth its resin; a choice of ours."""


class TrialWords(NamedTuple):
    """How to print it, how to read it, what readings mean, what to take care of, and what a piece's chance is of."""

    print_it: tuple[str, ...]
    read_it: tuple[str, ...]
    tells: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    chance: str = ""


TRIALS = {
    TrialKind.SETTLE_STEPS: TrialWords(
        (to_say("Print it where the file has it: no supports, no raft, nothing else on the plate."),),
        (
            to_say("Take it off, wash and dry it. Cure it a little, no more: it must not warp."),
            to_say(
                "Measure the height of each ledge over the foot with a micrometer, at three places "
                "round; note the mean."
            ),
        ),
        (
            (
                to_say(
                    "A ledge that stands higher than its layers of {layer} make was held up by the resin "
                    "under it: the arm was not at rest after {settle}."
                )
            ),
            to_say(
                "The first layer adds the same to all: what counts is how much the wide ledges stand "
                "higher than the last."
            ),
            (
                to_say(
                    "Higher wide ledges: a softer arm or thicker resin. All alike: the arm is stiffer "
                    "than believed, and the settle has room to spare."
                )
            ),
        ),
        chance=to_say("half a layer too high"),
    ),
    TrialKind.RELEASE_SPAN: TrialWords(
        (
            to_say(
                "Set the whole rise of the body to {rise}, in one slow stage: on purpose too little for the middle."
            ),
            to_say("Print the posts where the file has them: each stands at its own distance from the frame."),
        ),
        (
            to_say("Look which posts are whole and which are short or have a hollow end; note the height of each."),
            to_say("Or listen: note the rise at which the film of each region lets go."),
        ),
        (
            (
                to_say(
                    "The last whole post stands at s1 from the frame, the first short one at s2: the "
                    "film lets go at {rise} / s1 to {rise} / s2, its rise over its distance."
                )
            ),
            to_say("All whole: it lets go earlier than any believed. None whole: later; tighten or change the film."),
        ),
        (to_say("Short posts leave cured flakes in the vat: filter the resin and look through the film afterwards."),),
        chance=to_say("whole"),
    ),
    TrialKind.CURE_DEPTH: TrialWords(
        (
            to_say(
                "Take the platform off, and make sure that nothing of the arm comes near the film. Pour 2 mm of resin."
            ),
            to_say(
                "Every layer lights for {light}; the squares stop one by one, so each gets 1, 2, 4, "
                "8 or 16 times that dose."
            ),
        ),
        (
            to_say("Lift each square off the film with a plastic card, wipe it on paper, do not cure it on."),
            to_say("Measure its thickness with a micrometer, lightly; leave out what did not cure."),
        ),
        (
            to_say("Each doubling of the dose adds 0.69 D_p: the slope of depth over ln(dose) is D_p."),
            to_say("Where that line meets zero depth is the critical dose E_c."),
            to_say(
                "All squares thinner by the same amount: less light, or a resin that wants more. "
                "Both count the same here."
            ),
        ),
        (to_say("The light shines with no platform above it: keep the lid closed, never look in."),),
    ),
    TrialKind.BASE_BOND: TrialWords(
        (
            to_say("Print the cones as they stand: their feet get wider from one to the next, their heads are alike."),
            to_say("Stay near: a cone that lets go lies on the film. Stop the run when the last one is out."),
        ),
        (
            to_say(
                "Note how tall each cone grew before it let go: measure it where it lies. A whole "
                "one has its full height."
            ),
        ),
        (
            to_say(
                "A cone lets go where the pull of its front, tension x sin(angle) x its width there, "
                "exceeds bond x foot."
            ),
            to_say("The widest foot that let go and the narrowest that held are the ends of the range of the bond."),
        ),
        (to_say("Cones that let go lie on the film: fish them out with a plastic card and filter the resin."),),
        chance=to_say("whole"),
    ),
    TrialKind.LEVEL_CHECK: TrialWords(
        (to_say("Print the five pads: {base_layers} base layers, light and settle as in the base of every run."),),
        (
            to_say(
                "Leave the platform as it is, pry the pads off, wipe them, and measure each with a "
                "micrometer at three places."
            ),
            to_say("Write down which is which: seen standing in front of {machine}."),
        ),
        (
            (
                to_say(
                    "A pad's thickness less {later_layers} is the first gap at its place: vatwright "
                    "level --method print takes these as readings."
                )
            ),
            to_say(
                "Differences between pads are tilt and twist; what all share is the zero and a settle that was short."
            ),
            to_say("A pad that is missing did not bond there: its gap was deeper than the light."),
        ),
        chance=to_say("bonds"),
    ),
    TrialKind.DETAIL_LADDER: TrialWords(
        (to_say("Print it where the file has it: no supports, no raft, nothing else on the plate."),),
        (
            to_say(
                "Wash it gently, in two baths, and dry it: a brush takes thin walls and pins off. Do not cure it on."
            ),
            (
                to_say(
                    "On each tread, with a lens: the thinnest wall and the thinnest pin that stand "
                    "whole, and the narrowest gap that light shines through. Note their widths as drawn; "
                    "leave open what none did."
                )
            ),
            to_say("Walls and gaps are drawn {sizes} um wide, from left to right; pins are twice as thick."),
        ),
        (
            (
                to_say(
                    "The tread where walls and gaps of one width both come out has the light for detail: "
                    "more closes gaps, less loses walls."
                )
            ),
            (
                to_say(
                    "How far the finest wall and gap move from tread to tread tells the blur of an edge; "
                    "where they stand, the dose that this resin needs."
                )
            ),
            (
                to_say(
                    "Every tread alike: the blur decides, not the light. No tread with a wall: more "
                    "light, or a measured cure depth first."
                )
            ),
        ),
        chance=to_say("shows on the ladder"),
    ),
}
"""The words of every trial; common practice, no source."""

UNKNOWNS = {
    "release": to_say("rise at which a place lets go, over its distance to the frame"),
    "curve_depth": to_say("depth of the working curve"),
    "curve_dose": to_say("critical dose of the working curve"),
    "stiffness": to_say("stiffness of arm and screen, at the viscosity believed"),
    "bond": to_say("stress at which a foot peels off the platform"),
    "unlevel": to_say("extra gap under the worst corner"),
    "blur": to_say("blur of an edge"),
}
"""What a trial tells."""

RANGES = to_say("Ranges are 5 % to 95 % of what is believed after the proven runs.")


def trial_answer(trial: Trial, *, cite: Callable[[str], str]) -> Answer:
    """Return a trial in words.

    Parameters
    ----------
    trial : Trial
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    settings = Working(say("Settings; a star marks those that are not as in every run"), (_settings(trial),))
    return Answer(
        name="trial",
        title=capital(one_line(trial.name)),
        blocks=(
            *said(warning(trial), role="refusal"),
            *said(lead(trial), role="verdict"),
            *said(cost(trial)),
        ),
        pages=(
            Part(
                slug="print",
                title=say("How do I print it?"),
                blocks=(*points(print_it(trial)), picture(trial), settings),
            ),
            Part(slug="care", title=say("Take care"), blocks=points(cautions(trial))),
            Part(slug="read", title=say("How do I read it?"), blocks=(*points(read_it(trial)), _pieces(trial))),
            Part(slug="tells", title=say("What does it tell?"), blocks=points((*believed(trial), *tells(trial)))),
            Part(slug="assumed", title=say("What it rests on"), blocks=points(assumed(trial))),
            Part(slug="sources", title=say("Sources"), blocks=tuple(Source(key, cite(key)) for key in trial.sources)),
        ),
    )


def lead(trial: Trial) -> str:
    """Return what a trial is."""
    what = say(" and the ").join(say(UNKNOWNS[u.what]) for u in trial.unknowns)
    names = say(
        "{machine} with {resin} at {room}",
        machine=one_line(trial.machine),
        resin=one_line(trial.resin),
        room=celsius(trial.room_k),
    )
    return say(
        "{capital} for {names}: tells the {what}.",
        capital=capital(trial.kind.value.replace("-", " ")),
        names=names,
        what=what,
    )


def cost(trial: Trial) -> str:
    """Return what a trial costs and how likely it comes out."""
    holds = "" if trial.holds is None else say(" It comes out in {holds} of cases.", holds=percent(trial.holds))
    return say(
        "{time}, {layers} layers, about {resin} of resin.{holds}",
        time=duration(trial.time_s),
        layers=trial.layers,
        resin=resin_volume(trial.resin_m3),
        holds=holds,
    )


def warning(trial: Trial) -> str:
    """Return that a trial would more often fail than come out, and what to do instead; empty where it comes out."""
    if trial.holds is None or trial.holds >= EVEN:
        return ""
    first = (
        say("Warm the resin first, or let it settle longer")
        if trial.curve_known
        else say(
            "Print the cure-depth trial first: nobody measured how deep {resin} cures, it needs "
            "no platform, and this one is sized anew by what it tells",
            resin=one_line(trial.resin),
        )
    )
    return say("Not yet: it comes out in only {holds} of cases. {first}.", holds=percent(trial.holds), first=first)


def print_it(trial: Trial) -> tuple[str, ...]:
    """Return how to print a trial, and what to set by hand meanwhile."""
    hands = (_by_hand(trial, h) for h in trial.by_hand)
    return (*_filled(trial, TRIALS[trial.kind].print_it), *hands, *filter(None, (_lights(trial),)))


def _lights(trial: Trial) -> str:
    """The lights of a ladder: set by hand from layer to layer, or each a print of its own; empty where there is one light."""
    if not trial.rungs:
        return ""
    name = "body.exposure_s"
    first, *others = trial.rungs
    if first.layer is None:
        each = ", ".join(setting_value(name, r.exposure_s) for r in trial.rungs)
        return say(
            "{machine} keeps one light through a run: print the file {rungs} times, with a body exposure of {each}.",
            machine=one_line(trial.machine),
            rungs=len(trial.rungs),
            each=each,
        )
    steps = "; ".join(
        say(
            "{light} at layer {layer}, about {at} after the start",
            light=setting_value(name, r.exposure_s),
            layer=r.layer,
            at=duration(r.at_s),
        )
        for r in others
    )
    return say(
        "Start with a body exposure of {name} and set it by hand: {steps}.",
        name=setting_value(name, first.exposure_s),
        steps=steps,
    )


def read_it(trial: Trial) -> tuple[str, ...]:
    """Return how to read a trial."""
    return _filled(trial, TRIALS[trial.kind].read_it)


def tells(trial: Trial) -> tuple[str, ...]:
    """Return what the readings of a trial mean."""
    return _filled(trial, TRIALS[trial.kind].tells)


def cautions(trial: Trial) -> tuple[str, ...]:
    """Return what to take care of."""
    return (*TRIALS[trial.kind].cautions, *trial.cautions)


def _filled(trial: Trial, texts: tuple[str, ...]) -> tuple[str, ...]:
    settings = trial.settings
    numbers = {
        "layer": f"{fixed(bench(settings.layer_m, 'um'), 0)} um",
        "later_layers": f"{fixed(bench((settings.base_layers - 1) * settings.layer_m, 'um'), 0)} um",
        "base_layers": str(settings.base_layers),
        "settle": setting_value("body.settle_s", settings.body.settle_s),
        "light": setting_value("body.exposure_s", settings.body.exposure_s),
        "rise": setting_value("body.peel_lift_mm", settings.body.lift_m),
        "machine": one_line(trial.machine),
    }
    numbers["sizes"] = ", ".join(fixed(bench(width, "um"), 0) for width in DETAIL_M)
    return tuple(say(text, **numbers) for text in texts)


def _by_hand(trial: Trial, hand: SharedByHand) -> str:
    base, body = (setting_value(hand.setting, v) for v in (hand.base, hand.body))
    name = setting_label(hand.setting)[1]
    return say(
        "{machine} has one {name} for base and body: start with {base} and set {body} by "
        "hand at layer {layer}, about {at} after the start.",
        machine=one_line(trial.machine),
        name=name,
        base=base,
        body=body,
        layer=hand.layer,
        at=duration(hand.at_s),
    )


def believed(trial: Trial) -> tuple[str, ...]:
    """Return what is believed now of what the trial tells."""
    return tuple(
        say(
            "Believed now, {unknowns}: {middle} ({low} to {high}).",
            unknowns=UNKNOWNS[u.what],
            middle=quantity(u.middle, u.unit, 2),
            low=quantity(u.low, u.unit, 2),
            high=quantity(u.high, u.unit, 2),
        )
        for u in trial.unknowns
    )


def assumed(trial: Trial) -> tuple[str, ...]:
    """Return what a trial rests on."""
    told = []
    if trial.origin != trial.machine:
        told.append(
            say(
                "No recipe is proven on {machine}: the settings are those of {recipe}, carried to it.",
                machine=one_line(trial.machine),
                recipe=one_line(trial.recipe),
            )
        )
    if not trial.curve_known:
        told.append(
            say(
                "Nobody measured how deep {resin} cures: the light is carried by dose alone.",
                resin=one_line(trial.resin),
            )
        )
    return (*told, RANGES)


def _settings(trial: Trial) -> Table:
    """Every setting as it is to be typed in; a star marks those that are not as in every run."""
    rows = tuple(
        Row((
            setting_called(name),
            f"{setting_value(name, trial.settings.value(name))}{' *' if name in trial.changed else ''}",
        ))
        for name in SETTING_NAMES
    )  # fmt: skip
    return Table(columns=(Column(say("setting")), Column(say("value"))), rows=rows, slug="settings")


def _pieces(trial: Trial) -> Table:
    columns = tuple(Column(head) for head in (say("piece"), say("where"), say("what it should show"), say("chance")))
    return Table(
        title=say("What each piece should show"),
        columns=columns,
        rows=tuple(Row(r) for r in rows_of(trial)),
        slug="pieces",
    )


def rows_of(trial: Trial) -> tuple[tuple[str, str, str, str], ...]:
    """Return of every piece its number and name, where it stands, what it should show and how likely it comes out."""
    return tuple(
        (
            f"{k + 1}: {one_line(p.label)}",
            say("at {mm}, {mm_2} mm", mm=_mm(p.x_m), mm_2=_mm(p.y_m)),
            expected_words(p),
            _chance(trial, p),
        )
        for k, p in enumerate(trial.pieces)
    )


def _mm(length_m: float) -> str:
    return fixed(bench(length_m, "mm"), 1)


def expected_words(piece: TrialPiece) -> str:
    """Return what a piece should show."""
    if piece.quantity in DETAILS:
        low, middle, high = (fixed(bench(v, "um"), 0) for v in (piece.low, piece.middle, piece.high))
        return say("{middle} {value} ({low} to {high})", middle=middle, value=unit_label("um"), low=low, high=high)
    name, unit, decimals = (
        (say("height"), "mm", 3) if piece.quantity.value.endswith("_mm") else (say("thickness"), "um", 0)
    )
    low, middle, high = (
        fixed(bench(v, unit), decimals) for v in (piece.low, piece.middle, piece.high)
    )  # a micrometer reads it
    return say(
        "{name} {middle} {unit} ({low} to {high})", name=name, middle=middle, unit=unit_label(unit), low=low, high=high
    )


def _chance(trial: Trial, piece: TrialPiece) -> str:
    return "" if piece.chance is None else f"{percent(piece.chance)} {TRIALS[trial.kind].chance}"


def picture(trial: Trial) -> Figure:
    """Return the picture of the pieces from above, numbered as in the table."""
    return Figure(slug="trial", data=(trial, rows_of(trial)))
