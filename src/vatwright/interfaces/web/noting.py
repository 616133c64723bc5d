"""How a run came out, as the Notebook page asks it: what can be noted, and the words and options a form makes of it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from attrs import evolve, frozen
from pydantic import ValidationError

from vatwright import __version__, wiring
from vatwright.answers.names import SYMPTOMS, symptom
from vatwright.answers.numbers import typed
from vatwright.errors import InputError, Mistake
from vatwright.files.documents import TomlDocuments
from vatwright.files.live_run_files import LiveRunFiles
from vatwright.interfaces.web import shelf
from vatwright.interfaces.web.forms import CarryAsked, JobAsked, PartAsked
from vatwright.records.job import Job
from vatwright.records.plan import CarrySheet
from vatwright.records.process import PHASE_SETTINGS
from vatwright.records.run import Prediction, Quantity, Seen, SetByHand
from vatwright.services.run_now import set_by_hand
from vatwright.units import ZERO_CELSIUS_K, from_si, read_number
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.desk import Carry, Desk
    from vatwright.interfaces.web.jobs import Work
    from vatwright.records.live_run import LiveRun
    from vatwright.records.progress import Progress
    from vatwright.records.run import RunOutcome
    from vatwright.services.note_outcome import Noted

WORDS: Mapping[Seen, str] = {seen: symptom(seen) for seen in SYMPTOMS}
"""What can be seen, as somebody would say it."""

PLACES = (
    ("rear-left", to_say("rear left")),
    ("rear-right", to_say("rear right")),
    ("middle", to_say("middle")),
    ("front-left", to_say("front left")),
    ("front-right", to_say("front right")),
)


class Read(NamedTuple):
    """Something that can be read: its label and unit, how much of the public unit one typed unit is, and under what."""

    label: str
    unit: str
    times: str = "1"
    under: tuple[tuple[str, str, str], ...] = ()
    """Key, label with unit, and how it is written behind the @."""


READINGS: Mapping[Quantity, Read] = {
    Quantity.FIRST_LAYER: Read(to_say("First layer, thickness"), "µm"),
    Quantity.HEIGHT: Read(to_say("Height of a piece"), "mm"),
    Quantity.RUN_TIME: Read(to_say("Time of the run"), "min", "60"),
    Quantity.PULL: Read(to_say("Greatest pull"), "N"),
    Quantity.RESIN_TEMPERATURE: Read(to_say("Resin temperature"), "°C"),
    Quantity.VISCOSITY: Read(to_say("Viscosity"), "mPa.s", "0.001", (("c", to_say("at [°C]"), "C"),)),
    Quantity.IRRADIANCE: Read(to_say("Light at the window"), "mW/cm2"),
    Quantity.CURE_DEPTH: Read(
        to_say("Depth of a cured square"), "µm", "1", (("dose", to_say("at dose [mJ/cm2]"), "mJ/cm2"),)
    ),
    Quantity.DEFLECTION: Read(to_say("The platform gave by"), "µm", "1", (("load", to_say("under [kg]"), "kg"),)),
    Quantity.STROKE: Read(
        to_say("Time of one stroke"),
        "s",
        "1",
        (("way", to_say("over [mm]"), "mm"), ("speed", to_say("set to [mm/s]"), "mm/s")),
    ),
    Quantity.WALL: Read(
        to_say("Thinnest wall that came out"), "µm", "1", (("dose", to_say("at dose [mJ/cm2]"), "mJ/cm2"),)
    ),
    Quantity.GAP: Read(
        to_say("Narrowest gap that stayed open"), "µm", "1", (("dose", to_say("at dose [mJ/cm2]"), "mJ/cm2"),)
    ),
    Quantity.PIN: Read(
        to_say("Thinnest pin that stands"), "µm", "1", (("dose", to_say("at dose [mJ/cm2]"), "mJ/cm2"),)
    ),
}
"""What can be measured, in the order in which the page asks."""

SET_OTHERWISE = {s.name: f"{s.phase} {s.label}" for s in PHASE_SETTINGS}
UNITS = {s.name: {"mm_s": "mm/s"}.get(s.unit, s.unit) for s in PHASE_SETTINGS}
SPARE_SETTINGS = 3
GONE = to_say("This run is no longer on the bench.")


@frozen(kw_only=True)
class ToNote:
    """A run that may be noted.

    Parameters
    ----------
    kind, id : str
        A run of the bench ("run"), a carry on the desk ("carry"), another run like one noted before ("like").
    job : Job
        What was printed.
    at : datetime or None
        When it ended, None where nobody said.
    took_s : float or None
        How long it was on the bench, from its start to when somebody said that it had ended [s].
    hands : tuple of SetByHand
        What hands really set, as the bench watched.
    prediction : Prediction or None
        What had been said.
    sheet : CarrySheet or None
        The sheet it was printed from, where that is at hand.
    settings : dict of str to float
        What is known to have been set otherwise than advised, by name, in SI.
    """

    kind: str
    id: str
    job: Job
    at: datetime | None = None
    took_s: float | None = None
    hands: tuple[SetByHand, ...] = ()
    prediction: Prediction | None = None
    sheet: CarrySheet | None = None
    settings: Mapping[str, float]

    @property
    def name(self) -> str:
        """What the notebook calls it where the moment of its end is known."""
        return "" if self.at is None else run_name(self.job.name, self.job.target.name, self.at)


def run_name(job: str, machine: str, at: datetime) -> str:
    """Return what a run is called where nobody gives it a name, as :func:`vatwright.wiring.outcome_of_run` has it."""
    return f"{job} on {machine}, {at:%Y-%m-%d %H:%M:%S}"


def ended_at(run: LiveRun) -> datetime | None:
    """Return when a run of the bench ended, in this computer's zone."""
    return None if run.ended_s is None else datetime.fromtimestamp(run.ended_s, UTC).astimezone()


