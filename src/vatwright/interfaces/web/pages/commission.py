"""The Commission page: what is worth reading of a new machine or resin, ticked off beside it with the value typed in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple
from urllib.parse import urlencode
from weakref import WeakKeyDictionary

from fastapi import HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from vatwright import wiring
from vatwright.answers.commission import WORDS, commission_lead, measured
from vatwright.answers.names import capital
from vatwright.answers.numbers import one_line
from vatwright.errors import InputError, StaleError
from vatwright.files.read import Given
from vatwright.files.said import said_of
from vatwright.interfaces.render.pictures.measure import where_to_measure
from vatwright.interfaces.web import shelf
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.jobs import JobState, TooBusyError
from vatwright.interfaces.web.pages.commission_fields import SETTLE, SETTLES, asks, stands, taken, usual
from vatwright.interfaces.web.pages.shop import entry_address, fixed, table_of
from vatwright.interfaces.web.rendering import Onward, Page, bench_router, desk_of, form_of, mistakes_of, render, see
from vatwright.interfaces.web.shop_fields import labels_of
from vatwright.planning.commission.commission import CHECKS, commissioned
from vatwright.wording import say, say_many, to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.jobs import Work
    from vatwright.records.commission import CommissionItem, CommissionSheet
    from vatwright.records.progress import Progress

router = bench_router("commission")

OWN = "v."
"""What the names of a reading's own fields begin with on the page."""

GONE = to_say("The shop has nothing of that name.")

_SAVINGS: WeakKeyDictionary[Desk, dict[tuple[str, str], Work]] = WeakKeyDictionary()
"""The work that reckons what each reading may save, by what it is of: begun once while the bench is open."""


class ShopEntry(NamedTuple):
    """A machine or a resin of the shop, as it stands."""

    kind: str
    name: str
    record: Any
    found: shelf.Shelves

    @property
    def table(self) -> dict[str, Any]:
        """As a table of a shop file."""
        return table_of(self.record)

    def sheet(self, saved_s: Mapping[str, float] | None = None) -> CommissionSheet:
        """Return what is worth reading of it."""
        return commissioned(self.kind, self.name, said_of(self.record.document, self.kind, self.name), saved_s)


def steps(desk: Desk) -> Sequence[Onward]:
    """Return what the front page offers."""
    line = say("What is worth reading of it, in order, with a drawing each; ticked off beside it.")
    return [] if desk.shop().demo else [Onward(say("Commission a machine or a resin"), "/commission", line)]


def commission_address(kind: str, name: str) -> str:
    """Return the address of the readings of an entry."""
    return f"/commission?{urlencode({'kind': kind, 'name': name})}"


@router.get("")
def front(request: Request, kind: str = "", name: str = "", change: int | None = None) -> Response:
    """Show what is open and what is done of one machine or resin, or which there are."""
    desk = desk_of(request)
    if not kind:
        return render(request, "commission_start.html", {"listed": _listed(desk)})
    return _page(request, _entry(desk, kind, name), change=change)


def _listed(desk: Desk) -> list[tuple[str, str, list[tuple[str, str, str]]]]:
    found = shelf.shelves(desk)
    titles = (("machine", say("Machines")), ("resin", say("Resins")))
    return [
        (
            kind,
            title,
            [
                (n, commission_address(kind, n), _how_far(ShopEntry(kind, n, r, found)))
                for n, r in found.kinds[kind].items()
            ],
        )
        for kind, title in titles
    ]


def _how_far(entry: ShopEntry) -> str:
    sheet = entry.sheet()
    return (
        say("{open} of {all} open", open=say_many(len(sheet.open), "{n} reading", "{n} readings"), all=len(sheet.items))
        if sheet.open
        else say("nothing is open")
    )


def _entry(desk: Desk, kind: str, name: str) -> ShopEntry:
    found = shelf.shelves(desk)
    record = found.kinds[kind].get(name) if kind in CHECKS else None
    if record is None:
        raise HTTPException(404, GONE)
    return ShopEntry(kind, name, record, found)


@router.post("")
async def keep(request: Request) -> Response:
    """Keep what was read, and go on to the next reading."""
    desk, form = desk_of(request), await form_of(request)
    said = {k: v for k, v in form.items() if isinstance(v, str)}
    entry = await run_in_threadpool(_entry, desk, said.get("kind", ""), said.get("name", ""))
    slug, typed = said.get("slug", ""), {k.removeprefix(OWN): v for k, v in said.items() if k.startswith(OWN)}
    if slug not in {check.slug for check in CHECKS[entry.kind]}:
        raise HTTPException(404, GONE)
    try:
        change = await run_in_threadpool(_keep, desk, entry, slug, typed, anyway=said.get("anyway") == "yes")
    except InputError as problem:
        told, stale = mistakes_of(problem), isinstance(problem, StaleError)
        status = 409 if stale else 422
        return await run_in_threadpool(_page, request, entry, wrong=NotKept(slug, typed, told, stale), status=status)
    return see(f"{commission_address(entry.kind, entry.name)}{f'&change={change}' if change else ''}")


