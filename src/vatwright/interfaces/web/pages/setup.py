"""The guided first set-up: the machine you know, what is in it, the recipe that holds, where it should go; then the sheet.

"Do not know" is an empty field, and stays unknown.  Where no setting is said there is no recipe, and the first sheet starts
from common practice; a recipe of which some settings are not known counts as one run of one small piece.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, NamedTuple

from fastapi import HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from vatwright.answers.numbers import one_line
from vatwright.errors import InputError, Mistake
from vatwright.files.priors import FILM_MATERIAL, FILM_THICKNESS_UM, PROVEN_ROOM_C
from vatwright.files.read import Given
from vatwright.interfaces.web import shelf
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.forms import CarryAsked, JobAsked, PartAsked
from vatwright.interfaces.web.jobs import TooBusyError
from vatwright.interfaces.web.rendering import bench_router, desk_of, form_of, mistakes_of, render, see
from vatwright.interfaces.web.shop_fields import labels_of
from vatwright.interfaces.web.waiting import wait_briefly
from vatwright.quantities import FILM_MODULUS_MPA, unit_in
from vatwright.records.sourced import Kind
from vatwright.units import read_number

router = bench_router()

DEMO_PART = "demo-lantern"


class Class(NamedTuple):
    """What a machine of a size usually is: words, platform and height [mm], lifts [mm] and settle [s]."""

    words: str
    width_mm: str
    depth_mm: str
    height_mm: str
    peel_mm: str
    clear_mm: str
    base_clear_mm: str
    settle_s: str


CLASSES = {
    "compact": Class("compact, about 7 inches across", "150", "90", "160", "2", "3", "4", "2"),
    "mid": Class("mid, about 10 inches across", "216", "130", "220", "3", "3", "4", "2"),
    "large": Class("large, 13 inches and more", "296", "166", "300", "3", "5", "6", "4"),
}
"""Sizes: engineering estimates; lifts and settle: common practice.  Neither has a source."""

PRACTICE, ESTIMATE = str(Kind.PRACTICE), f"{Kind.ESTIMATE}, no source"

USUAL = {"layer_mm": "0.05", "base_layers": "4", "base_exposure_s": "30", "body_exposure_s": "2.5", "base_settle_s": "30",
         "base_peel_mm": "4", "peel_speed": "1", "clear_speed": "3", "return_speed": "3"}  # fmt: skip
"""What a setting is where nobody says it: common practice, no source."""

LEAST_LOAD = {"pieces": 1, "piece_area_mm2": 100, "height_mm": 30}
"""What a recipe is taken to have run where nobody wrote it down: one piece of 1 cm2, 30 mm high.  The less it ran, the less
it proves, so this claims the least; engineering estimate, no source."""

ROOM_DOUBT = Decimal("0.2")
"""Standard uncertainty of a resin's viscosity, as a share, where nobody knows how warm it was [-]: 3 K either way at about 6 %
a kelvin; engineering estimate, no source."""

SETTINGS = (
    ("layer_mm", "Layer", "mm"), ("base_layers", "Base layers", ""), ("base_exposure_s", "Base exposure", "s"),
    ("body_exposure_s", "Body exposure", "s"), ("base_settle_s", "Base settle", "s"),
    ("body_settle_s", "Body settle", "s"), ("base_peel_mm", "Base peel lift, the slow part", "mm"),
    ("base_clear_mm", "Base clear lift, the fast part", "mm"), ("peel_mm", "Body peel lift", "mm"),
    ("clear_mm", "Body clear lift", "mm"), ("peel_speed", "Peel speed", "mm/s"), ("clear_speed", "Clear speed", "mm/s"),
    ("return_speed", "Return speed, down", "mm/s"),
)  # fmt: skip
"""What stands on a machine's screen: key, label, unit."""

UNITS = {key: unit.replace("/", "_") for key, _, unit in SETTINGS}

SETTLE_RULES: Mapping[str, Mapping[str, Any]] = {
    "apart": {"obeys": "yes"},
    "shared": {"obeys": "shared", "live": True},
    "fixed": {"obeys": "shared", "live": False},
    "none": {"obeys": "no"},
}
"""What a machine's screen shows of the settle, and what its controller then does with it."""

