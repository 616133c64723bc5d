"""``vatwright sheet``: the run sheet for the bench."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.job_options import (
    carried,
    check_outputs,
    job_arguments,
    notebook_options,
    write_bytes,
)


@click.command("sheet", epilog="Example: vatwright sheet harbour-lanterns.toml --pdf run.pdf")
@job_arguments
@notebook_options
@click.option("--pdf", "pdf_path", type=click.Path(), required=True, help="Where to write it.")
def sheet(job: str, to: str | None, shop: str | None, store: str | None, without_notebook: bool, pdf_path: str) -> int:
    """Write the run sheet: what to type in, what to do when, checks and cautions, room for notes."""
    from vatwright.answers.run_sheet import run_sheet_words
    from vatwright.interfaces.render.paper import run_sheet_pdf

    check_outputs(pdf=pdf_path)
    answer = carried(job, to=to, shop=shop, store=store, without_notebook=without_notebook)
    write_bytes(pdf_path, run_sheet_pdf(run_sheet_words(answer)))
    return 0 if answer.holds else 1
