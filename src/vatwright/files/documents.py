"""The texts a notebook keeps, to records and back."""

from __future__ import annotations

import hashlib
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from vatwright.errors import InputError
from vatwright.files import schema
from vatwright.files.outcome import outcome_of_text, outcome_text
from vatwright.files.read import job_of_text, read_text, shop_of
from vatwright.files.write import write_job
from vatwright.records.job import Job, Shop
from vatwright.records.notebook import JobPage, PartDigest, RunPage
from vatwright.records.run import RunOutcome

if TYPE_CHECKING:
    from collections.abc import Sequence


class TomlDocuments:
    r"""Reads what a notebook keeps; satisfies the services' Documents.

    Examples
    --------
    >>> TomlDocuments("notebook").shop(['[[resin]]\nname = "slate"']).resins[0].name
    'slate'
    """

    def __init__(self, name: str) -> None:
        self.name = name

    def shop(self, documents: Sequence[str]) -> Shop:
        """Return the machines, resins and recipes of some tables."""
        file = read_text(Path(self.name), "\n".join(documents), schema.ShopFile)
        if file.mistakes:
            raise InputError(file.mistakes)
        return shop_of(file)

    def job(self, document: str) -> Job:
        """Return the job of a job file's text."""
        return job_of_text(self.name, document)

    def run(self, document: str) -> RunOutcome:
        """Return the run of an outcome's text."""
        return outcome_of_text(self.name, document)


def job_page(job: Job, *, noted: datetime) -> JobPage:
    """Return a job to keep, with every record it names and a digest of each part file.

    Parameters
    ----------
    job : Job
        With its part files where they are now.
    noted : datetime
        When.
    """
    text = write_job(job)
    files = dict.fromkeys(part.file for part in (*job.parts, *job.recipe.proof.parts))
    parts = tuple(PartDigest(file=file, sha256=file_digest(Path(file))) for file in files)
    return page_of_job(job, text, parts, noted=noted)


def page_of_job(job: Job, text: str, parts: tuple[PartDigest, ...], *, noted: datetime) -> JobPage:
    """Return a job and its text to keep."""
    digest = hashlib.sha256("\n".join([text, *(f"{p.sha256} {p.file}" for p in parts)]).encode()).hexdigest()
    return JobPage(
        digest=digest, name=job.name, recipe=job.recipe.name, machine=job.target.name, resin=job.resin.name,
        document=text, noted=noted, parts=parts,
    )  # fmt: skip


def run_page(outcome: RunOutcome, job: JobPage | None) -> RunPage:
    """Return a run to keep."""
    return RunPage(outcome=outcome, document=outcome_text(outcome), job=job.digest if job else "")


def file_digest(path: Path) -> str | None:
    """Return the SHA-256 of a file, or of a folder's files and their names; None where it cannot be read."""
    try:
        if not path.is_dir():
            with path.open("rb") as file:
                return hashlib.file_digest(file, "sha256").hexdigest()
        digest = hashlib.sha256()
        for inner in sorted(path.iterdir()):
            digest.update(inner.name.encode() + b"\0" + (file_digest(inner) or "").encode())
    except OSError:
        return None
    return digest.hexdigest()
