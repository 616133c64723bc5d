"""What the base meets under the platform, layer by layer and place by place, and how to mend it.  SI throughout."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

from vatwright.records.machine import Platform
from vatwright.wording import to_say

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


PLACES = {
    ("front", "left"): to_say("front left"),
    ("front", "middle"): to_say("front middle"),
    ("front", "right"): to_say("front right"),
    ("middle", "left"): to_say("middle left"),
    ("middle", "middle"): to_say("middle"),
    ("middle", "right"): to_say("middle right"),
    ("rear", "left"): to_say("rear left"),
    ("rear", "middle"): to_say("rear middle"),
    ("rear", "right"): to_say("rear right"),
}
"""What a person standing in front of the machine calls the thirds of a platform."""


def place_name(x_m: float, y_m: float, *, width_m: float, depth_m: float) -> str:
    """Return what a person standing in front of the machine calls a place on the platform: thirds each way.

    Examples
    --------
    >>> place_name(-0.1, 0.06, width_m=0.3, depth_m=0.17), place_name(0.0, 0.0, width_m=0.3, depth_m=0.17)
    ('rear left', 'middle')
    >>> place_name(0.1, 0.0, width_m=0.3, depth_m=0.17), place_name(0.0, -0.08, width_m=0.3, depth_m=0.17)
    ('middle right', 'front middle')
    """
    across = "left" if x_m < -width_m / 6.0 else "right" if x_m > width_m / 6.0 else "middle"
    along = "front" if y_m < -depth_m / 6.0 else "rear" if y_m > depth_m / 6.0 else "middle"
    return PLACES[along, across]


@frozen(kw_only=True)
class BasePlace:
    """One place under which a base layer is cured.

    Parameters
    ----------
    name : str
        What a person in front of the machine calls it.
    x_m, y_m : float
        Where, from the platform's centre [m].
    gap_m, bonds_to_m : tuple of float
        Gap when the light comes on, and the thickest gap that the light bonds through there [m].
    layer_m, unsettled_m, uneven_m, tipped_m : float
        What the gap is made of, medians: the commanded layer, what has not settled, platform out of level and flat, and
        platform tipped by an uneven load [m].
    chance : float
        How likely it bonds [-].
    """

    name: str
    x_m: float
    y_m: float
    gap_m: tuple[float, float, float]
    bonds_to_m: tuple[float, float, float]
    layer_m: float
    unsettled_m: float
    uneven_m: float
    tipped_m: float
    chance: float

    @property
    def spare_m(self) -> float:
        """How much thicker a gap it would bond through than the one it has, of the medians [m]."""
        return self.bonds_to_m[1] - self.gap_m[1]


@frozen(kw_only=True, eq=False)
class BaseLayer:
    """One base layer.

    Parameters
    ----------
    layer : int
        From 0, which touches the platform.
    worst : BasePlace
        The place that lets go first.
    corners : tuple of BasePlace
        The outermost cured places towards front left, front right, rear right, rear left.
    spare_m, chance : (ny, nx) ndarray
        Over the grid of the platform: the gap that bonds less the gap there, median [m], and how likely it bonds [-].
    settle_s, exposure_s : float
        What it gets [s].
    """

    layer: int
    worst: BasePlace
    corners: tuple[BasePlace, ...]
    spare_m: Floats
    chance: Floats
    settle_s: float
    exposure_s: float


@frozen(kw_only=True, eq=False)
class BasePressure:
    """What presses on the platform in one base layer, medians.

    Parameters
    ----------
    layer : int
        From 0.
    peak_n, end_n : float
        Force as the platform arrives, and when the light comes on [N].
    centre_x_m, centre_y_m : float
        Where it acts, from the platform's centre [m].
    peak_moment_j, end_moment_j : float
        Moment about the platform's centre at both times: force times how far off the centre it acts [N m].
    pressure_pa : (ny, nx) ndarray
        Pressure as the platform arrives, over the grid of the platform; 0 outside [Pa].
    """

    layer: int
    peak_n: float
    end_n: float
    centre_x_m: float
    centre_y_m: float
    peak_moment_j: float
    end_moment_j: float
    pressure_pa: Floats


@frozen(kw_only=True)
class Mend:
    """One thing that might make the base hold, alone.

    Parameters
    ----------
    kind : str
        ``settle``, ``exposure``, ``layers``, ``level`` or ``warmth``.
    from_value, to_value : float
        Now, and the least that is enough, SI: seconds, layers, worst extra gap [m], temperature [K].  Where nothing is
        enough, `to_value` is the furthest looked at.
    minutes : float
        What it costs [min]; run time, or work before the run.
    chance : float
        How likely the base then holds [-].
    enough : bool
        Whether it alone brings the chance to the confidence asked for.
    allowed : bool
        Whether the controller takes it.
    note : str
        How, or why not, in a sentence.
    source : str
        Where the minutes come from: a key of the list of sources; empty where they are reckoned from the settings.
    """

    kind: str
    from_value: float
    to_value: float
    minutes: float
    chance: float
    enough: bool
    allowed: bool
    note: str
    source: str = ""

    @property
    def works(self) -> bool:
        """Whether it can be done and is enough."""
        return self.enough and self.allowed


@frozen(kw_only=True)
class TypedBase:
    """The base if the proven values were typed in as they are.

    Parameters
    ----------
    settle_s, exposure_s : float
        What its base layers would then get [s].
    layer : int
        The layer that lets go first.
    worst : BasePlace
        Where.
    chance : float
        How likely that base holds [-].
    """

    settle_s: float
    exposure_s: float
    layer: int
    worst: BasePlace
    chance: float


@frozen(kw_only=True, eq=False)
class FirstLayers:
    """The base of a plan, place by place.

    Parameters
    ----------
    platform : Platform
        What it is printed on.
    outlines_m : tuple of (P, 2) ndarray
        What is cured in the base [m]; empty where nobody knows and the whole platform is judged.
    weak : tuple of bool
        For each outline, whether a place on it bonds less often than asked for, in some base layer.
    x_m, y_m : (nx,), (ny,) ndarray
        The grid of the maps [m].
    layers : tuple of BaseLayer
        Every base layer.
    pressures : tuple of BasePressure
        What presses on the platform in each.
    first : int
        The base layer that lets go first.
    chance : float
        How likely the whole base holds [-].
    enough : float
        Chance asked for [-].
    level_read, tip_read : bool
        Whether the way the platform is out of level is read, and how it gives to an uneven load.
    typed : TypedBase
        The proven values typed in as they are.
    mends_plan : bool
        Whether the mends start from the plan; otherwise from the values as typed, and the plan needs none.
    mends : tuple of Mend
        Those that work first, cheapest first; empty where neither needs one.
    notes : tuple of str
        What was taken for granted, a sentence each.
    """

    platform: Platform
    outlines_m: tuple[Floats, ...]
    weak: tuple[bool, ...]
    x_m: Floats
    y_m: Floats
    layers: tuple[BaseLayer, ...]
    pressures: tuple[BasePressure, ...]
    first: int
    chance: float
    enough: float
    level_read: bool
    tip_read: bool
    typed: TypedBase
    mends_plan: bool
    mends: tuple[Mend, ...]
    notes: tuple[str, ...]

    @property
    def worst(self) -> BasePlace:
        """The place that lets go first."""
        return self.layers[self.first].worst

    @property
    def cheapest(self) -> Mend | None:
        """The cheapest mend that works; None where there is none."""
        return next((m for m in self.mends if m.works), None)
