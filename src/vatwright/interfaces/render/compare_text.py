"""The same order on several machines, for the terminal: which one, the columns, and whether a larger one pays."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from vatwright.answers.numbers import (
    bound,
    decimals_for,
    duration,
    fixed,
    one_line,
    percent,
    percent_range,
    plain,
    plural,
    resin_volume,
    significant,
)
from vatwright.interfaces.render.cost_text import currency_word, money
from vatwright.interfaces.render.fleet_words import worth_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from vatwright.records.cost import CompareSheet, FloorCheck, MachineSide, PayBack

COLUMNS = 100
_LABEL = 24
_ABREAST = 3
"""Machines side by side in 100 columns."""


def compare_text(sheet: CompareSheet, *, cite: Callable[[str], str]) -> str:
    """Return the comparison as text, 100 columns.

    Parameters
    ----------
    sheet : CompareSheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    lines = [*_wrapped(sheet.verdict), *_wrapped(f"{one_line(sheet.job)}, {plural(sheet.pieces, 'piece')}.")]
    able = [s for s in sheet.sides if s.cost is not None]
    for first in range(0, len(able), _ABREAST):
        lines += ["", *_columns(able[first : first + _ABREAST], sheet.currency)]
    for side in sheet.sides:
        if side.cost is None:
            lines += ["", *_wrapped(f"{one_line(side.machine)} is left out: {one_line(side.why_not)}")]
    for title, said in (
        *((pay_question(p), tuple(pay_sentences(p, sheet.currency))) for p in sheet.pays),
        ("The table", tuple(floor_sentence(s.machine, s.floor) for s in able if s.floor is not None)),
        ("Missing, so left out", missing(sheet)),
        ("Sources", tuple(f"[{key}] {cite(key)}" for key in sheet.sources)),
    ):
        if said:
            lines += ["", title, *(line for text in said for line in _wrapped(text, head="  - "))]
    return plain("\n".join(line.rstrip() for line in lines))


def pay_question(pay: PayBack) -> str:
    """Return what is asked of two machines."""
    return f"Would {one_line(pay.work.larger)} pay beside {one_line(pay.work.smaller)}?"


def missing(sheet: CompareSheet) -> tuple[str, ...]:
    """Return what is asked for on any of the machines."""
    asked = [name for s in sheet.sides if s.cost is not None for name in s.cost.missing]
    return tuple(one_line(x) for x in dict.fromkeys([*asked, *(m for p in sheet.pays for m in p.missing)]))


def _columns(sides: list[MachineSide], currency: str) -> list[str]:
    width = (COLUMNS - _LABEL) // _ABREAST
    return [
        f"{label:<{_LABEL}}" + "".join(f"{cell[: width - 1]:<{width}}" for cell in cells)
        for label, cells in side_rows(sides, currency)
    ]


def side_rows(sides: list[MachineSide], currency: str) -> Iterator[tuple[str, list[str]]]:
    """Return the columns of machines that take the order, a row a quantity; the first row holds their names."""
    costs = [s.cost for s in sides if s.cost is not None]
    works = [s.work for s in sides if s.work is not None]
    word = currency_word(currency)
    yield "", [one_line(s.machine) for s in sides]
    yield f"a piece,{word}" if word else "a piece", [money(c.per_piece, "") for c in costs]
    yield "printing", [duration(c.print_s) for c in costs]
    yield "a person's work", [duration(c.hands_s) for c in costs]
    yield "plates", [str(c.plates) for c in costs]
    yield "visits in a run", [str(c.visits) for c in costs]
    yield "a plate holds", [chance_words(c.success.low, c.success.mean, c.success.high) for c in costs]
    yield "as sure as asked for", ["yes" if s.holds else "no" for s in sides]
    yield "resin to pour", [resin_volume(c.bottle.pour_m3) for c in costs]
    yield "resin at hand does", [{None: "not known", True: "yes", False: "no"}[c.bottle.enough] for c in costs]
    yield "a layer", [duration(w.layer_s) for w in works]
    yield "pieces on a full plate", [str(w.pieces) for w in works]
    yield "pieces an hour, full", [significant(w.pieces_h, 2) for w in works]


def chance_words(low: float, mean: float, high: float) -> str:
    """Return a chance with its range."""
    return f"{percent(mean)} ({percent_range(low, high)})"


def pay_sentences(pay: PayBack, currency: str) -> Iterator[str]:
    """Return whether a larger machine pays for itself, a sentence or two each."""
    yield worth_words(pay.work)
    unit = currency_word(currency)
    half = (pay.saves.high - pay.saves.low) / 2.0
    places = min(decimals_for(half), 2) if half > 0.0 else 2
    span = f" ({fixed(pay.saves.low, places)} to {fixed(pay.saves.high, places)})" if half > 0.0 else ""
    rent = "" if pay.rent_per_piece is None else f", {fixed(pay.rent_per_piece, 2)}{unit} for its floor taken off"
    yield f"It saves {fixed(pay.saves.value, places)}{unit} a piece{span}, its own price left out{rent}."
    if pay.fixed is None:
        yield "What it costs to have is not known, so nothing is said about when it has paid."
    elif pay.pieces is None:
        yield f"It never earns back the {fixed(pay.fixed, 0)}{unit} that it, its spares and its stations cost."
    else:
        yield _earned(pay, pay.fixed, pay.pieces, unit)


def _earned(pay: PayBack, cost: float, pieces: int, unit: str) -> str:
    early, late = (None if n is None else significant(n, 2) for n in pay.pieces_range)
    span = f"{early} at the better end of the range, never at the worse" if late is None else f"{early} to {late}"
    months = "" if pay.months is None else f", {significant(pay.months, 2)} months of your order book"
    return (
        f"It has earned back the {fixed(cost, 0)}{unit} that it, its spares and its stations cost after about "
        f"{significant(pieces, 2)} pieces ({span}){months}: that price over what it saves a piece."
    )


def floor_sentence(machine: str, floor: FloorCheck) -> str:
    """Return whether the table stands still under a machine, and carries it."""
    rate = f"{significant(floor.frequency_hz.low, 2)} to {significant(floor.frequency_hz.high, 2)} Hz"
    calm = f"{duration(floor.calm_s.value)} ({duration(floor.calm_s.low)} to {duration(floor.calm_s.high)})"
    word = "in time" if floor.still else "perhaps too late"
    said = (
        f"{one_line(machine)}: the table sways at {rate} and is calm after {calm}; the settle is "
        f"{duration(floor.settle_s)}, so {word}."
    )
    if floor.upper_bound:
        said += " Worked out from its legs: real joints are softer. Push it and read how far it gives."
    if floor.carries_kg is not None:
        enough = "carries" if floor.load_kg <= floor.carries_kg else "does not carry"
        said += f" It {enough} {significant(floor.load_kg, 2)} kg (it may take {significant(floor.carries_kg, 2)} kg)."
    return said


def _wrapped(text: str, *, head: str = "") -> list[str]:
    lines = textwrap.wrap(bound(text), COLUMNS, initial_indent=head, subsequent_indent=" " * len(head))
    return [line.replace("\xa0", " ") for line in lines]
