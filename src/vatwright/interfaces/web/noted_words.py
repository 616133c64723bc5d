"""A noted run in words: what was seen and where, and where two notes of the same run differ."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from vatwright.answers.names import setting_called, symptom
from vatwright.answers.notebook import reading_words
from vatwright.answers.numbers import celsius, setting_value
from vatwright.records.run import Event, RunOutcome
from vatwright.units import from_si
from vatwright.wording import say, to_say


def event_words(event: Event) -> str:
    """Return what was seen, as somebody would say it."""
    words = symptom(event.what)
    if event.layer is not None:
        words += say(", layer {layer}", layer=event.layer)
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
    sides = {
        (-1, 0): to_say("{x} mm left of the middle"),
        (1, 0): to_say("{x} mm right of the middle"),
        (0, -1): to_say("{y} mm in front of the middle"),
        (0, 1): to_say("{y} mm behind the middle"),
        (-1, -1): to_say("{x} mm left of the middle and {y} mm in front of it"),
        (-1, 1): to_say("{x} mm left of the middle and {y} mm behind it"),
        (1, -1): to_say("{x} mm right of the middle and {y} mm in front of it"),
        (1, 1): to_say("{x} mm right of the middle and {y} mm behind it"),
        (0, 0): to_say("in the middle"),
    }
    return say(sides[_sign(x_mm), _sign(y_mm)], x=abs(x_mm), y=abs(y_mm))


def _sign(value: int) -> int:
    return (value > 0) - (value < 0)


def both_said(known: RunOutcome, outcome: RunOutcome) -> list[tuple[str, str, str]]:
    """Return where two notes of one run differ: about what, what is noted, what the other says.

    A note that names no film or screen says nothing of them: the notebook puts in what is fitted.
    """
    parts = [(what, told(known), told(outcome)) for what, told in _TOLD.items()]
    fitted = [key for key in ("film", "screen") if getattr(outcome, key)]
    parts += [(_FITTED[key], getattr(known, key), getattr(outcome, key)) for key in (*fitted, "lot")]
    return [(what, there, here) for what, there, here in parts if there != here]


_FITTED = {"film": to_say("film"), "screen": to_say("screen"), "lot": to_say("bottle")}
_TOLD: Mapping[str, Callable[[RunOutcome], str]] = {
    to_say("how it came out"): lambda run: say("it held") if run.held else say("it did not hold"),
    to_say("seen"): lambda run: "; ".join(event_words(e) for e in run.events),
    to_say("read"): lambda run: "; ".join(reading_words(r) for r in run.readings),
    to_say("set otherwise"): lambda run: "; ".join(
        f"{setting_called(n)} {setting_value(n, v)}" for n, v in run.settings.items()
    ),
    to_say("room"): lambda run: celsius(run.room_k),
    to_say("in your words"): lambda run: run.note,
    to_say("pictures"): lambda run: ", ".join(run.photos),
}
