"""A change to the parts, to how they share plates, or to the ramp after the base, that does more than waiting."""

from __future__ import annotations

from enum import StrEnum

from attrs import frozen


class ChangeKind(StrEnum):
    """What is changed."""

    VENT = "vent"
    SPLIT = "split"
    TILT = "tilt"
    RAMP = "ramp"


@frozen(kw_only=True)
class PartChange:
    """One change to the parts, with what it does to the time of all pieces.

    Parameters
    ----------
    kind : ChangeKind
        What is changed.
    part : str
        Name of the part concerned; of a split, the parts that go on a plate of their own; of a ramp, none.
    saves_s, to_s : float
        Time it saves, and of all pieces with it [s].
    worth : bool
        Whether it beats waiting by enough to be told first, and the run is then worth starting.
    settle_s, settled_s : float
        Body settle without and with it [s].
    mean, meant : float
        Chance that a run holds without and with it [-].
    pockets : int
        Vent: sealed pockets in one piece.
    hole_m : float
        Vent: diameter of the hole in each [m].
    first_layer, layer_nm : int
        Vent: where the pocket begins, at its end nearest the platform; layer thickness [nm].
    alone_s, rest_s : float
        Split: time of the plates of those parts, and of the others [s].
    rest : str
        Split: the parts that are left.
    tilt_rad : float
        Tilt: how far, about the part's own long side [rad].
    ramp_layers : int
        Ramp: how many layers it has then.
    """

    kind: ChangeKind
    part: str
    saves_s: float
    to_s: float
    worth: bool
    settle_s: float
    settled_s: float
    mean: float
    meant: float
    pockets: int = 0
    hole_m: float = 0.0
    first_layer: int = 0
    layer_nm: int = 0
    alone_s: float = 0.0
    rest_s: float = 0.0
    rest: str = ""
    tilt_rad: float = 0.0
    ramp_layers: int = 0


@frozen(kw_only=True)
class SlowFace:
    """The part that a plate waits for, where waiting is most of its time and no change that was tried is quicker.

    Parameters
    ----------
    part : str
        Whose flat face resists most.
    waits_s, total_s : float
        Settle of all body layers of all plates, and time of all pieces [s].
    """

    part: str
    waits_s: float
    total_s: float
