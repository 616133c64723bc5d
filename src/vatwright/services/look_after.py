"""What is due on a machine, by what the shop says, the cost file says, and the notebook has counted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import evolve

from vatwright.planning.upkeep.upkeep import due_on

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.cost import Costing
    from vatwright.records.machine import Machine
    from vatwright.records.run import RunOutcome
    from vatwright.records.stock import Stock
    from vatwright.records.upkeep import Due

COUNTED_RUNS = 200
"""So many of a machine's newest runs are looked at: more than pass between two cleanings."""


def due_of(machine: Machine, costing: Costing, stock: Stock, runs: Sequence[RunOutcome]) -> tuple[Due, ...]:
    """Return what is due on a machine or soon will be; lives of film and screen are the cost file's where the shop says none.

    Parameters
    ----------
    machine : Machine
        With what the shop says of its upkeep.
    costing : Costing
        The cost file.
    stock : Stock
        Films and screens.
    runs : sequence of RunOutcome
        Runs noted.
    """
    said, use = machine.upkeep, costing.machine(machine.name)
    layers = said.film_layers or (round(use.film_layers.value) if use.film_layers else None)
    screen_s = said.screen_s or (use.screen_s.value if use.screen_s else None)
    return due_on(machine.name, evolve(said, film_layers=layers, screen_s=screen_s), stock, runs)
