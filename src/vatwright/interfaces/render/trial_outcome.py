"""A trial's readings to fill in, as ``vatwright.outcome/1``: every value is null until somebody has read it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.records.process import COUNT_SETTINGS, SETTING_NAMES, setting_unit
from vatwright.records.run import reading_unit
from vatwright.units import ZERO_CELSIUS_K, from_si
from vatwright.wording import in_english, say

if TYPE_CHECKING:
    from vatwright.records.trial import Trial, TrialPiece


@in_english
def trial_outcome(trial: Trial) -> dict[str, Any]:
    """Return the outcome of a trial with its readings left open.

    Parameters
    ----------
    trial : Trial
        The trial.

    Returns
    -------
    dict
        ``vatwright.outcome/1``; what stays null was not read.
    """
    fill = say(
        "Fill in each value that was read, leave the others null, set held, then: vatwright "
        "note JOB.toml --from this file. "
    )
    return {
        "schema": "vatwright.outcome/1",
        "held": True,
        "job": trial.name,
        "recipe": trial.recipe,
        "machine": trial.machine,
        "resin": trial.resin,
        "room_C": round(trial.room_k - ZERO_CELSIUS_K, 6),
        "settings": {name: printed_value(trial, name) for name in SETTING_NAMES},
        "events": [],
        "readings": [_reading(piece) for piece in trial.pieces],
        "note": fill + say("In this order: ") + "; ".join(p.label for p in trial.pieces) + ".",
    }


def printed_value(trial: Trial, name: str) -> float | int:
    """Return a setting of a trial in its bench unit; counts are whole."""
    value = trial.settings.value(name)
    return round(value) if name in COUNT_SETTINGS else from_si(value, setting_unit(name))


def _reading(piece: TrialPiece) -> dict[str, Any]:
    at = {name: _condition(name, value) for name, value in piece.at.items()}
    return {"quantity": piece.quantity.value, "value": None, "at": at}


def _condition(name: str, value: float) -> float | int:
    unit = reading_unit(name)
    return from_si(value, unit) if unit else round(value)
