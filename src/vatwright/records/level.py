"""Levelling: what was read and with what, and what it comes to."""

from __future__ import annotations

import math
from enum import StrEnum

from attrs import field, frozen, validators

from vatwright.records.machine import Machine
from vatwright.records.material import Resin
from vatwright.records.process import Settings
from vatwright.wording import to_say

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))
_not_negative = validators.and_(validators.ge(0.0), validators.lt(float("inf")))


class Method(StrEnum):
    """How the gap was read."""

    FEELER = to_say("feeler")
    PAPER = to_say("paper")
    STRIPS = to_say("folded paper strips")
    INDICATOR = to_say("indicator")
    PRINT = to_say("first-layer print thickness")


@frozen(kw_only=True)
class Gauge:
    """What a way of reading can tell.

    Parameters
    ----------
    method : Method
        The way.
    sigma_m : float
        Standard uncertainty of one reading, independent of the others [m].
    shared_m : float
        Standard uncertainty that all its readings share: it moves the offset and tilts nothing [m].
    least_m, most_m : float
        What it can read [m].
    absolute : bool
        Whether it reads the gap itself; otherwise only how the gap changes from place to place.
    grade : str
        How good it is, in words, and where that comes from.
    source : str
        Key in the list of sources.
    """

    method: Method
    sigma_m: float = field(validator=_positive)
    shared_m: float = field(validator=_not_negative)
    least_m: float
    most_m: float
    absolute: bool
    grade: str
    source: str


PAPER_M = 1.0e-4
"""Caliper of a sheet of 80 g/m2 writing paper [m]; common practice, no source: 0.10 +- 0.01 mm under a finger."""

PAPER_SHARED = 0.1
"""How far a sheet's caliper may be off, pressed by hand, as a share of it [-]; common practice, no source."""

FEEL_M = 1.0e-5
"""Standard uncertainty of "it just drags" [m]; engineering estimate, no source."""


def gauge(method: Method, *, leaf_m: float = PAPER_M) -> Gauge:
    """Return what a way of reading can tell.

    Parameters
    ----------
    method : Method
        The way.
    leaf_m : float
        Caliper of one leaf of the paper used [m].

    Returns
    -------
    Gauge
        With its uncertainties and its range.

    Notes
    -----
    A strip is folded until it no longer slides in: the gap lies within a leaf of leaves times caliper, evenly spread, so
    its standard uncertainty is a leaf over the square root of twelve.

    Examples
    --------
    >>> round(gauge(Method.STRIPS).sigma_m * 1e6)
    31

    References
    ----------
    JCGM 100:2008, 4.3.7: a quantity evenly spread over a width. [jcgm:2008]
    """
    practice, estimate, memory = "practice:bench", "estimate:vatwright", "memory:vatwright"
    count_m, uneven_m, shared_m = leaf_m / 12.0**0.5, 0.05 * leaf_m, PAPER_SHARED * leaf_m
    rows = {
        Method.FEELER: (
            FEEL_M, 5e-6, 2e-5, 3e-3, True,
            to_say("good: blades hold +-3 to +-8 um (from memory), your feel 10 um"), memory,
        ),
        Method.PAPER: (
            math.hypot(FEEL_M, uneven_m), shared_m, 3e-5, 1e-3, True,
            to_say("fair: paper gives under the finger, 0.10 +- 0.01 mm (common practice); good for "
"tilt, weak for height"), practice,
        ),
        Method.STRIPS: (
            math.hypot(FEEL_M, count_m), shared_m, 3e-5, 5e-3, True,
            to_say("coarse: it counts whole leaves, so each place is known to about a third of a leaf"), estimate,
        ),
        Method.INDICATOR: (
            1e-5, 0.0, -5e-3, 5e-3, False,
            to_say("good for tilt: one division of a common dial, 10 um; it knows no height"), practice,
        ),
        Method.PRINT: (
            1.5e-5, 0.0, 1e-5, 3e-3, False,
            to_say("good: it is the first layer itself, measured with a micrometer to about 15 um"), estimate,
        ),
    }  # fmt: skip
    sigma, shared, least, most, absolute, grade, source = rows[method]
    return Gauge(
        method=method,
        sigma_m=sigma,
        shared_m=shared,
        least_m=least,
        most_m=most,
        absolute=absolute,
        grade=grade,
        source=source,
    )


