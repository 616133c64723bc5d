"""A level sheet put into words once, for terminal, page and paper alike.  Formats what the record holds, no more."""
# ruff: noqa: RUF001 - an en dash between the ends of a range is what a page wants

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.numbers import between, clock, duration, fixed, one_line, percent, sentence
from vatwright.records.level import LevelAnswer, Mount

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.level import LevelSheet


ESTIMATE = "Figures are engineering estimates: confirm them with a trial."


def page_words(text: str) -> str:
    """Return a sentence of the plan as a page prints it: micrometres with their own letter.

    Examples
    --------
    >>> page_words("it stands 20 um high")
    'It stands 20 µm high.'
    """
    return re.sub(r"(?<=\d) um\b", " µm", sentence(text))


class LevelTop(NamedTuple):
    """The first lines of a level sheet."""

    title: str
    way: str
    verdict: str
    plane: str


class CornerRow(NamedTuple):
    """One corner in words."""

    name: str
    gap: str
    error: str
    bonds: str
    touches: str


class TurnRow(NamedTuple):
    """One correction in words."""

    order: str
    what: str
    do: str
    needed: bool


class SizeRow(NamedTuple):
    """One machine's share of this tilt in words."""

    machine: str
    half: str
    error: str
    forgives: str


class HoldRow(NamedTuple):
    """One act of the hold-down plan in words."""

    clock: str
    do: str


def level_top(sheet: LevelSheet) -> LevelTop:
    """Return the first lines."""
    survey = sheet.survey
    where = "film" if survey.on_film else "bare screen"
    way = f"{len(survey.readings)} readings with {survey.gauge.method}, down to the {where}"
    if sheet.base is not None:
        way += f"; judged for {one_line(sheet.base.name)}"
    return LevelTop(
        f"Level of {one_line(survey.machine.name)}'s platform", way, page_words(sheet.verdict), plane_words(sheet)
    )


def plane_words(sheet: LevelSheet) -> str:
    """Return the plane in words: which way it rises, how much, and what it leaves."""
    p = sheet.plane
    right = f"{fixed(abs(p.tilt_x) * 1e3, 2)} mrad to the {'right' if p.tilt_x >= 0.0 else 'left'}"
    back = f"{fixed(abs(p.tilt_y) * 1e3, 2)} mrad to the {'rear' if p.tilt_y >= 0.0 else 'front'}"
    twist = "cannot be told from these places"
    if p.twist_m is not None and p.twist_sigma_m is not None:
        real = "real" if p.twisted else "no more than the readings' error"
        twist = f"{fixed(p.twist_m * 1e6, 0)} ± {fixed(p.twist_sigma_m * 1e6, 0)} µm at the corners, {real}"
    return (
        f"The gap in the middle is {fixed(p.offset_m * 1e6, 0)} ± {fixed(p.offset_sigma_m * 1e6, 0)} µm; it grows by {right} "
        f"and {back}. Twist: {twist}. The plane misses the readings by {fixed(p.residual_rms_m * 1e6, 1)} µm (rms)."
    )


def base_words(sheet: LevelSheet) -> str:
    """Return what the base makes of it, empty without one."""
    b = sheet.base
    if b is None:
        return ""
    settled, bonds = (between(v[0] * 1e6, v[2] * 1e6, decimals=0) for v in (b.settled_m, b.bonds_to_m))
    zero = ""
    if b.zero_m is not None:
        zero = (
            f", {fixed(abs(b.zero_m) * 1e6, 0)} µm of it because zero stands too {'high' if b.zero_m >= 0.0 else 'low'}"
        )
        zero = zero if b.zero_m >= 0.0 else f"; zero stands {fixed(-b.zero_m * 1e6, 0)} µm too low"
    return (
        f"After {b.settle_s:g} s of settle the gap under the middle is {fixed(b.settled_m[1] * 1e6, 0)} µm ({settled}){zero}. "
        f"{b.exposure_s:g} s of light bonds through {fixed(b.bonds_to_m[1] * 1e6, 0)} µm ({bonds}) where it is dimmest. "
        f"{_forgiven(b.allowed_m)}"
    )


