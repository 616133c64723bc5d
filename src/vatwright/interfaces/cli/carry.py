"""``vatwright carry``: the main job."""

from __future__ import annotations

import json
import sys

import click

from vatwright.interfaces.cli.job_options import (
    carried,
    check_outputs,
    citation,
    job_arguments,
    notebook_options,
    write_bytes,
)


@click.command("carry", epilog="Example: vatwright carry harbour-lanterns.toml --to Heron --pdf lanterns.pdf")
@job_arguments
@notebook_options
@click.option("--json", "as_json", is_flag=True, help="Print vatwright.carry/1 instead of the sheet.")
@click.option("--html", "html_path", type=click.Path(), help="Write the sheet as one self-contained page.")
@click.option("--pdf", "pdf_path", type=click.Path(), help="Write the sheet as PDF.")
@click.option("--csv", "csv_path", type=click.Path(), help="Write the layer table as CSV.")
def carry(
    job: str,
    to: str | None,
    shop: str | None,
    store: str | None,
    without_notebook: bool,
    as_json: bool,
    html_path: str | None,
    pdf_path: str | None,
    csv_path: str | None,
) -> int:
    """Carry a proven recipe to another machine: settings side by side, time, what to do by hand, what to watch.

    Exits 1 when the answer is that it will not hold.
    """
    check_outputs(html=html_path, pdf=pdf_path, csv=csv_path)
    sheet = carried(job, to=to, shop=shop, store=store, without_notebook=without_notebook)
    if html_path:
        from vatwright.interfaces.render.carry_html import carry_html

        write_bytes(html_path, carry_html(sheet, cite=citation).encode())
    if pdf_path:
        from vatwright.interfaces.render.carry_pdf import carry_pdf

        write_bytes(pdf_path, carry_pdf(sheet, cite=citation))
    if csv_path:
        from vatwright.interfaces.render.carry_csv import layers_csv

        write_bytes(csv_path, layers_csv(sheet).encode())
    if as_json:
        from vatwright.interfaces.render.carry_json import carry_json

        click.echo(json.dumps(carry_json(sheet, cite=citation), ensure_ascii=False, allow_nan=False))
    else:
        from vatwright.interfaces.render.carry_text import carry_text

        click.echo(carry_text(sheet, colour=sys.stdout.isatty(), cite=citation))
    return 0 if sheet.holds else 1
