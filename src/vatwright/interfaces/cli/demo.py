"""``vatwright demo``: the demo workshop."""

from __future__ import annotations

import click


@click.command("demo", epilog="Example: vatwright demo my-workshop")
@click.argument("folder", default="demo-workshop", type=click.Path())
@click.option("--run", is_flag=True, help="Run the main job and write HTML, PDF and JSON into the folder instead.")
def demo(folder: str, run: bool) -> int:
    """Put the demo workshop (machines, resins, a recipe, parts, jobs) into a folder to play with."""
    from pathlib import Path

    from vatwright.errors import InputError
    from vatwright.wiring import copy_demo, demo_folder

    if Path(folder).exists() and not Path(folder).is_dir():
        raise InputError.one(folder, "is a file", "Name a folder: vatwright demo NAME")
    if not run:
        written = copy_demo(folder)
        click.echo(f"The demo workshop is in {folder}: {len(written)} files. Next:")
        click.echo(f"  vatwright carry {Path(folder) / 'harbour-lanterns.toml'}")
        return 0
    return _run(demo_folder() / "harbour-lanterns.toml", Path(folder))


def _run(job: object, out: object) -> int:
    import json
    import sys
    from pathlib import Path

    from vatwright.interfaces.cli.job_options import carried, citation, write_bytes
    from vatwright.interfaces.render.carry_html import carry_html
    from vatwright.interfaces.render.carry_json import carry_json
    from vatwright.interfaces.render.carry_pdf import carry_pdf
    from vatwright.interfaces.render.carry_text import carry_text
    from vatwright.interfaces.render.run_sheet import run_sheet_pdf

    folder = Path(str(out))
    folder.mkdir(parents=True, exist_ok=True)
    sheet = carried(str(job), to=None, shop=None, without_notebook=True)
    click.echo(carry_text(sheet, colour=sys.stdout.isatty(), cite=citation))
    answer = json.dumps(carry_json(sheet, cite=citation), ensure_ascii=False, allow_nan=False)
    for name, content in (
        ("carry-sheet.html", carry_html(sheet, cite=citation).encode()),
        ("carry-sheet.pdf", carry_pdf(sheet, cite=citation)),
        ("carry-sheet.json", answer.encode()),
        ("run-sheet.pdf", run_sheet_pdf(sheet, cite=citation)),
    ):
        write_bytes(str(folder / name), content)
    return 0
