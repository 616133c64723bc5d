"""``vatwright commission``: what to read on a new machine or of a new resin."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.answering import json_option, tell
from vatwright.interfaces.cli.shop import store_option


@click.command("commission", epilog="Example: vatwright commission Heron --shop shop.toml")
@click.argument("machine", required=False, metavar="MACHINE")
@click.option("--resin", metavar="NAME", help="A resin instead of a machine.")
@click.option("--shop", type=click.Path(), help="Shop file; else shop.toml in this folder, else the notebook.")
@store_option
@json_option("vatwright.commission/1")
def commission(*, machine: str | None, resin: str | None, shop: str | None, store: str | None, as_json: bool) -> None:
    """Say what is worth reading on a new machine, or of a new resin: in order, done or open, why, how, and where it goes."""
    from vatwright.answers.commission import commission_answer
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.render.commission_json import commission_json
    from vatwright.wiring import commission_of_shop

    if (machine is None) == (resin is None):
        raise click.UsageError("Name a machine, or a resin with --resin.")
    kind, name = ("machine", machine) if machine is not None else ("resin", resin)
    with ProgressLine() as progress:
        sheet = commission_of_shop(kind, name or "", shop=shop, store=store, progress=progress)
    tell(lambda: commission_answer(sheet), lambda: commission_json(sheet), as_json=as_json)
