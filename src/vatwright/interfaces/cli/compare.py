"""``vatwright compare``: the same order on several machines."""

from __future__ import annotations

import json

import click

from vatwright.interfaces.cli.cost import book_options
from vatwright.interfaces.cli.job_options import citation, notebook_options


@click.command("compare", epilog="Example: vatwright compare harbour-lanterns.toml Wren Heron Albatross")
@click.argument("job", type=click.Path(), metavar="JOB.toml")
@click.argument("machines", nargs=-1, required=True, metavar="MACHINE...")
@click.option("--shop", type=click.Path(), help="Shop file; else the job names it or shop.toml stands beside it.")
@book_options
@notebook_options
@click.option("--json", "as_json", is_flag=True, help="Print vatwright.compare/1.")
def compare(
    job: str,
    machines: tuple[str, ...],
    shop: str | None,
    stock: str | None,
    costs: str | None,
    store: str | None,
    without_notebook: bool,
    as_json: bool,
) -> int:
    """Set the same order on several machines side by side: cost, time, chance, a person's work, and what pays.

    Exits 1 when none of them takes the order.
    """
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.wiring import ShopBooks, compare_of_job

    books = ShopBooks(stock, costs, store, not without_notebook)
    with ProgressLine() as progress:
        sheet = compare_of_job(job, machines, books, shop=shop, progress=progress)
    if as_json:
        from vatwright.interfaces.report.compare_json import compare_json

        click.echo(json.dumps(compare_json(sheet, cite=citation), ensure_ascii=False, allow_nan=False))
    else:
        from vatwright.interfaces.report.compare_text import compare_text

        click.echo(compare_text(sheet, cite=citation))
    return 0 if any(s.cost is not None for s in sheet.sides) else 1
