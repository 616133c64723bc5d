"""How long a run takes, layer by layer, from its settings and the machine's motion."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen

from vatwright.physics.motion import move_time
from vatwright.quantities import IN_A_PHASE, OTHER_WAITS, SETTLE_TIME, SPEEDS, TIME_COLUMNS, Nature, TableKey, in_phase
from vatwright.records.machine import Controller, Machine
from vatwright.records.process import Phase, Settings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SHARES = TIME_COLUMNS
"""The kinds of time in a layer, in the order of the columns of :class:`LayerTimes`."""

SETTLE_COLUMN = SHARES.index(SETTLE_TIME)


@frozen(kw_only=True, eq=False)
class LayerTimes:
    """Times of each layer.

    Parameters
    ----------
    parts_s : (N, 7) ndarray
        Light, settle, peel lift, clear lift, return, other waits, controller [s].
    """

    parts_s: Floats

    @property
    def layer_s(self) -> Floats:
        """Time of each layer [s], shape (N,)."""
        return np.asarray(self.parts_s.sum(axis=1))

    @property
    def total_s(self) -> float:
        """Time of the whole run [s]."""
        return float(self.parts_s.sum())

    @property
    def start_s(self) -> Floats:
        """When each layer starts [s], shape (N,)."""
        return np.concatenate(([0.0], np.cumsum(self.layer_s)[:-1]))

    @property
    def rest_s(self) -> Floats:
        """Time of each layer without its settle [s], shape (N,)."""
        return self.layer_s - self.parts_s[:, SETTLE_COLUMN]


def base_share(settings: Settings, layers: int) -> Floats:
    """Return for each layer how much of the base values it takes: 1 base, 0 body, linear over the ramp.

    Parameters
    ----------
    settings : Settings
        Layer counts.
    layers : int
        Layers of the run.

    Returns
    -------
    (N,) ndarray
        Shares [-].

    Examples
    --------
    >>> from vatwright.records.process import demo_settings
    >>> base_share(demo_settings(), 12).round(2).tolist()
    [1.0, 1.0, 1.0, 1.0, 0.86, 0.71, 0.57, 0.43, 0.29, 0.14, 0.0, 0.0]
    """
    past_base = np.arange(layers) - (settings.base_layers - 1)
    return np.clip(1.0 - past_base / (settings.ramp_layers + 1.0), 0.0, 1.0)


def per_layer(settings: Settings, quantity: str, attribute: str, *, layers: int, controller: Controller) -> Floats:
    """Return the value of one quantity in every layer, SI: base, then the ramp where it covers it, then body.

    Parameters
    ----------
    settings : Settings
        The values.
    quantity, attribute : str
        Public quantity name (``exposure_s``) and the field of Phase that holds it.
    layers : int
        Layers of the run.
    controller : Controller
        Which quantities its ramp covers.

    Returns
    -------
    (N,) ndarray
        Values, SI.
    """
    share = base_share(settings, layers)
    if quantity not in controller.ramp_covers:
        share = np.where(np.arange(layers) < settings.base_layers, 1.0, 0.0)
    base, body = getattr(settings.base, attribute), getattr(settings.body, attribute)
    return np.asarray(body + (base - body) * share)


def layer_times(settings: Settings, machine: Machine, *, layers: int, settle_s: Floats | None = None) -> LayerTimes:
    """Return the times of every layer of a run.

    Parameters
    ----------
    settings : Settings
        The values set.
    machine : Machine
        Its motion and controller.
    layers : int
        Layers of the run.
    settle_s : (N,) ndarray, optional
        Settle of each layer where a hand changes it during the run [s].

    Returns
    -------
    LayerTimes
        Split by kind.

    Notes
    -----
    Moves are trapezoids of speed and the machine's median acceleration; both stages of the rise start from rest.
    """
    in_base = np.arange(layers) < settings.base_layers
    parts = np.zeros((layers, len(SHARES)))
    for wait in IN_A_PHASE:  # light is a wait too: the platform stands still
        if wait.nature in (Nature.LIGHT, Nature.WAIT):
            value_s = per_layer(settings, wait.name, wait.attribute, layers=layers, controller=machine.controller)
            parts[:, SHARES.index(wait.column or OTHER_WAITS)] += value_s
    if settle_s is not None:
        parts[:, SETTLE_COLUMN] = settle_s
    for speed in SPEEDS:
        base, body = (_move_s(phase, speed, machine) for phase in (settings.base, settings.body))
        parts[:, SHARES.index(speed.column)] += np.where(in_base, base, body)
    parts[:, SHARES.index("controller")] = machine.controller.overhead_s
    return LayerTimes(parts_s=parts)


def _move_s(phase: Phase, speed: TableKey, machine: Machine) -> float:
    """Return how long the move takes that runs at one of a phase's speeds [s]."""
    distance_m = math.fsum(getattr(phase, in_phase(rise).attribute) for rise in speed.runs)
    if distance_m <= 0.0:
        return 0.0
    return move_time(
        distance_m=distance_m,
        speed_m_s=min(getattr(phase, speed.attribute), machine.motion.fastest_m_s),
        acceleration_m_s2=machine.motion.acceleration_m_s2.value,
    )
