"""How likely a run holds, given what is known: margins in every world, turned into chances by the scatter between runs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen

from vatwright.planning.demand.lift import release_margin
from vatwright.planning.demand.settle import Run
from vatwright.planning.demand.unknowns import MARGINS, Side

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEAST_CHANCE = 1.0e-3
"""Floor of a run's chance, for what no margin here describes [-]; engineering estimate, no source."""


@frozen(kw_only=True, eq=False)
class Margins:
    """Capacity over demand in every world; above 1 holds.

    Parameters
    ----------
    base, body, release : (S,) ndarray
        Of the bond in the worst base layer, of the bond in the worst later layer, of the rise [-].
    base_layer, body_layer : int
        The layers that are the worst in most worlds.
    thickness_m, worst_m, limit_m, peak_force_n : (S, N) ndarray
        What they come from, thickness on average and at the worst place of a layer [m], [m], [m], [N]; forces of shape
        (S, 0) where they were not asked for.
    side : Side
        The machine, which says how runs scatter.
    """

    base: Floats
    body: Floats
    release: Floats
    base_layer: int
    body_layer: int
    thickness_m: Floats
    worst_m: Floats
    limit_m: Floats
    peak_force_n: Floats
    side: Side

    def chances(self) -> dict[str, Floats]:
        """Return by name the chance in every world that this margin holds in one run, (S,) each."""
        return {name: self.side.holding(getattr(self, name), name) for name in MARGINS}

    def chance(self) -> Floats:
        """Return the chance in every world that the run holds, (S,)."""
        product = np.prod(list(self.chances().values()), axis=0)
        return np.asarray(np.clip(product, LEAST_CHANCE, 1.0 - LEAST_CHANCE))


def margins(run: Run, *, reach_m: float, settle_s: Floats | None = None, forces: bool = True) -> Margins:
    """Return the margins of a run.

    Parameters
    ----------
    run : Run
        Machine, settings, plate, worlds.
    reach_m : float
        Rise over tan(theta) at which the hardest layer lets go [m].
    settle_s : (N,) ndarray, optional
        Settle of each layer where it differs from the settings [s].
    forces : bool
        Whether the forces are wanted too; without them layers at rest cost next to nothing.

    Returns
    -------
    Margins
        Capacity over demand.
    """
    result = run.result(settle_s, forces=forces)
    limit = run.bond_limit_m()
    ratio = limit / result.worst_m
    first = min(run.settings.base_layers, run.layers)
    base = ratio[:, :first].min(axis=1)
    body = ratio[:, first:].min(axis=1, initial=1e6)
    typical = np.median(ratio, axis=0)
    return Margins(
        base=base,
        body=body,
        release=release_margin(run, reach_m),
        base_layer=int(np.argmin(typical[:first])),
        body_layer=first + int(np.argmin(typical[first:])) if run.layers > first else first,
        thickness_m=result.thickness_m,
        worst_m=result.worst_m,
        limit_m=limit,
        peak_force_n=result.peak_force_n,
        side=run.side,
    )


def log_likelihood(proven: Margins, *, runs: int, failed: int) -> Floats:
    """Return how well every world explains that `runs - failed` of `runs` runs held, (S,) [-].

    Parameters
    ----------
    proven : Margins
        Of the proven run in every world.
    runs, failed : int
        Runs and failures; the failures are taken as independent of each other.

    Returns
    -------
    (S,) ndarray
        Binomial log likelihood without its constant.
    """
    chance = proven.chance()
    return np.asarray((runs - failed) * np.log(chance) + failed * np.log1p(-chance))
