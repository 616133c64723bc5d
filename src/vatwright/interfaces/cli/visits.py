"""``vatwright visits``: the hand schedule alone."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.answering import json_option, tell
from vatwright.interfaces.cli.job_options import JobGiven, job_given


@click.command("visits", epilog="Example: vatwright visits harbour-lanterns.toml")
@job_given
@json_option("vatwright.visits/1")
def visits(of: JobGiven, *, as_json: bool) -> int:
    """Show what to change by hand while the machine runs: clock time, layer, value, and how late a hand may be."""
    from vatwright.answers.hands import visits_answer
    from vatwright.interfaces.render.carry_json import visits_json

    sheet = of.carried()
    tell(lambda: visits_answer(sheet), lambda: visits_json(sheet), as_json=as_json, whole=False)
    return 0 if sheet.warm_up is None and (sheet.hand is None or sheet.hand.covers) else 1
