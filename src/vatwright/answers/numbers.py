"""Numbers as a person reads them: honest digits, ranges, times and units.  Nothing here computes a result.

The texts use typographic signs (en dash, micro, times); :func:`plain` turns those into ASCII for a terminal.
"""
# ruff: noqa: RUF001, RUF002 - an en dash between the ends of a range is what a page wants

from __future__ import annotations

import math
import re
import unicodedata

from vatwright.records.process import setting_unit
from vatwright.units import BENCH_UNITS, from_si
from vatwright.wording import as_written, in_words, say, say_many, to_say

UNKNOWN = to_say("not known")
TYPED_DIGITS = 4
"""Significant digits of a value somebody types in: finer than any controller's step that matters; common practice."""

FINEST_DECIMALS = 4
"""A tenth of a micrometre in mm, a tenth of a millisecond in s: no controller takes finer; common practice."""

MARGIN_END = 2.0
"""Beyond twice what is enough nobody needs to tell margins apart: bars and words end there."""

FAR_SHORT = 0.1
"""Below it nobody needs to know by how many per cent: "100 % short" is no way to say that nothing is there; our own choice."""

_UNPRINTED = {"Cc", "Cf", "Cs", "Zl", "Zp"}  # with U+FFFE and U+FFFF: also what XML 1.0 (2.2) forbids
_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:%|°C|µm|mm|ml|min|mm/s|N|h|s|g|kg)(?![a-zA-Z]))")
_TYPED_UNITS = re.compile(r"(?<=\d )(?:um|C|[\w/]*m[234])\b")
_ASCII = str.maketrans(
    {
        "–": "-",
        "—": "-",
        "µ": "u",
        "×": "x",
        "²": "2",
        "³": "3",
        "⁴": "4",
        "·": "|",
        "→": "->",
        "−": "-",
        "°": "",
        "±": "+-",
    }
)


def plain(text: str) -> str:
    """Return `text` with our typographic signs written in ASCII.

    Examples
    --------
    >>> plain("3.4–5.6 µm")
    '3.4-5.6 um'
    """
    return text.translate(_ASCII)


def one_line(text: str) -> str:
    r"""Return `text` on one line without control characters, so that a name cannot steer a terminal or break a table.

    Examples
    --------
    >>> one_line("lantern\x1b[31m\nlid")
    'lantern [31m lid'
    """
    text = in_words(text)
    if text.isprintable():  # nearly every text: the long paths of pictures come by here
        return " ".join(text.split())
    shown = "".join(" " if unicodedata.category(c) in _UNPRINTED or c in "\ufffe\uffff" else c for c in text)
    return " ".join(shown.split())


def sentence(text: str) -> str:
    """Return free text on one line, closed with a full stop, its units as they are printed; a file's name stays as it is.

    Examples
    --------
    >>> sentence("the arm is stiffer"), sentence("Is it level?"), sentence("lid.stl: two shells overlap by 39 mm3")
    ('The arm is stiffer.', 'Is it level?', 'lid.stl: two shells overlap by 39 mm³.')
    """
    line = _TYPED_UNITS.sub(lambda unit: _printed(unit[0]), one_line(text))
    if not line:
        return ""
    name = any(c in line.split()[0].rstrip(".,:;") for c in "._/")
    return (line if name else line[0].upper() + line[1:]) + ("" if line[-1] in ".?:" else ".")


def bound(text: str) -> str:
    r"""Return `text` with every number kept on the same line as its unit by a no-break space.

    Examples
    --------
    >>> bound("chance 5 %, 7 h 10 min, by hand").replace("\xa0", "~")
    'chance 5~%, 7~h 10~min, by hand'
    """
    return _NUMBER_AND_UNIT.sub("\xa0", text)


