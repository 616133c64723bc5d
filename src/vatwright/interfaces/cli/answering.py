"""How every command tells its answer: in words on the terminal, as data, as a page or on paper."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Any

import click

from vatwright.interfaces.cli.job_options import write_bytes

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.answers.blocks import Answer


def json_option(schema: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add to a command that its answer may be data."""
    return click.option("--json", "as_json", is_flag=True, help=f"Print {schema}.")


def html_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add to a command that its answer may be a page besides."""
    return click.option("--html", "html_path", type=click.Path(), help="Write it as one self-contained page.")(command)


def tell(
    answer: Callable[[], Answer],
    data: Callable[[], object],
    *,
    as_json: bool,
    html_path: str | None = None,
    pdf_path: str | None = None,
    leave: tuple[str, ...] = (),
    whole: bool = True,
) -> None:
    """Write the files that were asked for, then print the answer in words or as data.

    Parameters
    ----------
    answer : callable
        Gives the answer in words.
    data : callable
        Gives the answer as data.
    as_json : bool
        Print the data.
    html_path, pdf_path : str or None
        Where to write the page, and the paper.
    leave : tuple of str
        Pages of the answer that the terminal leaves out.
    whole : bool
        Print every page of it; else its first screen.
    """
    if html_path:
        from vatwright.interfaces.render.page import answer_page

        write_bytes(html_path, answer_page(answer()).encode())
    if pdf_path:
        from vatwright.interfaces.render.paper import answer_pdf

        write_bytes(pdf_path, answer_pdf(answer(), appendix=True))
    if as_json:
        print_data(data())
        return
    from attrs import evolve

    from vatwright.interfaces.render.terminal import answer_text, terminal_width

    found = answer()
    seen = evolve(found, pages=tuple(p for p in found.pages if p.slug not in leave))
    click.echo(answer_text(seen, width=terminal_width(), colour=sys.stdout.isatty(), whole=whole), nl=False)


def print_data(data: object, *, indent: int | None = None) -> None:
    """Print data as JSON."""
    click.echo(json.dumps(data, ensure_ascii=False, allow_nan=False, indent=indent))
