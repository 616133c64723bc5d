"""Words and numbers out of large text files, at the speed of the file and with the bits Python itself would give.

A number whose digits fit in 53 bits and whose power of ten is at most 22 is converted here: both are exact doubles, so
one multiplication or division rounds correctly [clinger:1990].  With up to 17 digits the result is carried as a sum of
two doubles [dekker:1971] and taken if its error cannot change the rounding.  Every other spelling goes to ``float``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.compiled import kernel

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

NUMBER, ASK_PYTHON = 1, 2

_POWERS = np.array([float(10**k) for k in range(23)])
_EXACT, _FULL = 2**53, 10**17
_SPLITTER = 134_217_729.0  # 2^27 + 1 cuts a double into two halves whose products are exact
_DOUBT = 2.0**-40  # far above the error of the second double, some 2^-50 of it; far below what decides a rounding
_NEWLINE, _RETURN, _PLUS, _MINUS, _POINT, _ZERO, _NINE = 10, 13, 43, 45, 46, 48, 57


def file_bytes(path: Path) -> NDArray[np.uint8]:
    """Return the bytes of `path` after a byte order mark, mapped, not loaded (shape (n,), read-only)."""
    data = np.asarray(np.memmap(path, dtype=np.uint8, mode="r"))
    return data[3:] if bytes(data[:3]) == b"\xef\xbb\xbf" else data


def count_of(number: int, noun: str) -> str:
    """Return a number with its noun.

    Examples
    --------
    >>> count_of(1, "face"), count_of(2, "face")
    ('1 face', '2 faces')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def line_of(data: NDArray[np.uint8], at: int) -> int:
    """Return the number of the line that byte `at` stands in, from 1; understands LF, CRLF and CR."""
    before = data[:at]
    feeds = int(np.count_nonzero(before == _NEWLINE))
    return 1 + (feeds or int(np.count_nonzero(before == _RETURN)))


def word_at(data: NDArray[np.uint8], at: int, longest: int = 24) -> str:
    """Return the word that starts at byte `at`, shortened for a message."""
    words = bytes(data[at : at + longest]).split(None, 1)
    return words[0].decode("ascii", "replace") if words else ""


def packed(word: str) -> int:
    """Return the number under which :func:`pack` knows `word` (at most eight letters)."""
    return int.from_bytes(word.encode("ascii"), "big")


@kernel
def blank(byte: int) -> bool:
    """Tell whether a byte separates words."""
    return byte == 32 or 9 <= byte <= 13


@kernel
def byte_at(data: NDArray[np.uint8], at: int) -> int:
    """Return a byte as a signed number, because unsigned and signed ones together make floats in compiled code."""
    return int(np.int64(data[at]))


@kernel
def word_end(data: NDArray[np.uint8], at: int) -> int:
    """Return where the word starting at `at` stops."""
    while at < data.size and not blank(data[at]):
        at += 1
    return at


@kernel
def pack(data: NDArray[np.uint8], at: int, stop: int) -> int:
    """Return a word of up to eight letters as one number, in lower case; 0 for a longer one."""
    value = 0
    if stop - at > 8:
        return 0
    for i in range(at, stop):
        byte = byte_at(data, i)
        if byte > 127:
            return 0
        value = value * 256 + (byte + 32 if 65 <= byte <= 90 else byte)
    return value


@kernel
def _digits(data: NDArray[np.uint8], at: int, stop: int, mantissa: int) -> tuple[int, int]:
    """Add the digits from `at` on to a mantissa that stops growing once it is no longer exact."""
    while at < stop and _ZERO <= data[at] <= _NINE:
        if mantissa <= _FULL:
            mantissa = mantissa * 10 + (byte_at(data, at) - _ZERO)
        at += 1
    return mantissa, at


@kernel
def _signed(data: NDArray[np.uint8], at: int, stop: int) -> tuple[bool, int]:
    """Return whether a minus stands at `at`, and where to go on."""
    if at < stop and (data[at] == _PLUS or data[at] == _MINUS):
        return data[at] == _MINUS, at + 1
    return False, at


@kernel
def _product_error(a: float, b: float, product: float) -> float:
    """Return by how much the rounded product of two doubles misses the true one, exactly."""
    cut_a, cut_b = _SPLITTER * a, _SPLITTER * b
    high_a, high_b = cut_a - (cut_a - a), cut_b - (cut_b - b)
    low_a, low_b = a - high_a, b - high_b
    return ((high_a * high_b - product) + high_a * low_b + low_a * high_b) + low_a * low_b


