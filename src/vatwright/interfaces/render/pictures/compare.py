"""Pictures of a comparison: the machines side by side, and when a larger one has paid."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.answers.compare import chance_words
from vatwright.answers.money import currency_word, in_currency, money
from vatwright.answers.numbers import duration, fixed, one_line, percent, significant
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.bars import Bar, BarWords, bars
from vatwright.interfaces.render.pictures.plots import Drawing
from vatwright.units import from_si
from vatwright.wording import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.cost import CompareSheet, CostSheet, MachineSide, PayBack


Able = list[tuple["MachineSide", "CostSheet"]]


def _able(sheet: CompareSheet) -> Able:
    return [(s, s.cost) for s in sheet.sides if s.cost is not None]


def side_costs(sheet: CompareSheet) -> Drawing:
    """Return what a piece costs on each machine."""
    able = _able(sheet)
    rows = [
        Bar(
            s.machine,
            c.per_piece.value,
            money(c.per_piece, "").split(" (")[0],
            low=c.per_piece.low,
            high=c.per_piece.high,
        )
        for s, c in able
    ]
    best, cost = min(able, key=lambda x: x[1].per_piece.value)
    return bars(
        BarWords(
            "compare-cost",
            say(
                "A piece costs least on {machine}: {per_piece}",
                machine=one_line(best.machine),
                per_piece=money(cost.per_piece, sheet.currency),
            ),
            say("Cost of a good piece by machine; a thin line shows the 90 % range."),
            say("cost of a good piece {in_currency}", in_currency=in_currency(sheet.currency)),
        ),
        rows,
        (say("machine"), say("a good piece and 90 % range")),
        [(one_line(s.machine), money(c.per_piece, sheet.currency)) for s, c in able],
    )


def side_times(sheet: CompareSheet) -> Drawing:
    """Return how long each machine prints."""
    return _hours("time", say("Printing"), _able(sheet), lambda c: c.print_s)


def side_hands(sheet: CompareSheet) -> Drawing:
    """Return how long a person works at each machine."""
    return _hours("hands", say("A person's work"), _able(sheet), lambda c: c.hands_s)


def _hours(slug: str, what: str, able: Able, of: Callable[[CostSheet], float]) -> Drawing:
    rows = [Bar(s.machine, from_si(of(c), "h"), duration(of(c))) for s, c in able]
    best, cost = min(able, key=lambda x: of(x[1]))
    return bars(
        BarWords(
            f"compare-{slug}",
            say(
                "{what} takes least on {machine}: {of}",
                what=what,
                machine=one_line(best.machine),
                of=duration(of(cost)),
            ),
            say("{what} for the whole order by machine, failed plates included.", what=what),
            f"{what.lower()} [h]",
        ),
        rows,
        (say("machine"), what.lower()),
        [(one_line(s.machine), duration(of(c))) for s, c in able],
    )


def side_chances(sheet: CompareSheet) -> Drawing:
    """Return how surely a plate holds on each machine."""
    able = _able(sheet)
    rows = [
        Bar(
            s.machine,
            from_si(c.success.mean, "percent"),
            percent(c.success.mean),
            from_si(c.success.low, "percent"),
            from_si(c.success.high, "percent"),
        )
        for s, c in able
    ]
    best, cost = max(able, key=lambda x: x[1].success.mean)
    return bars(
        BarWords(
            "compare-chance",
            say(
                "A plate holds most surely on {machine}: {mean}",
                machine=one_line(best.machine),
                mean=percent(cost.success.mean),
            ),
            say("Chance that a plate holds by machine; a thin line shows its range."),
            say("chance that a plate holds [%]"),
        ),
        rows,
        (say("machine"), say("a plate holds")),
        [(one_line(s.machine), chance_words(c.success.low, c.success.mean, c.success.high)) for s, c in able],
    )


def pay_figure(pay: PayBack, currency: str) -> Drawing:
    """Return what a larger machine has saved less what it cost to have, which must be known, against the pieces made."""
    fixed_cost, saves = pay.fixed or 0.0, pay.saves
    ends = [n for n in (*pay.pieces_range, pay.pieces) if n]
    most = 1.5 * (pay.pieces or min(ends, default=1000))
    if ends and max(ends) < 3.0 * most:
        most = max(most, 1.1 * max(ends))
    across = svg.axis(say("pieces made"), 0.0, most, most=5)
    pieces = np.array([0.0, across.high])
    lines = {k: getattr(saves, k) * pieces - fixed_cost for k in ("low", "value", "high")}
    low, high = float(min(v.min() for v in lines.values())), float(max(v.max() for v in lines.values()))
    frame = svg.Frame(
        across,
        svg.axis(say("saved less cost {in_currency}", in_currency=in_currency(currency)), low, high, most=5),
        top=14.0,
        left=66.0,
        right=30.0,
    )
    marks = [
        frame.axes(),
        frame.band(pieces, lines["low"], lines["high"], svg.fill("accent-fill")),
        frame.line(pieces, lines["value"], svg.stroke("accent", 2.5)),
        frame.level(0.0, svg.stroke("ink", 1.5)),
        svg.words("paid", frame.width - frame.right - 4, frame.at_y(0.0) - 5, anchor="end"),
    ]
    if pay.pieces is not None and pay.pieces <= pieces[1]:
        marks.append(frame.upright(float(pay.pieces), svg.stroke("soft", 1.2, "5 3")))
    slug = f"pay-{_slug(pay.work.larger)}-{_slug(pay.work.smaller)}"
    title = _finding(pay)
    picture = svg.drawing(
        slug=slug,
        title=title,
        description=say(
            "What it saves by the pieces made, less what it, its spares and stations cost; the "
            "shaded wedge is the 90 % range."
        ),
        width=frame.width,
        height=frame.height,
        children=marks,
    )
    word = currency_word(currency)
    table = tuple(
        (
            significant(n, 2),
            *(f"{fixed(getattr(saves, k) * n - fixed_cost, 0)}{word}" for k in ("low", "value", "high")),
        )
        for n in np.linspace(0.0, pieces[1], 6)
    )
    return Drawing(slug, title, picture, (say("pieces made"), say("worse end"), "middle", say("better end")), table)


def _finding(pay: PayBack) -> str:
    if pay.pieces is None:
        return say(
            "{larger} never pays beside {smaller}", larger=one_line(pay.work.larger), smaller=one_line(pay.work.smaller)
        )
    pair = say(
        "{larger} has paid beside {smaller}", larger=one_line(pay.work.larger), smaller=one_line(pay.work.smaller)
    )
    return say("{pair} after about {pieces} pieces", pair=pair, pieces=significant(pay.pieces, 2))


def _slug(name: str) -> str:
    return "".join(c if c.isascii() and c.isalnum() else "-" for c in name.lower())
