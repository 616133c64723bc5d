"""A levelled platform in words: how it stands, whether that matters, what to turn, how to hold it down."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from vatwright.answers.blocks import Answer, Block, Column, Figure, Heading, Part, Row, Source, Table, points, said
from vatwright.answers.numbers import bench, between, clock, duration, fixed, one_line, percent, sentence
from vatwright.records.level import LevelAnswer, Mount

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.answers.blocks import Role
    from vatwright.records.level import BaseCheck, LevelSheet

ESTIMATE = "Figures are engineering estimates: confirm them with a trial."
_MAY_PRINT = frozenset({LevelAnswer.YES, LevelAnswer.GEOMETRY})


def level_answer(sheet: LevelSheet, *, cite: Callable[[str], str]) -> Answer:
    """Return a level sheet in words.

    Parameters
    ----------
    sheet : LevelSheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    role: Role = "verdict" if sheet.answer in _MAY_PRINT else "refusal"
    seen = (Figure(slug="level-plane", data=sheet), _corners(sheet), Figure(slug="level-corners", data=sheet))
    turn: tuple[Block, ...] = (*said(_turn_lead(sheet)), _turns(sheet), Figure(slug="level-screws", data=sheet))
    return Answer(
        name="level",
        title=f"Level of {one_line(sheet.survey.machine.name)}'s platform",
        blocks=(*said(page_words(sheet.verdict), role=role), *said(_base_words(sheet.base)), *said(_way(sheet), role="note")),
        pages=(
            Part("plane", "How does it stand?", (*said(_plane_words(sheet)), *seen)),
            Part("turn", "What do I turn?", turn),
            Part("hold", "How do I hold it down?", _hold(sheet)),
            Part("sizes", "Would this tilt matter elsewhere?", (_sizes(sheet),)),
            Part("care", "Take care", points((*sheet.hold.cautions, ESTIMATE))),
            Part("assumed", "What is assumed?", points(page_words(n) for n in sheet.notes)),
            Part("sources", "Where do the figures come from?", tuple(Source(key, cite(key)) for key in sheet.sources)),
        ),
    )  # fmt: skip


def page_words(text: str) -> str:
    """Return a sentence of the plan as it is printed: micrometres with their own letter.

    Examples
    --------
    >>> page_words("it stands 20 um high")
    'It stands 20 µm high.'
    """
    return re.sub(r"(?<=\d) um\b", " µm", sentence(text))


def _um(length_m: float, decimals: int = 0) -> str:
    return fixed(bench(length_m, "um"), decimals)


def _mm(length_m: float) -> str:
    return fixed(bench(length_m, "mm"), 0)


def _mrad(slope: float) -> str:
    return f"{fixed(bench(slope, 'mrad'), 2)} mrad"


def _way(sheet: LevelSheet) -> str:
    survey = sheet.survey
    where = "film" if survey.on_film else "bare screen"
    way = f"{len(survey.readings)} readings with {survey.gauge.method}, down to the {where}"
    return f"{way}{f'; judged for {one_line(sheet.base.name)}' if sheet.base else ''}."


def _plane_words(sheet: LevelSheet) -> str:
    """Which way the plane rises, how much, and what it leaves."""
    p = sheet.plane
    right = f"{_mrad(abs(p.tilt_x))} to the {'right' if p.tilt_x >= 0.0 else 'left'}"
    back = f"{_mrad(abs(p.tilt_y))} to the {'rear' if p.tilt_y >= 0.0 else 'front'}"
    return (
        f"The gap in the middle is {_um(p.offset_m)} ± {_um(p.offset_sigma_m)} µm; it grows by {right} and {back}. Twist: "
        f"{_twist(sheet)}. The plane misses the readings by {_um(p.residual_rms_m, 1)} µm (rms)."
    )


def _twist(sheet: LevelSheet) -> str:
    p = sheet.plane
    if p.twist_m is None or p.twist_sigma_m is None:
        return "cannot be told from these places"
    real = "real" if p.twisted else "no more than the readings' error"
    return f"{_um(p.twist_m)} ± {_um(p.twist_sigma_m)} µm at the corners, {real}"


def _base_words(base: BaseCheck | None) -> str:
    """What the base makes of it, empty without one."""
    if base is None:
        return ""
    settled, bonds = (
        between(bench(v[0], "um"), bench(v[2], "um"), decimals=0) for v in (base.settled_m, base.bonds_to_m)
    )
    return (
        f"After {base.settle_s:g} s of settle the gap under the middle is {_um(base.settled_m[1])} µm ({settled})"
        f"{_zero(base.zero_m)}. {base.exposure_s:g} s of light bonds through {_um(base.bonds_to_m[1])} µm ({bonds}) where it "
        f"is dimmest. {_forgiven(base.allowed_m)}"
    )


