"""Units the reader reads in: degrees Fahrenheit for Celsius, inches beside millimetres.

Sentences are written in °C and mm; for a reader who chose so they are read again just before they are shown.  What a
machine takes (lifts, layers, speeds, times) stays as its controller shows it, so lengths below a centimetre stay in mm.
"""
# ruff: noqa: RUF001, RUF002 - an en dash between the ends of a range is what a page wants

from __future__ import annotations

import re
from contextvars import ContextVar
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

from vatwright.wording import as_written, in_words, signs

if TYPE_CHECKING:
    from collections.abc import Iterator

METRIC, CUSTOMARY = "metric", "us"
UNITS = (METRIC, CUSTOMARY)
VARIABLE = "VATWRIGHT_UNITS"
"""The environment variable that says which of them."""

reader_units: ContextVar[str] = ContextVar("reader_units", default=METRIC)
"""What the reader of the answer being shown reads in."""

MM_AN_INCH = Decimal("25.4")
"""Millimetres in an inch; exact by definition (international yard and pound agreement, 1959)."""

LEAST_MM = 10
"""Lengths below it are not told in inches [mm]: lifts, layers and gaps are read and set in mm; our own choice."""

_NUMBER = r"\d(?:[\d.,]*\d)?"
_TEMPERATURE = re.compile(
    rf"(?<![\w.,])(?<!± )(?<!\+- )(?<!by )(?<!\d to )(?P<low>-?{_NUMBER})"
    rf"(?:(?P<to> to |–|-)(?P<high>{_NUMBER}))?[ \u00a0](?:°C|C(?![\w/]))"
)
_LENGTH = re.compile(
    rf"(?<![\w.,+±])(?<!± )(?<!\+- )(?<!\+ )(?P<sides>{_NUMBER}(?:(?: x | to |–){_NUMBER})*)[ \u00a0]mm(?![\w/²³])"
)


def as_read(text: str) -> str:
    """Return a text as its reader reads it: unchanged for metric readers.

    Examples
    --------
    >>> _ = reader_units.set("us")
    >>> as_read("Warm it to 22 °C (15 to 40 °C is known ground)."), as_read("18–21 °C, 120 x 80 x 45 mm, lift 4 mm")
    ('Warm it to 72 °F (59 to 104 °F is known ground).', '64–70 °F, 120 x 80 x 45 mm (4.72 x 3.15 x 1.77 in), lift 4 mm')
    >>> _ = reader_units.set("metric")
    >>> as_read("22 °C")
    '22 °C'
    """
    text = in_words(text)
    if reader_units.get() != CUSTOMARY or ("C" not in text and "mm" not in text):
        return text
    return _LENGTH.sub(_beside, _TEMPERATURE.sub(_fahrenheit, text))


def _fahrenheit(found: re.Match[str]) -> str:
    low, high = found["low"], found["high"]
    ends = [_warm(low), *([_warm(high)] if high else [])]
    return f"{(found['to'] or '').join(ends)} °F"


def _warm(celsius: str) -> str:
    """A temperature with as many decimals as it had: F = 9/5 C + 32, exact by definition (NIST SP 811, B.8)."""
    value = _number(celsius)
    exponent = value.as_tuple().exponent
    return _written((value * 9 / 5 + 32).quantize(Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)))


def _number(written: str) -> Decimal:
    """Return a number as the reader's language writes it."""
    decimal, group = signs()
    return Decimal(written.replace(group, "").replace(decimal, "."))


def _written(value: Decimal) -> str:
    return as_written(str(value))


def _beside(found: re.Match[str]) -> str:
    sides = re.split(r"( x | to |–)", found["sides"])
    if min(_number(s) for s in sides[::2]) < LEAST_MM:
        return found[0]
    return f"{found[0]} ({''.join(_inches(sides))} in)"


def _inches(sides: list[str]) -> Iterator[str]:
    for k, side in enumerate(sides):
        inches = _number(side) / MM_AN_INCH if k % 2 == 0 else None
        yield side if inches is None else _written(inches.quantize(_step(inches), rounding=ROUND_HALF_EVEN))


def _step(inches: Decimal) -> Decimal:
    """Three digits: as fine as a millimetre of the lengths told."""
    return Decimal(1).scaleb(inches.adjusted() - 2)
