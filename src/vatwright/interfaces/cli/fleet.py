"""``vatwright fleet``: an order book on all machines, and again when something went wrong."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.answering import html_option, json_option, tell


@click.command("fleet", epilog="Example: vatwright fleet orders.toml --html week.html")
@click.argument("orders", type=click.Path(), metavar="ORDERS.toml")
@click.option("--shop", type=click.Path(), help="Shop file; else the book names it or shop.toml stands beside it.")
@click.option("--done", type=click.Path(), metavar="PLAN.json", help="Plan again from this one, which --json printed.")
@click.option("--failed", multiple=True, metavar="PLATE", help="A plate of that plan that failed; may be repeated.")
@click.option("--down", multiple=True, metavar="UNIT", help="A machine that has stopped; may be repeated.")
@click.option(
    "--now", metavar="TIME", help="Now, such as 2026-03-02T14:30:00+01:00; the start of the book unless said."
)
@click.option("--dask", metavar="ADDRESS", help="Study the parts on the dask cluster at this address.")
@json_option("vatwright.fleet/1")
@html_option
def fleet(
    orders: str,
    shop: str | None,
    done: str | None,
    failed: tuple[str, ...],
    down: tuple[str, ...],
    now: str | None,
    dask: str | None,
    as_json: bool,
    html_path: str | None,
) -> int:
    """Plan an order book on all machines: plates, who runs what when, what comes late, how far from the best it is.

    With --done the plan is made again from --now on: what runs keeps running, the rest is planned anew.

    Exits 1 when an order comes late.
    """
    from vatwright.answers.fleet import fleet_answer
    from vatwright.files.orders_file import read_orders, read_past
    from vatwright.interfaces.cli.job_options import check_outputs, citation
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.render.fleet_json import fleet_json
    from vatwright.wiring import plan_book

    check_outputs(html=html_path)
    book = read_orders(orders, shop_path=shop)
    past = read_past(book, done=done, failed=failed, down=down, now=now)
    with ProgressLine() as progress:
        plan = plan_book(book, past, dask=dask, progress=progress)
    tell(
        lambda: fleet_answer(plan, cite=citation),
        lambda: fleet_json(plan, cite=citation),
        as_json=as_json,
        html_path=html_path,
    )
    return 1 if plan.warm_up is not None or any(o.late_s > 0.0 or o.done_s is None for o in plan.orders) else 0
