"""``vatwright.why/1``: why a print failed as data, the unit in every key or beside the value, every number finite."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers import why as words
from vatwright.interfaces.render.data import Keys, Worked, as_data, in_unit
from vatwright.records.process import setting_unit
from vatwright.records.run import Event, Reading, reading_unit
from vatwright.records.why import CauseFigure, RankedCause, Remedy, TellApart, WhySheet
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable


MEND = {"do": str, "setting": str | None, "value": float | None, "unit": str | None, "minutes": float}


def why_keys(sheet: WhySheet) -> dict[type, Keys]:
    """Return what the keys are where the rule of `data` would call them otherwise; words depend on the whole sheet."""
    return {
        WhySheet: {
            **dict.fromkeys(("origin", "platform", "layer_m", "observed", "often", "unused", "hanging_known", "sources")),
            "seen": Worked(lambda _: sheet.observed.events, list[Event]),
            "readings": Worked(lambda _: sheet.observed.readings, list[Reading]),
            "where": Worked(words.where, str),
            "verdict": Worked(words.verdict, str),
            "no_model": Worked(words.beyond, list[str]),
            "assumed": Worked(words.assumed, list[str]),
        },
        Reading: {
            "sigma": None,
            "value": Worked(lambda r: in_unit(r.value, reading_unit(r.quantity)), float),
            "at": Worked(lambda r: {k: in_unit(v, reading_unit(k)) for k, v in r.at.items()}, dict[str, float], plain=True),
        },
        RankedCause: {
            **dict.fromkeys(("layer", "area_times", "figure", "speaks_for", "speaks_against")),
            "title": Worked(lambda cause: words.title(sheet, cause), str),
            "figures": Worked(lambda cause: [cause.figure] if cause.figure else [], list[CauseFigure]),
            "for": Worked(lambda cause: words.evidence(sheet, cause, cause.speaks_for), list[str]),
            "against": Worked(lambda cause: words.evidence(sheet, cause, cause.speaks_against), list[str]),
            "mend": Worked(lambda cause: _mend(cause.mend, words.mend(sheet, cause)), MEND, plain=True),
        },
        CauseFigure: {
            **dict.fromkeys(("layer", "x_m", "y_m")),
            "what": Worked(lambda figure: words.figure_name(sheet, figure), str),
            **{k: _of_unit(k, float) for k in ("believed", "low", "middle", "high")},
        },
        TellApart: {
            **dict.fromkeys(("x_m", "y_m")),
            "reading": Worked(lambda tell: words.reading(sheet, tell), str),
            "quantity": Worked(lambda tell: tell.quantity or None, str | None),
            "trial": Worked(lambda tell: tell.trial or None, str | None),
            "if_first": _of_unit("if_first", float), "if_second": _of_unit("if_second", float),
            "tip": _of_unit("tip", float | None),
        },
    }  # fmt: skip


def _of_unit(name: str, kind: Any) -> Worked:
    """Return how a number is shown that is in the unit its record names."""

    def shown(record: Any) -> float | None:
        value = getattr(record, name)
        return None if value is None else in_unit(value, record.unit)

    return Worked(shown, kind, plain=True)


@in_english
def why_json(sheet: WhySheet, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return the answer as ``vatwright.why/1``.

    Parameters
    ----------
    sheet : WhySheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    told = as_data(sheet, why_keys(sheet))
    return (
        {"schema": "vatwright.why/1"}
        | told
        | {"sources": [{"key": key, "citation": cite(key)} for key in sheet.sources]}
    )


def _mend(mend: Remedy, do: str) -> dict[str, Any]:
    unit = None if mend.value is None else setting_unit(mend.setting)
    value = None if mend.value is None or unit is None else in_unit(mend.value, unit)
    return {"do": do, "setting": mend.setting if unit else None, "value": value, "unit": unit, "minutes": mend.minutes}
