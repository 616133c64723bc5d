"""The pictures of a carry sheet, each with its finding as a title and its data as a table."""
# ruff: noqa: RUF001 - an en dash between the ends of a range is what a page wants

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.answers.numbers import UNKNOWN, bench, clock, duration, fixed, one_line, ranged, significant, typed
from vatwright.answers.settings import setting_si
from vatwright.interfaces.render.pictures import svg
from vatwright.wording import say, say_many

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from vatwright.records.plan import CarrySheet, LayerTable

    Floats = NDArray[np.float64]

FIRST_LAYERS = 60
"""How many layers the close-up of the start shows; common practice: demands fall off over the first tens of layers."""

TABLE_ROWS = 14
SPOTS = 160
"""How many places along a picture can be read by pointing, about: closer than a finger or a mouse tells apart."""


class Spot(NamedTuple):
    """A place of a picture that can be read: its pixel (y None: anywhere above it) and what is there, in words."""

    x: float
    y: float | None
    text: str


class DataColumn(NamedTuple):
    """All values of one quantity, unit in its name, for a file."""

    name: str
    values: Floats


class Drawing(NamedTuple):
    """One picture: a name for links, its finding, the picture, its data and a word on what the table leaves out.

    `spots` are the places that can be read by pointing; `full` is all of the data where the table leaves some out.
    """

    slug: str
    title: str
    picture: svg.Svg
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    spots: tuple[Spot, ...] = ()
    full: tuple[DataColumn, ...] = ()

    @property
    def wide(self) -> bool:
        """Whether it has a width of its own, and scrolls rather than shrinks."""
        return self.picture.startswith("<svg width=")


def row_words(columns: tuple[str, ...], row: tuple[str, ...]) -> str:
    """Return a row of a table as a sentence.

    Examples
    --------
    >>> row_words(("where", "gap [µm]", "holds"), ("rear left", "160", "97 %"))
    'rear left: gap 160 µm; holds 97 %'
    """
    return f"{row[0]}: " + "; ".join(_with_unit(c, v) for c, v in zip(columns[1:], row[1:], strict=True) if v)


def _with_unit(column: str, value: str) -> str:
    name, _, unit = column.removesuffix("]").partition(" [")
    return f"{name} {value} {unit}".rstrip()


def spots_along(
    frame: svg.Frame, columns: tuple[str, ...], series: Sequence[Floats], *, digits: int = 2, whole: bool = False
) -> tuple[Spot, ...]:
    """Return places along the level axis, the first series, with the values of the others there; long ones are thinned.

    Parameters
    ----------
    frame : Frame
        Where a value lies.
    columns : tuple of str
        Name of each series, unit in brackets.
    series : sequence of array
        As long as each other.
    digits : int
        Significant digits told.
    whole : bool
        Whether the first series counts something.
    """
    if not len(series[0]):
        return ()
    seen = svg.thinned(series[1:3], SPOTS)
    names = ("", *columns[1:])
    return tuple(
        Spot(
            round(frame.at_x(float(series[0][i])), 1),
            None,
            row_words(
                names,
                (
                    _with_unit(columns[0], f"{series[0][i]:.0f}" if whole else significant(float(series[0][i]))),
                    *(significant(float(s[i]), digits) if math.isfinite(s[i]) else "" for s in series[1:]),
                ),
            ),
        )
        for i in seen
    )


ORDINARY = 0.05
"""A layer this near the usual thickness is no finding [-]."""


def figures(sheet: CarrySheet) -> tuple[Drawing, ...]:
    """Return every picture of the sheet that has axes over layers, time or lift, in reading order."""
    start = min(FIRST_LAYERS, len(sheet.layers.clock_s))
    drawn = [time_split(sheet), settle_by_clock(sheet, 0, start), thickness_by_layer(sheet, 0, start)]
    if len(sheet.layers.clock_s) > start + 1:
        rest = (start, len(sheet.layers.clock_s))
        drawn += [settle_by_clock(sheet, *rest), thickness_by_layer(sheet, *rest)]
    return (*drawn, pull_by_lift(sheet))