def decimals_for(error: float) -> int:
    """Return how many decimals an uncertainty justifies; negative means tens, hundreds...

    The three leading digits of the error decide: 100 to 354 keeps two digits, 355 to 949 one, 950 to 999 two of 1000.

    Parameters
    ----------
    error : float
        Half width of the range, in the unit shown.

    Returns
    -------
    int
        Decimals; 0 for an error that is zero or not finite.

    Examples
    --------
    >>> decimals_for(0.119), decimals_for(0.367), decimals_for(0.96), decimals_for(40.0)
    (2, 1, 1, -1)

    References
    ----------
    R. L. Workman et al., Review of Particle Physics, Prog. Theor. Exp. Phys. 2022, 083C01, Introduction, section 5.3
    (Rounding). [pdg:2022]
    """
    if not math.isfinite(error) or error <= 0.0:
        return 0
    power = math.floor(math.log10(error))
    leading = error / 10.0**power * 100.0
    # The one digit of 355-949 and the second digit of 1000 (from 950-999) stand in the same place.
    return 1 - power if leading < 354.5 else -power


def fixed(value: float, decimals: int) -> str:
    """Return `value` with that many decimals, a comma between thousands, and never a negative zero.

    Examples
    --------
    >>> fixed(1299.96, 1), fixed(-0.04, 1), fixed(1234.0, -2)
    ('1,300.0', '0.0', '1,200')
    """
    if not math.isfinite(value):
        return say(UNKNOWN)
    rounded = round(value, decimals) + 0.0
    return as_written(f"{rounded:,.{max(decimals, 0)}f}")


def significant(value: float, digits: int = 3) -> str:
    """Return `value` with so many significant digits, without an exponent.

    Examples
    --------
    >>> significant(0.012345), significant(1234567.0), significant(0.0)
    ('0.0123', '1,230,000', '0')
    """
    if value == 0.0:
        return "0"
    return fixed(value, _place(value, digits))


def _place(value: float, digits: int) -> int:
    if not math.isfinite(value) or value == 0.0:
        return 0
    return digits - 1 - math.floor(math.log10(abs(value)))


def typed(value: float) -> str:
    """Return a value exactly as somebody types it in: no separators, no trailing zeros.

    Examples
    --------
    >>> typed(45.0), typed(0.05), typed(2.60001), typed(1200.0)
    ('45', '0.05', '2.6', '1200')
    """
    if not math.isfinite(value):
        return say(UNKNOWN)
    text = f"{round(value, max(_place(value, TYPED_DIGITS), 0)) + 0.0:.{max(_place(value, TYPED_DIGITS), 0)}f}"
    return as_written(text.rstrip("0").rstrip(".") if "." in text else text)


def unit_label(unit: str) -> str:
    """Return how a bench unit is printed.

    Examples
    --------
    >>> unit_label("um"), unit_label("mm_s"), unit_label("mJ_cm2")
    ('µm', 'mm/s', 'mJ/cm²')
    """
    if unit == "layers":
        return say("layers")
    bench = BENCH_UNITS.get(unit)
    return _printed(bench.spellings[0] if bench else unit)


def _printed(unit: str) -> str:
    """Return a unit with the signs that a keyboard has not."""
    return {"um": "µm", "C": "°C"}.get(unit) or re.sub(r"(?<=m)[234]", lambda power: "²³⁴"[int(power[0]) - 2], unit)


def bench(value_si: float, unit: str) -> float:
    """Return an SI value in a bench unit; counts (``layers``) and what is not finite pass through."""
    return value_si if unit == "layers" or not math.isfinite(value_si) else from_si(value_si, unit)


def quantity(value_si: float, unit: str, digits: int = 3) -> str:
    """Return an SI value in a bench unit, with its label.

    Examples
    --------
    >>> quantity(5.8e-5, "um"), quantity(41.7, "N", 2)
    ('58.0 µm', '42 N')
    """
    if not math.isfinite(value_si):
        return say(UNKNOWN)
    return f"{significant(bench(value_si, unit), digits)} {unit_label(unit)}"


