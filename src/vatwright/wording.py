"""What is said to a reader, in the reader's language: English stands in the source, the others in ``languages/*.po``.

A text is a constant with named places for what it tells of, so that the list of all texts can be made from the source
alone: ``say("Up to {late} late is safe.", late=duration(...))``.  :func:`say` speaks at once, in the language of whoever
reads; :func:`to_say` keeps a text in English together with what it was made of, so that it can be stored, and said in any
language later.
"""

from __future__ import annotations

import gettext
import string
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, wraps
from importlib import resources
from numbers import Number
from typing import TYPE_CHECKING, Any, NamedTuple, ParamSpec, Self, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from datetime import date, datetime

    from babel.messages.catalog import Catalog

P = ParamSpec("P")
R = TypeVar("R")

ENGLISH = "en"
VARIABLE = "VATWRIGHT_LANGUAGE"
"""The environment variable that says in which language to answer; the operating system's own come after it."""

SYSTEM_VARIABLES = ("LC_ALL", "LC_MESSAGES", "LANG")
"""Where an operating system says its language, the first one set counting (POSIX.1-2017, Base Definitions, 8.2)."""

language: ContextVar[str] = ContextVar("language", default=ENGLISH)
"""The language of the reader of what is being said; set where a request comes in."""


class Told(str):
    """A text in English that still knows its template and what stands in its places."""

    __slots__ = ("places", "template")
    template: str
    places: Mapping[str, Any]

    def __new__(cls, template: str, values: Mapping[str, Any]) -> Self:
        """Return the text in English."""
        made = super().__new__(cls, _FORMS[ENGLISH].vformat(template, (), values) if values else template)
        made.template, made.places = template, values
        return made

    def __getnewargs__(self) -> tuple[str, Mapping[str, Any]]:  # type: ignore[override]
        return self.template, self.places


class _Form(string.Formatter):
    """Fills the places of a text, with the decimal sign and the thousands of one language."""

    def __init__(self, decimal: str, group: str) -> None:
        self.signs = {ord("."): decimal, ord(","): group}

    def get_field(self, field_name: str, args: Sequence[Any], kwargs: Mapping[str, Any]) -> tuple[Any, str]:  # noqa: ARG002
        """Return what stands in a place: by its name alone, so that no template reaches inside of anything."""
        return kwargs[field_name], field_name

    def convert_field(self, value: Any, conversion: str | None) -> Any:
        """Return a value with its first letter large (``!c``) or small (``!l``), else as any format string has it."""
        if conversion not in {"c", "l"}:
            return super().convert_field(value, conversion)
        text = str(value) if self is _FORMS[ENGLISH] else in_words(value)
        return (text[:1].upper() if conversion == "c" else text[:1].lower()) + text[1:]

    def format_field(self, value: Any, format_spec: str) -> str:
        """Return what stands in one place."""
        if isinstance(value, Told) and self is not _FORMS[ENGLISH]:
            value = say(value)
        shown = format(value, format_spec)
        return shown.translate(self.signs) if isinstance(value, Number) else shown


_FORMS: dict[str, _Form] = {ENGLISH: _Form(".", ",")}


class Signs(NamedTuple):
    """How numbers are written: the decimal sign, and what stands between thousands."""

    decimal: str
    group: str


def say(template: str, /, **values: Any) -> str:
    """Return a text in the reader's language, its places filled.

    Parameters
    ----------
    template : str
        The English text, a constant wherever this is called, with places such as ``{late}`` (``{why!c}`` begins with a large
        letter, ``{why!l}`` with a small one); or one that was kept by
        :func:`to_say`, which brings what fills them.
    **values
        What stands in the places.  Numbers are written as the reader writes them.

    Examples
    --------
    >>> say("Up to {late} late is safe.", late="3 min"), say("{share:.1f} of it", share=0.25)
    ('Up to 3 min late is safe.', '0.2 of it')
    """
    reader = language.get()
    if isinstance(template, Told):
        values = {**template.places, **values}
        template = template.template
    found = template if reader == ENGLISH else _text(reader, template, values.get("n"))
    return _form(reader).vformat(found, (), values) if values else found