def thickness_by_layer(sheet: CarrySheet, first: int, stop: int) -> Drawing:
    """Return layer thickness against layer, with its range, what the light cures and the tolerance."""
    table, nominal = sheet.layers, bench(setting_si(sheet, "layer_mm"), "um")
    layer = np.arange(first, stop, dtype=np.float64)
    middle, low, high, cures = (
        a[first:stop] * 1e6
        for a in (table.thickness_m, table.thickness_low_m, table.thickness_high_m, table.cure_depth_m)
    )
    known = bool(np.any(cures > 0.0))
    series = [middle, low, high, *([cures] if known else [])]
    seen = svg.thinned(series)
    top = max(float(np.nanmax(s)) for s in series)
    frame = svg.Frame(
        svg.whole_axis(say("layer (0 touches the platform)"), first, stop - 1),
        svg.axis(say("thickness [µm]"), 0.0, top),
    )
    marks = [frame.axes(), frame.band(layer[seen], low[seen], high[seen], svg.fill("accent-fill") + ";opacity:0.6")]
    legend = [
        svg.Key(say("90 % range"), svg.fill("accent-fill"), area=True),
        svg.Key("thickness", svg.stroke("accent", 2)),
    ]
    if sheet.tolerance is not None and nominal > 0.0:
        limit = svg.stroke("soft", 1.2, "2 3")
        marks += [frame.level(nominal * (1.0 + sign * sheet.tolerance), limit) for sign in (-1, 1)]
        legend.append(svg.Key(say("tolerance ±{tolerance} %", tolerance=fixed(100.0 * sheet.tolerance, 0)), limit))
    if known:
        marks.append(frame.line(layer[seen], cures[seen], svg.stroke("ink", 1.8, "7 4")))
        legend.append(svg.Key(say("the light cures"), svg.stroke("ink", 1.8, "7 4")))
    marks += [frame.line(layer[seen], middle[seen], svg.stroke("accent", 2)), svg.key(legend)]
    return _figure(
        f"thickness-{first}",
        _thickness_finding(first, (middle, low, high), cures, known=known),
        say("Layer thickness for layers {first} to {stop}.", first=first, stop=stop - 1),
        frame,
        marks,
        *_thickness_table(table, first, stop),
    )._replace(
        spots=spots_along(
            frame,
            (say("layer"), say("thickness [µm]"), say("low [µm]"), say("high [µm]"), say("light cures [µm]"))[
                : 1 + len(series)
            ],
            [layer, *series],
            whole=True,
        ),
        full=_columns(
            (say("layer"), layer),
            (say("thickness [um]"), middle),
            (say("low [um]"), low),
            (say("high [um]"), high),
            (say("light cures [um]"), cures),
        ),
    )


def _thickness_finding(first: int, thickness: tuple[Floats, Floats, Floats], cures: Floats, *, known: bool) -> str:
    """Say which layer comes closest to not curing through, or which is thickest where no working curve is known."""
    middle, low, high = thickness
    worst = int(np.argmax(middle / cures)) if known and bool(np.all(cures > 0.0)) else int(np.argmax(middle))
    off = np.abs(middle / np.median(middle) - 1.0)
    if off[worst] < ORDINARY:  # an ordinary layer is no finding
        worst = int(np.argmax(off))
    size = ranged(float(middle[worst]), float(low[worst]), float(high[worst]), "µm")
    says = say("Layer {first} is {size} thick when the light comes on", first=first + worst, size=size)
    if not known:
        return say("{says}, the thickest here", says=says)
    held = say("the light cures") if cures[worst] >= middle[worst] else say("the light cures only")
    return f"{says}; {held} {significant(cures[worst], 2)} µm"


def _needed(demand_s: float, worded: Callable[[float], str]) -> str:
    """A demand in words, also where no settle meets it."""
    return worded(demand_s) if math.isfinite(demand_s) else say("more than any settle")


