"""The Level page: readings as the platform lies there seen from above, then how it stands and what to turn."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple
from urllib.parse import urlencode

from fastapi import HTTPException, Request
from starlette.datastructures import QueryParams
from starlette.responses import Response

from vatwright import wiring
from vatwright.answers.level import level_answer
from vatwright.errors import InputError, Mistake
from vatwright.interfaces.render.page import answer_page
from vatwright.interfaces.web.desk import cite
from vatwright.interfaces.web.forms import LevelAsked, checked, number_said
from vatwright.interfaces.web.rendering import Page, bench_router, desk_of, mistakes_of, render
from vatwright.interfaces.web.take_away import attachment
from vatwright.records.level import LevelSheet, Method, Mount
from vatwright.records.machine import Machine
from vatwright.units import from_si
from vatwright.wording import say, to_say

router = bench_router("level")

INSET_MM = 8.0
"""How far from a corner a leaf still lies flat [mm]; common practice, no source."""

SPARE = 4
DEMO_READINGS = "albatross-level.toml"
HEAD_FIELDS = ("method", "mount", "pitch_mm", "clockwise", "z_mm")
SCREW_FIELDS = ("screw_x_mm", "screw_y_mm")
BASE_FIELDS = ("recipe", "settle_s", "exposure_s", "room_c")


METHODS = {
    str(Method.FEELER): to_say("feeler"),
    str(Method.PAPER): to_say("paper"),
    str(Method.STRIPS): to_say("folded paper strips"),
    str(Method.INDICATOR): to_say("indicator"),
    str(Method.PRINT): to_say("first-layer print thickness"),
}
"""How a gap can be read, and what the page calls it."""


class ReadPlace(NamedTuple):
    """A place that is read: where it is as a person stands there, its name, its place [mm] and the gap typed."""

    where: str
    name: str
    x_mm: str
    y_mm: str
    gap_um: str


@router.get("")
def show(request: Request) -> Response:
    """Show the readings and, where there are enough, what they say.  Everything stands in the address."""
    desk, query = desk_of(request), request.query_params
    machines = desk.shop().records.machines
    machine = next((m for m in machines if m.name == query.get("machine")), machines[0] if machines else None)
    shown: dict[str, object] = {
        "shop": desk.shop().records,
        "machine": machine,
        "spots": _spots(machine, query) if machine else [],
        "spares": _spares(query),
        "methods": METHODS,
        "mounts": [str(m) for m in Mount],
        "said": {k: query.get(k, "") for k in (*HEAD_FIELDS, *SCREW_FIELDS, *BASE_FIELDS)},
        "example": _example() if desk.shop().demo else "",
        "mistakes": [],
    }
    elsewhere = query.get("places_of", machine.name if machine else "")
    if machine and elsewhere != machine.name:
        told = (
            say("the places of {name}", name=machine.name),
            say("are shown now, not those of {elsewhere}", elsewhere=elsewhere),
            say("Read there, then go on"),
        )
        given = any(g.strip() for g in query.getlist("gap"))
        return render(request, "level_start.html", shown | {"mistakes": [told] if given else []})
    if not any(g.strip() for g in query.getlist("gap")):
        return render(request, "level_start.html", shown)
    try:
        sheet = desk.level(_asked(query, machine.name if machine else ""))
    except InputError as problem:
        return render(request, "level_start.html", shown | {"mistakes": mistakes_of(problem)}, status=422)
    files = [(name, f"/level/files/{name}?{query}") for name in LEVEL_FILES]
    return render(request, "level_answer.html", shown | {"answer": level_answer(sheet, cite=cite)} | {"files": files})


@router.get("/files/{name}")
def download(request: Request, name: str) -> Response:
    """Return what the readings in the address say as a file."""
    if name not in LEVEL_FILES:
        raise HTTPException(404, to_say("There is no such file of a level."))
    desk, query = desk_of(request), request.query_params
    kind, make = LEVEL_FILES[name]
    sheet = desk.level(_asked(query, query.get("machine", "")))
    return attachment(make(sheet), kind, name)


def _pdf(sheet: LevelSheet) -> bytes:
    from vatwright.interfaces.render.paper import answer_pdf

    return answer_pdf(level_answer(sheet, cite=cite), appendix=True)


LEVEL_FILES: dict[str, tuple[str, Callable[[LevelSheet], bytes]]] = {
    "level.pdf": ("application/pdf", _pdf),
    "level.html": ("text/html; charset=utf-8", lambda sheet: answer_page(level_answer(sheet, cite=cite)).encode()),
}
"""File name: its kind, and what makes it."""


def _spots(machine: Machine, query: QueryParams) -> list[ReadPlace]:
    """The four corners and the middle, in the order in which they lie on the page."""
    half_w = from_si(machine.platform.width_m, "mm") / 2.0 - INSET_MM
    half_d = from_si(machine.platform.depth_m, "mm") / 2.0 - INSET_MM
    places = (
        ("rear-left", say("rear left"), -half_w, half_d),
        ("rear-right", say("rear right"), half_w, half_d),
        ("middle", say("middle"), 0.0, 0.0),
        ("front-left", say("front left"), -half_w, -half_d),
        ("front-right", say("front right"), half_w, -half_d),
    )
    own = query.get("places_of", machine.name) != machine.name
    spots = []
    for n, (where, name, x_mm, y_mm) in enumerate(places):
        x, y, gap = _typed(query)[n] if n < len(_typed(query)) else ("", "", "")
        if own or not (x and y):
            x, y = f"{x_mm:g}", f"{y_mm:g}"
        spots.append(ReadPlace(where, name, x, y, gap))
    return spots


def _spares(query: QueryParams) -> list[tuple[str, str, str]]:
    """Places beyond the five, some of them still empty."""
    typed = [t for t in _typed(query)[5:] if any(t)]
    return typed + [("", "", "")] * max(1, SPARE - len(typed))


def _typed(query: QueryParams) -> list[tuple[str, str, str]]:
    return list(zip(query.getlist("x"), query.getlist("y"), query.getlist("gap"), strict=False))[:500]


def _asked(query: QueryParams, machine: str) -> LevelAsked:
    mistakes: list[Mistake] = []
    readings = []
    for n, (x, y, gap) in enumerate(_typed(query), 1):
        if not gap.strip():
            continue
        values = {
            key: number_said(text, key, f"reading {n}, {key.replace('_', ' in ')}", mistakes) or 0.0
            for key, text in (("x_mm", x), ("y_mm", y), ("gap_um", gap))
        }
        readings.append(values)
    head: dict[str, object] = {"machine": machine, **_said(query, HEAD_FIELDS, mistakes)}
    base = _said(query, BASE_FIELDS, mistakes)
    if not {"recipe", "exposure_s"} & base.keys():
        base = {}
    screws = _screws(query, mistakes)
    if mistakes:
        raise InputError(mistakes)
    return checked(LevelAsked, {"level": head, "base": base or None, "reading": readings, "screw": screws})


def _screws(query: QueryParams, mistakes: list[Mistake]) -> list[dict[str, object]]:
    """Four screws by how far they stand from the middle; none where nobody says it."""
    said = _said(query, SCREW_FIELDS, mistakes)
    if len(said) == 1:
        mistakes.append(Mistake("screws", to_say("one distance is missing"), to_say("Give both, or neither")))
    if len(said) < 2:
        return []
    x, y = (float(str(said[key])) for key in SCREW_FIELDS)
    places = (("front left", -x, -y), ("front right", x, -y), ("rear right", x, y), ("rear left", -x, y))
    return [{"name": name, "x_mm": x_mm, "y_mm": y_mm} for name, x_mm, y_mm in places]


def _said(query: QueryParams, keys: Sequence[str], mistakes: list[Mistake]) -> dict[str, object]:
    said: dict[str, object] = {}
    for key in keys:
        text = query.get(key, "").strip()
        if text:
            number = key.endswith(("_mm", "_s", "_c"))
            said[key] = number_said(text, key, key.rpartition("_")[0].replace("_", " "), mistakes) if number else text
    return said


def _example() -> str:
    """Return the address of the demo workshop's readings."""
    raw = tomllib.loads((wiring.demo_folder() / DEMO_READINGS).read_text(encoding="utf-8"))
    order = ((-1, 1), (1, 1), (0, 0), (-1, -1), (1, -1))
    found = {(_sign(r["x_mm"]), _sign(r["y_mm"])): r for r in raw["reading"]}
    pairs = [(k, str(v)) for k, v in _known(raw["level"], ("machine", *HEAD_FIELDS)).items()]
    corner = raw["screw"][0]
    pairs += [("screw_x_mm", str(abs(corner["x_mm"]))), ("screw_y_mm", str(abs(corner["y_mm"])))]
    pairs += [(k, str(v)) for k, v in _known(raw["base"], BASE_FIELDS).items()]
    for place in order:
        pairs += [(name, str(found[place][key])) for name, key in (("x", "x_mm"), ("y", "y_mm"), ("gap", "gap_um"))]
    return f"/level?{urlencode(pairs)}"


def _known(table: Mapping[str, object], keys: Sequence[str]) -> dict[str, object]:
    return {k: table[k] for k in keys if k in table}


def _sign(value: float) -> int:
    return (value > 0) - (value < 0)


PAGE = Page(
    slug="level",
    title=to_say("Level"),
    router=router,
    offers=(
        to_say("Level a platform"),
        to_say("Read the gap in five places, see whether it matters and what to turn."),
    ),
)