LABELS = {key: label for key, label, _ in SETTINGS} | {
    "width_mm": "platform, left to right", "depth_mm": "platform, front to back", "height_mm": "build height",
    "to_width_mm": "its platform, left to right", "to_depth_mm": "its platform, front to back",
    "to_height_mm": "its build height", "thickness_um": "film thickness", "viscosity_mPa_s": "viscosity",
    "viscosity_c": "viscosity, at", "proven_c": "room of the runs", "room_c": "room of the next run", "runs": "runs",
    "failed": "of these failed", "pieces": "pieces", "piece_area_mm2": "largest section of one piece",
    "piece_height_mm": "height of a piece",
}  # fmt: skip


@router.get("")
def show(request: Request) -> Response:
    """Show the questions."""
    return _show(request, {}, [])


def _show(
    request: Request, said: Mapping[str, str], mistakes: list[tuple[str, str, str]], *, status: int = 200
) -> Response:
    usual = {key: f"{value}, {PRACTICE}" for key, value in USUAL.items()}
    by_size = ", ".join(f"{c.settle_s} s {name}" for name, c in CLASSES.items())
    lifts = "; ".join(f"{c.peel_mm} + {c.clear_mm} mm {name}" for name, c in CLASSES.items())
    base = ", ".join(f"{c.base_clear_mm} mm {name}" for name, c in CLASSES.items())
    usual |= {
        "body_settle_s": f"{by_size}; {PRACTICE}", "peel_mm": f"with the clear lift {lifts}; {PRACTICE}",
        "clear_mm": "see the peel lift", "base_clear_mm": f"{base}; {PRACTICE}",
    }  # fmt: skip
    shown = {
        "said": said, "classes": CLASSES, "settings": SETTINGS, "usual": usual, "materials": tuple(FILM_MODULUS_MPA),
        "film": f"{FILM_MATERIAL}, {FILM_THICKNESS_UM} µm: {PRACTICE}", "room": PROVEN_ROOM_C, "practice": PRACTICE,
        "estimate": ESTIMATE, "file": desk_of(request).opened_file, "mistakes": mistakes,
    }  # fmt: skip
    return render(request, "setup.html", shown, status=status)


@router.post("")
async def keep(request: Request) -> Response:
    """Keep what was said, as one change, and go on to the first sheet."""
    desk, form = desk_of(request), await form_of(request)
    said = {k: v.strip() for k, v in form.items() if isinstance(v, str) and k != "token"}
    try:
        job = await run_in_threadpool(_keep, desk, said)
    except InputError as problem:
        return await run_in_threadpool(_show, request, said, mistakes_of(problem), status=422)
    query = "&".join(f"{k}={_quoted(v)}" for k, v in job.items())
    return see(f"/shop/setup/sheet?{query}")


def _quoted(text: str) -> str:
    from urllib.parse import quote_plus

    return quote_plus(text)


def _keep(desk: Desk, said: Mapping[str, str]) -> dict[str, str]:
    """Put machines, resin and recipe into the notebook, and return what the first sheet is asked with."""
    if desk.opened_file:
        do = "Take the file into the notebook on the Shop page first, or open the bench without --shop"
        raise InputError.one("this bench", "follows a shop file", do)
    answers = Answers(said)
    origin, target, resin = answers.machine(""), answers.machine("to_"), answers.resin()
    recipe = answers.recipe(origin, resin)
    answers.require()
    taken = shelf.shelves(desk)
    said_of = (("machine", origin), ("machine", target), ("resin", resin), ("recipe", recipe))
    tables = [(kind, table) for kind, table in said_of if table]
    mistakes = [
        Mistake(kind, f"{table['name']} is in the shop already", "Choose another name, or change it on the Shop page")
        for kind, table in tables
        if not taken.demo and table["name"] in taken.kinds[kind]
    ]
    if target and target["name"] == origin["name"]:
        mistakes.append(Mistake("the other machine", "has the name of the first", "Give it another, or leave it empty"))
    if mistakes:
        raise InputError(mistakes)
    shop = {kind: [table for of, table in tables if of == kind] for kind, _ in tables}
    as_seen = {(kind, str(table["name"])): None for kind, table in tables}
    shelf.keep_tables(desk, Given("first set-up", shop, labels_of(*shop)), as_seen=as_seen, own=True)
    room = answers.number("room_c") or answers.number("proven_c") or PROVEN_ROOM_C
    to = (target or origin)["name"]
    return {"recipe": recipe.get("name", ""), "resin": resin["name"], "to": to, "room_c": str(room)}


