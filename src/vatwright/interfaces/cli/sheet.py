"""``vatwright sheet``: the run sheet for the bench."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.job_options import JobGiven, check_outputs, job_given, write_bytes


@click.command("sheet", epilog="Example: vatwright sheet harbour-lanterns.toml --pdf run.pdf")
@job_given
@click.option("--pdf", "pdf_path", type=click.Path(), required=True, help="Where to write it.")
def sheet(of: JobGiven, *, pdf_path: str) -> int:
    """Write the run sheet: what to type in, what to do when, checks and cautions, room for notes."""
    from vatwright.answers.run_sheet import run_sheet_words
    from vatwright.interfaces.render.paper import run_sheet_pdf

    check_outputs(pdf=pdf_path)
    answer = of.carried()
    write_bytes(pdf_path, run_sheet_pdf(run_sheet_words(answer)))
    return 0 if answer.holds else 1