def between(low: float, high: float, *, decimals: int | None = None) -> str:
    """Return a range with the digits its half width justifies; an end that is not finite is left open.

    Examples
    --------
    >>> between(3.41, 5.62), between(7.19, 8.43), between(3.4, math.inf), between(4.0, 4.0)
    ('3.4–5.6', '7.2–8.4', '3.4 or more', '')
    """
    if math.isnan(low) or math.isnan(high) or low == high:
        return ""
    if math.isinf(high):
        return say("{low} or more", low=significant(low, 2)) if math.isfinite(low) else ""
    if math.isinf(low):
        return say("{high} or less", high=significant(high, 2))
    places = decimals_for((high - low) / 2.0) if decimals is None else decimals
    return f"{_end(low, places)}–{_end(high, places)}"


def _end(value: float, places: int) -> str:
    """Return an end of a range; nothing at all has no decimals."""
    return "0" if value == 0.0 else fixed(value, places)


def ranged(value: float, low: float, high: float, unit: str) -> str:
    """Return an estimate in the unit given, rounded as its range allows, with the range.

    Examples
    --------
    >>> ranged(4.12, 3.41, 5.62, "s")
    '4.1 s (3.4–5.6)'
    """
    span = between(low, high)
    if not span or not math.isfinite(high - low):
        return f"{significant(value)} {unit}" + (f" ({span})" if span else "")
    return f"{fixed(value, decimals_for((high - low) / 2.0))} {unit} ({span})"


def setting_value(name: str, value_si: float) -> str:
    """Return a setting's value as it is typed in, with its unit.

    Examples
    --------
    >>> setting_value("body.settle_s", 4.5), setting_value("body.peel_lift_mm", 0.003), setting_value("base.layers", 4)
    ('4.5 s', '3 mm', '4 layers')
    """
    unit = setting_unit(name)
    if unit == "layers" and math.isfinite(value_si):
        return say_many(round(value_si), "{n} layer", "{n} layers", n=typed(value_si))
    return f"{typed(bench(value_si, unit))} {unit_label(unit)}"


def setting_range(name: str, low_si: float, high_si: float) -> str:
    """Return the 90 % range of what a setting needs, without its unit, empty where there is none."""
    unit = setting_unit(name)
    low, high = bench(low_si, unit), bench(high_si, unit)
    if unit == "layers" and math.isfinite(high - low):
        return between(low, high, decimals=0)
    if not math.isfinite(high - low) or low == high:
        return between(low, high)
    # A range finer than anybody can type is no range; above one, tenths do unless both ends would read the same.
    finest = min(decimals_for((high - low) / 2.0), FINEST_DECIMALS)
    rough = min(finest, 1) if high >= 1.0 else finest
    places = rough if fixed(low, rough) != fixed(high, rough) else finest
    return between(low, high, decimals=places) if fixed(low, places) != fixed(high, places) else ""


def duration(seconds: float, *, down: bool = False) -> str:
    """Return a length of time, to about 1 % or a second (a tenth below ten seconds).

    `down` never rounds up and keeps seconds longer, for what is safe.

    Examples
    --------
    >>> duration(25830.0), duration(63500.0), duration(2100.0), duration(239.9, down=True), duration(4.26)
    ('7 h 10 min', '17 h 40 min', '35 min', '3 min 59 s', '4.3 s')
    """
    if not math.isfinite(seconds):
        return say("no limit")
    if seconds < 60.0:
        return _short(seconds, down=down)
    # Half a step is at most 1 % of where its stretch begins.
    steps = ((600.0, 1.0), (3000.0, 10.0), (15000.0, 60.0), (36000.0, 300.0), (math.inf, 600.0))
    step = next(s for limit, s in steps if seconds < limit)
    whole = (math.floor if down else round)(seconds / step) * step
    hours, rest = divmod(round(whole), 3600)
    minutes, left = divmod(rest, 60)
    words = [f"{n} {u}" for n, u in ((hours, "h"), (minutes, "min"), (left, "s")) if n]
    return " ".join(words)


