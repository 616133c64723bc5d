"""``vatwright learn``: what the runs noted so far have taught."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from vatwright.interfaces.cli.answering import json_option, tell
from vatwright.interfaces.cli.job_options import citation
from vatwright.interfaces.cli.shop import store_option

if TYPE_CHECKING:
    from vatwright.answers.blocks import Answer


@click.command("learn", epilog="Example: vatwright learn --machine Heron")
@click.option("--machine", default="", metavar="NAME", help="Show only what concerns this machine.")
@click.option("--resin", default="", metavar="NAME", help="Show only what concerns this resin.")
@store_option
@json_option("vatwright.learn/1")
def learn(*, machine: str, resin: str, store: str | None, as_json: bool) -> None:
    """Say what is now believed, where the model is off, what to measure next, and how good the predictions were.

    All runs in the notebook are learned from together, whatever is shown; of more than 64, the newest that concern the machine.
    """
    from attrs import evolve

    from vatwright.answers.learn import learn_answer
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.render.learn_json import learn_json
    from vatwright.wiring import learn_of_store

    with ProgressLine() as progress:
        sheet = learn_of_store(machine=machine, resin=resin, store=store, progress=progress)

    def in_words() -> Answer:
        answer = learn_answer(sheet, cite=citation)
        return evolve(answer, pages=tuple(p.without_pictures() for p in answer.pages))

    tell(in_words, lambda: learn_json(sheet, cite=citation), as_json=as_json, leave=("sources",))
