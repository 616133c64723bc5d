"""Why a run failed, in words: the causes, what speaks for each, what mends it, and what tells the first two apart."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.blocks import Answer, Finding, Part, Source, Working, points, said
from vatwright.answers.names import (
    QUANTITIES,
    SYMPTOMS,
    capital,
    on_platform,
    reading_bench_unit,
    setting_called,
)
from vatwright.answers.numbers import (
    bench,
    celsius,
    decimals_for,
    duration,
    fixed,
    one_line,
    percent,
    quantity,
    setting_value,
    significant,
    unit_label,
)
from vatwright.records.run import Quantity, Seen
from vatwright.records.why import Mending, Speaks
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.answers.blocks import Block
    from vatwright.records.run import Event
    from vatwright.records.why import CauseFigure, Evidence, RankedCause, Remedy, TellApart, WhySheet

WATCHED = {Speaks.HAND_EARLY, Speaks.HAND_LATE, Speaks.HAND_OTHERWISE}
"""What the bench saw hands do."""

NEAR_ENOUGH = 1.5
"""Below it a margin is told to a hundredth, so that just enough and just short read apart [-]."""

MUCH_AREA = 1.5
"""From so many times the area of the layer before it, a jump is told [-]; engineering estimate, no source."""


class CauseWords(NamedTuple):
    """What is said of a cause: its title, what to do first, what somebody may have read of it, and what its title adds."""

    title: str
    first: str = ""
    read: str = ""
    place: str = ""
    jump: str = ""


CAUSES = {
    "unlevel": CauseWords(
        to_say("the platform is not level"),
        to_say("Level the platform: the {place} stands {off}."),
        to_say("how level the platform is"),
        place=to_say("it stands too high above the film at the {place}"),
    ),
    "zero_off": CauseWords(
        to_say("the platform's zero is off"), to_say("Set the platform's zero again on the bare clean screen.")
    ),
    "arm_gives": CauseWords(
        to_say("the arm or its clamp gives more than believed"),
        to_say("Tighten clamp and arm, hang 5 kg on it and read the dial."),
        to_say("how stiff the arm is"),
    ),
    "resin_thick": CauseWords(
        to_say("the resin is colder or thicker than believed"),
        to_say("Warm resin and vat to the room the job names, and stir."),
        to_say("how thick {resin} is"),
    ),
    "light_dim": CauseWords(
        to_say("the light is dimmer than believed"),
        to_say("Clean glass and film, then read the light at nine spots."),
        to_say("the light"),
    ),
    "resin_cures_less": CauseWords(
        to_say("the resin cures less than its working curve says"),
        to_say("Stir the bottle, then cure four squares and measure them."),
        to_say("how deep {resin} cures"),
    ),
    "film_lets_go_late": CauseWords(
        to_say("the film is slack or worn and lets go late"),
        to_say("Tighten or change the film."),
        to_say("the film's tension"),
    ),
    "settle_short": CauseWords(
        to_say("the settle is too short"), jump=to_say("the area jumps {times} times at layer {layer}")
    ),
    "light_short": CauseWords(to_say("the light as set does not reach through a layer")),
    "lift_short": CauseWords(to_say("the rise is too short for this window")),
    "hand_late": CauseWords(
        to_say("a hand came late or early"), to_say("Keep to the hand schedule, or run it alone at the single value.")
    ),
    "setting_ignored": CauseWords(
        to_say("the controller did not do as set"),
        to_say("Time one layer with a stopwatch, and write down in the machine's record what it obeys."),
    ),
    "pocket_pulls": CauseWords(
        to_say("a sealed pocket pulls like a suction cup"),
        to_say("Drill a vent near the platform side, or turn the part so the hollow drains."),
    ),
    "nothing_beneath": CauseWords(
        to_say("a region starts with nothing beneath it"),
        to_say("Support the region, or check that the part is drawn as meant."),
    ),
    "foot_small": CauseWords(
        to_say("the foot is too small for the pull, or holds less than believed"),
        to_say("Give the pieces a wider foot or a raft, and wipe the platform."),
    ),
    "section_slim": CauseWords(
        to_say("a section is too slim for the pull, or weaker than believed"),
        to_say("Thicken the section, or turn the part so that less hangs on it."),
    ),
    "no_model": CauseWords(
        to_say("something that is not computed here"),
        to_say("Look at film, platform and screen, and print one trial piece."),
    ),
}
"""The words of every cause in :data:`vatwright.planning.why.causes.CAUSES`; first steps are common practice, no source."""

FIGURES = {
    "tilt": to_say("gap that tilt adds at the {place}"),
    "zero": to_say("gap that a false zero adds everywhere"),
    "stiffness": to_say("stiffness of arm and screen"),
    "viscosity": to_say("viscosity in the vat"),
    "light": to_say("mean light of the window"),
    "cured": to_say("depth that layer {layer} cures"),
    "release": to_say("rise at which the furthest point lets go"),
    "thickness": to_say("thickness of layer {layer} when the light comes on"),
    "late": to_say("when the hand came"),
    "settle": to_say("settle that layer {layer} got"),
    "suction": to_say("pull of a sealed pocket as a share of an atmosphere"),
}
"""What the number of a cause is."""

READINGS = {
    "first_layer": to_say("measure the first layer at the {place}, or the skin it left on the film"),
    "feeler": to_say("slide a feeler gauge under the platform at the {place}, on the bare clean screen"),
    "light": to_say("read the light at the middle of the bare window"),
    "deflection": to_say("hang 5 kg on the arm and read the dial at the platform"),
    "temperature": to_say("read the temperature of the resin in the vat before a run"),
    "cup": to_say("run the resin through a viscosity cup at the room's temperature"),
    "squares": to_say("cure squares through the window at doubling times, and read how deep 20 mJ/cm2 cures"),
    "release": to_say("note the rise at which the film lets go of a body layer in the middle"),
    "run_time": to_say("look up how long the run took to where it ended, against the plan"),
}
"""How each reading is taken that may tell causes apart."""

BEYOND = {
    Seen.BASE_LET_GO: to_say("A greasy, dusty or worn platform face: wipe it and look."),
    Seen.NOT_RELEASED: to_say("A film that resin has cured onto, or a cloudy one: look through it."),
    Seen.LAYER_SPLIT: to_say("A light that failed for a moment, a knock, resin that ran out."),
    Seen.THICK_BAND: to_say("A pause in the run, or a rail that sticks."),
    Seen.THIN_BAND: to_say("A pause in the run, or a rail that sticks."),
    Seen.STUCK_TO_FILM: to_say("A film with a dent or cured resin on it: look through it."),
    Seen.TORN: to_say("A tear made by hand while taking it off or washing it."),
    Seen.LINES: to_say(
        "Screw and rail faults, a table that sways, a light that flickers. Lines at even spacing point to them."
    ),
}
"""What can be behind each that nothing here describes."""

BEYOND_HEIGHT = to_say("Shrinkage in light and oven, and swelling in the wash: they change heights too.")


def why_answer(sheet: WhySheet, *, cite: Callable[[str], str]) -> Answer:
    """Return why a run failed, in words.

    Parameters
    ----------
    sheet : WhySheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    return Answer(
        name="why",
        title=say("Why did it fail?"),
        blocks=(*said(verdict(sheet), role="verdict"), *said(_run(sheet), role="note")),
        pages=(
            Part(slug="apart", title=say("What tells the first two apart?"), blocks=said(telling(sheet))),
            Part(slug="causes", title=say("What may be behind it, and what mends it?"), blocks=_causes(sheet)),
            Part(slug="beyond", title=say("What is not computed here?"), blocks=points(beyond(sheet))),
            Part(slug="assumed", title=say("What the answer rests on"), blocks=points(assumed(sheet))),
            Part(slug="sources", title=say("Sources"), blocks=tuple(Source(key, cite(key)) for key in sheet.sources)),
        ),
    )


