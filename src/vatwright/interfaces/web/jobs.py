"""Long work, one piece at a time: progress, cancelling, and a bounded memory of results.

The compiled kernels spread over all cores by themselves and are entered by one thread at a time.  One worker does the long
work; short work (a level, say) slips in wherever the long work reports progress.
"""

from __future__ import annotations

import logging
import queue
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from typing import Any

from attrs import define, field

from vatwright.errors import VatwrightError
from vatwright.records.progress import Progress
from vatwright.wording import to_say

KEPT = 60
"""Results kept; a carry sheet takes well under a megabyte."""

MOST_WAITING = 8

Task = Callable[[Progress], Any]
"""Long work: told a Progress, returns what came of it."""

log = logging.getLogger(__name__)


class Stopped(KeyboardInterrupt):
    """Raised inside work that somebody cancelled."""


class TooBusyError(Exception):
    """There is more work waiting than will be done soon."""


class JobState(StrEnum):
    """How far a piece of work is."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    STOPPED = "stopped"


class Turns:
    """Lets one thread at a time into the kernels; long work gives way to short work at every step."""

    def __init__(self) -> None:
        self._free = threading.Condition()
        self._taken = False
        self._short = 0

    @contextmanager
    def short(self) -> Iterator[None]:
        """Wait for a turn, before any long work that has not started its step."""
        with self._free:
            self._short += 1
            self._free.wait_for(lambda: not self._taken)
            self._taken = True
        try:
            yield
        finally:
            with self._free:
                self._short -= 1
                self._taken = False
                self._free.notify_all()

    @contextmanager
    def long(self) -> Iterator[Callable[[], None]]:
        """Take a turn; call what is yielded to let short work in between."""
        self._take()
        try:
            yield self._give_way
        finally:
            self._leave()

    def _give_way(self) -> None:
        if self._short:
            self._leave()
            self._take()

    def _take(self) -> None:
        with self._free:
            self._free.wait_for(lambda: not self._taken and not self._short)
            self._taken = True

    def _leave(self) -> None:
        with self._free:
            self._taken = False
            self._free.notify_all()


@define(eq=False)
class Work:
    """One piece of long work; read by the pages while the worker writes it."""

    id: str
    kind: str
    title: str
    task: Task | None
    state: JobState = JobState.WAITING
    what: str = to_say("waiting for its turn")
    done: int = 0
    total: int = 0
    result: Any = None
    problem: VatwrightError | None = None
    about: Any = None
    stop: threading.Event = field(factory=threading.Event)
    ended: threading.Event = field(factory=threading.Event)

    def tell(self, what: str, done: int, total: int) -> None:
        """Take note of progress; raise Stopped where somebody cancelled."""
        if self.stop.is_set():
            raise Stopped
        self.what, self.done, self.total = what, done, total

    @property
    def going(self) -> bool:
        """Whether it is still to be waited for."""
        return self.state in (JobState.WAITING, JobState.RUNNING)


class WorkBench:
    """Does pieces of work in the order they came; what is stopped counts as ended at once, whatever it still ends by itself."""

    def __init__(self, turns: Turns) -> None:
        self._turns = turns
        self._kept: OrderedDict[str, Work] = OrderedDict()
        self._queue: queue.Queue[Work | None] = queue.Queue()
        self._guard = threading.Lock()
        self._thread: threading.Thread | None = None
        self._running: Work | None = None

    def start(self, kind: str, title: str, task: Task) -> Work:
        """Put work into the row and return it at once; raise TooBusyError where the row is full."""
        with self._guard:
            if sum(w.going for w in self._kept.values()) >= MOST_WAITING:
                raise TooBusyError
            work = Work(id=secrets.token_urlsafe(9), kind=kind, title=title, task=task)
            self._kept[work.id] = work
            self._forget_old()
            self._say_what_for()
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="bench-work", daemon=True)
                self._thread.start()
        self._queue.put(work)
        return work

    def find(self, work_id: str) -> Work | None:
        """Return a piece of work that is still kept."""
        with self._guard:
            return self._kept.get(work_id)

    def latest(self, kind: str, about: object) -> Work | None:
        """Return the newest work of a kind about the very same thing that goes on or has come to its end."""
        with self._guard:
            alike = [w for w in self._kept.values() if w.kind == kind and w.about == about]
            return next((w for w in reversed(alike) if w.going or w.state is JobState.DONE), None)

    def going(self) -> list[Work]:
        """Return what is waiting or running."""
        with self._guard:
            return [w for w in self._kept.values() if w.going]

    def cancel(self, work: Work) -> None:
        """Stop work: it has ended for whoever waits; its step under way ends by itself, and nothing comes of it."""
        with self._guard:
            work.stop.set()
            if work.going:
                work.what = to_say("stopped before it began") if work.state is JobState.WAITING else to_say("stopped")
                work.state = JobState.STOPPED
                work.ended.set()
            self._say_what_for()

    def close(self) -> None:
        """Stop everything."""
        for work in self.going():
            self.cancel(work)
        if self._thread is not None:
            self._queue.put(None)
            self._thread.join(timeout=2.0)

    def _say_what_for(self) -> None:
        """Tell each waiting piece of work what it waits for."""
        ahead = [] if self._running is None else [self._running]
        for work in self._kept.values():
            if work.state is not JobState.WAITING:
                continue
            if ahead:
                first, more = ahead[0], len(ahead) - 1
                others = to_say(" and {more} more", more=more) if more else ""
                stopping = to_say(", whose last step is ending") if first.stop.is_set() else ""
                work.what = to_say(
                    "waits for: {title}{others}{stopping}", title=first.title, others=others, stopping=stopping
                )
            ahead.append(work)

    def _forget_old(self) -> None:
        for key in [k for k, w in self._kept.items() if not w.going][: max(0, len(self._kept) - KEPT)]:
            del self._kept[key]

    def _run(self) -> None:
        while (work := self._queue.get()) is not None:
            with self._guard:
                if work.stop.is_set():
                    continue
                work.state, work.what, self._running = JobState.RUNNING, to_say("starting"), work
                self._say_what_for()
            self._do(work)
            with self._guard:
                self._running = None
                self._say_what_for()

    def _do(self, work: Work) -> None:
        task, work.task = work.task, None
        if task is None:
            return
        result, state = None, JobState.FAILED
        try:
            with self._turns.long() as give_way:

                def told(what: str, done: int, total: int) -> None:
                    work.tell(what, done, total)
                    give_way()

                result = task(told)
            state = JobState.DONE
        except KeyboardInterrupt:
            state = JobState.STOPPED
        except VatwrightError as problem:
            work.problem = None if work.stop.is_set() else problem
        except Exception:
            # The outermost door of this thread: whatever gets here is our fault and must be said, not lost.
            log.exception("work %s failed", work.kind)
        with self._guard:
            if not work.stop.is_set():
                work.result, work.state = result, state
            elif work.going:
                work.state, work.what = JobState.STOPPED, to_say("stopped")
            work.ended.set()
