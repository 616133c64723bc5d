"""The shop floor at the desk: what starts the work on a cost, a comparison, a plan of an order book and a plan anew."""

from __future__ import annotations

import json
import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Any

from attrs import evolve

from vatwright import wiring
from vatwright.answers.trim import held_names
from vatwright.errors import InputError
from vatwright.files.orders_file import read_orders, read_past
from vatwright.files.read import Given
from vatwright.interfaces.render.fleet_json import fleet_json
from vatwright.interfaces.web.desk import cite
from vatwright.interfaces.web.forms import in_bench_words
from vatwright.interfaces.web.waiting import Matter, begin
from vatwright.records.orders import Past
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from vatwright.interfaces.web.desk import Desk, ShopOnDesk
    from vatwright.interfaces.web.floor_forms import FleetAsked, ReplanAsked
    from vatwright.interfaces.web.jobs import Work
    from vatwright.records.cost import CompareSheet, CostSheet
    from vatwright.records.fleet import FleetPlan
    from vatwright.records.job import Job
    from vatwright.records.orders import OrderBook
    from vatwright.records.plan import CarrySheet
    from vatwright.records.progress import Progress
    from vatwright.records.trim import TrimSheet
    from vatwright.records.upkeep import Due

DEMO_BOOK = "orders.toml"
MOST_PIECES = 5_000
"""Pieces of a book that the bench plans; more is for the command, which runs beside it [-]."""


def start_cost(
    desk: Desk, job: Job, labels: Mapping[str, str], *, sheet: CarrySheet | None = None, shop: ShopOnDesk | None = None
) -> Work:
    """Start on what a job costs, from its carry sheet where that is there, with the stock of its shop."""
    of = shop or desk.shop()
    books = desk.books(of)

    def task(told: Progress) -> CostSheet:
        return wiring.cost_of_opened(job, of.path, books, sheet=sheet, progress=told)

    return begin(desk, Matter("cost", job.name, labels, "this job"), task)


def start_compare(desk: Desk, job: Job, labels: Mapping[str, str], machines: Sequence[str]) -> Work:
    """Start on one order on several machines."""
    shop = desk.shop()
    known = {m.name: m for m in shop.records.machines}
    unknown = [name for name in machines if name not in known]
    if unknown:
        raise InputError.one(
            "machines",
            to_say('there is no "{unknown}"', unknown=unknown[0]),
            to_say("Known: {known}", known=", ".join(known)),
        )
    chosen = [known[name] for name in dict.fromkeys(machines)]
    books = desk.books(shop)

    def task(told: Progress) -> CompareSheet:
        return wiring.compare_of_opened(job, chosen, shop.path, books, progress=told)

    return begin(desk, Matter("compare", job.name, labels, "this job"), task)


def start_trim(desk: Desk, job: Job, labels: Mapping[str, str], hold: Sequence[str]) -> Work:
    """Start on what of a job's waits may go; every name of a setting that is none is told at once."""
    held, store = held_names(hold), desk.settings.store

    def task(told: Progress) -> TrimSheet:
        return wiring.trim_of_job(job, hold=held, store=store, progress=told)

    return begin(desk, Matter("trim", job.name, labels, "this job"), task)


def start_fleet(desk: Desk, asked: FleetAsked) -> Work:
    """Start on the plan of an order book; every mistake that shows before the parts are read is raised at once."""
    tables, labels = _book_tables(desk, asked)
    try:
        book = read_orders(Given("this book", tables), shop_path=desk.shop().path)
    except InputError as problem:
        raise in_bench_words(problem, labels, "this book") from problem
    pieces = sum(p.count for o in book.orders for p in o.parts)
    if pieces > MOST_PIECES:
        raise InputError.one(
            "pieces",
            to_say("{pieces} are more than the bench plans", pieces=pieces),
            to_say("Stay within {MOST_PIECES}, or use vatwright fleet", MOST_PIECES=MOST_PIECES),
        )
    shop = desk.shop()
    stations = wiring.stations_beside(shop.path, desk.books(shop))
    return _planned(desk, evolve(book, stations=stations), Past(), labels)


def start_demo_book(desk: Desk) -> Work:
    """Start on the demo workshop's order book."""
    return _planned(desk, read_orders(str(wiring.demo_folder() / DEMO_BOOK)), Past(), {})


def start_replan(desk: Desk, plan: FleetPlan, asked: ReplanAsked) -> Work:
    """Start on a plan anew, after something went wrong."""
    path = desk.tray.folder / f"plan-{secrets.token_urlsafe(9)}.json"
    path.write_text(json.dumps(fleet_json(plan, cite=cite)), encoding="utf-8")
    labels = {str(path): "the plan", "--failed": "plates that failed", "--down": "machines that stopped"}
    try:
        past = read_past(
            plan.book, done=str(path), failed=asked.failed, down=asked.down, now=asked.now.isoformat()
        )  # fmt: skip
    except InputError as problem:
        raise in_bench_words(problem, labels, "the plan") from problem
    finally:
        path.unlink(missing_ok=True)
    return _planned(desk, plan.book, past, {})


def _planned(desk: Desk, book: OrderBook, past: Past, labels: Mapping[str, str]) -> Work:
    def task(told: Progress) -> FleetPlan:
        return wiring.plan_book(book, past, progress=told)

    return begin(desk, Matter("fleet", book.name, labels, "this book"), task)


def due_today(desk: Desk) -> tuple[Due, ...]:
    """Return what is due on the shop's machines, or soon will be."""
    shop = desk.shop()
    return wiring.due_in_shop(shop.records.machines, shop.path, desk.books(shop))


def _book_tables(desk: Desk, asked: FleetAsked) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the tables of the book; the paths of its parts are ours, whatever their owner called them."""
    tables, missing = asked.table(), []
    labels: dict[str, str] = {}
    for order in tables["order"]:
        for part in order["part"]:
            kept = desk.tray.find(part["file"])
            if kept is None:
                missing.append(part.get("name") or part["file"])
                continue
            labels[str(kept.path)] = kept.name
            part |= {"file": str(kept.path), "name": part.get("name") or Path(kept.name).stem}
    if missing:
        raise InputError.one(
            "parts",
            to_say("no longer on the tray: {missing}", missing=", ".join(missing)),
            to_say("Hand the files in again"),
        )
    return {key: value for key, value in tables.items() if value}, labels
