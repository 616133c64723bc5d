"""The form of what a shop's costs rest on beyond its price list: words, fields, and a cost file's table from what was typed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from vatwright.interfaces.web.shop_fields import Field, FieldGroup
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.records.cost import Missing

_GENERAL = (
    Field(
        "currency", to_say("What the shop calls its money"), takes="text", empty=to_say("amounts stand without a name")
    ),
    Field(
        "margin_percent",
        to_say("A quote puts on top of the cost"),
        "%",
        empty=to_say("no quote is told"),
        measure="percent",
    ),
    Field(
        "noticed_percent",
        to_say("A failure is noticed after this share of a run"),
        "%",
        empty=to_say("at its end"),
        measure="percent",
    ),
    Field("pieces_a_month", to_say("Pieces like these that are ordered in a month"), empty=to_say("no month is told")),
)
_MINUTES = {
    "set_up": to_say("Set up a plate"),
    "take_off": to_say("Take it off"),
    "wash": to_say("Wash a plate"),
    "cure": to_say("Cure a plate"),
    "visit": to_say("One visit during a run"),
    "finish": to_say("Finish a piece"),
    "clear": to_say("Clear a failed plate"),
}
_MACHINE = {
    "power_W": (to_say("Power while it prints"), "W"),
    "film_layers": (to_say("A film lasts"), "layers"),
    "screen_h": (to_say("A screen lasts"), "h"),
    "platform_h": (to_say("A platform lasts"), "h"),
    "life_h": (to_say("The machine lasts"), "h"),
}
_ESTIMATED = to_say("a rough estimate of ours, a factor of two either way")


def cost_groups(machines: Sequence[str]) -> tuple[FieldGroup, ...]:
    """Return the form: money and quotes, a person's minutes, and each machine's use, in the order of the machines."""
    minutes = (Field(f"minutes.{k}", w, "min", "stated", (), _ESTIMATED, "min") for k, w in _MINUTES.items())
    return (
        FieldGroup(to_say("Money and quotes"), _GENERAL),
        FieldGroup(to_say("A person's time"), tuple(minutes)),
        *(FieldGroup(name, tuple(_of_machine(n))) for n, name in enumerate(machines)),
    )


def _of_machine(n: int) -> list[Field]:
    left_out = to_say("left out of the cost, and said so")
    unit_of = {"h": "h", "W": "", "layers": ""}
    return [
        Field(f"machine.{n}.{key}", label, unit, "stated", (), left_out, unit_of[unit])
        for key, (label, unit) in _MACHINE.items()
    ]


def field_address(gap: Missing) -> str:
    """Return where on the bench something can be said that a cost wants.

    Examples
    --------
    >>> from vatwright.records.cost import Missing
    >>> field_address(Missing(field="price", of="film, Wren", per=("piece",)))
    '/shop/new?kind=price&name=film%2C+Wren&per=piece'
    >>> field_address(Missing(field="bath_ml")), field_address(Missing(field="power_W", of="Wren"))
    ('/shop/new?kind=station', '/shop/costs?field=power_W&of=Wren#asked')
    """
    if gap.field == "price":
        return f"/shop/new?{urlencode({'kind': 'price', 'name': gap.of, 'per': gap.per[0]})}"
    if gap.field == "bath_ml":
        return "/shop/new?kind=station"
    return f"/shop/costs?{urlencode({'field': gap.field, 'of': gap.of})}#asked"


def in_order(table: Mapping[str, Any], machines: Sequence[str]) -> dict[str, Any]:
    """Return a cost file's table with its machines in the order of the form; those the shop has not got come last.

    Examples
    --------
    >>> in_order({"machine": [{"name": "Roc"}, {"name": "Kite", "power_W": 50}]}, ["Wren", "Kite"])["machine"]
    [{'name': 'Wren'}, {'name': 'Kite', 'power_W': 50}, {'name': 'Roc'}]
    """
    said = {m["name"]: m for m in table.get("machine", ())}
    first = [said.pop(name, {"name": name}) for name in machines]
    return {**table, "machine": [*first, *said.values()]}


def without_empty(table: Mapping[str, Any]) -> dict[str, Any]:
    """Return a table without machines of which nothing is said."""
    machines = [m for m in table.get("machine", ()) if set(m) != {"name"}]
    return {**{k: v for k, v in table.items() if k != "machine"}, **({"machine": machines} if machines else {})}


def cost_labels() -> dict[str, dict[str, str]]:
    """Return what the page calls each key of a machine, for mistakes."""
    return {"machine": {key: label for key, (label, _) in _MACHINE.items()}}


def cost_words() -> dict[str, str]:
    """Return what the page calls each other key, by its way in the file."""
    return {f.path: f.label for f in _GENERAL} | {f"minutes.{key}": label for key, label in _MINUTES.items()}
