"""The Orders page: an order book on all machines, and again when something went wrong."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import HTTPException, Request
from pydantic import ValidationError
from starlette.datastructures import FormData
from starlette.responses import Response

from vatwright.answers.fleet import fleet_answer
from vatwright.errors import InputError, Mistake
from vatwright.interfaces.render.fleet_json import fleet_json
from vatwright.interfaces.web.desk import Desk, cite
from vatwright.interfaces.web.floor_desk import start_demo_book, start_fleet, start_replan
from vatwright.interfaces.web.floor_forms import SPAN, FleetAsked, ReplanAsked
from vatwright.interfaces.web.forms import checked, count_said, number_said
from vatwright.interfaces.web.question import Question, Told
from vatwright.interfaces.web.rendering import Page, bench_router, desk_of, form_of, mistakes_of, render, said_in, see
from vatwright.interfaces.web.uploads import UNITS, handed_in
from vatwright.interfaces.web.waiting import work_of
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.jobs import Work
    from vatwright.interfaces.web.uploads import PartOnTray
    from vatwright.records.fleet import FleetPlan

router = bench_router("fleet")

WORKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday")
WEEKEND = ("saturday", "sunday")
MOST_PARTS = 40
MOST_MACHINES = 200
USUAL = {
    "name": to_say("order book"), "recipe": "", "room_c": "20", "persons": "1", "visits": "3",
    "workdays": "08:00-12:30, 13:15-17:30", "saturday": "", "sunday": "",
}  # fmt: skip
"""What stands in a field that nobody has filled: the orders file's own defaults, and hours as an example."""


@router.get("")
def front(request: Request) -> Response:
    """Show where a plan starts."""
    return _start(request, [])


@router.post("/demo")
async def demo(request: Request) -> Response:
    """Plan the demo workshop's order book."""
    return await QUESTION.begun(request, start_demo_book)


@router.post("/parts")
async def parts(request: Request) -> Response:
    """Take part files and show what to say about them."""
    desk, form = desk_of(request), await form_of(request)
    try:
        fresh = await handed_in(desk.tray, form)
    except InputError as problem:
        return _start(request, mistakes_of(problem), status=422)
    handles = [*map(str, form.getlist("kept")), *(kept.handle for kept in fresh)]
    return see(f"/fleet/new?{urlencode([('part', h) for h in handles[:MOST_PARTS]])}")


@router.get("/new")
def question(request: Request) -> Response:
    """Show what is to be said about a book; its parts stand in the address."""
    handles = request.query_params.getlist("part")[:MOST_PARTS]
    if not _on_tray(desk_of(request), handles):
        return _start(request, [])
    return _question(request, handles, [])


@router.post("/new")
async def ask(request: Request) -> Response:
    """Start on a plan."""
    form = await form_of(request)
    handles = [str(h) for h in form.getlist("part")][:MOST_PARTS]

    def again(_request: Request, told: list[Told], status: int) -> Response:
        return _question(request, handles, told, status=status, said=form)

    return await QUESTION.begun(request, lambda desk: start_fleet(desk, _asked(desk, handles, form)), again)


@router.post("/{work_id}/again")
async def again(request: Request, work_id: str) -> Response:
    """Plan anew from now on."""
    work, form = work_of(request, work_id, "fleet"), await form_of(request)
    plan: FleetPlan | None = work.result
    if plan is None:
        raise HTTPException(404, to_say("There is no plan to go on from."))

    def told(_request: Request, mistakes: list[Told], status: int) -> Response:
        return _answer(request, work, mistakes, status)

    try:
        now = datetime.fromisoformat(str(form.get("now", ""))).replace(tzinfo=plan.book.starts.tzinfo)
        asked = ReplanAsked(now=now, failed=_texts(form, "failed"), down=_texts(form, "down"))
    except (ValueError, ValidationError):
        return told(request, [("now", say("is no day and time"), say("Choose when the new plan is to begin"))], 422)
    return await QUESTION.begun(request, lambda desk: start_replan(desk, plan, asked), told)


# --- what the pages show ---------------------------------------------------------------------------------------------


def _start(request: Request, mistakes: list[Told], status: int = 200) -> Response:
    return render(
        request, "fleet_start.html", {"demo": desk_of(request).shop().demo, "mistakes": mistakes}, status=status
    )


def _on_tray(desk: Desk, handles: Sequence[str]) -> list[PartOnTray]:
    return [kept for h in handles if (kept := desk.tray.find(h)) is not None]


def _question(
    request: Request, handles: Sequence[str], mistakes: list[Told], *, status: int = 200, said: FormData | None = None
) -> Response:
    desk = desk_of(request)
    begins = datetime.now().astimezone().replace(hour=8, minute=0) + timedelta(days=1)
    usual = USUAL | {"starts": f"{begins:%Y-%m-%dT%H:%M}"}
    typed = {k: v for k, v in said.items() if isinstance(v, str)} if said else {}
    shop = desk.shop().records
    for n, handle in enumerate(handles):
        kept = desk.tray.find(handle)
        unit = (kept.guess if kept else None) or "mm"
        usual |= {f"order_{n}": say("first order"), f"count_{n}": "1", f"unit_{n}": unit, f"due_{n}": ""}
    usual |= {f"machine_{k}": "1" for k, _ in enumerate(shop.machines)}
    about = {
        "parts": _on_tray(desk, handles),
        "shop": shop,
        "said": usual | typed,
        "units": UNITS,
        "mistakes": mistakes,
    }
    return render(request, "fleet_question.html", about, status=status)


