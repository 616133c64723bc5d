"""Volumes of trial solids, worked out apart from the code that makes them."""

from __future__ import annotations

import itertools
import math

import numpy as np

from vatwright.geometry.trial_solids import FACETS


def turned_volume(profile_m):
    """Return the volume of a turned solid as its facets have it [m3]."""
    share = FACETS / 2.0 * math.sin(2.0 * math.pi / FACETS)
    return sum(
        (h2 - h1) / 3.0 * share * (r1 * r1 + r2 * r2 + r1 * r2) for (r1, h1), (r2, h2) in itertools.pairwise(profile_m)
    )


def solid_volume(corners_m):
    """Return the volume that closed triangles enclose, by the divergence theorem [m3]."""
    a, b, c = corners_m[:, 0], corners_m[:, 1], corners_m[:, 2]
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum()) / 6.0
