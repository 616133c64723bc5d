"""Capacity over demand of every layer in every world, and how far the plan itself keeps one layer from holding.

Whatever can be seen of a failed run is such a margin below 1, or a height that is not the nominal one.
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from vatwright.planning.demand.holding import PlateMargins, front_force_n_m, plate_margins
from vatwright.planning.why.worlds import Inquiry, RunWorlds, light_share

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

BAND = 1.2
"""A layer this many times as thick, or as thin, is seen as a band [-]; engineering estimate, no source."""

STEP = 1.15
"""Neighbouring layers whose thickness differs by this factor show as a line [-]; engineering estimate, no source."""


class Shows(StrEnum):
    """What fails, or is wrong, where something was seen."""

    BOND = "bond"
    THICK = "thick"
    THIN = "thin"
    UNEVEN = "uneven"
    HEIGHT = "height"
    RELEASE = "release"
    SECTION = "section"
    FOOT = "foot"


class PlatformSpot(NamedTuple):
    """A place on the platform [m]."""

    x_m: float
    y_m: float


class Mechanism(Protocol):
    """Log margin of every layer in every world, at a place or at the worst one, (S, N)."""

    def __call__(self, inq: Inquiry, state: RunWorlds, spot: PlatformSpot | None) -> Floats:
        """Return it."""
        ...


def corners(inq: Inquiry) -> tuple[PlatformSpot, ...]:
    """Return the four corners and the middle of the platform."""
    w, d = inq.platform.width_m / 2.0, inq.platform.depth_m / 2.0
    return (*(PlatformSpot(sx * w, sy * d) for sx in (-1, 1) for sy in (-1, 1)), PlatformSpot(0.0, 0.0))


def bond(inq: Inquiry, state: RunWorlds, spot: PlatformSpot | None) -> Floats:
    """Log of how deep the light bonds over how thick the layer is."""
    share = inq.case.light_to.dimmest if spot is None else light_share(inq.light, *spot)
    layer = state.run.load.layer_m
    limit = np.maximum(state.cured_m(share) - state.run.overcure_m[:, None], 0.01 * layer)
    gap = state.worst_m.copy()
    if spot is None:
        middle = gap[:, 0] + state.zero_m
        gap[:, 0] = np.max([middle, *(state.first_gap_m(*c) for c in corners(inq))], axis=0)
    else:
        gap[:, 0] = state.first_gap_m(*spot)
    return np.asarray(np.log(limit / np.maximum(gap, 0.01 * layer)))


def thick(inq: Inquiry, state: RunWorlds, spot: PlatformSpot | None) -> Floats:  # noqa: ARG001 - a Mechanism
    """Log of the thickness that shows as a band over the layer's."""
    return np.asarray(np.log(BAND * state.run.load.layer_m / np.maximum(state.thickness_m, 1e-9)))


def thin(inq: Inquiry, state: RunWorlds, spot: PlatformSpot | None) -> Floats:  # noqa: ARG001 - a Mechanism
    """Log of the layer's thickness over the one that shows as a thin band."""
    return np.asarray(np.log(np.maximum(state.thickness_m, 1e-9) * BAND / state.run.load.layer_m))


def uneven(inq: Inquiry, state: RunWorlds, spot: PlatformSpot | None) -> Floats:  # noqa: ARG001 - a Mechanism
    """Log of the step that shows as a line over the step between a layer and the one before."""
    log = np.log(np.maximum(state.thickness_m, 1e-9))
    return np.asarray(math.log(STEP) - np.abs(np.diff(log, axis=1, prepend=log[:, :1])))


def release(inq: Inquiry, state: RunWorlds, spot: PlatformSpot | None) -> Floats:
    """Log of the rise over the rise at which the furthest point lets go."""
    base, body = (np.log(state.run.film(phase).tan_angle)[:, None] for phase in ("base", "body"))
    return np.asarray(np.log(_lift_over_span(inq, spot))[None, :] - np.where(state.run.in_base(), base, body))


