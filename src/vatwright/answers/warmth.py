"""Resin too cold or too warm to print, in sentences: how it comes back, for how long, and what to beware of."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.after import times
from vatwright.answers.blocks import Entry, Ledger, Sentence, said
from vatwright.answers.numbers import celsius
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vatwright.records.warmth import WarmUp

CAUTIONS = (
    (
        to_say(
            "Never heat resin over a flame, on a hotplate or in a microwave oven, and never "
            "beyond what its label or safety data sheet allows: those decide, not this sheet."
        )
    ),
    (
        to_say(
            "Warm it in its own closed bottle, upright, and keep the water out of it; loosen the "
            "cap once it is warm, outdoors or under extraction: warm resin gives off more vapour."
        )
    ),
)
"""Common practice, no source."""


def outside(plan: WarmUp) -> str:
    """Return that nothing is said at this temperature, and what to do first."""
    do = say("Warm") if plan.cold else say("Cool")
    known = say("{least} to {most}", least=celsius(plan.least_k).removesuffix(" °C"), most=celsius(plan.most_k))
    return say(
        "No: at {now} nobody has checked how resin flows and lets go ({known} is known "
        "ground). {do} resin, vat and room to {target} first.",
        now=celsius(plan.now_k),
        known=known,
        do=do,
        target=celsius(plan.target_k),
    )


def refused(plan: WarmUp | None) -> tuple[Sentence, ...]:
    """Return that refusal where there is one."""
    return said(outside(plan), role="refusal") if plan is not None else ()


def no_chance(plan: WarmUp) -> str:
    """Return why no chance is told, and what to ask once it is warm."""
    return say(
        "So no chance and no settings are told. Then carry it again for a room of {target}.",
        target=celsius(plan.target_k),
    )


def warming_lines(plan: WarmUp) -> tuple[str, ...]:
    """Return what to do, a sentence or two each, for a sheet on paper."""
    return tuple(text for _, *texts in _steps(plan) for text in texts)


def warming_ledger(plan: WarmUp) -> Ledger:
    """Return what to do, what to watch and what to beware of."""
    return Ledger(tuple(Entry(head, said(*texts, role="do")) for head, *texts in _steps(plan)))


def _steps(plan: WarmUp) -> Iterator[tuple[str, ...]]:
    """What is warmed, or done, with its sentences."""
    target = celsius(plan.target_k)
    yield say("Bottle"), _bottle(plan, target)
    pool = say(
        "With its pool, in air of {target}: {times}. Platform and frame are metal: give them as long.",
        target=target,
        times=times(plan.vat_s),
    )
    yield say("Vat"), pool
    yield say("Room"), _room(plan, target)
    watch = say("Read a thermometer in the vat before the start and again after the base: it must show")
    ends = say("{least} to {most}", least=celsius(plan.least_k).removesuffix(" °C"), most=celsius(plan.most_k))
    yield (
        say("Watch"),
        say("{watch} {target} or nearly, and never leave {ends}.", watch=watch, target=target, ends=ends),
    )
    if plan.cold:
        yield say("Take care"), *CAUTIONS


def _bottle(plan: WarmUp, target: str) -> str:
    in_air = say(
        "in air of {target} a bottle of a litre takes {times}, left alone", target=target, times=times(plan.bottle_s)
    )
    if plan.bath_s is None or plan.bath_k is None:
        return f"{in_air[0].upper()}{in_air[1:]}."
    bath = say(
        "Closed, in water of at most {bath}, a bottle of a litre takes {times}",
        bath=celsius(plan.bath_k),
        times=times(plan.bath_s),
    )
    return say(
        "{bath}; {in_air}. Turn it over now and then: it warms sooner, and the pigment comes up.",
        bath=bath,
        in_air=in_air,
    )


def _room(plan: WarmUp, target: str) -> str:
    if plan.back_s is None:
        return say("Cool it to {target}, keep the sun off, and leave it so until the run is over.", target=target)
    return say(
        "Keep it, or an enclosure around the machine, at {target} until the run is over: "
        "left as it is, the pool loses half of the warmth in {times}.",
        target=target,
        times=times(plan.back_s),
    )
