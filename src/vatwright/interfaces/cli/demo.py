"""``vatwright demo``: the demo workshop."""

from __future__ import annotations

import click

from vatwright.wording import say, to_say


@click.command("demo", epilog="Example: vatwright demo my-workshop")
@click.argument("folder", default="demo-workshop", type=click.Path())
@click.option("--run", is_flag=True, help="Run the main job and write HTML, PDF and JSON into the folder instead.")
def demo(folder: str, run: bool) -> int:
    """Put the demo workshop (machines, resins, a recipe, parts, jobs) into a folder to play with."""
    from pathlib import Path

    from vatwright.errors import InputError
    from vatwright.wiring import copy_demo, demo_folder

    if Path(folder).exists() and not Path(folder).is_dir():
        raise InputError.one(folder, to_say("is a file"), to_say("Name a folder: vatwright demo NAME"))
    if not run:
        written = copy_demo(folder)
        click.echo(say("The demo workshop is in {folder}: {files} files. Next:", folder=folder, files=len(written)))
        click.echo(f"  vatwright carry {Path(folder) / 'harbour-lanterns.toml'}")
        return 0
    return _run(demo_folder() / "harbour-lanterns.toml", Path(folder))


def _run(job: object, out: object) -> int:
    from pathlib import Path

    from vatwright.answers.run_sheet import run_sheet_words
    from vatwright.interfaces.cli.carry import sheet_html, sheet_json, sheet_pdf, sheet_text
    from vatwright.interfaces.cli.job_options import JobGiven, write_bytes
    from vatwright.interfaces.render.paper import run_sheet_pdf

    folder = Path(str(out))
    folder.mkdir(parents=True, exist_ok=True)
    sheet = JobGiven(str(job), notebook=False).carried()
    click.echo(sheet_text(sheet), nl=False)
    for name, content in (
        ("carry-sheet.html", sheet_html(sheet)),
        ("carry-sheet.pdf", sheet_pdf(sheet)),
        ("carry-sheet-with-appendix.pdf", sheet_pdf(sheet, appendix=True)),
        ("carry-sheet.json", sheet_json(sheet).encode()),
        ("run-sheet.pdf", run_sheet_pdf(run_sheet_words(sheet))),
    ):
        write_bytes(str(folder / name), content)
    return 0
