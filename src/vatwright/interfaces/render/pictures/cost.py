"""Pictures of a cost sheet: what an order's cost is made of, and what moves it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.cost import SWINGS, cost_rows, swing_rows
from vatwright.answers.money import about, in_currency
from vatwright.answers.numbers import one_line, percent, significant
from vatwright.interfaces.render.pictures.bars import Bar, BarWords, bars
from vatwright.wording import say

if TYPE_CHECKING:
    from vatwright.interfaces.render.pictures.plots import Drawing
    from vatwright.records.cost import CostLine, CostSheet

SHOWN = 10
"""Kinds of cost that get a bar of their own; the rest share one."""


def cost_split(sheet: CostSheet) -> Drawing:
    """Return what the order's cost is made of, largest first."""
    first, rest = sheet.priced[:SHOWN], sheet.priced[SHOWN:]
    rows = [_kind(line) for line in first]
    if len(rest) == 1:
        rows.append(_kind(rest[0]))
    elif rest:
        amount = sum(line.amount.value for line in rest)
        rows.append(Bar(say("{rest} smaller ones", rest=len(rest)), amount, significant(amount, 2)))
    top = first[0]
    finding = say(
        "The largest part of the order's cost is {called}, {value}",
        called=_called(top.label),
        value=percent(top.amount.value / sheet.total.value),
    )
    table = [(label, amount, share, what) for label, what, amount, share in cost_rows(sheet)]
    words = BarWords(
        "cost-split", finding, say("Kinds of cost, largest first; a thin line shows the 90 % range."),
        say("for the order {in_currency}", in_currency=in_currency(sheet.currency)),
    )  # fmt: skip
    return bars(words, rows, (say("what"), say("amount and 90 % range"), say("share"), say("from")), table)


def _called(label: str) -> str:
    """Return a kind of cost within a sentence: a step of work is named as one."""
    step = label.removeprefix("work: ")
    return say("work to {step}", step=one_line(step)) if step != label else one_line(label)


def _kind(line: CostLine) -> Bar:
    a = line.amount
    return Bar(line.label, a.value, significant(a.value, 2), a.low, a.high)


def swing_figure(sheet: CostSheet) -> Drawing:
    """Return what a piece costs with one input at either end of its range, around what it costs in the middle."""
    middle = sheet.per_piece.value
    rows = []
    for s in sheet.swings[:SWINGS]:
        low, high = sorted((s.cost_low, s.cost_high))
        ends = say("{low} to {high}", low=significant(low, 2), high=significant(high, 2))
        rows.append(Bar(s.name.removeprefix("work: "), high, ends, mark=middle, start=low))
    low, high = sorted((sheet.swings[0].cost_low, sheet.swings[0].cost_high))
    finding = say(
        "What moves the cost of a piece most is the {called}: {low} to {high}",
        called=_called(sheet.swings[0].name),
        low=significant(low, 2),
        high=about(high, sheet.currency),
    )
    words = BarWords(
        "cost-swings", finding,
        say("A bar from the cost of a piece with one input at its better end to that at its worse; the stroke is the middle."),
        say("cost of a piece {in_currency}", in_currency=in_currency(sheet.currency)),
    )  # fmt: skip
    note = say(
        "The stroke is {middle}, with everything in the middle of its range.", middle=about(middle, sheet.currency)
    )
    return bars(words, rows, (say("what"), say("its range"), say("a piece then costs")), swing_rows(sheet))._replace(
        note=note
    )
