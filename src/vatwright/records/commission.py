"""What is worth reading on a new machine or of a new resin."""

from __future__ import annotations

from attrs import field, frozen, validators


@frozen(kw_only=True)
class CommissionItem:
    """One thing to read.

    Parameters
    ----------
    slug : str
        Which reading.
    key : str
        Dotted name of the key that takes it.
    done : bool
        Whether the shop holds the user's own value.
    minutes : float
        Time it takes [min].
    saves_s : float or None
        What it is expected to save in a run of a common load [s]; None where it is done or nothing is known of that.
    """

    slug: str
    key: str
    done: bool
    minutes: float = field(validator=validators.gt(0.0))
    saves_s: float | None = None


@frozen(kw_only=True)
class CommissionSheet:
    """Everything worth reading, the open readings first.

    Parameters
    ----------
    kind : str
        ``machine`` or ``resin``.
    name : str
        What the shop calls it.
    items : tuple of CommissionItem
        In the order worth doing.
    """

    kind: str
    name: str
    items: tuple[CommissionItem, ...]

    @property
    def open(self) -> tuple[CommissionItem, ...]:
        """Readings that nobody has taken yet."""
        return tuple(item for item in self.items if not item.done)
