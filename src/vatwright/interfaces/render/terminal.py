"""An answer in a terminal: as wide as the terminal is, nothing cut, nothing beyond the edge."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any

from attrs import evolve

from vatwright.answers import blocks as b
from vatwright.answers.numbers import bound, plain
from vatwright.interfaces.render.pictures.gallery import drawn
from vatwright.interfaces.render.reader_units import as_read
from vatwright.wording import say

if TYPE_CHECKING:
    from vatwright.answers.blocks import Answer, Block, Column, Ledger, Part, Steps, Table

NARROWEST, WIDEST = 60, 100
"""Columns: below the first nothing can be set beside anything, beyond the second a line is too long to read; common
practice."""

HEAD = 11
"""Width of the margin in which the heads of a ledger stand, wider only for a longer head."""

GAP = 2
LEAST = 12
"""A column of words is made no narrower than this, where it is wider."""

ROOMY = 36
"""A column of sentences narrower than this is hard to read; common practice."""

BOLD, AMBER, RESET = "\x1b[1m", "\x1b[33m", "\x1b[0m"
_COLOURED = {"verdict": BOLD, "refusal": AMBER}


def terminal_width() -> int:
    """Return how many columns to write: those of the terminal, 80 where nobody says, at least 60 and at most 100."""
    return min(max(shutil.get_terminal_size((80, 24)).columns, NARROWEST), WIDEST)


def answer_text(answer: Answer, *, width: int = 80, colour: bool = False, whole: bool = False, rest: str = "") -> str:
    """Return an answer as terminal text.

    Parameters
    ----------
    answer : Answer
        What to show.
    width : int
        Columns; no line is longer.
    colour : bool
        True on a terminal: the verdict and the heads of what is to be done stand out.
    whole : bool
        Also the named parts under the first screen.
    rest : str
        How to see one of the named parts: written before their names, where they are left out.

    Returns
    -------
    str
        The text, ending in a newline.
    """
    blocks = (b.Heading(answer.title), *answer.blocks)
    if rest and answer.pages and not whole:
        names = ", ".join(p.slug for p in answer.pages)
        blocks = (*blocks, b.Ledger((b.Entry(say("More"), b.said(f"{rest} {names}.")),)))
    return _Writer(width, colour).text(blocks, answer.pages if whole else ())


def parts_text(parts: Iterable[Part], *, width: int = 80, colour: bool = False) -> str:
    """Return named parts alone as terminal text."""
    return _Writer(width, colour).text((), parts)


def blocks_text(blocks: Iterable[Block], *, width: int = 80) -> str:
    """Return blocks alone as terminal text."""
    return _Writer(width, False).text(blocks, ())


class _Writer:
    """Writes blocks into lines of one width."""

    def __init__(self, width: int, colour: bool) -> None:
        self.width, self.colour = width, colour

    def text(self, blocks: Iterable[Block], parts: Iterable[Part]) -> str:
        lines = self.blocks(blocks)
        for part in parts:
            lines += [*([""] if lines else []), *self.wrapped(part.title), *self.blocks(part.blocks, "  ")]
        return plain("\n".join(line.rstrip() for line in lines).strip("\n")) + "\n"

    def blocks(self, blocks: Iterable[Block], indent: str = "") -> list[str]:
        """Return the lines of blocks, a table, a ledger and a heading set off by an empty line."""
        lines: list[str] = []
        for block in blocks:
            apart = isinstance(block, b.Table | b.Ledger | b.Steps | b.Heading) and bool(lines)
            lines += [*([""] if apart else []), *self.block(block, indent)]
        return lines

    def block(self, block: Block, indent: str) -> list[str]:
        write: Callable[[Any, str], list[str]] = getattr(self, type(block).__name__.lower())
        return write(block, indent)

    def heading(self, block: b.Heading, indent: str) -> list[str]:
        return self.wrapped(block.text, indent)

    def points(self, block: b.Points, indent: str) -> list[str]:
        return [line for text in block.texts for line in self.wrapped(text, f"{indent}- ")]

    blanks = points

    def working(self, block: b.Working, indent: str) -> list[str]:
        return ["", *self.wrapped(block.summary, indent), *self.blocks(block.blocks, f"{indent}  ")]

    def source(self, block: b.Source, indent: str) -> list[str]:
        text = block.text if block.key in block.text else f"[{block.key}] {block.text}"
        return self.wrapped(text, f"{indent}- ")

    def more(self, block: b.More, indent: str) -> list[str]:
        return self.wrapped(block.text, indent)

    def figure(self, block: b.Figure, indent: str) -> list[str]:
        """Return what the picture finds: that is all of it that words can say."""
        return self.wrapped(f"{drawn(block).title}.", f"{indent}- ")

    def wrapped(self, text: str, head: str = "", hang: str = "") -> list[str]:
        """Return text wrapped behind its head, numbers kept beside their units."""
        lines = textwrap.wrap(
            plain(bound(as_read(text))), self.width, initial_indent=head, subsequent_indent=hang or " " * len(head)
        )
        return [line.replace("\xa0", " ") for line in lines] or [head]

    def sentence(self, said: b.Sentence, indent: str) -> list[str]:
        lines = self.wrapped(said.text, indent)
        mark = _COLOURED.get(said.role)
        return [f"{mark}{line}{RESET}" for line in lines] if mark and self.colour else lines

    def ledger(self, ledger: Ledger, _indent: str) -> list[str]:
        lines = []
        margin = max(HEAD, *(len(entry.head) + 1 for entry in ledger.entries))
        for entry in ledger.entries:
            head = f"{entry.head:<{margin}}"
            for said in entry.sentences:
                found = self.wrapped(said.text, head, " " * margin)
                if said.role == "do" and self.colour and head.strip():
                    found[0] = f"{AMBER}{head}{RESET}{found[0][margin:]}"
                lines += found
                head = " " * margin
        return lines

    def finding(self, found: b.Finding, indent: str) -> list[str]:
        measure = f" ({found.measure})" if found.measure else ""
        lines = self.wrapped(f"{found.what}{measure}", f"{indent}- ")
        return [*lines, *self.wrapped(f"{found.why} {found.do}".strip(), f"{indent}  ")]

    def steps(self, steps: Steps, indent: str) -> list[str]:
        heads = (say("clock {unit}", unit=steps.clock).strip(), say("set"), say("to"), say("layer"), say("safe"))
        columns = tuple(b.Column(h) for h in heads)
        rows = tuple(b.Row((s.when, s.what, s.value, s.layer, s.safe)) for s in steps.steps)
        return self.table(b.Table(columns=columns, rows=rows), indent)

    def table(self, table: Table, indent: str) -> list[str]:
        lines = self.wrapped(f"{table.title}:", indent) if table.title else []
        table = evolve(
            table, rows=tuple(evolve(r, cells=tuple(plain(as_read(c)) for c in r.cells)) for r in table.rows)
        )
        last = _hangs(table, self.width - len(indent))
        stop = len(table.columns) - last
        columns = table.columns[:stop]
        widths = _widths(
            [[c.label for c in columns], *(r.cells[:stop] for r in table.rows)], columns, self.width - len(indent)
        )
        lines += self.row([c.label for c in columns], columns, widths, indent)
        group = ""
        for row in table.rows:
            if row.group != group:
                lines.append(f"{indent}{row.group}")
                group = row.group
            lines += self.row(row.cells[:stop], columns, widths, indent)
            lines += [line for cell in row.cells[stop:] if cell for line in self.wrapped(cell, f"{indent}    ")]
        return [*lines, *(self.wrapped(table.note, indent) if table.note else [])]

    def row(self, cells: Sequence[str], columns: Sequence[Column], widths: Sequence[int], indent: str) -> list[str]:
        """Return the lines of one row: each cell wrapped within its column."""
        cut = [
            [t.replace("\xa0", " ") for t in textwrap.wrap(bound(c), w)] or [""]
            for c, w in zip(cells, widths, strict=True)
        ]
        lines = []
        for k in range(max(map(len, cut))):
            here = [c[k] if k < len(c) else "" for c in cut]
            set_ = [f"{t:>{w}}" if c.number else f"{t:<{w}}" for t, c, w in zip(here, columns, widths, strict=True)]
            lines.append(indent + (" " * GAP).join(set_).rstrip())
        return lines


def _hangs(table: Table, room: int) -> bool:
    """Return whether the last column is of sentences that have no room beside the others: they hang beneath their row."""
    longest = max((len(r.cells[-1]) for r in table.rows), default=0)
    cells = [[c.label for c in table.columns[:-1]], *(r.cells[:-1] for r in table.rows)]
    beside = sum(max(map(len, column)) + GAP for column in zip(*cells, strict=True))
    return longest > ROOMY and room - beside < min(longest, ROOMY)


def _widths(cells: Sequence[Sequence[str]], columns: Sequence[Column], room: int) -> list[int]:
    """Return the columns' widths: what their cells need, the widest columns of words narrowed until all fit."""
    widths = [max(len(row[k]) for row in cells) for k in range(len(columns))]
    room -= GAP * (len(widths) - 1)
    while sum(widths) > room:
        k = max(range(len(widths)), key=lambda i: (widths[i] > LEAST and not columns[i].number, widths[i]))
        if widths[k] <= 1:
            break
        widths[k] -= 1
    return widths
