"""Resin that warms in a run: what squeezes in each layer, where the shop says how much its machine warms the vat."""

from __future__ import annotations

import numpy as np
from attrs import evolve

from vatwright.physics.viscosity import GAS_CONSTANT_J_MOL_K
from vatwright.planning.demand.base import TORSION_STEP, StackLoad
from vatwright.planning.demand.duration import layer_times
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.records.job import Job
from vatwright.records.machine import Machine
from vatwright.records.material import Resin
from vatwright.records.process import Settings


def warmed(load: StackLoad, machine: Machine, resin: Resin, settings: Settings, room_k: float) -> StackLoad:
    """Return what squeezes in each layer with the resin as warm as it is by then; as it was where nobody said how it warms.

    Parameters
    ----------
    load : StackLoad
        What squeezes with the resin as warm as the room.
    machine : Machine
        Says by how much its vat warms, and how fast.
    resin : Resin
        Its viscosity falls by Andrade's law, in the middle of what is believed of it.
    settings : Settings
        Their moves and waits are the clock: a run that waits longer is warmer than this says, and its waits are long enough.
    room_k : float
        Temperature at the start [K].

    Notes
    -----
    T = T0 + dT (1 - exp(-t / tau)), at the start of each layer.  The resin's force goes with viscosity times torsion constant:
    what the one falls by is taken off the other, in the steps to which that is rounded.
    """
    if not machine.warming_k:
        return load
    clock_s = layer_times(settings, machine, layers=len(load.layer_m)).start_s
    now_k = room_k - machine.warming_k * np.expm1(-clock_s / machine.warming_s)
    energy = viscosity_belief(resin).activation_j_mol.value
    thinner = energy / GAS_CONSTANT_J_MOL_K * (1.0 / now_k - 1.0 / room_k)
    share = np.exp(np.round(thinner / TORSION_STEP) * TORSION_STEP)
    return evolve(load, torsion_m4=load.torsion_m4 * share, platform_torsion_m4=load.platform_torsion_m4 * share)


def warmed_on_target(job: Job, load: StackLoad) -> StackLoad:
    """Return what squeezes on the target with its resin as warm as it is by then."""
    return warmed(load, job.target, job.resin, job.recipe.settings, job.room_k)


def warmed_in_proof(job: Job, load: StackLoad) -> StackLoad:
    """Return the same of the proven run: it was warm too, as the target will be where nobody said how its machine warms."""
    told = job.origin if job.origin.warming_k is not None else job.target
    return warmed(load, evolve(job.origin, warming_k=told.warming_k, warming_s=told.warming_s), job.resin_from,
                  job.recipe.settings, job.recipe.proof.room_k)  # fmt: skip
