"""Triangles to a binary STL file."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vatwright.errors import InputError, Mistake
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LENGTHS = "lengths in millimetres"
"""What the 80 bytes at the head say after what it is; a binary file must not begin like a text one."""


def stl_bytes(corners_m: Floats, *, what: str = "trial piece") -> bytes:
    """Return triangles as a binary STL in millimetres.

    Parameters
    ----------
    corners_m : (F, 3, 3) ndarray
        Corners, counter-clockwise from outside [m].
    what : str
        What it is, for the head of the file: a few words of ASCII that do not begin with "solid".

    Returns
    -------
    bytes
        80 bytes of header, a count, then for each triangle twelve 4-byte floats (normal, corners) and two bytes.

    Examples
    --------
    >>> len(stl_bytes(np.zeros((2, 3, 3))))
    184
    """
    corners = np.asarray(corners_m, dtype=np.float64) * 1e3
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0.0)
    facet = np.dtype([("floats", "<f4", (4, 3)), ("rest", "<u2")])
    facets = np.zeros(len(corners), dtype=facet)
    facets["floats"][:, 0], facets["floats"][:, 1:] = normal, corners
    return f"{what}, {LENGTHS}".encode("ascii").ljust(80) + struct.pack("<I", len(corners)) + facets.tobytes()


def require_new(paths: Mapping[str, str | None], *, force: bool) -> None:
    """Refuse outputs that cannot be written or would take another file's place; InputError with every mistake.

    Parameters
    ----------
    paths : mapping of str to str or None
        Each output by the ending that it must have.
    force : bool
        Whether files that are there may be written over.
    """
    mistakes: list[Mistake] = []
    for ending, name in paths.items():
        if name is None:
            continue
        path = Path(name)
        if path.suffix.lower() != ending:
            mistakes.append(
                Mistake(
                    name,
                    to_say("does not end in {ending}", ending=ending),
                    to_say("Give a name that ends in {ending}", ending=ending),
                )
            )
        if path.is_dir():
            mistakes.append(Mistake(name, to_say("is a folder"), to_say("Name a file in it")))
        elif not path.parent.is_dir():
            mistakes.append(
                Mistake(
                    name,
                    to_say("there is no folder {parent}", parent=path.parent),
                    to_say("Make it first, or write elsewhere"),
                )
            )
        elif path.exists() and not force:
            mistakes.append(Mistake(name, to_say("is there already"), to_say("Name another file, or add --force")))
    if mistakes:
        raise InputError(mistakes)
