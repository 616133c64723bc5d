"""How a part should stand, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.blocks import Answer, Column, Figure, Part, Row, Table, points, said
from vatwright.answers.names import capital
from vatwright.answers.numbers import bench, duration, one_line, percent, quantity, sentence, significant, typed
from vatwright.planning.stand.choose import HOLDS_ON
from vatwright.wording import say, say_many, to_say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vatwright.answers.blocks import Block
    from vatwright.records.stand import StandSheet, Way

RISES = (to_say("rear"), to_say("left"), to_say("front"), to_say("right"))
"""Which side goes up in a tilt about a line at 0, 90, 180 and 270 degrees, as the person in front of the machine sees it."""

SAME = 0.1
"""Values nearer than this are not told as a change [-]: no reader would do anything about it."""

EVEN = 0.5
"""Below this chance something else is wrong than how the part stands [-]."""

PLENTY = 20.0
"""A section that carries more than so many times the pull is not the place to think of [-]; our own choice."""

HEADS = (
    to_say("time"),
    to_say("settle"),
    to_say("pull"),
    to_say("pockets"),
    to_say("height"),
    to_say("supports"),
    to_say("a plate"),
    to_say("holds"),
    to_say("weakest"),
)

SUPPORTS = to_say(
    "Supports: area that looks down, flatter than 45 degrees, and does not stand on the "
    "platform. They are not part of the study: what needs them stands a few millimetres "
    "higher and takes a few minutes longer. Weakest: how many times the pull the weakest "
    "section carries, supports taken to hold."
)


def stand_answer(sheet: StandSheet) -> Answer:
    """Return how a part should stand, what to do first."""
    able = any(way.fits for way in sheet.ways)
    blocks: tuple[Block, ...] = (
        *said(stand_lead(sheet), role="do" if able else "refusal"),
        *said(*map(sentence, sheet.cautions), role="refusal"),
        *(said(*_doubts(sheet)) if able else ()),
        *((_table(sheet),) if able else ()),
        *said(SUPPORTS if able else "", role="note"),
    )
    warnings = (Part(slug="part", title=say("What is wrong with the part"), blocks=points(sheet.warnings)),)
    pictures = Part(slug="pictures", title=say("What they look like"), blocks=_pictures(sheet))
    pages = (pictures, Part(slug="how", title=say("How it was found"), blocks=points(_how_found(sheet))))
    where = say("on {machine}, in {resin}", machine=one_line(sheet.machine), resin=one_line(sheet.resin))
    many = say_many(sheet.count, "{n} piece", "{n} pieces")
    return Answer(
        name="stand",
        title=say("How {part} should stand {where}, {many}", part=one_line(sheet.part), where=where, many=many),
        blocks=blocks,
        pages=(*(warnings if sheet.warnings else ()), *pages),
    )


def stand_lead(sheet: StandSheet) -> str:
    """Return what to do, and what that changes against as drawn."""
    drawn, best = sheet.ways[0], sheet.advised
    if not best.fits:
        tall = say("as drawn it is {mm} tall", mm=_mm(drawn.height_m))
        return say(
            "Split it, or take a larger machine: no way of standing fits {machine}; {tall}.",
            machine=one_line(sheet.machine),
            tall=tall,
        )
    if best is drawn:
        return say("Leave it as drawn: {time}, and no other way is worth the turning.", time=_time(drawn))
    if not drawn.fits:
        return say(
            "{how_words}: as drawn it does not fit {machine}. So it takes {time}.",
            how_words=how_words(best),
            machine=one_line(sheet.machine),
            time=_time(best),
        )
    return f"{how_words(best)}: {', '.join(_changes(drawn, best))}."


def how_words(way: Way) -> str:
    """Return a way as something to do.

    Examples
    --------
    >>> from vatwright.records.stand import Way
    >>> about = dict(height_m=0.01, layers=200, supports_m2=0.0, pockets=0, pieces=1)
    >>> how_words(Way(tilt_deg=20, turn_deg=0, **about)), how_words(Way(tilt_deg=90, turn_deg=270, **about))
    ('Tilt it 20 degrees about x, rear side up', 'Tilt it 90 degrees about y, right side up')
    >>> how_words(Way(tilt_deg=35, turn_deg=140, **about))
    'Turn it 40 degrees counter-clockwise, seen from above, then tilt it 35 degrees about x, front side up'
    """
    if way.tilt_deg == 0.0:
        return say("Leave it as drawn")
    if way.tilt_deg == 180.0:
        return say("Turn it upside down")
    turn, axis, side = _plainly(way)
    tilt = say(
        "tilt it {tilt_deg} degrees about {axis}, {side} side up", tilt_deg=typed(way.tilt_deg), axis=axis, side=side
    )
    if turn == 0.0:
        return capital(tilt)
    sense = say("clockwise") if turn > 0.0 else say("counter-clockwise")
    return say(
        "Turn it {turned} degrees {sense}, seen from above, then {tilt}", turned=_turned(turn), sense=sense, tilt=tilt
    )


def way_words(way: Way) -> str:
    """Return a way in a few words, for a table.

    Examples
    --------
    >>> from vatwright.records.stand import Way
    >>> way_words(Way(tilt_deg=35, turn_deg=140, height_m=0.01, layers=200, supports_m2=0.0, pockets=0, pieces=1))
    'turned 40 counter-clockwise, tilted 35 about x, front up'
    """
    if way.tilt_deg == 0.0:
        return say("as drawn")
    if way.tilt_deg == 180.0:
        return say("upside down")
    turn, axis, side = _plainly(way)
    sense = say("clockwise") if turn > 0.0 else say("counter-clockwise")
    turned = say("turned {turned} {sense}, ", turned=_turned(turn), sense=sense) if turn else ""
    return say(
        "{turned}tilted {tilt_deg} about {axis}, {side} up",
        turned=turned,
        tilt_deg=typed(way.tilt_deg),
        axis=axis,
        side=side,
    )


def _turned(turn_deg: float) -> str:
    return typed(round(abs(turn_deg), 1))


def _plainly(way: Way) -> tuple[float, str, str]:
    """The turn before the tilt, clockwise and within 90 degrees, the axis of the tilt, and the side that rises."""
    quarter, rest = divmod(way.turn_deg, 90.0)
    if rest == 0.0:
        return 0.0, "xy"[int(quarter) % 2], RISES[int(quarter) % 4]
    turn = (way.turn_deg + 90.0) % 180.0 - 90.0
    return turn, "x", RISES[0] if (way.turn_deg - turn) % 360.0 == 0.0 else RISES[2]


def _changes(drawn: Way, way: Way) -> Iterator[str]:
    """What a way changes against as drawn, what matters most first."""
    if _differ(drawn.body_settle_s, way.body_settle_s):
        yield say("body settle {seconds} → {seconds_2}", seconds=_seconds(drawn), seconds_2=_seconds(way))
    yield f"{_time(drawn)} → {_time(way)}"
    if gone := drawn.pockets - way.pockets:
        yield (
            say_many(gone, "{n} sealed pocket drains", "{n} sealed pockets drain")
            if gone > 0
            else say_many(-gone, "{n} sealed pocket more", "{n} sealed pockets more")
        )
    if _differ(drawn.pull_n, way.pull_n):
        yield say("pull {newton} → {newton_2}", newton=_newton(drawn), newton_2=_newton(way))
    by = _mm(abs(way.height_m - drawn.height_m))
    yield say("{by} taller", by=by) if way.height_m > drawn.height_m else say("{by} lower", by=by)
    if _differ(drawn.supports_m2, way.supports_m2):
        yield say("supports {mm2} → {mm2_2}", mm2=_mm2(drawn), mm2_2=_mm2(way))
    if way.pieces != drawn.pieces:
        yield say("{pieces} on a plate instead of {pieces_2}", pieces=way.pieces, pieces_2=drawn.pieces)


def _differ(before: float | None, after: float | None) -> bool:
    if before is None or after is None:
        return False
    return abs(after - before) > SAME * max(abs(before), abs(after))


def _doubts(sheet: StandSheet) -> Iterator[str]:
    """What to weigh before doing so."""
    drawn, best = sheet.ways[0], sheet.advised
    if best.mean is not None and best.mean < EVEN:
        yield say("It is unlikely to hold ({mean}) however it stands: carry it to learn why.", mean=percent(best.mean))
    if best.neck is not None and best.neck_m is not None and best.neck < HOLDS_ON:
        yield say(
            "Its weakest section, {height} up, carries only {times} times the pull: thicken it, or support what is beyond it.",
            height=_mm(best.neck_m),
            times=significant(best.neck, 2),
        )
    if best is not drawn and drawn.fits and best.pieces < drawn.pieces and sheet.count < drawn.pieces:
        yield say("Fewer fit on a plate so: for many pieces ask again with their count.")


def _how_found(sheet: StandSheet) -> Iterator[str]:
    yield say(
        "{looked_at} directions were looked at, the best few studied layer by layer as carry does.",
        looked_at=sheet.looked_at,
    )
    yield say(
        "The recipe is {recipe}, the layer {layer} mm.",
        recipe=one_line(sheet.recipe),
        layer=typed(bench(sheet.layer_m, "mm")),
    )
    yield say(
        "Worth the turning is a tenth of the time and ten minutes, or a sealed pocket less for a tenth more time."
    )


def _pictures(sheet: StandSheet) -> tuple[Block, ...]:
    return tuple(way_figure(sheet, k) for k in range(len(sheet.ways)))


def way_figure(sheet: StandSheet, number: int) -> Figure:
    """Return the picture of one way, with its numbers as its data."""
    way = sheet.ways[number]
    rows = (
        *zip(HEADS, _cells(way), strict=True),
        (to_say("weakest at"), "" if way.neck_m is None else _mm(way.neck_m)),
    )
    return Figure(slug=f"stand-way-{number}", data=(sheet.ways, number, rows), title=f"{number}: {way_words(way)}")


def _table(sheet: StandSheet) -> Table:
    columns = tuple(Column(head, number=True) for head in HEADS)
    rows = tuple(Row(_cells(way), group=f"{k}  {way_words(way)}") for k, way in enumerate(sheet.ways))
    return Table(slug="ways", columns=columns, rows=rows)


def _cells(way: Way) -> tuple[str, ...]:
    known = (_time(way), _seconds(way), _newton(way)) if way.fits else (say("does not fit"), "", "")
    holds = percent(way.mean) if way.mean is not None else ""
    return (*known, str(way.pockets), _mm(way.height_m), _mm2(way), str(way.pieces), holds, _weakest(way))


def _weakest(way: Way) -> str:
    """How many times the pull the weakest section carries."""
    if way.neck is None:
        return ""
    times = significant(way.neck, 2)
    return say("{times}x", times=times) if way.neck < PLENTY else say("over {times:.0f}x", times=PLENTY)


def _time(way: Way) -> str:
    return duration(way.to_s or 0.0)


def _seconds(way: Way) -> str:
    return quantity(way.body_settle_s or 0.0, "s", 2)


def _newton(way: Way) -> str:
    return quantity(way.pull_n or 0.0, "N", 2)


def _mm(length_m: float) -> str:
    return quantity(length_m, "mm", 3 if length_m >= 0.1 else 2)


def _mm2(way: Way) -> str:
    return quantity(way.supports_m2, "mm2", 2)