def live_name(run: LiveRun) -> str:
    """Return what the notebook calls a run of the bench; empty before its end."""
    at = ended_at(run)
    return "" if at is None else run_name(run.plan.job, run.plan.machine, at)


def to_note(desk: Desk, kind: str, handle: str) -> ToNote | None:
    """Return the run that a page is about."""
    if kind == "run":
        run = desk.runs.find(handle)
        return None if run is None else _of_run(desk, run)
    if kind == "carry":
        carry = desk.carry(handle)
        return None if carry is None or carry.sheet is None else _of_carry(desk, carry, carry.sheet)
    if kind == "like" and shelf.is_there(desk):
        with shelf.notebook_of(desk) as notebook:
            if not any(r.run == handle for r in notebook.runs()):
                return None
            return ToNote(kind=kind, id=handle, job=notebook.job_of(handle), settings={})
    return None


def _of_run(desk: Desk, run: LiveRun) -> ToNote:
    carry = carry_of(desk, run.plan.job, run.plan.machine, run.prediction)
    at, started = ended_at(run), run.started_s
    return ToNote(
        kind="run",
        id=run.id,
        job=TomlDocuments("this run").job(run.document),
        at=at,
        took_s=None if at is None or started is None or run.ended_s is None else run.ended_s - started,
        prediction=run.prediction,
        sheet=carry.sheet if carry else None,
        hands=set_by_hand(run, now_s=desk.runs.now()),
        settings={},
    )


def _of_carry(desk: Desk, carry: Carry, sheet: CarrySheet) -> ToNote | None:
    from vatwright.services.note_outcome import prediction_of

    job: Job | None = carry.work.about if carry.work else None
    if job is None:
        return None
    files = LiveRunFiles(wiring.live_run_folder(desk.settings.store))
    return ToNote(
        kind="carry",
        id=carry.id,
        job=files.keep_parts(job, passing=desk.tray.folder),  # they outlive the bench's own folder
        prediction=prediction_of(sheet, release=__version__),
        sheet=sheet,
        settings={},
    )


def carry_of(desk: Desk, job: str, machine: str, prediction: Prediction | None) -> Carry | None:
    """Return the carry on the desk from which a run was printed, None where it is gone."""
    from vatwright.services.note_outcome import prediction_of

    for carry in desk.carries():
        sheet = carry.sheet
        if sheet is not None and (sheet.job, sheet.target) == (job, machine):
            said = prediction_of(sheet, release=__version__)
            if prediction is None or evolve(said, release=prediction.release) == prediction:
                return carry
    return None


