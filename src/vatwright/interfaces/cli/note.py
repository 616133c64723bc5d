"""``vatwright note``: write down what happened."""

from __future__ import annotations

from typing import Any

import click

from vatwright.interfaces.cli.answering import json_option, print_data
from vatwright.interfaces.cli.job_options import JobGiven, job_arguments
from vatwright.interfaces.cli.shop import store_option


@click.command(
    "note",
    epilog="Example: vatwright note harbour-lanterns.toml layer_split@412 first_layer_um=62",
    no_args_is_help=True,
)
@job_arguments
@click.argument("outcomes", nargs=-1, metavar="OUTCOME...")
@click.option("--from", "source", type=click.Path(), metavar="F.json", help="Read vatwright.outcome/1 from a file.")
@click.option("--run", metavar="NAME", help="What to call the run; else the job, the machine and the time.")
@click.option("--at", metavar="TIME", help="When, as in 2026-03-01T18:30:00+01:00; else now.")
@click.option("--room-c", metavar="T", help="Temperature of the room; else the job's.")
@click.option("--film", metavar="NAME", help="The film; else the one fitted to the machine.")
@click.option("--screen", metavar="NAME", help="The screen; else the one in the machine.")
@click.option("--lot", metavar="NAME", help="The lot of resin.")
@click.option("--photo", "photos", multiple=True, metavar="FILE", help="A picture; only its name is kept.")
@click.option("--words", metavar="TEXT", help="Anything else, in your words.")
@click.option("--no-prediction", is_flag=True, help="Do not carry the job first to keep what that predicts.")
@store_option
@json_option("vatwright.noted/1")
def note(
    *, job: str, to: str | None, shop: str | None, outcomes: tuple[str, ...], source: str | None, no_prediction: bool,
    store: str | None, as_json: bool, **said: Any,
) -> None:  # fmt: skip
    """Write down what happened in a run, so that the next answer is better for it.

    \b
    held, failed                     whether it came out as meant
    base_let_go@rear-left            something seen, and where: a layer (@412), a height
                                     (@20.6mm), a place in mm (@-120,70), a corner
    first_layer_um=62+-5             something read, with its uncertainty if you know it
    viscosity_Pa_s=0.31@18C          and under what: @20mJ/cm2, @5kg, @60mm@10mm/s, @10,5
    body.settle_s=4.5                something set otherwise than advised
    """  # noqa: D301 - the \b is the backspace by which click keeps these lines apart
    from vatwright.answers.notebook import noted_text
    from vatwright.answers.numbers import plain
    from vatwright.files.outcome import outcome_text
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.render.notebook_json import noted_json
    from vatwright.wiring import learn_ahead, note_run, outcome_of_run, store_address

    opened = JobGiven(job, to, shop, store).opened()
    outcome = outcome_of_run(opened, outcomes, said, source=source)
    with ProgressLine() as progress:
        noted = note_run(opened, outcome, store=store, predict=not no_prediction, progress=progress)
    from vatwright.store.engine import shown_address

    address = shown_address(store_address(store))
    if as_json:
        answer = noted_json(noted, address, outcome_text(noted.outcome))
        print_data(answer)
    else:
        click.echo(plain(noted_text(noted, address)))
    if not no_prediction and noted.change is not None:
        # The answer stands above; what the run teaches is worked out now, so that the next carry need not wait for it.
        with ProgressLine() as progress:
            learn_ahead(opened, store=store, progress=progress)
