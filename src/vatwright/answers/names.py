"""What things are called: what can be seen, what can be read and set, and places on the platform."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.records.first_layer import place_name
from vatwright.records.process import PHASE_SETTINGS
from vatwright.records.run import Quantity, Seen, reading_unit

if TYPE_CHECKING:
    from vatwright.records.machine import Platform

SYMPTOMS = {
    Seen.BASE_LET_GO: "the base let go of the platform",
    Seen.NOT_RELEASED: "a layer did not come off the film",
    Seen.LAYER_SPLIT: "it split between two layers",
    Seen.STUCK_TO_FILM: "a piece was left on the film",
    Seen.TORN: "something tore off or tore open",
    Seen.THICK_BAND: "a band is too thick",
    Seen.THIN_BAND: "a band is too thin",
    Seen.LINES: "lines show on the sides",
}
"""What a person can have seen, as that person would say it: everywhere the same, in this order."""

QUANTITIES = {
    Quantity.HEIGHT: "height",
    Quantity.RUN_TIME: "run time",
    Quantity.FIRST_LAYER: "first layer",
    Quantity.VISCOSITY: "viscosity",
    Quantity.IRRADIANCE: "light",
    Quantity.CURE_DEPTH: "cure depth",
    Quantity.PULL: "pull",
    Quantity.STROKE: "time of a stroke",
    Quantity.DEFLECTION: "give of the arm",
    Quantity.RESIN_TEMPERATURE: "resin temperature",
    Quantity.WALL: "thinnest wall",
    Quantity.GAP: "narrowest gap",
    Quantity.PIN: "thinnest pin",
}
"""What a person can read."""

_SETTINGS = {s.name: f"{s.phase} {s.label}" for s in PHASE_SETTINGS} | {
    "base.layers": "base layers",
    "ramp.layers": "ramp layers",
    "layer_mm": "layer thickness",
}


def setting_called(name: str) -> str:
    """Return what a setting is called.

    Examples
    --------
    >>> setting_called("body.settle_s"), setting_called("base.layers")
    ('body settle', 'base layers')
    """
    return _SETTINGS[name]


def symptom(seen: Seen) -> str:
    """Return what was seen, as the start of a sentence."""
    return capital(SYMPTOMS[seen])


def capital(text: str) -> str:
    """Return a text with its first letter large.

    Examples
    --------
    >>> capital("the base let go")
    'The base let go'
    """
    return text[:1].upper() + text[1:]


def on_platform(platform: Platform, x_m: float, y_m: float) -> str:
    """Return what a person in front of the machine calls a place on the platform."""
    return place_name(x_m, y_m, width_m=platform.width_m, depth_m=platform.depth_m)


def reading_bench_unit(quantity: Quantity) -> str:
    """Return the unit that a person reads a quantity in."""
    return "mPa_s" if quantity is Quantity.VISCOSITY else reading_unit(quantity)
