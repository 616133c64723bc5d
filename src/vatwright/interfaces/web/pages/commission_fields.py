"""What the Commission page asks for each reading, and the table of a shop file that its answer goes into."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, NamedTuple

from vatwright.answers.names import capital
from vatwright.errors import Mistake
from vatwright.files.fields import spelled
from vatwright.interfaces.render.pictures.measure import FIVE, NINE
from vatwright.interfaces.web.pages.setup import SETTLE_RULES
from vatwright.interfaces.web.shop_fields import Field, heard_in, typed_in
from vatwright.planning.commission.commission import CHECKS
from vatwright.quantities import key_at
from vatwright.wording import say, to_say

PLAIN: Mapping[str, tuple[str, ...]] = {
    "platform": ("platform.width_mm", "platform.depth_mm"),
    "height": ("height_mm",),
    "window": ("window.width_mm", "window.depth_mm"),
    "film": ("film.thickness_um",),
    "backing": ("film.backing",),
    "stroke": ("motion.stroke.distance_mm", "motion.stroke.speed_mm_s", "motion.stroke.time_s"),
    "overhead": ("controller.overhead_s",),
    "tip": ("tip.load_kg", "tip.at_mm", "tip.over_mm", "tip.difference_um"),
    "vat": ("vat.width_mm", "vat.depth_mm", "vat.full_mm"),
    "density": ("density_g_cm3",),
    "price": ("price_per_kg",),
}
"""Keys of one value each."""

LABELS = {
    "stroke.distance_mm": to_say("how far it was sent"),
    "stroke.speed_mm_s": to_say("how fast"),
    "stroke.time_s": to_say("how long it took"),
    "overhead_s": to_say("what it adds to every layer"),
    "load_kg": to_say("the weight"),
    "at_mm": to_say("how far from the middle it stood"),
    "over_mm": to_say("how far apart the two dials are"),
    "difference_um": to_say("by how much more it gave there"),
    "full_mm": to_say("deepest resin"),
    "deflection_um": to_say("what the dial moved"),
    "gap_um": to_say("gap"),
    "irradiance_mW_cm2": to_say("light"),
    "height_um": to_say("height over the straight"),
    "dose_mJ_cm2": to_say("dose"),
    "depth_um": to_say("thickness"),
    "viscosity_mPa_s": "viscosity",
    "temperature_c": "at",
}
"""What the page calls a value, by the end of its path."""

USUAL = {
    "motion.stroke.distance_mm": "50",
    "motion.stroke.speed_mm_s": "5",
    "tip.load_kg": "2",
    "tip.at_mm": "60",
    "dial.0.load_kg": "5",
}
"""Under what it is read where somebody does as the page says; a reading itself never stands there."""

INSIDE = 10
"""How far from the edge a corner is read [mm]: our own choice."""

SETTLES = {
    "apart": to_say("one settle for base and one for body"),
    "shared": to_say("one for both, can be changed while it runs"),
    "fixed": to_say("one for both, fixed once it runs"),
    "none": to_say("no settle at all"),
}
"""What the test of the two waits shows."""

SETTLE = "controller.settle_s"


class ReadingFields(NamedTuple):
    """What one reading asks: its fields, what is known of each without asking, and how many rows make it done."""

    fields: tuple[Field, ...]
    given: Mapping[str, str]
    list: str = ""
    rows: int = 1


def asks(kind: str, slug: str, table: Mapping[str, Any]) -> ReadingFields:
    """Return what the page asks for a reading of an entry.

    Parameters
    ----------
    kind, slug : str
        ``machine`` or ``resin``, and which reading.
    table : mapping
        The entry as a table of a shop file: its size says where to read.
    """
    if slug in PLAIN:
        return ReadingFields(tuple(_field(kind, path) for path in PLAIN[slug]), {})
    if slug == "controller":
        return ReadingFields((Field(SETTLE, say("What it did"), "", "choice", tuple(SETTLES)),), {})
    if slug == "dial":
        return ReadingFields((_field(kind, "dial.0.load_kg"), _field(kind, "dial.0.deflection_um")), {}, "dial")
    if slug in ("viscosity", "cold"):
        row = 0 if slug == "viscosity" else max(len(table.get("viscosity", ())), 1)
        return ReadingFields(
            tuple(_field(kind, f"viscosity.{row}.{key}") for key in ("viscosity_mPa_s", "temperature_c")), {}
        )
    if slug == "squares":
        fields = [
            _field(kind, f"cure.{n}.{key}", say("square {n}", n=n + 1))
            for n in range(4)
            for key in ("dose_mJ_cm2", "depth_um")
        ]
        return ReadingFields(tuple(fields), {}, "cure", _rows(kind, slug))
    return _spots(slug, table)


def _spots(slug: str, table: Mapping[str, Any]) -> ReadingFields:
    """A value at each of five or nine places, from the middle of the platform or the window."""
    path, key = {"level": ("level", "gap_um"), "flatness": ("flatness", "height_um")}.get(
        slug, ("light.reading", "irradiance_mW_cm2")
    )
    over = table.get("window") or table["platform"] if slug == "light" else table["platform"]
    half = [Decimal(over[side]) / 2 for side in ("width_mm", "depth_mm")]
    fields: list[Field] = []
    given: dict[str, str] = {}
    for n, (name, (across, down)) in enumerate((NINE if slug == "light" else FIVE).items()):
        fields.append(_field("machine", f"{path}.{n}.{key}", name))
        x, y = (_place(share, side, edge=slug != "light") for share, side in ((across, half[0]), (1.0 - down, half[1])))
        given |= {f"{path}.{n}.x_mm": str(x), f"{path}.{n}.y_mm": str(y)}
    return ReadingFields(tuple(fields), given, path, _rows("machine", slug))


def _place(share: float, half: Decimal, *, edge: bool) -> Decimal:
    """A place along a side [mm]: near its ends where the drawing shows the ends, else as the drawing has it."""
    way = Decimal(str(share)) * 2 - 1
    if way and edge:
        return (half - min(Decimal(INSIDE), half / 2)).copy_sign(way)
    return (way * half).quantize(Decimal("0.1"))


def _rows(kind: str, slug: str) -> int:
    return next(check.rows for check in CHECKS[kind] if check.slug == slug)


def _field(kind: str, path: str, where: str = "") -> Field:
    key = key_at(".".join([kind, *(step for step in path.split(".") if not step.isdecimal())]))
    ends = [path.split(".", n)[-1] for n in range(path.count(".") + 1)]
    label = next((LABELS[end] for end in ends if end in LABELS), key.label or key.name)
    label = (
        say("{place}, {value}", place=where, value=label)
        if where and label in (LABELS["dose_mJ_cm2"], LABELS["depth_um"])
        else where or label
    )
    takes = "choice" if key.words else "number"
    return Field(path, capital(label), spelled(key.unit).strip().replace("um", "µm"), takes, key.words, "", key.unit)


def usual(asked: ReadingFields) -> dict[str, str]:
    """Return what stands in the fields before anybody typed: the conditions as the page words them, never a reading."""
    return {f.path: USUAL[f.path] for f in asked.fields if f.path in USUAL}


def taken(
    kind: str, slug: str, table: Mapping[str, Any], said: Mapping[str, str]
) -> tuple[dict[str, Any], list[Mistake]]:
    """Return the table of an entry with a reading in it, and what cannot be taken of what was typed."""
    asked = asks(kind, slug, table)
    typed = {f.path: said.get(f.path, "").strip() for f in asked.fields}
    if slug == "controller":
        return _with_rule(table, typed[SETTLE])
    filled = [path for path, text in typed.items() if text]
    if mistakes := _missing(asked, typed, filled):
        return dict(table), mistakes
    places = {
        p: v for p, v in asked.given.items() if any(path.rpartition(".")[0] == p.rpartition(".")[0] for path in filled)
    }
    fields = [*asked.fields, *(Field(p, p.rpartition(".")[2], measure="mm") for p in places)]
    return heard_in(fields, _without(table, asked.list), typed | places)


def _missing(asked: ReadingFields, typed: Mapping[str, str], filled: list[str]) -> list[Mistake]:
    """What is wanting: every value of a plain reading, enough rows of one at several places, each row whole."""
    rows = {path.rpartition(".")[0] for path in filled} if asked.list else set()
    if asked.list and len(rows) < asked.rows:
        return [
            Mistake(
                to_say("the reading"),
                to_say("has {rows} places of at least {rows_2}", rows=len(rows), rows_2=asked.rows),
                to_say("Read more of them"),
            )
        ]
    wanted = [f for f in asked.fields if not typed[f.path] and (not asked.list or f.path.rpartition(".")[0] in rows)]
    return [Mistake(f.label, to_say("is not given"), to_say("Write what you read")) for f in wanted]


def _without(table: Mapping[str, Any], path: str) -> dict[str, Any]:
    """A table without the older readings of a list: one evening's rows belong together."""
    head, _, tail = path.partition(".")
    if not tail:
        return {k: v for k, v in table.items() if k != head}
    return {k: _without(v, tail) if k == head else v for k, v in table.items()}


def _with_rule(table: Mapping[str, Any], what: str) -> tuple[dict[str, Any], list[Mistake]]:
    if what not in SETTLE_RULES:
        return dict(table), [
            Mistake(to_say("what it did"), to_say("is not said"), to_say("Choose what the two waits showed"))
        ]
    controller = {**table.get("controller", {}), "settle_s": dict(SETTLE_RULES[what])}
    return {**table, "controller": controller}, []


def stands(kind: str, slug: str, table: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return what an entry holds of a reading: label with unit, and value; nothing where another key answers it."""
    if slug == "controller":
        rule = table.get("controller", {}).get("settle_s")
        word = next((SETTLES[name] for name, known in SETTLE_RULES.items() if rule and dict(known) == dict(rule)), "")
        return [(say("Settle"), word)] if word else []
    fields = asks(kind, slug, table if slug != "cold" else _one_viscosity(table)).fields
    return [(f.head, text) for f, text in zip(fields, typed_in(fields, table).values(), strict=True) if text]


def _one_viscosity(table: Mapping[str, Any]) -> dict[str, Any]:
    return {**table, "viscosity": list(table.get("viscosity", ()))[:1]}