def settle_by_clock(sheet: CarrySheet, first: int, stop: int) -> Drawing:
    """Return settle needed against settle given, over the time since the start."""
    table = sheet.layers
    minutes = table.clock_s[first:stop] / 60.0
    need, given = table.settle_demand_s[first:stop], table.settle_given_s[first:stop]
    seen = svg.thinned([need, given])
    scale, unit = (60.0, "h") if minutes[-1] > 180.0 else (1.0, "min")
    whens = minutes / scale
    frame = svg.Frame(
        svg.axis(say("time since the start [{unit}]", unit=unit), float(whens[0]) if first else 0.0, float(whens[-1])),
        svg.axis(say("settle [s]"), 0.0, float(np.max(need, initial=np.nanmax(given), where=np.isfinite(need)))),
    )
    given_style, need_style = svg.stroke("accent", 2.4), svg.stroke("ink", 1.6, "6 3")
    marks = [
        frame.axes(),
        frame.line(*_steps(whens[seen], given[seen]), given_style),
        frame.line(whens[seen], need[seen], need_style),
        svg.key(
            [
                svg.Key(say("given"), given_style),
                svg.Key(say("needed, {confidence} % sure", confidence=fixed(100.0 * sheet.confidence, 0)), need_style),
            ]
        ),
    ]
    short = np.flatnonzero(need > given + 1e-9)
    here = stop - first
    finding = (
        say("Every one of the first {here:,} layers gets the settle it needs", here=here)
        if first == 0
        else say("Every one of the other {here:,} layers gets the settle it needs", here=here)
    )
    if len(short):
        worst = int(short[np.argmax((need - given)[short])])
        told = {
            "short": len(short),
            "here": here,
            "layer": first + worst,
            "need": _needed(float(need[worst]), duration),
            "given": duration(float(given[worst])),
        }
        finding = (
            say(
                "{short:,} of the first {here:,} layers get too little settle; layer {layer} needs {need} and gets {given}",
                **told,
            )
            if first == 0
            else say(
                "{short:,} of the other {here:,} layers get too little settle; layer {layer} needs {need} and gets {given}",
                **told,
            )
        )
    return _figure(
        f"settle-{first}",
        finding,
        say("Settle for layers {first} to {stop}.", first=first, stop=stop - 1),
        frame,
        marks,
        *_settle_table(table, first, stop),
    )._replace(
        spots=spots_along(
            frame, (say("after [{unit}]", unit=unit), say("settle needed [s]"), say("given [s]")), [whens, need, given]
        ),
        full=_columns(
            (say("layer"), np.arange(first, stop, dtype=np.float64)),
            (say("clock [s]"), table.clock_s[first:stop]),
            (say("settle needed [s]"), need),
            (say("settle given [s]"), given),
        ),
    )


def _columns(*pairs: tuple[str, Floats]) -> tuple[DataColumn, ...]:
    return tuple(DataColumn(*pair) for pair in pairs)


def _steps(xs: Floats, ys: Floats) -> tuple[Floats, Floats]:
    """Return a series drawn as steps: each value holds until the next place."""
    return np.repeat(xs, 2)[1:], np.repeat(ys, 2)[:-1]


