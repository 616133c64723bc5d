"""What a notebook is written in: entries, changes, versions."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from attrs import field, frozen, validators

from vatwright.records.run import RunOutcome
from vatwright.records.stock import FittedFilm, Lot, Price, Screen, Station
from vatwright.wording import to_say

TEXT_KINDS = ("machine", "resin", "recipe")
"""What is kept as the text it was written in."""

STOCK_KINDS: Mapping[str, type[FittedFilm | Screen | Lot | Station | Price]] = {
    "film": FittedFilm,
    "screen": Screen,
    "lot": Lot,
    "station": Station,
    "price": Price,
}
"""What is kept value by value."""

KINDS = (*TEXT_KINDS, *STOCK_KINDS, "job", "run")
"""Everything a notebook holds, each kind before what refers to it."""


@frozen(kw_only=True)
class TablePage:
    """A machine, resin or recipe as the text of its own TOML table.

    Parameters
    ----------
    kind : str
        One of `TEXT_KINDS`.
    name : str
        Its name.
    document : str
        Its table, with the file paths in it complete.
    machine, resin : str
        What a recipe is for; empty for the others.
    """

    kind: str = field(validator=validators.in_(TEXT_KINDS))
    name: str = field(validator=validators.min_len(1))
    document: str
    machine: str = ""
    resin: str = ""


@frozen(kw_only=True)
class PartDigest:
    """A part file of a job and what it held: SHA-256, or None where it could not be read."""

    file: str
    sha256: str | None = None


@frozen(kw_only=True)
class JobPage:
    """A job as the text of a job file that needs no shop, and the part files it names.

    Parameters
    ----------
    digest : str
        SHA-256 of the text and the digests of its parts: two jobs that differ in anything differ in it.
    name, recipe, machine, resin : str
        Names: its own, the proven recipe, where it goes, with what.
    document : str
        The text.
    noted : datetime
        When it was first noted.
    parts : tuple of PartDigest
        Its part files.
    """

    digest: str
    name: str
    recipe: str
    machine: str
    resin: str
    document: str
    noted: datetime
    parts: tuple[PartDigest, ...] = ()


@frozen(kw_only=True)
class RunPage:
    """A run, its text, and the digest of the job it was a run of (empty where the job is not kept)."""

    outcome: RunOutcome
    document: str
    job: str = ""

    @property
    def name(self) -> str:
        """What the run is called."""
        return self.outcome.run


Entry = TablePage | FittedFilm | Screen | Lot | Station | Price | JobPage | RunPage
"""One thing to keep."""


@frozen(kw_only=True)
class Touched:
    """One entry that a change touched: its kind and name, and whether it was there before and after."""

    kind: str
    name: str
    was: bool
    stays: bool

    @property
    def verb(self) -> str:
        """What happened to it."""
        if self.was and self.stays:
            return to_say("changed")
        return to_say("added") if self.stays else to_say("taken out")


@frozen(kw_only=True)
class Change:
    """One numbered change.

    Parameters
    ----------
    number : int
        From 1, without gaps.
    at : datetime
        When.
    what : str
        A few words.
    undoes : int or None
        The change that it takes back.
    undone_by : int or None
        The change that takes it back.
    touched : tuple of Touched
        What it touched.
    """

    number: int
    at: datetime
    what: str
    undoes: int | None = None
    undone_by: int | None = None
    touched: tuple[Touched, ...] = ()


@frozen(kw_only=True)
class KeptEntries:
    """What came of keeping entries: the change, None where all was there already, and how many were."""

    change: Change | None
    same: int


@frozen(kw_only=True)
class Version:
    """One saved version of a recipe."""

    recipe: str
    saved: datetime
    document: str


@frozen(kw_only=True)
class Contents:
    """Everything in a notebook but its history of changes, as one moment had it.

    Parameters
    ----------
    pages : tuple of Page
        Machines, resins, recipes.
    stock : tuple
        Films, screens, lots, stations, prices.
    versions : tuple of Version
        Every saved version of every recipe.
    jobs : tuple of JobPage
        Every job noted.
    runs : tuple of RunPage
        Every run.
    changes : tuple of Change
        What was changed, for reading.
    more_jobs, more_runs : int
        Older ones that were not asked for.
    """

    pages: tuple[TablePage, ...] = ()
    stock: tuple[FittedFilm | Screen | Lot | Station | Price, ...] = ()
    versions: tuple[Version, ...] = ()
    jobs: tuple[JobPage, ...] = ()
    runs: tuple[RunPage, ...] = ()
    changes: tuple[Change, ...] = ()
    more_jobs: int = 0
    more_runs: int = 0
