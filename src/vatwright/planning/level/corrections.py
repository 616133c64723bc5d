"""What to turn, shim or set so that a platform comes level: part turns, in an order, in words."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from vatwright.records.level import Corner, Correction, FittedPlane, LevelSurvey, Mount, Screw, Screws
from vatwright.wording import to_say, to_say_many

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

FINEST_TURN = 16
"""Nobody sets a screw finer than a sixteenth of a turn by eye [-]; common practice, no source."""

SAME_SIZE = 1.0e-9
"""Travels that differ by less than this are equal [m]: rounding."""


def turn_words(turns: float) -> str:
    """Return part turns as a person turns them, clockwise above 0.

    Examples
    --------
    >>> turn_words(0.13), turn_words(-1.26), turn_words(0.01)
    ('1/8 turn clockwise', '1 1/4 turns anticlockwise', 'a hair clockwise')
    """
    way = to_say("clockwise") if turns >= 0.0 else to_say("anticlockwise")
    part = Fraction(round(abs(turns) * FINEST_TURN), FINEST_TURN)
    if not part:
        return to_say("a hair {way}", way=way)
    whole, rest = divmod(part, 1)
    number = " ".join(str(n) for n in (whole, rest) if n)
    if part <= 1:
        return to_say("{number} turn {way}", number=number, way=way)
    return to_say("{number} turns {way}", number=number, way=way)


def turns_for(travel_m: float, screws: Screws) -> float:
    """Return the turns, above 0 clockwise seen from above, that raise the platform at a screw by `travel_m`.

    Examples
    --------
    >>> from vatwright.records.level import Mount
    >>> jack = Screws(mount=Mount.FOUR, places=(), pitch_m=7e-4, clockwise_raises=False)
    >>> round(turns_for(8.75e-5, jack), 3)
    -0.125
    """
    turns = travel_m / screws.pitch_m
    return turns if screws.clockwise_raises else -turns


def twist_correction(plane: FittedPlane, screws: Screws) -> list[Correction]:
    """Return what to do about a twist that is real; nothing where it is not.

    Four screws hold a plane at one place more than it needs, so two opposite ones can strain it; three or a ball cannot.
    """
    if not plane.twisted or plane.twist_m is None:
        return []
    high, low = to_say("front left - rear right"), to_say("front right - rear left")
    if plane.twist_m < 0.0:
        high, low = low, high
    size = abs(plane.twist_m)
    if screws.mount is not Mount.FOUR:
        do = to_say(
            "The corners on the diagonal {high} stand {size:.0f} um high and the other two as "
            "much low: the plate itself is twisted, or one reading is wrong. No screw takes that "
            "away; check it on a flat surface.",
            high=high,
            size=size * 1e6,
        )
        return [_correction("twist", high, -size, do)]
    ease = turn_words(turns_for(-size, screws))
    do = to_say(
        "The diagonal {high} is strained: its corners are held {size:.0f} um too high, those "
        "of {low} as much too low. Ease both of its screws first, {ease} each, tighten all "
        "in the order below and read again.",
        high=high,
        size=size * 1e6,
        low=low,
        ease=ease,
    )
    return [_correction("twist", high, -size, do, turns=turns_for(-size, screws))]


def screw_corrections(plane: FittedPlane, screws: Screws, sigma_m: Mapping[str, float]) -> list[Correction]:
    """Return by how much each screw must be turned to take the tilt away, the middle staying where it is.

    The screw that is farthest off comes first, then the one across from it, then the others.

    Parameters
    ----------
    plane : FittedPlane
        Its tilt.
    screws : Screws
        Where they stand, their pitch, which way they work.
    sigma_m : mapping of str to float
        Standard uncertainty of the plane at each screw [m].

    Returns
    -------
    list of Correction
        One for each screw.
    """
    travels = {s.name: -(plane.tilt_x * s.x_m + plane.tilt_y * s.y_m) for s in screws.places}
    found = []
    for screw in _farthest_first(screws.places, travels):
        travel = travels[screw.name]
        turns = turns_for(travel, screws)
        needed = abs(travel) > sigma_m[screw.name]
        far = abs(travel) * 1e6
        moves = to_say("{far:.0f} um up", far=far) if travel > 0.0 else to_say("{far:.0f} um down", far=far)
        if needed:
            do = to_say(
                "Turn the {name} screw {turn_words}, seen from above: the platform goes {moves} there.",
                name=screw.name,
                turn_words=turn_words(turns),
                moves=moves,
            )
        else:
            do = to_say("Leave the {name} screw: {moves} is within the reading's error.", name=screw.name, moves=moves)
        found.append(_correction("screw", screw.name, travel, do, turns=turns, needed=needed, place=screw))
    return found


def _farthest_first(places: Sequence[Screw], travels: Mapping[str, float]) -> list[Screw]:
    """Screws by how far they are off, each followed by the one across from it where there are four."""
    left = sorted(places, key=lambda s: (-round(abs(travels[s.name]) / SAME_SIZE), s.name))
    if len(left) != 4:
        return left
    order: list[Screw] = []
    while left:
        first = left.pop(0)
        across = min(left, key=lambda s: first.x_m * s.x_m + first.y_m * s.y_m)
        left.remove(across)
        order += [first, across]
    return order


def cross_order(places: Sequence[Screw]) -> tuple[str, ...]:
    """Return the order in which one pass visits the screws: across, then across the other way; the rear left one first.

    Examples
    --------
    >>> at = {"fl": (-1, -1), "fr": (1, -1), "rr": (1, 1), "rl": (-1, 1)}
    >>> cross_order([Screw(name=n, x_m=x, y_m=y) for n, (x, y) in at.items()])
    ('rl', 'fr', 'rr', 'fl')
    """
    first = {s.name: -s.y_m + 1e-3 * s.x_m for s in places}
    even = sorted(places, key=lambda s: first[s.name])
    return tuple(s.name for s in _farthest_first(even, {s.name: -n * 1e-6 for n, s in enumerate(reversed(even), 1)}))


def shim_corrections(corners: Sequence[Corner], *, leaf_m: float) -> list[Correction]:
    """Return how many leaves more to lay under each corner before a ball-and-clamp platform is pressed down and clamped.

    It takes the height of what it stands on, and clamping adds the same tilt again; so the corner that ended lowest gets
    the most leaves, and the one that ended highest none.

    Parameters
    ----------
    corners : sequence of Corner
        With their errors.
    leaf_m : float
        Caliper of one leaf [m].

    Returns
    -------
    list of Correction
        One for each corner, most leaves first.
    """
    top = max(c.error_m for c in corners)
    found = []
    for c in sorted(corners, key=lambda c: (c.error_m, c.name)):
        lack = top - c.error_m
        leaves = round(lack / leaf_m)
        needed = leaves > 0 and lack > c.sigma_m
        more = to_say_many(leaves, "{n} leaf more", "{n} leaves more")
        if needed:
            do = to_say(
                "Lay {more} of {leaf:.0f} um under the {name} corner ({lack:.0f} um are wanted).",
                more=more,
                leaf=leaf_m * 1e6,
                name=c.name,
                lack=lack * 1e6,
            )
        else:
            do = to_say(
                "Nothing more under the {name} corner: {lack:.0f} um is finer than a leaf or than the reading.",
                name=c.name,
                lack=lack * 1e6,
            )
        at = Screw(name=c.name, x_m=c.x_m, y_m=c.y_m)
        found.append(_correction("shim", c.name, lack, do, sheets=leaves if needed else 0, needed=needed, place=at))
    return found


def zero_correction(survey: LevelSurvey, zero: tuple[float, float] | None) -> list[Correction]:
    """Return how to bring the middle to where the machine calls it zero; nothing for a gauge that reads no height.

    Parameters
    ----------
    survey : LevelSurvey
        Its height, its sheets.
    zero : tuple of float or None
        By how much the middle stands too high, and its standard uncertainty [m].

    Returns
    -------
    list of Correction
        None or one.
    """
    if zero is None:
        return []
    high, sigma = zero
    needed = survey.height_m is not None and abs(high) > sigma
    sheets = -round(high / survey.leaf_m)
    said = "" if survey.height_m is not None else to_say("If the machine showed 0 while it was read: ")
    film = (
        to_say("the film")
        if survey.on_film
        else to_say("the film ({thickness:.0f} um, once it is fitted)", thickness=survey.machine.film.thickness_m * 1e6)
    )
    if abs(high) <= sigma:
        do = to_say(
            "{said}the middle meets {film} to within the readings ({sigma:.0f} um): leave the height.",
            said=said,
            film=film,
            sigma=sigma * 1e6,
        )
    else:
        by_sheets, far = _sheet_words(sheets, survey.leaf_m, high), abs(high) * 1e6
        stands = to_say("{far:.0f} um above", far=far) if high > 0.0 else to_say("{far:.0f} um below", far=far)
        do = to_say(
            "{said}the middle stands {stands} {film}. With a Z offset: set it by {offset:+.3f} mm. Without one: {by_sheets}.",
            said=said,
            stands=stands,
            film=film,
            offset=-high * 1e3,
            by_sheets=by_sheets,
        )
    return [_correction("zero", to_say("middle"), -high, do, sheets=sheets, needed=needed)]


def _sheet_words(sheets: int, leaf_m: float, high_m: float) -> str:
    if sheets == 0:
        return to_say("leave it, a sheet of {leaf:.0f} um would overdo it", leaf=leaf_m * 1e6)
    left = -high_m - sheets * leaf_m
    rest = to_say(", which leaves {left:.0f} um", left=abs(left) * 1e6) if abs(left) >= 5e-7 else ""
    leaf = leaf_m * 1e6
    if sheets > 0:
        return to_say_many(
            sheets,
            "set zero again on {n} sheet of {leaf:.0f} um more{rest}",
            "set zero again on {n} sheets of {leaf:.0f} um more{rest}",
            leaf=leaf,
            rest=rest,
        )
    return to_say_many(
        -sheets,
        "set zero again on {n} sheet of {leaf:.0f} um fewer{rest}",
        "set zero again on {n} sheets of {leaf:.0f} um fewer{rest}",
        leaf=leaf,
        rest=rest,
    )


def _correction(
    kind: str,
    what: str,
    travel_m: float,
    do: str,
    *,
    turns: float | None = None,
    sheets: int | None = None,
    needed: bool = True,
    place: Screw | None = None,
) -> Correction:
    return Correction(
        kind=kind,
        order=1,
        what=what,
        x_m=None if place is None else place.x_m,
        y_m=None if place is None else place.y_m,
        travel_m=travel_m,
        turns=turns,
        sheets=sheets,
        needed=needed,
        do=do,
    )
