"""What the services need from outside, as shapes: whoever fits may serve."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from attrs import frozen

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from vatwright.geometry.mesh import Mesh  # noqa: TC004 - kernels load only where used
    from vatwright.geometry.part_layers import OutlineStack, PartLayers  # noqa: TC004 - kernels load only where used
    from vatwright.records.job import Job, Shop
    from vatwright.records.notebook import Change, Contents, Entry, KeptEntries, TablePage, Version
    from vatwright.records.part import PartUse
    from vatwright.records.run import RunOutcome
    from vatwright.records.stock import Stock

    Floats = NDArray[np.float64]
    Masks = Iterable[NDArray[np.bool_]]
    AsSeen = Mapping[tuple[str, str], str | None]
    """Revisions of entries by kind and name; None for one that is not there."""


@frozen(kw_only=True, eq=False)
class PartGeometry:
    """A part as its file gives it, in metres: triangles, or a stack of layer pictures.

    Parameters
    ----------
    name : str
        What messages call it.
    corners_m : (F, 3, 3) ndarray or None
        Loose triangles, or None where there are none.
    mesh : Mesh or None
        The triangles, where the reader has joined them.
    outlines : tuple of OutlineStack
        Stacks of outlines, used where there are no triangles.
    masks : iterable of (H, W) ndarray of bool, or None
        One picture a layer, from the platform on.
    pixel_m : float
        Size of a pixel [m].
    layers : int
        Pictures in the stack.
    warnings : tuple of str
        What the reader noticed.
    """

    name: str
    corners_m: Floats | None = None
    mesh: Mesh | None = None
    outlines: tuple[OutlineStack, ...] = ()
    masks: Masks | None = None
    pixel_m: float = 0.0
    layers: int = 0
    warnings: tuple[str, ...] = ()


class PartReader(Protocol):
    """Reads the file of a part."""

    def __call__(self, part: PartUse, *, layer_nm: int) -> PartGeometry:
        """Return its geometry, or raise InputError with every mistake of the file."""
        ...


class StudyMemory(Protocol):
    """Remembers studies of parts from one run to the next."""

    def content_of(self, file: str) -> str | None:
        """Return what tells the content of a part's file apart; None where nothing does."""
        ...

    def recall(self, part: PartUse, *, layer_nm: int, turn_deg: float) -> PartLayers | None:
        """Return the study of exactly this part, layer thickness [nm] and turn [deg], or None."""
        ...

    def keep(self, part: PartUse, layers: PartLayers, *, layer_nm: int, turn_deg: float) -> None:
        """Remember a study; never fails."""
        ...


class LessonMemory(Protocol):
    """Remembers what was worked out of runs from one time to the next, as arrays under a key."""

    def recall(self, key: bytes) -> dict[str, Floats] | None:
        """Return what was kept under a key, or None."""
        ...

    def keep(self, key: bytes, arrays: dict[str, Floats]) -> None:
        """Remember it; never fails."""
        ...


class Store(Protocol):
    """A workshop's notebook, to read from: what it has, and what happened."""

    def shop(self) -> Shop:
        """Return its machines, resins and recipes as they stand now."""
        ...

    def stock(self) -> Stock:
        """Return its films, screens, lots, stations and prices as they stand now."""
        ...

    def runs(
        self, machine: str | None = None, resin: str | None = None, *, newest: int | None = None
    ) -> tuple[RunOutcome, ...]:
        """Return the runs noted, oldest first; of one machine or one resin where named, and only so many of the newest."""
        ...

    def jobs(self) -> tuple[str, ...]:
        """Return the names of the jobs whose runs were noted."""
        ...

    def job(self, name: str) -> Job:
        """Return the job of that name as it was last noted, with every record it named then; InputError if unknown."""
        ...

    def job_of(self, run: str) -> Job:
        """Return the job of one run as it was when that run was noted; InputError if unknown."""
        ...

    def job_digests(self, runs: Sequence[str]) -> dict[str, str]:
        """Return by the name of a run what its job is told apart by; runs whose job is not kept are left out."""
        ...


class Documents(Protocol):
    """Reads the texts that a notebook keeps."""

    def shop(self, documents: Sequence[str]) -> Shop:
        """Return the machines, resins and recipes of some tables."""
        ...

    def job(self, document: str) -> Job:
        """Return the job of a job file's text."""
        ...

    def run(self, document: str) -> RunOutcome:
        """Return the run of an outcome's text."""
        ...


class Notebook(Store, Protocol):
    """A workshop's notebook, to write into."""

    @property
    def address(self) -> str:
        """Return where it is, as it may be shown."""
        ...

    def contents(self, *, newest: int | None = None, run: str | None = None) -> Contents:
        """Return everything, as one moment has it; of jobs and runs only the newest, and one more run, where asked."""
        ...

    def pages(self) -> tuple[TablePage, ...]:
        """Return machines, resins and recipes as the texts they were written in."""
        ...

    def changes(self) -> tuple[Change, ...]:
        """Return every change, oldest first."""
        ...

    def keep(
        self,
        what: str,
        entries: Sequence[Entry] | Callable[[Stock], Sequence[Entry]],
        versions: Sequence[Version] = (),
        *,
        as_seen: AsSeen | None = None,
        leave: Sequence[tuple[str, str]] = (),
    ) -> KeptEntries:
        """Keep entries as one change; equal ones are left alone; a callable is given the stock as it then is.

        Nothing is kept where an entry has not the revision that `as_seen` names by kind and name (None: not there).  What
        `leave` names is taken out in the same change.
        """
        ...

    def undo(self, number: int | None = None) -> Change:
        """Take back a change, the last one unless numbered; InputError where that cannot be."""
        ...
