"""The Shop page: what the workshop has, each value with its unit, how sure it is and where it is from; changed in place."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from attrs import evolve
from fastapi import HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from vatwright import wiring
from vatwright.answers.numbers import one_line
from vatwright.errors import InputError, Mistake, StaleError
from vatwright.files.read import Given
from vatwright.files.stock_file import stock_table
from vatwright.interfaces.web import shelf
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.pages.costs import router as costs
from vatwright.interfaces.web.pages.setup import router as setup
from vatwright.interfaces.web.rendering import (
    Onward,
    Page,
    bench_router,
    desk_of,
    form_of,
    mistakes_of,
    render,
    said_in,
    see,
)
from vatwright.interfaces.web.shop_fields import FORMS, SIGMA, both_values, heard, labels_of, merged, typed
from vatwright.interfaces.web.shop_words import in_short, values_of
from vatwright.interfaces.web.take_away import attachment
from vatwright.records.notebook import TablePage
from vatwright.records.stock import FittedFilm, Screen
from vatwright.wording import say, say_many, to_say

router = bench_router("shop")
router.include_router(setup, prefix="/setup")
router.include_router(costs)

TITLES = {
    "machine": to_say("Machines"),
    "film": to_say("Films"),
    "screen": to_say("Screens"),
    "resin": to_say("Resins"),
    "lot": to_say("Lots of resin"),
    "recipe": to_say("Recipes"),
    "station": to_say("Stations"),
    "price": to_say("Prices"),
}
"""Kinds in the order of the page, and what it calls them."""

SINGULAR = {
    "machine": to_say("machine"),
    "film": to_say("film"),
    "screen": to_say("screen"),
    "resin": to_say("resin"),
    "lot": to_say("lot of resin"),
    "recipe": to_say("recipe"),
    "station": to_say("station"),
    "price": to_say("price"),
}
WEARING = {"film": FittedFilm, "screen": Screen}
OWN = "v."
"""What the names of an entry's own fields begin with on the page."""

GONE = to_say("The shop has nothing of that name.")
NOT_YET = to_say("The demo workshop is to look at: it is in no notebook yet. Take it over first, or set up your own.")
IN_FILE = to_say(
    "The bench follows the shop file {file}: change it there, it is read again at once, or take it into the notebook."
)
MOST_TEXT = 100_000


def steps(desk: Desk) -> Sequence[Onward]:
    """Return what the front page offers: the guided set-up as long as the demo workshop is open, then the shop."""
    if desk.shop().demo:
        line = say("Five minutes, with a tape measure and the machine's data plate. It ends with your first sheet.")
        return [Onward(say("Set up your own workshop"), "/shop/setup", line)]
    return [
        Onward(
            say("Look after the shop"),
            "/shop",
            say("A film changed, a bottle opened, a price: what the sheets count on."),
        )
    ]


@router.get("")
def front(request: Request) -> Response:
    """Show everything that the shop has."""
    return _front(request, [])


def _front(request: Request, mistakes: list[tuple[str, str, str]], *, status: int = 200) -> Response:
    desk = desk_of(request)
    found = shelf.shelves(desk)
    listed = [
        (kind, title, [(name, in_short(e, found.records), entry_address(kind, name)) for name, e in entries.items()])
        for kind, title in TITLES.items()
        if (entries := found.kinds[kind]) or found.writable
    ]
    machines = say_many(len(found.kinds["machine"]), "{n} machine", "{n} machines")
    resins = say_many(len(found.kinds["resin"]), "{n} resin", "{n} resins")
    recipes = say_many(len(found.kinds["recipe"]), "{n} recipe", "{n} recipes")
    shown = {
        "listed": listed,
        "first": say("{machines}, {resins} and {recipes}", machines=machines, resins=resins, recipes=recipes),
        "found": found,
        "singular": SINGULAR,
        "last": _last_change(desk),
        "mistakes": mistakes,
    }
    return render(request, "shop.html", shown, status=status)


def fixed(found: shelf.Shelves) -> str:
    """Return why the forms cannot change what is shown."""
    return say(IN_FILE, file=found.file) if found.file else say(NOT_YET)


def _last_change(desk: Desk) -> Any:
    standing = [c for c in shelf.history(desk) if c.undone_by is None and c.undoes is None]
    return standing[0] if standing else None


def entry_address(kind: str, name: str) -> str:
    """Return the address of an entry."""
    return f"/shop/entry?{urlencode({'kind': kind, 'name': name})}"


