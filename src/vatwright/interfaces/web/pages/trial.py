"""The Trial page: a small print that tells one number, from the question to the files, and its readings back."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import Field, StrictBool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from vatwright import wiring
from vatwright.answers.numbers import unit_label
from vatwright.answers.trial import expected_words, trial_answer
from vatwright.errors import InputError, Mistake
from vatwright.files.live_run_files import LiveRunFiles
from vatwright.interfaces.render.page import answer_page
from vatwright.interfaces.render.trial_outcome import trial_outcome
from vatwright.interfaces.web.desk import Desk, cite
from vatwright.interfaces.web.forms import Asked, Name, Number, checked, number_said, unknown_names
from vatwright.interfaces.web.job_shape import SOLIDS
from vatwright.interfaces.web.jobs import TooBusyError, Work
from vatwright.interfaces.web.rendering import Page, bench_router, desk_of, form_of, mistakes_of, render, see
from vatwright.interfaces.web.take_away import attachment
from vatwright.interfaces.web.waiting import BUSY, Matter, begin, ended_badly, shown, speaking, wait_briefly, work_of
from vatwright.interfaces.web.waiting import stopped as stop_work
from vatwright.records.run import reading_unit
from vatwright.records.trial import TrialKind
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.records.progress import Progress
    from vatwright.records.trial import TrialPiece
    from vatwright.services.note_outcome import Noted
    from vatwright.wiring import TrialMade

router = bench_router("trial")

KINDS = {
    TrialKind.SETTLE_STEPS: (to_say("A stair"), to_say("How stiff arm and screen are, so how long settle must be")),
    TrialKind.RELEASE_SPAN: (to_say("Posts in a row"), to_say("How far the plate must rise before the film lets go")),
    TrialKind.CURE_DEPTH: (to_say("Squares of light"), to_say("How deep the light cures this resin")),
    TrialKind.BASE_BOND: (to_say("Cones on small feet"), to_say("How well the base holds to the platform")),
    TrialKind.LEVEL_CHECK: (to_say("Five pads"), to_say("How the platform stands against the film")),
    TrialKind.DETAIL_LADDER: (
        to_say("Walls, gaps and pins"),
        to_say("How fine a detail comes out, and at which light"),
    ),
}
"""What each is, and what it tells."""

COLDEST_C, WARMEST_C = -10.0, 60.0
"""Rooms that the command takes [C]."""

MOST_SHEET_BYTES = 1_000_000
"""A filled sheet is a few kilobytes."""

LABELS = {"kind": to_say("kind of trial"), "room_c": to_say("room temperature")}


class TrialForm(Asked):
    """A trial for a machine and a resin of the shop."""

    kind: TrialKind
    machine: Name
    resin: Name | None = None
    room_c: Number | None = None


class ReadBack(Asked):
    """What was read of a trial: a value for each piece in its order, in the unit the trial names; null where none was."""

    held: StrictBool = True
    values: Annotated[list[Number | None], Field(min_length=1, max_length=200)]
    note: Annotated[str, Field(max_length=1000)] = ""


def make(desk: Desk, asked: TrialForm) -> Work:
    """Start on a trial; a name that the shop does not hold is told at once."""
    shop = desk.shop()
    mistakes = unknown_names(shop.records, machine=asked.machine, resin=asked.resin)
    if asked.room_c is not None and not COLDEST_C <= asked.room_c <= WARMEST_C:
        allowed = say("Write a temperature from {coldest:g} to {warmest:g} °C", coldest=COLDEST_C, warmest=WARMEST_C)
        mistakes.append(Mistake(to_say("room temperature"), to_say("is {room_c:g} °C", room_c=asked.room_c), allowed))
    if mistakes:
        raise InputError(mistakes)
    solids = desk.tray.folder / f"trial-{secrets.token_urlsafe(9)}.stl"
    wanted = wiring.TrialAsked(asked.kind.value, asked.machine, asked.resin, asked.room_c, str(solids))

    def task(told: Progress) -> TrialMade:
        return wiring.trial_of_shop(wanted, shop.path, progress=told)

    title = to_say("{trial} for {machine}", trial=KINDS[asked.kind][0], machine=asked.machine)
    return begin(desk, Matter("trial", title, {shop.path: to_say("the shop")}, to_say("this trial")), task)


# --- readings back ---------------------------------------------------------------------------------------------------


def take_back(desk: Desk, made: TrialMade, read: ReadBack) -> Noted:
    """Note the readings of a trial in the notebook, with its solids kept beside it."""
    pieces = made.trial.pieces
    if len(read.values) != len(pieces):
        raise InputError.one(
            "readings",
            to_say("are {values}, the trial has {pieces}", values=len(read.values), pieces=len(pieces)),
            to_say("Give one for each"),
        )
    outcome = trial_outcome(made.trial)
    told = [r | {"value": v} for r, v in zip(outcome["readings"], read.values, strict=True) if v is not None]
    if not told:
        raise InputError.one("readings", to_say("none was given"), to_say("Write down at least one"))
    return take_sheet(
        desk, made, json.dumps(outcome | {"held": read.held, "readings": told, "note": read.note}).encode()
    )


def take_sheet(desk: Desk, made: TrialMade, sheet: bytes) -> Noted:
    """Note a filled sheet (``vatwright.outcome/1``) of a trial in the notebook."""
    path = desk.tray.folder / f"readings-{secrets.token_urlsafe(9)}.json"
    solids = Path(made.job.parts[0].file)
    folder, store = desk.tray.folder.resolve(), desk.settings.store
    try:
        with speaking(
            Matter(
                "trial",
                "",
                {str(path): to_say("the readings"), str(solids): to_say("the trial")},
                to_say("the readings"),
            )
        ):
            path.write_bytes(sheet)
            solids.write_bytes(made.stl)
            # The notebook looks at the solids again when it learns: they must outlive the bench.
            job = LiveRunFiles(wiring.live_run_folder(store)).keep_parts(made.job, passing=folder)
            outcome = wiring.outcome_of_run(job, (), {}, source=str(path))
            with desk.turns.short():
                # What a carry would foretell of this job is not foretold of settings that were changed for the trial.
                return wiring.note_run(job, outcome, store=store, predict=False)
    finally:
        path.unlink(missing_ok=True)
        solids.unlink(missing_ok=True)


@router.get("")
def front(request: Request) -> Response:
    """Show which trials there are."""
    return _start(request, request.query_params, [])


@router.post("")
async def start(request: Request) -> Response:
    """Start on a trial."""
    desk, form = desk_of(request), await form_of(request)
    said = {k: v for k, v in form.items() if isinstance(v, str)}
    try:
        work = await run_in_threadpool(make, desk, _asked(said))
    except InputError as problem:
        return _start(request, said, mistakes_of(problem), status=422)
    except TooBusyError:
        return _start(request, said, [BUSY], status=503)
    await wait_briefly(work)
    return see(f"/trial/{work.id}")


@router.get("/{work_id}")
def show(request: Request, work_id: str) -> Response:
    """Show a trial, or how far the work on it is."""
    work = work_of(request, work_id, "trial")

    def found() -> Response:
        if work.result is None:
            return _start(request, {}, ended_badly(work), status=422)
        return _answer(request, work, {}, [])

    return shown(request, work, found)


@router.post("/{work_id}")
async def read(request: Request, work_id: str) -> Response:
    """Take the readings back."""
    work, form = work_of(request, work_id, "trial"), await form_of(request)
    if work.result is None:
        return see(f"/trial/{work_id}")
    try:
        noted = await _taken(desk_of(request), work.result, form)
    except InputError as problem:
        said = {k: v for k, v in form.items() if isinstance(v, str)}
        return _answer(request, work, said, mistakes_of(problem), status=422)
    work.about = noted.outcome.run
    return see(f"/trial/{work_id}")


@router.post("/{work_id}/cancel")
def cancel(request: Request, work_id: str) -> Response:
    """Stop the work."""
    return stop_work(request, work_of(request, work_id, "trial"))


@router.get("/{work_id}/{name}")
def download(request: Request, work_id: str, name: str) -> Response:
    """Return one of the trial's files."""
    return trial_file(work_of(request, work_id, "trial"), name)