def _run(sheet: WhySheet) -> str:
    job, machine, resin = (one_line(n) for n in (sheet.job, sheet.machine, sheet.resin))
    run = say("{job} on {machine}, {resin}, {room}", job=job, machine=machine, resin=resin, room=celsius(sheet.room_k))
    foretold = (
        say(" Before the run, just this had a chance of {foretold}.", foretold=percent(sheet.foretold))
        if sheet.observed.events
        else ""
    )
    return say("{run}. Seen: {where}.{foretold}", run=run, where=where(sheet), foretold=foretold)


def _causes(sheet: WhySheet) -> tuple[Block, ...]:
    blocks: list[Block] = []
    for cause in sheet.causes:
        told = (
            *(say("For: {words}", words=words) for words in evidence(sheet, cause, cause.speaks_for)),
            *(say("Against: {words}", words=words) for words in evidence(sheet, cause, cause.speaks_against)),
        )
        numbers = (f"{words}." for words in (margin(cause), figure(sheet, cause.figure)) if words)
        minutes = f" ({cause.mend.minutes:.0f} min)" if cause.mend.minutes else ""
        do = f"{mend(sheet, cause)}{minutes}"
        blocks.append(
            Finding(what=f"{capital(title(sheet, cause))}: {percent(cause.chance)}", margin=cause.margin, do=do)
        )
        if found := points((*map(capital, numbers), *told)):
            blocks.append(Working(say("What speaks for it and against it"), found))
    return tuple(blocks)


