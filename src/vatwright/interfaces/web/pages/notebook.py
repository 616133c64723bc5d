"""The Notebook page: how runs came out, written down with a few taps; the next sheet is better for it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import FileResponse, Response

from vatwright.answers.names import setting_called, symptom
from vatwright.answers.notebook import reading_words
from vatwright.answers.numbers import celsius, duration, one_line, percent, percent_range, quantity, setting_value
from vatwright.errors import InputError, Mistake
from vatwright.interfaces.web import noting, shelf
from vatwright.interfaces.web.desk import Carry, Desk
from vatwright.interfaces.web.forms import in_bench_words
from vatwright.interfaces.web.jobs import Work
from vatwright.interfaces.web.live_runs import SHOWN_ENDED
from vatwright.interfaces.web.noted_words import both_said, event_words
from vatwright.interfaces.web.noting import ToNote
from vatwright.interfaces.web.rendering import Onward, Page, bench_router, desk_of, form_of, mistakes_of, render, see
from vatwright.interfaces.web.waiting import ended_badly, shown
from vatwright.records.run import RunOutcome
from vatwright.units import read_number
from vatwright.wording import day, say, to_say

router = bench_router("notebook")

GONE = to_say("The notebook has no such run.")
CARRIED_AGAIN = to_say("Its sheet is worked out once more, to keep what had been said beside what happened.")
QUICK_S = 1.5
MOST_SHOWN = 100
PHOTO_NAME = re.compile(r"[0-9a-f]{64}\.(?:jpg|png|webp)$")


def steps(desk: Desk) -> Sequence[Onward]:
    """Return what the front page offers: the runs that ended and are not noted."""
    line = say("It has ended. How did it come out?")
    return [
        Onward(
            say("Note: {job} on {machine}", job=one_line(r.plan.job), machine=one_line(r.plan.machine)),
            note_address("run", r.id),
            line,
        )
        for r in _not_noted(desk)[:3]
    ]


def note_address(kind: str, handle: str) -> str:
    """Return the address at which a run is noted."""
    return f"/notebook/note?{urlencode({'of': kind, 'id': handle})}"


def run_address(name: str) -> str:
    """Return the address of a run in the notebook."""
    return f"/notebook/run?name={quote(name, safe='')}"


def _not_noted(desk: Desk, known: set[str] | None = None) -> list[Any]:
    ended = [run for run in desk.runs.all() if run.ended_s is not None][:SHOWN_ENDED]
    if not ended:
        return []
    names = {r.run for r in shelf.runs_of(desk)} if known is None else known
    return [run for run in ended if noting.live_name(run) not in names]


@router.get("")
def front(request: Request, q: str = "") -> Response:
    """Show the runs, the newest first."""
    desk = desk_of(request)
    runs = shelf.runs_of(desk)
    found = [r for r in runs if _matches(r, q)]
    held = sum(r.held for r in runs)
    shown = {
        "q": q[:200],
        "count": len(runs),
        "held": held,
        "found": len(found),
        "runs": [(r, _in_short(r), run_address(r.run)) for r in found[:MOST_SHOWN]],
        "waiting": [(r, note_address("run", r.id)) for r in _not_noted(desk, {r.run for r in runs})],
        "carries": [
            (
                c,
                say("{room}, {chance} said", room=celsius(c.sheet.room_k), chance=percent(c.sheet.success.mean)),
                note_address("carry", c.id),
            )
            for c in desk.carries()
            if c.sheet is not None
        ][:8],
    }
    return render(request, "notebook.html", shown)


def _matches(run: RunOutcome, query: str) -> bool:
    """Return whether every word of a query is in what a run says."""
    said = [
        run.run,
        run.job,
        run.recipe,
        run.machine,
        run.resin,
        run.film,
        run.screen,
        run.lot,
        run.note,
        "held" if run.held else "failed",
        say("held") if run.held else say("failed"),
        f"{run.at:%Y-%m-%d}",
        day(run.at),
        *(words for e in run.events for words in (noting.WORDS[e.what], symptom(e.what))),
    ]
    text = " ".join(said).casefold()
    return all(word in text for word in query[:200].casefold().split())


def _in_short(run: RunOutcome) -> str:
    seen = "; ".join(event_words(e) for e in run.events)
    return seen or (run.note.splitlines()[0][:120] if run.note else "")


# --- one run ---------------------------------------------------------------------------------------------------------


@router.get("/run")
def one(request: Request, name: str) -> Response:
    """Show a run."""
    return _one(request, name, [])


def _one(request: Request, name: str, mistakes: list[tuple[str, str, str]], *, status: int = 200) -> Response:
    desk = desk_of(request)
    run = next((r for r in shelf.runs_of(desk) if r.run == name), None)
    if run is None:
        raise HTTPException(404, GONE)
    shown = {
        "run": run,
        "change": shelf.change_of_run(desk, name),
        "seen": [event_words(e) for e in run.events],
        "read": [reading_words(r) for r in run.readings],
        "photos": _photos(run),
        "set": [f"{n}: {setting_value(n, v)}" for n, v in run.settings.items()],
        "room": celsius(run.room_k),
        "said": _said_before(run),
        "again": note_address("like", name),
        "mistakes": mistakes,
    }
    return render(request, "notebook_run.html", shown, status=status)


def _said_before(run: RunOutcome) -> list[tuple[str, str, str]]:
    """Return what had been said and what came of it: about what, said, came."""
    p = run.prediction
    if p is None:
        return []
    first = [r for r in run.readings if r.quantity == "first_layer_um"]
    took = [r for r in run.readings if r.quantity == "run_time_s"]
    chance = f"{percent(p.chance)} ({percent_range(p.chance_low, p.chance_high)})"
    return [
        (say("It holds"), chance, say("held") if run.held else say("failed")),
        (say("Time of the run"), duration(p.run_time_s), duration(took[-1].value) if took else say("not read")),
        (
            say("First layer"),
            quantity(p.first_layer_m, "um"),
            quantity(first[-1].value, "um") if first else say("not read"),
        ),
    ]


def _photos(run: RunOutcome) -> list[tuple[str, str]]:
    """Return pictures: the address of those kept here, and the reference."""
    kept = [(p.removeprefix(shelf.PHOTOS), p) for p in run.photos]
    return [(f"/notebook/photo/{name}" if PHOTO_NAME.match(name) and name != p else "", p) for name, p in kept]


@router.get("/photo/{name}")
def photo(request: Request, name: str) -> Response:
    """Return a picture that is kept beside the notebook."""
    path = shelf.photo_folder(desk_of(request)) / name
    if not PHOTO_NAME.match(name) or not path.is_file():
        raise HTTPException(404, to_say("No such picture is kept."))
    return FileResponse(path, media_type=shelf.PICTURE_KINDS[path.suffix])


# --- writing down ----------------------------------------------------------------------------------------------------


@router.get("/note")
def ask(request: Request, of: str, id: str) -> Response:  # noqa: A002 - a word of the address
    """Ask how a run came out."""
    asked = _asked(request, of, id)
    name = asked.name
    if name and any(r.run == name for r in shelf.runs_of(desk_of(request))):
        return see(run_address(name))
    return _ask(request, asked, noting.usual(asked), [])


def _asked(request: Request, kind: str, handle: str) -> ToNote:
    found = noting.to_note(desk_of(request), kind, handle)
    if found is None:
        raise HTTPException(404, noting.GONE)
    return found


def _ask(
    request: Request,
    asked: ToNote,
    said: Mapping[str, str],
    mistakes: list[tuple[str, str, str]],
    *,
    both: Sequence[tuple[str, str, str]] = (),
    status: int = 200,
) -> Response:
    found = shelf.shelves(desk_of(request))
    machine, resin = asked.job.target.name, asked.job.resin.name
    in_use = {
        kind: [n for n, r in found.kinds[kind].items() if r.machine == machine and r.removed is None]
        for kind in ("film", "screen")
    }
    shown = {
        "asked": asked,
        "said": said,
        "both": both,
        "noted_at": run_address(asked.name),
        "mistakes": mistakes,
        "words": {s: symptom(s) for s in noting.WORDS},
        "places": noting.PLACES,
        "readings": noting.READINGS,
        "otherwise": {n: setting_called(n) for n in noting.SET_OTHERWISE},
        "units": noting.UNITS,
        "spares": noting.SPARE_SETTINGS,
        "films": in_use["film"] if found.writable else [],
        "screens": in_use["screen"] if found.writable else [],
        "lots": [] if not found.writable else [n for n, r in found.kinds["lot"].items() if r.resin == resin],
        "watched": duration(asked.took_s) if asked.took_s else "",
        "by_hand": say(", then ").join(
            say("{value} from layer {layer}", value=setting_value("body.settle_s", h.settle_s), layer=h.layer)
            for h in asked.hands
        ),
    }
    return render(request, "notebook_note.html", shown, status=status)


@router.post("/note")
async def write(request: Request) -> Response:
    """Write down how a run came out."""
    desk, form = desk_of(request), await form_of(request)
    said = {k: v for k, v in form.items() if isinstance(v, str)}
    asked = await run_in_threadpool(_asked, request, said.get("of", ""), said.get("id", ""))
    file = form.get("photo")
    try:
        words, options = _heard(said)
        if isinstance(file, UploadFile) and file.filename:
            options["photos"].append(await run_in_threadpool(shelf.keep_photo, desk, file.file))
        outcome = await run_in_threadpool(_outcome, asked, words, options)
        if known := await run_in_threadpool(_noted_otherwise, desk, outcome):
            return await run_in_threadpool(_noted_twice, request, asked, said, known, outcome)
        work = await run_in_threadpool(noting.start_note, desk, asked, outcome)
    except InputError as problem:
        return await run_in_threadpool(_ask, request, asked, said, mistakes_of(problem), status=422)
    await run_in_threadpool(work.ended.wait, QUICK_S)
    return see(f"/notebook/noted/{work.id}")


def _heard(said: Mapping[str, str]) -> tuple[list[str], dict[str, Any]]:
    """Return the words and options that a form says; InputError with everything in it that cannot be read."""
    mistakes: list[Mistake] = []
    photos = [p for p in (said.get("photo_at", "").strip(),) if p]
    options: dict[str, Any] = {"photos": photos, "words": said.get("words", "").replace("\r", "").strip()}
    options |= {key: said.get(key, "").strip() for key in ("film", "screen", "lot")}
    words: list[str] = []
    try:
        words = noting.words_of(said)
    except InputError as problem:
        mistakes += problem.mistakes
    try:
        if room := said.get("room_c", "").strip():
            options["room_c"] = read_number(room, "room", "C")
    except InputError as problem:
        mistakes += problem.mistakes
    if mistakes:
        raise InputError(mistakes)
    return words, options


def _outcome(asked: ToNote, words: list[str], options: Mapping[str, Any]) -> RunOutcome:
    try:
        return noting.outcome_of(asked, words, options)
    except InputError as problem:
        raise in_bench_words(problem, noting.labels_of(words), "outcome") from problem


def _noted_otherwise(desk: Desk, outcome: RunOutcome) -> RunOutcome | None:
    """Return the same run as the notebook has it already, where that says something else."""
    known = next((r for r in shelf.runs_of(desk) if r.run == outcome.run), None)
    return known if known is not None and both_said(known, outcome) else None


def _noted_twice(
    request: Request, asked: ToNote, said: Mapping[str, str], known: RunOutcome, outcome: RunOutcome
) -> Response:
    """Show what is noted of a run beside what a second form says of it."""
    told = [
        (
            say("this run"),
            say("is noted already, in another tab or on the phone"),
            say("Nothing of this form was written down"),
        )
    ]
    return _ask(request, asked, said, told, both=both_said(known, outcome), status=409)


@router.get("/noted/{work_id}")
def noted(request: Request, work_id: str) -> Response:
    """Show what was written down, or how far that is."""
    work = desk_of(request).work.find(work_id)
    if work is None or work.kind != "note":
        raise HTTPException(404, GONE)
    return shown(request, work, lambda: _written(request, work), about=CARRIED_AGAIN, stops=False)


def _written(request: Request, work: Work) -> Response:
    if work.result is None:
        asked: ToNote = work.about
        return _ask(request, asked, noting.usual(asked), ended_badly(work), status=422 if work.problem else 200)
    noted = work.result.noted
    about = {
        "noted": noted,
        "seen": [event_words(e) for e in noted.outcome.events],
        "address": run_address(noted.outcome.run),
    }
    return render(request, "notebook_noted.html", about)


# --- the next sheet --------------------------------------------------------------------------------------------------


@router.post("/next")
async def next_sheet(request: Request) -> Response:
    """Work out the sheet of a noted run's job again, now that the run is known, beside the sheet before."""
    desk, form = desk_of(request), await form_of(request)
    name = str(form.get("name", ""))
    try:
        carry = await run_in_threadpool(_next, desk, name)
    except InputError as problem:
        return await run_in_threadpool(_one, request, name, mistakes_of(problem), status=422)
    if carry.work is not None:
        await run_in_threadpool(carry.work.ended.wait, QUICK_S)
    return see(f"/carry/{carry.id}")


def _next(desk: Desk, name: str) -> Carry:
    run = next((r for r in shelf.runs_of(desk) if r.run == name), None)
    if run is None:
        raise HTTPException(404, GONE)
    return noting.carried_anew(desk, run)


PAGE = Page(
    slug="notebook", title=to_say("Notebook"), router=router, steps=steps,
    offers=(to_say("Open the notebook"), to_say("What held, what did not, and why the next sheet knows.")),
)  # fmt: skip
