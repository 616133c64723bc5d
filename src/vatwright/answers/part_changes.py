"""Changes to the parts in words: what to do first, then what it does."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vatwright.answers.blocks import Block, Heading, points
from vatwright.answers.numbers import duration, fixed, one_line, percent, plural, setting_value

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.part_change import PartChange

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


def change_blocks(changes: Sequence[PartChange]) -> tuple[Block, ...]:
    """Return every change with what it would do; nothing where there is none."""
    if not changes:
        return ()
    return (Heading("Would another part or plate do more than waiting?"), *points(map(change_sentence, changes)))


def _short(names: str) -> str:
    name = one_line(names)
    return name if len(name) <= NAMED else f"{name[:NAMED].rsplit(' ', 1)[0]}..."


def _time(change: PartChange) -> str:
    before = change.to_s + change.saves_s
    return f"{duration(change.to_s)} instead of {duration(before)}"


def _vent(change: PartChange) -> str:
    height_mm = change.first_layer * change.layer_nm * 1e-6
    holes = "a hole" if change.pockets == 1 else f"a hole into each of its {plural(change.pockets, 'sealed pocket')}"
    return (
        f"Give {_short(change.part)} {holes} of {fixed(change.hole_m * 1000.0, 1)} mm at the end nearest the platform "
        f"(layer {change.first_layer}, {fixed(height_mm, 1)} mm up), so that nothing is sealed: {_time(change)}"
    )


def _split(change: PartChange) -> str:
    return (
        f"Print {_short(change.part)} on a plate of its own ({duration(change.alone_s)}) and the rest, {_short(change.rest)}, "
        f"on another ({duration(change.rest_s)}): together {_time(change)}"
    )


def _tilt(change: PartChange) -> str:
    degrees = fixed(math.degrees(change.tilt_rad), 0)
    return (
        f"Tilt {_short(change.part)} by {degrees} degrees about its longer side and support it anew, so that no wide face "
        f"meets the film at once: {_time(change)}"
    )


_DO = {"vent": _vent, "split": _split, "tilt": _tilt}


def _settles(change: PartChange) -> str:
    if change.kind.value == "split" or not math.isfinite(change.settled_s) or change.settled_s >= change.settle_s:
        return ""
    return (
        f", body settle {setting_value(SETTLE, change.settled_s)} instead of {setting_value(SETTLE, change.settle_s)}"
    )


def _holds(change: PartChange) -> str:
    return (
        f", chance {percent(change.meant)} instead of {percent(change.mean)}"
        if change.meant > change.mean + 0.02
        else ""
    )
