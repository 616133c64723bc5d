"""The carry sheet: what the tool advises, and everything needed to question it.  SI throughout."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from attrs import field, frozen

from vatwright.records.after import AroundPrint
from vatwright.records.first_layer import FirstLayers
from vatwright.records.holding import Holding
from vatwright.records.learned import NextStep
from vatwright.records.machine import Platform, Window
from vatwright.records.part_change import PartChange, SlowFace
from vatwright.records.stock import OldLot
from vatwright.records.study import PlacedOutline
from vatwright.records.taken import Trimmed
from vatwright.records.tried import Experience
from vatwright.records.upkeep import Due
from vatwright.records.warmth import RunWarmth, WarmUp

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@frozen(kw_only=True)
class Advice:
    """One setting, side by side.

    Parameters
    ----------
    name : str
        Public name, bench unit included.
    from_value, to_value, low, high : float
        Proven value, advised value and the 90 % range of what is needed, SI (counts as floats).
    honoured : str
        "yes", "shared" or "no": what the target's controller does with it.
    reason : str
        Why, in one sentence.
    dominated_by : str
        The unknown that makes most of the range, empty where there is none.
    narrowed_by : str
        The reading that would narrow it most, empty where there is none.
    sources : tuple of str
        Keys of the sources used.
    by_hand : bool
        True when a person has to set it during the run.
    """

    name: str
    from_value: float
    to_value: float
    low: float
    high: float
    honoured: str
    reason: str
    dominated_by: str = ""
    narrowed_by: str = ""
    sources: tuple[str, ...] = ()
    by_hand: bool = False


@frozen(kw_only=True)
class Success:
    """Chance that the run holds: 90 % range and mean."""

    low: float
    mean: float
    high: float


EVEN = 0.5
"""A run that holds less often than this is not worth starting; one that may, at the bad end of what is known, is not said to
hold [-]."""


class Outlook(StrEnum):
    """The verdict on a run, as a code."""

    TOO_COLD = "too_cold"
    TOO_WARM = "too_warm"
    HOLDS = "holds"
    UNSURE = "unsure"
    LIKELY = "likely"
    KNOWN_TOO_LITTLE = "known_too_little"
    AT_ODDS = "at_odds"
    NOT_SAFE = "not_safe"


@frozen(kw_only=True)
class Trade:
    """What a thickness tolerance costs: time of all pieces, and chance to hold.

    Parameters
    ----------
    tolerance : float
        As a share of the layer [-].
    to_s : float
        All pieces on the target [s].
    mean : float
        Chance that a run holds [-].
    """

    tolerance: float
    to_s: float
    mean: float


@frozen(kw_only=True)
class PeelTrade:
    """What another peel speed of the body costs and saves, all else as advised.

    Parameters
    ----------
    peel_speed_m_s : float
        Speed of the slow stage [m/s].
    lift_m, pull_n : float
        Whole rise, and the hardest pull in the middle of the range [m], [N].
    to_s : float
        All pieces on the target [s].
    mean : float
        Chance that a run holds [-].
    """

    peel_speed_m_s: float
    lift_m: float
    pull_n: float
    to_s: float
    mean: float


@frozen(kw_only=True)
class Spare:
    """What a settle is made of [s]: what is needed in the middle of the range, and what was added to it.

    Parameters
    ----------
    setting : str
        Public name.
    need_s : float
        Least settle in the middle of the range [s].
    cover_s : float
        Added for what is not known, and negative where the machine allows no more [s].
    spare_s : float
        Spare time of the proven recipe, carried whole [s].
    rounding_s : float
        From there to what is set: steps, limits, one value for base and body [s].
    """

    setting: str
    need_s: float
    cover_s: float
    spare_s: float
    rounding_s: float


@frozen(kw_only=True)
class TimeShare:
    """One kind of time in a run, for all pieces, on both machines [s]."""

    label: str
    from_s: float
    to_s: float


@frozen(kw_only=True)
class RunTime:
    """How long all pieces take on both machines.

    Parameters
    ----------
    from_s, to_s : float
        All pieces, on as many plates as it takes [s].
    from_plates, to_plates : int
        Plates; `from_plates` 0 when the pieces do not fit the origin at all.
    per_piece_from_s, per_piece_to_s : float
        A piece [s].
    shares : tuple of TimeShare
        Light, settle, peel lift, clear lift, return, other waits, controller.
    """

    from_s: float
    to_s: float
    from_plates: int
    to_plates: int
    per_piece_from_s: float
    per_piece_to_s: float
    shares: tuple[TimeShare, ...]


@frozen(kw_only=True)
class LightCarried:
    """The light under the pieces on both machines, for the body: medians of what is believed.

    Parameters
    ----------
    from_w_m2, to_w_m2 : float
        Mean irradiance of the window [W/m2].
    from_dimmest, to_dimmest, from_brightest, to_brightest : float
        Dimmest and brightest spot under the pieces as a share of the mean [-].
    from_least_j_m2, to_least_j_m2, from_most_j_m2, to_most_j_m2 : float
        Dose of one body layer at the dimmest and at the brightest of these spots [J/m2].
    from_through_m, to_through_m : float
        Print-through at the brightest spot: how deep many body layers cure beyond an overhang [m].
    """

    from_w_m2: float
    to_w_m2: float
    from_dimmest: float
    to_dimmest: float
    from_brightest: float
    to_brightest: float
    from_least_j_m2: float
    to_least_j_m2: float
    from_most_j_m2: float
    to_most_j_m2: float
    from_through_m: float
    to_through_m: float


@frozen(kw_only=True, eq=False)
class LayerTable:
    """Layer by layer, for the settings advised; each array has one entry a layer.

    Parameters
    ----------
    clock_s : Floats
        When each layer starts [s].
    thickness_m, thickness_low_m, thickness_high_m : Floats
        Thickness when the light comes on: median and 90 % range [m].
    cure_depth_m : Floats
        What the dose cures at the dimmest spot under the pieces, median [m].
    exposure_s : Floats
        Light time, the ramp included [s].
    settle_demand_s, settle_true_s, settle_given_s : Floats
        What the plan owes it at the chosen confidence: never more than it gets where it bonds as often as asked; what it
        takes to bond and be within the thickness tolerance in any case; both infinite where no settle does; the settle it
        gets [s].
    lift_demand_m, pull_n, screen_force_n : Floats
        Lift that releases it, peak pull and force on the screen [m], [N], [N].
    reach_m, front_m : Floats
        That lift over tan(theta) and that pull over T sin(theta), geometry alone [m].
    area_m2 : Floats
        Area [m2].
    """

    clock_s: Floats
    thickness_m: Floats
    thickness_low_m: Floats
    thickness_high_m: Floats
    cure_depth_m: Floats
    settle_demand_s: Floats
    settle_true_s: Floats
    settle_given_s: Floats
    lift_demand_m: Floats
    reach_m: Floats
    front_m: Floats
    pull_n: Floats
    screen_force_n: Floats
    area_m2: Floats
    exposure_s: Floats


@frozen(kw_only=True, eq=False)
class PullCurve:
    """Force on the rise for the hardest layer: lift [m] against force [N], median and 90 % range."""

    layer: int
    lift_m: Floats
    low_n: Floats
    middle_n: Floats
    high_n: Floats


@frozen(kw_only=True, eq=False)
class PlatformView:
    """The target's platform from above.

    Parameters
    ----------
    platform, window : Platform, Window
        What is drawn around the parts.
    outlines : tuple of PlacedOutline
        The parts.
    tan_angle : float
        Tangent of the peel angle; the lift demand at a point is this times its distance to the window's edge [-].
    worst_x_m, worst_y_m, worst_lift_m : float
        The place that lets go last and the lift it needs [m].
    """

    platform: Platform
    window: Window
    outlines: tuple[PlacedOutline, ...]
    tan_angle: float
    worst_x_m: float
    worst_y_m: float
    worst_lift_m: float


@frozen(kw_only=True)
class Visit:
    """One change made by hand while the machine runs.

    Parameters
    ----------
    at_s : float
        When, from the start of the run [s].
    layer : int
        The first layer (from 0) that gets the new value.
    setting : str
        The setting changed, as the controller knows it (a shared one by its body name).
    value : float
        New value, SI.
    late_ok_s, early_ok_s : float
        How late and how early the hand may be without missing a demand [s]; infinite where it only costs time.
    """

    at_s: float
    layer: int
    setting: str
    value: float
    late_ok_s: float
    early_ok_s: float


class HandWhy(StrEnum):
    """Why a schedule is what it is."""

    SHARED = "one settle for base and body, changed by hand"
    FEW_LAYERS = "a few layers need a longer settle than the rest"
    SERVES_BOTH = "one settle for base and body, and nobody changes it"
    FIXED = "one settle for base and body, which cannot be changed while it runs"


@frozen(kw_only=True)
class HandPlan:
    """What the person does and what it saves.

    Parameters
    ----------
    start_value : float
        Value set before the run, SI.
    setting : str
        The setting concerned.
    visits : tuple of Visit
        Changes during the run; empty when none is needed or possible.
    total_s : float
        Run time of one plate with the visits [s].
    alone_value, alone_total_s : float
        The best single value when nobody comes, SI, and its run time [s].
    obeyed_total_s : float
        Run time if the controller obeyed both values [s].
    covers : bool
        Whether the schedule meets every demand.
    why : HandWhy
        Why it is so.
    short_layer : int or None
        The layer that misses most, where one does.
    short_by_s : float
        How much more settle than the machine allows it would need [s].
    """

    start_value: float
    setting: str
    visits: tuple[Visit, ...]
    total_s: float
    alone_value: float
    alone_total_s: float
    obeyed_total_s: float
    covers: bool
    why: HandWhy
    short_layer: int | None = None
    short_by_s: float = 0.0


@frozen(kw_only=True)
class ResinNeed:
    """Resin for one plate on the target [m3]."""

    parts_m3: float
    drag_out_m3: float
    pool_m3: float
    pour_m3: float


@frozen(kw_only=True)
class Risk:
    """Something that may go wrong, worst first.

    Parameters
    ----------
    what : str
        What would happen, in plain words.
    layer : int
        Where it would start, from 0; -1 where it is no layer's matter.
    margin : float or None
        Capacity over demand: above 1 holds; None where it is no matter of margin.
    chance : float or None
        How likely [-]; None where it is seen in the plan and nobody reckoned in how many runs it goes wrong.
    why, do : str
        The reason and the remedy, a sentence each.
    """

    what: str
    layer: int
    margin: float | None
    chance: float | None
    why: str
    do: str


@frozen(kw_only=True)
class Measurement:
    """A reading worth taking: what, which setting's range it narrows to which share of now, and how long it takes."""

    reading: str
    setting: str
    share_left: float
    minutes: float
    how: str


