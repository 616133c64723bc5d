"""Numbers of a TOML file to SI and back without losing a digit.

TOML numbers are decimal, and so are bench units; a float in between would lose the last digit of some of them (whole
micrometres from 1 to 100,000 come back changed in 3 % of cases).  So the decimal number is kept until it is in SI.
"""

from __future__ import annotations

from decimal import Context, Decimal, InvalidOperation

from vatwright.units import BENCH_UNITS, ZERO_CELSIUS_K

AS_IT_IS = ("", "deg")
"""A count, a share; a turn, which records keep in degrees."""

_EXACT = Context(prec=50)
_ZERO_CELSIUS = Decimal(repr(ZERO_CELSIUS_K))


def decimal_of(text: str) -> Decimal:
    """Return a TOML number as a decimal; one that is too long to hold becomes infinite, and so is refused later."""
    try:
        return Decimal(text)
    except InvalidOperation:
        return Decimal("Infinity")


def exact_si(value: Decimal, unit: str) -> float:
    """Return the float nearest to a bench value in SI; a number without a unit, or in degrees of turn, stays as it is.

    Examples
    --------
    >>> exact_si(Decimal("2.6"), "mm"), exact_si(Decimal("29"), "um"), exact_si(Decimal("1.5"), "min")
    (0.0026, 2.9e-05, 90.0)
    """
    if unit == "C":
        return kelvin(value)
    if unit in AS_IT_IS:
        return float(value)
    bench = BENCH_UNITS[unit]
    return float(_EXACT.divide(_EXACT.multiply(value, Decimal(bench.times)), Decimal(bench.over)))


def exact_bench(value: float, unit: str) -> Decimal:
    """Return an SI value in a bench unit, such that :func:`exact_si` gives the very same float back.

    Examples
    --------
    >>> str(exact_bench(2.9e-05, "um")), str(exact_bench(1 / 3, "mm"))
    ('29', '333.3333333333333')
    """
    if unit == "C":
        return celsius(value)
    number = Decimal(repr(value))
    if unit not in AS_IT_IS:
        bench = BENCH_UNITS[unit]
        number = _EXACT.divide(_EXACT.multiply(number, Decimal(bench.over)), Decimal(bench.times))
    return _plain(number)


def kelvin(value_c: Decimal) -> float:
    """Return a temperature in kelvin.

    Examples
    --------
    >>> kelvin(Decimal("18.0"))
    291.15
    """
    return float(_EXACT.add(value_c, _ZERO_CELSIUS))


def celsius(value_k: float) -> Decimal:
    """Return a temperature in degrees Celsius, such that :func:`kelvin` gives the very same float back.

    Examples
    --------
    >>> str(celsius(291.15))
    '18'
    """
    return _plain(_EXACT.subtract(Decimal(repr(value_k)), _ZERO_CELSIUS))


def number_text(number: Decimal | int) -> str:
    """Return a number as TOML writes it.

    Examples
    --------
    >>> number_text(Decimal("0.0500")), number_text(Decimal("1E+2")), number_text(Decimal("3E-30"))
    ('0.05', '100', '3e-30')
    """
    if isinstance(number, int):
        return str(number)
    number = _plain(number)
    exponent = number.adjusted()
    return format(number, "f") if -7 < exponent < 16 else str(number).lower()


def _plain(number: Decimal) -> Decimal:
    """Drop the zeros at the end; a whole number stays whole."""
    if not number:
        return Decimal(0)  # minus nought is nought
    number = number.normalize(_EXACT)
    return (
        number.quantize(Decimal(1), context=_EXACT) if -1 < number.adjusted() < 16 and number == int(number) else number
    )
