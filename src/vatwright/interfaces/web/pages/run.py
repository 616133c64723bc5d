"""The Run page: the next change by hand, as large as the screen, while the machine runs."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources

from fastapi import HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import PlainTextResponse, Response

from vatwright.answers.names import capital
from vatwright.answers.numbers import duration, one_line
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.live_runs import SHOWN_ENDED
from vatwright.interfaces.web.rendering import Onward, Page, bench_router, desk_of, form_of, render, see
from vatwright.interfaces.web.run_words import day_time, run_words, too_early
from vatwright.records.live_run import LiveRun, Tap, TapKind
from vatwright.wording import say, to_say

router = bench_router("run")

GONE = to_say("No such run is on the bench.")


def steps(desk: Desk) -> Sequence[Onward]:
    """Return what the front page offers: the runs that go on, and what is due in them."""
    return [
        Onward(
            say("Run: {job} on {machine}", job=one_line(r.plan.job), machine=one_line(r.plan.machine)),
            f"/run/{r.id}",
            in_short(desk, r),
        )
        for r in desk.runs.going()
    ]


def in_short(desk: Desk, run: LiveRun) -> str:
    """Return where a run is, in a line."""
    view = desk.runs.view(run)
    if view.state == "ready":
        return say("Not started yet.")
    if view.state == "over":
        return say("Its time is up: say how it ended.")
    if not view.ahead:
        return say("Nothing to do by hand; {time} left.", time=duration(view.total_s - view.elapsed_s))
    first = run_words(view).ahead[0]
    left = view.ahead[0].due_s - view.elapsed_s
    when = say("in {time}", time=duration(left)) if left > 0.0 else say("late by {time}", time=duration(-left))
    return say("{what} {value}, {when}.", what=capital(first.what), value=first.value, when=when)


@router.get("")
def front(request: Request) -> Response:
    """Show the runs, and the carries that could be run."""
    desk = desk_of(request)
    listed = desk.runs.all()
    shown = {
        "going": [(r, in_short(desk, r)) for r in listed if r.ended_s is None],
        "ended": [(r, day_time(r.ended_s)) for r in listed if r.ended_s is not None][:SHOWN_ENDED],
        "carries": [c for c in desk.carries() if c.sheet is not None][:12],
    }
    return render(request, "run_list.html", shown)


@router.post("")
async def put(request: Request) -> Response:
    """Put a run of a carry on the bench."""
    desk, form = desk_of(request), await form_of(request)
    carry = desk.carry(str(form.get("carry", "")))
    if carry is None or carry.work is None or carry.sheet is None:
        raise HTTPException(404, to_say("This carry is no longer on the desk."))
    run = await run_in_threadpool(desk.runs.put, carry.sheet, carry.work.about, passing=desk.tray.folder)
    return see(f"/run/{run.id}")


@router.get("/worker.js")
def worker() -> Response:
    """Return what opens the run pages where there is no network; it lies here because it may serve no other pages."""
    text = (resources.files("vatwright.interfaces.web") / "static" / "run-worker.js").read_text(encoding="utf-8")
    return PlainTextResponse(text, media_type="text/javascript")


@router.get("/{run_id}")
def show(request: Request, run_id: str) -> Response:
    """Show a run."""
    return _page(request, run_id, "run_live.html")


@router.get("/{run_id}/now")
def now(request: Request, run_id: str) -> Response:
    """Return what has changed on the page of a run."""
    return _page(request, run_id, "_run_now.html")


@router.post("/{run_id}/tap")
async def tap(request: Request, run_id: str) -> Response:
    """Take a tap from a page without script; its number came with the page, so twice is once."""
    desk, form = desk_of(request), await form_of(request)
    run = _run(request, run_id)
    said = {key: str(form.get(key, "")) for key in ("id", "kind", "about", "layer")}
    if said["kind"] not in list(TapKind) or not 8 <= len(said["id"]) <= 100:
        raise HTTPException(422, to_say("This is no answer that a run takes."))
    view = desk.runs.view(run)
    question = "" if form.get("sure") or said["kind"] != TapKind.DONE else too_early(view, said["about"])
    if question:
        return render(request, "run_live.html", {"run": run, "words": run_words(view), "question": question})
    layer = int(said["layer"]) if said["layer"].isascii() and said["layer"].isdecimal() else None
    made = Tap(id=said["id"], kind=TapKind(said["kind"]), at_s=desk.runs.now(), about=said["about"][:100], layer=layer)
    await run_in_threadpool(desk.runs.tap, run_id, made)
    return see(f"/run/{run_id}")


def _run(request: Request, run_id: str) -> LiveRun:
    run = desk_of(request).runs.find(run_id)
    if run is None:
        raise HTTPException(404, GONE)
    return run


def _page(request: Request, run_id: str, template: str) -> Response:
    run = _run(request, run_id)
    return render(request, template, {"run": run, "words": run_words(desk_of(request).runs.view(run)), "question": ""})


PAGE = Page(slug="run", title=to_say("Run"), router=router, steps=steps)
