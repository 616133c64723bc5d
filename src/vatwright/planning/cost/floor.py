"""What a machine stands on: whether it sways, whether that has died down before the light, whether it carries the load."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.physics.stiffness import natural_frequency, ring_down_time
from vatwright.records.after import Span
from vatwright.records.cost import FloorCheck

if TYPE_CHECKING:
    from vatwright.records.cost import MachineTable

DAMPING = Span(low=0.02, value=0.03, high=0.05)
"""Damping ratio of bolted or wooden tables [-]; engineering estimate, no source."""

LEFT = 0.05
"""Share of a sway that may be left when the light comes on [-]; engineering estimate, no source."""


def floor_check(table: MachineTable, *, load_kg: float, settle_s: float) -> FloorCheck:
    """Return whether a table with a machine on it is still when the light comes on.

    Parameters
    ----------
    table : Table
        Its stiffness and mass.
    load_kg : float
        What stands on it [kg].
    settle_s : float
        Body settle that is set [s].

    Returns
    -------
    FloorCheck
        Sway, time to calm down, load.

    Notes
    -----
    One way of swinging, f = sqrt(k/m)/(2 pi); the whole mass of table and machine is taken to move.  The verdict goes by the
    softer end of the stiffness and the lower damping.
    """
    mass_kg = load_kg + table.mass_kg
    k = table.stiffness_n_m
    frequency = [natural_frequency(stiffness_n_m=x, mass_kg=mass_kg) for x in (k.low, k.value, k.high)]
    pairs = zip(reversed(frequency), (DAMPING.high, DAMPING.value, DAMPING.low), strict=True)
    calm = [ring_down_time(frequency_hz=f, damping_ratio=d, left=LEFT) for f, d in pairs]
    return FloorCheck(
        frequency_hz=Span(low=frequency[0], value=frequency[1], high=frequency[2]),
        calm_s=Span(low=calm[0], value=calm[1], high=calm[2]),
        settle_s=settle_s,
        still=calm[2] <= settle_s,
        load_kg=load_kg,
        carries_kg=table.carries_kg,
        upper_bound=not table.read,
    )
