"""An answer on paper: A4, tagged, the same bytes for the same answer."""

from __future__ import annotations

import json
from importlib import resources
from typing import TYPE_CHECKING, Any

import typst
from attrs import asdict

from vatwright.answers.blocks import Figure, Working
from vatwright.answers.numbers import bound
from vatwright.interfaces.render.page import SHORT, kind_of
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.belief_plot import margin_bar
from vatwright.interfaces.render.pictures.gallery import drawn
from vatwright.interfaces.render.reader_units import as_read
from vatwright.wording import language, say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from typst import PDFStandard

    from vatwright.answers.blocks import Answer, Block, Table
    from vatwright.interfaces.render.pictures.plots import Drawing

WIDE = 80
"""Characters of a cell beyond which a column needs no more of the page; common practice."""


def answer_pdf(answer: Answer, *, appendix: bool = False) -> bytes:
    """Return an answer as PDF: its first screen, then its parts under their headings.

    Parameters
    ----------
    answer : Answer
        What to print.
    appendix : bool
        Also the parts that most readers pass over, every picture and its data.

    Returns
    -------
    bytes
        A PDF/UA-1 file without a date, so that the same answer gives the same bytes.
    """
    parts = [p for p in answer.pages if appendix or not p.appendix]
    shown = [{"title": p.title, "blocks": block_words(_printed(p.blocks, appendix))} for p in parts]
    return printed("answer.typ", {"title": answer.title, "blocks": block_words(answer.blocks), "parts": shown})


def run_sheet_pdf(words: dict[str, Any]) -> bytes:
    """Return the run sheet as PDF, two pages of A4 for most jobs: a form with boxes to tick and lines to write on."""
    return printed("run_sheet.typ", words)


def _printed(blocks: Iterable[Block], appendix: bool) -> list[Block]:
    """Return what of a part stands on paper: pictures and workings in the appendix alone, for they take pages."""
    return [b for b in blocks if appendix or not isinstance(b, Figure | Working)]


def block_words(blocks: Iterable[Block]) -> list[dict[str, Any]]:
    """Return blocks as the printed page takes them: each with its kind, pictures drawn."""
    return [_block(block, number) for number, block in enumerate(blocks)]


def _block(block: Block, number: int) -> dict[str, Any]:
    kind = kind_of(block)
    if kind == "figure":
        return {"kind": kind} | printed_figure(drawn(block))  # type: ignore[arg-type]
    if kind == "working":
        return {"kind": kind, "summary": block.summary, "blocks": block_words(block.blocks)}  # type: ignore[union-attr]
    words = {"kind": kind} | asdict(block)
    if kind == "steps":
        clock = say("clock {unit}", unit=block.clock)  # type: ignore[union-attr]
        words |= {"heads": [clock, say("set"), say("to"), say("layer"), say("what is safe")]}
    if kind == "finding":
        bar = margin_bar(block.margin, number)  # type: ignore[union-attr]
        words |= {"margin": "", "bar": svg.for_print(bar) if bar else ""}
    if kind == "table":
        words |= {"heads": [c.label for c in block.columns], "widths": _widths(block)}  # type: ignore[union-attr,arg-type]
    return words


def _widths(table: Table) -> list[int]:
    """Return how the columns share the page: 0 as wide as its words, else a share by its longest cell."""
    longest = [max((len(r.cells[k]) for r in table.rows), default=0) for k in range(len(table.columns))]
    return [min(n, WIDE) if n > SHORT else 0 for n in longest]


def printed_figure(figure: Drawing) -> dict[str, Any]:
    """Return a figure as the printed page takes it."""
    for_the_screen = ("spots", "full")
    kept = {k: v for k, v in figure._asdict().items() if k not in for_the_screen}
    return kept | {"picture": svg.for_print(figure.picture)}


def printed(page: str, words: dict[str, Any]) -> bytes:
    """Return a page of ours filled with words.

    The words go in as JSON, so a user's text is never code.  The fonts are typst's own, which keeps the bytes the same
    on every machine; only a script those fonts lack falls back on the machine's fonts and on a PDF without the
    accessibility mark, because a missing letter would break that standard.
    """
    shelf = resources.files("vatwright.interfaces.render") / "templates"
    source = "\n".join((shelf / name).read_text(encoding="utf-8") for name in ("bench.typ", page)).encode()
    inputs = {
        "sheet": json.dumps(
            _kept_together(words | {"language": language.get(), "page_of": say("1 of 1")}), ensure_ascii=False
        )
    }
    try:
        return _compiled(source, inputs, own_fonts=True)
    except typst.TypstError as error:
        if "glyph" not in str(error) and "font" not in str(error):
            raise
        return _compiled(source, inputs, own_fonts=False)


def _kept_together(value: Any) -> Any:
    """Keep numbers beside their units in every text but the pictures."""
    if isinstance(value, dict):
        return {k: v if k in {"picture", "bar"} else _kept_together(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_kept_together(v) for v in value]
    return bound(as_read(value)) if isinstance(value, str) else value


def _compiled(source: bytes, inputs: dict[str, str], *, own_fonts: bool) -> bytes:
    standards: list[PDFStandard] = ["ua-1"] if own_fonts else []
    made: bytes = typst.compile(
        source, format="pdf", sys_inputs=inputs, ignore_system_fonts=own_fonts, pdf_standards=standards
    )
    return made