@frozen(kw_only=True)
class GapReading:
    """One reading.

    Parameters
    ----------
    x_m, y_m : float
        Where, from the platform's centre, x to the right, y away from the person [m].
    gap_m : float
        The gap, or for a relative gauge what it is more than elsewhere [m].
    sigma_m : float
        Standard uncertainty [m].
    where : str
        Where it was handed in, for messages.
    """

    x_m: float
    y_m: float
    gap_m: float
    sigma_m: float = field(validator=_positive)
    where: str = field(default="", eq=False)


class Mount(StrEnum):
    """How the platform hangs."""

    FOUR = to_say("four screws")
    THREE = to_say("three screws")
    BALL = to_say("ball and clamp")


@frozen(kw_only=True)
class Screw:
    """One levelling or clamp screw: what a person calls it and where it stands [m]."""

    name: str
    x_m: float
    y_m: float


@frozen(kw_only=True)
class Screws:
    """The screws of a platform.

    Parameters
    ----------
    mount : Mount
        How it hangs.
    places : tuple of Screw
        Four, three, or the clamp screws of a ball.
    pitch_m : float
        Thread pitch: travel of one turn [m].
    clockwise_raises : bool
        Whether a turn clockwise, seen from above, raises the platform there.
    assumed : tuple of str
        What of it nobody said, a sentence each.
    """

    mount: Mount
    places: tuple[Screw, ...]
    pitch_m: float = field(validator=_positive)
    clockwise_raises: bool
    assumed: tuple[str, ...] = ()


@frozen(kw_only=True)
class BaseDose:
    """The base the platform is judged for: its settings, its resin, the room, what it is called and whose recipe it is."""

    name: str
    proven_on: str = ""
    settings: Settings
    resin: Resin
    room_k: float = field(validator=_positive)


@frozen(kw_only=True)
class LevelSurvey:
    """All that was handed in for one levelling.

    Parameters
    ----------
    machine : Machine
        Whose platform it is.
    others : tuple of Machine
        The shop's other machines, for comparison.
    gauge : Gauge
        What it was read with.
    readings : tuple of GapReading
        At least three, not on a line.
    screws : Screws
        What can be turned.
    leaf_m : float
        Caliper of the sheets at hand [m].
    on_film : bool
        Whether the gap was read down to the film rather than to the bare screen.
    height_m : float or None
        What the machine called its height while it was read, None where nobody said [m].
    base : BaseDose or None
        The base to judge for, None for geometry alone.
    hold_s : float
        How long the platform should stay down to be tightened [s].
    """

    machine: Machine
    others: tuple[Machine, ...] = ()
    gauge: Gauge
    readings: tuple[GapReading, ...]
    screws: Screws
    leaf_m: float = field(default=PAPER_M, validator=_positive)
    on_film: bool = False
    height_m: float | None = None
    base: BaseDose | None = None
    hold_s: float = field(default=1200.0, validator=_positive)


@frozen(kw_only=True)
class FittedPlane:
    """The plane and what it leaves.

    Parameters
    ----------
    offset_m, offset_sigma_m : float
        Gap at the middle, and its standard uncertainty, what all readings share included [m].
    tilt_x, tilt_y : float
        Growth of the gap to the right and away from the person [m/m].
    twist_m, twist_sigma_m : float or None
        Twist at the corners, above 0 where front left and rear right stand high; None where the readings cannot tell [m].
    twisted : bool
        Whether the twist is beyond what the readings' uncertainty makes.
    residual_m : tuple of float
        Reading less plane, in the order of the readings [m].
    residual_rms_m : float
        Root mean square of them [m].
    scatter : float
        By what factor readings scatter more than they say about the plane, twist set aside where it is real [-].
    """

    offset_m: float
    offset_sigma_m: float
    tilt_x: float
    tilt_y: float
    twist_m: float | None
    twist_sigma_m: float | None
    twisted: bool
    residual_m: tuple[float, ...]
    residual_rms_m: float
    scatter: float


@frozen(kw_only=True)
class Corner:
    """One corner of the platform.

    Parameters
    ----------
    name : str
        What the person in front calls it.
    x_m, y_m : float
        Where [m].
    plane_m : float
        Gap of the plane there [m].
    gap_m : float
        The same with the twist, where that is real [m].
    error_m : float
        That gap less the gap in the middle [m].
    sigma_m : float
        Standard uncertainty of the gap there [m].
    bonds, touches : float or None
        Chance that the base bonds there, and that the corner presses on the film; None without a base [-].
    """

    name: str
    x_m: float
    y_m: float
    plane_m: float
    gap_m: float
    error_m: float
    sigma_m: float
    bonds: float | None = None
    touches: float | None = None


