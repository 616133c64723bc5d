"""The runs on the bench: one answer for every tab and phone, each tap on the disk before it is answered."""

from __future__ import annotations

import secrets
import threading
from typing import TYPE_CHECKING

from vatwright import __version__, wiring
from vatwright.errors import InputError
from vatwright.files.live_run_files import LiveRunFiles
from vatwright.files.write import write_job
from vatwright.records.live_run import TapKind
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from vatwright.interfaces.web.jobs import Turns
    from vatwright.records.job import Job
    from vatwright.records.live_run import LiveRun, Tap
    from vatwright.records.plan import CarrySheet
    from vatwright.services.run_now import RunView

SHOWN_ENDED = 10
MOST_TAPS = 2000
"""A run has a few dozen; more are a fault of whoever sends them."""


class LiveRuns:
    """The runs on the bench.

    Parameters
    ----------
    store : str or None
        The notebook beside which they are kept.
    now : callable
        The time of the world (seconds since 1970, UTC) [s].
    turns : Turns
        Whose turn it is to use compiled code.
    """

    def __init__(self, store: str | None, now: Callable[[], float], turns: Turns) -> None:
        self.now = now
        self._store, self._turns = store, turns
        self._guard = threading.Lock()
        self._kept: tuple[LiveRunFiles, dict[str, LiveRun]] | None = None

    def _runs(self) -> tuple[LiveRunFiles, dict[str, LiveRun]]:
        if self._kept is None:
            files = LiveRunFiles(wiring.live_run_folder(self._store))
            self._kept = files, {run.id: run for run in reversed(files.all())}
        return self._kept

    def all(self) -> list[LiveRun]:
        """Return every run, newest first."""
        with self._guard:
            return list(reversed(self._runs()[1].values()))

    def find(self, run_id: str) -> LiveRun | None:
        """Return one run."""
        with self._guard:
            return self._runs()[1].get(run_id)

    def put(self, sheet: CarrySheet, job: Job, *, passing: Path) -> LiveRun:
        """Put a run of a carry on the bench; its part files stay when the bench's own folder goes."""
        from vatwright.answers.hands import hand_setting
        from vatwright.services.note_outcome import prediction_of
        from vatwright.services.run_now import new_run, plan_of

        label = hand_setting(sheet, sheet.hand.setting) if sheet.hand else ""
        with self._guard:
            files, runs = self._runs()
            _require_free(runs.values(), sheet.target)
            job = files.keep_parts(job, passing=passing)
            run = new_run(
                run_id=secrets.token_hex(6),
                plan=plan_of(sheet, job, label=label),
                document=write_job(job),
                prediction=prediction_of(sheet, release=__version__),
                now_s=self.now(),
            )
            files.put(run)
            runs[run.id] = run
        return run

    def tap(self, run_id: str, tap: Tap) -> LiveRun:
        """Take a tap; one that came already, or that has nothing to say any more, changes nothing."""
        from vatwright.services.run_now import with_tap

        with self._guard:
            files, runs = self._runs()
            before = runs[run_id]
            _require_layer(before, tap)
            if tap.kind is TapKind.STARTED and before.started_s is None:
                _require_free(runs.values(), before.plan.machine)
            if len(before.steps) >= MOST_TAPS:
                raise InputError.one(to_say("this run"), to_say("has too many taps"), to_say("End it"))
            if tap.kind is TapKind.COULD_NOT and not before.has(tap.id):
                with self._turns.short():
                    after = with_tap(before, tap, now_s=self.now())
            else:
                after = with_tap(before, tap, now_s=self.now())
            if after is not before:
                files.add(after)
                runs[run_id] = after
        return after

    def view(self, run: LiveRun) -> RunView:
        """Return a run as it stands now."""
        from vatwright.services.run_now import view_of

        return view_of(run, now_s=self.now())

    def going(self) -> list[LiveRun]:
        """Return the runs that nobody has ended, newest first."""
        return [run for run in self.all() if run.ended_s is None]


def _require_free(runs: Iterable[LiveRun], machine: str) -> None:
    """Refuse a run on a machine that runs already."""
    busy = next((r for r in runs if r.plan.machine == machine and r.started_s is not None and r.ended_s is None), None)
    if busy is not None:
        raise InputError.one(
            machine,
            to_say("runs {job} already", job=busy.plan.job),
            to_say("End that run on its page first, then start this one"),
        )


def _require_layer(run: LiveRun, tap: Tap) -> None:
    """Refuse a layer that the run has not got."""
    last = len(run.plan.rest_s) - 1
    if tap.kind is TapKind.LAYER and (tap.layer is None or not 0 <= tap.layer <= last):
        raise InputError.one(
            to_say("the layer shown"),
            to_say("is not one of this run's layers, 0 to {last}", last=last),
            to_say("Read it again"),
        )
