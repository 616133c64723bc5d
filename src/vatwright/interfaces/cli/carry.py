"""``vatwright carry``: the main job."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

import click

from vatwright.interfaces.cli.job_options import JobGiven, check_outputs, citation, job_given, write_bytes
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.records.plan import CarrySheet

ALL = "everything"
REST = to_say("Add --why for everything, --why SETTING for one value, or --why with one of:")


@click.command("carry", epilog="Example: vatwright carry harbour-lanterns.toml --why 'base settle'")
@job_given
@click.option(
    "--why", is_flag=False, flag_value=ALL, metavar="[WHAT]",
    help="Print the reasons: of one setting, of one named page, or, without a name, all of them.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print vatwright.carry/1 instead of the sheet.")
@click.option("--html", "html_path", type=click.Path(), help="Write the sheet as one self-contained page.")
@click.option("--pdf", "pdf_path", type=click.Path(), help="Write the sheet as PDF, three pages at most.")
@click.option("--appendix", is_flag=True, help="Add to the PDF every picture with its data, and the sources.")
@click.option("--csv", "csv_path", type=click.Path(), help="Write the layer table as CSV.")
def carry(
    of: JobGiven,
    *,
    why: str | None,
    as_json: bool,
    html_path: str | None,
    pdf_path: str | None,
    appendix: bool,
    csv_path: str | None,
) -> int:
    """Carry a proven recipe to another machine: what to set, time, what to do by hand, what to watch.

    Exits 1 when the answer is that it will not hold.
    """
    check_outputs(html=html_path, pdf=pdf_path, csv=csv_path)
    sheet = of.carried()
    if html_path:
        write_bytes(html_path, sheet_html(sheet))
    if pdf_path:
        write_bytes(pdf_path, sheet_pdf(sheet, appendix=appendix))
    if csv_path:
        from vatwright.interfaces.render.carry_csv import layers_csv

        write_bytes(csv_path, layers_csv(sheet).encode())
    click.echo(sheet_json(sheet) if as_json else sheet_text(sheet, why), nl=as_json)
    return 0 if sheet.holds else 1


def sheet_html(sheet: CarrySheet) -> bytes:
    """Return the sheet as one self-contained page."""
    from vatwright.answers.carry import carry_answer
    from vatwright.interfaces.render.page import answer_page

    return answer_page(carry_answer(sheet, cite=citation)).encode()


def sheet_pdf(sheet: CarrySheet, *, appendix: bool = False) -> bytes:
    """Return the sheet as PDF."""
    from vatwright.answers.carry import carry_on_paper
    from vatwright.interfaces.render.paper import answer_pdf

    return answer_pdf(carry_on_paper(sheet, cite=citation), appendix=appendix)


def sheet_json(sheet: CarrySheet) -> str:
    """Return the sheet as data."""
    from vatwright.interfaces.render.carry_json import carry_json

    return json.dumps(carry_json(sheet, cite=citation), ensure_ascii=False, allow_nan=False)


def sheet_text(sheet: CarrySheet, why: str | None = None) -> str:
    """Return the sheet for this terminal: its first screen, or the reasons asked for.

    Raises
    ------
    InputError
        Where neither a setting nor a page is called so.
    """
    from vatwright.answers.carry import carry_answer
    from vatwright.answers.settings import one_reason, setting_called, setting_words
    from vatwright.errors import InputError
    from vatwright.interfaces.render.terminal import answer_text, blocks_text, parts_text, terminal_width

    width, colour = terminal_width(), sys.stdout.isatty()
    answer = carry_answer(sheet, cite=citation)
    if why is None:
        return answer_text(answer, width=width, colour=colour, rest=say(REST))
    if why == ALL:
        return parts_text(answer.pages, width=width, colour=colour)
    page = answer.page(why.strip().lower())
    if page is not None:
        return parts_text([page], width=width, colour=colour)
    name = setting_called(why, sheet)
    if not name:
        pages, settings = (p.slug for p in answer.pages), (setting_words(a.name) for a in sheet.settings)
        known = f"Name a page ({', '.join(pages)}) or a setting ({', '.join(settings)}), after the job"
        raise InputError.one("--why", to_say("there is neither a page nor a setting called {why!r}", why=why), known)
    return blocks_text(one_reason(sheet, name, cite=citation), width=width)
