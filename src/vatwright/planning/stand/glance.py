"""A first look at a direction: what one pass over the triangles tells of settle, time, pull, supports and room.

It ranks directions and is shown to nobody: the short list is studied layer by layer.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import field, frozen

from vatwright.errors import InputError
from vatwright.geometry.attitude import Facets, tilted
from vatwright.geometry.profile import area_profile, layer_count
from vatwright.physics.squeeze_film import settle_time_constant
from vatwright.planning.demand.duration import layer_times
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.planning.demand.settle import FOOT_M, MISSED_SHARE
from vatwright.wording import to_say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.records.job import Job

    Floats = NDArray[np.float64]

CUTS = 128
"""Heights at which a part is cut for a first look [1]: a feature of a hundredth of its height is not missed."""

COMPACTNESS = 2.0
"""Torsion constant over A^3 / P^2, of area and perimeter [-]: 2 for a disc, 2.25 for a square, 4/3 for a long strip."""

TIME_CONSTANTS = 3.0
"""Settle of a layer over its time constant where nothing better is known [-]; engineering estimate, no source."""

PACKED = 0.8
"""Share of a platform that the rectangles around pieces cover where it is full [-]; engineering estimate, no source."""

NM_PER_M = 1_000_000_000


@frozen(kw_only=True)
class Yardstick:
    """What turns a section into seconds on a machine.

    Parameters
    ----------
    layer_nm : int
        Layer thickness [nm].
    layer_s : float
        Time of a body layer without its settle [s].
    spare_s : float
        Settle whatever the section [s].
    settle_s_m4 : float
        Settle for every m4 of the hardest layers' torsion constant [s/m4].
    height_m, sides_m : float, tuple of float
        Build height, and the platform's shorter and longer side [m].
    pieces : int
        How many pieces are wanted.
    """

    layer_nm: int
    layer_s: float
    spare_s: float
    settle_s_m4: float
    height_m: float
    sides_m: tuple[float, float]
    pieces: int = 1

    def plates(self, plan_m2: float) -> tuple[int, int]:
        """Return how many pieces of a rectangle so large stand on a plate, and how many plates there are, at a guess."""
        room = max(int(PACKED * self.sides_m[0] * self.sides_m[1] / plan_m2), 1)
        return min(room, self.pieces), math.ceil(self.pieces / room)


def yardstick(job: Job, *, layer_nm: int) -> Yardstick:
    """Return the yardstick of a job: its recipe's settle is all spare, and the law of the spring gives what a section adds."""
    machine, settings = job.target, job.recipe.settings
    times = layer_times(settings, machine, layers=settings.base_layers + settings.ramp_layers + 1)
    constant_s = settle_time_constant(
        viscosity_pa_s=viscosity_belief(job.resin).viscosity_pa_s.value, torsion_m4=1.0,
        stiffness_n_m=machine.stiffness_n_m.value, target_gap_m=layer_nm / NM_PER_M,
    )  # fmt: skip
    sides = sorted((machine.platform.width_m, machine.platform.depth_m))
    return Yardstick(
        layer_nm=layer_nm, layer_s=float(times.rest_s[-1]), spare_s=settings.body.settle_s,
        settle_s_m4=TIME_CONSTANTS * constant_s, height_m=machine.height_m, sides_m=(sides[0], sides[1]),
        pieces=sum(part.count for part in job.parts),
    )  # fmt: skip


class Glance(NamedTuple):
    """A direction at first sight: tilt and turn [deg], height [m], settle and time [s], areas [m2], and whether it fits."""

    tilt_deg: float
    turn_deg: float
    height_m: float
    settle_s: float
    time_s: float
    section_m2: float
    supports_m2: float
    plan_m2: float
    fits: bool


