"""The guided first set-up: a few questions a step, each with why it matters; from the third on the sheet stands beside it.

What was said goes from step to step in the form itself: nothing is kept before somebody keeps it.
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

from vatwright.answers.carry import carry_answer
from vatwright.answers.numbers import one_line
from vatwright.errors import InputError, Mistake
from vatwright.files.priors import FILM_MATERIAL, FILM_THICKNESS_UM, PROVEN_ROOM_C
from vatwright.files.read import Given
from vatwright.interfaces.render.pictures.measure import where_to_measure
from vatwright.interfaces.web import shelf
from vatwright.interfaces.web.desk import Desk, cite
from vatwright.interfaces.web.forms import CarryAsked, JobAsked, PartAsked
from vatwright.interfaces.web.jobs import TooBusyError, Work
from vatwright.interfaces.web.rendering import bench_router, desk_of, form_of, mistakes_of, render, see
from vatwright.interfaces.web.sheet_moves import sheet_moves
from vatwright.interfaces.web.shop_fields import labels_of
from vatwright.interfaces.web.so_far import KIND, work_out_so_far
from vatwright.interfaces.web.waiting import BUSY, ended_badly, wait_briefly, work_of
from vatwright.quantities import FILM_MODULUS_MPA, unit_in
from vatwright.records.sourced import Kind
from vatwright.units import read_number
from vatwright.wording import as_written, say, to_say

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
    "compact": Class(to_say("compact, about 7 inches across"), "150", "90", "160", "2", "3", "4", "2"),
    "mid": Class(to_say("mid, about 10 inches across"), "216", "130", "220", "3", "3", "4", "2"),
    "large": Class(to_say("large, 13 inches and more"), "296", "166", "300", "3", "5", "6", "4"),
}
"""Sizes: engineering estimates; lifts and settle: common practice.  Neither has a source."""

NAMES = {"compact": to_say("compact"), "mid": to_say("mid"), "large": to_say("large")}

PRACTICE = to_say(str(Kind.PRACTICE))
ESTIMATE = to_say("{estimate}, no source", estimate=to_say(str(Kind.ESTIMATE)))

USUAL = {
    "layer_mm": "0.05",
    "base_layers": "4",
    "base_exposure_s": "30",
    "body_exposure_s": "2.5",
    "base_settle_s": "30",
    "base_peel_mm": "4",
    "peel_speed": "1",
    "clear_speed": "3",
    "return_speed": "3",
}
"""What a setting is where nobody says it: common practice, no source."""

LEAST_LOAD = {"pieces": 1, "piece_area_mm2": 100, "height_mm": 30}
"""What a recipe is taken to have run where nobody wrote it down: one piece of 1 cm2, 30 mm high.  The less it ran, the less
it proves, so this claims the least; engineering estimate, no source."""

ROOM_DOUBT = Decimal("0.2")
"""Standard uncertainty of a resin's viscosity, as a share, where nobody knows how warm it was [-]: 3 K either way at about 6 %
a kelvin; engineering estimate, no source."""

SETTINGS = (
    ("layer_mm", to_say("Layer"), "mm"),
    ("base_layers", to_say("Base layers"), ""),
    ("base_exposure_s", to_say("Base exposure"), "s"),
    ("body_exposure_s", to_say("Body exposure"), "s"),
    ("base_settle_s", to_say("Base settle"), "s"),
    ("body_settle_s", to_say("Body settle"), "s"),
    ("base_peel_mm", to_say("Base peel lift, the slow part"), "mm"),
    ("base_clear_mm", to_say("Base clear lift, the fast part"), "mm"),
    ("peel_mm", to_say("Body peel lift"), "mm"),
    ("clear_mm", to_say("Body clear lift"), "mm"),
    ("peel_speed", to_say("Peel speed"), "mm/s"),
    ("clear_speed", to_say("Clear speed"), "mm/s"),
    ("return_speed", to_say("Return speed, down"), "mm/s"),
)
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
    "width_mm": to_say("platform, left to right"),
    "depth_mm": to_say("platform, front to back"),
    "height_mm": to_say("build height"),
    "to_width_mm": to_say("its platform, left to right"),
    "to_depth_mm": to_say("its platform, front to back"),
    "to_height_mm": to_say("its build height"),
    "thickness_um": to_say("film thickness"),
    "viscosity_mPa_s": to_say("viscosity"),
    "viscosity_c": to_say("viscosity, at"),
    "proven_c": to_say("room of the runs"),
    "room_c": to_say("room of the next run"),
    "runs": to_say("runs"),
    "failed": to_say("of these failed"),
    "pieces": to_say("pieces"),
    "piece_area_mm2": to_say("largest section of one piece"),
    "piece_height_mm": to_say("height of a piece"),
}


class Ask(NamedTuple):
    """One step of the set-up: its question, why it matters, what it asks, and the drawings of where to measure."""

    title: str
    why: str
    keys: tuple[str, ...]
    drawings: tuple[tuple[str, str], ...] = ()


STEPS = (
    Ask(
        to_say("What do you print with?"),
        to_say("How far resin must flow out from under it sets every wait."),
        ("name", "size", "width_mm", "depth_mm", "height_mm"),
        (("platform", to_say("the platform, from above")), ("height", to_say("the build height"))),
    ),
    Ask(
        to_say("Which resin, and how warm is the room?"),
        to_say("Thick or cold resin leaves slowly, and every wait grows with it."),
        ("resin", "viscosity_mPa_s", "viscosity_c", "proven_c", "room_c"),
        (("viscosity", to_say("the viscosity, with a flow cup")),),
    ),
    Ask(
        to_say("Where should it go?"),
        to_say("A larger window lets go later, and a larger platform squeezes out more resin."),
        ("to_name", "to_size", "to_width_mm", "to_depth_mm", "to_height_mm", "to_settle"),
        (("controller", to_say("what the controller obeys")),),
    ),
    Ask(
        to_say("How does one layer go on your machine?"),
        to_say(
            "Settings that held show how thick, how stiff and how sticky it really is. Some of "
            "them count as one run of one small piece; all of them as many runs as held."
        ),
        tuple(key for key, *_ in SETTINGS),
    ),
    Ask(
        to_say("What has held?"),
        to_say("Each run that held is worth more than any data sheet."),
        ("runs", "failed", "pieces", "piece_area_mm2", "piece_height_mm"),
    ),
    Ask(
        to_say("Which film is in?"),
        to_say("A thicker or slacker film needs more lift and pulls harder."),
        ("material", "thickness_um", "to_material"),
        (("film", to_say("the film's thickness")),),
    ),
)
"""The questions in their order: what changes the answer most comes first."""

FIRST_SHEET = 3
"""After so many steps the sheet stands beside the questions."""

WHOLE = {"the machine": 1, "machine": 1, "resin": 2, "the other machine": 3, "recipe": 4, "the load": 5}
"""The step of a mistake that is about no one field."""

MOVES_SHOWN = 6
"""Changes of the sheet that are told at once."""


@router.get("")
def show(request: Request) -> Response:
    """Show the first question."""
    return _show(request, {}, [])


def _asked_step(said: Mapping[str, str]) -> int:
    """Return which step was asked for, from 1; 0 where everything is to be kept."""
    number = said.get("go", "")
    return min(int(number), len(STEPS)) if number.isascii() and number.isdecimal() and len(number) < 3 else 0


def _step_of(mistakes: list[tuple[str, str, str]]) -> int:
    """Return the step whose question the first mistake is about."""
    labelled = {LABELS[key]: n for n, ask in enumerate(STEPS, start=1) for key in ask.keys if key in LABELS} | WHOLE
    return next((labelled[where] for where, *_ in mistakes if where in labelled), len(STEPS))


def _show(
    request: Request, said: Mapping[str, str], mistakes: list[tuple[str, str, str]], *, status: int = 200, at: int = 1
) -> Response:
    usual = {
        key: say("{value}, {practice}", value=as_written(value), practice=PRACTICE) for key, value in USUAL.items()
    }
    by_size = ", ".join(say("{settle} s {size}", settle=c.settle_s, size=NAMES[name]) for name, c in CLASSES.items())
    lifts = "; ".join(
        say("{peel} + {clear} mm {size}", peel=c.peel_mm, clear=c.clear_mm, size=NAMES[name])
        for name, c in CLASSES.items()
    )
    base = ", ".join(say("{clear} mm {size}", clear=c.base_clear_mm, size=NAMES[name]) for name, c in CLASSES.items())
    usual |= {
        "body_settle_s": say("{values}; {practice}", values=by_size, practice=PRACTICE),
        "peel_mm": say("with the clear lift {lifts}; {practice}", lifts=lifts, practice=PRACTICE),
        "clear_mm": say("see the peel lift"),
        "base_clear_mm": say("{values}; {practice}", values=base, practice=PRACTICE),
    }
    shown: dict[str, object] = {
        "said": said,
        "classes": CLASSES,
        "settings": SETTINGS,
        "usual": usual,
        "materials": tuple(FILM_MODULUS_MPA),
        "film": say("{film}: {practice}", film=f"{FILM_MATERIAL}, {FILM_THICKNESS_UM} µm", practice=PRACTICE),
        "room": PROVEN_ROOM_C,
        "practice": PRACTICE,
        "estimate": ESTIMATE,
        "file": desk_of(request).opened_file,
        "mistakes": mistakes,
    }
    ask = STEPS[max(at, 1) - 1]
    shown |= {
        "at": max(at, 1),
        "steps": STEPS,
        "ask": ask,
        "first_sheet": FIRST_SHEET,
        "drawings": [where_to_measure(slug, what) for slug, what in ask.drawings],
        "carried": [(k, said[k]) for step in STEPS for k in step.keys if said.get(k) and k not in ask.keys],
    } | _so_far(request, said, at)
    return render(request, "setup.html", shown, status=status)


# --- the sheet so far ------------------------------------------------------------------------------------------------


def _so_far(request: Request, said: Mapping[str, str], at: int) -> dict[str, object]:
    """Return the sheet so far, or the work on it, where enough is said for one."""
    nothing: dict[str, object] = {"sofar": None, "before": "", "no_sheet": []}
    if at <= FIRST_SHEET:
        return nothing
    desk, before = desk_of(request), said.get("sofar") or said.get("before", "")
    try:
        work = _work_so_far(desk, said)
    except InputError as problem:
        return nothing | {"before": before, "no_sheet": mistakes_of(problem)}
    except TooBusyError:
        return nothing | {"before": before, "no_sheet": [BUSY]}
    if before == work.id:
        return _shown_so_far(desk, work, said.get("before", ""))
    earlier = desk.work.find(before)
    if earlier is not None and earlier.going:
        desk.work.cancel(earlier)
    return _shown_so_far(desk, work, before)


def _shown_so_far(desk: Desk, work: Work, before: str) -> dict[str, object]:
    """Return how far the sheet is, or the sheet and what moved since the one before it."""
    going = work.going  # first: work that ends from here on is told as going, and asked for again
    earlier, sheet = desk.work.find(before), work.result
    was = earlier.result if earlier is not None and earlier.kind == KIND else None
    moves = sheet_moves(was, sheet) if was is not None and sheet is not None else []
    return {
        "sofar": work,
        "going": going,
        "before": before,
        "answer": carry_answer(sheet, cite=cite) if sheet is not None else None,
        "moves": [m for m in moves if m.what != "Answer"][:MOVES_SHOWN],
        "compared": was is not None,
        "no_sheet": [] if going or sheet else ended_badly(work),
    }


def _work_so_far(desk: Desk, said: Mapping[str, str]) -> Work:
    answers = Answers({**said, "name": said.get("name") or say("your machine")})
    origin, target, resin = answers.machine(""), answers.machine("to_"), answers.resin()
    recipe = answers.recipe(origin, resin)
    room = answers.number("room_c") or answers.number("proven_c") or PROVEN_ROOM_C
    answers.require()
    machines = [m for m in (origin, target) if m]
    tables = {"machine": machines, "resin": [resin], **({"recipe": [recipe]} if recipe else {})}
    start = {"recipe": recipe["name"]} if recipe else {"resin": resin["name"]}
    job = JobAsked(name="the sheet so far", to=machines[-1]["name"], room_c=float(room), **start)
    return work_out_so_far(desk, tables, job, PartAsked(file=DEMO_PART, name="demo lantern", unit="mm", count=1))


@router.get("/so-far/{work_id}")
def so_far(request: Request, work_id: str, before: str = "") -> Response:
    """Show the sheet so far, or how far it is."""
    shown = _shown_so_far(desk_of(request), work_of(request, work_id, KIND), before)
    return render(request, "_so_far.html" if "hx-request" in request.headers else "setup_so_far.html", shown)


@router.post("")
async def keep(request: Request) -> Response:
    """Go on to another question, or keep what was said, as one change, and go on to the first sheet."""
    desk, form = desk_of(request), await form_of(request)
    said = {k: v.strip() for k, v in form.items() if isinstance(v, str) and k != "token"}
    if at := _asked_step(said):
        return await run_in_threadpool(_go, request, said, at)
    if (beside := desk.work.find(said.get("sofar", ""))) is not None:
        desk.work.cancel(beside)
    try:
        job = await run_in_threadpool(_keep, desk, said)
    except InputError as problem:
        mistakes = mistakes_of(problem)
        return await run_in_threadpool(_show, request, said, mistakes, status=422, at=_step_of(mistakes))
    query = "&".join(f"{k}={_quoted(v)}" for k, v in job.items())
    return see(f"/shop/setup/sheet?{query}")


def _go(request: Request, said: Mapping[str, str], at: int) -> Response:
    """Show a step; the one that holds a number nobody can read first."""
    answers = Answers({**said, "name": said.get("name") or say("your machine")})
    try:
        for prefix in ("", "to_"):
            answers.machine(prefix)
        answers.recipe({}, answers.resin())
        answers.number("room_c")
        answers.require()
    except InputError as problem:
        mistakes = mistakes_of(problem)
        if (wrong := _step_of(mistakes)) < at:
            return _show(request, said, mistakes, status=422, at=wrong)
    return _show(request, said, [], at=at)


def _quoted(text: str) -> str:
    from urllib.parse import quote_plus

    return quote_plus(text)


def _keep(desk: Desk, said: Mapping[str, str]) -> dict[str, str]:
    """Put machines, resin and recipe into the notebook, and return what the first sheet is asked with."""
    if desk.opened_file:
        do = say("Take the file into the notebook on the Shop page first, or open the bench without --shop")
        raise InputError.one(to_say("this bench"), to_say("follows a shop file"), do)
    answers = Answers(said)
    origin, target, resin = answers.machine(""), answers.machine("to_"), answers.resin()
    recipe = answers.recipe(origin, resin)
    answers.require()
    taken = shelf.shelves(desk)
    said_of = (("machine", origin), ("machine", target), ("resin", resin), ("recipe", recipe))
    tables = [(kind, table) for kind, table in said_of if table]
    mistakes = [
        Mistake(
            kind,
            to_say("{table} is in the shop already", table=table["name"]),
            to_say("Choose another name, or change it on the Shop page"),
        )
        for kind, table in tables
        if not taken.demo and table["name"] in taken.kinds[kind]
    ]
    if target and target["name"] == origin["name"]:
        mistakes.append(
            Mistake(
                to_say("the other machine"),
                to_say("has the name of the first"),
                to_say("Give it another, or leave it empty"),
            )
        )
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
                self._mistakes.append(
                    Mistake(to_say("the machine"), to_say("has no name"), to_say("Write what you call it"))
                )
            elif any(self.text(f"to_{key}") for key in ("width_mm", "depth_mm", "height_mm")):
                self._mistakes.append(
                    Mistake(to_say("the other machine"), to_say("has no name"), to_say("Write what you call it"))
                )
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
        table: dict[str, Any] = {"name": self.text("resin") or say("my resin")}
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
            "body_settle_s": size.settle_s,
            "peel_mm": size.peel_mm,
            "clear_mm": size.clear_mm,
            "base_clear_mm": size.base_clear_mm,
        }
        found = {key: self.number(key) for key, *_ in SETTINGS}
        proven = self.proven(known=all(value is not None for value in found.values()))
        if not any(self.text(key) for key, *_ in SETTINGS):
            return {}
        value = {k: Decimal(usual[k]) if v is None else v for k, v in found.items()}
        speeds = {f"{key}_mm_s": value[key] for key in ("peel_speed", "clear_speed", "return_speed")}
        return {
            "name": say("{resin} on {machine}", resin=resin["name"], machine=machine.get("name", "")),
            "machine": machine.get("name", ""),
            "resin": resin["name"],
            "layer_mm": value["layer_mm"],
            "base_layers": int(value["base_layers"]),
            "base": {
                "exposure_s": value["base_exposure_s"],
                "settle_s": value["base_settle_s"],
                "peel_lift_mm": value["base_peel_mm"],
                "clear_lift_mm": value["base_clear_mm"],
            },
            "body": {
                "exposure_s": value["body_exposure_s"],
                "settle_s": value["body_settle_s"],
                "peel_lift_mm": value["peel_mm"],
                "clear_lift_mm": value["clear_mm"],
                **speeds,
            },
            "proven": proven,
        }

    def proven(self, *, known: bool) -> dict[str, Any]:
        """Return what the recipe has shown; one run of the least load where settings or runs are not known."""
        room, runs, failed = self.number("proven_c"), self.number("runs"), self.number("failed")
        load = {key: self.number(key) for key in ("pieces", "piece_area_mm2", "piece_height_mm")}
        given = [v for v in load.values() if v is not None]
        if 0 < len(given) < len(load):
            self._mistakes.append(
                Mistake(
                    to_say("the load"), to_say("is given in part"), to_say("Give pieces, section and height, or none")
                )
            )
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
        "job": job,
        "recipe": recipe,
        "mistakes": mistakes,
        "change": last[0].number if last else None,
        "machine": next((m for m in desk.shop().records.machines if m.name == job["to"]), None),
    }
    return render(request, "setup_sheet.html", shown, status=status)


@router.post("/sheet")
async def ask(request: Request) -> Response:
    """Carry the recipe: the first sheet."""
    desk, form = desk_of(request), await form_of(request)
    job = {key: str(form.get(key, ""))[:400] for key in ("recipe", "resin", "to", "room_c")}
    try:
        part = await _part(desk, form)
        room = read_number(job["room_c"], "room of the next run", "C")
        name = say("first sheet for {job}", job=one_line(job["to"]))
        what = {"recipe": job["recipe"]} if job["recipe"] else {"resin": job["resin"]}
        asked = CarryAsked(job=JobAsked(name=name, room_c=float(room), to=job["to"], **what), part=[part])
        carry = desk.new_carry(asked.part, job=asked.job)
        await run_in_threadpool(desk.begin, carry, asked)
    except InputError as problem:
        return await run_in_threadpool(_sheet, request, job, mistakes_of(problem), status=422)
    except TooBusyError as problem:
        raise HTTPException(
            503, to_say("There is much work waiting already. Try again when some of it has ended.")
        ) from problem
    if carry.work is not None:
        await wait_briefly(carry.work)
    return see(f"/carry/{carry.id}")


async def _part(desk: Desk, form: FormData) -> PartAsked:
    file, count = form.get("part"), int(read_number(str(form.get("count") or "1"), "pieces", whole=True))
    if not 1 <= count <= 10_000:
        raise InputError.one("pieces", to_say("{count} is not from 1 to 10,000", count=count), to_say("Write how many"))
    if isinstance(file, UploadFile) and file.filename:
        kept = await run_in_threadpool(desk.tray.keep, file.filename, file.file)
        unit = str(form.get("unit") or kept.guess or "mm")
        return PartAsked.model_validate(
            {"file": kept.handle, "unit": unit if kept.needs_unit else None, "count": count}
        )
    return PartAsked(file=DEMO_PART, name="demo lantern", unit="mm", count=count)
