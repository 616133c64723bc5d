"""``vatwright trim``: what of each wait is needed, and what to run next."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.answering import json_option, tell
from vatwright.interfaces.cli.job_options import JobGiven, job_given


@click.command("trim", epilog="Example: vatwright trim harbour-lanterns.toml --hold 'body lift'")
@job_given
@click.option("--hold", "hold", multiple=True, metavar="SETTING", help="Leave this setting as it is. Repeat it.")
@json_option("vatwright.trim/1")
def trim(of: JobGiven, *, hold: tuple[str, ...], as_json: bool) -> int:
    """Say what of each wait and rise is needed, what covers the unknown and what is spare, and what to run next.

    Exits 1 when today's settings themselves hold less often than asked: then nothing is taken away.
    """
    from vatwright.answers.trim import held_names, trim_answer
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.render.trim_json import trim_json
    from vatwright.records.taken import WhyNot
    from vatwright.wiring import trim_of_job

    held, job = held_names(hold), of.opened()
    with ProgressLine() as progress:
        sheet = trim_of_job(job, hold=held, store=of.store, notebook=of.notebook, progress=progress)
    tell(lambda: trim_answer(sheet), lambda: trim_json(sheet), as_json=as_json)
    return 1 if sheet.why_not is WhyNot.UNSURE else 0
