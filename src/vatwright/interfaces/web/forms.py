"""What a request may ask for, and the same as a job or readings file that the readers of files check.

Pages and the programs' interface meet here: both make one of these shapes, and every mistake in them is found by the same
code that reads files.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeAlias, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, StrictBool, ValidationError, create_model
from pydantic.fields import FieldInfo

from vatwright.errors import InputError, Mistake
from vatwright.files.level_file import LevelBase, LevelHead, ReadingTable, ScrewTable
from vatwright.quantities import TABLES, TableKey, Takes, unit_in
from vatwright.records.job import Shop
from vatwright.units import read_number
from vatwright.wording import to_say

S = TypeVar("S", bound=BaseModel)

Name = Annotated[str, Field(max_length=400)]
Unit = Literal["um", "mm", "cm", "m", "in", "ft"]
Number = Annotated[float, Field(ge=-1e9, le=1e9)]
Count = Annotated[int, Field(ge=1, le=10_000)]


class Asked(BaseModel):
    """One shape: no key that it does not know, no number that is not finite."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    def table(self) -> dict[str, Any]:
        """Return what was said, without what was not."""
        return self.model_dump(exclude_none=True)


def like_table(name: str, doc: str, keys: Iterable[TableKey], *, leave: tuple[str, ...] = (), **own: Any) -> Any:
    """Return the shape that asks for what a table of a file holds.

    Its numbers may be any that a float holds: the reader of files says in words which are out of range.

    Parameters
    ----------
    name, doc : str
        What the interface for programs calls it, and says of it.
    keys : iterable of TableKey
        The table.
    leave : tuple of str
        Keys that nobody may ask for.
    own : tuple
        Fields that are otherwise here than in a file: their type and default.
    """
    fields = {key.name: _field(key) for key in keys if key.name not in leave and key.holds in _TYPES}
    return create_model(name, __base__=Asked, __doc__=doc, **fields | own)


_TYPES: dict[Takes, Callable[[TableKey], Any]] = {
    Takes.NUMBER: lambda _: Number,
    Takes.WHOLE: lambda key: Annotated[int, Field(ge=int(key.low), le=int(key.high))],
    Takes.TEXT: lambda _: Name,
    Takes.WORD: lambda key: Literal[key.words],
    Takes.YES_NO: lambda _: StrictBool,
}


def _field(key: TableKey) -> Any:
    kind = _TYPES[key.holds](key)
    if key.needs:
        return (kind, ...)
    if key.holds is Takes.YES_NO:
        return (kind, key.default == "true")
    return (kind, float(key.default)) if key.default is not None else (kind | None, None)


def like_shape(name: str, doc: str, shape: type[BaseModel], *, leave: tuple[str, ...] = (), **own: Any) -> Any:
    """Return the shape that asks for what a table of a readings or an orders file holds, as :func:`like_table` does."""
    fields = {key: _plain_field(f) for key, f in shape.model_fields.items() if key not in {*leave, *own}}
    return create_model(name, __base__=Asked, __doc__=doc, **fields | own)


def _plain_field(field: FieldInfo) -> Any:
    """Return a number for a decimal and a name for a word or a text; what has a default in the file may be left out."""
    inner = [t for t in (field.annotation, *get_args(field.annotation)) if t not in (None, type(None))]
    kind = Number if any(Decimal in (t, *get_args(t)) for t in inner) else Name
    return (kind, ...) if field.is_required() else (kind | None, None)


_HANDLE = Annotated[str, Field(max_length=100, description="handle of a file that was handed in")]

if TYPE_CHECKING:
    PlaceAsked: TypeAlias = Any
    PartAsked: TypeAlias = Any
    JobAsked: TypeAlias = Any
else:
    PlaceAsked = like_table(
        "PlaceAsked", "Where one piece stands.", TABLES["part.places"], x_mm=(Number, ...), y_mm=(Number, ...)
    )
    PartAsked = like_table(
        "PartAsked", "One part: the handle of its file on the tray, and how it is used.", TABLES["part"],
        leave=("pixel_mm", "as_drawn"), file=(_HANDLE, ...),
        places=(Annotated[list[PlaceAsked], Field(max_length=1000)], Field(default_factory=list)),
        as_drawn=(StrictBool, False),
    )  # fmt: skip
    JobAsked = like_table(
        "JobAsked",
        "What is wanted; the same keys as ``[job]`` of a job file.",
        TABLES["job"],
        leave=("shop",),
        to=(Name, ...),
    )


