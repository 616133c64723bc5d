"""Resin outside the temperatures at which anything here was checked, and how it comes back inside."""

from __future__ import annotations

from attrs import field, frozen, validators

from vatwright.records.after import Span

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))


@frozen(kw_only=True)
class WarmUp:
    """How resin that is too cold, or too warm, comes to a temperature at which it may be printed.

    Parameters
    ----------
    now_k, target_k : float
        Temperature it has and should have [K].
    least_k, most_k : float
        Temperatures between which the models were held against anything [K].
    bottle_s, vat_s : Span
        Time in which a bottle of a litre, and the pool in the vat, come near the target in air of that temperature [s].
    bath_k : float or None
        Warmth of the water that a closed bottle may stand in [K]; None where it has to cool.
    bath_s : Span or None
        Time in which it comes to the target there [s].
    back_s : Span or None
        Time in which the pool has lost half of what it gained where the room stays as it is [s]; None where it has to cool.
    sources : tuple of str
        Keys of the sources used.
    """

    now_k: float = field(validator=_positive)
    target_k: float = field(validator=_positive)
    least_k: float = field(validator=_positive)
    most_k: float = field(validator=_positive)
    bottle_s: Span
    vat_s: Span
    bath_k: float | None = None
    bath_s: Span | None = None
    back_s: Span | None = None
    sources: tuple[str, ...] = ()

    @property
    def cold(self) -> bool:
        """Whether it is too cold; else it is too warm."""
        return self.now_k < self.least_k


@frozen(kw_only=True)
class RunWarmth:
    """Temperature of the resin in a run: it starts as warm as the room, and light and drive warm it [K].

    Parameters
    ----------
    start_k : float
        At the start.
    after_base_k, end_k : Span
        When the base is done, and at the end.
    planned_with : bool
        Whether the plan goes by them, as the shop states them; else they are an estimate, and every wait is for the cold start.
    """

    start_k: float
    after_base_k: Span
    end_k: Span
    planned_with: bool = False
