"""What is said of a part that a machine cannot hold, however early that is seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.errors import Mistake
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.machine import Machine
    from vatwright.records.part import PartUse


def too_tall(part: PartUse, height_m: float, machine: Machine) -> Mistake:
    """Return that a part is taller than a machine prints."""
    what = f"{part.name} is {height_m * 1000:.1f} mm tall, {machine.name} prints {machine.height_m * 1000:.0f} mm"
    return Mistake(
        part.where or part.file, what, to_say("Check its unit, lay it down or split it, or pick a taller machine")
    )


def too_large(part: PartUse, sides_m: Sequence[float], machine: Machine) -> Mistake:
    """Return that a part of such sides fits a machine's platform in no turn."""
    platform = machine.platform
    return Mistake(
        part.where or part.file,
        to_say(
            "{name} is {long_mm:.1f} x {short_mm:.1f} mm and does not fit the platform of {machine} "
            "({width_mm:.0f} x {depth_mm:.0f} mm)",
            name=part.name,
            long_mm=sides_m[0] * 1000,
            short_mm=sides_m[1] * 1000,
            machine=machine.name,
            width_mm=platform.width_m * 1000,
            depth_mm=platform.depth_m * 1000,
        ),
        to_say("Check its unit, turn or split it, or pick a larger machine"),
    )