class CarryAsked(Asked):
    """A whole carry."""

    job: JobAsked
    part: Annotated[list[PartAsked], Field(min_length=1, max_length=200)]


class StudyAsked(Asked):
    """A study of parts on one plate."""

    part: Annotated[list[PartAsked], Field(min_length=1, max_length=200)]
    layer_mm: Annotated[float, Field(ge=0.001, le=1.0)] = 0.05
    machine: Name | None = None


if TYPE_CHECKING:
    LevelHeadAsked: TypeAlias = Any
    LevelBaseAsked: TypeAlias = Any
    ReadingAsked: TypeAlias = Any
    ScrewAsked: TypeAlias = Any
else:
    LevelHeadAsked = like_shape(
        "LevelHeadAsked",
        "What was read, with what; the same keys as ``[level]`` of a readings file.",
        LevelHead,
        leave=("shop",),
    )
    LevelBaseAsked = like_shape("LevelBaseAsked", "The base to judge for; the same keys as ``[base]``.", LevelBase)
    ReadingAsked = like_shape("ReadingAsked", "One reading.", ReadingTable)
    ScrewAsked = like_shape("ScrewAsked", "One screw.", ScrewTable)


class LevelAsked(Asked):
    """A whole levelling."""

    level: LevelHeadAsked
    base: LevelBaseAsked | None = None
    reading: Annotated[list[ReadingAsked], Field(min_length=1, max_length=500)]
    screw: Annotated[list[ScrewAsked], Field(max_length=8)] = Field(default_factory=list)


def checked(shape: type[S], said: Mapping[str, Any], labels: Mapping[str, str] | None = None) -> S:
    """Return a shape of what was said; InputError with everything that does not fit it, by its label where it has one."""
    try:
        return shape.model_validate(said)
    except ValidationError as error:
        told = [
            (next((str(k) for k in reversed(e["loc"]) if isinstance(k, str)), ""), e["msg"]) for e in error.errors()
        ]
        raise InputError(
            [
                Mistake(
                    (labels or {}).get(key, key.replace("_", " ")),
                    what[:1].lower() + what[1:],
                    to_say("Check the value"),
                )
                for key, what in told
            ]
        ) from error


def unknown_names(shop: Shop, *, machine: str, resin: str | None) -> list[Mistake]:
    """Return a mistake for each name that a shop does not hold."""
    asked = (("machine", machine, shop.machines), ("resin", resin, shop.resins))
    return [
        Mistake(
            what,
            to_say("{name!r} is none of this shop", name=name),
            to_say("It holds: {names}", names=", ".join(e.name for e in held) or "none"),
        )
        for what, name, held in asked
        if name is not None and name not in {e.name for e in held}
    ]


def number_said(text: str, key: str, label: str, mistakes: list[Mistake]) -> float | None:
    """Return the number that stands in a field, in the unit of its key; None for an empty one or for a mistake told."""
    try:
        return float(read_number(text, label, unit_in(key))) if text else None
    except InputError as problem:
        mistakes += problem.mistakes
        return None


def count_said(text: str, label: str, mistakes: list[Mistake], *, most: int) -> int | None:
    """Return the count that stands in a field, as :func:`number_said` does a number."""
    try:
        count = read_number(text, label, whole=True) if text else None
        if count is not None and not 0 <= count <= most:
            raise InputError.one(
                label,
                to_say("{text!r} is not a whole number from 0 to {most}", text=text, most=most),
                to_say("Write how many"),
            )
    except InputError as problem:
        mistakes += problem.mistakes
        return None
    return None if count is None else int(count)


def in_bench_words(problem: InputError, labels: Mapping[str, str], whole: str) -> InputError:
    """Return mistakes that speak of files of ours in words of the person's: labels for paths, no line numbers.

    Parameters
    ----------
    problem : InputError
        As the readers of files tell it.
    labels : mapping of str to str
        From a path of ours to what the person calls it.
    whole : str
        What a mistake without a place of its own is about, such as "this job".
    """
    return InputError([Mistake(*(_relabelled(t, labels, whole) for t in m)) for m in problem.mistakes])


def _relabelled(text: str, labels: Mapping[str, str], whole: str) -> str:
    for path, label in labels.items():
        text = re.sub(re.escape(path) + r"(:\d+)?", lambda _, label=label: label, text)  # type: ignore[misc]
    return text.replace(f"{whole}: ", "", 1) if text.startswith(f"{whole}: ") else text
