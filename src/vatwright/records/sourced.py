"""A number that can say how sure it is and where it came from."""

from __future__ import annotations

import math
from enum import StrEnum

from attrs import field, frozen

from vatwright.errors import DomainError
from vatwright.quantities import TableKey
from vatwright.wording import to_say

NORMAL_95 = 1.6448536269514722
"""95th percentile of the standard normal distribution; mathematics (any table of the normal distribution)."""


class Kind(StrEnum):
    """What stands behind a number, from the strongest to the weakest."""

    READING = to_say("your reading")
    STATEMENT = to_say("you said so")
    STANDARD = "standard"
    PUBLISHED = "published"
    DERIVED = to_say("worked out")
    PRACTICE = to_say("common practice, no source")
    ESTIMATE = to_say("engineering estimate")


def _finite(_instance: object, attribute: object, value: float) -> None:
    if not math.isfinite(value):
        name = getattr(attribute, "name", "value")
        raise DomainError.one(
            name, to_say("must be a finite number, got {value}", value=value), to_say("Check the value")
        )


@frozen(kw_only=True)
class Sourced:
    """A positive quantity with its 90 % range and its origin.

    The quantity is held as lognormal: `value` is its median, `low` and `high` its 5th and 95th percentile.

    Parameters
    ----------
    value, low, high : float
        Median and 90 % range, in the SI unit named by the field that holds it.
    source : str
        Key in the list of sources.
    kind : Kind
        What stands behind it.

    Examples
    --------
    >>> k = Sourced.about(2.5e5, factor=2.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
    >>> round(k.low), round(k.high), round(k.spread, 3)
    (125000, 500000, 0.421)
    """

    value: float = field(validator=_finite)
    low: float = field(validator=_finite)
    high: float = field(validator=_finite)
    source: str
    kind: Kind

    def __attrs_post_init__(self) -> None:
        if not 0.0 < self.low <= self.value <= self.high:
            raise DomainError.one(
                "range",
                to_say(
                    "wants 0 < low <= value <= high, got {low:g}, {value:g}, {high:g}",
                    low=self.low,
                    value=self.value,
                    high=self.high,
                ),
                to_say("Give a positive value inside its own range"),
            )

    @classmethod
    def about(cls, value: float, *, factor: float, source: str, kind: Kind) -> Sourced:
        """Return a quantity known to within `factor` either way (90 %)."""
        return cls(value=value, low=value / factor, high=value * factor, source=source, kind=kind)

    @classmethod
    def read(cls, value: float, *, sigma: float, source: str = "user:reading", kind: Kind = Kind.READING) -> Sourced:
        """Return a reading with its standard uncertainty `sigma`, as a lognormal of the same relative spread."""
        relative = math.sqrt(math.log1p((sigma / value) ** 2))
        factor = math.exp(NORMAL_95 * relative)
        return cls(value=value, low=value / factor, high=value * factor, source=source, kind=kind)

    @property
    def spread(self) -> float:
        """Standard deviation of the natural logarithm [-]."""
        return math.log(self.high / self.low) / (2.0 * NORMAL_95)


def standing_in(key: TableKey) -> Sourced:
    """Return what stands in for a key that nobody said: an engineering estimate with its range.

    Examples
    --------
    >>> from vatwright.quantities import key_at
    >>> standing_in(key_at("machine.stiffness_N_mm")).value
    250000.0
    """
    if key.prior is None:
        raise ValueError(key.name)
    prior = key.prior
    return Sourced(value=prior.value, low=prior.low, high=prior.high, source="estimate:vatwright", kind=Kind.ESTIMATE)
