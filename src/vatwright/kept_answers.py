"""Answers kept while the program runs: a carry that is asked again with one thing changed asks most of the rest alike.

What is kept is what would be worked out again, to the bit; a question is told apart by every number in it.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from functools import update_wrapper
from typing import TYPE_CHECKING, Any, Generic, ParamSpec, TypeVar, cast

import numpy as np
from attrs import fields, has

if TYPE_CHECKING:
    from collections.abc import Callable

P = ParamSpec("P")
R = TypeVar("R")


def fingerprint(*asked: Any) -> bytes:
    """Return what tells a question apart: arrays by shape and bits, records and rows by what is in them, all else by its text.

    Examples
    --------
    >>> fingerprint(np.zeros(2), 1.0) == fingerprint(np.zeros(2), 1.0)
    True
    >>> fingerprint(np.zeros(2), 1.0) == fingerprint(np.zeros(3), 1.0)
    False
    """
    told = hashlib.blake2b(digest_size=16)
    for thing in asked:
        if isinstance(thing, dict):
            told.update(fingerprint(len(thing), *(part for pair in sorted(thing.items()) for part in pair)))
        elif isinstance(thing, np.ndarray):
            told.update(repr((thing.shape, thing.dtype.str)).encode())
            told.update(np.ascontiguousarray(thing).tobytes())
        elif has(type(thing)):
            told.update(fingerprint(type(thing).__name__, *(getattr(thing, a.name) for a in fields(type(thing)))))
        elif isinstance(thing, tuple | list):
            told.update(fingerprint(len(thing), *thing))
        else:
            told.update(repr(thing).encode() + b"\0")
    return told.digest()


class KeptAnswers:
    """The last few answers; what was asked longest ago goes first.

    Parameters
    ----------
    room : int
        How many are kept.
    """

    def __init__(self, room: int) -> None:
        self._room = room
        self._kept: OrderedDict[bytes, object] = OrderedDict()
        self._guard = threading.Lock()

    def answer(self, question: bytes, work_out: Callable[[], R]) -> R:
        """Return the answer kept under a fingerprint, else work it out and keep it; nobody may write into it."""
        with self._guard:
            if question in self._kept:
                self._kept.move_to_end(question)
                return cast("R", self._kept[question])
        found = work_out()
        for part in found if isinstance(found, tuple) else (found,):
            if isinstance(part, np.ndarray):
                part.setflags(write=False)
        with self._guard:
            self._kept[question] = found
            while len(self._kept) > self._room:
                self._kept.popitem(last=False)
        return found


def kept(*, room: int) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Return what makes a function keep its last answers: a number, an array, or a tuple of both, of its arguments alone.

    Examples
    --------
    >>> @kept(room=2)
    ... def doubled(x):
    ...     print("works out", x)
    ...     return 2.0 * x
    >>> doubled(1.0), doubled(1.0)
    works out 1.0
    (2.0, 2.0)
    """
    return lambda function: _Kept(function, room)


class _Kept(Generic[P, R]):
    """A function and its last answers; a class of its own so that the examples in its docstring are found."""

    def __init__(self, function: Callable[P, R], room: int) -> None:
        update_wrapper(self, function)
        self._function, self._answers = function, KeptAnswers(room)

    def __call__(self, *args: P.args, **named: P.kwargs) -> R:
        return self._answers.answer(fingerprint(args, named), lambda: self._function(*args, **named))
