"""The per-layer look at a plate of parts.

Layer 0 touches the platform.  All arrays have one entry a layer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from attrs import field, frozen

from vatwright.geometry.bowed_film import BowedLayers
from vatwright.geometry.load_path import IslandGraph

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]


class FreshIsland(NamedTuple):
    """A region of a layer with nothing beneath it: layer, centre [m], area [m2]."""

    layer: int
    x_m: float
    y_m: float
    area_m2: float


class SealedPocket(NamedTuple):
    """A cavity closed but for the film side while it prints: layers (inclusive), volume [m3], mouth area [m2].

    `stays_closed` tells whether later layers close it, so that what it holds stays inside the part.
    """

    first_layer: int
    last_layer: int
    volume_m3: float
    open_area_m2: float
    stays_closed: bool = False


class PlacedOutline(NamedTuple):
    """Seen from above, what one piece covers: its name, and its outlines as (P, 2) arrays [m]."""

    part: str
    loops_m: tuple[Floats, ...]


@frozen(kw_only=True, eq=False)
class Hanging:
    """The islands of one stack that stands on the plate, or of one of several like ones.

    Parameters
    ----------
    part : str
        Which part it belongs to.
    first_layer : int
        Layer of the plate in which the stack begins.
    shift_m : tuple of float
        Where its own origin stands, from the window's centre [m].
    graph : IslandGraph
        Its islands and what each rests on; like stacks share theirs.
    front_m : (I,) ndarray
        Longest peel front that crosses each island [m].
    """

    part: str
    first_layer: int
    shift_m: tuple[float, float]
    graph: IslandGraph
    front_m: Floats


@frozen(kw_only=True, eq=False)
class Reach:
    """Where the mask of each layer lies in the window it peels from, and how the film lets go of it.

    Parameters
    ----------
    span_m : (N,) ndarray
        Greatest distance from a point of the mask to the clamped edge of the window: how far resin flows back [m].
    reach_m : (N,) ndarray
        Rise at which the film has let go of the whole layer over tan(theta), geometry alone [m].
    front_m : (N,) ndarray
        Peak of the pull over T sin(theta): as if so long a front stood at the critical angle at once [m].
    peak_layer : int
        Of the layers solved, the one that pulls hardest.
    peak_rise_m, peak_pull_m : (K,) ndarray
        Its way: rise over tan(theta), and pull over T sin(theta) [m].
    solved : (M,) ndarray of int
        Layers of which the moving front was solved; the others are by a rule calibrated to it.  None where all are by rule.
    """

    span_m: Floats
    reach_m: Floats
    front_m: Floats
    peak_layer: int
    peak_rise_m: Floats
    peak_pull_m: Floats
    solved: Counts


@frozen(kw_only=True, eq=False)
class Study:
    """What each layer of a plate demands.

    Parameters
    ----------
    layer_nm : int
        Layer thickness [nm].
    height_m, volume_m3 : float
        Height of the tallest piece [m] and volume of the union of all [m3].
    area_m2, perimeter_m : (N,) ndarray
        Area and perimeter of each layer's union.
    islands : (N,) ndarray of int
        Regions in each layer.
    torsion_m4 : (N,) ndarray
        Sum of the regions' torsion constants, sealed pools counted as sealed [m4].
    fresh, pockets : tuple
        Fresh islands and sealed pockets.
    surface_m2 : float
        Surface of all pieces, from perimeters and flats [m2].
    closed : bool
        Whether every mesh was closed.
    overlap_m3 : float
        Volume that more than one shell claims; it is counted once [m3].
    pieces : int
        Pieces on this plate.
    outlines : tuple of PlacedOutline
        Top view.
    warnings : tuple of str
        What is wrong with the parts, and where.
    base_outlines_m : tuple of (P, 2) ndarray
        Loops of the first layer, on the platform; holes run clockwise [m].
    assumed_outlines_m : tuple of (P, 2) ndarray
        Where pieces known only by their count are taken to stand, as discs that resist as much [m]; light and level are not
        looked up there, as nobody knows.
    reach : Reach or None
        Present when the machine's window is known.
    hanging : tuple of Hanging
        The islands of all pieces and what they rest on, where the window is known and parts were looked at.
    bowed : BowedLayers or None
        How the film bows under each layer, where nothing firm backs it and the outlines are known.
    """

    layer_nm: int
    height_m: float
    volume_m3: float
    area_m2: Floats
    perimeter_m: Floats
    islands: Counts
    torsion_m4: Floats
    fresh: tuple[FreshIsland, ...] = ()
    pockets: tuple[SealedPocket, ...] = ()
    surface_m2: float = 0.0
    closed: bool = True
    overlap_m3: float = 0.0
    pieces: int = 1
    outlines: tuple[PlacedOutline, ...] = ()
    warnings: tuple[str, ...] = ()
    base_outlines_m: tuple[Floats, ...] = ()
    assumed_outlines_m: tuple[Floats, ...] = ()
    reach: Reach | None = field(default=None)
    hanging: tuple[Hanging, ...] = ()
    bowed: BowedLayers | None = field(default=None)

    @property
    def layers(self) -> int:
        """How many layers."""
        return len(self.area_m2)

    @property
    def layer_m(self) -> float:
        """Layer thickness [m]."""
        return self.layer_nm / 1_000_000_000