def _answer(request: Request, work: Work, mistakes: list[Told], status: int = 200) -> Response:
    plan: FleetPlan | None = work.result
    more: dict[str, object] = {}
    if plan is not None:
        more = {
            "mistakes": mistakes,
            "runs": [r for r in plan.runs if r.off_s > plan.now_s],
            "units": [u.name for u in plan.book.units],
            "down": plan.down,
            "now": f"{plan.book.at(plan.now_s):%Y-%m-%dT%H:%M}",
        }
    return QUESTION.answered(request, work, template="fleet_answer.html", more=more, status=status)


# --- what the forms say ----------------------------------------------------------------------------------------------


def _texts(form: FormData, key: str) -> list[str]:
    return [v for v in form.getlist(key) if isinstance(v, str)]


def _asked(desk: Desk, handles: Sequence[str], form: FormData) -> FleetAsked:
    """Return the whole book of a form, every mistake of it at once."""
    mistakes: list[Mistake] = []
    starts = _moment(form, "starts", say("the plan's start"), mistakes)
    orders = _orders(desk, handles, form, mistakes)
    units = _units(desk, form, mistakes)
    workdays = _spans(form, "workdays", say("Monday to Friday"), mistakes)
    hours = dict.fromkeys(WORKDAYS, workdays) | {day: _spans(form, day, day.capitalize(), mistakes) for day in WEEKEND}
    head = {
        "name": said_in(form, "name") or None,
        "recipe": said_in(form, "recipe"),
        "room_c": number_said(said_in(form, "room_c"), "room_c", say("room temperature"), mistakes),
        "persons": count_said(said_in(form, "persons") or "0", "people", mistakes, most=100),
        "visits": count_said(said_in(form, "visits") or "0", "visits", mistakes, most=20),
        "starts": starts,
    }
    if mistakes:
        raise InputError(mistakes)
    return checked(FleetAsked, {"book": head, "hours": hours, "unit": units, "order": orders})


def _orders(desk: Desk, handles: Sequence[str], form: FormData, mistakes: list[Mistake]) -> list[dict[str, object]]:
    """Return parts under the name of their order; one that is due twice is due at the earlier time."""
    found: dict[str, dict[str, object]] = {}
    for n, handle in enumerate(handles):
        kept = desk.tray.find(handle)
        label = kept.name if kept else handle
        count = count_said(
            said_in(form, f"count_{n}") or "0", say("pieces of {label}", label=label), mistakes, most=10_000
        )
        if not count:
            continue
        order = found.setdefault(said_in(form, f"order_{n}") or "orders", {"part": []})
        due = (
            _moment(form, f"due_{n}", say("due time of {label}", label=label), mistakes)
            if said_in(form, f"due_{n}")
            else None
        )
        earlier = order.get("due")
        if due is not None and not (isinstance(earlier, datetime) and earlier <= due):
            order["due"] = due
        pieces: dict[str, object] = {"file": handle, "count": count}
        if kept is None or kept.needs_unit:
            pieces["unit"] = said_in(form, f"unit_{n}") or "mm"
        order["part"].append(pieces)  # type: ignore[attr-defined]
    if not found and not mistakes:
        mistakes.append(
            Mistake("pieces", to_say("nothing is wanted"), to_say("Give at least one part a count above 0"))
        )
    return [{"name": name, **order} for name, order in found.items()]


def _units(desk: Desk, form: FormData, mistakes: list[Mistake]) -> list[dict[str, object]]:
    """Return how many of which machine: under the names that the form showed, whatever the shop has become since."""
    known = {m.name for m in desk.shop().records.machines}
    units: list[dict[str, object]] = []
    for k in range(MOST_MACHINES):
        if not (name := said_in(form, f"machine_name_{k}")):
            break
        count = count_said(said_in(form, f"machine_{k}") or "0", say("number of {name}", name=name), mistakes, most=50)
        if count and name not in known:
            mistakes.append(
                Mistake(name, to_say("is no longer in the shop"), to_say("Leave it out, or add it on the Shop page"))
            )
        elif count:
            units.append({"machine": name, "count": count})
    if not units:
        mistakes.append(Mistake("machines", to_say("there is none"), to_say("Give at least one kind a number above 0")))
    return units


def _spans(form: FormData, key: str, label: str, mistakes: list[Mistake]) -> list[str]:
    """Return spans of hours, those of a day that cannot be read told once."""
    spans = [s.strip() for s in said_in(form, key).replace("\N{EN DASH}", "-").split(",") if s.strip()]
    if bad := [s for s in spans if not re.fullmatch(SPAN, s)]:
        mistakes.append(
            Mistake(
                f"hours, {label}", to_say("{bad!r} is no span of hours", bad=bad[0]), to_say("Write it as 08:00-12:30")
            )
        )
    return spans


def _moment(form: FormData, key: str, label: str, mistakes: list[Mistake]) -> datetime | None:
    """Return a moment as the clock on this computer's wall shows it."""
    try:
        return datetime.fromisoformat(said_in(form, key)).astimezone()
    except (ValueError, OverflowError, OSError):
        mistakes.append(Mistake(label, to_say("is no day and time"), to_say("Choose both")))
        return None


QUESTION = Question(
    kind="fleet",
    answer=lambda plan: fleet_answer(plan, cite=cite),
    data=lambda plan: fleet_json(plan, cite=cite),
    stem="plan",
    again=_start,
)
QUESTION.add_to(router, lambda request, work: _answer(request, work, []))
PAGE = Page(
    slug="fleet",
    title=to_say("Orders"),
    router=router,
    offers=(to_say("Plan the orders"), to_say("Who runs what when, what stands on each plate, what comes late.")),
)
