"""Every tolerance of the geometry room, in one record, each with the reason for its size."""

from __future__ import annotations

import attrs


@attrs.frozen(kw_only=True)
class Tolerances:
    """How far two things may differ and still count as the same.

    Parameters
    ----------
    identical_m : float
        Two shells are copies when their corners differ by no more than this after a shift [m].  Common practice, no
        source: a single-precision file rounds a coordinate of 200 mm to 0.015 um, so 0.1 um lies above the rounding of
        any plate and far below a layer.
    top_per_mille : int
        A part may reach this far into a further layer, in thousandths of a layer, without getting that layer [1].
        Common practice, no source: 5 per mille of a 10 um layer is 50 nm, above the rounding of the file's numbers.
    places : int
        How many open places a report names at most [1].
    """

    identical_m: float = 1e-7
    top_per_mille: int = 5
    places: int = 10


TOLERANCES = Tolerances()
"""The tolerances in use."""