def say_many(count: int, one: str, many: str, /, **values: Any) -> str:
    """Return a text for one or for many, whichever `count` and the reader's language ask for; ``{n}`` is the count.

    Examples
    --------
    >>> say_many(1, "{n} layer", "{n} layers"), say_many(1300, "{n} layer", "{n} layers")
    ('1 layer', '1,300 layers')
    """
    reader = language.get()
    english = one if count == 1 else many
    found = english if reader == ENGLISH else _text(reader, english, count)
    return _form(reader).vformat(found, (), {"n": as_written(f"{count:,}"), **values})


def to_say(template: str, /, **values: Any) -> str:
    """Return a text in English that can be said in another language later: for what is worked out, stored or a constant.

    Examples
    --------
    >>> late = to_say("Up to {late:.0f} s late is safe.", late=180.0)
    >>> late, say(late)
    ('Up to 180 s late is safe.', 'Up to 180 s late is safe.')
    """
    return Told(template, values)


def to_say_many(count: int, one: str, many: str, /, **values: Any) -> str:
    """Return a text for one or for many, as :func:`to_say` does: other languages are taken to change where English does.

    Examples
    --------
    >>> to_say_many(2, "{n} layer", "{n} layers")
    '2 layers'
    """
    return Told(one if count == 1 else many, {"n": count, **values})


def to_join(texts: Iterable[str], between: str = " ") -> str:
    """Return texts one after the other, each to be said in another language later; empty ones are left out.

    Examples
    --------
    >>> to_join(["It is short.", "", "Wait longer."])
    'It is short. Wait longer.'
    """
    found = {f"t{n}": text for n, text in enumerate(t for t in texts if t)}
    return Told(between.join(f"{{{name}}}" for name in found), found)


def as_plain(text: str) -> Any:
    """Return a text as JSON can hold it: its template and what stands in its places where it was kept by :func:`to_say`.

    Examples
    --------
    >>> as_plain(to_say("It takes {n} layers.", n=3)), as_plain("lid.stl")
    (['It takes {n} layers.', {'n': 3}], 'lid.stl')
    """
    if isinstance(text, Told):
        return [str(text.template), {name: as_plain(value) for name, value in text.places.items()}]
    return text.item() if hasattr(text, "item") else text


def from_plain(plain: Any) -> Any:
    """Return a text from what :func:`as_plain` made of it.

    Examples
    --------
    >>> from_plain(as_plain(to_say("It takes {n} layers.", n=3)))
    'It takes 3 layers.'
    """
    if isinstance(plain, str | int | float):
        return plain
    template, values = plain
    return Told(str(template), {str(name): from_plain(value) for name, value in values.items()})


def in_words(text: str) -> str:
    """Return a text in the reader's language where it was kept by :func:`to_say`, any other as it is."""
    return say(text) if isinstance(text, Told) else text


def signs() -> Signs:
    """Return how the reader writes numbers.

    Examples
    --------
    >>> signs()
    Signs(decimal='.', group=',')
    """
    found = _form(language.get()).signs
    return Signs(found[ord(".")], found[ord(",")])


def as_written(number: str) -> str:
    """Return a number written in English (``1,234.5``) as the reader writes it.

    Examples
    --------
    >>> with in_language("de"):
    ...     as_written("1,234.5")
    '1.234,5'
    """
    reader = language.get()
    return number if reader == ENGLISH else number.translate(_form(reader).signs)


def day(when: date) -> str:
    """Return a day: the international form (ISO 8601) in English, which both sides of the sea read alike, else the reader's.

    Examples
    --------
    >>> from datetime import date
    >>> day(date(2026, 5, 4))
    '2026-05-04'
    >>> with in_language("de"):
    ...     day(date(2026, 5, 4))
    '04.05.2026'
    """
    if language.get() == ENGLISH:
        return f"{when:%Y-%m-%d}"
    from babel.dates import format_date

    return format_date(when, "medium", locale=language.get())


def day_in_week(when: date) -> str:
    """Return a day near enough that its weekday counts and its year does not.

    Examples
    --------
    >>> from datetime import date
    >>> day_in_week(date(2026, 3, 2))
    'Mon 2 Mar'
    """
    if language.get() == ENGLISH:
        return f"{when:%a} {when.day} {when:%b}"
    from babel.dates import format_skeleton

    return format_skeleton("MMMEd", when, locale=language.get())


