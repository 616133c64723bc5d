"""The formats of part files: each is one file of this folder that says what it is called, how it is known and read.

A module with a ``FORMAT`` is found by itself; a new format is a new file and nothing else.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import attrs

from vatwright.files import parts
from vatwright.files.parts.limits import Limits

if TYPE_CHECKING:
    from numpy.typing import NDArray


class FirstBytes(NamedTuple):
    """What is known of a file before it is read.

    Parameters
    ----------
    path : Path
        The file.
    size : int
        Its length [bytes].
    head : bytes
        Its first 4096 bytes at most.
    words : tuple of bytes
        First word of each line of `head`, small letters, remarks left out; empty where `head` is no text.
    text : bytes
        `head` in small letters, blanks and a byte order mark before it left out.
    """

    path: Path
    size: int
    head: bytes
    words: tuple[bytes, ...]
    text: bytes


class MeshFile(NamedTuple):
    """What a mesh file holds: corners (F, 3, 3), warnings, and the unit and slices of formats that have them."""

    corners: NDArray[Any]
    warnings: list[str]
    unit: str | None = None
    unit_stated: bool = False
    slices: Sequence[Any] | None = None


def nothing(_: FirstBytes) -> str:
    """Recognise nothing."""
    return ""


@attrs.frozen(kw_only=True)
class PartFormat:
    """One format of part files.

    Parameters
    ----------
    name, ending : str
        What it is called, and how its files end.
    read : callable
        Kind, path and limits to what the file holds.
    asked : int
        Place in the order in which the formats are asked and named: what a length gives away before what a few letters do.
    has_unit : bool
        Whether its files say their unit of length.
    certain, likely : callable
        The kind of file that first bytes are beyond doubt, and the kind they may be where no format is certain; an empty
        text for neither.  The second is asked after everything that is known to be no part was refused.
    """

    name: str
    ending: str
    read: Callable[[str, Path, Limits], MeshFile]
    asked: int = 9
    has_unit: bool = False
    certain: Callable[[FirstBytes], str] = nothing
    likely: Callable[[FirstBytes], str] = nothing


@cache
def formats() -> tuple[PartFormat, ...]:
    """Return every format there is, in the order in which they are asked.

    Examples
    --------
    >>> [f.ending for f in formats()]
    ['.stl', '.3mf', '.obj', '.ply']
    """
    names = sorted(module.name for module in pkgutil.iter_modules(parts.__path__))
    modules = (importlib.import_module(f"{parts.__name__}.{name}") for name in names if name != "formats")
    return tuple(sorted((m.FORMAT for m in modules if hasattr(m, "FORMAT")), key=lambda f: f.asked))


def endings() -> tuple[str, ...]:
    """Return how part files end."""
    return tuple(f.ending for f in formats())


def names() -> str:
    """Return what the formats are called, for a sentence.

    Examples
    --------
    >>> names()
    'STL, 3MF, OBJ or PLY'
    """
    *most, last = [f.name for f in formats()]
    return f"{', '.join(most)} or {last}"


def needs_unit(ending: str) -> bool:
    """Whether files that end so do not say their unit of length; of an ending nobody knows that is taken.

    Examples
    --------
    >>> needs_unit(".stl"), needs_unit(".3mf")
    (True, False)
    """
    return next((not f.has_unit for f in formats() if f.ending == ending), True)


def format_of(kind: str) -> PartFormat:
    """Return the format of a kind such as ``binary STL``."""
    return next(f for f in formats() if f.name == kind.rpartition(" ")[2])