def verdict(sheet: WhySheet) -> str:
    """Return the answer in a sentence or two."""
    if not sheet.causes:
        return say("Nothing here explains it.")
    first = sheet.causes[0]
    what = title(sheet, first)
    if watched := [e for e in first.speaks_for if e.code in WATCHED]:
        known = evidence(sheet, first, tuple(watched))[0]
        return say(
            "{known} That this is behind it has a chance of {chance}. {mend}",
            known=known,
            chance=percent(first.chance),
            mend=mend(sheet, first),
        )
    if first.cause == "no_model":
        return say(
            "Most likely ({chance}) it is {what}. {mend}",
            chance=percent(first.chance),
            what=what,
            mend=mend(sheet, first),
        )
    if first.chance >= 0.5:
        return say(
            "Most likely ({chance}) {what}. {mend}", chance=percent(first.chance), what=what, mend=mend(sheet, first)
        )
    return say(
        "No one cause stands out. Likelier than any other, at {chance}: {what}. {mend}",
        chance=percent(first.chance),
        what=what,
        mend=mend(sheet, first),
    )


def title(sheet: WhySheet, cause: RankedCause) -> str:
    """Return a cause in plain words."""
    words = CAUSES[cause.cause]
    if words.place and cause.figure is not None:
        return f"{say(words.title)}: {say(words.place, place=_place(sheet, cause.figure))}"
    if words.jump and cause.area_times >= MUCH_AREA:
        return f"{say(words.title)}: {say(words.jump, times=round(cause.area_times), layer=cause.layer)}"
    return say(words.title)


def where(sheet: WhySheet) -> str:
    """Return what was seen, with its layers and places."""
    return "; ".join(_event(sheet, e) for e in sheet.observed.events) or say("a height that is not the nominal one")


def _event(sheet: WhySheet, event: Event) -> str:
    at = []
    if event.layer is not None:
        at.append(
            say(
                "at layer {layer} ({layer_2} mm)",
                layer=event.layer,
                layer_2=fixed(bench(event.layer * sheet.layer_m, "mm"), 1),
            )
        )
    if event.x_m is not None and event.y_m is not None:
        at.append(say("at the {on_platform}", on_platform=on_platform(sheet.platform, event.x_m, event.y_m)))
    return " ".join([say(SYMPTOMS[event.what]), *at])


def margin(cause: RankedCause) -> str:
    """Return the margins of a cause in words, empty where it is no matter of margin."""
    if cause.margin is None:
        return ""
    believed = (
        ""
        if cause.margin_believed is None
        else say("; by the records it had {times} times", times=_times(cause.margin_believed))
    )
    return say(
        "if this is behind it, it had {times} times what it needs, and below 1 it fails{believed}",
        times=_times(cause.margin),
        believed=believed,
    )


def _times(margin: float) -> str:
    return fixed(margin, 2) if margin < NEAR_ENOUGH else significant(margin, 2)


def figure(sheet: WhySheet, shown: CauseFigure | None) -> str:
    """Return the number of a cause in words, empty where it has none."""
    if shown is None:
        return ""
    if shown.what == "late":
        return say(
            "{figures}: {late_words} ({late_words_2} to {late_words_3})",
            figures=say(FIGURES["late"]),
            late_words=late_words(shown.middle),
            late_words_2=late_words(shown.low),
            late_words_3=late_words(shown.high),
        )
    low, middle, high = (bench(v, shown.unit) for v in (shown.low, shown.middle, shown.high))
    value = _shown(shown.middle, shown.unit)
    if low < high:
        low_end, at, high_end = (fixed(v, decimals_for((high - low) / 2.0)) for v in (low, middle, high))
        value = say(
            "{at} {unit} ({low_end} to {high_end})",
            at=at,
            unit=unit_label(shown.unit),
            low_end=low_end,
            high_end=high_end,
        )
    return say(
        "{figure_name}: {value}; by the records {shown}",
        figure_name=figure_name(sheet, shown),
        value=value,
        shown=_shown(shown.believed, shown.unit),
    )