# --- what a form says ------------------------------------------------------------------------------------------------


def usual(asked: ToNote) -> dict[str, str]:
    """Return what stands in the fields at first."""
    said = {"room_c": typed(asked.job.room_k - ZERO_CELSIUS_K)}
    for n, (name, value) in enumerate(asked.settings.items()):
        said[f"set_{n}"], said[f"set_value_{n}"] = name, typed(from_si(value, UNITS[name].replace("/", "_")))
    return said


def words_of(said: Mapping[str, str]) -> list[str]:
    """Return what a form says in the words of ``vatwright note``.

    Raises
    ------
    InputError
        With everything that cannot be read.
    """
    mistakes: list[Mistake] = []
    words = [said["out"]] if said.get("out") in ("held", "failed") else []
    words += [_event(seen, said, mistakes) for seen in Seen if said.get(seen)]
    if not words:
        mistakes.append(
            Mistake(to_say("how it came out"), to_say("is not said"), to_say("Tap one of the two, or what you saw"))
        )
    words += [w for quantity, read in READINGS.items() if (w := _reading(quantity, read, said, mistakes))]
    for n in range(SPARE_SETTINGS):
        name, value = said.get(f"set_{n}", ""), said.get(f"set_value_{n}", "").strip()
        if name in SET_OTHERWISE and value:
            amount = _number(value, SET_OTHERWISE[name], mistakes)
            words.append(f"{name}={amount:f}")
        elif value:
            mistakes.append(
                Mistake(
                    to_say("set otherwise"),
                    to_say("{value} is the value of nothing", value=value),
                    to_say("Choose the setting"),
                )
            )
    if mistakes:
        raise InputError(mistakes)
    return words


def _event(seen: Seen, said: Mapping[str, str], mistakes: list[Mistake]) -> str:
    word = str(seen)
    layer, place = said.get(f"{seen}_layer", "").strip(), said.get(f"{seen}_place", "")
    if layer:
        try:
            word += f"@{int(read_number(layer, f'{WORDS[seen]}: layer', whole=True))}"
        except InputError as problem:
            mistakes += problem.mistakes
    return word + (f"@{place}" if place in dict(PLACES) else "")


def _reading(quantity: Quantity, read: Read, said: Mapping[str, str], mistakes: list[Mistake]) -> str:
    value = said.get(quantity, "").strip()
    if not value:
        return ""
    word = f"{quantity}={_number(value, read.label, mistakes) * Decimal(read.times):f}"
    if sigma := said.get(f"{quantity}_sigma", "").strip():
        word += f"+-{_number(sigma, say('{label}, give or take', label=read.label), mistakes) * Decimal(read.times):f}"
    for key, label, unit in read.under:
        under = said.get(f"{quantity}_{key}", "").strip()
        if under:
            word += f"@{_number(under, f'{read.label}, {label}', mistakes):f}{unit}"
        elif quantity is not Quantity.VISCOSITY:
            mistakes.append(
                Mistake(f"{read.label}, {label}", to_say("is not given"), to_say("Without it the reading says nothing"))
            )
    return word


def _number(text: str, label: str, mistakes: list[Mistake]) -> Decimal:
    try:
        return read_number(text, label)
    except InputError as problem:
        mistakes += problem.mistakes
        return Decimal(1)


def labels_of(words: list[str]) -> dict[str, str]:
    """Return what the page calls each word, for mistakes."""
    names = {**{str(q): r.label for q, r in READINGS.items()}, **SET_OTHERWISE, **{str(s): w for s, w in WORDS.items()}}
    return {w: names[head] for w in words if (head := re.split("[=@]", w)[0]) in names}


def outcome_of(asked: ToNote, words: list[str], said: Mapping[str, Any]) -> RunOutcome:
    """Return what happened, as the notebook keeps it.

    Parameters
    ----------
    asked : ToNote
        The run.
    words : list of str
        In the words of ``vatwright note``.
    said : mapping
        Options of that command: room_c, film, screen, lot, photos, words, run, at.
    """
    options = dict(said)
    if asked.at is not None and not options.get("at"):
        options["at"] = asked.at.isoformat()
    outcome = wiring.outcome_of_run(asked.job, words, options)
    return evolve(outcome, prediction=outcome.prediction or asked.prediction, hands=outcome.hands or asked.hands)


