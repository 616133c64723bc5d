"""What a shop believes after its runs: one set of equally likely values of everything that is not known exactly."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import field, frozen

from vatwright.records.job import Job
from vatwright.wording import to_say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

OF_RESIN = ("viscosity", "curve depth", "curve dose")
"""Unknowns of a resin that a job has twice, once for the recipe's resin and once for its own."""


class Unknown(NamedTuple):
    """One thing not known exactly: what it is and whose (a machine, a resin, or nobody's for what is common to all)."""

    what: str
    of: str = ""

    def __str__(self) -> str:
        """Return it in words."""
        return str(self.in_words())

    def in_words(self) -> str:
        """Return it in words that can be said in any language."""
        return to_say("{what} of {of}", what=to_say(self.what), of=self.of) if self.of else to_say(self.what)


def unknown_of(axis: str, job: Job) -> Unknown:
    """Return whose unknown an axis of a job's worlds is.

    Parameters
    ----------
    axis : str
        Name of the axis, as the worlds have it: with ``origin`` or ``target`` at its end for a machine's.
    job : Job
        Says which machine and which resin those are.

    Returns
    -------
    Unknown
        The peel angle is that of the machine the recipe was proven on: there the film lets go at it.

    Examples
    --------
    >>> unknown_of("light common", None)  # type: ignore[arg-type]
    Unknown(what='light common', of='')
    """
    stem, _, side = axis.rpartition(" ")
    if axis in OF_RESIN:
        return Unknown(axis, job.resin_from.name)
    if side == "target" and stem in OF_RESIN:
        return Unknown(stem, job.resin.name)
    if axis == "activation":
        return Unknown(axis, job.resin.name)
    if axis == "peel angle":
        return Unknown(axis, job.origin.name)
    if side in {"origin", "target"}:
        return Unknown(stem, getattr(job, side).name)
    return Unknown(axis)


@frozen(kw_only=True, eq=False)
class Belief:
    """Equally likely values of some unknowns, in coordinates in which each was standard normal before any run.

    Parameters
    ----------
    unknowns : tuple of Unknown
        D of them.
    samples : (S, D) ndarray
        Their values [-].
    notes : tuple of str
        What whoever uses it must be told: where the runs contradict the model.
    """

    unknowns: tuple[Unknown, ...]
    samples: Floats
    notes: tuple[str, ...] = ()
    _columns: Mapping[Unknown, int] = field(init=False)

    @_columns.default
    def _find_columns(self) -> Mapping[Unknown, int]:
        return {unknown: k for k, unknown in enumerate(self.unknowns)}

    def knows(self, unknown: Unknown) -> bool:
        """Return whether any run says something of it."""
        return unknown in self._columns

    def values(self, unknown: Unknown) -> Floats:
        """Return the values of one unknown, (S,) [-]."""
        return np.asarray(self.samples[:, self._columns[unknown]])

    def coordinates(self, job: Job, axes: tuple[str, ...], *, count: int) -> dict[str, Floats]:
        """Return `count` joint values of the axes that are known of, each (count,) [-].

        Parameters
        ----------
        job : Job
            Whose worlds are drawn.
        axes : tuple of str
            The axes of its worlds.
        count : int
            How many: the samples in their order, begun anew as often as needed.

        Returns
        -------
        dict of str to (count,) ndarray
            By axis; what no run says anything of is left out.
        """
        wanted = {axis: unknown_of(axis, job) for axis in axes}
        return {axis: np.resize(self.values(u), count) for axis, u in wanted.items() if self.knows(u)}
