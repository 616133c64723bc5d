"""``vatwright learn``: what the runs noted so far have taught."""

from __future__ import annotations

import json

import click

from vatwright.interfaces.cli.job_options import citation
from vatwright.interfaces.cli.shop import store_option


@click.command("learn", epilog="Example: vatwright learn --machine Heron")
@click.option("--machine", default="", metavar="NAME", help="Show only what concerns this machine.")
@click.option("--resin", default="", metavar="NAME", help="Show only what concerns this resin.")
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print vatwright.learn/1.")
def learn(*, machine: str, resin: str, store: str | None, as_json: bool) -> None:
    """Say what is now believed, where the model is off, what to measure next, and how good the predictions were.

    All runs in the notebook are learned from together, whatever is shown; of more than 64, the newest that concern the machine.
    """
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.wiring import learn_of_store

    with ProgressLine() as progress:
        sheet = learn_of_store(machine=machine, resin=resin, store=store, progress=progress)
    if as_json:
        from vatwright.interfaces.render.learn_json import learn_json

        click.echo(json.dumps(learn_json(sheet, cite=citation), ensure_ascii=False, allow_nan=False))
    else:
        from attrs import evolve

        from vatwright.answers.learn import learn_answer
        from vatwright.interfaces.render.terminal import answer_text, terminal_width

        answer = learn_answer(sheet, cite=citation)
        told = evolve(answer, pages=tuple(p.without_pictures() for p in answer.pages if p.slug != "sources"))
        click.echo(answer_text(told, width=terminal_width(), whole=True), nl=False)