def _lift_over_span(inq: Inquiry, spot: PlatformSpot | None) -> Floats:
    reach, window = inq.case.target_study.reach, inq.case.job.target.window
    if reach is None:
        raise ValueError("a question why needs a study made with the machine's window")
    rise = reach.reach_m
    if spot is not None:
        here = min(window.width_m / 2.0 - abs(spot.x_m), window.depth_m / 2.0 - abs(spot.y_m))
        # The nearer to the clamp the sooner; the film's own way there is known for whole layers only.
        rise = rise * np.minimum(max(here, 1e-3) / np.maximum(reach.span_m, 1e-6), 1.0)
    in_base = np.arange(inq.layers) < inq.settings.base_layers
    lift = np.where(in_base, inq.settings.base.lift_m, inq.settings.body.lift_m)
    return np.asarray(lift / np.maximum(rise, 1e-6))


class Holds:
    """Log margins of what carries the pull, by the walks of the plate, interpolated in the pull of sealed pockets."""

    def __init__(self, inq: Inquiry) -> None:
        self._study = inq.case.target_study
        self._plate: PlateMargins | None = None

    def section(self, inq: Inquiry, state: RunWorlds, spot: PlatformSpot | None) -> Floats:  # noqa: ARG002 - a Mechanism
        """Log of the pull that the weakest section carries over the pull."""
        return self._log(state, "section_m", "section_pa")

    def foot(self, inq: Inquiry, state: RunWorlds, spot: PlatformSpot | None) -> Floats:  # noqa: ARG002 - a Mechanism
        """Log of the pull that the weakest foot carries over the pull."""
        return self._log(state, "foot_m", "foot_pa")

    def known(self) -> bool:
        """Whether anything is known of what hangs on what."""
        return bool(self._study.hanging)

    def _log(self, state: RunWorlds, name: str, strength: str) -> Floats:
        held = state.strength
        if held is None:
            raise ValueError("holding needs strengths")
        base, body = (front_force_n_m(state.run.film(phase)) for phase in ("base", "body"))
        ratio = held.suction_pa / body
        front = np.where(state.run.in_base(), base[:, None], body[:, None])
        if self._plate is None:
            self._plate = plate_margins(self._study, _grid(ratio) if self._study.pockets else np.array([1.0]))
        grid = np.log(self._plate.suction_per_m)
        logs = np.log(np.minimum(getattr(self._plate, name), 1e6))
        at = np.interp(np.log(np.maximum(ratio, 1e-9)), grid, np.arange(len(grid)))
        low = np.minimum(at.astype(np.int64), max(len(grid) - 2, 0))
        high = np.minimum(low + 1, len(grid) - 1)
        margin = logs[low] + (at - low)[:, None] * (logs[high] - logs[low])
        return np.asarray(margin + np.log(getattr(held, strength)[:, None] / front))


def _grid(ratio: Floats) -> Floats:
    """Pocket pulls over front forces at which to walk: hardly any, and the range."""
    return np.unique(np.concatenate(([1e-3], np.quantile(ratio, (0.01, 0.25, 0.5, 0.75, 0.99)))))


# --- how far the plan itself is to blame -------------------------------------------------------------------------------


def settle_is_short(inq: Inquiry, layer: int, spot: PlatformSpot | None) -> float:  # noqa: ARG001 - a plan's share
    """Return by how much a layer of the reference world is thicker than drawn when the light comes on (log) [-]."""
    state = inq.reference
    return max(math.log(float(state.thickness_m[0, layer] / state.run.load.layer_m[layer])), 0.0)


def tilt_is_wide(inq: Inquiry, layer: int, spot: PlatformSpot | None) -> float:
    """Return by how much tilt as it was read widens a layer's gap in the reference world (log) [-]."""
    if layer:
        return 0.0
    spots = corners(inq) if spot is None else (spot,)
    gap = max(float(inq.reference.first_gap_m(*s)[0]) for s in spots)
    return max(math.log(gap / float(inq.reference.thickness_m[0, 0])), 0.0)


def light_is_short(inq: Inquiry, layer: int, spot: PlatformSpot | None) -> float:
    """Return by how much a layer as drawn is thicker than the light bonds in the reference world (log) [-]."""
    state = inq.reference
    layer_m = float(state.run.load.layer_m[layer])
    share = inq.case.light_to.dimmest if spot is None else light_share(inq.light, *spot)
    limit = float(state.cured_m(share)[0, layer] - state.run.overcure_m[0])
    return max(math.log(layer_m / max(limit, 0.01 * layer_m)), 0.0)


def all_of_it(inq: Inquiry, layer: int, spot: PlatformSpot | None) -> float:  # noqa: ARG001 - a plan's share
    """Return 1: nothing else of the plan moves this margin [-]."""
    return 1.0
