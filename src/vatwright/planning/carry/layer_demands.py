"""What each layer needs of the settle: to hold, and to come out as thick as it should, in words that agree with the verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.planning.carry.advise import ROUNDING
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import covering_layers
from vatwright.planning.demand.outcome import Margins
from vatwright.planning.demand.settle import Run, demand_s, thickness_band_m

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class LayerDemands(NamedTuple):
    """Least settle of each layer, (N,) each [s].

    `true_s` is what it takes to bond and to come out within the thickness tolerance, at the confidence asked for;
    infinite where no settle does it in any world.  `owed_s` is the same, save for layers that bond as often as asked with less
    and that the plan leaves off their size: what they get.
    """

    owed_s: Floats
    true_s: Floats


def layer_demands(case: Case, run: Run, outcome: Margins, settle_s: Floats) -> LayerDemands:
    """Return what each layer of a plan needs of the settle.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    run : Run
        The plan on the target.
    outcome : Margins
        Of this plan.
    settle_s : (N,) ndarray
        Settle each layer gets [s].

    Notes
    -----
    A layer bonds at least as often as the whole run holds: so no plan that holds as often as asked owes a layer more than it
    gives it, whatever a cover for each unknown by itself would say.
    """
    asked_s = demand_s(run, case.standard, settle_s=settle_s)
    true_s = np.where(np.isfinite(asked_s).any(axis=0), covering_layers(asked_s, case.job.confidence), np.inf)
    enough = layer_chances(run, outcome) >= case.job.confidence - ROUNDING
    return LayerDemands(np.where(enough, np.minimum(true_s, settle_s), true_s), true_s)


def layer_chances(run: Run, outcome: Margins) -> Floats:
    """Return how often each layer bonds, over all worlds, (N,) [-]."""
    ratio, first = outcome.limit_m / outcome.worst_m, run.settings.base_layers
    parts = (outcome.side.holding(r, name) for r, name in ((ratio[:, :first], "base"), (ratio[:, first:], "body")))
    return np.asarray(np.concatenate([p.mean(axis=0) for p in parts]))


def too_thick(case: Case, run: Run, outcome: Margins) -> NDArray[np.bool_]:
    """Return which layers come out thicker than they may in the middle of what is known, (N,)."""
    _, high = thickness_band_m(run, case.standard)
    return np.asarray(np.median(outcome.thickness_m / high, axis=0) > 1.0)
