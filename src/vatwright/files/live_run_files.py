"""Runs that go on, as files: one line a tap, on the disk before it is answered, so that a tap that was taken is never lost."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

from attrs import asdict, evolve

from vatwright.errors import InputError
from vatwright.files.atomic import write_bytes_atomically
from vatwright.records.job import Job
from vatwright.records.live_run import DueVisit, LiveRun, RunPlan, RunStep, Tap, TapKind
from vatwright.records.run import Prediction

if TYPE_CHECKING:
    from collections.abc import Iterable

SCHEMA = "vatwright.live-run/1"
ENDING = ".run.jsonl"


class LiveRunFiles:
    """The folder in which runs that go on are kept.

    Parameters
    ----------
    folder : str or Path
        Made when the first run is put into it.
    """

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder)

    def all(self) -> list[LiveRun]:
        """Return every run, the newest first; a file that is none is left alone."""
        found = [read_run(path) for path in sorted(self.folder.glob(f"*{ENDING}"))] if self.folder.is_dir() else []
        return sorted((r for r in found if r is not None), key=lambda r: -r.made_s)

    def put(self, run: LiveRun) -> None:
        """Put a new run into the folder."""
        self.folder.mkdir(parents=True, exist_ok=True)
        head = {"schema": SCHEMA, **asdict(evolve(run, steps=()))}
        write_bytes_atomically(self._path(run), _line(head))

    def add(self, run: LiveRun) -> None:
        """Add the last step of a run to its file, and see it onto the disk."""
        with self._path(run).open("ab") as file:
            file.write(b"\n" + _line(asdict(run.steps[-1])))  # what a power cut left of a line ends here
            file.flush()
            os.fsync(file.fileno())

    def keep_parts(self, job: Job, *, passing: Path) -> Job:
        """Return a job whose part files outlive a folder that passes, under names that say what they hold."""
        from vatwright.files.documents import file_digest

        parts = []
        for part in job.parts:
            path = Path(part.file)
            if passing in path.parents:
                kept = self.folder.parent / "parts" / f"{file_digest(path)}{path.suffix}"
                kept.parent.mkdir(parents=True, exist_ok=True)
                if not kept.exists():
                    shutil.copyfile(path, kept)
                parts.append(evolve(part, file=str(kept)))
            else:
                parts.append(part)
        return evolve(job, parts=tuple(parts))

    def _path(self, run: LiveRun) -> Path:
        return self.folder / f"{run.id}{ENDING}"


def read_run(path: Path) -> LiveRun | None:
    """Return the run in a file; what a power cut left of a last line does not count. None where it is no run."""
    try:
        lines = path.read_text(encoding="utf-8").split("\n")
        run = _run(json.loads(lines[0]))
    except (OSError, ValueError, KeyError, TypeError, InputError):
        return None
    return evolve(run, steps=tuple(_steps(lines[1:])))


def _steps(lines: Iterable[str]) -> Iterable[RunStep]:
    for line in lines:
        try:
            raw = json.loads(line)
            tap = Tap(**{**raw["tap"], "kind": TapKind(raw["tap"]["kind"])})
            yield RunStep(tap=tap, visits=_visits(raw["visits"]))
        except (ValueError, KeyError, TypeError):
            continue


def _run(raw: dict[str, Any]) -> LiveRun:
    if raw.pop("schema") != SCHEMA:
        raise ValueError(SCHEMA)
    plan = raw["plan"]
    lists = {key: tuple(plan[key]) for key in ("rest_s", "needed_s")}
    prediction = raw["prediction"]
    return LiveRun(
        id=raw["id"], made_s=raw["made_s"], document=raw["document"],
        plan=RunPlan(**{**plan, **lists, "visits": _visits(plan["visits"])}),
        prediction=None if prediction is None else Prediction(**prediction),
    )  # fmt: skip


def _visits(raw: Iterable[dict[str, Any]]) -> tuple[DueVisit, ...]:
    return tuple(DueVisit(**v) for v in raw)


def _line(raw: dict[str, Any]) -> bytes:
    return (json.dumps(raw, ensure_ascii=False, allow_nan=False) + "\n").encode()