def _short(seconds: float, *, down: bool) -> str:
    if down:
        return f"{math.floor(seconds)} s"
    text = f"{seconds:.0f}" if seconds >= 10.0 else f"{seconds:.1f}"
    return f"{as_written(text.removesuffix('.0'))} s"


def clock(seconds: float, *, hours: bool = False) -> str:
    """Return a time since the start as min:s, or h:min:s where `hours` asks for it.

    Examples
    --------
    >>> clock(640.0), clock(640.0, hours=True), clock(4210.4)
    ('10:40', '0:10:40', '70:10')
    """
    total = round(seconds)
    minutes, left = divmod(total, 60)
    if not hours:
        return f"{minutes:02d}:{left:02d}"
    return f"{minutes // 60}:{minutes % 60:02d}:{left:02d}"


def percent(share: float) -> str:
    """Return a share as whole per cent, never claiming 0 or 100.

    Examples
    --------
    >>> percent(0.915), percent(0.9991), percent(0.001)
    ('92 %', 'over 99 %', 'under 1 %')
    """
    if not math.isfinite(share):
        return say(UNKNOWN)
    if share > 0.99:
        return say("over {percent}", percent="99 %")
    return say("under {percent}", percent="1 %") if share < 0.01 else f"{share * 100.0:.0f} %"


def percent_range(low: float, high: float) -> str:
    """Return a range of shares as whole per cent, kept inside 1 to 99.

    Examples
    --------
    >>> percent_range(0.881, 0.962), percent_range(0.0, 1.0)
    ('88–96 %', '1–99 %')
    """
    ends = [min(max(round(100.0 * s), 1), 99) for s in (low, high)]
    return f"{ends[0]}–{ends[1]} %" if ends[0] != ends[1] else f"{ends[0]} %"


def celsius(kelvin: float) -> str:
    """Return a temperature in whole degrees Celsius, or with a tenth where it has one.

    Examples
    --------
    >>> celsius(291.15), celsius(294.65)
    ('18 °C', '21.5 °C')
    """
    return f"{typed(round(kelvin - 273.15, 1))} °C"


def resin_volume(volume_m3: float) -> str:
    """Return a volume of resin in millilitres, two digits or whole tens: nobody pours finer."""
    return quantity(volume_m3, "ml", 2)


SHARES = (
    (0.1, to_say("a tenth")),
    (0.2, to_say("a fifth")),
    (0.25, to_say("a quarter")),
    (1 / 3, to_say("a third")),
    (0.4, to_say("two fifths")),
    (0.5, to_say("half")),
    (0.6, to_say("three fifths")),
    (2 / 3, to_say("two thirds")),
    (0.75, to_say("three quarters")),
    (0.8, to_say("four fifths")),
    (0.9, to_say("nine tenths")),
)
"""Shares that have a name."""


def share_words(share: float) -> str:
    """Return a rough share as a person says it.

    Examples
    --------
    >>> share_words(0.66), share_words(0.53), share_words(0.02), share_words(0.99)
    ('two thirds', 'half', 'a little', 'nearly all')
    """
    if share < 0.075:
        return say("a little")
    return say("nearly all") if share > 0.95 else say(min(SHARES, key=lambda s: abs(s[0] - share))[1])


def margin_words(margin: float) -> str:
    """Return a margin in words.

    Examples
    --------
    >>> margin_words(1.34), margin_words(0.82), margin_words(2.6), margin_words(0.04)
    ('34 % to spare', '18 % short', 'more than twice what it needs', 'far short of what it needs')
    """
    if not math.isfinite(margin) or margin > MARGIN_END:
        return say("more than twice what it needs")
    if margin < FAR_SHORT:
        return say("far short of what it needs")
    # Rounded towards the worse: just under what it needs must not read as enough.
    if margin < 1.0:
        return say("{percent} % short", percent=math.ceil(100.0 * (1.0 - margin) - 1e-9))
    return say("{percent} % to spare", percent=math.floor(100.0 * (margin - 1.0) + 1e-9))
