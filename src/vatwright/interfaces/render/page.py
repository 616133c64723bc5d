"""An answer as a page: its blocks through one template of macros, one style sheet, no script."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from vatwright.answers.numbers import bound
from vatwright.interfaces.render.pictures.belief_plot import margin_bar
from vatwright.interfaces.render.pictures.gallery import drawn
from vatwright.interfaces.render.reader_units import as_read
from vatwright.wording import in_words, language, say, say_many

if TYPE_CHECKING:
    from vatwright.answers.blocks import Answer, Block, Table
    from vatwright.interfaces.render.pictures.svg import Svg

SHORT = 24
"""Characters of a cell that still stands beside its neighbours on a phone; common practice."""


def answer_page(answer: Answer) -> str:
    """Return an answer as one self-contained page: the first screen, then every named part under its heading."""
    return page_templates().get_template("answer.html").render(css=page_style(), answer=answer)


BESIDE = 7
"""Columns that find room beside each other on a phone, however short their cells; common practice."""


def kind_of(block: Block) -> str:
    """Return the name of a block's kind, by which its macro is called."""
    return type(block).__name__.lower()


def wordy(table: Table) -> bool:
    """Return whether a table has sentences or many columns: on a phone each of its rows is a card, while others stay rows."""
    return len(table.columns) > BESIDE or any(len(cell) > SHORT for row in table.rows for cell in row.cells)


def _markup(picture: Svg) -> Markup:
    """Return a picture of our own drawing kit, which escaped what it was given, as markup."""
    return Markup(picture)  # noqa: S704


def _nothing_beside(_figure: object) -> str:
    """Return what a page on its own adds to a picture: nothing, for it has no script and nobody to ask for files."""
    return ""


def _kept_together(value: object) -> object:
    """Keep numbers beside their units in everything but markup."""
    return bound(as_read(value)) if isinstance(value, str) and not isinstance(value, Markup) else value


def _said(template: str, /, **values: Any) -> str:
    """Return a text in the reader's language; as markup, its other values escaped, where a value is markup."""
    if not any(isinstance(v, Markup) for v in values.values()):
        return say(template, **values)
    return Markup(say(template, **{k: escape(in_words(v)) if isinstance(v, str) else v for k, v in values.items()}))  # noqa: S704


def page_templates() -> Environment:
    """Return the templates of this room, escaping everything."""
    environment = Environment(
        loader=PackageLoader("vatwright.interfaces.render"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_kept_together,
    )
    environment.filters |= {"markup": _markup, "kind": kind_of, "drawn": drawn, "wordy": wordy}
    environment.globals |= {"beside": _nothing_beside, "margin_bar": margin_bar, "reader_language": language.get}
    environment.globals |= {"say": _said, "say_many": say_many}
    return environment


def page_style() -> Markup:
    """Return our own style sheet as markup."""
    text = (resources.files("vatwright.interfaces.render") / "templates" / "carry.css").read_text(encoding="utf-8")
    return Markup(text)  # noqa: S704
