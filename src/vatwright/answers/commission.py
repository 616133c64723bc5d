"""What is worth reading on a new machine or of a new resin, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.blocks import Answer, Finding, Part, points, said
from vatwright.answers.numbers import duration, one_line, plural

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
        "the platform's width and depth",
        "The base squeezes resin out under all of it.",
        "Lay a ruler on the platform's face, left to right and front to back.",
        "base settle, which plates fit",
    ),
    "height": Words(
        "the build height",
        "A plate that is taller is refused.",
        "Read it from the machine's data plate.",
        "which plates fit",
    ),
    "window": Words(
        "the window's width and depth",
        "The film stretches from one clamped edge to the other: a wider window lets go later.",
        "Measure the free film between its clamped edges, left to right and front to back.",
        "lift, pull",
    ),
    "film": Words(
        "the film's thickness",
        "A thicker film needs more lift and pulls harder.",
        "Read the label of the film, or measure an offcut with a micrometer.",
        "lift, pull",
    ),
    "backing": Words(
        "what the film lies on",
        "A film that hangs free gives way under the resin; on glass it does not.",
        "Look from below with the vat taken out: does the film touch the glass once the vat is in?",
        "settle",
    ),
    "controller": Words(
        "what the controller obeys",
        "A setting that it shares or drops has to be done by hand.",
        "Set base and body settle far apart, start without resin, and time the dark waits of both.",
        "what is done by hand",
    ),
    "dial": Words(
        "how far the platform gives under a weight",
        "The softer the arm, the longer it stands off while resin is squeezed out.",
        "Stand a dial against the platform, hang about 5 kg on the arm, read before and after, three times. "
        "Take the weight off before anything moves.",
        "settle",
    ),
    "level": Words(
        "the gap under the corners and the middle",
        "The far corner of a tilted platform starts with a thick first layer.",
        "Slide a feeler gauge under five places, on the bare clean screen, the platform clamped as for a print.",
        "base settle, base exposure",
    ),
    "light": Words(
        "the light at nine places of the window",
        "The dimmest spot has to cure through too.",
        "Hold a meter at nine places of the bare window, always at the same distance, lamps warm. Never look in.",
        "exposure",
    ),
    "stroke": Words(
        "the time of one long stroke",
        "How fast the drive speeds up is part of every layer.",
        "Send the platform 50 mm up at 5 mm/s and time it from a film of the stroke.",
        "time of a run",
    ),
    "overhead": Words(
        "what the controller adds to every layer",
        "A second a layer is half an hour on 1,800 layers.",
        "Time ten layers without resin, take the waits, light and strokes away, divide by ten.",
        "time of a run",
    ),
    "tip": Words(
        "how far the platform tips under a weight beside its middle",
        "Pieces on one side tip the platform, and the other side starts thick.",
        "Set 2 kg on the platform's back, 60 mm from the middle, and read a dial on either side.",
        "base settle",
    ),
    "flatness": Words(
        "how flat the platform's face is",
        "A hollow starts with a thick first layer.",
        "Lay a straight edge across the face and slide a feeler gauge under it at five places.",
        "base settle, base exposure",
    ),
    "vat": Words(
        "how deep resin may stand in the vat",
        "It says whether a run must be topped up.",
        "Measure from the film to the fill mark, or to 5 mm below the rim.",
        "resin to pour",
    ),
    "viscosity": Words(
        "the viscosity at the room's temperature",
        "Thicker resin needs a longer settle and a longer refill.",
        "Fill a flow cup, time the flow, read the table that came with it, note the resin's temperature. Wear gloves.",
        "settle, refill, pull",
    ),
    "squares": Words(
        "the thickness of four squares cured at doubling times",
        "It says how deep this light cures this resin.",
        "Cure four squares through the window, each lit twice as long as the last, wipe them, measure their thickness. "
        "Wear gloves.",
        "exposure, whether the base holds",
    ),
    "cold": Words(
        "the viscosity at a second temperature",
        "It says how the resin thickens in a colder room.",
        "Warm or cool the bottle by 5 to 10 C, stir, and run the flow cup again.",
        "settle in another room",
    ),
    "density": Words(
        "the density",
        "Resin is bought by weight and poured by volume.",
        "Weigh 10 ml of it from a syringe, the empty syringe taken away. Wear gloves.",
        "cost, how resin flows back",
    ),
    "price": Words(
        "the price of a kilogram",
        "Without it a piece has no cost.",
        "Read it from the bill.",
        "cost",
    ),
}
"""By the reading's slug."""


def commission_answer(sheet: CommissionSheet) -> Answer:
    """Return what is worth reading in words, the first thing to do on top."""
    done = [item for item in sheet.items if item.done]
    blocks: tuple[Block, ...] = (*said(commission_lead(sheet), role="do"), *(_finding(i) for i in sheet.open))
    pages = (Part(slug="done", title="Done already", blocks=points(_line(i) for i in done)),) if done else ()
    return Answer(name="commission", title=f"What to read of {one_line(sheet.name)}", blocks=blocks, pages=pages)


def commission_lead(sheet: CommissionSheet) -> str:
    """Return the next reading, and how many there are."""
    if not sheet.open:
        return f"Nothing is open: all {len(sheet.items)} readings of {one_line(sheet.name)} are yours."
    first = sheet.open[0]
    total = sum(item.minutes for item in sheet.open)
    return (
        f"Read next: {WORDS[first.slug].what} ({first.minutes:.0f} min). "
        f"{plural(len(sheet.open), 'reading')} of {len(sheet.items)} open, {total:.0f} min in all."
    )


def _finding(item: CommissionItem) -> Finding:
    w = WORDS[item.slug]
    what = f"{w.what[:1].upper()}{w.what[1:]}"
    why = f"{w.why} It narrows: {w.narrows}."
    return Finding(what=what, measure=measured(item), why=why, do=f"{w.how} Write it as {item.key}.")


def measured(item: CommissionItem) -> str:
    """Return the minutes a reading takes, and what it may save in each run of a common load."""
    takes = f"{item.minutes:.0f} min"
    saves_s = item.saves_s
    return (
        takes
        if saves_s is None or saves_s < TOLD_S
        else f"{takes}; may save about {duration(60.0 * max(round(saves_s / 60.0), 1))} a run"
    )


def _line(item: CommissionItem) -> str:
    what = WORDS[item.slug].what
    return f"{what[:1].upper()}{what[1:]}: {item.key}."