def late_words(seconds: float) -> str:
    """Return how late a hand came.

    Examples
    --------
    >>> late_words(-720.0), late_words(95.0), late_words(0.2)
    ('12 min early', '1 min 35 s late', 'on time')
    """
    if abs(seconds) < 1.0:
        return say("on time")
    off = duration(abs(seconds))
    return say("{off} early", off=off) if seconds < 0.0 else say("{off} late", off=off)


def figure_name(sheet: WhySheet, shown: CauseFigure) -> str:
    """Return what the number of a cause is."""
    return say(FIGURES[shown.what], place=_place(sheet, shown), layer=shown.layer)


def _place(sheet: WhySheet, at: CauseFigure | TellApart) -> str:
    return on_platform(sheet.platform, at.x_m, at.y_m)


def _shown(value: float, unit: str) -> str:
    return celsius(value) if unit == "C" else quantity(value, unit, 2)


# --- evidence ----------------------------------------------------------------------------------------------------------


EVIDENCE = {
    Speaks.MENDED: to_say("Put right alone, it gives {after} times what is needed instead of {before}{end}."),
    Speaks.LIKELIER: to_say("What was seen is {times} times likelier with it than in an ordinary run."),
    Speaks.UNLIKELIER: to_say("What was seen is {times} times less likely with it than without."),
    Speaks.NOBODY_READ: to_say("Nobody read {what}; it stands as {of}."),
    Speaks.SOMEBODY_READ: to_say("You read {what}: it would have to have changed since."),
    Speaks.NOT_MEASURED: to_say("Nobody measured {what}."),
    Speaks.FROM_ELSEWHERE: to_say("The working curve of {resin} is somebody else's."),
    Speaks.NOTHING_BENEATH: to_say(
        "At layer {layer} a region of {area_m2} starts with nothing beneath, at ({x_m}, {y_m}) mm."
    ),
    Speaks.MACHINE_HELD: to_say("{runs} runs held with this machine on {origin}."),
    Speaks.RESIN_HELD: to_say("{runs} runs held with this resin on {origin}."),
    Speaks.READING: to_say("You read {read}; with this cause it would show about {shows}."),
    Speaks.NOTHING_ELSE: to_say("Nothing that is computed here explains it well."),
    Speaks.HAND_EARLY: to_say("The hand came {off_s} early: layer {layer} settled {got_s} instead of {planned_s}."),
    Speaks.HAND_LATE: to_say("The hand came {off_s} late: layer {layer} settled {got_s} instead of {planned_s}."),
    Speaks.HAND_OTHERWISE: to_say(
        "It was set otherwise by hand: layer {layer} settled {got_s} instead of {planned_s}."
    ),
}
"""What speaks for a cause or against it."""


def evidence(sheet: WhySheet, cause: RankedCause, told: tuple[Evidence, ...]) -> tuple[str, ...]:
    """Return what speaks for a cause or against it, a sentence each."""
    names = {"resin": one_line(sheet.resin), "origin": one_line(sheet.origin)}
    what = say(CAUSES[cause.cause].read, **names)
    return tuple(say(EVIDENCE[e.code], what=what, of=say(e.of), end=_end(e), **names, **_numbers(e)) for e in told)


def _numbers(e: Evidence) -> dict[str, str]:
    return {name: _number(name, value, e.of) for name, value in e.numbers.items()}


def _number(name: str, value: float, of: str) -> str:
    if name in {"read", "shows"}:
        return _shown(value, reading_bench_unit(Quantity(of)))
    if name in {"before", "after"}:
        return _times(value)
    if name == "times":
        return say("over 1,000") if value > 1000.0 else significant(value, 2)
    if name in {"got_s", "planned_s"}:
        return setting_value("body.settle_s", value)
    if name == "off_s":
        return duration(value)
    if name == "area_m2":
        return quantity(value, "mm2", 2)
    return fixed(bench(value, "mm") if name.endswith("_m") else value, 0)


def _end(e: Evidence) -> str:
    after = e.numbers.get("after")
    return "" if after is None else say(": it holds") if after >= 1.0 else say(": still too little")


# --- what mends it -----------------------------------------------------------------------------------------------------

INSTEAD = {
    Mending.SETTLE_DOES: to_say("By this reckoning the settle is long enough: give more light."),
    Mending.SETTLE_BEFORE: to_say("Give the layers before it a longer settle."),
    Mending.RISE_SLOWER: to_say("Rise more slowly."),
}
"""What to do where a cause has no first step of its own."""

ALSO = {
    Mending.SETTLE_ALONE_FAILS: to_say(
        "A longer settle alone does not bond it: give more light too, or let the plate down slower."
    ),
    Mending.RISE_SLOWER: to_say("A slower peel lift pulls less."),
}
"""What to do beside a first step."""