def long_day(when: date) -> str:
    """Return a day with its month in letters.

    Examples
    --------
    >>> from datetime import date
    >>> long_day(date(2026, 5, 4))
    '04 May 2026'
    """
    if language.get() == ENGLISH:
        return f"{when:%d %b %Y}"
    from babel.dates import format_skeleton

    return format_skeleton("yMMMd", when, locale=language.get())


def moment(when: datetime) -> str:
    """Return a day with its time.

    Examples
    --------
    >>> from datetime import datetime
    >>> moment(datetime(2026, 5, 4, 18, 30))
    '2026-05-04 18:30'
    """
    return f"{day(when)} {when:%H:%M}"


@contextmanager
def in_language(chosen: str) -> Iterator[None]:
    """Speak a language for a while: what other programs read is English whoever asks for it."""
    before = language.set(chosen)
    try:
        yield
    finally:
        language.reset(before)


def in_english(written: Callable[P, R]) -> Callable[P, R]:
    """Return a function that speaks English whoever asks: what other programs read never hangs on the reader."""

    @wraps(written)
    def speaking(*args: P.args, **kwargs: P.kwargs) -> R:
        with in_language(ENGLISH):
            return written(*args, **kwargs)

    return speaking


@cache
def languages() -> dict[str, str]:
    """Return every language there is, with its own name for itself: English, and one for each catalogue.

    Examples
    --------
    >>> languages()
    {'en': 'English', 'de': 'Deutsch'}
    """
    from babel import Locale

    return {code: str(Locale.parse(code).get_display_name()).capitalize() for code in _codes()}


@cache
def _codes() -> tuple[str, ...]:
    """Return the code of every language there is; their names cost a library, which a command in English need not load."""
    return (ENGLISH, *sorted(f.name.removesuffix(".po") for f in _shelf().iterdir() if f.name.endswith(".po")))


def best_language(wanted: Iterable[str]) -> str:
    """Return the first wanted language that there is, English where there is none.

    Parameters
    ----------
    wanted : iterable of str
        As a browser or an operating system writes them, the dearest first: ``de-AT``, ``de_DE.UTF-8``, ``C``.

    Examples
    --------
    >>> best_language(["fr", "de-AT", "en"]), best_language(["de_DE.UTF-8"]), best_language(["C"]), best_language([])
    ('de', 'de', 'en', 'en')
    """
    short = (w.replace("-", "_").split("_")[0].split(".")[0].lower() for w in wanted)
    return next((s for s in short if s in _codes()), ENGLISH)


def _shelf() -> resources.abc.Traversable:
    return resources.files("vatwright") / "languages"


@cache
def _form(reader: str) -> _Form:
    if reader not in _FORMS:
        from babel.numbers import get_decimal_symbol, get_group_symbol

        _FORMS[reader] = _Form(get_decimal_symbol(reader), get_group_symbol(reader))
    return _FORMS[reader]


@cache
def _catalogue(reader: str) -> Catalog:
    """Return a language's texts; read once, as a translator left them."""
    from babel.messages.pofile import read_po

    with _shelf().joinpath(f"{reader}.po").open("rb") as file:
        return read_po(file, locale=reader)


@cache
def _texts(reader: str) -> Mapping[str, tuple[str, ...]]:
    """Return of every text its translation, or the forms of it, by the English for one and for many."""
    found: dict[str, tuple[str, ...]] = {}
    for message in _catalogue(reader):
        forms = (message.string,) if isinstance(message.string, str) else tuple(message.string or ())
        if message.id and all(forms):
            found |= dict.fromkeys([message.id] if isinstance(message.id, str) else message.id, forms)
    return found


def _text(reader: str, template: str, count: object = None) -> str:
    """Return a text's translation, in the form that goes with a count; English where it has none."""
    forms = _texts(reader).get(template, (template,))
    form = _which_form(reader)(count) if len(forms) > 1 and isinstance(count, int) else 0
    return forms[form]


@cache
def _which_form(reader: str) -> Callable[[int], int]:
    """Return which of a language's forms goes with a count, as the head of its catalogue says."""
    return gettext.c2py(_catalogue(reader).plural_expr)
