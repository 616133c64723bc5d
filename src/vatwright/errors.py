"""Everything that can go wrong on purpose, in one small tree.

::

    VatwrightError            exit 3   something is wrong on our side
    ├── InputError            exit 2   what was handed in cannot be used (also a ValueError)
    │   ├── DomainError       exit 2   a number lies outside what a formula is valid for
    │   └── StaleError        exit 2   what was to be changed is no longer what its reader saw
    └── WillNotWork           exit 1   the input is fine and the answer is no

Every mistake says what was wrong, where, and what to do.  Outside input collects all of its mistakes and raises them
together as one :class:`InputError`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable


class Mistake(NamedTuple):
    """One thing wrong with what was handed in.

    Parameters
    ----------
    where : str
        The place: a file, a file with its line, a field, an argument.
    what : str
        What is wrong there, with the offending value.
    do : str
        What the reader should do about it.
    """

    where: str
    what: str
    do: str

    def __str__(self) -> str:
        remedy = self.do if self.do.endswith((".", "?")) else f"{self.do}."
        return f"{self.where}: {self.what}. {remedy}"


class VatwrightError(Exception):
    """Base of every error this package raises on purpose."""

    exit_code = 3


class InputError(VatwrightError, ValueError):
    """What was handed in cannot be used; carries every mistake found, not only the first.

    Examples
    --------
    >>> raise InputError.one("lamp.stl", "the file holds no triangles", "Export the part again.")
    Traceback (most recent call last):
    vatwright.errors.InputError: lamp.stl: the file holds no triangles. Export the part again.
    """

    exit_code = 2

    def __init__(self, mistakes: list[Mistake] | tuple[Mistake, ...]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__("\n".join(str(m) for m in self.mistakes))

    @classmethod
    def one(cls, where: str, what: str, do: str) -> InputError:
        """Return the error for a single mistake."""
        return cls([Mistake(where, what, do)])


class DomainError(InputError):
    """A number lies outside the range in which a formula holds.

    Examples
    --------
    >>> raise DomainError.one("gap_m", "must be above 0, got -1e-05", "Give the gap under the cured face.")
    Traceback (most recent call last):
    vatwright.errors.DomainError: gap_m: must be above 0, got -1e-05. Give the gap under the cured face.
    """


class StaleError(InputError):
    """What was to be changed is no longer as it was when the one who changes it looked.

    Examples
    --------
    >>> raise StaleError.one("price film", "was changed meanwhile", "Look at it again.")
    Traceback (most recent call last):
    vatwright.errors.StaleError: price film: was changed meanwhile. Look at it again.
    """


class WillNotWork(VatwrightError):  # noqa: N818 - it is an answer, not a failure
    """The input is fine and the honest answer is no."""

    exit_code = 1


def require_positive(**values: float) -> None:
    """Raise :class:`DomainError` naming every value that is not a finite number above zero.

    Examples
    --------
    >>> require_positive(gap_m=5e-5, viscosity_pa_s=0.2)
    >>> require_positive(gap_m=0.0)
    Traceback (most recent call last):
    vatwright.errors.DomainError: gap_m: must be a finite number above 0, got 0. Check the value and its unit.
    """
    _require(values, lambda v: 0.0 < v < float("inf"), "must be a finite number above 0")


def require_not_negative(**values: float) -> None:
    """Raise :class:`DomainError` naming every value that is negative, infinite or not a number."""
    _require(values, lambda v: 0.0 <= v < float("inf"), "must be a finite number, 0 or above")


def require_finite(**values: float) -> None:
    """Raise :class:`DomainError` naming every value that is infinite or not a number."""
    _require(values, lambda v: float("-inf") < v < float("inf"), "must be a finite number")


def _require(values: dict[str, float], holds: Callable[[float], bool], rule: str) -> None:
    bad = [
        Mistake(name, f"{rule}, got {value:g}", "Check the value and its unit")
        for name, value in values.items()
        if not holds(value)
    ]
    if bad:
        raise DomainError(bad)