def _keep(desk: Desk, entry: ShopEntry, slug: str, typed: Mapping[str, str], *, anyway: bool) -> int | None:
    """Put a reading where the shop keeps it, as one change; nothing where it is there already, as when a tap came twice."""
    if not entry.found.writable:
        raise InputError.one(to_say("this reading"), to_say("cannot be kept here"), fixed(entry.found))
    was = entry.table
    table, mistakes = taken(entry.kind, slug, was, typed)
    if mistakes:
        raise InputError(mistakes)
    if table == was:
        return None
    done = any(item.slug == slug and item.done for item in entry.sheet().items)
    if done and not anyway:
        now = ", ".join(f"{label} {value}" for label, value in stands(entry.kind, slug, was)) or say("another value")
        raise StaleError.one(
            to_say("this reading"),
            to_say("is there already: {now}", now=now),
            to_say("Keep yours instead, or leave it as it is"),
        )
    what = to_say("{what} of {name}", what=WORDS[slug].what, name=one_line(entry.name))
    given = Given(what, {entry.kind: [table]}, labels_of(entry.kind))
    kept = shelf.keep_tables(desk, given, as_seen={(entry.kind, entry.name): wiring.revision_of(entry.record)})
    return kept.change.number if kept.change else None


class NotKept(NamedTuple):
    """What could not be kept: of which reading, as typed, why, and whether another value stands there."""

    slug: str
    typed: Mapping[str, str]
    told: list[tuple[str, str, str]]
    stale: bool


class ToRead(NamedTuple):
    """One reading as the page shows it."""

    slug: str
    what: str
    why: str
    how: str
    measure: str
    picture: Any
    fields: Any
    said: Mapping[str, str]
    values: Sequence[tuple[str, str]]
    key: str


def _page(
    request: Request, entry: ShopEntry, *, wrong: NotKept | None = None, change: int | None = None, status: int = 200
) -> Response:
    saved = _saved(desk_of(request), entry)
    sheet = entry.sheet(saved)
    table = entry.table
    about = {
        "kind": entry.kind,
        "name": entry.name,
        "lead": commission_lead(sheet),
        "wrong": wrong,
        "change": change,
        "open": [_shown(entry, table, item, wrong) for item in sheet.open],
        "done": [_shown(entry, table, item, wrong) for item in sheet.items if item.done],
        "choices": {SETTLE: SETTLES},
        "fixed": "" if entry.found.writable else fixed(entry.found),
        "reckoned": saved is not None,
        "address": commission_address(entry.kind, entry.name),
        "shop_address": entry_address(entry.kind, entry.name),
        "mistakes": wrong.told if wrong else [],
    }
    return render(request, "commission.html", about, status=status)


def _shown(entry: ShopEntry, table: Mapping[str, Any], item: CommissionItem, wrong: NotKept | None) -> ToRead:
    words = WORDS[item.slug]
    asked = asks(entry.kind, item.slug, table)
    typed = wrong.typed if wrong and wrong.slug == item.slug else usual(asked)
    return ToRead(
        slug=item.slug,
        what=capital(words.what),
        why=say("{why} It narrows: {narrows}.", why=words.why, narrows=words.narrows),
        how=words.how,
        measure=measured(item),
        picture=where_to_measure(item.slug, words.what),
        fields=asked.fields,
        said=typed,
        values=stands(entry.kind, item.slug, table) if item.done else (),
        key=item.key,
    )


# --- what each may save ----------------------------------------------------------------------------------------------


def _saved(desk: Desk, entry: ShopEntry) -> Mapping[str, float] | None:
    """Return what each reading may save, once it is reckoned; the first one who asks begins on it."""
    works = _SAVINGS.setdefault(desk, {})
    key = (entry.kind, entry.name)
    if key not in works:
        records, (kind, name) = entry.found.records, key

        def task(told: Progress) -> dict[str, float]:
            return wiring.saved_by_reading(records, kind, name, told)

        try:
            works[key] = desk.work.start(
                "commission", to_say("What each reading of {name} may save", name=one_line(name)), task
            )
        except TooBusyError:
            return None
    work = works[key]
    if work.state is JobState.DONE:
        found: Mapping[str, float] = work.result
        return found
    return None if work.going else {}


@router.get("/saves")
def saves(request: Request, kind: str, name: str) -> Response:
    """Show beside each open reading what it may save, once that is reckoned."""
    entry = _entry(desk_of(request), kind, name)
    saved = _saved(desk_of(request), entry)
    items = [(item.slug, measured(item)) for item in entry.sheet(saved).open] if saved is not None else []
    about = {"items": items, "reckoned": saved is not None, "address": commission_address(kind, name)}
    return render(request, "commission_saves.html", about)


PAGE = Page(slug="commission", title=to_say("Commission"), router=router, steps=steps)
