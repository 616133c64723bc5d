"""The cheapest mend of a base that lets go: one change at a time, as little of it as is enough, priced in minutes.

Every chance comes from the models of the carry itself: the layer stack, the working curve, the places judged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, frozen

from vatwright.physics.viscosity import GAS_CONSTANT_J_MOL_K
from vatwright.planning.demand.base_bond import BaseBond, Ground, Judged, ground_at
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import UNLIMITED, settable
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.planning.demand.settle import LONGEST_SETTLE_S
from vatwright.planning.hands.plan_by_hand import hands_can_help
from vatwright.records.first_layer import Mend
from vatwright.records.machine import LevelReading, Machine, Obeys, Rule
from vatwright.records.process import Settings
from vatwright.units import ZERO_CELSIUS_K
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

MOST_LIGHT = 10.0
"""Most base light the search considers, as a multiple of what is set [-]; common practice, no source: more only cooks it."""

MORE_LAYERS = (1, 2, 4, 8)
"""How many more base layers are tried; common practice, no source."""

WARMEST_K = ZERO_CELSIUS_K + 35.0
"""Warmest resin considered [K]; common practice, no source: beyond it resins age and fume more."""

WARM_MIN, WARM_MIN_PER_K = 15.0, 2.0
"""Minutes to warm vat, plate and resin through, and for every kelvin [min], [min/K]; engineering estimate, no source."""

LEVEL_MIN, LEVEL_LARGE_MIN, LARGE_M2 = 12.0, 30.0, 0.03
"""Minutes to read and level a platform, and one larger than `LARGE_M2` [min], [m2]: 1,200 s of hold and the passes;
common practice, no source."""

NEAR_CORNER = 0.9
"""Where the corners are read when a platform is levelled anew, as a share of its half sides [-]; common practice."""

SURE = 0.95
"""What is left after levelling is told by the end of its range [-]."""

FINE = 1.0e-3
"""Relative step at which a search stops: far finer than any controller's [-]."""


@frozen(kw_only=True, eq=False)
class Start:
    """What is to be mended.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    settings : Settings
        What is set.
    settle_s : (N,) ndarray
        Settle of every layer of the run [s].
    judged : Judged
        Its base, at the places that can be worst.
    everywhere : Ground
        All places of the base.
    dimmest : float
        Share of the mean light where there is no map [-].
    """

    case: Case
    settings: Settings
    settle_s: Floats
    judged: Judged
    everywhere: Ground
    dimmest: float

    @property
    def bond(self) -> BaseBond:
        """Its base."""
        return self.judged.bond

    @property
    def enough(self) -> float:
        """Chance asked for [-]."""
        return self.case.job.confidence

    @property
    def machine(self) -> Machine:
        """The machine."""
        return self.case.job.target

    def chance(self, *, settle_s: Floats) -> float:
        """Return the base's chance with another settle of its layers [-]."""
        return evolve(self.bond, settle_s=settle_s).judged().chance()

    def lit(self, settings: Settings) -> float:
        """Return the base's chance with other light [-]: the gaps stay."""
        run = evolve(self.bond.run, settings=settings)
        return evolve(self.bond, run=run).judged(self.judged.stack).chance()

    def minutes(self, settings: Settings, settle_s: Floats) -> float:
        """Return by how much other settings and settles lengthen the run [min]."""
        layers = len(self.settle_s)
        before = self.case.target_times(self.settings, layers=layers, settle_s=self.settle_s)
        after = self.case.target_times(settings, layers=layers, settle_s=settle_s)
        return (after.total_s - before.total_s) / 60.0


def mends(start: Start) -> tuple[Mend, ...]:
    """Return what could make the base hold as often as asked, each alone.

    Parameters
    ----------
    start : Start
        What is to be mended.

    Returns
    -------
    tuple of Mend
        Those that are enough and that the controller takes come first, cheapest in minutes first; then those it does not
        take; then those that are not enough, nearest first.
    """
    found = (more_settle(start), more_light(start), more_layers(start), relevel(start), warmer(start))
    return tuple(sorted(found, key=lambda m: (not m.works, not m.enough, m.minutes if m.enough else -m.chance)))


