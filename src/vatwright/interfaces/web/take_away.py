"""What a page adds to each picture: places that can be read by pointing, and the picture and its data as files.

The files have no addresses of their own: they are the page itself, asked for with ``?take=pull.svg``.  So whatever page shows
a picture hands it out, and the state in its address makes the same picture.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from fastapi import HTTPException, Request
from markupsafe import Markup
from starlette.responses import Response

from vatwright.answers.blocks import Answer
from vatwright.interfaces.render.pictures.figure_files import figure_csv, figure_svg
from vatwright.interfaces.render.pictures.gallery import pictures_of
from vatwright.interfaces.render.pictures.plots import Drawing
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Callable

TAKE = "take"
FILES: dict[str, tuple[str, Callable[[Drawing], str]]] = {
    "svg": ("image/svg+xml", figure_svg),
    "csv": ("text/csv; charset=utf-8", figure_csv),
}
"""Ending of a file: its kind, and what makes it."""

_address: ContextVar[str] = ContextVar("address of the page that is drawn", default="")


def drawn_at(request: Request) -> None:
    """Note where the page stands that is drawn next; a page that only a form can ask for hands out no files."""
    kept = [(k, v) for k, v in request.query_params.multi_items() if k != TAKE]
    _address.set(f"{request.url.path}?{urlencode([*kept, (TAKE, '')])}" if request.method == "GET" else "")


def beside(figure: Drawing) -> Markup:
    """Return what stands with the data of a picture on a page."""
    address = _address.get()
    read = Markup()
    if figure.spots:
        spots = json.dumps([list(s) for s in figure.spots], ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        read = Markup('<div data-spots="{}" data-along="{}" data-hint="{}" hidden></div>').format(
            spots,
            say("Values along: {title}", title=figure.title),
            say("Point at the picture, or go along it with the arrow keys, to read values."),
        )
    if not address:
        return read
    link = Markup('<a class="button plain" download href="{}">{}</a>')
    return read + Markup('<p class="take">{}</p>').format(
        Markup(" ").join(link.format(address + n, n) for n in names(figure))
    )


def names(figure: Drawing) -> list[str]:
    """Return what the files of a picture are called."""
    return [f"{figure.slug}.{ending}" for ending in FILES]


def taken(request: Request, context: Mapping[str, object]) -> Response | None:
    """Return the file of a picture that was asked for in place of the page."""
    wanted = request.query_params.get(TAKE)
    if wanted is None or request.method != "GET":
        return None
    found = picture_file(pictures_in(context.values()), wanted)
    if found is None:
        raise HTTPException(404, to_say("There is no such picture on this page."))
    return found


def picture_file(figures: Iterable[Drawing], wanted: str) -> Response | None:
    """Return one file of one of these pictures, None where none is called so."""
    for figure in figures:
        if wanted in names(figure):
            kind, make = FILES[wanted.rpartition(".")[2]]
            return attachment(make(figure), kind, wanted)
    return None


def attachment(content: str | bytes, kind: str, name: str) -> Response:
    """Return something as a file to keep."""
    return Response(content, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'})


def answer_file(
    answer: Any, name: str, files: Mapping[str, tuple[str, Callable[[Any], str | bytes]]], what: str
) -> Response:
    """Return an answer as the file of that name; there is no such page where it has none, or is not there yet."""
    if answer is None or name not in files:
        raise HTTPException(404, to_say("There is no such file of this {what}.", what=what))
    kind, make = files[name]
    return attachment(make(answer), kind, name)


def data_text(data: object) -> str:
    """Return data as the text of a JSON file."""
    return json.dumps(data, ensure_ascii=False, allow_nan=False)


def pictures_in(values: Iterable[object]) -> Iterable[Drawing]:
    """Return every picture among what a page shows."""
    for value in values:
        if isinstance(value, Drawing):
            yield value
        elif isinstance(value, Answer):
            yield from pictures_of(value)
        elif isinstance(value, Mapping):
            yield from pictures_in(value.values())
        elif isinstance(value, Sequence) and not isinstance(value, (str, bytes)):
            yield from pictures_in(value)
