"""Amounts of money in the shop's own currency, and the prices nobody has stated."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.blocks import Blanks
from vatwright.answers.numbers import decimals_for, fixed, one_line, significant
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from vatwright.records.after import Span
    from vatwright.records.cost import Missing

_CURRENCY = 12
"""Letters of a currency's name that are shown."""

_LIVES = {
    "power_W": to_say("The power of {of} while it prints"),
    "film_layers": to_say("How many layers a film of {of} lasts"),
    "screen_h": to_say("How many hours a screen of {of} lasts"),
    "platform_h": to_say("How many hours a platform of {of} lasts"),
    "life_h": to_say("How many hours {of} lasts"),
}
"""What a field of a machine in the cost file says."""

_PER = {
    "h": to_say("an hour"),
    "kWh": to_say("a kilowatt-hour"),
    "l": to_say("a litre"),
    "kg": to_say("a kilogram"),
    "piece": to_say("each"),
    "m2 month": to_say("a square metre and month"),
}


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


def in_currency(currency: str) -> str:
    """Return the unit of an axis of money.

    Examples
    --------
    >>> in_currency("marks"), in_currency("")
    ('[marks]', '[money]')
    """
    return f"[{one_line(currency)[:_CURRENCY]}]" if currency else "[money]"


def missing_sentence(gap: Missing) -> str:
    """Return what nobody has stated, and the field to fill.

    Examples
    --------
    >>> from vatwright.records.cost import Missing
    >>> print(missing_sentence(Missing(field="price", of="work", per=("h",))))
    The price of work, an hour: a [[price]] with name = "work" and per = "h" in the stock.
    >>> print(missing_sentence(Missing(field="film_layers", of="Wren")))
    How many layers a film of Wren lasts: film_layers of [[machine]] "Wren" in the cost file.
    """
    of = one_line(gap.of)
    if gap.field == "price":
        per = say(" or ").join(say(_PER[p]) for p in gap.per)
        units = say(" or ").join(f'"{p}"' for p in gap.per)
        return say(
            'The price of {of}, {per}: a [[price]] with name = "{of}" and per = {units} in the stock.',
            of=of,
            per=per,
            units=units,
        )
    if gap.field == "bath_ml":
        return say("How much solvent a bath takes: bath_ml and solvent of a [[station]] for washing in the stock.")
    return say(
        '{format}: {field} of [[machine]] "{of}" in the cost file.',
        format=say(_LIVES[gap.field], of=of),
        field=gap.field,
        of=of,
    )


def missing_sentences(gaps: Iterable[Missing]) -> tuple[str, ...]:
    """Return each thing nobody has stated once, with the field to fill."""
    return tuple(dict.fromkeys(missing_sentence(gap) for gap in gaps))


def missing_blanks(gaps: Iterable[Missing]) -> tuple[Blanks, ...]:
    """Return the same as a block that leads to the fields; nothing where all is there."""
    told = {missing_sentence(gap): gap for gap in gaps}
    return (Blanks(tuple(told), fields=tuple(told.values())),) if told else ()
