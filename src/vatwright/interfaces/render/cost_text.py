"""What a job costs, for the terminal: the answer, then kinds of cost, failures, what moves it, resin, and after the print."""

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
    significant,
)
from vatwright.interfaces.render.after_words import after_sentences, bottle_sentences

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.after import Span
    from vatwright.records.cost import CostSheet, Swing

COLUMNS = 100
SWINGS = 5
"""What moves the cost most: so many are shown."""

_CURRENCY = 12
"""Letters of a currency's name that are shown."""


def money(span: Span, currency: str) -> str:
    """Return an amount with its range, in the digits it justifies but no finer than a hundredth.

    Examples
    --------
    >>> from vatwright.answers.numbers import plain
    >>> from vatwright.records.after import Span
    >>> plain(money(Span(low=3.29, value=4.233, high=6.36), "marks"))
    '4.2 marks (3.3-6.4)'
    """
    half = (span.high - span.low) / 2.0
    if half <= 0.0:
        return about(span.value, currency)
    places = min(decimals_for(half), 2)
    amount = f"{fixed(span.value, places)}{currency_word(currency)}"
    return f"{amount} ({fixed(span.low, places)}\u2013{fixed(span.high, places)})"


def about(amount: float, currency: str) -> str:
    """Return an amount to two digits.

    Examples
    --------
    >>> about(26.35, "marks"), about(0.275, "")
    ('26 marks', '0.28')
    """
    return f"{significant(amount, 2)}{currency_word(currency)}"


def currency_word(currency: str) -> str:
    """Return the currency's name as it stands behind an amount; nothing where nobody named one.

    Examples
    --------
    >>> currency_word("marks"), currency_word("")
    (' marks', '')
    """
    return f" {one_line(currency)[:_CURRENCY]}" if currency else ""


def cost_lead(sheet: CostSheet) -> str:
    """Return the answer in a few sentences."""
    less = "" if sheet.complete else " so far: some prices are missing, see below"
    each = f"A good piece costs {money(sheet.per_piece, sheet.currency)}{less}."
    whole = f"{plural(sheet.pieces, 'piece')}: {money(sheet.total, sheet.currency)}."
    if sheet.quote is None or sheet.margin is None:
        return f"{each} {whole}"
    quote = f"Quote {money(sheet.quote, sheet.currency)} a piece, with {sheet.margin * 100.0:.0f} % on top."
    return f"{each} {whole} {quote}"


def cost_work(sheet: CostSheet) -> str:
    """Return plates, time, hands and chance in a sentence or two."""
    chance = f"{percent(sheet.success.mean)} ({percent_range(sheet.success.low, sheet.success.high)})"
    visits = f", {plural(sheet.visits, 'visit')} during each run" if sheet.visits else ""
    return (
        f"{plural(sheet.plates, 'plate')} on {one_line(sheet.machine)}; a plate holds with {chance}. "
        f"Failed plates included, the machine prints {duration(sheet.print_s)} and a person works "
        f"{duration(sheet.hands_s)}{visits}."
    )


def cost_missing(sheet: CostSheet) -> tuple[str, ...]:
    """Return what is asked for, a line each."""
    return tuple(one_line(name) for name in sheet.missing)


def cost_rows(sheet: CostSheet) -> list[tuple[str, str, str, str]]:
    """Return the kinds of cost: what, from what, for the order, share of the whole."""
    whole = sheet.total.value or 1.0
    return [
        (line.label, line.what, money(line.amount, sheet.currency), percent(line.amount.value / whole))
        for line in sheet.lines
    ]


def failure_rows(sheet: CostSheet) -> list[tuple[str, str, str]]:
    """Return what a failure costs: noticed at which layer, when, how much."""
    return [(f"layer {f.layer}", duration(f.at_s), about(f.amount, sheet.currency)) for f in sheet.failures]


def swing_rows(sheet: CostSheet) -> list[tuple[str, str, str]]:
    """Return what moves the cost of a piece most: name, its range, the cost at either end."""
    return [
        (s.name, _input(s), f"{about(s.cost_low, '')} to {about(s.cost_high, sheet.currency)}")
        for s in sheet.swings[:SWINGS]
    ]


def _input(swing: Swing) -> str:
    if not swing.unit and swing.high <= 1.0:
        return percent_range(swing.low, swing.high)
    return f"{significant(swing.low, 2)}\u2013{significant(swing.high, 2)} {swing.unit}".rstrip()


def cost_text(sheet: CostSheet, *, cite: Callable[[str], str]) -> str:
    """Return the answer as text, 100 columns.

    Parameters
    ----------
    sheet : CostSheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    lines = [*_wrapped(cost_lead(sheet)), *_wrapped(f"{one_line(sheet.job)}: {cost_work(sheet)}")]
    if sheet.missing:
        lines += ["", "Missing, so left out; add it to the shop's prices or to the cost file:"]
        lines += [line for name in cost_missing(sheet) for line in _wrapped(name, head="  - ")]
    lines += ["", f"{'Cost of the order':<26}{'from':<38}{'range 90 %':<26}share"]
    lines += [f"  {a:<24}{b:<38}{c:<26}{d}".rstrip() for a, b, c, d in cost_rows(sheet)]
    lines += ["", "One failed plate costs, when it is noticed at"]
    lines += [f"  {a:<14}{b:<14}{c}" for a, b, c in failure_rows(sheet)]
    lines += ["", "What moves the cost of a piece most"]
    lines += [f"  {a:<28}{b:<22}{c}" for a, b, c in swing_rows(sheet)]
    for title, items in (
        ("Resin", bottle_sentences(sheet.bottle)),
        ("After the print", after_sentences(sheet.after)),
        ("Take care", sheet.cautions),
        ("Taken for granted", sheet.assumed),
        ("Sources", tuple(f"[{key}] {cite(key)}" for key in sheet.sources)),
    ):
        if items:
            lines += ["", title, *(line for item in items for line in _wrapped(item, head="  - "))]
    return plain("\n".join(lines))


def _wrapped(text: str, *, head: str = "") -> list[str]:
    lines = textwrap.wrap(bound(text), COLUMNS, initial_indent=head, subsequent_indent=" " * len(head))
    return [line.replace("\xa0", " ") for line in lines]
