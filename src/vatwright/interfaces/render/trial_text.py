"""A trial piece for the terminal: what it tells, how to print it, what each piece should show, how to read it."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from vatwright.answers.numbers import (
    bound,
    celsius,
    duration,
    one_line,
    percent,
    plain,
    quantity,
    resin_volume,
    typed,
    unit_label,
)
from vatwright.interfaces.render.trial_outcome import printed_value
from vatwright.records.process import SETTING_NAMES, setting_unit
from vatwright.records.trial import TrialKind

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.trial import Trial, TrialPiece

COLUMNS = 100

_CHANCES = {
    TrialKind.SETTLE_STEPS: "half a layer too high",
    TrialKind.RELEASE_SPAN: "whole",
    TrialKind.BASE_BOND: "whole",
}
"""What the chance of a piece is the chance of."""


def trial_text(trial: Trial, *, cite: Callable[[str], str]) -> str:
    """Return a trial as text.

    Parameters
    ----------
    trial : Trial
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    lines = [*_wrapped(trial_lead(trial)), *_wrapped(trial_cost(trial))]
    for title, items in (
        ("How to print it", trial.print_it),
        ("Settings (* not as in every run)", trial_settings(trial)),
        ("What each piece should show", [f"{' - '.join(c for c in row if c)}" for row in trial_rows(trial)]),
        ("How to read it", trial.read_it),
        ("What it tells", (*trial_unknowns(trial), *trial.tells)),
        ("Take care", trial.cautions),
        ("Assumed", trial.assumed),
        ("Sources", tuple(f"[{key}] {cite(key)}" for key in trial.sources)),
    ):
        lines += ["", title, *(line for item in items for line in _wrapped(item, head="  - "))]
    return plain("\n".join(lines))


def trial_lead(trial: Trial) -> str:
    """Return what a trial is."""
    return (
        f"{trial.kind.value} for {one_line(trial.machine)} with {one_line(trial.resin)} at {celsius(trial.room_k)}: "
        f"tells the {' and the '.join(u.what for u in trial.unknowns)}."
    )


def trial_cost(trial: Trial) -> str:
    """Return what a trial costs and how likely it comes out."""
    holds = f" It comes out in {percent(trial.holds)} of cases." if trial.holds is not None else ""
    return f"{duration(trial.time_s)}, {trial.layers} layers, about {resin_volume(trial.resin_m3)} of resin.{holds}"


def trial_unknowns(trial: Trial) -> tuple[str, ...]:
    """Return what is believed now of what the trial tells."""
    return tuple(
        f"Believed now, {u.what}: {quantity(u.middle, u.unit, 2)} ({quantity(u.low, u.unit, 2)} to "
        f"{quantity(u.high, u.unit, 2)})."
        for u in trial.unknowns
    )


def trial_settings(trial: Trial) -> tuple[str, ...]:
    """Return every setting as it is to be typed in; a star marks those that are not as in every run."""
    return tuple(
        f"{name} {typed(printed_value(trial, name))} {unit_label(setting_unit(name))}{' *' if name in trial.changed else ''}"
        for name in SETTING_NAMES
    )


def trial_rows(trial: Trial) -> tuple[tuple[str, str, str, str], ...]:
    """Return of every piece its name, where it stands, what it should show and how likely it comes out."""
    return tuple(
        (p.label, f"at {p.x_m * 1e3:.1f}, {p.y_m * 1e3:.1f} mm", expected_words(p), _chance(trial, p))
        for p in trial.pieces
    )


def expected_words(piece: TrialPiece) -> str:
    """Return what a piece should show."""
    unit = "mm" if piece.quantity.value.endswith("_mm") else "um"
    decimals = 3 if unit == "mm" else 0  # a micrometer reads it
    low, middle, high = (
        f"{v * (1e3 if unit == 'mm' else 1e6):.{decimals}f}" for v in (piece.low, piece.middle, piece.high)
    )
    name = "height" if unit == "mm" else "thickness"
    return f"{name} {middle} {unit_label(unit)} ({low} to {high})"


def _chance(trial: Trial, piece: TrialPiece) -> str:
    return "" if piece.chance is None else f"{percent(piece.chance)} {_CHANCES[trial.kind]}"


def _wrapped(text: str, *, head: str = "") -> list[str]:
    lines = textwrap.wrap(bound(text), COLUMNS, initial_indent=head, subsequent_indent=" " * len(head))
    return [line.replace("\xa0", " ") for line in lines]
