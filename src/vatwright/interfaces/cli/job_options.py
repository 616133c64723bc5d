"""What every command that reads a job file has in common."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.job import Job
    from vatwright.records.plan import CarrySheet
    from vatwright.wiring import ShopBooks


class JobGiven(NamedTuple):
    """A job as the command line names it: its file, the machine, the shop file, the notebook and whether it counts."""

    file: str
    to: str | None = None
    shop: str | None = None
    store: str | None = None
    notebook: bool = True

    def opened(self) -> Job:
        """Return the job, with what the stock says of its resin and its film."""
        from vatwright.wiring import open_job, with_stock_at_hand

        job = open_job(self.file, shop=self.shop, to=self.to, notebook=self.notebook)
        return with_stock_at_hand(job, self.file, self.books())

    def books(self, stock: str | None = None, costs: str | None = None) -> ShopBooks:
        """Return where stock and prices are."""
        from vatwright.wiring import ShopBooks

        return ShopBooks(stock, costs, self.store, self.notebook)

    def carried(self) -> CarrySheet:
        """Return the carry sheet of the job, with progress on a terminal."""
        from vatwright.interfaces.cli.progress import ProgressLine
        from vatwright.wiring import carry_with_floor

        job = self.opened()
        with ProgressLine() as progress:
            return carry_with_floor(job, self.file, self.books(), progress=progress)


def job_given(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add to a command the job, its machine and shop, and which notebook's runs are weighed in: all as one `JobGiven`."""

    @job_arguments
    @notebook_options
    @wraps(command)
    def asked(
        *, job: str, to: str | None, shop: str | None, store: str | None, without_notebook: bool, **rest: Any
    ) -> Any:
        return command(JobGiven(job, to, shop, store, not without_notebook), **rest)

    return asked


def job_arguments(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the job file, the target machine and the shop file to a command."""
    command = click.option(
        "--shop", type=click.Path(), help="Shop file; else the job names it or shop.toml stands beside it."
    )(command)
    command = click.option("--to", "to", metavar="MACHINE", help="Carry to this machine instead of the job's.")(command)
    return click.argument("job", type=click.Path(), metavar="JOB.toml")(command)


def notebook_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add to a command which notebook's runs are weighed in."""
    command = click.option(
        "--store", metavar="PATH", help="The notebook whose runs are weighed in; else VATWRIGHT_STORE, else your own."
    )(command)
    return click.option("--without-notebook", is_flag=True, help="Leave the notebook's runs out.")(command)


def check_outputs(**paths: str | None) -> None:
    """Refuse before any work what could not be written after it, every mistake at once.

    Parameters
    ----------
    **paths : str or None
        The ending an answer usually has, and where it shall go.

    Raises
    ------
    InputError
        Where a folder is missing or closed, or an answer would take the place of a job, a part or another answer.
    """
    import os
    from pathlib import Path

    from vatwright.errors import InputError, Mistake

    mistakes, taken = [], set()
    for ending, name in paths.items():
        if name is None:
            continue
        path = Path(name)
        if path.is_dir():
            mistakes.append(Mistake(name, to_say("is a folder"), to_say("Name a file in it")))
        elif not path.parent.is_dir():
            mistakes.append(
                Mistake(
                    name,
                    to_say("there is no folder {parent}", parent=path.parent),
                    to_say("Make it first, or write elsewhere"),
                )
            )
        elif not os.access(path.parent, os.W_OK):
            mistakes.append(
                Mistake(
                    name,
                    to_say("{parent} is closed for writing", parent=path.parent),
                    to_say("Choose a folder you may write to"),
                )
            )
        elif _is_an_inputs(path.suffix.lower()):
            mistakes.append(
                Mistake(
                    name,
                    to_say("is what a job or a part is called"),
                    to_say("Give a name that ends in .{ending}", ending=ending),
                )
            )
        elif path.resolve() in taken:
            mistakes.append(Mistake(name, to_say("is named twice"), to_say("Give every answer a file of its own")))
        taken.add(path.resolve())
    if mistakes:
        raise InputError(mistakes)


def _is_an_inputs(ending: str) -> bool:
    """Whether jobs, shops or parts end so; the readers are asked only about endings that no answer usually has."""
    if ending in {".html", ".json", ".pdf"}:
        return False
    from vatwright.files.parts.formats import endings

    return ending == ".toml" or ending in endings()


def citation(key: str) -> str:
    """Return the citation of a source."""
    from vatwright.sources import source

    return str(source(key))


def write_bytes(path: str, content: bytes) -> None:
    """Write a file whole or not at all, and say so."""
    from vatwright.files.atomic import write_bytes_atomically

    write_bytes_atomically(path, content)
    click.echo(say("wrote {path}", path=path), err=True)
