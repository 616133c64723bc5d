"""How fast the squeeze shears the resin: a filled one is to be read there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vatwright.physics.squeeze_film import edge_shear_rate
from vatwright.records.plan import SqueezeShear

if TYPE_CHECKING:
    from vatwright.planning.demand.case import Case
    from vatwright.records.plan import LayerTable
    from vatwright.records.process import Settings

WIDE, SETTLED = 2.0, 1.1
"""Gap at the start of the squeeze that matters and at its end, in layers [-]; engineering estimates: wider than two layers
hardly resists, and a settle ends within a tenth of a layer."""


def squeeze_shear(case: Case, settings: Settings, layers: LayerTable) -> SqueezeShear | None:
    """Return how fast the squeeze shears a filled resin, in the layer that resists most; None where the resin is not filled.

    Parameters
    ----------
    case : Case
        The job, its plate and its worlds.
    settings : Settings
        What is set.
    layers : LayerTable
        What every layer gets.

    Notes
    -----
    The layer's regions taken as equal discs.  From the greatest force on a gap of two layers, or the way down where that is
    slower, to what the arm still presses with when a tenth of a layer is left.
    """
    study, layer_m = case.target_study, settings.layer_m
    n = int(np.argmax(study.torsion_m4))
    count = max(int(study.islands[n]), 1)
    if not case.job.resin.filled or study.torsion_m4[n] <= 0.0:
        return None
    side = case.worlds.target
    stiffness, viscosity = (float(np.median(a)) for a in (side.stiffness_n_m, side.viscosity_pa_s))
    radius_m = (2.0 * float(study.torsion_m4[n]) / (math.pi * count)) ** 0.25
    most_n = max(float(layers.screen_force_n[n]), stiffness * (SETTLED - 1.0) * layer_m) / count

    def rate(force_n: float, gap_m: float) -> float:
        return edge_shear_rate(viscosity_pa_s=viscosity, force_n=force_n, radius_m=radius_m, gap_m=gap_m)

    slow = rate(stiffness * (SETTLED - 1.0) * layer_m / count, SETTLED * layer_m)
    way_down = 3.0 * settings.body.return_speed_m_s * radius_m / (WIDE * layer_m) ** 2
    fast = max(min(rate(most_n, WIDE * layer_m), way_down), slow)
    return SqueezeShear(layer=n, slow_per_s=slow, fast_per_s=fast)
