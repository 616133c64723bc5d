"""A study in words: what this plate of parts demands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.answers.blocks import Answer, Column, Row, Table, said
from vatwright.answers.numbers import bench, one_line, quantity, sentence, typed
from vatwright.wording import say, say_many, to_say

if TYPE_CHECKING:
    from vatwright.answers.blocks import Sentence
    from vatwright.records.study import Study

LAYER_COUNT_NOTE = to_say("Layers count from 0; layer 0 touches the platform.")
_LISTED = 8


def study_answer(study: Study, *, title: str) -> Answer:
    """Return a study in words.

    Parameters
    ----------
    study : Study
        What to tell of.
    title : str
        Name of the plate.
    """
    warnings = said(*(say("Warning: {w}", w=sentence(w)) for w in study.warnings), role="caution")
    blocks = (
        *said(_size(study)),
        *((_table(study),) if study.layers else ()),
        *said(_fresh(study), _pockets(study)),
        *_mesh(study),
        *warnings,
        *said(LAYER_COUNT_NOTE, role="note"),
    )
    return Answer(name="study", title=one_line(title), blocks=blocks)


def _size(study: Study) -> str:
    layers = say(
        "{layers} of {layer} mm",
        layers=say_many(study.layers, "{n} layer", "{n} layers"),
        layer=typed(bench(study.layer_m, "mm")),
    )
    height, volume = quantity(study.height_m, "mm"), quantity(study.volume_m3, "ml")
    return say(
        "{pieces}, {layers}, {height} tall, {volume} of resin in the parts.",
        pieces=say_many(study.pieces, "{n} piece", "{n} pieces"),
        layers=layers,
        height=height,
        volume=volume,
    )


def _table(study: Study) -> Table:
    """Return the quantities with their largest value, where it stands, and both ends."""
    heads = (say("largest"), say("at layer"), say("first layer"), say("last layer"))
    rows = (
        (say("area"), study.area_m2, "mm2"), (say("perimeter"), study.perimeter_m, "mm"),
        (say("torsion"), study.torsion_m4, "mm4"), (say("islands"), study.islands.astype(np.float64), say("layers")),
    )  # fmt: skip
    made = []
    for label, values, unit in rows:
        at = int(np.argmax(values))
        most, first, last = (
            f"{int(v)}" if unit == "layers" else quantity(float(v), unit) for v in (values[at], values[0], values[-1])
        )
        made.append(Row((label, most, str(at), first, last)))
    return Table(columns=(Column(""), *(Column(h, number=True) for h in heads)), rows=tuple(made), slug="demands")


def _fresh(study: Study) -> str:
    if not study.fresh:
        return say("No island starts in the resin.")
    named = "; ".join(
        say(
            "layer {layer} at x {x:.0f}, y {y:.0f} mm ({area})",
            layer=f.layer,
            x=bench(f.x_m, "mm"),
            y=bench(f.y_m, "mm"),
            area=quantity(f.area_m2, "mm2"),
        )
        for f in study.fresh[:_LISTED]
    )
    return say(
        "{fresh} with nothing beneath: {named}{rest}.",
        fresh=say_many(len(study.fresh), "{n} fresh island", "{n} fresh islands"),
        named=named,
        rest=_rest(len(study.fresh)),
    )


def _pockets(study: Study) -> str:
    if not study.pockets:
        return say("No sealed pocket.")
    named = "; ".join(
        say(
            "layers {first} to {last}, {volume}, mouth {mouth}",
            first=p.first_layer,
            last=p.last_layer,
            volume=quantity(p.volume_m3, "ml"),
            mouth=quantity(p.open_area_m2, "mm2"),
        )
        + (say(", never opened again") if p.stays_closed else "")
        for p in study.pockets[:_LISTED]
    )
    told = say(
        "{pockets}, each pulls while it prints: {named}{rest}.",
        pockets=say_many(len(study.pockets), "{n} sealed pocket", "{n} sealed pockets"),
        named=named,
        rest=_rest(len(study.pockets)),
    )
    if not any(p.stays_closed for p in study.pockets):
        return told
    from vatwright.planning.carry.risks import HOLLOW  # with it comes all of planning, which a study does without

    return f"{told} {HOLLOW}"


def _rest(count: int) -> str:
    return say("; and {count} more", count=count - _LISTED) if count > _LISTED else ""


def _mesh(study: Study) -> tuple[Sentence, ...]:
    open_mesh = "" if study.closed else say("A mesh is not closed: its sections were mended and may be wrong.")
    overlap = say("Shells overlap by {overlap}; it is counted once.", overlap=quantity(study.overlap_m3, "mm3", 2))
    return said(open_mesh, overlap if study.overlap_m3 > 0.0 else "", role="caution")
