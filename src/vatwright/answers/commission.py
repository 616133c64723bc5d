"""What is worth reading on a new machine or of a new resin, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.blocks import Answer, Finding, Part, points, said
from vatwright.answers.names import capital
from vatwright.answers.numbers import duration, one_line
from vatwright.wording import say, say_many, to_say

if TYPE_CHECKING:
    from vatwright.answers.blocks import Block
    from vatwright.records.commission import CommissionItem, CommissionSheet


TOLD_S = 30.0
"""A reading that saves less than this in a run is not said to save anything [s]: our own choice."""


class Words(NamedTuple):
    """What to read, why, how, and what it narrows."""

    what: str
    why: str
    how: str
    narrows: str


WORDS: dict[str, Words] = {
    "platform": Words(
        to_say("the platform's width and depth"),
        to_say("The base squeezes resin out under all of it."),
        to_say("Lay a ruler on the platform's face, left to right and front to back."),
        to_say("base settle, which plates fit"),
    ),
    "height": Words(
        to_say("the build height"),
        to_say("A plate that is taller is refused."),
        to_say("Read it from the machine's data plate."),
        to_say("which plates fit"),
    ),
    "window": Words(
        to_say("the window's width and depth"),
        to_say("The film stretches from one clamped edge to the other: a wider window lets go later."),
        to_say("Measure the free film between its clamped edges, left to right and front to back."),
        to_say("lift, pull"),
    ),
    "film": Words(
        to_say("the film's thickness"),
        to_say("A thicker film needs more lift and pulls harder."),
        to_say("Read the label of the film, or measure an offcut with a micrometer."),
        to_say("lift, pull"),
    ),
    "backing": Words(
        to_say("what the film lies on"),
        to_say("A film that hangs free gives way under the resin; on glass it does not."),
        to_say("Look from below with the vat taken out: does the film touch the glass once the vat is in?"),
        to_say("settle"),
    ),
    "controller": Words(
        to_say("what the controller obeys"),
        to_say("A setting that it shares or drops has to be done by hand."),
        to_say("Set base and body settle far apart, start without resin, and time the dark waits of both."),
        to_say("what is done by hand"),
    ),
    "dial": Words(
        to_say("how far the platform gives under a weight"),
        to_say("The softer the arm, the longer it stands off while resin is squeezed out."),
        to_say(
            "Stand a dial against the platform, hang about 5 kg on the arm, read before and "
            "after, three times. Take the weight off before anything moves."
        ),
        to_say("settle"),
    ),
    "level": Words(
        to_say("the gap under the corners and the middle"),
        to_say("The far corner of a tilted platform starts with a thick first layer."),
        to_say(
            "Slide a feeler gauge under five places, on the bare clean screen, the platform clamped as for a print."
        ),
        to_say("base settle, base exposure"),
    ),
    "light": Words(
        to_say("the light at nine places of the window"),
        to_say("The dimmest spot has to cure through too."),
        to_say(
            "Hold a meter at nine places of the bare window, always at the same distance, lamps warm. Never look in."
        ),
        to_say("exposure"),
    ),
    "stroke": Words(
        to_say("the time of one long stroke"),
        to_say("How fast the drive speeds up is part of every layer."),
        to_say("Send the platform 50 mm up at 5 mm/s and time it from a film of the stroke."),
        to_say("time of a run"),
    ),
    "overhead": Words(
        to_say("what the controller adds to every layer"),
        to_say("A second a layer is half an hour on 1,800 layers."),
        to_say("Time ten layers without resin, take the waits, light and strokes away, divide by ten."),
        to_say("time of a run"),
    ),
    "tip": Words(
        to_say("how far the platform tips under a weight beside its middle"),
        to_say("Pieces on one side tip the platform, and the other side starts thick."),
        to_say("Set 2 kg on the platform's back, 60 mm from the middle, and read a dial on either side."),
        to_say("base settle"),
    ),
    "flatness": Words(
        to_say("how flat the platform's face is"),
        to_say("A hollow starts with a thick first layer."),
        to_say("Lay a straight edge across the face and slide a feeler gauge under it at five places."),
        to_say("base settle, base exposure"),
    ),
    "vat": Words(
        to_say("how deep resin may stand in the vat"),
        to_say("It says whether a run must be topped up."),
        to_say("Measure from the film to the fill mark, or to 5 mm below the rim."),
        to_say("resin to pour"),
    ),
    "viscosity": Words(
        to_say("the viscosity at the room's temperature"),
        to_say("Thicker resin needs a longer settle and a longer refill."),
        to_say(
            "Fill a flow cup, time the flow, read the table that came with it, note the resin's "
            "temperature. Wear gloves."
        ),
        to_say("settle, refill, pull"),
    ),
    "squares": Words(
        to_say("the thickness of four squares cured at doubling times"),
        to_say("It says how deep this light cures this resin."),
        to_say(
            "Cure four squares through the window, each lit twice as long as the last, wipe "
            "them, measure their thickness. Wear gloves."
        ),
        to_say("exposure, whether the base holds"),
    ),
    "cold": Words(
        to_say("the viscosity at a second temperature"),
        to_say("It says how the resin thickens in a colder room."),
        to_say("Warm or cool the bottle by 5 to 10 C, stir, and run the flow cup again."),
        to_say("settle in another room"),
    ),
    "density": Words(
        to_say("the density"),
        to_say("Resin is bought by weight and poured by volume."),
        to_say("Weigh 10 ml of it from a syringe, the empty syringe taken away. Wear gloves."),
        to_say("cost, how resin flows back"),
    ),
    "price": Words(
        to_say("the price of a kilogram"),
        to_say("Without it a piece has no cost."),
        to_say("Read it from the bill."),
        to_say("cost"),
    ),
}
"""By the reading's slug."""


