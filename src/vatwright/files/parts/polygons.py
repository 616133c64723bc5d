"""Faces with any number of corners, cut into triangles."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.files.parts.text import count_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

FLATNESS = 1e-5
"""How far a corner may lie off its face's plane, as a share of the face's reach, before the face counts as bent.
Our own choice: a hundred times the rounding of a coordinate written as float32."""


class Polygons(NamedTuple):
    """Faces as a file lists them: `counts` (P,) corners each, and all their vertex numbers in a row in `refs`."""

    counts: NDArray[np.int64]
    refs: NDArray[np.int64]


def triangles(vertices: NDArray[np.floating], faces: Polygons) -> tuple[NDArray[np.int64], list[str]]:
    """Return the fan of every face as vertex numbers (F, 3), and what the reader should know about it.

    Faces of fewer than three corners are left out; a bent or hollow face is cut all the same, with a warning.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> triangles(square, Polygons(np.array([4]), np.array([0, 1, 2, 3])))[0].tolist()
    [[0, 1, 2], [0, 2, 3]]
    """
    counts, refs = faces
    warnings = []
    if (small := int(np.count_nonzero(counts < 3))) > 0:
        warnings.append(f"{count_of(small, 'face')} of fewer than three corners left out")
    if counts.size and (counts == 3).all():
        return refs.reshape(-1, 3), warnings
    starts = np.cumsum(counts) - counts
    pieces = np.maximum(counts - 2, 0)
    apex = np.repeat(starts, pieces)
    step = np.arange(pieces.sum()) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    fan = np.stack([refs[apex], refs[apex + step + 1], refs[apex + step + 2]], axis=1)
    warnings += _doubtful(vertices, faces, starts)
    return fan, warnings


def _doubtful(vertices: NDArray[np.floating], faces: Polygons, starts: NDArray[np.int64]) -> list[str]:
    """Name the faces that a fan does not follow: corners off the plane, or a fan that folds back."""
    bent, hollow = [], []
    for corners in np.unique(faces.counts[faces.counts > 3]):
        which = np.flatnonzero(faces.counts == corners)
        rows = faces.refs[starts[which, None] + np.arange(corners)]
        # Numbers too large or none at all are refused later; they compare as neither bent nor hollow here.
        with np.errstate(over="ignore", invalid="ignore"):
            off, folded = _shape(vertices[rows].astype(np.float64))
        bent.append(which[off > FLATNESS])
        hollow.append(which[folded])
    said = []
    for kind, found in (("not flat", bent), ("hollow (a corner points inwards)", hollow)):
        numbers = np.sort(np.concatenate(found)) if found else np.empty(0)
        if numbers.size:
            many = count_of(numbers.size, "face")
            said.append(
                f"{many} of more than three corners {kind}, the first is {int(numbers[0]) + 1}; "
                "cut into triangles from the first corner: export triangles if the shape matters there"
            )
    return said


def _shape(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return, per face of `points` (P, n, 3), its reach off its plane (share of its size) and if a fan folds."""
    arms = points - points[:, :1]
    reach = np.maximum(np.abs(arms).max(axis=(1, 2)), np.finfo(float).tiny)
    arms = arms / reach[:, None, None]
    wings = np.cross(arms[:, 1:-1], arms[:, 2:])
    normal = wings.sum(axis=1)
    length = np.maximum(np.linalg.norm(normal, axis=1), np.finfo(float).tiny)
    unit = normal / length[:, None]
    off = np.abs(np.einsum("pni,pi->pn", arms, unit)).max(axis=1)
    folded = (np.einsum("pni,pi->pn", wings, unit) < -FLATNESS * length[:, None]).any(axis=1)
    return off, folded
