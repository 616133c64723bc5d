"""``vatwright cost``: what a job costs, and what comes before and after its print."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from vatwright.interfaces.cli.answering import html_option, json_option, tell
from vatwright.interfaces.cli.job_options import JobGiven, check_outputs, citation, job_given

if TYPE_CHECKING:
    from collections.abc import Callable


def book_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add to a command where prices, stations and the cost file are."""
    command = click.option(
        "--costs", type=click.Path(), help="Cost file; else costs.toml beside the job, else estimates."
    )(command)
    return click.option(
        "--stock", type=click.Path(), help="Prices, stations, lots; else stock.toml beside the job, else the notebook."
    )(command)


@click.command("cost", epilog="Example: vatwright cost harbour-lanterns.toml --to Heron")
@job_given
@book_options
@json_option("vatwright.cost/1")
@html_option
def cost(of: JobGiven, *, stock: str | None, costs: str | None, as_json: bool, html_path: str | None) -> int:
    """Say what a job costs: a good piece with its range, failures, what moves it most; resin, washing, air.

    A price that is missing is asked for by name; what can be said without it is said.
    """
    from vatwright.answers.cost import cost_answer
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.render.cost_json import cost_json
    from vatwright.wiring import cost_of_job

    check_outputs(html=html_path)
    with ProgressLine() as progress:
        sheet = cost_of_job(of.file, of.books(stock, costs), shop=of.shop, to=of.to, progress=progress)
    tell(
        lambda: cost_answer(sheet, cite=citation),
        lambda: cost_json(sheet, cite=citation),
        as_json=as_json,
        html_path=html_path,
    )
    return 0