@frozen(eq=False)
class Looks:
    """Looks at the directions of a part, each once.

    Parameters
    ----------
    facets : Facets
        The part as drawn, coarse enough to be looked at hundreds of times.
    yard : Yardstick
        What turns sections into seconds.
    """

    facets: Facets
    yard: Yardstick
    seen: dict[tuple[float, float], Glance] = field(factory=dict)

    def at(self, tilt_deg: float, turn_deg: float) -> Glance:
        """Return how a direction looks."""
        key = (tilt_deg, turn_deg)
        if key not in self.seen:
            self.seen[key] = glance(self.facets, self.yard, tilt_deg=tilt_deg, turn_deg=turn_deg)
        return self.seen[key]


def glance(facets: Facets, yard: Yardstick, *, tilt_deg: float, turn_deg: float) -> Glance:
    """Return how a part looks in one direction.

    Parameters
    ----------
    facets : Facets
        The part as drawn.
    yard : Yardstick
        What turns sections into seconds.
    tilt_deg, turn_deg : float
        The direction, as for :func:`vatwright.geometry.attitude.tilt_matrix` [deg].

    Raises
    ------
    InputError
        Where it has no height that a layer could hold.
    """
    mesh = tilted(facets.mesh, tilt_deg=tilt_deg, turn_deg=turn_deg)
    low, high = mesh.bounds_m
    size = high - low
    cut_nm = max(int(size[2] * NM_PER_M / CUTS), 1)
    profile = area_profile(mesh, layer_nm=cut_nm, bottom_m=float(low[2]), layers=layer_count(float(size[2]), cut_nm))
    if not profile.perimeter_m.any():
        raise InputError.one("mesh", to_say("is flat: it has no height"), to_say("Export the part again, as a solid"))
    plan_m2 = float(size[0] * size[1])
    together, plates = yard.plates(plan_m2)
    hardest = hardest_m4(profile.area_m2, profile.perimeter_m, cut_nm / NM_PER_M)
    settle_s = yard.spare_s + yard.settle_s_m4 * together * hardest
    layers = layer_count(float(size[2]), yard.layer_nm)
    sides = np.sort(size[:2])
    return Glance(
        tilt_deg, turn_deg, float(size[2]), settle_s, plates * layers * (yard.layer_s + settle_s),
        float(profile.area_m2.max()),
        facets.overhang_m2(tilt_deg=tilt_deg, turn_deg=turn_deg, platform_m=yard.layer_nm / NM_PER_M),
        plan_m2, bool(size[2] <= yard.height_m and (sides <= yard.sides_m).all()),
    )  # fmt: skip


def hardest_m4(area_m2: Floats, perimeter_m: Floats, layer_m: float) -> float:
    r"""Return the torsion constant of the layers that a body settle must serve, from areas and perimeters alone [m4].

    .. math:: J \approx 2 A^3 / P^2

    Parameters
    ----------
    area_m2, perimeter_m : (N,) ndarray
        Of layers evenly spread over the height.
    layer_m : float
        Their distance [m].

    Returns
    -------
    float
        Of the hardest layer above the foot, the few set aside that may miss the tolerance.

    Notes
    -----
    Exact for discs and any number of equal ones, 11 % low for squares, half as much again as a long strip has; a sealed
    pool is not seen.  The constants it is checked by: Saint-Venant's of disc, square and strip.

    Examples
    --------
    >>> disc = np.full(100, math.pi * 0.01**2), np.full(100, 2.0 * math.pi * 0.01)
    >>> round(hardest_m4(*disc, 1e-3) / (math.pi / 2.0 * 0.01**4), 9)
    1.0

    References
    ----------
    Saint-Venant, De la torsion des prismes (1855). [saintvenant:1855]
    """
    foot = min(round(FOOT_M / layer_m), len(area_m2) - 1)
    area, around = np.maximum(area_m2[foot:], 0.0), perimeter_m[foot:]
    torsion = COMPACTNESS * np.divide(area**3, around**2, out=np.zeros_like(area), where=around > 0.0)
    ranked = np.sort(torsion)[::-1]
    return float(ranked[math.floor(MISSED_SHARE * len(ranked))])