def pull_by_lift(sheet: CarrySheet) -> Drawing:
    """Return the force on the rise of the hardest layer, with its range and the two stages of the lift."""
    curve = sheet.pull_curve
    lift = curve.lift_m * 1e3
    peel = setting_si(sheet, "body.peel_lift_mm") * 1e3
    whole = peel + setting_si(sheet, "body.clear_lift_mm") * 1e3
    top = float(np.nanmax(curve.high_n, initial=1.0))
    right = max(float(np.nanmax(lift, initial=1.0)), whole if math.isfinite(whole) else 0.0)
    frame = svg.Frame(svg.axis(say("lift [mm]"), 0.0, right), svg.axis(say("pull [N]"), 0.0, top))
    marks = [frame.axes(), frame.band(lift, curve.low_n, curve.high_n, svg.fill("accent-fill") + ";opacity:0.6")]
    marks += [
        frame.upright(at, svg.stroke("soft", 1.2, "2 3"), text)
        for at, text in ((peel, say("peel lift ends")), (whole, say("lift ends")))
        if math.isfinite(at) and at > 0.0
    ]
    band = svg.Key(say("90 % range"), svg.fill("accent-fill"), area=True)
    marks += [
        frame.line(lift, curve.middle_n, svg.stroke("accent", 2)),
        svg.key([band, svg.Key("pull", svg.stroke("accent", 2))]),
    ]
    peak = int(np.argmax(curve.middle_n)) if len(lift) else 0
    finding = say("No pull is known")
    if len(lift):
        span = f"{significant(curve.low_n[peak], 2)}–{significant(curve.high_n[peak], 2)}"
        force = f"{significant(curve.middle_n[peak], 2)} N ({span})"
        finding = say(
            "Layer {layer} pulls hardest: {force} at {lift} mm of lift",
            layer=curve.layer,
            force=force,
            lift=fixed(lift[peak], 1),
        )
    kept: list[int] = np.unique(np.linspace(0, len(lift) - 1, min(len(lift), TABLE_ROWS)).astype(int)).tolist()
    rows = tuple(
        (fixed(lift[i], 2), *(significant(s[i], 2) for s in (curve.low_n, curve.middle_n, curve.high_n))) for i in kept
    )
    columns = (say("lift [mm]"), say("low [N]"), say("middle [N]"), say("high [N]"))
    series = (lift, curve.low_n, curve.middle_n, curve.high_n)
    told = (lift, curve.middle_n, curve.low_n, curve.high_n)
    names = (say("lift [mm]"), say("pull [N]"), say("low [N]"), say("high [N]"))
    return _figure(
        "pull", finding, say("Pull against lift for layer {layer}.", layer=curve.layer), frame, marks, columns, rows
    )._replace(spots=spots_along(frame, names, told), full=tuple(map(DataColumn, columns, series)))


def time_split(sheet: CarrySheet) -> Drawing:
    """Return where the time goes on both machines, as paired bars."""
    run, shares = sheet.time, sheet.time.shares
    most = max((max(s.from_s, s.to_s) for s in shares), default=3600.0)
    height = 78.0 + 40.0 * len(shares)
    hours = svg.axis(say("time for all pieces [h]"), 0.0, most / 3600.0 * 1.12, most=5)
    frame = svg.Frame(hours, svg.Axis("", 0.0, 1.0, ()), height=height, left=96.0, right=18.0)
    marks, spots = [frame.axes()], []
    origin, target = svg.fill("line"), svg.fill("accent")
    for k, share in enumerate(shares):
        y = frame.top + 40.0 * k
        marks.append(svg.words(share.label, frame.left - 8, y + 21, anchor="end"))
        for seconds, style, down in ((share.from_s, origin, 2.0), (share.to_s, target, 18.0)):
            if seconds <= 0.0 and run.from_plates == 0 and style == origin:
                continue
            wide = max(frame.at_x(seconds / 3600.0) - frame.left, 0.0)
            marks.append(svg.tag("rect", x=frame.left, y=y + down, width=wide, height=13, style=style))
            text = fixed(seconds / 3600.0, 1 if seconds >= 3600.0 else 2)
            marks.append(svg.words(text, frame.left + wide + 5, y + down + 11, name="soft"))
            who = one_line(sheet.target if down > 10.0 else sheet.origin)
            spots.append(
                Spot(
                    frame.left + wide / 2.0,
                    y + down + 6.5,
                    say("{label} on {who}: {seconds}", label=share.label, who=who, seconds=duration(seconds)),
                )
            )
    entries = [
        svg.Key(say("{origin} (upper)", origin=one_line(sheet.origin)), origin, area=True),
        svg.Key(say("{target} (lower)", target=one_line(sheet.target)), target, area=True),
    ]
    marks.append(svg.key(entries, left=12.0))
    finding = say(
        "All {pieces}: {to} on {target}",
        pieces=say_many(sheet.pieces, "{n} piece", "{n} pieces"),
        to=duration(run.to_s),
        target=one_line(sheet.target),
    )
    if run.from_plates:
        finding += say(", {from_} on {origin}", from_=duration(run.from_s), origin=one_line(sheet.origin))
    rows = tuple((one_line(s.label), duration(s.from_s), duration(s.to_s)) for s in shares)
    ends = ((run.from_s, run.from_plates), (run.to_s, run.to_plates))
    total = (
        say("all together"),
        *(f"{duration(t)}, {say_many(n, '{n} plate', '{n} plates')}" if n else say("do not fit") for t, n in ends),
    )
    columns = (say("time spent on"), one_line(sheet.origin), one_line(sheet.target))
    picture = _figure("time", finding, say("Time by what it is spent on."), frame, marks, columns, (*rows, total))
    return picture._replace(spots=tuple(spots))