@router.post("/demo")
def take_over_demo(request: Request) -> Response:
    """Put the demo workshop into the notebook, to be changed."""
    shelf.keep_entries(desk_of(request), wiring.demo_entries(), what=to_say("the demo workshop"))
    return see("/shop")


@router.post("/demo/leave")
def leave_demo(request: Request) -> Response:
    """Take the demo workshop out of the notebook; what one's own shop refers to stays."""
    shelf.leave_demo(desk_of(request))
    return see("/shop")


@router.post("/file")
def take_over_file(request: Request) -> Response:
    """Put the opened shop file into the notebook, to be changed by the forms."""
    desk = desk_of(request)
    if not desk.opened_file:
        return see("/shop")
    try:
        shelf.take_over_file(desk)
    except InputError as problem:
        return _front(request, mistakes_of(problem), status=422)
    return see("/shop")


# --- one entry -------------------------------------------------------------------------------------------------------


@router.get("/entry")
def entry(request: Request, kind: str, name: str, change: int | None = None) -> Response:
    """Show one entry and the form that changes it."""
    return _entry(request, kind, name, change=change)


@router.get("/new")
def new(request: Request, kind: str, name: str = "", per: str = "") -> Response:
    """Show an empty form, but for what another page knows that it is to be: its name, what a price is for."""
    if kind not in FORMS:
        raise HTTPException(404, GONE)
    if name and name in shelf.shelves(desk_of(request)).kinds[kind]:
        return see(entry_address(kind, name))
    return _entry(request, kind, "", said={"new_name": name[:200], "per": per[:200]} if name else None)


@router.post("/entry")
async def keep(request: Request) -> Response:
    """Keep an entry as the form says it."""
    desk, form = desk_of(request), await form_of(request)
    kind, name = said_in(form, "kind"), said_in(form, "name")
    if kind not in FORMS:
        raise HTTPException(404, GONE)
    said = {k.removeprefix(OWN): v for k, v in form.items() if isinstance(v, str) and k.startswith((OWN, "new_name"))}
    try:
        kept = await run_in_threadpool(_keep, desk, kind, name, said, said_in(form, "revision"))
    except StaleError:
        return await run_in_threadpool(_stale, request, kind, name, said=said, was=_was(form))
    except InputError as problem:
        told = mistakes_of(problem)
        return await run_in_threadpool(_entry, request, kind, name, said=said, mistakes=told, status=422)
    return see(_after(kind, name or said.get("new_name", "").strip(), kept))


def _keep(desk: Desk, kind: str, name: str, said: Mapping[str, str], revision: str) -> Any:
    found = shelf.shelves(desk)
    if found.file or (found.demo and (found.address or name)):
        raise InputError.one(to_say("this change"), to_say("cannot be made here"), fixed(found))
    called = name or said.get("new_name", "").strip()
    standing = found.kinds[kind].get(called)
    if name and (standing is None or wiring.revision_of(standing) != revision):
        raise StaleError.one(name, to_say("was changed meanwhile"), to_say("Look at it again"))
    table, mistakes = heard(kind, table_of(standing) if name else {"name": called or "new"}, said)
    if not called:
        mistakes.append(Mistake("name", to_say("is not given"), to_say("Write what you call it")))
    if not name and standing is not None:
        mistakes.append(
            Mistake(
                "name", to_say("{called} is there already", called=called), to_say("Choose another, or change that one")
            )
        )
    given = Given(f"{SINGULAR[kind]} {one_line(called)}", {kind: [table]}, labels_of(kind))
    if mistakes:
        told = {m.where for m in mistakes}  # a field that cannot be read is not missing as well
        more = (m for m in shelf.mistakes_in(desk, given) if not any(where in str(m) for where in told))
        raise InputError([*mistakes, *more])
    return shelf.keep_tables(desk, given, as_seen={(kind, called): revision if name else None})


def _was(form: FormData) -> dict[str, str]:
    """Return what stood in the fields when the form was made, as it says itself."""
    try:
        found = json.loads(said_in(form, "was") or "{}")
    except (ValueError, RecursionError):
        return {}
    return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}


