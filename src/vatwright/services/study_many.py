"""Study thousands of distinct parts on many workers: resumable, each once, the same whatever runs it."""

from __future__ import annotations

from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from typing import TYPE_CHECKING, NamedTuple

from attrs import frozen

from vatwright.errors import InputError
from vatwright.records.progress import Progress, silent
from vatwright.services.ports import PartReader, StudyMemory
from vatwright.services.study_parts import PartBench

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from vatwright.geometry.part_layers import PartLayers
    from vatwright.records.part import PartUse

IN_FLIGHT = 64
"""Parts handed out at a time: enough to keep many workers busy, few enough that a stopped run loses little."""

RETRIES = 3
"""How often a part is handed out again whose worker died."""


class PartDone(NamedTuple):
    """What became of one part: whether it was known already, a digest of its study, or what is wrong with it."""

    part: str
    known: bool
    digest: str
    mistakes: tuple[str, ...]


@frozen(kw_only=True)
class ManyDone:
    """What became of many parts.

    Parameters
    ----------
    parts : tuple of PartDone
        One a part, in the order asked.
    again : int
        Parts handed out again because their worker died.
    """

    parts: tuple[PartDone, ...]
    again: int

    @property
    def new(self) -> int:
        """Parts that were studied and not known before."""
        return sum(not p.known and not p.mistakes for p in self.parts)

    @property
    def refused(self) -> tuple[PartDone, ...]:
        """Parts that cannot be used."""
        return tuple(p for p in self.parts if p.mistakes)


def study_one(
    part: PartUse, *, layer_nm: int, read: PartReader, memory: StudyMemory, digest: Callable[[PartLayers], str]
) -> PartDone:
    """Study one part unless its study is known; keep it; say what became of it.

    Parameters
    ----------
    part : PartUse
        Which.
    layer_nm : int
        Layer thickness [nm].
    read : PartReader
        Reads it.
    memory : StudyMemory
        Shared by all workers: what one has kept another finds.
    digest : callable
        From a study to a short text that differs where the studies do.
    """
    found = memory.recall(part, layer_nm=layer_nm, turn_deg=0.0)
    if found is not None:
        return PartDone(part.name, True, digest(found), ())
    try:
        layers = PartBench(read, layer_nm=layer_nm, memory=memory).layers(part)
    except InputError as problem:
        return PartDone(part.name, False, "", tuple(str(m) for m in problem.mistakes))
    kept = memory.recall(part, layer_nm=layer_nm, turn_deg=0.0)
    return PartDone(part.name, False, digest(kept if kept is not None else layers), ())


def study_many(
    parts: Sequence[PartUse],
    work: Callable[[PartUse], PartDone],
    executor: Executor,
    *,
    renew: Callable[[], Executor] | None = None,
    progress: Progress = silent,
) -> ManyDone:
    """Return what became of many parts, studied by an executor.

    Parameters
    ----------
    parts : sequence of PartUse
        What to study.
    work : callable
        Studies one, on a worker; must be picklable.
    executor : Executor
        Processes of this computer, or a cluster.
    renew : callable or None
        Makes another executor where one breaks with its worker; a cluster mends itself.
    progress : Progress
        Told how far it is; may raise to stop: what is kept by then is found by the next run.

    Returns
    -------
    ManyDone
        The same whatever the executor and however often workers died.

    Notes
    -----
    A part whose worker dies is handed out again, alone of all: the others' studies are kept as soon as they are made.
    """
    return _Hand(parts, work, executor, renew, progress).all()


class _Hand:
    """Hands out parts and collects what became of them."""

    def __init__(
        self, parts: Sequence[PartUse], work: Callable[[PartUse], PartDone], executor: Executor,
        renew: Callable[[], Executor] | None, progress: Progress,
    ) -> None:  # fmt: skip
        self.parts, self.work, self.executor, self.renew, self.progress = parts, work, executor, renew, progress
        self.done: dict[int, PartDone] = {}
        self.tries = [0] * len(parts)
        self.again = 0
        self.running: dict[Future[PartDone], int] = {}

    def all(self) -> ManyDone:
        waiting = iter(range(len(self.parts)))
        try:
            self._fill(waiting)
            while self.running:
                ready, _ = wait(list(self.running), return_when=FIRST_COMPLETED)
                self._collect(ready)
                self._fill(waiting)
        except BaseException:
            for future in self.running:
                future.cancel()
            raise
        return ManyDone(parts=tuple(self.done[k] for k in range(len(self.parts))), again=self.again)

    def _fill(self, waiting: Iterator[int]) -> None:
        while len(self.running) < IN_FLIGHT and (number := next(waiting, None)) is not None:
            self._give(number)

    def _give(self, number: int) -> None:
        self.running[self.executor.submit(self.work, self.parts[number])] = number

    def _collect(self, ready: Iterable[Future[PartDone]]) -> None:
        broken: list[int] = []
        for future in ready:
            number = self.running.pop(future)
            try:
                self.done[number] = future.result()
            except (OSError, RuntimeError, ConnectionError) as problem:  # a worker died; its kinds differ by executor
                self.tries[number] += 1
                if self.tries[number] > RETRIES:
                    raise RuntimeError(f"{self.parts[number].name}: its worker died {RETRIES + 1} times") from problem
                broken.append(number)
            self.progress("studying parts", len(self.done), len(self.parts))
        if broken:
            self._mend(broken)

    def _mend(self, broken: list[int]) -> None:
        """Hand out again what died; where the executor broke as a whole, all that it had."""
        self.again += len(broken)
        if self.renew is not None:
            broken += list(self.running.values())
            self.running.clear()
            self.executor = self.renew()
        for number in broken:
            self._give(number)