def trial_file(work: Work, name: str) -> Response:
    """Return a file of a trial by its name in `DOWNLOADS`."""
    if work.result is None or name not in DOWNLOADS:
        raise HTTPException(404, to_say("There is no such file of this trial."))
    kind, make_file, _ = DOWNLOADS[name]
    return attachment(make_file(work.result), kind, name)


def _readings(made: TrialMade) -> bytes:
    return json.dumps(trial_outcome(made.trial), ensure_ascii=False, allow_nan=False, indent=1).encode() + b"\n"


DOWNLOADS: dict[str, tuple[str, Callable[[TrialMade], bytes], str]] = {
    SOLIDS: ("model/stl", lambda made: made.stl, to_say("The solids to print")),
    "trial-sheet.html": (
        "text/html; charset=utf-8",
        lambda m: answer_page(trial_answer(m.trial, cite=cite)).encode(),
        to_say("The sheet"),
    ),
    "readings.json": ("application/json", _readings, to_say("The readings to fill in")),
}
"""File name: its kind, what makes it, and what it is."""


async def _taken(desk: Desk, made: TrialMade, form: FormData) -> Noted:
    sheet = form.get("sheet")
    if isinstance(sheet, UploadFile) and sheet.filename:
        content = await sheet.read(MOST_SHEET_BYTES + 1)
        if len(content) > MOST_SHEET_BYTES:
            raise InputError.one(
                to_say("the readings"), to_say("are larger than 1 MB"), to_say("Hand in the sheet of this trial")
            )
        return await run_in_threadpool(take_sheet, desk, made, content)
    return await run_in_threadpool(take_back, desk, made, _read_back(form, made.trial.pieces))


