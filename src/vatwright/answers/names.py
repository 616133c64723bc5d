"""What things are called: what can be seen, what can be read and set, and places on the platform."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.settings import setting_words
from vatwright.records.first_layer import place_name
from vatwright.records.run import Quantity, Seen, reading_unit
from vatwright.wording import in_words, say, to_say

if TYPE_CHECKING:
    from vatwright.records.machine import Platform

SYMPTOMS = {
    Seen.BASE_LET_GO: to_say("the base let go of the platform"),
    Seen.NOT_RELEASED: to_say("a layer did not come off the film"),
    Seen.LAYER_SPLIT: to_say("it split between two layers"),
    Seen.STUCK_TO_FILM: to_say("a piece was left on the film"),
    Seen.TORN: to_say("something tore off or tore open"),
    Seen.THICK_BAND: to_say("a band is too thick"),
    Seen.THIN_BAND: to_say("a band is too thin"),
    Seen.LINES: to_say("lines show on the sides"),
}
"""What a person can have seen, as that person would say it: everywhere the same, in this order."""

QUANTITIES = {
    Quantity.HEIGHT: to_say("height"),
    Quantity.RUN_TIME: to_say("run time"),
    Quantity.FIRST_LAYER: to_say("first layer"),
    Quantity.VISCOSITY: to_say("viscosity"),
    Quantity.IRRADIANCE: to_say("light"),
    Quantity.CURE_DEPTH: to_say("cure depth"),
    Quantity.PULL: to_say("pull"),
    Quantity.STROKE: to_say("time of a stroke"),
    Quantity.DEFLECTION: to_say("give of the arm"),
    Quantity.RESIN_TEMPERATURE: to_say("resin temperature"),
    Quantity.WALL: to_say("thinnest wall"),
    Quantity.GAP: to_say("narrowest gap"),
    Quantity.PIN: to_say("thinnest pin"),
}
"""What a person can read."""


def setting_called(name: str) -> str:
    """Return what a setting is called.

    Examples
    --------
    >>> setting_called("body.settle_s"), setting_called("base.layers")
    ('body settle', 'base layers')
    """
    return setting_words(name)


def symptom(seen: Seen) -> str:
    """Return what was seen, as the start of a sentence."""
    return capital(say(SYMPTOMS[seen]))


def capital(text: str) -> str:
    """Return a text with its first letter large.

    Examples
    --------
    >>> capital("the base let go")
    'The base let go'
    """
    return (text := in_words(text))[:1].upper() + text[1:]


def on_platform(platform: Platform, x_m: float, y_m: float) -> str:
    """Return what a person in front of the machine calls a place on the platform."""
    return say(place_name(x_m, y_m, width_m=platform.width_m, depth_m=platform.depth_m))


def reading_bench_unit(quantity: Quantity) -> str:
    """Return the unit that a person reads a quantity in."""
    return "mPa_s" if quantity is Quantity.VISCOSITY else reading_unit(quantity)
