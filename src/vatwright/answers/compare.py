"""The same order on several machines, in words: which one, the columns, and whether a larger one pays."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.blocks import Answer, Column, Figure, Part, Row, Source, Table, points, said
from vatwright.answers.cost import missing_blocks
from vatwright.answers.fleet import worth_words
from vatwright.answers.money import currency_word, money
from vatwright.answers.numbers import (
    decimals_for,
    duration,
    fixed,
    one_line,
    percent,
    percent_range,
    resin_volume,
    significant,
)
from vatwright.answers.warmth import outside
from vatwright.wording import say, say_many, to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from vatwright.answers.blocks import Block
    from vatwright.records.cost import CompareSheet, CostSheet, FloorCheck, MachineSide, Missing, PayBack

EQUAL = 0.03
"""Costs and times nearer than this are called equal [-]; engineering estimate: far inside their ranges."""

UNKNOWN = to_say("not known")
NO_COST = to_say("Prices are missing, so none is called the cheapest.")


def compare_answer(sheet: CompareSheet, *, cite: Callable[[str], str]) -> Answer:
    """Return a comparison in words.

    Parameters
    ----------
    sheet : CompareSheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    takes = able(sheet) and sheet.warm_up is None
    blocks: tuple[Block, ...] = said(verdict(sheet.sides), role="verdict" if takes else "refusal")
    if able(sheet):
        blocks += (_table(able(sheet), sheet.currency),)
    left_out = tuple(f"{one_line(s.machine)}: {one_line(s.why_not)}" for s in sheet.sides if s.cost is None)
    floors = tuple(floor_sentence(s.machine, s.floor) for s in able(sheet) if s.floor is not None)
    lists = (
        ("out", say("Which are left out?"), points(left_out)),
        ("side", say("Side by side"), _side_figures(sheet)),
        *((f"pays-{n}", pay_question(p), _pays(sheet, p)) for n, p in enumerate(sheet.pays, start=1)),
        ("table", say("Will the table stand still?"), points(floors)),
        ("sources", say("Where do the figures come from?"), tuple(Source(k, cite(k)) for k in sheet.sources)),
    )
    title = say(
        "Which machine? {job}, {pieces}",
        job=one_line(sheet.job),
        pieces=say_many(sheet.pieces, "{n} piece", "{n} pieces"),
    )
    pages = tuple(Part(slug=s, title=t, blocks=b) for s, t, b in lists if b)
    return Answer(name="compare", title=title, blocks=(*blocks, *missing_blocks(missing(sheet))), pages=pages)


def able(sheet: CompareSheet) -> list[MachineSide]:
    """Return the machines that take the order."""
    return [s for s in sheet.sides if s.cost is not None]


def comparable(costs: Sequence[CostSheet]) -> bool:
    """Return whether costs may be set against each other: all lack the same prices, and neither work's nor the resin's."""
    gaps = {frozenset((g.field, g.of.removesuffix(c.machine)) for g in c.missing) for c in costs}
    largest = {("price", "work"), *(("price", c.resin) for c in costs)}
    return all(c.priced for c in costs) and len(gaps) == 1 and not largest & next(iter(gaps))