def _stale(request: Request, kind: str, name: str, *, said: Mapping[str, str], was: Mapping[str, str]) -> Response:
    """Show what somebody else kept meanwhile beside what this form says; what was not touched here follows theirs."""
    record = shelf.shelves(desk_of(request)).kinds[kind].get(name or said.get("new_name", "").strip())
    if record is None:
        told = [
            (
                name,
                say("is no longer in the shop: somebody took it back"),
                say("Keep what stands below as new, or leave it"),
            )
        ]
        return _entry(request, kind, "", said={**said, "new_name": name}, mistakes=told, status=409)
    now = typed(kind, table_of(record))
    told = [
        (
            record.name,
            say("was changed meanwhile, in another tab or by a run noted"),
            say("Nothing of this form was kept"),
        )
    ]
    both = both_values(kind, said, now)
    return _entry(request, kind, record.name, said=merged(was, said, now), mistakes=told, both=both, status=409)


@router.post("/text")
async def keep_text(request: Request) -> Response:
    """Keep a machine, resin or recipe as its text says it."""
    desk, form = desk_of(request), await form_of(request)
    kind, name, text = said_in(form, "kind"), said_in(form, "name"), str(form.get("text") or "")
    try:
        if kind not in FORMS or len(text) > MOST_TEXT:
            raise InputError.one(
                to_say("the text"),
                to_say("is no entry of a shop"),
                to_say("Write one table, as it stands in a shop file"),
            )
        if (found := await run_in_threadpool(shelf.shelves, desk)).file:
            raise InputError.one(to_say("this change"), to_say("cannot be made here"), fixed(found))
        _require_same(text, kind, name)
        what, as_seen = f"{SINGULAR[kind]} {one_line(name)}", {(kind, name): said_in(form, "revision") or None}
        kept = await run_in_threadpool(shelf.keep_text, desk, text, what=what, as_seen=as_seen)
    except StaleError:
        told = [(name, say("was changed meanwhile, in another tab or by a run noted"), say("Your text was not kept"))]
        return await run_in_threadpool(
            _entry, request, kind, name, text=text, mistakes=told, stale_text=True, status=409
        )
    except InputError as problem:
        told = mistakes_of(problem)
        return await run_in_threadpool(_entry, request, kind, name, text=text, mistakes=told, status=422)
    return see(_after(kind, name, kept))


def _require_same(text: str, kind: str, name: str) -> None:
    """Refuse a text that is another entry, or several."""
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError.one(
            to_say("the text"), to_say("is no TOML: {error}", error=error), to_say("Mend that line")
        ) from error
    tables = raw.get(kind)
    named = [t.get("name") if isinstance(t, dict) else t for t in tables] if isinstance(tables, list) else []
    if set(raw) != {kind} or named != [name]:
        raise InputError.one(
            to_say("the text"),
            to_say("is not the one {kind} {name!r}", kind=kind, name=name),
            to_say('Keep [[{kind}]] and name = "{name}"', kind=kind, name=name),
        )


def _after(kind: str, name: str, kept: Any) -> str:
    number = f"&change={kept.change.number}" if kept.change else ""
    return entry_address(kind, name) + number


def _entry(
    request: Request,
    kind: str,
    name: str,
    *,
    said: Mapping[str, str] | None = None,
    text: str | None = None,
    mistakes: list[tuple[str, str, str]] | None = None,
    both: Sequence[tuple[str, str, str]] = (),
    stale_text: bool = False,
    change: int | None = None,
    status: int = 200,
) -> Response:
    desk = desk_of(request)
    found = shelf.shelves(desk)
    record = found.kinds.get(kind, {}).get(name)
    if kind not in FORMS or (name and record is None):
        raise HTTPException(404, GONE)
    table = table_of(record) if record is not None else {}
    now = typed(kind, table)
    document = record.document if isinstance(record, TablePage) else ""
    shown = {
        "kind": kind,
        "name": name,
        "title": TITLES[kind],
        "singular": SINGULAR[kind],
        "groups": FORMS[kind],
        "values": [v for v in values_of(record, found.records) if v.value] if record is not None else [],
        "said": now | dict(said or {}),
        "was": json.dumps(now),
        "both": both,
        "sigma": SIGMA,
        "revision": wiring.revision_of(record) if record is not None else "",
        "machines": list(found.kinds["machine"]),
        "resins": list(found.kinds["resin"]),
        "found": found,
        "text": document if text is None else text,
        "texted": text is not None,
        "kept_text": document,
        "stale_text": stale_text,
        "address": entry_address(kind, name),
        "fixed": "" if found.writable or not name else fixed(found),
        "mistakes": mistakes or [],
        "change": change,
        "wears": kind in WEARING and not getattr(record, "removed", None),
        "fitted": _fitted(found, name) if kind == "machine" else [],
    }
    return render(request, "shop_entry.html", shown, status=status)


