"""What one value of a TOML file may be: a number within a range, a text, one of a few words."""

from __future__ import annotations

from datetime import date, datetime, time
from decimal import Decimal
from difflib import get_close_matches
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BeforeValidator, WrapValidator
from pydantic_core import PydanticCustomError

from vatwright.files.bench_numbers import number_text
from vatwright.units import BENCH_UNITS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

YEARS = range(1970, 2200)
"""Years a run, an order or a purchase may lie in: earlier and later ones are slips, and clocks fail near years 1 and 9999."""

_OTHER_SPELLINGS = {"C": "°C", "deg": "°", "": ""}


def mistake(what: str, do: str) -> PydanticCustomError:
    """Return what a check raises; `what` continues a sentence that starts with the key."""
    return PydanticCustomError("vatwright", "{what}. {do}", {"what": what, "do": do})


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like `word`, or None where none is like it.

    Examples
    --------
    >>> nearest("widht_mm", ["width_mm", "depth_mm"]), nearest("colour", ["width_mm"])
    ('width_mm', None)
    """
    by_lower = {k.lower(): k for k in known}
    found = get_close_matches(word.lower(), by_lower, n=1, cutoff=0.6)
    return by_lower[found[0]] if found else None


def spelled(unit: str) -> str:
    """Return how a unit is written behind a number, with the space before it.

    Examples
    --------
    >>> spelled("mm_s"), spelled("C"), spelled("")
    (' mm/s', ' °C', '')
    """
    text = _OTHER_SPELLINGS[unit] if unit in _OTHER_SPELLINGS else BENCH_UNITS[unit].spellings[0]
    return f" {text}" if text else ""


def shown(value: object) -> str:
    """Return a value of a TOML file in words: what kind it is, and what it says.

    Examples
    --------
    >>> shown("two dozen"), shown(True), shown({"value": 1})
    ("the text 'two dozen'", 'true', 'a table')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text {value if len(value) <= 40 else value[:40] + '...'!r}"
    if isinstance(value, int | Decimal):
        number = number_text(value) if Decimal(value).is_finite() else str(value)
        return number if len(number) <= 40 else number[:40] + "..."
    if isinstance(value, date | time):
        return f"the date or time {value}"
    if isinstance(value, dict):
        return "a table"
    return "a list" if isinstance(value, list) else "a value of another kind"


def as_number(value: object, unit: str, example: str = "24") -> Decimal:
    """Return a TOML number as a decimal; anything else is a mistake."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        wanted = f"a number in{spelled(unit)}" if spelled(unit) else "a number"
        raise mistake(f"is {shown(value)}, {wanted} is wanted", f"Write digits without quotes, such as {example}")
    if not (number := Decimal(value)).is_finite():
        raise mistake(f"is {number}, which no measurement gives", "Write a finite number")
    return number


def require_between(number: Decimal, unit: str, low: str, high: str) -> None:
    """Raise the mistake for a number outside its range; the ends are allowed."""
    if not Decimal(low) <= number <= Decimal(high):
        u = spelled(unit)
        do = "Check the decimal point and the unit in the key's name" if u else "Write a number in that range"
        raise mistake(f"is {shown(number)}{u}, outside {low} to {high}{u}", do)


def between(unit: str, low: str, high: str) -> BeforeValidator:
    """Return the check for a number in the bench unit `unit` from `low` to `high`."""

    def check(value: object) -> Decimal:
        number = as_number(value, unit, example=low if Decimal(low) > 0 else "1")
        require_between(number, unit, low, high)
        return number

    return BeforeValidator(check)


def whole(low: int, high: int) -> BeforeValidator:
    """Return the check for a whole number from `low` to `high`."""

    def check(value: object) -> int:
        number = as_number(value, "")
        require_between(number, "", str(low), str(high))
        if number != int(number):
            raise mistake(f"is {shown(number)}, a whole number is wanted", "Round it")
        return int(number)

    return BeforeValidator(check)


def choice(*options: str) -> BeforeValidator:
    """Return the check for one of a few words."""

    def check(value: object) -> str:
        if isinstance(value, str) and value in options:
            return value
        like = nearest(value, options) if isinstance(value, str) else None
        listed = ", ".join(f'"{o}"' for o in options)
        raise mistake(f"is {shown(value)}", f'Write "{like}"' if like else f"Write one of {listed}")

    return BeforeValidator(check)


def table_or(short: str) -> WrapValidator:
    """Return the check for a table that may be shortened to one value, which then is its entry `short`."""

    def check(value: object, handler: Callable[[object], Any]) -> Any:
        return handler(value if isinstance(value, dict) else {short: value})

    return WrapValidator(check)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise mistake(f"is {shown(value)}, a text is wanted", "Put it in double quotes")
    if not value.strip() or len(value) > 400 or any(ord(c) < 32 or ord(c) == 127 for c in value):
        raise mistake(
            f"is {shown(value)}, which is no name", "Write 1 to 400 characters on one line; in a path use / and not \\"
        )
    return value


Text = Annotated[str, BeforeValidator(_text)]
"""A name, a path: something to read on one line."""


def _yes_no(value: object) -> bool:
    if not isinstance(value, bool):
        raise mistake(f"is {shown(value)}, true or false is wanted", "Write true or false without quotes")
    return value


YesNo = Annotated[bool, BeforeValidator(_yes_no)]
"""true or false."""


def _day(value: object) -> date:
    if isinstance(value, datetime) or not isinstance(value, date):
        raise mistake(f"is {shown(value)}, a day is wanted", "Write it without quotes, as in 2026-03-01")
    if value.year not in YEARS:
        raise mistake(f"is {value}, a year in which nobody prints", "Check the year")
    return value


Day = Annotated[date, BeforeValidator(_day)]
"""A day of the calendar."""