def verdict(sides: Sequence[MachineSide]) -> str:
    """Return in a sentence which machine to take: the cheapest that holds, and the fastest where that is another.

    Parameters
    ----------
    sides : sequence of MachineSide
        The machines; none is recommended in a room at no known warmth.
    """
    able_ = [s for s in sides if s.cost is not None]
    warming = next((s.cost.warm_up for s in able_ if s.cost), None)
    if warming is not None:
        return outside(warming)
    pool = [(s.machine, s.cost) for s in able_ if s.holds and s.cost] or [(s.machine, s.cost) for s in able_ if s.cost]
    if not pool:
        return say("None of these machines takes this order.")
    doubt = (
        ""
        if any(s.holds for s in able_)
        else say(" No machine carries it with the confidence asked for: measure first.")
    )
    times = {name: c.print_s for name, c in pool}
    fast = min(times, key=lambda m: times[m])
    if not comparable([c for _, c in pool]):
        return say(
            "{fast} prints the order soonest. {no_cost}{doubt}", fast=one_line(fast), no_cost=NO_COST, doubt=doubt
        )
    costs = {name: c.per_piece.value for name, c in pool}
    cheap = min(costs, key=lambda m: costs[m])
    by = say("a piece") if all(c.complete for _, c in pool) else say("by the prices that are there")
    cheapest, soonest = one_line(cheap), one_line(fast)
    if cheap == fast or times[cheap] <= times[fast] * (1.0 + EQUAL):
        return say(
            "{cheapest}: the cheapest {by}, and none prints the order sooner.{doubt}",
            cheapest=cheapest,
            by=by,
            doubt=doubt,
        )
    if costs[fast] <= costs[cheap] * (1.0 + EQUAL):
        return say(
            "{soonest}: it prints the order soonest, and none is much cheaper {by}.{doubt}",
            soonest=soonest,
            by=by,
            doubt=doubt,
        )
    return say(
        "{cheapest} is the cheapest {by}; {soonest} prints the order soonest.{doubt}",
        cheapest=cheapest,
        by=by,
        soonest=soonest,
        doubt=doubt,
    )


def _table(sides: list[MachineSide], currency: str) -> Table:
    head, *rows = side_rows(sides, currency)
    columns = (Column(say("quantity")), *(Column(name) for name in head[1]))
    return Table(slug="machines", columns=columns, rows=tuple(Row((label, *cells)) for label, cells in rows))


def _side_figures(sheet: CompareSheet) -> tuple[Block, ...]:
    costs = [s.cost for s in able(sheet) if s.cost is not None]
    if len(costs) < 2:
        return ()
    shown = ("cost", "time", "hands", "chance") if comparable(costs) else ("time", "hands", "chance")
    return tuple(Figure(slug=f"compare-{what}", data=sheet) for what in shown)


def _pays(sheet: CompareSheet, pay: PayBack) -> tuple[Block, ...]:
    two = [s.cost for s in able(sheet) if s.machine in {pay.work.larger, pay.work.smaller} and s.cost is not None]
    priced = comparable(two)
    figure = (Figure(slug="pay", data=(pay, sheet.currency)),) if priced and pay.fixed is not None else ()
    return (*said(*pay_sentences(pay, sheet.currency, priced=priced)), *figure)


def pay_question(pay: PayBack) -> str:
    """Return what is asked of two machines."""
    return say(
        "Would {larger} pay beside {smaller}?", larger=one_line(pay.work.larger), smaller=one_line(pay.work.smaller)
    )


def missing(sheet: CompareSheet) -> list[Missing]:
    """Return what is asked for on any of the machines."""
    asked = [gap for s in sheet.sides if s.cost is not None for gap in s.cost.missing]
    return [*asked, *(gap for p in sheet.pays for gap in p.missing)]


def _price_cell(cost: CostSheet) -> str:
    if not cost.priced:
        return say(UNKNOWN)
    return f"{'' if cost.complete else say('at least ')}{money(cost.per_piece, '')}"


def side_rows(sides: list[MachineSide], currency: str) -> Iterator[tuple[str, list[str]]]:
    """Return the columns of machines that take the order, a row a quantity; the first row holds their names."""
    costs = [s.cost for s in sides if s.cost is not None]
    works = [s.work for s in sides if s.work is not None]
    word = currency_word(currency)
    yield "", [one_line(s.machine) for s in sides]
    yield say("a piece,{word}", word=word) if word else say("a piece"), [_price_cell(c) for c in costs]
    yield say("printing"), [duration(c.print_s) for c in costs]
    yield say("a person's work"), [duration(c.hands_s) for c in costs]
    yield say("plates"), [str(c.plates) for c in costs]
    yield say("visits in a run"), [str(c.visits) for c in costs]
    yield say("a plate holds"), [chance_words(c.success.low, c.success.mean, c.success.high) for c in costs]
    yield say("as sure as asked for"), [say("yes") if s.holds else say("no") for s in sides]
    yield say("resin to pour"), [resin_volume(c.bottle.pour_m3) for c in costs]
    yield (
        say("resin at hand does"),
        [{None: UNKNOWN, True: say("yes"), False: say("no")}[c.bottle.enough] for c in costs],
    )
    yield say("a layer"), [duration(w.layer_s) for w in works]
    yield say("pieces on a full plate"), [str(w.pieces) for w in works]
    yield say("pieces an hour, full"), [significant(w.pieces_h, 2) for w in works]


