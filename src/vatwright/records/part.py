"""The pieces of a job: which file, how many, and where on the platform."""

from __future__ import annotations

from attrs import field, frozen, validators

CLEARANCE_M = 0.002
"""Free distance between pieces that nobody placed [m]; common practice, no source."""

MARGIN_M = 0.003
"""Free distance from such pieces to the platform's edge [m]; common practice, no source."""

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))


@frozen(kw_only=True)
class Place:
    """Where one piece stands: an offset from the position in its file, from above, about the platform's centre.

    Parameters
    ----------
    x_m, y_m : float
        Offset along the width and along the depth of the platform [m].
    turn_deg : float
        Turn about the vertical, counter-clockwise seen from above [deg].
    """

    x_m: float = 0.0
    y_m: float = 0.0
    turn_deg: float = 0.0


@frozen(kw_only=True)
class PartUse:
    """One file of a job and how it is used.

    Parameters
    ----------
    name : str
        What the sheet calls it.
    file : str
        Path of the mesh file or of the folder of layer bitmaps.
    unit : str or None
        Length unit of the file, where its format has none.
    count : int
        How many pieces.
    pixel_m : float or None
        Pixel size of layer bitmaps [m].
    places : tuple of Place
        Where the pieces stand; empty lets the tool lay them out. One place and `count` 1: as given.
    as_drawn : bool
        True keeps the position in the file (the platform's centre is its origin) instead of laying out.
    where : str
        Place in the job file, for messages.
    """

    name: str
    file: str
    unit: str | None = None
    count: int = field(default=1, validator=validators.and_(validators.ge(1), validators.le(10_000)))
    pixel_m: float | None = field(default=None, validator=validators.optional(_positive))
    places: tuple[Place, ...] = ()
    as_drawn: bool = False
    where: str = field(default="", eq=False)


@frozen(kw_only=True)
class PlateLoad:
    """What a recipe was proven on, as a tape measure gives it when the files are not at hand.

    Parameters
    ----------
    pieces : int
        Pieces on the plate.
    section_m2 : float
        Largest solid cross-section of one piece [m2].
    height_m : float
        Height of the tallest piece with its supports [m].
    reach : float
        How far from the middle the pieces stood, as a share of how far they stand when nobody places them: 0 all in the
        middle.
    """

    pieces: int = field(validator=validators.and_(validators.ge(1), validators.le(10_000)))
    section_m2: float = field(validator=_positive)
    height_m: float = field(validator=_positive)
    reach: float = field(default=1.0, validator=validators.and_(validators.ge(0.0), validators.le(1.0)))
