"""What a reading of a new machine or resin would save, reckoned on the load that common practice knows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.errors import InputError
from vatwright.geometry.profile import layer_count
from vatwright.planning.carry.carry import planned
from vatwright.planning.demand.practice import common_load
from vatwright.planning.plates.plate_load import study_of_load
from vatwright.planning.trial.next_reading import saved_by_reading
from vatwright.records.job import Job, Shop
from vatwright.services.trial_job import named, recipe_to_start_from

if TYPE_CHECKING:
    from vatwright.records.machine import Machine
    from vatwright.records.study import Study


def saved_on_a_common_load(shop: Shop, kind: str, name: str) -> dict[str, float]:
    """Return by unknown, what the reading that narrows it is expected to save in a run of a common load [s].

    Parameters
    ----------
    shop : Shop
        Machines, resins and recipes.
    kind, name : str
        ``machine`` or ``resin``, and which: a resin is looked at on the machine of its recipe, else on the first one.

    Returns
    -------
    dict of str to float
        Empty where the shop has no resin, or no machine, to reckon with.
    """
    job = _job(shop, kind, name)
    if job is None:
        return {}
    proven, target = (_common_study(machine, job) for machine in (job.origin, job.target))
    case, chosen = planned(job, proven=target if job.origin == job.target else proven, target=target)
    return saved_by_reading(case, chosen)


def _job(shop: Shop, kind: str, name: str) -> Job | None:
    resin = named(shop.resins, name, "resin") if kind == "resin" else None
    used_on = next((r.machine for r in shop.recipes if resin is not None and r.resin == resin.name), None)
    machine_name = name if kind == "machine" else used_on or next((m.name for m in shop.machines), None)
    if machine_name is None:
        return None
    machine = named(shop.machines, machine_name, "machine")
    if resin is None and not any(r.tried for r in shop.recipes):
        resin = next(iter(shop.resins), None)
    try:
        recipe = recipe_to_start_from(shop, machine, resin)
    except InputError:  # neither a recipe nor a resin
        return None
    resin_from = named(shop.resins, recipe.resin, "resin")
    return Job(
        name=name, recipe=recipe, origin=named(shop.machines, recipe.machine, "machine"), target=machine,
        resin_from=resin_from, resin=resin or resin_from, room_k=recipe.proof.room_k, parts=(),
    )  # fmt: skip


def _common_study(machine: Machine, job: Job) -> Study:
    load, layer_nm = common_load(machine), job.recipe.settings.layer_nm
    layers = layer_count(load.height_m, layer_nm)
    return study_of_load(load, layer_nm=layer_nm, layers=layers, platform=machine.platform, window=machine.window)