def more_settle(start: Start) -> Mend:
    """Return the least base settle that is enough."""
    rule, now = start.machine.controller.rule("base.settle_s"), start.bond.settle_s
    furthest = LONGEST_SETTLE_S
    wanted = _least(
        lambda s: start.chance(settle_s=np.maximum(now, s)), float(now.min()), furthest, start.enough, scale=1.0
    )
    value = furthest if wanted is None else _step(wanted, rule, float(now[0]))
    enough, allowed = wanted is not None, rule.obeys is not Obeys.NO and value <= rule.maximum
    shared = rule.obeys is Obeys.SHARED
    by_hand = shared and hands_can_help(start.case.job)
    layers = len(start.settle_s) if shared and not by_hand else len(now)
    settle = start.settle_s.copy()
    settle[:layers] = np.maximum(settle[:layers], value)
    name = start.machine.name
    if not enough:
        note = to_say("Even {furthest:.0f} min of settle in every base layer is not enough.", furthest=furthest / 60.0)
    elif rule.obeys is Obeys.NO:
        note = to_say("{name} ignores settle.", name=name)
    elif not allowed:
        note = to_say("{name} takes {maximum:g} s at most.", name=name, maximum=rule.maximum)
    elif by_hand:
        note = to_say("{name} has one settle for all layers: lower it by hand once the base is done.", name=name)
    elif shared:
        note = to_say(
            "{name} has one settle for all layers and nobody lowers it, so every layer waits as long.", name=name
        )
    else:
        note = to_say("In the base layers alone.")
    return Mend(
        kind="settle", from_value=float(now[0]), to_value=value, minutes=start.minutes(start.settings, settle),
        chance=start.chance(settle_s=np.maximum(now, value)), enough=enough, allowed=allowed, note=note,
    )  # fmt: skip


def more_light(start: Start) -> Mend:
    """Return the least base exposure that is enough."""
    rule, now = start.machine.controller.rule("base.exposure_s"), start.settings.base.exposure_s
    shared = rule.obeys is Obeys.SHARED

    def lit(exposure_s: float) -> Settings:
        settings = start.settings.with_value("base.exposure_s", exposure_s)
        return settings.with_value("body.exposure_s", exposure_s) if shared else settings

    wanted = _least(lambda s: start.lit(lit(s)), now, MOST_LIGHT * now, start.enough, scale=now)
    value = MOST_LIGHT * now if wanted is None else _step(wanted, rule, now)
    enough, allowed = wanted is not None, rule.obeys is not Obeys.NO and value <= rule.maximum
    name = start.machine.name
    if not enough:
        note = to_say("Even {most_light:.0f} times the light does not bond through it.", most_light=MOST_LIGHT)
    elif rule.obeys is Obeys.NO:
        note = to_say("{name} sets the exposure itself.", name=name)
    elif not allowed:
        note = to_say("{name} takes {maximum:g} s at most.", name=name, maximum=rule.maximum)
    elif shared:
        note = to_say(
            "{name} has one exposure for base and body: the body gets it too, and holes may fill in.", name=name
        )
    else:
        note = to_say("The base grips the platform harder and grows wider at its rim.")
    return Mend(
        kind="exposure", from_value=now, to_value=value, minutes=start.minutes(lit(value), start.settle_s),
        chance=start.lit(lit(value)), enough=enough, allowed=allowed, note=note,
    )  # fmt: skip


def more_layers(start: Start) -> Mend:
    """Return the fewest base layers that are enough."""
    rule, now = start.machine.controller.rule("base.layers"), len(start.bond.settle_s)
    room = len(start.settle_s) - now
    tried = [now + more for more in MORE_LAYERS if more <= room] or [now]
    chances = {count: _with_layers(start, count) for count in tried}
    count = next((n for n, c in chances.items() if c >= start.enough), tried[-1])
    enough, allowed = chances[count] >= start.enough, rule.obeys is not Obeys.NO and count <= rule.maximum
    layers = start.judged.layer_chances()
    note = (
        to_say(
            "No help: layer {layers} lets go, and more layers after it make that one neither thinner nor better lit.",
            layers=int(np.argmin(layers)),
        )
        if not enough
        else to_say("Then the base holds.")
    )
    settings = evolve(start.settings, base_layers=count)
    settle = start.settle_s.copy()
    settle[now:count] = start.settle_s[now - 1]
    return Mend(
        kind="layers", from_value=float(now), to_value=float(count), minutes=start.minutes(settings, settle),
        chance=chances[count], enough=enough, allowed=allowed, note=note,
    )  # fmt: skip


def _with_layers(start: Start, count: int) -> float:
    now, lever = start.bond.settle_s, start.bond.lever_m
    more = count - len(now)
    run = start.case.target_run(evolve(start.settings, base_layers=count))
    bond = evolve(
        start.bond, run=evolve(run, load=run.load.first(count)), settle_s=np.concatenate((now, np.full(more, now[-1]))),
        lever_m=np.concatenate((lever, np.repeat(lever[-1:], more, axis=0))),
    )  # fmt: skip
    return bond.judged().chance()


