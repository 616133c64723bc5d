"""What failures cost: plates until one holds, and pieces until a price is earned back."""

from __future__ import annotations

import math

from vatwright.errors import DomainError
from vatwright.wording import to_say


def attempts(chance: float) -> float:
    r"""Return the plates run until one holds, in the mean.

    .. math:: n = 1/p

    Parameters
    ----------
    chance : float
        Chance that a plate holds, :math:`p` [1].

    Returns
    -------
    float
        Plates, in the mean [1].

    Notes
    -----
    Every plate has the same chance, whatever the one before did.

    Examples
    --------
    >>> round(attempts(0.85), 6)
    1.176471

    References
    ----------
    Mean of the geometric distribution [derived:vatwright].
    """
    _require_chance(chance)
    return 1.0 / chance


def expected_cost(*, good: float, failed: float, chance: float) -> float:
    r"""Return the cost of a plate that holds, with the failed ones before it.

    .. math:: C_t = C + C_f (1 - p)/p

    Parameters
    ----------
    good : float
        Cost of a plate that holds, :math:`C` [money]; may be zero.
    failed : float
        Cost of a plate that fails, :math:`C_f` [money]; may be zero.
    chance : float
        Chance that a plate holds, :math:`p` [1].

    Returns
    -------
    float
        Cost [money].

    Notes
    -----
    In the mean over many; in your own currency.

    Examples
    --------
    >>> round(expected_cost(good=12.0, failed=9.0, chance=0.85), 4)
    13.5882

    References
    ----------
    Mean of the geometric distribution [derived:vatwright].
    """
    _require_chance(chance)
    return good + failed * (1.0 - chance) / chance


def break_even(*, fixed: float, price: float, unit_cost: float) -> int | None:
    r"""Return the pieces from which on a fixed cost is earned back.

    .. math:: n = F / (p - c)\;\text{rounded up}

    Parameters
    ----------
    fixed : float
        What is to be earned back, :math:`F` [money].
    price : float
        What a piece brings, :math:`p` [money].
    unit_cost : float
        What a piece costs, :math:`c` [money]; may be zero.

    Returns
    -------
    int or None
        Pieces; None where none are enough [1].

    Notes
    -----
    Same price and cost for every piece, interest left out; none where a piece brings no more than it costs.

    Examples
    --------
    >>> break_even(fixed=1200.0, price=25.0, unit_cost=9.5)
    78

    References
    ----------
    Balance of income and cost [derived:vatwright].
    """
    earned = price - unit_cost
    return math.ceil(fixed / earned - 1e-9) if earned > 0.0 else None


def _require_chance(chance: float) -> None:
    """Refuse what is no chance."""
    if not 0.0 < chance <= 1.0:
        raise DomainError.one("chance", to_say("is above 100 %"), to_say("Give a chance from 0 to 100 %"))
