"""What the services need from outside, as shapes: whoever fits may serve."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from attrs import frozen

from vatwright.geometry.part_layers import OutlineStack, PartLayers
from vatwright.records.part import PartUse

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Masks = Iterable[NDArray[np.bool_]]


@frozen(kw_only=True, eq=False)
class PartGeometry:
    """A part as its file gives it, in metres: triangles, or a stack of layer pictures.

    Parameters
    ----------
    name : str
        What messages call it.
    corners_m : (F, 3, 3) ndarray or None
        Triangles, or None for outlines and layer pictures.
    outlines : tuple of OutlineStack
        Stacks of outlines, used where there are no triangles.
    masks : iterable of (H, W) ndarray of bool, or None
        One picture a layer, from the platform on.
    pixel_m : float
        Size of a pixel [m].
    layers : int
        Pictures in the stack.
    warnings : tuple of str
        What the reader noticed.
    """

    name: str
    corners_m: Floats | None = None
    outlines: tuple[OutlineStack, ...] = ()
    masks: Masks | None = None
    pixel_m: float = 0.0
    layers: int = 0
    warnings: tuple[str, ...] = ()


class PartReader(Protocol):
    """Reads the file of a part."""

    def __call__(self, part: PartUse, *, layer_nm: int) -> PartGeometry:
        """Return its geometry, or raise InputError with every mistake of the file."""
        ...


class StudyMemory(Protocol):
    """Remembers studies of parts from one run to the next."""

    def recall(self, part: PartUse, *, layer_nm: int, turn_deg: float) -> PartLayers | None:
        """Return the study of exactly this part, layer thickness [nm] and turn [deg], or None."""
        ...

    def keep(self, part: PartUse, layers: PartLayers, *, layer_nm: int, turn_deg: float) -> None:
        """Remember a study; never fails."""
        ...


class Progress(Protocol):
    """Is told how far long work has come."""

    def __call__(self, what: str, done: int, total: int) -> None:
        """Take note; may raise KeyboardInterrupt to stop the work."""
        ...


def silent(what: str, done: int, total: int) -> None:
    """Take no note."""