def relevel(start: Start) -> Mend:
    """Return what levelling anew would bring: no tilt or twist but what five readings at this machine leave unknown."""
    machine, ground = start.machine, start.everywhere
    level = evolve(machine, level=five_readings(machine))
    worlds = start.case.worlds
    better = ground_at(ground.places_m, level, worlds.axes["level target"], dimmest=start.dimmest)
    chance = evolve(start.bond, ground=better).judged().chance()
    enough = chance >= start.enough
    large = machine.platform.width_m * machine.platform.depth_m > LARGE_M2
    now, then = (float(np.quantile(g.extra_m.max(axis=1), SURE)) for g in (ground, better))
    left = to_say("the worst place is off by up to {then:.0f} um instead of {now:.0f}", then=then * 1e6, now=now * 1e6)
    return Mend(
        kind="level", from_value=now, to_value=then, minutes=LEVEL_LARGE_MIN if large else LEVEL_MIN, chance=chance,
        enough=enough, allowed=True, note=to_say("Read at five places and corrected, {left}.", left=left),
        source="practice:bench",
    )  # fmt: skip


def five_readings(machine: Machine) -> tuple[LevelReading, ...]:
    """Return the readings of a platform levelled anew: alike near all corners and in the middle."""
    x, y = (NEAR_CORNER * side / 2.0 for side in (machine.platform.width_m, machine.platform.depth_m))
    spots = ((-x, -y), (x, -y), (x, y), (-x, y), (0.0, 0.0))
    return tuple(LevelReading(x_m=a, y_m=b, gap_m=1.0e-4) for a, b in spots)


def warmer(start: Start) -> Mend:
    """Return the least warming of the resin that is enough, in whole kelvin."""
    now = start.case.job.room_k
    most = max(int(WARMEST_K - now), 0)
    chances = {0: start.judged.chance()}
    # The chance only rises with warmth: halve the range, in whole kelvin.
    low, high = 0, most
    chances[most] = _warmed(start, now + most)
    enough = chances[most] >= start.enough
    while enough and high - low > 1:
        middle = (low + high) // 2
        chances[middle] = _warmed(start, now + middle)
        low, high = (low, middle) if chances[middle] >= start.enough else (middle, high)
    warmest = WARMEST_K - ZERO_CELSIUS_K
    if enough:
        note = to_say("Warm resin, vat and plate, and keep them warm until the base is done.")
    elif most:
        note = to_say("Even at {now:.0f} C the resin leaves too slowly.", now=now + most - ZERO_CELSIUS_K)
    else:
        note = to_say("It is as warm as resin should be, {warmest:.0f} C.", warmest=warmest)
    return Mend(
        kind="warmth", from_value=now, to_value=now + high, minutes=WARM_MIN + WARM_MIN_PER_K * high, chance=chances[high],
        enough=enough, allowed=True, note=note, source="estimate:vatwright",
    )  # fmt: skip


def _warmed(start: Start, room_k: float) -> float:
    """Chance with the resin at another temperature, every world by its own activation energy."""
    run, worlds = start.bond.run, start.case.worlds
    belief = viscosity_belief(start.case.job.resin).activation_j_mol
    activation = belief.value * np.exp(belief.spread * worlds.axes["activation"])
    thinner = np.exp(activation / GAS_CONSTANT_J_MOL_K * (1.0 / room_k - 1.0 / start.case.job.room_k))
    side = evolve(run.side, viscosity_pa_s=run.side.viscosity_pa_s * thinner)
    return evolve(start.bond, run=evolve(run, side=side)).judged().chance()


def _least(chance: Callable[[float], float], low: float, high: float, enough: float, *, scale: float) -> float | None:
    """The least value between two that is enough, for a chance that only rises with it; None where none is."""
    if chance(high) < enough:
        return None
    while high - low > FINE * high:
        middle = float(np.sqrt((low + scale) * (high + scale))) - scale
        low, high = (low, middle) if chance(middle) >= enough else (middle, high)
    return high


def _step(wanted: float, rule: Rule, now: float) -> float:
    """A wait in the steps people and the controller take, rounded up, its limits left aside."""
    free = evolve(rule, obeys=Obeys.YES, minimum=0.0, maximum=UNLIMITED)
    return settable(wanted, unit="s", rule=free, proven=now, up=True)
