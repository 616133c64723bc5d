"""The first look at a part file: is it one, how large is it in its own unit, and which unit that may be.

No triangle is joined and nothing compiled is called for a binary STL, the largest and commonest kind, so that what is no
part, has no unit or fits no machine is told before anything else is begun.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vatwright.errors import InputError, Mistake
from vatwright.files.parts.formats import format_of
from vatwright.files.parts.limits import LIMITS
from vatwright.files.parts.mesh import UNITS, USUAL_M, kind_of, survey_of, unit_missing
from vatwright.files.parts.stl import corners_in_place
from vatwright.records.part import PartUse
from vatwright.services.does_not_fit import too_large, too_tall

if TYPE_CHECKING:
    from collections.abc import Iterable

    from vatwright.records.machine import Machine

Sides = tuple[float, float, float]

GUESSED = ("mm", "in", "cm", "m", "ft", "um")
"""Units in the order in which parts are drawn in them; common practice, no source."""

READ_WHOLE_BYTES = 20_000_000
"""A text of more bytes is not read only to say its size; about a second of reading, our own choice."""

_ROWS = 1_000_000


def sides_of(path: Path) -> Sides | None:
    """Return the sides of the box around a part, in the file's own unit [-]; None where its unit is known or it is long.

    Raises
    ------
    InputError
        Where it is no part that can be read.
    """
    kind = kind_of(path)
    if kind == "binary STL":
        corners = corners_in_place(path, LIMITS)
        ends = [(c.min(axis=(0, 1)), c.max(axis=(0, 1))) for c in _blocks(corners)]
        low, high = np.min([e[0] for e in ends], axis=0), np.max([e[1] for e in ends], axis=0)
    elif not format_of(kind).has_unit and path.stat().st_size <= READ_WHOLE_BYTES:
        held = format_of(kind).read(kind, path, LIMITS)
        if not len(held.corners):
            return None
        survey = survey_of(held.corners)
        low, high = survey.low, survey.high
    else:
        return None
    sides = np.asarray(high, dtype=np.float64) - low
    return tuple(float(s) for s in sides) if np.isfinite(sides).all() else None  # type: ignore[return-value]


def _blocks(corners: np.ndarray[tuple[int, ...], np.dtype[np.float32]]) -> Iterable[np.ndarray]:
    return (corners[start : start + _ROWS] for start in range(0, len(corners), _ROWS))


def in_metres(sides: Sides, unit: str) -> Sides:
    """Return sides in metres.

    Examples
    --------
    >>> in_metres((2.0, 1.0, 0.5), "in")
    (0.0508, 0.0254, 0.0127)
    """
    scale = UNITS[unit]
    return tuple(side * scale.times / scale.over for side in sides)  # type: ignore[return-value]


def guessed_unit(sides: Sides | None) -> str:
    """Return the unit in which a part of such sides is of a usual size; millimetres where none or nothing says otherwise.

    Examples
    --------
    >>> guessed_unit((120.0, 80.0, 45.0)), guessed_unit((4.7, 3.1, 1.8)), guessed_unit((0.12, 0.08, 0.045))
    ('mm', 'in', 'm')
    """
    if sides is None:
        return "mm"
    usual = (u for u in GUESSED if USUAL_M[0] <= max(in_metres(sides, u)) <= USUAL_M[1])
    return next(usual, "mm")


def require_usable(parts: Iterable[PartUse], machine: Machine | None = None) -> None:
    """Refuse, before anything else is begun, what is no part, has no unit, or is too large for a machine however it is turned.

    Parameters
    ----------
    parts : iterable of PartUse
        With their files on disk.
    machine : Machine or None
        That they must fit.

    Raises
    ------
    InputError
        With every mistake of every part.
    """
    mistakes: list[Mistake] = []
    for part in {(p.file, p.unit): p for p in parts}.values():
        path = Path(part.file)
        if not path.is_file() or not path.stat().st_size:
            continue  # a folder of layers; what is missing or empty is told where it is read
        try:
            mistakes += _mistakes(part, path, machine)
        except InputError as problem:
            mistakes += [
                m._replace(where=f"{part.where}: {m.where}" if part.where else m.where) for m in problem.mistakes
            ]
        except OSError:
            continue  # told where it is read, with what the system says
    if mistakes:
        raise InputError(mistakes)


def _mistakes(part: PartUse, path: Path, machine: Machine | None) -> list[Mistake]:
    kind = kind_of(path)
    if not format_of(kind).has_unit and part.unit is None:
        missing = unit_missing(path, kind)
        guess = guessed_unit(sides_of(path)) if kind == "binary STL" else "mm"
        return [missing._replace(do=missing.do.replace("mm", guess) if guess != "mm" else missing.do)]
    if kind != "binary STL" or part.unit not in UNITS or machine is None:
        return []
    sides = sides_of(path)
    return [] if sides is None else _fits_nowhere(part, in_metres(sides, part.unit), machine)


def _fits_nowhere(part: PartUse, sides: Sides, machine: Machine) -> list[Mistake]:
    """Return that a part is taller than a machine prints, or longer than its platform is across its corners."""
    platform = machine.platform
    if max(sides[:2]) > float(np.hypot(platform.width_m, platform.depth_m)):
        return [too_large(part, sides, machine)]
    return [too_tall(part, sides[2], machine)] if sides[2] > machine.height_m else []
