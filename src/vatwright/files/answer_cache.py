"""Answers kept between commands: records written as JSON, found again by everything they hang on, never as code.

A record is written with the name of its class; only records, rows and enumerations of this package are made again, so a
file that somebody else put there can hold wrong numbers but run nothing.
"""

from __future__ import annotations

import base64
import hashlib
import importlib
import json
from contextlib import suppress
from enum import Enum
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import fields, has

from vatwright.errors import VatwrightError
from vatwright.files.atomic import write_bytes_atomically
from vatwright.wording import Told, as_plain, from_plain

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

KEPT = 100
"""Answers of one kind kept; the oldest go."""

_PACKAGE = "vatwright."
_FAULTS = (OSError, ValueError, TypeError, KeyError, IndexError, AttributeError, ImportError, VatwrightError)


def key_of(texts: Iterable[str], *, version: str) -> str:
    """Return a digest of all texts that an answer hangs on and of the code that worked it out."""
    digest = hashlib.sha256(version.encode())
    for text in texts:
        digest.update(b"\0" + text.encode())
    return digest.hexdigest()[:32]


def recall_answer(folder: Path, kind: str, key: str) -> Any:
    """Return a kept answer; None where there is none, or its file is not whole or not of this release."""
    try:
        digest, _, text = (folder / f"{kind}-{key}.json").read_bytes().partition(b"\n")
        return _back(json.loads(text)) if digest == _digest(text) else None
    except _FAULTS:
        return None


def keep_answer(folder: Path, kind: str, key: str, answer: Any) -> None:
    """Keep an answer; a full disk only means that it is worked out again."""
    text = json.dumps(_plain(answer), ensure_ascii=False).encode()
    written(folder / f"{kind}-{key}.json", _digest(text) + b"\n" + text)
    trim(folder, f"{kind}-*.json", KEPT)


def written(path: Path, content: bytes) -> None:
    """Write a file whole or not at all; one that cannot be written is worked out again."""
    with suppress(OSError, VatwrightError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_bytes_atomically(path, content)


def trim(folder: Path, pattern: str, most: int) -> None:
    """Let the oldest files of a pattern go."""
    with suppress(OSError):
        for old in sorted(folder.glob(pattern), key=lambda f: f.stat().st_mtime)[:-most]:
            old.unlink(missing_ok=True)


def _digest(text: bytes) -> bytes:
    return hashlib.sha256(text).hexdigest().encode("ascii")


def _plain(told: Any) -> Any:
    """What JSON holds of a thing: plain values as they are, all else as a pair of its kind and what it is made of."""
    if isinstance(told, Enum):
        return ["enum", _name(told), _plain(told.value)]
    if told is None or isinstance(told, bool | int | float | str):
        return ["told", as_plain(told)] if isinstance(told, Told) else told
    if isinstance(told, bytes):
        return ["bytes", base64.b64encode(told).decode("ascii")]
    if isinstance(told, np.generic):
        return told.item()
    if isinstance(told, np.ndarray):
        data = np.ascontiguousarray(told)
        return ["array", data.dtype.str, list(data.shape), base64.b64encode(data.tobytes()).decode("ascii")]
    if has(type(told)):
        return ["record", _name(told), {f.alias: _plain(getattr(told, f.name)) for f in fields(type(told)) if f.init}]
    if isinstance(told, dict):
        return ["map", [[_plain(k), _plain(v)] for k, v in told.items()]]
    if isinstance(told, tuple) and hasattr(told, "_fields"):
        return ["row", _name(told), [_plain(t) for t in told]]
    if isinstance(told, tuple):
        return ["tuple", [_plain(t) for t in told]]
    raise TypeError(f"an answer that holds a {type(told).__name__} cannot be kept")


def _name(told: Any) -> str:
    return f"{type(told).__module__}:{type(told).__qualname__}"


def _back(told: Any) -> Any:  # noqa: C901 - one line a kind
    """What JSON holds of a thing, as the thing."""
    if not isinstance(told, list):
        return told
    kind, *of = told
    if kind == "array":
        dtype = np.dtype(of[0])
        if dtype.hasobject:
            raise ValueError("an array of objects is never kept")
        return np.frombuffer(base64.b64decode(of[2], validate=True), dtype).reshape(of[1]).copy()
    if kind == "bytes":
        return base64.b64decode(of[0], validate=True)
    if kind == "record":
        return _class(of[0], has)(**{name: _back(value) for name, value in of[1].items()})
    if kind == "row":
        return _class(of[0], lambda c: issubclass(c, tuple))(*(_back(t) for t in of[1]))
    if kind == "told":
        return from_plain(of[0])
    if kind == "enum":
        return _class(of[0], lambda c: issubclass(c, Enum))(_back(of[1]))
    if kind == "map":
        return {_back(k): _back(v) for k, v in of[0]}
    if kind == "tuple":
        return tuple(_back(t) for t in of[0])
    raise ValueError(f"nothing kept is a {kind}")


def _class(name: str, fits: Any) -> Any:
    """A class of this package by its name, if it is of the kind that holds values and does nothing."""
    module, _, qualified = name.partition(":")
    if not module.startswith(_PACKAGE) or "." in qualified:
        raise ValueError(f"{name} is not a record of this package")
    found = getattr(importlib.import_module(module), qualified)
    if not (isinstance(found, type) and found.__module__ == module and fits(found)):
        raise ValueError(f"{name} is not a record of this package")
    return found
