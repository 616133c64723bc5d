"""The job that prints a trial: which machine, which recipe to start from; known before any piece is sized."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from attrs import evolve, frozen

from vatwright.errors import InputError
from vatwright.planning.carry.warmth import refuse_unchecked
from vatwright.planning.demand.practice import common_recipe
from vatwright.records.job import Job, Shop
from vatwright.records.machine import Machine
from vatwright.records.material import Resin
from vatwright.records.part import PartUse
from vatwright.records.trial import TrialKind
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.process import Recipe

_Named = TypeVar("_Named", Machine, Resin)


@frozen(kw_only=True)
class TrialWanted:
    """Which trial, for which machine and resin, in which room.

    Parameters
    ----------
    kind : TrialKind
        Which.
    machine : str
        Name of the machine.
    resin : str or None
        Name of the resin; None takes that of the recipe.
    room_k : float or None
        Temperature [K]; None takes that of the proven runs.
    file : str
        Where the solids will be, for the job.
    of : Job or None
        The job that it is made for: its machine, resin, room, recipe, base and settle are the trial's.
    """

    kind: TrialKind
    machine: str
    resin: str | None = None
    room_k: float | None = None
    file: str = "trial.stl"
    of: Job | None = None


def trial_job(shop: Shop, wanted: TrialWanted) -> Job:
    """Return the job of a trial, before its pieces are sized.

    Parameters
    ----------
    shop : Shop
        Machines, resins and recipes.
    wanted : TrialWanted
        Which trial.

    Raises
    ------
    InputError
        When the shop has no such machine or resin, or nothing says which resin.
    WillNotWork
        In a room that is too cold or too warm for any answer.
    """
    part = PartUse(name=f"{wanted.kind.value} trial", file=wanted.file, unit="mm", as_drawn=True)
    job = _of_shop(shop, wanted, part) if wanted.of is None else _of_job(wanted.of, wanted, part)
    refuse_unchecked(job.room_k, "No trial is made")
    return job


def _of_job(job: Job, wanted: TrialWanted, part: PartUse) -> Job:
    room_k = job.room_k if wanted.room_k is None else wanted.room_k
    return evolve(job, name=f"{wanted.kind.value} trial on {job.target.name}", room_k=room_k, parts=(part,))


def _of_shop(shop: Shop, wanted: TrialWanted, part: PartUse) -> Job:
    machine = named(shop.machines, wanted.machine, "machine")
    resin = None if wanted.resin is None else named(shop.resins, wanted.resin, "resin")
    recipe = recipe_to_start_from(shop, machine, resin)
    resin_from = named(shop.resins, recipe.resin, "resin")
    return Job(
        name=f"{wanted.kind.value} trial on {machine.name}",
        recipe=recipe,
        origin=named(shop.machines, recipe.machine, "machine"),
        target=machine,
        resin_from=resin_from,
        resin=resin or resin_from,
        room_k=recipe.proof.room_k if wanted.room_k is None else wanted.room_k,
        parts=(part,),
    )


def named(records: Sequence[_Named], name: str, kind: str) -> _Named:
    """Return the machine or resin of that name, or raise InputError with those there are."""
    for record in records:
        if record.name == name:
            return record
    known = ", ".join(r.name for r in records) or "none"
    raise InputError.one(name, to_say("is no {kind} of this shop", kind=kind), to_say("It holds: {known}", known=known))


def recipe_to_start_from(shop: Shop, machine: Machine, resin: Resin | None) -> Recipe:
    """Return the recipe to start from: proven on this machine with this resin, else with either, else any, else practice."""

    def near(recipe: Recipe) -> tuple[bool, bool]:
        return (resin is None or recipe.resin == resin.name, recipe.machine == machine.name)

    tried = [r for r in shop.recipes if r.tried]
    if tried:
        return max(tried, key=near)
    if resin is None:
        known = ", ".join(r.name for r in shop.resins) or "none"
        raise InputError.one(
            "resin",
            to_say("is not said, and no recipe says it"),
            to_say("Name one; the shop holds: {known}", known=known),
        )
    return common_recipe(machine, resin=resin)
