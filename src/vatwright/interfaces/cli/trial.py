"""``vatwright trial``: a small print made to learn one number."""

from __future__ import annotations

import json

import click

from vatwright.interfaces.cli.answering import html_option, json_option, tell

KINDS = ("settle-steps", "release-span", "cure-depth", "base-bond", "level-check", "detail-ladder")


@click.command(
    "trial", epilog="Example: vatwright trial settle-steps --machine Albatross -o stair.stl --html stair.html"
)
@click.argument("kind", type=click.Choice(KINDS), metavar="KIND")
@click.option("--machine", metavar="MACHINE", help="Machine of the shop that prints it; with --for the job's.")
@click.option(
    "--for",
    "job_for",
    type=click.Path(),
    metavar="JOB.toml",
    help="Made for this job: its machine, resin, room and base.",
)
@click.option("--resin", metavar="RESIN", help="Resin of the shop; else that of the recipe it starts from.")
@click.option("--room-c", type=click.FloatRange(-10.0, 60.0), help="Temperature of the room [C]; else the recipe's.")
@click.option(
    "--shop", type=click.Path(), envvar="VATWRIGHT_SHOP", help="Shop file; else shop.toml, else the notebook."
)
@click.option(
    "--stl", "-o", "stl_path", required=True, type=click.Path(), metavar="F.stl", help="Write the solids there."
)
@click.option("--sheet", "sheet_path", type=click.Path(), help="Write the readings to fill in, as vatwright.outcome/1.")
@click.option("--job", "job_path", type=click.Path(), help="Write the job that prints it, for note and carry.")
@html_option
@click.option("--force", is_flag=True, help="Write over files that are there.")
@json_option("vatwright.trial/1")
def trial(
    kind: str,
    machine: str | None,
    job_for: str | None,
    resin: str | None,
    room_c: float | None,
    shop: str | None,
    stl_path: str,
    sheet_path: str | None,
    job_path: str | None,
    html_path: str | None,
    force: bool,
    as_json: bool,
) -> int:
    """Make a trial piece: KIND is settle-steps, release-span, cure-depth, base-bond, level-check or detail-ladder.

    The piece is sized so that its outcome falls across its parts, whatever of the plausible is true.
    """
    from vatwright.answers.trial import trial_answer
    from vatwright.interfaces.cli.job_options import JobGiven, check_outputs, citation, write_bytes
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.render.trial_json import trial_json
    from vatwright.wiring import TrialAsked, new_outputs, trial_of_shop

    if machine is None and job_for is None:
        raise click.UsageError("Name the machine with --machine, or the job it is made for with --for.")
    if job_for is not None and resin is not None:
        raise click.UsageError("With --for the resin is the job's: leave --resin out.")
    new_outputs({".stl": stl_path, ".json": sheet_path, ".toml": job_path}, force=force)
    check_outputs(html=html_path)
    of = None if job_for is None else JobGiven(job_for, machine, shop).opened()
    asked = TrialAsked(kind, machine or "", resin, room_c, stl_path, of)
    with ProgressLine() as progress:
        made = trial_of_shop(asked, shop, progress=progress)
    write_bytes(stl_path, made.stl)
    if sheet_path:
        from vatwright.interfaces.render.trial_outcome import trial_outcome

        text = json.dumps(trial_outcome(made.trial), ensure_ascii=False, allow_nan=False, indent=1)
        write_bytes(sheet_path, text.encode() + b"\n")
    if job_path:
        write_bytes(job_path, made.job_text(job_path).encode())
    tell(
        lambda: trial_answer(made.trial, cite=citation),
        lambda: trial_json(made.trial, file=stl_path, cite=citation),
        as_json=as_json,
        html_path=html_path,
    )
    return 0
