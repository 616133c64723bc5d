"""What moves on a carry sheet when one thing is changed, looked at quickly."""

from __future__ import annotations

from attrs import frozen

from vatwright.records.plan import HandPlan, Success
from vatwright.records.process import Settings


@frozen(kw_only=True)
class QuickPlan:
    """What a plan comes to.

    Parameters
    ----------
    settings : Settings
        As the controller can take them.
    success : Success
        Chance that the run holds.
    chances : dict of str to float
        Of base, body and release each.
    to_s : float
        All plates on the target [s].
    hand : HandPlan or None
        What is done by hand.
    """

    settings: Settings
    success: Success
    chances: dict[str, float]
    to_s: float
    hand: HandPlan | None


CHANCE_OFF = 0.03
SETTLE_OFF = 0.05
"""How far a quick look may be off the full answer: its chance [-], and its body settle as a share besides one step of the
controller [-]; measured on the demo jobs in rooms of 12 to 26 °C, covers of 80 to 99 % and with one hand or none."""


@frozen(kw_only=True)
class QuickLook:
    """A carry sheet and what it would be with one thing changed.

    Parameters
    ----------
    before, now : Look
        The sheet's own, and with the change.
    settle_off : float
        How far the body settle that the plan wants scatters among the worlds it was searched in again, as a share of it
        [-]; 0 where it was not searched again.
    """

    before: QuickPlan
    now: QuickPlan
    settle_off: float
