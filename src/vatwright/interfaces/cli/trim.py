"""``vatwright trim``: what of each wait is needed, and what to run next."""

from __future__ import annotations

import json

import click

from vatwright.interfaces.cli.job_options import job_arguments, notebook_options


@click.command("trim", epilog="Example: vatwright trim harbour-lanterns.toml --hold 'body lift'")
@job_arguments
@notebook_options
@click.option("--hold", "hold", multiple=True, metavar="SETTING", help="Leave this setting as it is. Repeat it.")
@click.option("--json", "as_json", is_flag=True, help="Print vatwright.trim/1.")
def trim(
    job: str,
    to: str | None,
    shop: str | None,
    store: str | None,
    without_notebook: bool,
    hold: tuple[str, ...],
    as_json: bool,
) -> int:
    """Say what of each wait and rise is needed, what covers the unknown and what is spare, and what to run next.

    Exits 1 when today's settings themselves hold less often than asked: then nothing is taken away.
    """
    from vatwright.answers.trim import held_names, trim_answer
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.records.taken import WhyNot
    from vatwright.wiring import open_job, trim_of_job

    held = held_names(hold)
    opened = open_job(job, shop=shop, to=to, notebook=not without_notebook)
    with ProgressLine() as progress:
        sheet = trim_of_job(opened, hold=held, store=store, notebook=not without_notebook, progress=progress)
    if as_json:
        from vatwright.interfaces.render.trim_json import trim_json

        click.echo(json.dumps(trim_json(sheet), ensure_ascii=False, allow_nan=False))
    else:
        from vatwright.interfaces.render.terminal import answer_text, terminal_width

        click.echo(answer_text(trim_answer(sheet), width=terminal_width(), whole=True), nl=False)
    return 1 if sheet.why_not is WhyNot.UNSURE else 0
