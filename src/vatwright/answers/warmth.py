"""Resin too cold or too warm to print, in sentences: how it comes back, for how long, and what to beware of."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.after import times
from vatwright.answers.blocks import Entry, Ledger, Sentence, said
from vatwright.answers.numbers import celsius

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vatwright.records.warmth import WarmUp

CAUTIONS = (
    (
        "Never heat resin over a flame, on a hotplate or in a microwave oven, and never beyond what its label or safety data "
        "sheet allows: those decide, not this sheet."
    ),
    (
        "Warm it in its own closed bottle, upright, and keep the water out of it; loosen the cap once it is warm, outdoors or "
        "under extraction: warm resin gives off more vapour."
    ),
)
"""Common practice, no source."""


def outside(plan: WarmUp) -> str:
    """Return that nothing is said at this temperature, and what to do first."""
    do = "Warm" if plan.cold else "Cool"
    known = f"{celsius(plan.least_k).removesuffix(' °C')} to {celsius(plan.most_k)}"
    return (
        f"No: at {celsius(plan.now_k)} nobody has checked how resin flows and lets go ({known} is known ground). "
        f"{do} resin, vat and room to {celsius(plan.target_k)} first."
    )


def refused(plan: WarmUp | None) -> tuple[Sentence, ...]:
    """Return that refusal where there is one."""
    return said(outside(plan), role="refusal") if plan is not None else ()


def no_chance(plan: WarmUp) -> str:
    """Return why no chance is told, and what to ask once it is warm."""
    return f"So no chance and no settings are told. Then carry it again for a room of {celsius(plan.target_k)}."


def warming_lines(plan: WarmUp) -> tuple[str, ...]:
    """Return what to do, a sentence or two each, for a sheet on paper."""
    return tuple(text for _, *texts in _steps(plan) for text in texts)


def warming_ledger(plan: WarmUp) -> Ledger:
    """Return what to do, what to watch and what to beware of."""
    return Ledger(tuple(Entry(head, said(*texts, role="do")) for head, *texts in _steps(plan)))


def _steps(plan: WarmUp) -> Iterator[tuple[str, ...]]:
    """What is warmed, or done, with its sentences."""
    target = celsius(plan.target_k)
    yield "Bottle", _bottle(plan, target)
    pool = f"With its pool, in air of {target}: {times(plan.vat_s)}. Platform and frame are metal: give them as long."
    yield "Vat", pool
    yield "Room", _room(plan, target)
    watch = "Read a thermometer in the vat before the start and again after the base: it must show"
    ends = f"{celsius(plan.least_k).removesuffix(' °C')} to {celsius(plan.most_k)}"
    yield "Watch", f"{watch} {target} or nearly, and never leave {ends}."
    if plan.cold:
        yield "Take care", *CAUTIONS


def _bottle(plan: WarmUp, target: str) -> str:
    in_air = f"in air of {target} a bottle of a litre takes {times(plan.bottle_s)}, left alone"
    if plan.bath_s is None or plan.bath_k is None:
        return f"{in_air[0].upper()}{in_air[1:]}."
    bath = f"Closed, in water of at most {celsius(plan.bath_k)}, a bottle of a litre takes {times(plan.bath_s)}"
    return f"{bath}; {in_air}. Turn it over now and then: it warms sooner, and the pigment comes up."


def _room(plan: WarmUp, target: str) -> str:
    if plan.back_s is None:
        return f"Cool it to {target}, keep the sun off, and leave it so until the run is over."
    return (
        f"Keep it, or an enclosure around the machine, at {target} until the run is over: left as it is, the pool loses half "
        f"of the warmth in {times(plan.back_s)}."
    )
