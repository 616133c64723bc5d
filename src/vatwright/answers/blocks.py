"""What an answer is made of: sentences, tables, pictures and steps, without markup and without a place on a page.

An answer's file turns its record into these blocks, and that is where every word stands.  Terminal, page and paper know
the blocks and nothing of an answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Literal

from attrs import evolve, field, frozen

from vatwright.wording import in_words

Role = Literal["plain", "verdict", "refusal", "do", "caution", "note"]
"""What a sentence is for: a verdict that says yes, a refusal one that says no, something to do, to beware of, a remark."""


@frozen
class Sentence:
    """One thing said, whole: it starts with a capital and ends with a full stop."""

    text: str
    role: Role = "plain"


@frozen
class Heading:
    """A heading inside a part; `slug` is its name for links, empty where nobody links to it."""

    text: str
    slug: str = ""


@frozen
class Points:
    """Sentences that stand side by side, in no order of time."""

    texts: tuple[str, ...]
    role: Role = "plain"


@frozen
class Blanks(Points):
    """What nobody has stated, a sentence each, with the field that it would stand in: a bench leads there."""

    fields: tuple[Any, ...] = field(default=(), eq=False)


@frozen
class Column:
    """A column of a table: its head, its unit, and whether it holds numbers to be read against each other."""

    head: str
    unit: str = ""
    number: bool = False

    @property
    def label(self) -> str:
        """The head with its unit."""
        return f"{in_words(self.head)} [{self.unit}]" if self.unit else in_words(self.head)


@frozen
class Row:
    """A row of a table: a cell for each column; `group` names the rows it stands with, `quiet` says that nothing changed."""

    cells: tuple[str, ...]
    group: str = ""
    quiet: bool = False


@frozen(kw_only=True)
class Table:
    """Rows under heads; the first cell of a row names it.

    Parameters
    ----------
    title : str
        What it shows, without a full stop; empty where the heading above says so.
    columns : tuple of Column
        Heads.
    rows : tuple of Row
        Cells as text.
    slug : str
        Name for links and files.
    note : str
        A remark under it.
    """

    title: str = ""
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    slug: str = ""
    note: str = ""


@frozen(kw_only=True)
class Figure:
    """A picture by its slug, drawn from `data`; its title states the finding (empty: the drawing knows it best)."""

    slug: str
    data: Any = field(eq=False)
    title: str = ""


@frozen
class Entry:
    """A short head and what stands beside it."""

    head: str
    sentences: tuple[Sentence, ...]


@frozen
class Ledger:
    """Short heads with what stands beside each, as in the margin of a ledger."""

    entries: tuple[Entry, ...]


@frozen(kw_only=True)
class Step:
    """One act by hand: when, what to set and to what, from which layer on, and how late or early it may be."""

    when: str
    what: str
    value: str
    layer: str = ""
    safe: str = ""


@frozen(kw_only=True)
class Steps:
    """What a person does, in order of time; `clock` says how the times are to be read."""

    steps: tuple[Step, ...]
    clock: str = ""


@frozen(kw_only=True)
class Finding:
    """Something that matters, worst first: what it is, where and how much, why, and what to do.

    `margin` is what is there over what is needed, drawn as a bar where there is one.
    """

    what: str
    measure: str = ""
    margin: float | None = None
    why: str = ""
    do: str = ""


@frozen
class Working:
    """Blocks that most readers pass over: folded where that is possible, under their summary."""

    summary: str
    blocks: tuple[Block, ...]


@frozen
class More:
    """A pointer to another part of the same answer, by the part's slug."""

    text: str
    part: str


@frozen
class Source:
    """Where a figure is from: the key and its citation."""

    key: str
    text: str


Block = (
    Sentence | Heading | Points | Blanks | Table | Figure | Ledger | Steps | Finding | Working | More | Source
)  # one of these, in reading order


@frozen
class Part:
    """Blocks that are shown together under a title, and can be shown alone by their slug.

    `name` is what a pointer to it says; `appendix` says that paper leaves it out unless asked for.
    """

    slug: str
    title: str
    blocks: tuple[Block, ...]
    name: str = ""
    appendix: bool = False

    @property
    def pictures(self) -> tuple[Figure, ...]:
        """Its pictures that are not folded away."""
        return tuple(b for b in self.blocks if isinstance(b, Figure))

    def without_pictures(self) -> Part:
        """Return it as letters alone can show it."""
        return evolve(self, blocks=tuple(b for b in self.blocks if not isinstance(b, Figure)))


@frozen(kw_only=True)
class Answer:
    """An answer whole: what stands on its first screen, and the named parts one step away.

    Parameters
    ----------
    name : str
        Which answer it is, such as "carry".
    title : str
        Its heading.
    blocks : tuple of Block
        The first screen: the answer, and all that one does.
    pages : tuple of Part
        The rest, each under its own name, in reading order.
    """

    name: str
    title: str
    blocks: tuple[Block, ...]
    pages: tuple[Part, ...] = ()

    def page(self, slug: str) -> Part | None:
        """Return the part called `slug`, None where there is none."""
        return next((p for p in self.pages if p.slug == slug), None)


def said(*texts: str, role: Role = "plain") -> tuple[Sentence, ...]:
    """Return each text that is not empty as a sentence.

    Examples
    --------
    >>> said("It holds.", "")
    (Sentence(text='It holds.', role='plain'),)
    """
    return tuple(Sentence(t, role) for t in texts if t)


def points(texts: Iterable[str], role: Role = "plain") -> tuple[Block, ...]:
    """Return texts as points, nothing where there is none."""
    found = tuple(t for t in texts if t)
    return (Points(found, role),) if found else ()


def every(blocks: Iterable[Block]) -> Iterator[Block]:
    """Return all blocks in reading order, those that are folded away too."""
    for block in blocks:
        yield block
        if isinstance(block, Working):
            yield from every(block.blocks)