@kernel
def _long_number(mantissa: int, ten: int) -> tuple[float, int]:
    """Return mantissa times 10^ten for more digits than a double holds, or ASK_PYTHON if the rounding is in doubt."""
    first = float(mantissa)
    rest = float(mantissa - int(first))
    power = _POWERS[abs(ten)]
    if ten < 0:
        value = first / power
        product = value * power
        small = ((first - product) - _product_error(value, power, product) + rest) / power
    else:
        value = first * power
        small = _product_error(first, power, value) + rest * power
    low, high = value + small * (1.0 - _DOUBT), value + small * (1.0 + _DOUBT)
    return low, NUMBER if low == high else ASK_PYTHON


@kernel
def scan_number(data: NDArray[np.uint8], at: int, stop: int) -> tuple[float, int]:
    """Return the number spelled by the word from `at` to `stop`, and NUMBER or ASK_PYTHON."""
    negative, at = _signed(data, at, stop)
    first = at
    mantissa, at = _digits(data, at, stop, 0)
    count, ten = at - first, 0
    if at < stop and data[at] == _POINT:
        first = at + 1
        mantissa, at = _digits(data, first, stop, mantissa)
        ten = first - at
        count -= ten
    if at < stop and (data[at] == 69 or data[at] == 101) and count > 0:
        minus, first = _signed(data, at + 1, stop)
        power, at = _digits(data, first, stop, 0)
        if at == first:
            return 0.0, ASK_PYTHON
        ten += -power if minus else power
    if at != stop or count == 0 or mantissa > _FULL or abs(ten) > 22:
        return 0.0, ASK_PYTHON
    kind = NUMBER
    if mantissa >= _EXACT:
        value, kind = _long_number(mantissa, ten)
    else:
        value = mantissa / _POWERS[-ten] if ten < 0 else mantissa * _POWERS[ten]
    return (-value if negative else value), kind


@kernel
def _count_words(data: NDArray[np.uint8]) -> int:
    """Count the words of a text."""
    count, inside = 0, False
    for i in range(data.size):
        gap = blank(data[i])
        if not gap and not inside:
            count += 1
        inside = not gap
    return count


@kernel
def _scan_all(data: NDArray[np.uint8], values: NDArray[np.float64], hard: NDArray[np.int64]) -> int:
    """Fill `values` with every word of a text that holds numbers only; return how many wait in `hard`."""
    at, waiting = 0, 0
    for k in range(values.size):
        while blank(data[at]):
            at += 1
        stop = word_end(data, at)
        values[k], kind = scan_number(data, at, stop)
        if kind == ASK_PYTHON:
            hard[waiting, 0], hard[waiting, 1], hard[waiting, 2] = k, at, stop
            waiting += 1
        at = stop
    return waiting


def settle_hard(
    data: NDArray[np.uint8], values: NDArray[np.float64], hard: NDArray[np.int64]
) -> list[tuple[int, int, str]]:
    """Let Python read the numbers that wait in `hard` (slot, start, stop); return what is no number."""
    flat = values.reshape(-1)
    text = data.data
    bad = []
    for slot, start, stop in hard.tolist():
        word = bytes(text[start:stop])
        try:
            if b"_" in word:
                raise ValueError  # noqa: TRY301 - Python's own digit grouping is no number in a part file
            flat[slot] = float(word)
        except ValueError:
            flat[slot] = np.nan
            bad.append((slot, start, word[:24].decode("ascii", "replace")))
    return bad


def all_numbers(data: NDArray[np.uint8]) -> tuple[NDArray[np.float64], list[tuple[int, int, str]]]:
    """Return every word of `data` as a number (shape (n,)), and those that are none.

    Examples
    --------
    >>> values, bad = all_numbers(np.frombuffer(b"1 -2.5e-3 0.1 12345678901234567890 nan 1,5", dtype=np.uint8))
    >>> values.tolist(), bad
    ([1.0, -0.0025, 0.1, 1.2345678901234567e+19, nan, nan], [(5, 39, '1,5')])
    """
    values = np.empty(_count_words(data))
    hard = np.empty((values.size, 3), dtype=np.int64)
    waiting = _scan_all(data, values, hard)
    return values, settle_hard(data, values, hard[:waiting])


def not_numbers(where: str, data: NDArray[np.uint8], bad: list[tuple[int, int, str]]) -> tuple[str, str, str]:
    """Return place, fault and remedy for the words that should have been numbers."""
    _, at, word = bad[0]
    more = f" ({len(bad)} such words in all)" if len(bad) > 1 else ""
    commas = word.count(",") == 1 and "." not in word
    do = "Export the part again with decimal points" if commas else "Export the part again"
    return f"{where}, line {line_of(data, at)}", f"{word!r} is not a number{more}", do
