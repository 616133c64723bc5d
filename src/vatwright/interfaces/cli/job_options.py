"""What every command that reads a job file has in common."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.plan import CarrySheet


def job_arguments(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the job file, the target machine and the shop file to a command."""
    command = click.option(
        "--shop", type=click.Path(), help="Shop file; else the job names it or shop.toml stands beside it."
    )(command)
    command = click.option("--to", "to", metavar="MACHINE", help="Carry to this machine instead of the job's.")(command)
    return click.argument("job", type=click.Path(), metavar="JOB.toml")(command)


def carried(job: str, *, to: str | None, shop: str | None) -> CarrySheet:
    """Return the carry sheet of a job file, with progress on a terminal."""
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.wiring import carry_job, open_job

    opened = open_job(job, shop=shop, to=to)
    with ProgressLine() as progress:
        return carry_job(opened, progress=progress)


def citation(key: str) -> str:
    """Return the citation of a source."""
    from vatwright.sources import source

    return str(source(key))


def write_bytes(path: str, content: bytes) -> None:
    """Write a file whole or not at all, and say so."""
    from vatwright.jobfiles.atomic import write_bytes_atomically

    write_bytes_atomically(path, content)
    click.echo(f"wrote {path}", err=True)
