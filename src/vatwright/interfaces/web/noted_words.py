"""A noted run in words: what was seen and where, and where two notes of the same run differ."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from vatwright.answers.notebook import reading_words
from vatwright.answers.numbers import celsius, setting_value
from vatwright.interfaces.web.noting import SET_OTHERWISE, WORDS
from vatwright.records.run import Event, RunOutcome
from vatwright.units import from_si


def event_words(event: Event) -> str:
    """Return what was seen, as somebody would say it."""
    words = WORDS[event.what]
    if event.layer is not None:
        words += f", layer {event.layer}"
    if event.x_m is not None and event.y_m is not None:
        words += f", {place_words(event.x_m, event.y_m)}"
    return words


def place_words(x_m: float, y_m: float) -> str:
    """Return a place on the platform as the person in front of it sees it.

    Examples
    --------
    >>> place_words(-0.148, 0.083), place_words(0.02, 0.0), place_words(0.0, 0.0)
    ('148 mm left of the middle and 83 mm behind it', '20 mm right of the middle', 'in the middle')
    """
    x_mm, y_mm = round(from_si(x_m, "mm")), round(from_si(y_m, "mm"))
    across = f"{abs(x_mm)} mm {'left' if x_mm < 0 else 'right'} of the middle" if x_mm else ""
    side = "in front of" if y_mm < 0 else "behind"
    along = f"{abs(y_mm)} mm {side} {'it' if across else 'the middle'}" if y_mm else ""
    return " and ".join(p for p in (across, along) if p) or "in the middle"


def both_said(known: RunOutcome, outcome: RunOutcome) -> list[tuple[str, str, str]]:
    """Return where two notes of one run differ: about what, what is noted, what the other says.

    A note that names no film or screen says nothing of them: the notebook puts in what is fitted.
    """
    parts = [(what, told(known), told(outcome)) for what, told in _TOLD.items()]
    fitted = [key for key in ("film", "screen") if getattr(outcome, key)]
    parts += [(key, getattr(known, key), getattr(outcome, key)) for key in (*fitted, "lot")]
    return [(what, there, here) for what, there, here in parts if there != here]


_TOLD: Mapping[str, Callable[[RunOutcome], str]] = {
    "how it came out": lambda run: "it held" if run.held else "it did not hold",
    "seen": lambda run: "; ".join(event_words(e) for e in run.events),
    "read": lambda run: "; ".join(reading_words(r) for r in run.readings),
    "set otherwise": lambda run: "; ".join(
        f"{SET_OTHERWISE[n]} {setting_value(n, v)}" for n, v in run.settings.items()
    ),
    "room": lambda run: celsius(run.room_k),
    "in your words": lambda run: run.note,
    "pictures": lambda run: ", ".join(run.photos),
}