class Answers:
    """What the form says, as tables of a shop file; mistakes gathered until all are there."""

    def __init__(self, said: Mapping[str, str]) -> None:
        self._said = said
        self._mistakes: list[Mistake] = []

    def require(self) -> None:
        """Raise every mistake."""
        if self._mistakes:
            raise InputError(list(dict.fromkeys(self._mistakes)))

    def text(self, key: str) -> str:
        """Return what was typed."""
        return self._said.get(key, "")

    def number(self, key: str) -> Any:
        """Return a number, None where nobody said it or it is none."""
        if not self.text(key):
            return None
        try:
            whole = key in ("base_layers", "runs", "failed", "pieces")
            said = read_number(self.text(key), LABELS[key], UNITS.get(key, unit_in(key)), whole=whole)
            return int(said) if whole else said
        except InputError as problem:
            self._mistakes += problem.mistakes
            return None

    def size(self, prefix: str = "") -> Class:
        """Return what machines of that size usually are."""
        return CLASSES.get(self.text(f"{prefix}size"), CLASSES["compact"])

    def machine(self, prefix: str) -> dict[str, Any]:
        """Return the table of a machine, empty where it has no name and need not."""
        name = self.text(f"{prefix}name")
        if not name:
            if not prefix:
                self._mistakes.append(Mistake("the machine", "has no name", "Write what you call it"))
            elif any(self.text(f"to_{key}") for key in ("width_mm", "depth_mm", "height_mm")):
                self._mistakes.append(Mistake("the other machine", "has no name", "Write what you call it"))
            return {}
        size = self.size(prefix)
        sides = {
            key: self.number(f"{prefix}{key}") or Decimal(getattr(size, key))
            for key in ("width_mm", "depth_mm", "height_mm")
        }
        film: dict[str, Any] = {}
        if self.text(f"{prefix}material") in FILM_MODULUS_MPA:
            film["material"] = self.text(f"{prefix}material")
        if not prefix and (thickness := self.number("thickness_um")):
            film["thickness_um"] = thickness
        platform = {"width_mm": sides["width_mm"], "depth_mm": sides["depth_mm"]}
        table: dict[str, Any] = {"name": name, "height_mm": sides["height_mm"], "platform": platform}
        if prefix and (rule := SETTLE_RULES.get(self.text("to_settle"))):
            table["controller"] = {"settle_s": rule}
        return table | ({"film": film} if film else {})

    def resin(self) -> dict[str, Any]:
        """Return the table of the resin."""
        table: dict[str, Any] = {"name": self.text("resin") or "my resin"}
        viscosity = self.number("viscosity_mPa_s")
        if viscosity is not None:
            reading = {"temperature_c": self.number("viscosity_c") or Decimal(25), "viscosity_mPa_s": viscosity}
            if not self.text("proven_c"):
                reading["sigma_mPa_s"] = viscosity * ROOM_DOUBT
            table["viscosity"] = [reading]
        return table

    def recipe(self, machine: Mapping[str, Any], resin: Mapping[str, Any]) -> dict[str, Any]:
        """Return the table of the recipe, proven only where every setting was said; empty where none was."""
        size = self.size()
        usual = USUAL | {
            "body_settle_s": size.settle_s, "peel_mm": size.peel_mm, "clear_mm": size.clear_mm,
            "base_clear_mm": size.base_clear_mm,
        }  # fmt: skip
        found = {key: self.number(key) for key, *_ in SETTINGS}
        proven = self.proven(known=all(value is not None for value in found.values()))
        if not any(self.text(key) for key, *_ in SETTINGS):
            return {}
        value = {k: Decimal(usual[k]) if v is None else v for k, v in found.items()}
        speeds = {f"{key}_mm_s": value[key] for key in ("peel_speed", "clear_speed", "return_speed")}
        return {
            "name": f"{resin['name']} on {machine.get('name', '')}", "machine": machine.get("name", ""),
            "resin": resin["name"], "layer_mm": value["layer_mm"], "base_layers": int(value["base_layers"]),
            "base": {"exposure_s": value["base_exposure_s"], "settle_s": value["base_settle_s"],
                     "peel_lift_mm": value["base_peel_mm"], "clear_lift_mm": value["base_clear_mm"]},
            "body": {"exposure_s": value["body_exposure_s"], "settle_s": value["body_settle_s"],
                     "peel_lift_mm": value["peel_mm"], "clear_lift_mm": value["clear_mm"], **speeds},
            "proven": proven,
        }  # fmt: skip

    def proven(self, *, known: bool) -> dict[str, Any]:
        """Return what the recipe has shown; one run of the least load where settings or runs are not known."""
        room, runs, failed = self.number("proven_c"), self.number("runs"), self.number("failed")
        load = {key: self.number(key) for key in ("pieces", "piece_area_mm2", "piece_height_mm")}
        given = [v for v in load.values() if v is not None]
        if 0 < len(given) < len(load):
            self._mistakes.append(Mistake("the load", "is given in part", "Give pieces, section and height, or none"))
        table: dict[str, Any] = {"runs": 1, "failed": 0, "load": LEAST_LOAD}
        table["room_c"] = Decimal(PROVEN_ROOM_C) if room is None else room
        if not known or not runs:
            return table
        if len(given) == len(load):
            load["height_mm"] = load.pop("piece_height_mm")
            table["load"] = load
        return table | {"runs": runs, "failed": failed or 0}