def _read_back(form: FormData, pieces: Sequence[TrialPiece]) -> ReadBack:
    mistakes: list[Mistake] = []
    values: list[float | None] = []
    for n, piece in enumerate(pieces):
        text = str(form.get(f"value_{n}") or "").strip()
        values.append(number_said(text, "", f"{n + 1}: {piece.label}", mistakes))
    said: dict[str, Any] = {"held": form.get("held") != "no", "values": values, "note": str(form.get("note") or "")}
    if mistakes:
        raise InputError(mistakes)
    return checked(ReadBack, said, LABELS)


def _asked(said: Mapping[str, str]) -> TrialForm:
    mistakes: list[Mistake] = []
    room = number_said(said.get("room_c", "").strip(), "room_c", LABELS["room_c"], mistakes)
    if mistakes:
        raise InputError(mistakes)
    values = {
        "kind": said.get("kind", ""),
        "machine": said.get("machine", ""),
        "resin": said.get("resin") or None,
        "room_c": room,
    }
    return checked(TrialForm, values, LABELS)


# --- what the pages show ----------------------------------------------------------------------------------------------


def _start(
    request: Request, said: Mapping[str, str], mistakes: list[tuple[str, str, str]], *, status: int = 200
) -> Response:
    shown_now = {
        "shop": desk_of(request).shop().records,
        "kinds": [(k.value, *words) for k, words in KINDS.items()],
        "said": {"kind": next(iter(KINDS)).value, **{k: v for k, v in said.items() if v}},
        "mistakes": mistakes,
    }
    return render(request, "trial_start.html", shown_now, status=status)


def _answer(
    request: Request, work: Work, said: Mapping[str, str], mistakes: list[tuple[str, str, str]], *, status: int = 200
) -> Response:
    shown_now = {"work": work, "said": said, "mistakes": mistakes} | answer_parts(work.result)
    return render(request, "trial_answer.html", shown_now, status=status)


def answer_parts(made: TrialMade) -> dict[str, object]:
    """Return what the page of a trial is made of."""
    trial = made.trial
    return {
        "trial": trial,
        "answer": trial_answer(trial, cite=cite),
        "fields": [(n, p.label, _read_what(p), expected_words(p)) for n, p in enumerate(trial.pieces)],
        "downloads": [(name, words) for name, (_, _, words) in DOWNLOADS.items()],
    }


def _read_what(piece: TrialPiece) -> str:
    """What is read of a piece, with its unit."""
    unit = reading_unit(piece.quantity)
    return f"{piece.quantity.removesuffix('_' + unit).replace('_', ' ')} [{unit_label(unit)}]"


PAGE = Page(
    slug="trial",
    title=to_say("Trial"),
    router=router,
    offers=(to_say("Print a trial"), to_say("A small print that tells one number, sized by what is believed now.")),
)
