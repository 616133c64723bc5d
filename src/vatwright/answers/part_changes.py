"""Changes to the parts in words: what to do first, then what it does."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vatwright.answers.blocks import Block, Heading, points
from vatwright.answers.numbers import duration, fixed, one_line, percent, setting_value
from vatwright.wording import say, say_many

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.part_change import PartChange, SlowFace

SETTLE = "body.settle_s"

NAMED = 60
"""Characters of the parts named in a sentence; common practice."""


def change_sentence(change: PartChange) -> str:
    """Return what to do with which part, and what it does to time, settle and chance.

    Examples
    --------
    >>> from vatwright.records.part_change import ChangeKind, PartChange
    >>> change_sentence(PartChange(kind=ChangeKind.SPLIT, part="vase", rest="slab", saves_s=14400.0, to_s=36000.0, worth=True,
    ...     settle_s=9.0, settled_s=2.0, mean=0.93, meant=0.94, alone_s=33000.0, rest_s=3000.0))
    'Print vase on a plate of its own (9 h 10 min) and the rest, slab, on another (50 min): together 10 h instead of 14 h.'
    """
    return f"{_DO[change.kind.value](change)}{_settles(change)}{_holds(change)}."


def slow_sentence(face: SlowFace) -> str:
    """Return what a run waits for, and what to look at before it is run so.

    Examples
    --------
    >>> from vatwright.records.part_change import SlowFace
    >>> slow_sentence(SlowFace(part="slab", waits_s=5280.0, total_s=7320.0)).split(". ")[0]
    "slab's flat face makes this slow: 1 h 28 min of 2 h 2 min are waits for resin to leave from under it"
    """
    return say(
        "{part}'s flat face makes this slow: {waits} of {total} are waits for resin to leave from under it. "
        "See first how {part} should stand.",
        part=_short(face.part),
        waits=duration(face.waits_s),
        total=duration(face.total_s),
    )


def change_blocks(changes: Sequence[PartChange]) -> tuple[Block, ...]:
    """Return every change with what it would do; nothing where there is none."""
    if not changes:
        return ()
    return (Heading(say("Would another part or plate do more than waiting?")), *points(map(change_sentence, changes)))


def _short(names: str) -> str:
    name = one_line(names)
    return name if len(name) <= NAMED else f"{name[:NAMED].rsplit(' ', 1)[0]}..."


def _time(change: PartChange) -> str:
    before = change.to_s + change.saves_s
    return say("{to} instead of {before}", to=duration(change.to_s), before=duration(before))


def _vent(change: PartChange) -> str:
    height_mm = change.first_layer * change.layer_nm * 1e-6
    holes = (
        say("a hole")
        if change.pockets == 1
        else say(
            "a hole into each of its {pockets}",
            pockets=say_many(change.pockets, "{n} sealed pocket", "{n} sealed pockets"),
        )
    )
    return say(
        "Give {short} {holes} of {hole} mm at the end nearest the platform (layer "
        "{first_layer}, {height} mm up), so that nothing is sealed: {time}",
        short=_short(change.part),
        holes=holes,
        hole=fixed(change.hole_m * 1000.0, 1),
        first_layer=change.first_layer,
        height=fixed(height_mm, 1),
        time=_time(change),
    )


def _split(change: PartChange) -> str:
    return say(
        "Print {short} on a plate of its own ({alone}) and the rest, {short_2}, on another ({rest}): together {time}",
        short=_short(change.part),
        alone=duration(change.alone_s),
        short_2=_short(change.rest),
        rest=duration(change.rest_s),
        time=_time(change),
    )


def _tilt(change: PartChange) -> str:
    degrees = fixed(math.degrees(change.tilt_rad), 0)
    return say(
        "Tilt {short} by {degrees} degrees about its longer side and support it anew, so "
        "that no wide face meets the film at once: {time}",
        short=_short(change.part),
        degrees=degrees,
        time=_time(change),
    )


def _ramp(change: PartChange) -> str:
    return say(
        "Set {n} ramp layers (ramp_layers = {n} in the job), so that the first layers after the base bond by more light "
        "and no longer make all others wait: {time}",
        n=change.ramp_layers,
        time=_time(change),
    )


_DO = {"vent": _vent, "split": _split, "tilt": _tilt, "ramp": _ramp}


def _settles(change: PartChange) -> str:
    if change.kind.value == "split" or not math.isfinite(change.settled_s) or change.settled_s >= change.settle_s:
        return ""
    return say(
        ", body settle {settle} instead of {settle_2}",
        settle=setting_value(SETTLE, change.settled_s),
        settle_2=setting_value(SETTLE, change.settle_s),
    )


def _holds(change: PartChange) -> str:
    return (
        say(", chance {meant} instead of {mean}", meant=percent(change.meant), mean=percent(change.mean))
        if change.meant > change.mean + 0.02
        else ""
    )
