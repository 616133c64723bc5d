"""A run while it goes: what was planned, every tap beside the machine, and what is still to be done by hand."""

from __future__ import annotations

from enum import StrEnum

from attrs import frozen

from vatwright.records.run import Prediction


class TapKind(StrEnum):
    """What a person says with one tap."""

    STARTED = "started"
    DONE = "done"
    LATER = "later"
    COULD_NOT = "could_not"
    LAYER = "layer"
    BACK = "back"
    ENDED = "ended"


@frozen(kw_only=True)
class Tap:
    """One tap.

    Parameters
    ----------
    id : str
        Its own, made where it was tapped, so that a tap that arrives twice counts once.
    kind : TapKind
        What it says.
    at_s : float
        When it was tapped, on the clock of the world (seconds since 1970, UTC) [s].
    about : str
        The visit it answers, or the tap it takes back.
    layer : int or None
        The layer that the machine shows, from 0.
    """

    id: str
    kind: TapKind
    at_s: float
    about: str = ""
    layer: int | None = None


@frozen(kw_only=True)
class DueVisit:
    """A change still to be made by hand: its key, the first layer that is to have the value (from 0), the value [s]."""

    key: str
    layer: int
    value_s: float


@frozen(kw_only=True)
class RunPlan:
    """What the run was meant to be.

    Parameters
    ----------
    job, machine, recipe, resin : str
        Names.
    setting : str
        The setting changed by hand, by its public name.
    label : str
        What the controller calls it.
    start_s : float
        Its value before the run [s].
    rest_s : tuple of float
        Each layer's time without that wait [s].
    needed_s : tuple of float
        The wait each layer needs [s].
    visits : tuple of DueVisit
        The changes that were advised.
    minimum_s, maximum_s, step_s : float
        What the controller takes [s].
    present_s, late_s, early_s : float
        How long somebody is there, how late and how early a hand may be [s].
    by_hand : bool
        Whether there is a value to set at all.
    base_layers : int
        How many of the first layers are the base.
    """

    job: str
    machine: str
    recipe: str
    resin: str
    setting: str
    label: str
    start_s: float
    rest_s: tuple[float, ...]
    needed_s: tuple[float, ...]
    visits: tuple[DueVisit, ...] = ()
    minimum_s: float = 0.0
    maximum_s: float = 0.0
    step_s: float = 0.1
    present_s: float = 0.0
    late_s: float = 0.0
    early_s: float = 0.0
    by_hand: bool = False
    base_layers: int = 0


@frozen(kw_only=True)
class RunStep:
    """One tap, and the visits that were to come after it."""

    tap: Tap
    visits: tuple[DueVisit, ...]


@frozen(kw_only=True)
class LiveRun:
    """A run while it goes.

    Parameters
    ----------
    id : str
        Its own.
    made_s : float
        When it was put on the bench (seconds since 1970, UTC) [s].
    plan : RunPlan
        What it was meant to be.
    document : str
        Its job as the text of a job file that needs no shop.
    prediction : Prediction or None
        What was said before it.
    steps : tuple of RunStep
        Every tap, in the order of arrival.
    """

    id: str
    made_s: float
    plan: RunPlan
    document: str = ""
    prediction: Prediction | None = None
    steps: tuple[RunStep, ...] = ()

    @property
    def standing(self) -> tuple[RunStep, ...]:
        """The steps that nobody took back."""
        kept: list[RunStep] = []
        for step in self.steps:
            if step.tap.kind is not TapKind.BACK:
                kept.append(step)
            elif kept and kept[-1].tap.id == step.tap.about:
                kept.pop()
        return tuple(kept)

    @property
    def visits(self) -> tuple[DueVisit, ...]:
        """What is still to be done by hand."""
        standing = self.standing
        return standing[-1].visits if standing else self.plan.visits

    @property
    def started_s(self) -> float | None:
        """When the machine started, None where it has not."""
        return next((s.tap.at_s for s in self.standing if s.tap.kind is TapKind.STARTED), None)

    @property
    def ended_s(self) -> float | None:
        """When somebody said that it is over, None where nobody did."""
        return next((s.tap.at_s for s in self.standing if s.tap.kind is TapKind.ENDED), None)

    def has(self, tap_id: str) -> bool:
        """Return whether a tap has arrived."""
        return any(s.tap.id == tap_id for s in self.steps)
