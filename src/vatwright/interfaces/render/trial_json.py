"""``vatwright.trial/1``: a trial piece as data, the unit in every key or beside the value, every number finite."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers import trial as words
from vatwright.interfaces.render.trial_outcome import printed_value, trial_outcome
from vatwright.records.process import SETTING_NAMES, setting_unit
from vatwright.records.run import reading_unit
from vatwright.units import ZERO_CELSIUS_K, from_si
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.trial import Trial, TrialPiece, TrialUnknown


@in_english
def trial_json(trial: Trial, *, file: str, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return a trial as ``vatwright.trial/1``.

    Parameters
    ----------
    trial : Trial
        What to tell.
    file : str
        Where its solids were written.
    cite : callable
        From a source's key to its citation.
    """
    return {
        "schema": "vatwright.trial/1",
        "kind": trial.kind.value,
        "name": trial.name,
        "file": file,
        "machine": trial.machine,
        "resin": trial.resin,
        "recipe": trial.recipe,
        "room_C": round(trial.room_k - ZERO_CELSIUS_K, 6),
        "settings": [
            {
                "name": name,
                "value": printed_value(trial, name),
                "unit": setting_unit(name),
                "changed": name in trial.changed,
            }
            for name in SETTING_NAMES
        ],
        **_lights(trial),
        "layers": trial.layers,
        "run_time_s": trial.time_s,
        "resin_ml": from_si(trial.resin_m3, "ml"),
        "holds": trial.holds,
        "pieces": [_piece(p) for p in trial.pieces],
        "unknowns": [_unknown(u) for u in trial.unknowns],
        "print_it": list(words.print_it(trial)),
        "read_it": list(words.read_it(trial)),
        "tells": list(words.tells(trial)),
        "cautions": list(words.cautions(trial)),
        "assumed": list(words.assumed(trial)),
        "outcome": trial_outcome(trial),
        "sources": [{"key": key, "citation": cite(key)} for key in trial.sources],
    }


def _lights(trial: Trial) -> dict[str, Any]:
    """The lights of a ladder, where it is one: with the layer that each starts at, null where each is a print of its own."""
    rungs = [{"exposure_s": from_si(r.exposure_s, "s"), "layer": r.layer, "at_s": r.at_s} for r in trial.rungs]
    return {"lights": rungs} if rungs else {}


def _piece(piece: TrialPiece) -> dict[str, Any]:
    unit = reading_unit(piece.quantity)
    expected = {name: from_si(getattr(piece, name), unit) for name in ("low", "middle", "high")}
    return {
        "label": piece.label,
        "x_mm": from_si(piece.x_m, "mm"),
        "y_mm": from_si(piece.y_m, "mm"),
        "width_mm": from_si(2.0 * piece.outline_m, "mm"),
        "square": piece.square,
        "quantity": piece.quantity.value,
        "unit": unit,
        "expected": expected,
        "chance": piece.chance,
    }


def _unknown(unknown: TrialUnknown) -> dict[str, Any]:
    values = {name: from_si(getattr(unknown, name), unknown.unit) for name in ("low", "middle", "high")}
    return {"what": words.UNKNOWNS[unknown.what], "unit": unknown.unit, **values}
