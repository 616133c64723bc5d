"""Which readings a plan uses, in the order worth taking them, and which of them the shop already holds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from vatwright.planning.demand.narrowing import ENOUGH_SQUARES
from vatwright.records.commission import CommissionItem, CommissionSheet
from vatwright.records.machine import EVEN_SPOTS

PLANE_SPOTS = 3
"""Gap readings that make a plane."""


TWO_TEMPERATURES = 2
"""Viscosities from which it can be told how a resin thickens in the cold."""


class Check(NamedTuple):
    """A reading: its key, its minutes, rows that make it done, other keys that answer it, the unknown that it narrows."""

    slug: str
    key: str
    minutes: float
    rows: int = 1
    also: tuple[str, ...] = ()
    unknown: str = ""


CHECKS: dict[str, tuple[Check, ...]] = {
    "machine": (
        Check("platform", "machine.platform.width_mm", 2.0),
        Check("height", "machine.height_mm", 1.0),
        Check("window", "machine.window.width_mm", 3.0),
        Check("film", "machine.film.thickness_um", 2.0),
        Check("backing", "machine.film.backing", 1.0),
        Check("controller", "machine.controller.settle_s", 5.0),
        Check("dial", "machine.dial.deflection_um", 3.0, also=("machine.stiffness_N_mm",), unknown="stiffness target"),
        Check("level", "machine.level.gap_um", 5.0, PLANE_SPOTS, unknown="level target"),
        Check("light", "machine.light.reading.irradiance_mW_cm2", 10.0, EVEN_SPOTS, unknown="spot target"),
        Check("stroke", "machine.motion.stroke.time_s", 2.0, also=("machine.motion.acceleration_mm_s2",)),
        Check("overhead", "machine.controller.overhead_s", 5.0),
        Check("tip", "machine.tip.difference_um", 5.0),
        Check("flatness", "machine.flatness.height_um", 10.0, PLANE_SPOTS),
        Check("vat", "machine.vat.full_mm", 2.0),
    ),
    "resin": (
        Check("viscosity", "resin.viscosity.viscosity_mPa_s", 10.0, unknown="viscosity target"),
        Check("squares", "resin.cure.depth_um", 15.0, ENOUGH_SQUARES, unknown="curve depth target"),
        Check("cold", "resin.viscosity.temperature_c", 15.0, TWO_TEMPERATURES),
        Check("density", "resin.density_g_cm3", 3.0),
        Check("price", "resin.price_per_kg", 1.0),
    ),
}
"""Minutes are common practice, no source."""


def commissioned(
    kind: str, name: str, said: Mapping[str, int], saved_s: Mapping[str, float] | None = None
) -> CommissionSheet:
    """Return what is worth reading of a machine or a resin, the open readings first.

    Parameters
    ----------
    kind : str
        ``machine`` or ``resin``.
    name : str
        What the shop calls it.
    said : mapping of str to int
        By the dotted name of a key, how often the user's own value stands there.
    saved_s : mapping of str to float or None
        By unknown, what the reading that narrows it is expected to save in a run [s].

    Returns
    -------
    CommissionSheet
        Every reading, done or open.

    Examples
    --------
    >>> commissioned("resin", "slate", {"resin.density_g_cm3": 1}).items[-1].slug
    'density'
    """
    known = saved_s or {}
    items = [
        CommissionItem(
            slug=c.slug, key=c.key, done=_done(c, said), minutes=c.minutes,
            saves_s=None if _done(c, said) else known.get(c.unknown),
        )
        for c in CHECKS[kind]
    ]  # fmt: skip
    return CommissionSheet(kind=kind, name=name, items=tuple(sorted(items, key=lambda item: item.done)))


def _done(check: Check, said: Mapping[str, int]) -> bool:
    return said.get(check.key, 0) >= check.rows or any(said.get(key) for key in check.also)
