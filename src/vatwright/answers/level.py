"""A levelled platform in words: how it stands, whether that matters, what to turn, how to hold it down."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.blocks import Answer, Block, Column, Figure, Heading, Part, Row, Source, Table, points, said
from vatwright.answers.numbers import bench, between, clock, duration, fixed, one_line, percent, sentence
from vatwright.records.level import LevelAnswer, Mount
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.answers.blocks import Role
    from vatwright.records.level import BaseCheck, LevelSheet

ESTIMATE = to_say("Figures are engineering estimates: confirm them with a trial.")
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
        title=say("Level of {name}'s platform", name=one_line(sheet.survey.machine.name)),
        blocks=(*said(sentence(sheet.verdict), role=role), *said(_base_words(sheet.base)), *said(_way(sheet), role="note")),
        pages=(
            Part("plane", say("How does it stand?"), (*said(_plane_words(sheet)), *seen)),
            Part("turn", say("What do I turn?"), turn),
            Part("hold", say("How do I hold it down?"), _hold(sheet)),
            Part("sizes", say("Would this tilt matter elsewhere?"), (_sizes(sheet),)),
            Part("care", say("Take care"), points((*sheet.hold.cautions, ESTIMATE))),
            Part("assumed", say("What is assumed?"), points(sentence(n) for n in sheet.notes)),
            Part("sources", say("Where do the figures come from?"), tuple(Source(key, cite(key)) for key in sheet.sources)),
        ),
    )  # fmt: skip


def _um(length_m: float, decimals: int = 0) -> str:
    return fixed(bench(length_m, "um"), decimals)


def _mm(length_m: float) -> str:
    return fixed(bench(length_m, "mm"), 0)


def _mrad(slope: float) -> str:
    return say("{slope} mrad", slope=fixed(bench(slope, "mrad"), 2))


def _way(sheet: LevelSheet) -> str:
    survey = sheet.survey
    where = say("the film") if survey.on_film else say("the bare screen")
    way = say(
        "{readings} readings with {method}, down to {where}",
        readings=len(survey.readings),
        method=say(str(survey.gauge.method)),
        where=where,
    )
    return f"{way}{say('; judged for {name}', name=one_line(sheet.base.name)) if sheet.base else ''}."


def _plane_words(sheet: LevelSheet) -> str:
    """Which way the plane rises, how much, and what it leaves."""
    p = sheet.plane
    right = (
        say("{mrad} to the right", mrad=_mrad(abs(p.tilt_x)))
        if p.tilt_x >= 0.0
        else say("{mrad} to the left", mrad=_mrad(abs(p.tilt_x)))
    )
    back = (
        say("{mrad} to the rear", mrad=_mrad(abs(p.tilt_y)))
        if p.tilt_y >= 0.0
        else say("{mrad} to the front", mrad=_mrad(abs(p.tilt_y)))
    )
    return say(
        "The gap in the middle is {um} ± {um_2} µm; it grows by {right} and {back}. Twist: "
        "{twist}. The plane misses the readings by {um_3} µm (rms).",
        um=_um(p.offset_m),
        um_2=_um(p.offset_sigma_m),
        right=right,
        back=back,
        twist=_twist(sheet),
        um_3=_um(p.residual_rms_m, 1),
    )


def _twist(sheet: LevelSheet) -> str:
    p = sheet.plane
    if p.twist_m is None or p.twist_sigma_m is None:
        return say("cannot be told from these places")
    real = say("real") if p.twisted else say("no more than the readings' error")
    return say("{um} ± {um_2} µm at the corners, {real}", um=_um(p.twist_m), um_2=_um(p.twist_sigma_m), real=real)


def _base_words(base: BaseCheck | None) -> str:
    """What the base makes of it, empty without one."""
    if base is None:
        return ""
    settled, bonds = (
        between(bench(v[0], "um"), bench(v[2], "um"), decimals=0) for v in (base.settled_m, base.bonds_to_m)
    )
    return say(
        "After {settle:g} s of settle the gap under the middle is {um} µm ({settled}){zero}. "
        "{exposure:g} s of light bonds through {um_2} µm ({bonds}) where it is dimmest. "
        "{forgiven}",
        settle=base.settle_s,
        um=_um(base.settled_m[1]),
        settled=settled,
        zero=_zero(base.zero_m),
        exposure=base.exposure_s,
        um_2=_um(base.bonds_to_m[1]),
        bonds=bonds,
        forgiven=_forgiven(base.allowed_m),
    )


def _zero(zero_m: float | None) -> str:
    if zero_m is None:
        return ""
    if zero_m < 0.0:
        return say("; zero stands {um} µm too low", um=_um(-zero_m))
    return say(", {um} µm of it because zero stands too high", um=_um(zero_m))


def _forgiven(allowed_m: float) -> str:
    high = _um(allowed_m)
    if high == "0":
        return say("That leaves nothing for a corner that stands high: more than one run in ten fails even level.")
    return say("So a corner that stands up to {high} µm high still bonds in nine runs of ten.", high=high)


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


CORNER_HEADS = (to_say("corner"), to_say("gap"), to_say("from the middle"), to_say("bonds"), to_say("touches the film"))


def _corners(sheet: LevelSheet) -> Table:
    rows = corner_rows(sheet)
    return Table(
        columns=tuple(Column(h) for h in CORNER_HEADS[: len(rows[0])]), rows=tuple(Row(r) for r in rows), slug="corners"
    )


def turn_rows(sheet: LevelSheet) -> tuple[tuple[str, str, str], ...]:
    """Return of each correction its place in the order, what it is done to, and what to do."""
    return tuple((str(c.order), one_line(c.what), sentence(c.do)) for c in sheet.corrections)


def _turns(sheet: LevelSheet) -> Table:
    rows = tuple(Row(r, quiet=not c.needed) for r, c in zip(turn_rows(sheet), sheet.corrections, strict=True))
    return Table(columns=(Column(say("order")), Column(say("what")), Column(say("do"))), rows=rows, slug="turns")


def _turn_lead(sheet: LevelSheet) -> str:
    screws = sheet.survey.screws
    if not any(c.needed for c in sheet.corrections):
        return say("Nothing to turn: what is left is within the readings' error.")
    if screws.mount is Mount.BALL:
        return say("Loosen the clamp, lay the leaves, press the platform down on them, clamp it in passes, read again.")
    enough = say("It is level enough as it is; this takes the rest away. ") if sheet.answer is LevelAnswer.YES else ""
    return say(
        "{enough}In this order, in passes of no more than an eighth of a turn, and read "
        "again after the last: clamping moves the plane. Pitch {pitch:g} mm; the middle "
        "stays where it is.",
        enough=enough,
        pitch=bench(screws.pitch_m, "mm"),
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
    heads = (
        say("machine"),
        say("half diagonal"),
        say("corner error"),
        *((say("tilt it forgives"),) if sheet.base else ()),
    )
    title = say("A corner's error is tilt times half the diagonal")
    if sheet.base:
        title += say("; what is forgiven takes this base's room for every machine")
    return Table(title=title, columns=tuple(Column(h) for h in heads), rows=rows, slug="elsewhere")


def _hold(sheet: LevelSheet) -> tuple[Block, ...]:
    rows = tuple(Row((say("before") if s.at_s < 0.0 else clock(s.at_s), one_line(s.do))) for s in sheet.hold.steps)
    return (
        *said(_hold_lead(sheet)),
        *points(sentence(limit) for limit in sheet.hold.limits),
        Table(
            title=say("Clock from the moment the platform is down, min:s"),
            columns=(Column(say("clock")), Column(say("do"))),
            rows=rows,
            slug="held",
        ),
        Heading(say("Before you touch the screen")),
        *points(sheet.hold.checks, role="do"),
    )


def _hold_lead(sheet: LevelSheet) -> str:
    h = sheet.hold
    parts = [say("settle {settle:g} s", settle=h.settle_s), say("light {exposure:g} s", exposure=h.exposure_s)] + (
        [say("soak {soak:g} s", soak=h.soak_s)] if h.soak_s else []
    )
    repeat = (
        say(" Start it {starts} times to reach {wanted}.", starts=h.starts, wanted=duration(h.wanted_s))
        if h.starts > 1
        else ""
    )
    return say(
        "One layer with base {parts} keeps the platform down for {held}.{repeat}",
        parts=", ".join(parts),
        held=duration(h.held_s, down=True),
        repeat=repeat,
    )