# --- the first sheet -------------------------------------------------------------------------------------------------


@router.get("/sheet")
def first_sheet(request: Request, to: str, room_c: str, recipe: str = "", resin: str = "") -> Response:
    """Ask what to print first."""
    return _sheet(request, {"recipe": recipe, "resin": resin, "to": to, "room_c": room_c}, [])


def _sheet(
    request: Request, job: Mapping[str, str], mistakes: list[tuple[str, str, str]], *, status: int = 200
) -> Response:
    desk = desk_of(request)
    recipe = next((r for r in desk.shop().records.recipes if r.name == job["recipe"]), None)
    last = shelf.history(desk)[:1]
    shown = {
        "job": job, "recipe": recipe, "mistakes": mistakes, "change": last[0].number if last else None,
        "machine": next((m for m in desk.shop().records.machines if m.name == job["to"]), None),
    }  # fmt: skip
    return render(request, "setup_sheet.html", shown, status=status)


@router.post("/sheet")
async def ask(request: Request) -> Response:
    """Carry the recipe: the first sheet."""
    desk, form = desk_of(request), await form_of(request)
    job = {key: str(form.get(key, ""))[:400] for key in ("recipe", "resin", "to", "room_c")}
    try:
        part = await _part(desk, form)
        room = read_number(job["room_c"], "room of the next run", "C")
        name = f"first sheet for {one_line(job['to'])}"
        what = {"recipe": job["recipe"]} if job["recipe"] else {"resin": job["resin"]}
        asked = CarryAsked(job=JobAsked(name=name, room_c=float(room), to=job["to"], **what), part=[part])
        carry = desk.new_carry(asked.part, job=asked.job)
        await run_in_threadpool(desk.begin, carry, asked)
    except InputError as problem:
        return await run_in_threadpool(_sheet, request, job, mistakes_of(problem), status=422)
    except TooBusyError as problem:
        raise HTTPException(
            503, "There is much work waiting already. Try again when some of it has ended."
        ) from problem
    if carry.work is not None:
        await wait_briefly(carry.work)
    return see(f"/carry/{carry.id}")


async def _part(desk: Desk, form: FormData) -> PartAsked:
    file, count = form.get("part"), int(read_number(str(form.get("count") or "1"), "pieces", whole=True))
    if not 1 <= count <= 10_000:
        raise InputError.one("pieces", f"{count} is not from 1 to 10,000", "Write how many")
    if isinstance(file, UploadFile) and file.filename:
        kept = await run_in_threadpool(desk.tray.keep, file.filename, file.file)
        unit = str(form.get("unit") or kept.guess or "mm")
        return PartAsked.model_validate(
            {"file": kept.handle, "unit": unit if kept.needs_unit else None, "count": count}
        )
    return PartAsked(file=DEMO_PART, name="demo lantern", unit="mm", count=count)
