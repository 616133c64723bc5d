"""A job: which parts, from which proven recipe, to which machine, in which room."""

from __future__ import annotations

from attrs import field, frozen, validators

from vatwright.records.machine import Machine
from vatwright.records.material import Resin
from vatwright.records.part import PartUse
from vatwright.records.process import Recipe

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))


COMMON_TOLERANCE = 0.1
"""Thickness tolerance where nobody states one, as a share of the layer [-]; common practice, no source."""


@frozen(kw_only=True)
class Shop:
    """Everything a workshop has written down."""

    machines: tuple[Machine, ...] = ()
    resins: tuple[Resin, ...] = ()
    recipes: tuple[Recipe, ...] = ()


@frozen(kw_only=True)
class Hands:
    """Who can be at the machine while it runs.

    Parameters
    ----------
    visits : int
        How often a person can act; 0 means nobody comes.
    present_s : float
        How long after the start somebody is there [s].
    late_s, early_s : float
        How late or how early a hand may be [s].
    faint_steps : bool
        Whether settle is lowered in steps too small to show, with the visits that are left for it.
    """

    visits: int = field(default=3, validator=validators.and_(validators.ge(0), validators.le(20)))
    present_s: float = field(default=7200.0, validator=validators.ge(0.0))
    late_s: float = field(default=120.0, validator=validators.ge(0.0))
    early_s: float = field(default=30.0, validator=validators.ge(0.0))
    faint_steps: bool = False


@frozen(kw_only=True)
class Job:
    """One job, with every record it names.

    Parameters
    ----------
    name : str
        What the sheet is headed with.
    recipe : Recipe
        The proven recipe.
    origin, target : Machine
        The machine it was proven on and the one it goes to.
    resin_from, resin : Resin
        The resin of the recipe and that of this job.
    room_k : float
        Temperature of the room and the resin for this job [K].
    parts : tuple of PartUse
        What to print.
    hands : Hands
        Who can be there.
    confidence : float
        Share of what is not known that the advice must cover [-].
    tolerance : float
        How far a body layer's thickness may be off, as a share of it [-]: kept where somebody asks for it, and a wider one
        saves time; with None what the proven run left is taken as good.
    ramp_layers : int or None
        Layers between base and body to run with, where they are not to be the recipe's.
    trim : bool
        Whether the sheet takes a step of the spare waiting away, where a run then still holds as often as asked.
    aged : bool
        Whether all resin of this job is past its date: nobody knows then how far it has thickened.
    film_layers : int or None
        Layers that the target's film has released so far; None where nobody counts.
    """

    name: str
    recipe: Recipe
    origin: Machine
    target: Machine
    resin_from: Resin
    resin: Resin
    room_k: float = field(validator=_positive)
    parts: tuple[PartUse, ...]
    hands: Hands = Hands()
    confidence: float = field(default=0.9, validator=validators.and_(validators.ge(0.5), validators.le(0.999)))
    tolerance: float | None = field(
        default=None, validator=validators.optional(validators.and_(validators.gt(0.0), validators.le(1.0)))
    )
    ramp_layers: int | None = field(default=None, validator=validators.optional(validators.ge(0)))
    trim: bool = False
    aged: bool = False
    film_layers: int | None = field(default=None, validator=validators.optional(validators.ge(0)))

    @property
    def tolerance_shown(self) -> float:
        """The tolerance asked for, or that of common practice, as a share of the layer [-]."""
        return COMMON_TOLERANCE if self.tolerance is None else self.tolerance
