"""Whether the pieces hold on to the platform against the pull of the film.  SI throughout."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@frozen(kw_only=True)
class WeakPlace:
    """A section of a piece, or its foot on the platform, against the pull that has to pass it.

    Parameters
    ----------
    part : str
        Which part.
    alike : int
        Stacks of it on the plate.
    layer : int
        Layer of the plate, from 0.
    height_m, x_m, y_m : float
        Where: above the platform, and from the window's centre [m].
    section_m2 : float
        Section that carries [m2].
    pull_n : float
        Median of the greatest pull that passes it, without the scatter from layer to layer [N].
    margin, low, high : float
        Strength of the section over that pull: median and 90 % range [-].
    pocket : bool
        Whether a sealed pocket of the piece is part of that pull.
    """

    part: str
    alike: int
    layer: int
    height_m: float
    x_m: float
    y_m: float
    section_m2: float
    pull_n: float
    margin: float
    low: float
    high: float
    pocket: bool = False


@frozen(kw_only=True)
class BendPlace:
    """Where a pull at the edge of what peels strains a section most.

    Parameters
    ----------
    part : str
        Which part.
    layer : int
        Layer of the plate, from 0.
    height_m, x_m, y_m : float
        Where: above the platform, and from the window's centre [m].
    stress_pa, strength_pa : float
        Greatest stress, tension and bending together, and the strength there, medians [Pa].
    margin : float
        Strength over stress, median [-].
    """

    part: str
    layer: int
    height_m: float
    x_m: float
    y_m: float
    stress_pa: float
    strength_pa: float
    margin: float


@frozen(kw_only=True, eq=False)
class HoldingProfile:
    """Of the piece with the weakest place, the weakest section of every layer and what has to pass it.

    Parameters
    ----------
    part : str
        Which part.
    height_m : (M,) ndarray
        Height of the layers in which something passes [m].
    capacity_n, capacity_low_n, capacity_high_n : (M,) ndarray
        What that section carries: median and 90 % range [N].
    demand_n, demand_high_n : (M,) ndarray
        The greatest pull that passes it: median, and what the scatter from layer to layer stays under in 95 % [N].
    """

    part: str
    height_m: Floats
    capacity_n: Floats
    capacity_low_n: Floats
    capacity_high_n: Floats
    demand_n: Floats
    demand_high_n: Floats


@frozen(kw_only=True, eq=False)
class Holding:
    """Whether the pieces of a plate hold on to the platform while it prints.

    Parameters
    ----------
    low, mean, high : float
        Chance that nothing tears and no foot peels over the whole run: 90 % range over the worlds, and mean [-].
    tear_chance, peel_chance : float
        Mean chance that a section tears, and that a foot peels off the platform [-].
    weakest : WeakPlace
        The section with the least margin.
    foot : WeakPlace
        The foot on the platform with the least margin.
    bend : BendPlace
        Where the pull at an edge strains most.
    profile : HoldingProfile
        For the picture.
    detached : int
        Islands that nothing beneath connects to the platform; they count neither as pull nor as tear.
    proof_counts : bool
        Whether the proven runs weighed the worlds; false where the proven plate is known by tape measure only.
    assumed : tuple of str
        What stands in for readings, a sentence each.
    sources : tuple of str
        Keys of the sources used.
    """

    low: float
    mean: float
    high: float
    tear_chance: float
    peel_chance: float
    weakest: WeakPlace
    foot: WeakPlace
    bend: BendPlace
    profile: HoldingProfile
    detached: int
    proof_counts: bool
    assumed: tuple[str, ...]
    sources: tuple[str, ...]