def table_of(record: Any) -> dict[str, Any]:
    """Return an entry as the table that a file would have, numbers to their last digit."""
    if isinstance(record, TablePage):
        table: dict[str, Any] = tomllib.loads(record.document, parse_float=Decimal)[record.kind][0]
        return table
    return stock_table(record)


def _fitted(found: shelf.Shelves, machine: str) -> list[tuple[str, str, str]]:
    """Return the films and screens of a machine that are in use: kind, name and a line."""
    return [
        (kind, record.name, in_short(record, found.records).removeprefix(f"{machine}, "))
        for kind in WEARING
        for record in found.kinds[kind].values()
        if record.machine == machine and record.removed is None
    ]


# --- a film changed, a screen changed --------------------------------------------------------------------------------


@router.post("/renew")
async def renew(request: Request) -> Response:
    """Take a film or a screen out today and fit a new one like it, as one change."""
    desk, form = desk_of(request), await form_of(request)
    kind, name = said_in(form, "kind"), said_in(form, "name")
    found = await run_in_threadpool(shelf.shelves, desk)
    old = found.kinds.get(kind, {}).get(name)
    if kind not in WEARING or old is None:
        raise HTTPException(404, GONE)
    if not found.writable:
        raise HTTPException(422, fixed(found))
    today = date.today()  # noqa: DTZ011 - the day on this computer's calendar is the one the person means
    if old.removed is not None:
        raise HTTPException(422, to_say("{name} was removed on {removed} already.", name=name, removed=old.removed))
    new_name = next_name(old.name, found.kinds[kind])
    fresh = {"name": new_name, "fitted": today, "used_s": 0.0} | ({"layers": 0} if kind == "film" else {})
    entries = [evolve(old, removed=max(today, old.fitted or today)), evolve(old, **fresh)]
    as_seen = {(kind, name): wiring.revision_of(old), (kind, new_name): None}
    try:
        kept = await run_in_threadpool(
            shelf.keep_entries,
            desk,
            entries,
            what=to_say("new {kind} in {machine}", kind=kind, machine=old.machine),
            as_seen=as_seen,
        )
    except StaleError as problem:
        raise HTTPException(
            409, to_say("{name} was changed at the same moment elsewhere. Load its page again.", name=name)
        ) from problem
    return see(_after(kind, new_name, kept))


def next_name(name: str, taken: Mapping[str, Any]) -> str:
    """Return the name of what follows something: the number at its end counted on.

    Examples
    --------
    >>> next_name("Wren, film 7", {"Wren, film 8": 0}), next_name("first screen", {})
    ('Wren, film 9', 'first screen 2')
    """
    stem = name.rstrip("0123456789")
    digits = name[len(stem) :]
    number = int(digits) + 1 if digits and len(digits) < 9 else 2
    stem = stem if digits else f"{name} "
    while f"{stem}{number}" in taken:
        number += 1
    return f"{stem}{number}"


# --- the whole notebook ----------------------------------------------------------------------------------------------


@router.get("/history")
def history(request: Request, done: int | None = None) -> Response:
    """Show every change."""
    changes = shelf.history(desk_of(request))
    return render(request, "shop_history.html", {"changes": changes[:200], "count": len(changes), "done": done})


@router.post("/undo")
async def undo(request: Request) -> Response:
    """Take a change back."""
    form = await form_of(request)
    number = said_in(form, "number")
    if not number.isdecimal() or len(number) > 9:
        raise HTTPException(422, to_say("Which change is to be taken back?"))
    change = await run_in_threadpool(shelf.take_back, desk_of(request), int(number))
    return see(f"/shop/history?done={change.number}")


@router.get("/notebook.zip")
def export(request: Request) -> Response:
    """Return the notebook as open files."""
    return attachment(shelf.export_zip(desk_of(request)), "application/zip", "notebook.zip")


@router.post("/import")
async def take_in(request: Request) -> Response:
    """Take in what an export holds."""
    desk, form = desk_of(request), await form_of(request)
    file = form.get("export")
    try:
        if not isinstance(file, UploadFile) or not file.filename:
            raise InputError.one(
                to_say("the export"), to_say("was not chosen"), to_say("Choose the zip that an export has made")
            )
        await run_in_threadpool(shelf.import_zip, desk, await file.read())
    except InputError as problem:
        return await run_in_threadpool(_front, request, mistakes_of(problem), status=422)
    return see("/shop/history")


PAGE = Page(slug="shop", title=to_say("Shop"), router=router, steps=steps)
