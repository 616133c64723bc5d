"""How a part may stand: directions side by side, as drawn first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import field, frozen, validators

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Tones = NDArray[np.int8]

_share = validators.optional(validators.and_(validators.ge(0.0), validators.le(1.0)))


@frozen(kw_only=True, eq=False)
class Portrait:
    """What a part looks like as it stands.

    Parameters
    ----------
    front : (R, C) ndarray of int8
        Seen from the front, row 0 at the bottom: 0 nothing, else how much light falls there, 1 to 5.
    cell_m : float
        Side of a cell of it [m].
    plan_m : tuple of (P, 2) ndarray
        All that it covers seen from above; holes run clockwise [m].
    """

    front: Tones
    cell_m: float
    plan_m: tuple[Floats, ...]


@frozen(kw_only=True)
class Way:
    """One direction in which a part may stand, studied as a job of its own.

    Parameters
    ----------
    tilt_deg : float
        Tilt about a level line through the part, right-handed [deg].
    turn_deg : float
        Where that line points: 0 along x, 90 along y, counter-clockwise seen from above [deg].
    height_m : float
        Height, without supports [m].
    layers : int
        Layers of that height.
    supports_m2 : float
        Down-facing area that does not stand on the platform, flatter than a stated angle, seen from below [m2].
    pockets : int
        Sealed pockets, dents left out.
    pieces : int
        Pieces that a platform takes; 0 where not one fits.
    to_s, body_settle_s, pull_n : float or None
        Time of all plates [s], dark wait of the body layers [s], greatest pull of a layer [N]; None where it does not fit
        the machine.
    mean : float or None
        Chance that a run of the fullest plate holds [-].
    neck, neck_m : float or None
        Strength of the weakest section of a piece over the pull that has to pass it, in the middle of what is believed [-],
        and how high that section is [m]; what looks down is held up by supports.  None where it is not known.
    portrait : Portrait or None
        What it looks like.
    """

    tilt_deg: float
    turn_deg: float
    height_m: float
    layers: int
    supports_m2: float
    pockets: int
    pieces: int
    to_s: float | None = None
    body_settle_s: float | None = None
    pull_n: float | None = None
    mean: float | None = field(default=None, validator=_share)
    neck: float | None = None
    neck_m: float | None = None
    portrait: Portrait | None = field(default=None, eq=False)

    @property
    def fits(self) -> bool:
        """Whether one piece fits the machine."""
        return self.to_s is not None


@frozen(kw_only=True)
class StandSheet:
    """How a part should stand.

    Parameters
    ----------
    part, machine, resin, recipe : str
        Names.
    count : int
        How many pieces are wanted.
    layer_nm : int
        Layer thickness [nm].
    ways : tuple of Way
        As drawn first, then by time.
    advice : int
        Which of them to take.
    looked_at : int
        Directions that were looked at before the short list was studied.
    warnings : tuple of str
        What is wrong with the part.
    cautions : tuple of str
        What may hurt somebody, however it stands.
    """

    part: str
    count: int
    machine: str
    resin: str
    recipe: str
    layer_nm: int
    ways: tuple[Way, ...] = field(validator=validators.min_len(1))
    advice: int
    looked_at: int
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def layer_m(self) -> float:
        """Layer thickness [m]."""
        return self.layer_nm / 1_000_000_000

    @property
    def advised(self) -> Way:
        """The way to take."""
        return self.ways[self.advice]