@frozen(kw_only=True)
class BeliefChange:
    """One unknown before and after looking at what worked (SI): 5 %, 50 %, 95 %."""

    name: str
    unit: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    kind: str
    source: str


@frozen(kw_only=True)
class SqueezeShear:
    """How fast the squeeze shears the resin at the edge of the regions of the layer that resists most.

    Parameters
    ----------
    layer : int
        Which layer, from 0.
    slow_per_s, fast_per_s : float
        At the end of the settle and at the start of the squeeze [1/s].
    """

    layer: int
    slow_per_s: float
    fast_per_s: float


@frozen(kw_only=True)
class NotedRuns:
    """Runs in the notebook that were weighed in, and how good the sheets for this machine have been.

    Parameters
    ----------
    runs : int
        Runs weighed in: on one of the job's machines or with one of its resins.
    machine : str
        The target.
    ran, held : int
        Runs noted on it, and how many of them held.
    said : float or None
        Mean chance that sheets had given them [-]; None where none was kept.
    said_of : int
        How many of those runs had such a chance kept.
    """

    runs: int
    machine: str
    ran: int
    held: int
    said: float | None = None
    said_of: int = 0


@frozen(kw_only=True, eq=False)
class CarrySheet:
    """The whole answer to a job.

    Parameters
    ----------
    job, recipe, resin, origin, target : str
        Names.
    pieces, runs, failed : int
        Pieces of this job; runs the recipe was proven on.
    room_from_k, room_k : float
        Temperatures [K].
    holds : bool
        Whether a run holds as often as asked.
    outlook : Outlook
        The verdict as a code: it also weighs how wide the range is.
    trade : tuple of Trade
        What other thickness tolerances would cost, strictest first.
    peel_trade : tuple of PeelTrade
        What other peel speeds of the body would cost and save, slowest first.
    spare : tuple of Spare
        What the settles are made of.
    verdict : str
        The verdict in one sentence.
    confidence : float
        Chosen confidence [-].
    tolerance : float or None
        Thickness tolerance of body layers as a share of the layer, where one was asked for [-].
    success : Success
        Chance that it holds.
    settings : tuple of Advice
        All settings, in reading order.
    time, layers, pull_curve, platform_view, resin_need
        The rest of the answer.
    light : LightCarried or None
        The light under the pieces, before and after.
    hand : HandPlan or None
        What to do by hand, None where the controller does it all.
    holding : Holding or None
        Whether the pieces hold on to the platform; None where nothing is known of what hangs on what.
    first_layer : FirstLayers or None
        The base, place by place, and the mends where it needs one.
    risks, measure_next, beliefs, cautions, open_questions, warnings : tuple
        What to watch, to measure, what is believed, what to take care of, what stays open, what is wrong with parts.
    sources : tuple of str
        Keys of all sources used.
    ladder : tuple of NextStep
        Readings and trials, the most worth its effort first; empty where nobody asked.
    slow_face : SlowFace or None
        What most of the time is waited for, where no such change is worth telling first.
    part_changes : tuple of PartChange
        Changes to the parts that would save time, the most saving first; empty where nobody asked.
    noted : NotedRuns or None
        Runs of the notebook that were weighed in.
    warm_up : WarmUp or None
        How resin and room come to a temperature at which a run may be told; None where they are at one.
    trimmed : Trimmed or None
        What was taken away on purpose; None where the job does not ask for it.
    experience : Experience or None
        What runs of this very job say of its settings; None where there are none.
    run_warmth : RunWarmth or None
        How warm the resin becomes in the run.
    squeeze_shear : SqueezeShear or None
        Where a filled resin's viscosity is to be read; None where it is not filled.
    old_lots : tuple of OldLot
        Lots of the resin that are past their date.
    upkeep : tuple of Due
        What is due on the target, or soon will be; empty where nothing is or nobody looked.
    around : AroundPrint or None
        The resin at hand, washing, curing and the air; None where nobody looked at the shop's stock.
    """

    job: str
    recipe: str
    resin: str
    origin: str
    target: str
    pieces: int
    runs: int
    failed: int
    room_from_k: float
    room_k: float
    holds: bool
    outlook: Outlook
    verdict: str
    confidence: float
    tolerance: float | None = None
    success: Success
    settings: tuple[Advice, ...]
    time: RunTime
    layers: LayerTable
    pull_curve: PullCurve
    platform_view: PlatformView
    resin_need: ResinNeed
    light: LightCarried | None = None
    hand: HandPlan | None = None
    holding: Holding | None = None
    first_layer: FirstLayers | None = None
    trade: tuple[Trade, ...] = ()
    peel_trade: tuple[PeelTrade, ...] = ()
    spare: tuple[Spare, ...] = ()
    risks: tuple[Risk, ...] = ()
    measure_next: tuple[Measurement, ...] = ()
    beliefs: tuple[BeliefChange, ...] = ()
    cautions: tuple[str, ...] = ()
    open_questions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    sources: tuple[str, ...] = field(default=())
    ladder: tuple[NextStep, ...] = ()
    part_changes: tuple[PartChange, ...] = ()
    slow_face: SlowFace | None = None
    noted: NotedRuns | None = None
    warm_up: WarmUp | None = None
    trimmed: Trimmed | None = None
    experience: Experience | None = None
    run_warmth: RunWarmth | None = None
    squeeze_shear: SqueezeShear | None = None
    old_lots: tuple[OldLot, ...] = ()
    upkeep: tuple[Due, ...] = ()
    around: AroundPrint | None = None

    @property
    def worth_starting(self) -> bool:
        """Whether it holds at least as often as not: else neither its waits nor its time are a plan."""
        return self.success.mean >= EVEN

    def advice(self, name: str) -> Advice:
        """Return the advice on the setting called `name`."""
        return next(a for a in self.settings if a.name == name)
