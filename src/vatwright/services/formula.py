"""A formula as it is asked for: arguments with units, what may be left out, and its value."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any

from attrs import frozen

from vatwright.errors import DomainError, InputError, Mistake
from vatwright.services.formula_text import ABOVE, ZERO, FormulaText, stated
from vatwright.units import BENCH_UNITS, ZERO_CELSIUS_K, celsius_to_kelvin, parse_quantity, to_si, typed_parts
from vatwright.wording import to_say

_OWN_SPELLINGS = {"c": ("°C", "degC", "C"), "deg": ("deg", "°")}
"""Units that are no whole-number multiple of an SI unit, and so stand outside the table of bench units."""


@frozen
class Argument:
    """One argument of a formula: its name and unit on the command line, and the function's own keyword."""

    name: str
    unit: str
    keyword: str
    meaning: str
    symbol: str
    sign: str

    @property
    def stem(self) -> str:
        """Name without its unit."""
        return self.name.removesuffix(f"_{self.unit}")

    @property
    def unit_text(self) -> str:
        """Unit as printed."""
        return unit_text(self.unit)

    def read(self, text: str, given_as: str) -> float:
        """Return the number in `text` in this argument's unit, or raise what is wrong with it."""
        value = self._number(text, given_as)
        if given_as != self.name and value == _plain_number(text) and self.unit != "1":
            raise InputError.one(
                given_as,
                to_say("{text!r} has no unit", text=text),
                to_say(
                    "Write {name}={text} or {stem}={text}{unit_text}",
                    name=self.name,
                    text=text,
                    stem=self.stem,
                    unit_text=self.unit_text,
                ),
            )
        if (self.sign == ABOVE and value <= 0.0) or (self.sign == ZERO and value < 0.0):
            raise InputError.one(
                given_as,
                to_say("must be {sign}, got {text}", sign=self.sign, text=text),
                to_say("Give the {meaning}", meaning=self.meaning),
            )
        return value

    def _number(self, text: str, given_as: str) -> float:
        """Return the number in this argument's unit."""
        if self.unit in BENCH_UNITS:
            return parse_quantity(text, self.unit, given_as)
        bare = text.strip()
        for spelling in _OWN_SPELLINGS.get(self.unit, ()):
            bare = bare.removesuffix(spelling)
        value = _plain_number(bare)
        if value is None:
            want = f"a number in {self.unit_text}" if self.unit_text else "a plain number"
            raise InputError.one(
                given_as,
                to_say("{text!r} is not {want}", text=text, want=want),
                to_say("Give the {meaning} as {want}", meaning=self.meaning, want=want),
            )
        return value

    def si(self, value: float) -> float:
        """Return `value` in SI."""
        return _converted(value, self.unit, inward=True)


def _plain_number(text: str) -> float | None:
    """Return a finite number written without a unit, or None."""
    parts = typed_parts(text)
    value = math.nan if parts is None or parts[1] else float(parts[0])
    return value if math.isfinite(value) else None


def _converted(value: float, unit: str, *, inward: bool) -> float:
    """Return a value given in a bench unit in SI, or the other way round, at full precision."""
    if unit == "c":
        return celsius_to_kelvin(value) if inward else value - ZERO_CELSIUS_K
    if unit == "deg":
        return math.radians(value) if inward else math.degrees(value)
    if unit == "1":
        return value
    return to_si(value, unit) if inward else value * BENCH_UNITS[unit].over / BENCH_UNITS[unit].times


def unit_text(unit: str) -> str:
    """Return a unit as printed.

    Examples
    --------
    >>> unit_text("mJ_cm2"), unit_text("Pa_s"), unit_text("c")
    ('mJ/cm2', 'Pa s', 'C')
    """
    special = {"Pa_s": "Pa s", "c": "C", "deg": "deg", "1": ""}
    return special[unit] if unit in special else BENCH_UNITS[unit].spellings[0]


@frozen(kw_only=True, slots=False)
class Formula:
    """One line of the table, with what the function's docstring says."""

    name: str
    subject: str
    function: Callable[..., Any]
    unit: str
    spelt: str

    @cached_property
    def said(self) -> FormulaText:
        """What the function's docstring says."""
        return stated(self.function)

    @property
    def title(self) -> str:
        """One line."""
        return self.said.title

    @property
    def validity(self) -> str:
        """Where it holds."""
        return self.said.validity

    @property
    def sources(self) -> tuple[str, ...]:
        """Keys in the list of sources."""
        return self.said.sources

    @cached_property
    def arguments(self) -> tuple[Argument, ...]:
        """The arguments, in order."""
        return tuple(self._argument(text) for text in self.spelt.split())

    def _argument(self, text: str) -> Argument:
        """Return an argument from how it is spelt in the table."""
        text, _, keyword = text.partition("=")
        name, _, unit = text.partition(":")
        unit = unit or max((u for u in (*BENCH_UNITS, *_OWN_SPELLINGS) if name.endswith(f"_{u}")), key=len, default="1")
        stem = name.removesuffix(f"_{unit}")
        keyword = keyword or next(p for p in self.said.parameters if p == stem or p.startswith(f"{stem}_"))
        said = self.said.parameters[keyword]
        return Argument(name, unit, keyword, said.meaning, said.symbol, said.sign)

    @cached_property
    def defaults(self) -> dict[str, float]:
        """What may be left out, in bench units."""
        taken = inspect.signature(self.function).parameters
        return {
            a.name: _converted(taken[a.keyword].default, a.unit, inward=False)
            for a in self.arguments
            if taken[a.keyword].default is not inspect.Parameter.empty
        }

    @property
    def usage(self) -> str:
        """How it is called."""
        return " ".join(
            f"[{a.name}={self.defaults[a.name]:g}]" if a.name in self.defaults else a.name for a in self.arguments
        )

    def value(self, inputs: Mapping[str, float]) -> float:
        """Return the result in its bench unit; raise what does not go, in the names of the arguments."""
        try:
            result = self.function(**{a.keyword: a.si(inputs[a.name]) for a in self.arguments})
            value = None if result is None else _converted(float(result), self.unit, inward=False)
        except DomainError as error:
            names = {a.keyword: a.name for a in self.arguments}
            raise InputError(
                [
                    Mistake(names.get(m.where, m.where), to_say("{what} (in SI units)", what=m.what), m.do)
                    for m in error.mistakes
                ]
            ) from error
        except (OverflowError, ZeroDivisionError, ValueError) as error:
            raise InputError.one(
                self.name, to_say("the result is too large for a number"), to_say("Check the values and units")
            ) from error
        if value is None:
            raise InputError.one(
                self.name,
                to_say("no number does it with these values"),
                to_say("It holds as follows: {validity}", validity=self.validity),
            )
        if not math.isfinite(value):
            raise InputError.one(
                self.name, to_say("the result is not a finite number"), to_say("Check the values and units")
            )
        return value
