"""A year of a busy shop: 10,000 runs on 50 machines, and how long each command takes to answer from that notebook.

Two times are told of a command that learns: the first after an import, which works out what the newest runs teach and keeps
it, and any later one.  ``carry``, ``why`` and ``trial`` also plan; what that takes without a notebook is told beside them.
"""

from __future__ import annotations

import contextlib
import io
import os
import random
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from attrs import evolve

from vatwright.files.documents import job_page, run_page
from vatwright.records.notebook import TablePage
from vatwright.records.run import Event, Prediction, Quantity, Reading, RunOutcome, Seen
from vatwright.wiring import demo_entries, demo_folder, open_job, open_store

RUNS, MACHINES = 10_000, 50
QUICK = (
    ("shop", "show"),
    ("shop", "show", "machine", "Heron 16"),
    ("shop", "history"),
    ("note", "{job}", "held", "--run", "today", "--no-prediction"),
    ("shop", "undo"),
)
"""Commands that only open the notebook."""

LEARNING = (
    ("learn",),
    ("learn", "--machine", "Heron 16"),
    ("carry", "{job}"),
    ("why", "{job}", "--seen", "base_let_go"),
    ("trial", "settle-steps", "--machine", "Heron", "--shop", "{shop}", "-o", "{stl}", "--force"),
)
"""Commands that weigh its runs."""

ALONE = (("carry", "{job}", "--without-notebook"), ("why", "{job}", "--seen", "base_let_go", "--without-notebook"))
"""What the same take without one."""


class Answered(NamedTuple):
    """A command and the time from pressing return to its answer [s]."""

    command: str
    seconds: float


def _pages() -> list[object]:
    """The demo workshop with its machines many times over, under other names."""
    entries = demo_entries()
    machines = [e for e in entries if isinstance(e, TablePage) and e.kind == "machine"]
    for k in range(MACHINES - len(machines)):
        one = machines[k % len(machines)]
        name = f"{one.name} {k}"
        text = one.document.replace(f'name = "{one.name}"', f'name = "{name}"', 1)
        entries.append(evolve(one, name=name, document=text))
    return entries


def _outcome(k: int, machine: str, chance: random.Random) -> RunOutcome:
    held = chance.random() < 0.9
    events = () if held else (Event(what=chance.choice(list(Seen)), layer=chance.randrange(900)),)
    readings = (Reading(quantity=Quantity.RUN_TIME, value=20_000.0 + chance.random() * 5_000, sigma=60.0),)
    said = Prediction(chance_low=0.6, chance=0.9, chance_high=0.99, run_time_s=22_000.0, first_layer_m=6e-5)
    at = datetime(2025, 11, 1, tzinfo=UTC) + timedelta(minutes=50 * k)
    return RunOutcome(
        run=f"run {k}", at=at, job="harbour lanterns", recipe="slate on Wren", machine=machine, resin="slate",
        room_k=293.0, held=held, events=events, readings=readings, prediction=said,
        settings={"body.settle_s": 2.0 + chance.random()},
    )  # fmt: skip


def filled(address: str) -> float:
    """Fill a notebook with a year and return how long that took [s]."""
    chance = random.Random(7)
    job = open_job(str(demo_folder() / "harbour-lanterns.toml"))
    pages = _pages()
    names = [p.name for p in pages if isinstance(p, TablePage) and p.kind == "machine"]
    began = time.perf_counter()
    with open_store(address, create=True) as notebook:
        page = job_page(job, noted=datetime(2025, 11, 1, tzinfo=UTC))
        notebook.keep("the workshop", [*pages, page])
        for first in range(0, RUNS, 500):
            runs = [run_page(_outcome(k, names[k % len(names)], chance), page) for k in range(first, first + 500)]
            notebook.keep(f"runs from {first}", runs)
    return time.perf_counter() - began


def answers() -> list[Answered]:
    """Each command in a process of its own, as a person starts it; the best of three."""
    told = []
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
        address = str(Path(folder) / "year.sqlite")
        told.append(Answered("(write the year)", filled(address)))
        usual = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        environment = usual | {"VATWRIGHT_STORE": address, "VATWRIGHT_CACHE": str(Path(folder) / "cache")}
        places = {
            "job": str(demo_folder() / "harbour-lanterns.toml"),
            "shop": str(demo_folder() / "shop.toml"),
            "stl": str(Path(folder) / "trial.stl"),
        }

        def seconds(words: tuple[str, ...], *, times: int) -> float:
            spent = []
            for k in range(times):
                asked = [w.format(**places).replace("today", f"today {k}") for w in words]
                began = time.perf_counter()
                done = subprocess.run(
                    [sys.executable, "-m", "vatwright", *asked], env=environment, check=False, capture_output=True
                )
                spent.append(time.perf_counter() - began)
                if done.returncode not in {0, 1}:  # 1: the answer is no, and an answer it is
                    raise RuntimeError(done.stderr.decode())
            return min(spent)

        def name(words: tuple[str, ...]) -> str:
            said = " ".join(words).replace("{job}", "JOB").replace("{shop}", "SHOP").replace("{stl}", "STL")
            return "vatwright " + said

        told += [Answered(name(words), seconds(words, times=3)) for words in QUICK]
        seconds(ALONE[0], times=1)  # compiles and studies
        told += [Answered(name(words), seconds(words, times=3)) for words in ALONE]
        for words in LEARNING:
            told.append(Answered(f"{name(words)} (first after an import)", seconds(words, times=1)))
            told.append(Answered(name(words), seconds(words, times=3)))
        note = ("note", "{job}", "held", "--run", "learnt today")
        told.append(Answered(f"{name(note)} (its own learning included)", seconds(note, times=1)))
        told.append(Answered("vatwright learn (after that note)", seconds(("learn", "--machine", "Heron"), times=1)))
    return told


HEAD = """## A busy year in the notebook

{runs:,} runs on {machines} machines; each command in a process of its own, from return to answer, the best of three. A command
that weighs runs tells two times: the first after an import, which works out what the newest runs teach and keeps it, and
any later one. `carry`, `why` and `trial` also plan; what `carry` and `why` take without a notebook stands beside them.

| command | time |
| --- | --- |"""


def section() -> str:
    """Return the section of the page of benchmarks."""
    rows = [f"| `{a.command}` | {a.seconds:.2f} s |" for a in answers()]
    return "\n".join([HEAD.format(runs=RUNS, machines=MACHINES), *rows])


if __name__ == "__main__":
    print(section())
