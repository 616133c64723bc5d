"""Runs of a job that were noted here, and what they say of the settings to advise.  SI throughout."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from attrs import field, frozen

from vatwright.records.process import Settings
from vatwright.records.run import Event, SetByHand

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class Changed(StrEnum):
    """What matters and is no longer as it was in a run."""

    PARTS = "parts"
    FILM = "film"
    SCREEN = "screen"
    ROOM = "room"
    ASKED = "asked"


@frozen(kw_only=True)
class TriedRun:
    """A noted run of this job on this machine with this resin.

    Parameters
    ----------
    run : str
        Its name.
    held : bool
        Whether the print came out as meant.
    events : tuple of Event
        What was seen.
    room_k : float
        Temperature [K].
    settings : Settings
        As printed.
    settle_s : (N,) ndarray or None
        Settle of each layer where hands changed it [s].
    changed : tuple of Changed
        What matters and has changed since.
    said : float or None
        Chance to hold that had been said [-]; None where none was kept.
    """

    run: str
    held: bool
    events: tuple[Event, ...]
    room_k: float
    settings: Settings
    settle_s: Floats | None = field(default=None, eq=False)
    changed: tuple[Changed, ...] = ()
    said: float | None = None

    def base_settle_s(self) -> float:
        """Return the settle of the base [s]."""
        return self.settings.base.settle_s if self.settle_s is None else float(self.settle_s[0])

    def body_settle_s(self) -> float:
        """Return the settle of most body layers [s]."""
        if self.settle_s is None:
            return self.settings.body.settle_s
        return float(np.median(self.settle_s[min(self.settings.base_layers, len(self.settle_s) - 1) :]))

    def settle_at_s(self, layer: int | None) -> float:
        """Return the settle of a layer, of most body layers where nobody knows which [s]."""
        if layer is None or self.settle_s is None or layer >= len(self.settle_s):
            return self.body_settle_s()
        return float(self.settle_s[layer])


@frozen(kw_only=True)
class Raised:
    """A wait or a rise that is more than what failed: its name, what failed and what is set, SI, and the run."""

    setting: str
    failed_at: float
    to: float
    run: str


@frozen(kw_only=True)
class Freed:
    """A run that failed and is not held against the settings, and what has changed since."""

    run: str
    changed: tuple[Changed, ...]


@frozen(kw_only=True)
class Experience:
    """What the runs of this very job say of its settings.

    Parameters
    ----------
    kept : str
        The run whose settings are kept, because they held; empty where none are.
    raised : tuple of Raised
        What is set above what failed.
    freed : tuple of Freed
        Failures that no longer count.
    failed, ran : int
        How many runs of this job here failed, of how many.
    doubt : float
        How likely it is that something is wrong here that no setting mends [-]; 0 where no run failed.
    """

    kept: str = ""
    raised: tuple[Raised, ...] = ()
    freed: tuple[Freed, ...] = ()
    failed: int = 0
    ran: int = 0
    doubt: float = 0.0


def as_set_by_hand(settle_s: Floats | None, hands: Sequence[SetByHand]) -> Floats | None:
    """Return the settle that each layer really had: as advised, except where a hand set another.

    Parameters
    ----------
    settle_s : (N,) ndarray or None
        As advised [s]; None where hands were to change nothing.
    hands : sequence of SetByHand
        What hands really set, in order of layers.

    Examples
    --------
    >>> as_set_by_hand(np.array([30.0, 30.0, 5.0, 5.0]), [SetByHand(layer=1, settle_s=5.0)]).tolist()
    [30.0, 5.0, 5.0, 5.0]
    """
    if settle_s is None or not hands:
        return settle_s
    given = np.array(settle_s, dtype=float)
    for hand in hands:
        given[hand.layer :] = hand.settle_s
    return given