def _figure(
    slug: str, title: str, description: str, frame: svg.Frame, marks: Sequence[svg.Svg],
    columns: tuple[str, ...], rows: tuple[tuple[str, ...], ...], note: str = "",
) -> Drawing:  # fmt: skip
    picture = svg.drawing(
        slug=slug, title=title, description=description, width=frame.width, height=frame.height, children=marks
    )
    return Drawing(slug, title, picture, columns, rows, note)


def _thickness_table(
    table: LayerTable, first: int, stop: int
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...], str]:
    """Return thickness and cure depth of some layers, with a note on what is left out."""
    lengths = (table.thickness_m, table.thickness_low_m, table.thickness_high_m, table.cure_depth_m)
    kept = _kept_layers(first, stop, table.thickness_m, table.thickness_high_m)
    rows = []
    for i in kept:
        microns = [significant(bench(float(a[i]), "um"), 2) for a in lengths]
        rows.append((str(i), *microns[:3], microns[3] if table.cure_depth_m[i] > 0.0 else say(UNKNOWN)))
    return (
        (say("layer"), say("thickness [µm]"), say("low [µm]"), say("high [µm]"), say("light cures [µm]")),
        tuple(rows),
        _left_out(kept, first, stop),
    )


def _settle_table(table: LayerTable, first: int, stop: int) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...], str]:
    """Return settle needed and given of some layers, with a note on what is left out."""
    given = table.settle_given_s[first:stop]
    changes = [first + int(k) + 1 for k in np.flatnonzero(np.diff(given))[:4]]
    kept = sorted(
        {*_kept_layers(first, stop, table.settle_demand_s, table.settle_demand_s - table.settle_given_s), *changes}
    )
    rows = tuple(
        (str(i), clock(float(table.clock_s[i]), hours=True),
         _needed(float(table.settle_demand_s[i]), lambda s: significant(s, 2)),
         typed(float(table.settle_given_s[i])))
        for i in kept
    )  # fmt: skip
    return (
        (say("layer"), say("clock [h:min:s]"), say("needed [s]"), say("given [s]")),
        rows,
        _left_out(kept, first, stop),
    )


def _kept_layers(first: int, stop: int, *series: Floats) -> list[int]:
    """Return which layers a table lists: the first three, the last, the highest of each series, and an even spread."""
    kept = {*range(first, min(first + 3, stop)), stop - 1, *(first + int(np.argmax(a[first:stop])) for a in series)}
    spread = np.linspace(first, stop - 1, max(TABLE_ROWS - len(kept), 2)).astype(int).tolist()
    return sorted(kept | set(spread))


def _left_out(kept: list[int], first: int, stop: int) -> str:
    return (
        ""
        if len(kept) == stop - first
        else say("{kept} of {stop:,} layers; the layer table (CSV) has all.", kept=len(kept), stop=stop - first)
    )
