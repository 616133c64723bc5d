"""``vatwright why``: causes of a failure, ranked, and what tells the first two apart."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.answering import json_option, tell
from vatwright.interfaces.cli.job_options import JobGiven, citation, job_given

ALIASES = {
    "wrong_height": "height_mm",
    "base": "base_let_go",
    "let_go": "base_let_go",
    "split": "layer_split",
    "delaminated": "layer_split",
    "on_film": "stuck_to_film",
    "thick": "thick_band",
    "thin": "thin_band",
}
"""What people also say for what was seen."""


@click.command("why", epilog="Example: vatwright why harbour-lanterns.toml --seen base_let_go@rear-left")
@job_given
@click.option(
    "--seen",
    "seen",
    multiple=True,
    metavar="SYMPTOM[@PLACE]",
    help="What was seen, read or set: base_let_go@rear-left, layer_split@412 or @20.6mm, not_released, stuck_to_film, "
    "thick_band, thin_band, torn, lines, wrong_height=51.8, first_layer_um=120@-120,70, body.settle_s=4. Repeat it.",
)
@click.option(
    "--run",
    metavar="NAME",
    help="A run of the notebook: what its note says was seen, unless --seen says it, and what hands really set.",
)
@json_option("vatwright.why/1")
def why(of: JobGiven, *, seen: tuple[str, ...], run: str | None, as_json: bool) -> int:
    """Say why a run failed: causes ranked by the margins they break, with what to do, and what tells them apart.

    The run is taken to be printed as the carry sheet says, but for settings named with --seen.
    """
    from vatwright.answers.why import why_answer
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.render.why_json import why_json
    from vatwright.wiring import ask_about, observed_in_run, observed_of_words, run_noted

    if not seen and run is None:
        raise click.UsageError("Say what was seen with --seen, or which run of the notebook it was with --run.")
    opened = of.opened()
    observed = observed_of_words(opened, tuple(_plain(word) for word in seen)) if seen else None
    if run is not None:
        observed = observed_in_run(run_noted(run, store=of.store), observed)
    if observed is None:
        raise click.UsageError("Say what was seen with --seen.")
    with ProgressLine() as progress:
        sheet = ask_about(opened, observed, store=of.store, notebook=of.notebook, progress=progress)
    tell(lambda: why_answer(sheet, cite=citation), lambda: why_json(sheet, cite=citation), as_json=as_json)
    return 0


def _plain(word: str) -> str:
    """The word of an outcome for what people also say; dashes stand for underscores in what was seen."""
    ends = [i for i in (word.find("@"), word.find("=")) if i >= 0]
    head, rest = (word[: min(ends)], word[min(ends) :]) if ends else (word, "")
    name = head.strip().replace("-", "_").replace(" ", "_").lower()
    return ALIASES.get(name, name if name in _known() else head.strip()) + rest


def _known() -> frozenset[str]:
    from vatwright.records.run import Seen

    return frozenset(Seen)