class WrittenDown(NamedTuple):
    """What was noted, and in which notebook."""

    noted: Noted
    address: str


def start_note(desk: Desk, asked: ToNote, outcome: RunOutcome, *, predict: bool = True) -> Work:
    """Begin to keep a run in the notebook, with what it took from the stock."""
    store = desk.settings.store

    def task(told: Progress) -> WrittenDown:
        sheet = asked.sheet if predict else None
        noted = wiring.note_run(asked.job, outcome, store=store, predict=predict, sheet=sheet, progress=told)
        desk.look_again()
        with shelf.notebook_of(desk) as notebook:
            return WrittenDown(noted, notebook.address)

    work = desk.work.start("note", to_say("Writing down: {name}", name=asked.job.name), task)
    work.about = asked
    return work


# --- the next sheet --------------------------------------------------------------------------------------------------


def parts_on_tray(desk: Desk, job: Job) -> list[dict[str, Any]]:
    """Put the part files of a job on the tray again, and return how they are asked for; InputError where one is gone."""
    found, mistakes = [], []
    for part in job.parts:
        path = Path(part.file)
        ours = desk.tray.find(f"demo-{path.stem}")
        handle = ours.handle if ours is not None and ours.path.resolve() == path.resolve() else None
        if handle is None and not path.is_file():
            mistakes.append(
                Mistake(
                    part.name,
                    to_say("has a file that is no longer where it was"),
                    to_say("Hand it in on the Carry page"),
                )
            )
            continue
        if handle is None:
            with path.open("rb") as file:
                handle = desk.tray.keep(path.name, file).handle
        places = [
            {"x_mm": from_si(p.x_m, "mm"), "y_mm": from_si(p.y_m, "mm"), "turn_deg": p.turn_deg} for p in part.places
        ]
        table = {"file": handle, "name": part.name, "unit": part.unit, "places": places, "as_drawn": part.as_drawn}
        found.append(table | ({} if part.as_drawn else {"count": part.count}))
    if mistakes:
        raise InputError(mistakes)
    return found


def carry_again(desk: Desk, run: RunOutcome) -> Carry:
    """Return the carry on the desk from which a noted run was printed, or its job carried anew."""
    before = carry_of(desk, run.job, run.machine, run.prediction)
    return before if before is not None and before.work is not None else carried_anew(desk, run)


def carried_anew(desk: Desk, run: RunOutcome) -> Carry:
    """Begin on the sheet of a noted run's job, beside the sheet before where that is on the desk."""
    with shelf.notebook_of(desk) as notebook:
        job = notebook.job_of(run.run)
    before = carry_of(desk, run.job, run.machine, run.prediction)
    if before is not None and before.job is not None:
        asked = CarryAsked(job=before.job, part=list(before.parts))
    else:
        asked = asked_of_job(desk, job)
    carry = desk.new_carry(
        asked.part, job=asked.job, before=before.id if before else None, demo=before.demo if before else None
    )
    desk.begin(carry, asked)
    return carry


def asked_of_job(desk: Desk, job: Job) -> CarryAsked:
    """Return a kept job as the Carry page asks for it."""
    try:
        part = [PartAsked.model_validate(p) for p in parts_on_tray(desk, job)]
        hands, room = job.hands, round(job.room_k - ZERO_CELSIUS_K, 6)
        said = JobAsked(
            name=job.name[:400], recipe=job.recipe.name, to=job.target.name, room_c=room, resin=job.resin.name,
            visits=hands.visits, present_min=hands.present_s / 60.0, late_min=hands.late_s / 60.0,
            early_min=hands.early_s / 60.0, faint_steps=hands.faint_steps, confidence_percent=round(job.confidence * 100.0, 9),
            tolerance_percent=None if job.tolerance is None else round(job.tolerance * 100.0, 9), trim=job.trim,
            ramp_layers=job.ramp_layers,
        )  # fmt: skip
        return CarryAsked(job=said, part=part)
    except ValidationError as error:
        raise InputError.one(
            to_say("this job"), to_say("cannot be asked here any more"), to_say("Ask for it on the Carry page")
        ) from error
