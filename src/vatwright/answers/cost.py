"""What a job costs, in words: a good piece with its range, failures, what moves it, resin, and what comes after the print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.after import after_sentences, bottle_sentences
from vatwright.answers.blocks import Answer, Column, Figure, Part, Row, Source, Table, points, said
from vatwright.answers.money import about, currency_word, missing_blanks, money
from vatwright.answers.numbers import duration, one_line, percent, percent_range, significant
from vatwright.answers.warmth import refused
from vatwright.wording import say, say_many

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from vatwright.answers.blocks import Block
    from vatwright.records.cost import CostSheet, Missing, Swing

SWINGS = 5
"""What moves the cost most: so many are shown."""


def cost_answer(sheet: CostSheet, *, cite: Callable[[str], str]) -> Answer:
    """Return what a job costs in words.

    Parameters
    ----------
    sheet : CostSheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    first = (*refused(sheet.warm_up), *said(cost_lead(sheet), role="verdict"))
    blocks = (*first, *said(cost_work(sheet)), *missing_blocks(sheet.missing))
    lists = (
        ("resin", say("Is there enough resin?"), points(bottle_sentences(sheet.bottle))),
        ("after", say("What comes after the print?"), points(after_sentences(sheet.after))),
        ("care", say("Take care"), points(sheet.cautions, "caution")),
        ("sources", say("What it rests on"), (*points(sheet.assumed), *(Source(k, cite(k)) for k in sheet.sources))),
    )
    pages = (*_figures(sheet), *(Part(slug=s, title=t, blocks=b) for s, t, b in lists if b))
    title = say("What does it cost? {job} on {machine}", job=one_line(sheet.job), machine=one_line(sheet.machine))
    return Answer(name="cost", title=title, blocks=blocks, pages=pages)


def cost_lead(sheet: CostSheet) -> str:
    """Return the answer in a few sentences; without any price none is told, and with some the least it can be."""
    if not sheet.priced:
        return say(
            "No price is known, so no cost is told. Begin with these, for {pieces}.",
            pieces=say_many(sheet.pieces, "{n} piece", "{n} pieces"),
        )
    least = "" if sheet.complete else say("at least ")
    each = say("A good piece costs {least}{per_piece}.", least=least, per_piece=money(sheet.per_piece, sheet.currency))
    whole = f"{say_many(sheet.pieces, '{n} piece', '{n} pieces')}: {least}{money(sheet.total, sheet.currency)}."
    if not sheet.complete:
        return say("{each} {whole} What is missing below comes on top.", each=each, whole=whole)
    if sheet.quote is None or sheet.margin is None:
        return f"{each} {whole}"
    quote = say(
        "Quote {quote} a piece, with {margin:.0f} % on top.",
        quote=money(sheet.quote, sheet.currency),
        margin=sheet.margin * 100.0,
    )
    return f"{each} {whole} {quote}"


def cost_work(sheet: CostSheet) -> str:
    """Return plates, time, hands and chance in a sentence or two."""
    chance = f"{percent(sheet.success.mean)} ({percent_range(sheet.success.low, sheet.success.high)})"
    visits = (
        say_many(sheet.visits, ", {n} visit during each run", ", {n} visits during each run") if sheet.visits else ""
    )
    return say(
        "{plates} on {machine}; a plate holds in {chance} of runs. Failed plates included, "
        "the machine prints {print} and a person works {hands}{visits}.",
        plates=say_many(sheet.plates, "{n} plate", "{n} plates"),
        machine=one_line(sheet.machine),
        chance=chance,
        print=duration(sheet.print_s),
        hands=duration(sheet.hands_s),
        visits=visits,
    )


def missing_blocks(gaps: Iterable[Missing]) -> tuple[Block, ...]:
    """Return what nobody has stated, each with the field to fill; nothing where all is there."""
    blanks = missing_blanks(gaps)
    return (*said(say("Not known, so not in it; fill in:"), role="do"), *blanks) if blanks else ()


def _figures(sheet: CostSheet) -> Iterator[Part]:
    if sheet.priced:
        kinds = _table(
            "cost-kinds", (say("what"), say("from"), say("for the order, 90 % range"), say("share")), cost_rows(sheet)
        )
        yield Part(
            slug="split", title=say("What is it made of?"), blocks=(Figure(slug="cost-split", data=sheet), kinds)
        )
    if sheet.priced and sheet.swings:
        moves = _table("cost-moves", (say("what"), say("its range"), say("a piece then costs")), swing_rows(sheet))
        yield Part(slug="moves", title=say("What moves it?"), blocks=(Figure(slug="cost-swings", data=sheet), moves))
    if sheet.priced and sheet.failures:
        failed = _table("cost-failures", (say("noticed at"), say("after"), say("costs")), failure_rows(sheet))
        yield Part(slug="failures", title=say("What does one failed plate cost?"), blocks=(failed,))


def _table(slug: str, heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> Table:
    return Table(slug=slug, columns=tuple(Column(h) for h in heads), rows=tuple(Row(r) for r in rows))


def cost_rows(sheet: CostSheet) -> list[tuple[str, ...]]:
    """Return the kinds of cost: what, from what, for the order, share of the whole."""
    return [
        (line.label, line.what, money(line.amount, sheet.currency), percent(line.amount.value / sheet.total.value))
        for line in sheet.priced
    ]


def failure_rows(sheet: CostSheet) -> list[tuple[str, ...]]:
    """Return what a failure costs: noticed at which layer, when, how much."""
    return [
        (say("layer {layer}", layer=f.layer), duration(f.at_s), about(f.amount, sheet.currency)) for f in sheet.failures
    ]


def swing_rows(sheet: CostSheet) -> list[tuple[str, ...]]:
    """Return what moves the cost of a piece most: name, its range, the cost at either end."""
    return [
        (
            s.name,
            _input(s),
            say(
                "{cost_low} to {cost_high}{currency_word}",
                cost_low=about(s.cost_low, ""),
                cost_high=about(s.cost_high, ""),
                currency_word=currency_word(sheet.currency),
            ),
        )
        for s in sheet.swings[:SWINGS]
    ]


def _input(swing: Swing) -> str:
    if not swing.unit and swing.high <= 1.0:
        return percent_range(swing.low, swing.high)
    return f"{significant(swing.low, 2)}\u2013{significant(swing.high, 2)} {swing.unit}".rstrip()
