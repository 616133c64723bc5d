"""``vatwright cost``: what a job costs, and what comes before and after its print."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from vatwright.interfaces.cli.job_options import check_outputs, citation, job_arguments, notebook_options, write_bytes

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
@job_arguments
@book_options
@notebook_options
@click.option("--json", "as_json", is_flag=True, help="Print vatwright.cost/1.")
@click.option("--html", "html_path", type=click.Path(), help="Write it as one self-contained page.")
def cost(
    job: str,
    to: str | None,
    shop: str | None,
    stock: str | None,
    costs: str | None,
    store: str | None,
    without_notebook: bool,
    as_json: bool,
    html_path: str | None,
) -> int:
    """Say what a job costs: a good piece with its range, failures, what moves it most; resin, washing, air.

    A price that is missing is asked for by name; what can be said without it is said.
    """
    from vatwright.answers.cost import cost_answer
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.wiring import ShopBooks, cost_of_job

    check_outputs(html=html_path)
    books = ShopBooks(stock, costs, store, not without_notebook)
    with ProgressLine() as progress:
        sheet = cost_of_job(job, books, shop=shop, to=to, progress=progress)
    answer = cost_answer(sheet, cite=citation)
    if html_path:
        from vatwright.interfaces.render.page import answer_page

        write_bytes(html_path, answer_page(answer).encode())
    if as_json:
        from vatwright.interfaces.render.cost_json import cost_json

        click.echo(json.dumps(cost_json(sheet, cite=citation), ensure_ascii=False, allow_nan=False))
    else:
        from vatwright.interfaces.render.terminal import answer_text, terminal_width

        click.echo(answer_text(answer, width=terminal_width(), whole=True), nl=False)
    return 0