def mend(sheet: WhySheet, cause: RankedCause) -> str:
    """Return what to do about a cause."""
    first, what = _first(sheet, cause), cause.mend
    if until := _until(what):
        return say("{first} Until then {until}.", first=first, until=until) if first else f"{capital(until)}."
    if what.way is Mending.SETTLE_ALONE_FAILS or (first and what.way in ALSO):
        return f"{first} {say(ALSO[what.way])}".strip()
    return first or say(INSTEAD.get(what.way, to_say("Look at it.")))


def _first(sheet: WhySheet, cause: RankedCause) -> str:
    shown = cause.figure
    if shown is None:
        return say(CAUSES[cause.cause].first)
    far = quantity(abs(shown.middle), "um", 2)
    off = say("about {far} too high", far=far) if shown.middle >= 0.0 else say("about {far} too low", far=far)
    return say(CAUSES[cause.cause].first, place=_place(sheet, shown), off=off)


def _until(mend: Remedy) -> str:
    """What to set until the cause itself is put right, empty where nothing is."""
    if mend.now is None:
        return ""
    name, now = setting_called(mend.setting), setting_value(mend.setting, mend.now)
    if mend.way is Mending.LIGHT_DOES:
        return say("the {name} of {now} is enough", name=name, now=now)
    if mend.way is Mending.LIGHT_IS_NO_CURE:
        return say("do not make up for it with light: it would take too much")
    if mend.value is None:
        return ""
    by = say(" by layer {layer}", layer=mend.layer) if mend.layer and mend.setting.startswith("body") else ""
    return say(
        "set {name} to {setting}{by} (now {now})",
        name=name,
        setting=setting_value(mend.setting, mend.value),
        by=by,
        now=now,
    )


# --- what tells the first two apart ------------------------------------------------------------------------------------


def telling(sheet: WhySheet) -> str:
    """Return which reading tells the first two causes apart, and how."""
    tell = sheet.tell_apart
    if tell is None:
        return say("No single reading here tells the first two causes apart well enough: print a trial.")
    first, second = (amount(tell, v) for v in (tell.if_first, tell.if_second))
    one, other = (say(CAUSES[c].title) for c in (tell.first, tell.second))
    told = [f"{capital(reading(sheet, tell))} ({tell.minutes:.0f} min)."]
    told.append(
        say(
            "About {first} means that {one}; about {second}, that {other}.",
            first=first,
            one=one,
            second=second,
            other=other,
        )
    )
    if tell.tip is not None:
        told.append(say("The turning point is {amount}.", amount=amount(tell, tell.tip)))
    told.append(say("This settles {information} of the doubt between the two.", information=percent(tell.information)))
    if tell.trial:
        told.append(say("A trial piece shows it too: vatwright trial {trial}.", trial=tell.trial))
    return " ".join(told)


def reading(sheet: WhySheet, tell: TellApart) -> str:
    """Return how the reading is taken."""
    return say(READINGS[tell.reading], place=_place(sheet, tell))


def amount(tell: TellApart, value: float) -> str:
    """Return what a reading would show: a time as a clock says it."""
    return duration(value) if tell.quantity == Quantity.RUN_TIME else _shown(value, tell.unit)


# --- what it rests on --------------------------------------------------------------------------------------------------


def beyond(sheet: WhySheet) -> tuple[str, ...]:
    """Return what could be behind it that nothing here describes."""
    return tuple(dict.fromkeys(say(BEYOND[e.what]) for e in sheet.observed.events)) or (say(BEYOND_HEIGHT),)


def assumed(sheet: WhySheet) -> tuple[str, ...]:
    """Return what the answer rests on."""
    often = "; ".join(f"{say(CAUSES[name].title)} {percent(share)}" for name, share in sheet.often.items())
    otherwise = ", ".join(f"{setting_called(n)} {setting_value(n, v)}" for n, v in sheet.observed.settings.items())
    told = [
        say("How often something is off in a run, our own estimate without a source: {often}.", often=often),
        say(
            "It is taken to be printed as the carry sheet says{otherwise}.",
            otherwise=say(", but for {otherwise}", otherwise=otherwise) if otherwise else "",
        ),
    ]
    if sheet.unused:
        names = say(" and ").join(say(QUANTITIES[q]) for q in sheet.unused)
        told.append(say("Nothing here foretells {names}, so that reading counts for nothing.", names=names))
    if not sheet.hanging_known:
        told.append(say("It is not known what hangs on what, so feet and sections are left out."))
    return tuple(told)
