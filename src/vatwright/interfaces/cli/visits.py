"""``vatwright visits``: the hand schedule alone."""

from __future__ import annotations

import json

import click

from vatwright.interfaces.cli.job_options import carried, job_arguments, notebook_options


@click.command("visits", epilog="Example: vatwright visits harbour-lanterns.toml")
@job_arguments
@notebook_options
@click.option("--json", "as_json", is_flag=True, help="Print the schedule as JSON.")
def visits(job: str, to: str | None, shop: str | None, store: str | None, without_notebook: bool, as_json: bool) -> int:
    """Show what to change by hand while the machine runs: clock time, layer, value, and how late a hand may be."""
    from vatwright.answers.hands import visits_answer
    from vatwright.interfaces.render.carry_json import visits_json
    from vatwright.interfaces.render.terminal import answer_text, terminal_width

    sheet = carried(job, to=to, shop=shop, store=store, without_notebook=without_notebook)
    if as_json:
        click.echo(json.dumps(visits_json(sheet), allow_nan=False))
    else:
        click.echo(answer_text(visits_answer(sheet), width=terminal_width()), nl=False)
    return 0 if sheet.warm_up is None and (sheet.hand is None or sheet.hand.covers) else 1