def _zero(zero_m: float | None) -> str:
    if zero_m is None:
        return ""
    if zero_m < 0.0:
        return f"; zero stands {_um(-zero_m)} µm too low"
    return f", {_um(zero_m)} µm of it because zero stands too high"


def _forgiven(allowed_m: float) -> str:
    high = _um(allowed_m)
    if high == "0":
        return "That leaves nothing for a corner that stands high: more than one run in ten fails even level."
    return f"So a corner that stands up to {high} µm high still bonds in nine runs of ten."


def corner_rows(sheet: LevelSheet) -> tuple[tuple[str, ...], ...]:
    """Return of each corner its name, its gap, how it stands to the middle, and with a base how likely it bonds and touches."""
    return tuple(
        (
            c.name,
            f"{_um(c.gap_m)} ± {_um(c.sigma_m)} µm",
            f"{'+' if c.error_m >= 0.0 else '−'}{_um(abs(c.error_m))} µm",  # noqa: RUF001 - a minus sign is what a page wants
            *(percent(share) for share in (c.bonds, c.touches) if share is not None),
        )
        for c in sheet.corners
    )


CORNER_HEADS = ("corner", "gap", "from the middle", "bonds", "touches the film")


def _corners(sheet: LevelSheet) -> Table:
    rows = corner_rows(sheet)
    return Table(
        columns=tuple(Column(h) for h in CORNER_HEADS[: len(rows[0])]), rows=tuple(Row(r) for r in rows), slug="corners"
    )


def turn_rows(sheet: LevelSheet) -> tuple[tuple[str, str, str], ...]:
    """Return of each correction its place in the order, what it is done to, and what to do."""
    return tuple((str(c.order), one_line(c.what), page_words(c.do)) for c in sheet.corrections)


def _turns(sheet: LevelSheet) -> Table:
    rows = tuple(Row(r, quiet=not c.needed) for r, c in zip(turn_rows(sheet), sheet.corrections, strict=True))
    return Table(columns=(Column("order"), Column("what"), Column("do")), rows=rows, slug="turns")


def _turn_lead(sheet: LevelSheet) -> str:
    screws = sheet.survey.screws
    if not any(c.needed for c in sheet.corrections):
        return "Nothing to turn: what is left is within the readings' error."
    if screws.mount is Mount.BALL:
        return "Loosen the clamp, lay the leaves, press the platform down on them, clamp it in passes, read again."
    enough = "It is level enough as it is; this takes the rest away. " if sheet.answer is LevelAnswer.YES else ""
    return (
        f"{enough}In this order, in passes of no more than an eighth of a turn, and read again after the last: clamping "
        f"moves the plane. Pitch {bench(screws.pitch_m, 'mm'):g} mm; the middle stays where it is."
    )


def _sizes(sheet: LevelSheet) -> Table:
    """What this tilt does on each machine of the shop."""
    rows = tuple(
        Row((
            one_line(s.machine), f"{_mm(s.half_diagonal_m)} mm", f"{_um(s.error_m)} µm",
            *(() if s.forgiven_tilt is None else (_mrad(s.forgiven_tilt),)),
        ))
        for s in sheet.sizes
    )  # fmt: skip
    heads = ("machine", "half diagonal", "corner error", *(("tilt it forgives",) if sheet.base else ()))
    title = "A corner's error is tilt times half the diagonal"
    if sheet.base:
        title += "; what is forgiven takes this base's room for every machine"
    return Table(title=title, columns=tuple(Column(h) for h in heads), rows=rows, slug="elsewhere")


def _hold(sheet: LevelSheet) -> tuple[Block, ...]:
    rows = tuple(Row(("before" if s.at_s < 0.0 else clock(s.at_s), one_line(s.do))) for s in sheet.hold.steps)
    return (
        *said(_hold_lead(sheet)),
        *points(page_words(limit) for limit in sheet.hold.limits),
        Table(
            title="Clock from the moment the platform is down, min:s",
            columns=(Column("clock"), Column("do")),
            rows=rows,
            slug="held",
        ),
        Heading("Before you touch the screen"),
        *points(sheet.hold.checks, role="do"),
    )


def _hold_lead(sheet: LevelSheet) -> str:
    h = sheet.hold
    parts = [f"settle {h.settle_s:g} s", f"light {h.exposure_s:g} s"] + ([f"soak {h.soak_s:g} s"] if h.soak_s else [])
    repeat = f" Start it {h.starts} times to reach {duration(h.wanted_s)}." if h.starts > 1 else ""
    return (
        f"One layer with base {', '.join(parts)} keeps the platform down for {duration(h.held_s, down=True)}.{repeat}"
    )
