"""What is odd about the resin of a run, in sentences: past its date, filled, warmer at the end than at the start."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.numbers import celsius, one_line, resin_volume, significant
from vatwright.wording import long_day, say, say_many, to_say

if TYPE_CHECKING:
    from vatwright.records.plan import CarrySheet
    from vatwright.records.stock import OldLot

THINS = 0.1
"""Readings at two speeds that differ by more are those of a resin that thins [-]; engineering estimate."""

HOTTEST_K = 313.15


def old_lot_sentences(lots: tuple[OldLot, ...]) -> tuple[str, ...]:
    """Return which lots are past their date and, where there is no other, what to read before a run."""
    told = tuple(
        say(
            "{name} was good until {expired}, {days} ago ({left} left).",
            name=one_line(lot.name),
            expired=long_day(lot.expired),
            days=say_many(lot.days, "{n} day", "{n} days"),
            left=resin_volume(lot.left_m3),
        )
        for lot in lots
    )
    if any(lot.only for lot in lots):
        return (*told, OLD_ONLY)
    return (*told, say("Take a lot within its date for this run.")) if told else ()


OLD_ONLY = to_say(
    "There is no lot within its date, so its viscosity is taken to be less sure, by a "
    "factor of 1.5. Before the run stir it well, read its viscosity at the room's "
    "temperature and cure four squares; thick, stringy or lumpy resin goes to waste."
)


def shear_sentences(sheet: CarrySheet) -> tuple[str, ...]:
    """Return at which shear a filled resin's viscosity is to be read, and how; nothing for one that is not filled."""
    shear = sheet.squeeze_shear
    if shear is None:
        return ()
    slow, fast = (significant(v, 1) for v in (shear.slow_per_s, shear.fast_per_s))
    between = say("{slow} to {fast} 1/s", slow=slow, fast=fast) if slow != fast else say("about {slow} 1/s", slow=slow)
    where = say(
        "{resin} is filled: its viscosity belongs to a shear rate, and the squeeze shears it "
        "at {between} (layer {layer}, at the edge). Read it there at the room's temperature.",
        resin=one_line(sheet.resin),
        between=between,
        layer=shear.layer,
    )
    how = say(
        "A rotating viscometer shears in proportion to its speed: read at two speeds, near "
        "{slow} 1/s and as near {fast} 1/s as it goes. If they differ by more than "
        "{thins:.0f} %, carry with the slower one, at which the settle ends: it is the "
        "longer wait. A flow cup reads at no shear of its own: leave it.",
        slow=slow,
        fast=fast,
        thins=THINS * 100.0,
    )
    return (where, how)


def run_warmth_sentences(sheet: CarrySheet) -> tuple[str, ...]:
    """Return how warm the resin becomes in the run, and which temperature the plan goes by."""
    warmth = sheet.run_warmth
    if warmth is None or sheet.warm_up is not None:
        return ()
    base, end = (
        say("{low} to {up}", low=celsius(s.low).removesuffix(" °C"), up=_up(s.high))
        for s in (warmth.after_base_k, warmth.end_k)
    )
    told = (
        say(
            "The resin starts at the room's {start}; as your workshop says, it is at {base} when the base is done and at {end} "
            "at the end. Every layer's wait is for the resin as it is by then.",
            start=celsius(warmth.start_k),
            base=celsius(warmth.after_base_k.value),
            end=celsius(warmth.end_k.value),
        )
        if warmth.planned_with
        else say(
            "The resin starts at the room's {start}; light and drive warm it: {base} when the "
            "base is done, {end} at the end (engineering estimate). Every wait is for the cold "
            "start, here and in the proof: warmer resin only leaves sooner. Read a thermometer "
            "in the vat and note it: what it shows then counts instead of the room.",
            start=celsius(warmth.start_k),
            base=base,
            end=end,
        )
    )
    hot = say(
        "It may pass 40 °C, where nobody has checked anything: read a thermometer, and open the lid between runs."
    )
    return (told, hot) if warmth.end_k.high > HOTTEST_K else (told,)


def _up(kelvin: float) -> str:
    return celsius(round(kelvin - 273.15) + 273.15)