def chance_words(low: float, mean: float, high: float) -> str:
    """Return a chance with its range."""
    return f"{percent(mean)} ({percent_range(low, high)})"


def pay_sentences(pay: PayBack, currency: str, *, priced: bool) -> Iterator[str]:
    """Return whether a larger machine pays for itself, a sentence or two each."""
    yield worth_words(pay.work)
    if not priced:
        yield say("Prices are missing, so nothing is said about what it saves.")
        return
    unit = currency_word(currency)
    half = (pay.saves.high - pay.saves.low) / 2.0
    places = min(decimals_for(half), 2) if half > 0.0 else 2
    span = (
        say(" ({low} to {high})", low=fixed(pay.saves.low, places), high=fixed(pay.saves.high, places))
        if half > 0.0
        else ""
    )
    rent = (
        ""
        if pay.rent_per_piece is None
        else say(
            ", {rent_per_piece}{unit} for its floor taken off", rent_per_piece=fixed(pay.rent_per_piece, 2), unit=unit
        )
    )
    yield say(
        "It saves {value}{unit} a piece{span}, its own price left out{rent}.",
        value=fixed(pay.saves.value, places),
        unit=unit,
        span=span,
        rent=rent,
    )
    if pay.fixed is None:
        yield say("What it costs to have is not known, so nothing is said about when it has paid.")
    elif pay.pieces is None:
        yield say(
            "It never earns back the {fixed}{unit} that it, its spares and its stations cost.",
            fixed=fixed(pay.fixed, 0),
            unit=unit,
        )
    else:
        yield _earned(pay, pay.fixed, pay.pieces, unit)


def _earned(pay: PayBack, cost: float, pieces: int, unit: str) -> str:
    early, late = (None if n is None else significant(n, 2) for n in pay.pieces_range)
    span = (
        say("{early} at the better end of the range, never at the worse", early=early)
        if late is None
        else say("{early} to {late}", early=early, late=late)
    )
    months = (
        "" if pay.months is None else say(", {months} months of your order book", months=significant(pay.months, 2))
    )
    return say(
        "It has earned back the {cost}{unit} that it, its spares and its stations cost after "
        "about {pieces} pieces ({span}){months}: that price over what it saves a piece.",
        cost=fixed(cost, 0),
        unit=unit,
        pieces=significant(pieces, 2),
        span=span,
        months=months,
    )


def floor_sentence(machine: str, floor: FloorCheck) -> str:
    """Return whether the table stands still under a machine, and carries it."""
    rate = say(
        "{low} to {high} Hz", low=significant(floor.frequency_hz.low, 2), high=significant(floor.frequency_hz.high, 2)
    )
    calm = say(
        "{value} ({low} to {high})",
        value=duration(floor.calm_s.value),
        low=duration(floor.calm_s.low),
        high=duration(floor.calm_s.high),
    )
    word = say("in time") if floor.still else say("perhaps too late")
    said = say(
        "{machine}: the table sways at {rate} and is calm after {calm}; the settle is {settle}, so {word}.",
        machine=one_line(machine),
        rate=rate,
        calm=calm,
        settle=duration(floor.settle_s),
        word=word,
    )
    if floor.upper_bound:
        said += say(" Worked out from its legs: real joints are softer. Push it and read how far it gives.")
    if floor.carries_kg is not None:
        load, most = significant(floor.load_kg, 2), significant(floor.carries_kg, 2)
        said += (
            say(" It carries {load} kg (it may take {most} kg).", load=load, most=most)
            if floor.load_kg <= floor.carries_kg
            else say(" It does not carry {load} kg (it may take {most} kg).", load=load, most=most)
        )
    return said
