"""Answers kept from question to question: a carry that is asked again with one thing changed asks most of the rest alike.

What is kept is what would be worked out again, to the bit; a question is told apart by every number in it.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import fields, has

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


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
        self._kept: OrderedDict[bytes, Floats] = OrderedDict()
        self._guard = threading.Lock()

    def answer(self, question: bytes, work_out: Callable[[], Floats]) -> Floats:
        """Return the answer kept under a fingerprint, else work it out and keep it; nobody may write into it."""
        with self._guard:
            found = self._kept.get(question)
            if found is not None:
                self._kept.move_to_end(question)
                return found
        found = work_out()
        found.setflags(write=False)
        with self._guard:
            self._kept[question] = found
            while len(self._kept) > self._room:
                self._kept.popitem(last=False)
        return found
