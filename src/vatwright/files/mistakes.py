"""What pydantic found, in the words of this tool: the place, the key, the value and the remedy."""

from __future__ import annotations

import typing
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel

from vatwright.errors import Mistake
from vatwright.files.fields import nearest, shown
from vatwright.files.places import line_of
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pydantic import ValidationError
    from pydantic_core import ErrorDetails

    from vatwright.files.places import Where


MOST_TOLD = 200
"""Mistakes of one file told at once; nobody reads more, and looking for the nearest known key takes time for each."""

Labels = Mapping[str, Mapping[str, str]]
"""What a page calls the keys of a kind of table: by kind, by the key's dotted way in such a table."""


def mistakes_of(
    error: ValidationError,
    root: type[BaseModel],
    raw: dict[str, Any],
    file: str,
    lines: dict[Where, int] | None,
    labels: Labels | None = None,
) -> list[Mistake]:
    """Return one mistake for each thing pydantic found, in the order of their lines; data has none, and may have labels."""
    errors = error.errors(include_url=False)
    if lines is None:
        told = [Mistake(file, *_sentence(e, root, raw, labels)) for e in errors[:MOST_TOLD]]
    else:
        errors.sort(key=lambda e: line_of(lines, e["loc"]))
        found = sorted((line_of(lines, e["loc"]), *_sentence(e, root, raw)) for e in errors[:MOST_TOLD])
        told = [Mistake(f"{file}:{line}", what, do) for line, what, do in found]
    if (more := len(errors) - MOST_TOLD) > 0:
        told.append(Mistake(file, to_say("has {more} more mistakes", more=more), to_say("Mend those above first")))
    return told


def _sentence(
    error: ErrorDetails, root: type[BaseModel], raw: dict[str, Any], labels: Labels | None = None
) -> tuple[str, str]:
    """Say what is wrong and what to do about it."""
    where, kind = error["loc"], error["type"]
    owner, table, key = _owner(where[:-1], raw), _model_at(root, where[:-1]), str(where[-1]) if where else ""
    if kind == "vatwright":
        context = error["ctx"]
        return f"{_labelled(where, raw, labels or {})} {context['what']}", context["do"]
    if kind == "missing" and (label := _label(where, labels or {})):
        return f"{_owner(where[:2], raw)} has no {label}".lstrip(), "Fill it in"
    if kind == "extra_forbidden":
        return f"{owner} has an unknown key {key!r}".lstrip(), _instead(key, table, root)
    if kind in ("missing", "too_short"):
        return f"{owner} has no {key}".lstrip(), _add(key, table)
    if kind == "list_type":
        return f"{_owner(where, raw)} is {shown(error['input'])}, a list is wanted", _bracketed(where, error["input"])
    wanted = "a table is wanted" if kind in ("model_type", "model_attributes_type", "dict_type") else error["msg"]
    return f"{_owner(where, raw)} is {shown(error['input'])}, {wanted}", "Write it as the example files do"


def _owner(where: Where, raw: dict[str, Any]) -> str:
    """Name what a mistake is in: the named table it stands in, and the way from there."""
    named, value = "", raw
    rest: list[str] = []
    for step in where:
        try:
            value = value[step]  # type: ignore[index]
        except (KeyError, IndexError, TypeError):
            value = {}
        if isinstance(step, int):
            name = value.get("name", value.get("file")) if isinstance(value, dict) else None
            title = f'"{name}"' if isinstance(name, str) else str(step + 1)
            named, rest = f"{named}{'.'.join(rest)} {title} ", []
        else:
            rest.append(step)
    return (named.strip() + (": " if named and rest else "") + ".".join(rest)) or "the file"


def _label(where: Where, labels: Labels) -> str | None:
    """Return what the page calls a key."""
    return labels.get(str(where[0]), {}).get(".".join(str(step) for step in where[2:])) if where else None


def _labelled(where: Where, raw: dict[str, Any], labels: Labels) -> str:
    label = _label(where, labels)
    return f"{_owner(where[:2], raw)}: {label}" if label else _owner(where, raw)


def _bracketed(where: Where, given: object) -> str:
    keys = ".".join(s for s in where if isinstance(s, str))
    return f"Write [[{keys}]] with double brackets" if isinstance(given, dict) else "Write it in square brackets"


def _instead(key: str, table: type[BaseModel] | None, root: type[BaseModel]) -> str:
    known = _keys(table)
    like = nearest(key, known)
    homes = [name for name, model in _tables("", root) if key in _keys(model)]
    if homes and not (like and like.lower() == key.lower()):
        return "It belongs in " + " or ".join(f"[{home}]" if home else "the top of the file" for home in homes)
    return f"Perhaps {like} is meant" if like else "Take it out, or use one of: " + ", ".join(known)


def _add(key: str, table: type[BaseModel] | None) -> str:
    for name, field in table.model_fields.items() if table else ():
        if (field.alias or name) == key and field.description:
            return (
                f"Add {field.description}"
                if field.description.startswith(("a ", "an "))
                else f"Add {key} = {field.description}"
            )
    return f"Add {key} = 0 with its value"


def _keys(table: type[BaseModel] | None) -> list[str]:
    return [field.alias or name for name, field in table.model_fields.items()] if table else []


def _model_at(root: type[BaseModel], where: Where) -> type[BaseModel] | None:
    model: type[BaseModel] | None = root
    for step in where:
        if isinstance(step, str) and model is not None:
            kinds = {field.alias or name: field.annotation for name, field in model.model_fields.items()}
            model = next(_models(kinds.get(step)), None)
    return model


def _tables(name: str, model: type[BaseModel]) -> Iterator[tuple[str, type[BaseModel]]]:
    """Yield every table of a file, with its dotted name."""
    yield name, model
    for key, field in model.model_fields.items():
        for inner in _models(field.annotation):
            yield from _tables(f"{name}.{field.alias or key}".lstrip("."), inner)


def _models(annotation: object) -> Iterator[type[BaseModel]]:
    """Yield the tables that an annotation speaks of."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from _models(inner)
