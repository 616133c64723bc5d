"""``vatwright compare``: the same order on several machines."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.answering import html_option, json_option, tell
from vatwright.interfaces.cli.cost import book_options
from vatwright.interfaces.cli.job_options import check_outputs, citation, notebook_options


@click.command("compare", epilog="Example: vatwright compare harbour-lanterns.toml Wren Heron Albatross")
@click.argument("job", type=click.Path(), metavar="JOB.toml")
@click.argument("machines", nargs=-1, required=True, metavar="MACHINE...")
@click.option("--shop", type=click.Path(), help="Shop file; else the job names it or shop.toml stands beside it.")
@book_options
@notebook_options
@json_option("vatwright.compare/1")
@html_option
def compare(
    job: str,
    machines: tuple[str, ...],
    shop: str | None,
    stock: str | None,
    costs: str | None,
    store: str | None,
    without_notebook: bool,
    as_json: bool,
    html_path: str | None,
) -> int:
    """Set the same order on several machines side by side: cost, time, chance, a person's work, and what pays.

    Exits 1 when none of them takes the order, or the room is too cold or too warm for any.
    """
    from vatwright.answers.compare import compare_answer
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.render.compare_json import compare_json
    from vatwright.wiring import ShopBooks, compare_of_job

    check_outputs(html=html_path)
    books = ShopBooks(stock, costs, store, not without_notebook)
    with ProgressLine() as progress:
        sheet = compare_of_job(job, machines, books, shop=shop, progress=progress)
    tell(
        lambda: compare_answer(sheet, cite=citation),
        lambda: compare_json(sheet, cite=citation),
        as_json=as_json,
        html_path=html_path,
    )
    return 0 if sheet.warm_up is None and any(s.cost is not None for s in sheet.sides) else 1