def _forgiven(allowed_m: float) -> str:
    high = fixed(allowed_m * 1e6, 0)
    if high == "0":
        return "That leaves nothing for a corner that stands high: more than one run in ten fails even level."
    return f"So a corner that stands up to {high} µm high still bonds in nine runs of ten."


def corner_rows(sheet: LevelSheet) -> tuple[CornerRow, ...]:
    """Return the four corners."""
    return tuple(
        CornerRow(
            c.name,
            f"{fixed(c.gap_m * 1e6, 0)} ± {fixed(c.sigma_m * 1e6, 0)} µm",
            f"{'+' if c.error_m >= 0.0 else '−'}{fixed(abs(c.error_m) * 1e6, 0)} µm",
            "" if c.bonds is None else percent(c.bonds),
            "" if c.touches is None else percent(c.touches),
        )
        for c in sheet.corners
    )


def turn_rows(sheet: LevelSheet) -> tuple[TurnRow, ...]:
    """Return the corrections in order."""
    return tuple(TurnRow(str(c.order), one_line(c.what), page_words(c.do), c.needed) for c in sheet.corrections)


def turn_lead(sheet: LevelSheet) -> str:
    """Return the line above the corrections."""
    screws = sheet.survey.screws
    if not any(c.needed for c in sheet.corrections):
        return "Nothing to turn: what is left is within the readings' error."
    if screws.mount is Mount.BALL:
        return "Loosen the clamp, lay the leaves, press the platform down on them, clamp it in passes, read again."
    enough = "It is level enough as it is; this takes the rest away. " if sheet.answer is LevelAnswer.YES else ""
    return (
        f"{enough}In this order, in passes of no more than an eighth of a turn, and read again after the last: "
        f"clamping moves the plane. Pitch {screws.pitch_m * 1e3:g} mm; the middle stays where it is."
    )


def size_rows(sheet: LevelSheet) -> tuple[SizeRow, ...]:
    """Return what this tilt does on each machine of the shop."""
    return tuple(
        SizeRow(
            one_line(s.machine),
            f"{fixed(s.half_diagonal_m * 1e3, 0)} mm",
            f"{fixed(s.error_m * 1e6, 0)} µm",
            "" if s.forgiven_tilt is None else f"{fixed(s.forgiven_tilt * 1e3, 2)} mrad",
        )
        for s in sheet.sizes
    )


def hold_lead(sheet: LevelSheet) -> str:
    """Return the line above the hold-down plan."""
    h = sheet.hold
    parts = [f"settle {h.settle_s:g} s", f"light {h.exposure_s:g} s"] + ([f"soak {h.soak_s:g} s"] if h.soak_s else [])
    repeat = f" Start it {h.starts} times to reach {duration(h.wanted_s)}." if h.starts > 1 else ""
    return (
        f"One layer with base {', '.join(parts)} keeps the platform down for {duration(h.held_s, down=True)}.{repeat}"
    )


def hold_limits(sheet: LevelSheet) -> tuple[str, ...]:
    """Return what the controller does not allow."""
    return tuple(page_words(x) for x in sheet.hold.limits)


def hold_rows(sheet: LevelSheet) -> tuple[HoldRow, ...]:
    """Return the plan by the clock, which starts when the platform is down."""
    return tuple(HoldRow("before" if s.at_s < 0.0 else clock(s.at_s), one_line(s.do)) for s in sheet.hold.steps)


def notes(sheet: LevelSheet) -> tuple[str, ...]:
    """Return what is assumed."""
    return tuple(page_words(n) for n in sheet.notes)


def level_sources(sheet: LevelSheet, cite: Callable[[str], str]) -> list[tuple[str, str]]:
    """Return the sources with their citations."""
    return [(key, cite(key)) for key in sheet.sources]


def holds(sheet: LevelSheet) -> bool:
    """Return whether nothing has to be done before printing."""
    return sheet.answer in {LevelAnswer.YES, LevelAnswer.GEOMETRY}