@frozen(kw_only=True)
class BaseCheck:
    """What the base dose makes of this platform; ranges are 5, 50 and 95 %.

    Parameters
    ----------
    name : str
        Of the base.
    exposure_s, settle_s, layer_m : float
        Its first layer as this machine would run it [s], [s], [m].
    settled_m : tuple of float
        Gap under a level platform when the light comes on [m].
    bonds_to_m : tuple of float
        The thickest gap that still bonds: cure depth at the dimmest spot less the overcure a bond needs [m].
    zero_m : float or None
        By how much the middle stands too high when the machine calls it zero, None where unknown [m].
    allowed_m : float
        The corner error that this base forgives in nine runs of ten; 0 where it forgives none [m].
    """

    name: str
    exposure_s: float
    settle_s: float
    layer_m: float
    settled_m: tuple[float, float, float]
    bonds_to_m: tuple[float, float, float]
    zero_m: float | None
    allowed_m: float


@frozen(kw_only=True)
class SizeComparison:
    """What the same tilt does on a machine, and what tilt its size forgives where a base says how much [m], [m/m]."""

    machine: str
    half_diagonal_m: float
    error_m: float
    forgiven_tilt: float | None


@frozen(kw_only=True)
class Correction:
    """One thing to do about the plane.

    Parameters
    ----------
    kind : str
        ``screw``, ``shim``, ``twist`` or ``zero``.
    order : int
        When, from 1.
    what : str
        Screw, corner or diagonal by name.
    x_m, y_m : float or None
        Where [m].
    travel_m : float
        How far the platform rises there; below 0 it comes down [m].
    turns : float or None
        Turns of the screw, above 0 clockwise seen from above.
    sheets : int or None
        Sheets to add, below 0 to take away.
    needed : bool
        Whether it is more than the readings' uncertainty.
    do : str
        The whole thing as a sentence.
    """

    kind: str
    order: int
    what: str
    x_m: float | None = None
    y_m: float | None = None
    travel_m: float
    turns: float | None = None
    sheets: int | None = None
    needed: bool
    do: str


@frozen(kw_only=True)
class HoldStep:
    """One act while the platform is held down: seconds from its arrival (below 0: before the start), and what to do."""

    at_s: float
    do: str


@frozen(kw_only=True)
class HoldDown:
    """How to keep the platform down long enough to tighten it.

    Parameters
    ----------
    wanted_s, held_s : float
        Asked for, and what one start gives on this controller [s].
    settle_s, exposure_s, soak_s : float
        What to set in the base [s].
    starts : int
        How often to start it to reach what was asked.
    weights_off_s : float
        When the weights must be off, from the arrival [s].
    limits : tuple of str
        What this controller does not allow, a sentence each.
    order : tuple of str
        Screws in the order in which every pass visits them.
    passes : tuple of str
        How far each pass turns.
    steps : tuple of HoldStep
        By the clock.
    checks, cautions : tuple of str
        Before touching the screen; to take care of.
    """

    wanted_s: float
    held_s: float
    settle_s: float
    exposure_s: float
    soak_s: float
    starts: int
    weights_off_s: float
    limits: tuple[str, ...]
    order: tuple[str, ...]
    passes: tuple[str, ...]
    steps: tuple[HoldStep, ...]
    checks: tuple[str, ...]
    cautions: tuple[str, ...]


class LevelAnswer(StrEnum):
    """Whether the platform is level enough for the base it was judged for."""

    YES = to_say("level enough")
    DOUBTFUL = "doubtful"
    NO = to_say("not level enough")
    GEOMETRY = to_say("geometry only")


@frozen(kw_only=True)
class LevelSheet:
    """The answer of one levelling, with what it was worked out from."""

    survey: LevelSurvey
    plane: FittedPlane
    corners: tuple[Corner, ...]
    base: BaseCheck | None
    answer: LevelAnswer
    verdict: str
    sizes: tuple[SizeComparison, ...]
    corrections: tuple[Correction, ...]
    hold: HoldDown
    notes: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def worst(self) -> Corner:
        """The corner that stands highest."""
        return max(self.corners, key=lambda c: c.error_m)

    @property
    def nearest(self) -> Corner:
        """The corner that stands lowest."""
        return min(self.corners, key=lambda c: c.error_m)