def commission_answer(sheet: CommissionSheet) -> Answer:
    """Return what is worth reading in words, the first thing to do on top."""
    done = [item for item in sheet.items if item.done]
    blocks: tuple[Block, ...] = (*said(commission_lead(sheet), role="do"), *(_finding(i) for i in sheet.open))
    pages = (Part(slug="done", title=say("Done already"), blocks=points(_line(i) for i in done)),) if done else ()
    return Answer(
        name="commission", title=say("What to read of {name}", name=one_line(sheet.name)), blocks=blocks, pages=pages
    )


def commission_lead(sheet: CommissionSheet) -> str:
    """Return the next reading, and how many there are."""
    if not sheet.open:
        return say(
            "Nothing is open: all {items} readings of {name} are yours.",
            items=len(sheet.items),
            name=one_line(sheet.name),
        )
    first = sheet.open[0]
    total = sum(item.minutes for item in sheet.open)
    return say(
        "Read next: {what} ({minutes:.0f} min). {open} of {items} open, {total:.0f} min in all.",
        what=WORDS[first.slug].what,
        minutes=first.minutes,
        open=say_many(len(sheet.open), "{n} reading", "{n} readings"),
        items=len(sheet.items),
        total=total,
    )


def _finding(item: CommissionItem) -> Finding:
    w = WORDS[item.slug]
    what = capital(w.what)
    why = say("{why} It narrows: {narrows}.", why=w.why, narrows=w.narrows)
    return Finding(
        what=what, measure=measured(item), why=why, do=say("{how} Write it as {key}.", how=w.how, key=item.key)
    )


def measured(item: CommissionItem) -> str:
    """Return the minutes a reading takes, and what it may save in each run of a common load."""
    takes = f"{item.minutes:.0f} min"
    saves_s = item.saves_s
    return (
        takes
        if saves_s is None or saves_s < TOLD_S
        else say(
            "{takes}; may save about {saves} a run", takes=takes, saves=duration(60.0 * max(round(saves_s / 60.0), 1))
        )
    )


def _line(item: CommissionItem) -> str:
    what = WORDS[item.slug].what
    return f"{capital(what)}: {item.key}."
