"""What may go wrong with a plan, worst first, what to take care of, and what stays open."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np

from vatwright.physics.viscosity import GAS_CONSTANT_J_MOL_K
from vatwright.planning.carry.explain import said_too_thick
from vatwright.planning.demand.base import SolvedUnder
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.exposure import curve_is_foreign, curve_is_known
from vatwright.planning.demand.holding import NOTED, holding_risks
from vatwright.planning.demand.lift import pocket_pull_n
from vatwright.planning.demand.outcome import Margins
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.planning.demand.settle import FOOT_M, LIGHT_SHORT, LONGEST_SETTLE_S
from vatwright.planning.plates.packing import PackingBench, PieceKind
from vatwright.records.first_layer import FirstLayers, place_name
from vatwright.records.holding import Holding
from vatwright.records.job import Job
from vatwright.records.machine import Backing, Machine, Obeys
from vatwright.records.part import CLEARANCE_M, MARGIN_M
from vatwright.records.plan import HandPlan, LayerTable, LightCarried, Risk
from vatwright.records.process import Settings
from vatwright.records.sourced import Kind
from vatwright.records.study import SealedPocket, Study
from vatwright.units import from_si
from vatwright.wording import to_join, to_say, to_say_many

THICK = 1.3
"""A body layer this many times as thick as commanded is worth watching [-]."""

CRUSHED = 0.3
"""A layer that keeps less than this share of its thickness is told [-]; engineering estimate, no source."""

THROUGH_GROWN_M = 2e-5
THROUGH_GROWN = 0.3
"""Print-through that grows by more than this [m], or by this share [-], is told; engineering estimates, no source."""

BRIGHT_MORE = 0.25
"""A brightest spot that gets so much more dose than it was proven with is told [-]; engineering estimate, no source."""

SHARED_MORE, SHARED_CHANCE = 1.2, 0.5
"""One exposure for base and body is told where the body gets this many times what it wants, as a risk with this chance that
something fills in or sticks [-]; engineering estimates, no source."""

THIN_PA_S, FAR_RATIO = 0.1, 2.0
"""Below this viscosity [Pa s], and beyond this ratio of irradiances either way [-], equal dose is not to be trusted:
engineering rule, after what feng:2007 and wydra:2014 report."""


def risks(
    case: Case,
    settings: Settings,
    outcome: Margins,
    layers: LayerTable,
    hand: HandPlan | None,
    held: Holding | None = None,
    light: LightCarried | None = None,
    base: FirstLayers | None = None,
    off: Sequence[int] = (),
) -> tuple[Risk, ...]:
    """Return the risks of a plan, likeliest first, what is seen and not reckoned among the rare.

    `off` are the layers that come out thicker than the job allows.
    """
    found = [
        *_base(case, outcome, base),
        *_body(case, settings, outcome, layers),
        *_release(outcome),
        *_beyond_settle(case, settings, layers),
        *_too_thick(settings, layers, off),
        *_thin(case, settings, layers),
        *_crushed(settings, layers),
        *_pockets(case, layers),
        *_fresh(case),
        *holding_risks(held),
        *_screen(case, layers),
        *_hands(case, settings, hand),
        *_lowered(case, settings, layers, hand),
        *(_light(case, settings, layers, light) if light is not None else []),
    ]
    return tuple(sorted(found, key=lambda r: -(NOTED if r.chance is None else r.chance)))


def _base(case: Case, outcome: Margins, base: FirstLayers | None) -> list[Risk]:
    chance = 1.0 - float(outcome.chances()["base"].mean())
    if chance < NOTED:
        return []
    n = outcome.base_layer
    gap, cured = (float(np.median(a[:, n])) * 1e6 for a in (outcome.worst_m, outcome.limit_m))
    unlevel = float(np.median(case.worlds.target.unlevel_m)) * 1e6
    where = to_say(" and the worst corner stands {unlevel:.0f} um lower", unlevel=unlevel) if n == 0 else ""
    return [
        Risk(
            what=to_say("The base may let go, first at the {place}.", place=base.worst.name)
            if base
            else to_say("The base may let go."),
            layer=n,
            margin=float(np.median(outcome.base)),
            chance=chance,
            why=to_say(
                "Base layer {n} is about {gap:.0f} um thick when the light comes on{bowed}{where}; "
                "the light bonds through about {cured:.0f} um.",
                n=n,
                gap=gap,
                bowed=_bowed(case, outcome, n),
                where=where,
                cured=max(cured, 0.0),
            ),
            do=_base_remedy(case, base),
        )
    ]


def _base_remedy(case: Case, base: FirstLayers | None) -> str:
    if base is None or not base.mends_plan or base.cheapest is not None:
        return to_say("Wait longer in the base, level the platform, or give the base more light.")
    return to_say("No wait, light, warmth or levelling within reach mends it: {elsewhere}.", elsewhere=_elsewhere(case))


def _elsewhere(case: Case) -> str:
    """Where to print what no wait makes right on the target."""
    job = case.job
    if job.target.film.backing is Backing.GLASS:
        return to_say("print fewer pieces at once, or print them on another machine")
    if job.recipe.tried and job.origin.film.backing is Backing.GLASS and _fits(case.target_study, job.origin):
        return to_say("carry it to {name}, whose film lies on glass", name=job.origin.name)
    return to_say("print it on a machine whose film lies on glass")


def _fits(study: Study, machine: Machine) -> bool:
    """Whether every piece of a plate is known to find room on a machine, one at a time."""
    bench = PackingBench([PieceKind(loops_m=o.loops_m) for o in study.outlines], clearance_m=CLEARANCE_M)
    alone = (bench.alone(k, machine.platform, margin_m=MARGIN_M) for k in range(len(bench.kinds)))
    return bool(bench.kinds) and study.height_m <= machine.height_m and all(alone)


def _body(case: Case, settings: Settings, outcome: Margins, layers: LayerTable) -> list[Risk]:
    chance = 1.0 - float(outcome.chances()["body"].mean())
    first = settings.base_layers + settings.ramp_layers
    body = layers.thickness_m[first:]
    if not len(body):
        return []
    layer_m = settings.layer_m
    n = first + int(np.argmax(body))
    times = float(layers.thickness_m[n] / layer_m)
    if chance < NOTED and times < THICK:
        return []
    if times < THICK:
        n = outcome.body_layer
        times = float(layers.thickness_m[n] / layer_m)
    spare_um = float(np.median(outcome.limit_m[:, n] - outcome.worst_m[:, n])) * 1e6
    ratio = float(layers.area_m2[n] / layers.area_m2[n - 1]) if n and layers.area_m2[n - 1] > 0.0 else 1.0
    cause = to_say("area jumps {ratio:.0f} times", ratio=ratio) if ratio >= 2.0 else to_say("much resin has to leave")
    cures = (
        to_say("cures through with {spare:.0f} um to spare", spare=spare_um)
        if spare_um > 0.0
        else to_say("does not cure through")
    )
    return [
        Risk(
            what=to_say("Layer {n} comes out {times:.1f} times as thick.", n=n, times=times)
            if times >= THICK
            else to_say("Layer {n} may split.", n=n),
            layer=n,
            margin=float(np.median(outcome.limit_m[:, n] / outcome.worst_m[:, n])),
            chance=chance,
            why=to_say(
                "At layer {n} ({n_2:.1f} mm) {cause}; it {cures}{bowed}.",
                n=n,
                n_2=n * layer_m * 1000,
                cause=cause,
                cures=cures,
                bowed=_bowed(case, outcome, n),
            ),
            do=_thick_remedy(
                case,
                float(np.median(outcome.limit_m[:, n])),
                layer_m,
                demand_s=float(layers.settle_true_s[n]),
                given_s=float(layers.settle_given_s[n]),
            ),
        )
    ]


def _bowed(case: Case, outcome: Margins, layer: int) -> str:
    """Where a film that gives bows most under a layer, and how thick the layer is on average; nothing over glass."""
    giving = case.target_load.giving
    if giving is None:
        return ""
    mean = to_say(
        "{thickness:.0f} um on average", thickness=from_si(float(np.median(outcome.thickness_m[:, layer])), "um")
    )
    if layer == outcome.base_layer:
        return to_say(" at its worst place ({mean})", mean=mean)
    (x_m, y_m), window = giving.worst_at_m(layer), case.job.target.window
    name = place_name(x_m, y_m, width_m=window.width_m, depth_m=window.depth_m)
    at = to_say("{x:.0f}, {y:.0f} mm from the middle", x=from_si(x_m, "mm"), y=from_si(y_m, "mm"))
    return to_say("; the film bows most at the {name} ({at}), the layer is {mean}", name=name, at=at, mean=mean)


def _thick_remedy(case: Case, limit_m: float, layer_m: float, *, demand_s: float, given_s: float) -> str:
    if limit_m < layer_m:
        return to_say(
            "The dose does not cure through a layer: give the body more light, and print an exposure trial first."
        )
    if demand_s <= given_s or math.isinf(demand_s):
        return to_say("More settle does not mend it: tilt the part, or give the body a little more light.")
    if demand_s > LONGEST_SETTLE_S:
        return to_say(
            "It would need more settle than anybody waits: tilt the part so that no wide face meets the film at once, "
            "or {elsewhere}.",
            elsewhere=_elsewhere(case),
        )
    return to_say(
        "Tilt the part, or be surer by hand: settle {wait} instead of {given}, set just before this layer.",
        wait=f"{demand_s:.0f} s",
        given=f"{given_s:.0f} s",
    )


def _too_thick(settings: Settings, layers: LayerTable, off: Sequence[int]) -> list[Risk]:
    """Layers that the plan leaves thicker than the job allows, though they bond."""
    if not off:
        return []
    n = max(off, key=lambda layer: float(layers.thickness_m[layer]))
    wait_s = float(layers.settle_true_s[n])
    return [
        Risk(
            what=said_too_thick(len(off)),
            layer=n,
            margin=None,
            chance=None,
            why=to_say(
                "Layer {n} is the thickest, {more:.0f} % over: {needs} and gets {given:.0f} s.",
                n=n,
                more=from_si(float(layers.thickness_m[n]) / settings.layer_m - 1.0, "percent"),
                needs=to_say("no settle mends it")
                if math.isinf(wait_s)
                else to_say("it would need {wait:.0f} s of settle", wait=wait_s),
                given=float(layers.settle_given_s[n]),
            ),
            do=to_say("Allow more visits or a wider tolerance, or tilt the part so that its area does not jump."),
        )
    ]


def _release(outcome: Margins) -> list[Risk]:
    chance = 1.0 - float(outcome.chances()["release"].mean())
    if chance < NOTED:
        return []
    return [
        Risk(
            what=to_say("The middle of a layer may not let go of the film."),
            layer=-1,
            margin=float(np.median(outcome.release)),
            chance=chance,
            why=to_say("The rise is short for this window if the film lets go late (cold, worn or slack)."),
            do=to_say("Add a millimetre of rise, or move parts nearer the frame."),
        )
    ]


def _beyond_settle(case: Case, settings: Settings, layers: LayerTable) -> list[Risk]:
    """Layers that no settle brings within what the light cures, in any world: why their demand is no number."""
    lost = np.flatnonzero(np.isinf(layers.settle_demand_s))
    if not len(lost):
        return []
    n = int(lost[0])
    slack = case.standard.base_slack if n < settings.base_layers else case.standard.body_slack
    cures = float(np.median(case.target_run(settings).asked_limit_m()[:, n] * slack))
    dim = cures < LIGHT_SHORT * settings.layer_m
    return [
        Risk(
            what=to_say_many(
                len(lost),
                "No settle saves layer {first}.",
                "No settle saves {n} layers, the first of them layer {first}.",
                first=n,
            ),
            layer=n,
            margin=None,
            chance=None,
            why=to_say(
                "The light bonds through {cures:.0f} um there, as runs scatter; a layer of {layer:.0f} um needs {least:.0f}: "
                "so no settle is named for it.",
                cures=from_si(max(cures, 0.0), "um"),
                layer=from_si(settings.layer_m, "um"),
                least=from_si(LIGHT_SHORT * settings.layer_m, "um"),
            )
            if dim
            else to_say("However long it waits, the gap stays wider than it may be: so no settle is named for it."),
            do=to_say("Give it more light.")
            if dim
            else to_say("Wait longer in the layers before it, or print fewer pieces at once."),
        )
    ]


def _thin(case: Case, settings: Settings, layers: LayerTable) -> list[Risk]:
    first = max(settings.base_layers + settings.ramp_layers, round(FOOT_M / settings.layer_m))
    body = layers.thickness_m[first:]
    if not len(body) or float(body.min()) >= settings.layer_m * (1.0 - max(case.job.tolerance_shown, 0.1)):
        return []
    n = first + int(np.argmin(body))
    share = float(layers.thickness_m[n] / settings.layer_m)
    return [
        Risk(
            what=to_say("A fine line at {n:.1f} mm.", n=n * settings.layer_m * 1000),
            layer=n,
            margin=None,
            chance=None,
            why=to_say(
                "The area drops at layer {n} and the arm springs back: that layer keeps {share:.0f} % of its thickness.",
                n=n,
                share=share * 100,
            ),
            do=to_say("Only looks suffer; a longer settle on the layers before it makes it fainter."),
        )
    ]


def _crushed(settings: Settings, layers: LayerTable) -> list[Risk]:
    """Layers of the foot that the arm, springing back after the raft, leaves hardly any room."""
    first, last = settings.base_layers, round(FOOT_M / settings.layer_m)
    foot = layers.thickness_m[first:last]
    crushed = foot < CRUSHED * settings.layer_m
    if not crushed.any():
        return []
    n, count = first + int(np.argmin(foot)), int(crushed.sum())
    lost_mm = float((settings.layer_m - foot[crushed]).sum()) * 1e3
    return [
        Risk(
            what=to_say_many(
                count,
                "{n} layer just above the base comes out crushed.",
                "{n} layers just above the base come out crushed.",
            ),
            layer=n,
            margin=None,
            chance=None,
            why=to_say(
                "The arm springs back where the wide base ends: layer {n} keeps {foot:.0f} of "
                "{layer:.0f} um, and about {lost:.1f} mm of height is lost there.",
                n=n,
                foot=foot.min() * 1e6,
                layer=settings.layer_m * 1e6,
                lost=lost_mm,
            ),
            do=to_say(
                "Leave that much more height in raft or supports; a longer settle in the last base "
                "layers makes it less."
            ),
        )
    ]


def _pockets(case: Case, layers: LayerTable) -> list[Risk]:
    alike = Counter((p.first_layer, p.last_layer, round(p.volume_m3 * 1e9)) for p in case.target_study.pockets)
    shown = {(p.first_layer, p.last_layer, round(p.volume_m3 * 1e9)): p for p in case.target_study.pockets}
    found = []
    for key, p in sorted(shown.items(), key=lambda item: -item[1].open_area_m2)[:3]:
        count = alike[key]
        size = to_say("{volume:.1f} ml", volume=p.volume_m3 * 1e6)
        one, many = (
            to_say("A sealed pocket of {size} pulls like a suction cup.", size=size),
            to_say("{count} sealed pockets of {size} pull like suction cups.", count=count, size=size),
        )
        pull = float(layers.pull_n[min(p.last_layer, len(layers.pull_n) - 1)])
        found.append(
            Risk(
                what=many if count > 1 else one,
                layer=p.first_layer,
                margin=None,
                chance=None,
                why=to_say_many(
                    count,
                    "From layer {first} to {last} the film closes it: can add up to {pocket:.0f} N to a pull of about "
                    "{pull:.0f} N.",
                    "From layer {first} to {last} the film closes them: each can add up to {pocket:.0f} N to a pull of "
                    "about {pull:.0f} N.",
                    first=p.first_layer,
                    last=p.last_layer,
                    pocket=pocket_pull_n(p),
                    pull=pull,
                ),
                do=to_say("Drill a vent near the platform side, or turn the part so the hollow drains."),
            )
        )
    return found


def _fresh(case: Case) -> list[Risk]:
    fresh = case.target_study.fresh
    if not fresh:
        return []
    largest = max(fresh, key=lambda f: f.area_m2)
    count = len(fresh)
    return [
        Risk(
            what=to_say_many(
                count, "{n} region starts with nothing beneath.", "{n} regions start with nothing beneath."
            ),
            layer=largest.layer,
            margin=None,
            chance=None,
            why=to_say(
                "The largest, {area:.1f} mm2 at layer {layer}, has nothing to hold on to.",
                area=largest.area_m2 * 1e6,
                layer=largest.layer,
            ),
            do=to_say("Support it, or check that the part is drawn as meant."),
        )
    ]


def _screen(case: Case, layers: LayerTable) -> list[Risk]:
    most = float(layers.screen_force_n.max(initial=0.0))
    allowed = case.job.target.screen_force_n
    ceiling = float(np.median(case.worlds.target.ceiling_n))
    n = int(np.argmax(layers.screen_force_n))
    if allowed is not None and most > allowed:
        return [
            Risk(
                what=to_say(
                    "The plate presses with {most:.0f} N on a screen that may carry {allowed:.0f} N.",
                    most=most,
                    allowed=allowed,
                ),
                layer=n,
                margin=allowed / most,
                chance=0.5,
                why=to_say("A wide plate cannot push the resin out as fast as it comes down."),
                do=to_say("Halve the return speed of the base."),
            )
        ]
    if most >= 0.95 * ceiling:
        return [
            Risk(
                what=to_say("The drive reaches its greatest force, about {ceiling:.0f} N.", ceiling=ceiling),
                layer=n, margin=ceiling / most, chance=None,
                why=to_say("A wide plate cannot push the resin out as fast as it comes down; a motor that slips "
"loses its height."),
                do=to_say("Halve the return speed of the base and listen for clicks in the first layers."),
            )
        ]  # fmt: skip
    return []


def _hands(case: Case, settings: Settings, hand: HandPlan | None) -> list[Risk]:
    found = []
    controller, name = case.job.target.controller, case.job.target.name
    if controller.rule("base.settle_s").obeys is Obeys.NO:
        found.append(
            Risk(
                what=to_say(
                    "{name} ignores settle and waits {settle:.1f} s whatever is set.",
                    name=name,
                    settle=settings.body.settle_s,
                ),
                layer=-1,
                margin=None,
                chance=None,
                why=to_say("Neither base nor body can be given more time."),
                do=to_say("Halve the return speed: the way down settles too."),
            )
        )
    if hand is not None and not hand.covers:
        found.append(
            Risk(
                what=to_say("The hand schedule does not meet every demand."),
                layer=-1,
                margin=None,
                chance=0.5,
                why=to_say("Some layers get less settle than they need."),
                do=to_say("Come more often, stay longer, or run it alone at the single value."),
            )
        )
    return found


def _lowered(case: Case, settings: Settings, layers: LayerTable, hand: HandPlan | None) -> list[Risk]:
    """A layer that comes out thick because a hand has just lowered the settle: the arm gives back what it held before."""
    sized = max(settings.base_layers + settings.ramp_layers, round(FOOT_M / settings.layer_m))
    given = layers.settle_given_s
    lowered = [v.layer for v in hand.visits if v.layer >= sized and given[v.layer] < given[v.layer - 1]] if hand else []
    if not lowered:
        return []
    n = max(lowered, key=lambda layer: float(layers.thickness_m[layer]))
    more = float(layers.thickness_m[n]) / settings.layer_m - 1.0
    if more <= case.job.tolerance_shown:
        return []
    return [
        Risk(
            what=to_say("A faint line where the settle is lowered: layer {n} comes out about {more:.0f} % "
"thicker.", n=n, more=more * 100.0),
            layer=n, margin=None, chance=None,
            why=to_say("The settle falls from {given:.1f} s to {given_2:.1f} s at once; the layers after it "
"even out.", given=given[n - 1], given_2=given[n]),
            do=to_say("Where it would show, lower it in two or three steps a few layers apart."),
        )
    ]  # fmt: skip


def _light(case: Case, settings: Settings, layers: LayerTable, light: LightCarried) -> list[Risk]:
    """Too much light: one exposure that serves base and body, or a brightest spot that gets more than was proven."""
    shared = _shared_light(case, settings, layers, light)
    if shared:
        return shared
    grown = light.to_through_m - light.from_through_m
    more = light.to_most_j_m2 / light.from_most_j_m2 - 1.0
    deeper = grown > THROUGH_GROWN_M or grown > THROUGH_GROWN * light.from_through_m
    if not deeper and more <= BRIGHT_MORE:
        return []
    what = (
        to_say("Holes and undersides may fill in.")
        if deeper
        else to_say("The brightest spot gets more light than was proven.")
    )
    than = {"percent": abs(more) * 100.0, "name": case.job.origin.name, "through": _through(light)}
    return [
        Risk(
            what=what,
            layer=-1,
            margin=None,
            chance=None,
            why=to_say(
                "Where it is brightest under the parts a body layer gets {percent:.0f} % more dose than on {name}; {through}.",
                **than,
            )
            if more >= 0.0
            else to_say(
                "Where it is brightest under the parts a body layer gets {percent:.0f} % less dose than on {name}; {through}.",
                **than,
            ),
            do=to_say("Keep fine holes and undersides away from the brightest spot, and print a trial with some."),
        )
    ]


def _through(light: LightCarried) -> str:
    before, now = (f"{v * 1e6:.0f} um" for v in (light.from_through_m, light.to_through_m))
    return to_say("many layers cure up to {now} beyond an overhang ({before} before)", now=now, before=before)


def _shared_light(case: Case, settings: Settings, layers: LayerTable, light: LightCarried) -> list[Risk]:
    rule = case.job.target.controller.rule("body.exposure_s")
    wanted = case.job.recipe.settings.body.exposure_s * float(np.median(case.exposure_ratio()))
    if rule.obeys is not Obeys.SHARED or settings.body.exposure_s <= SHARED_MORE * wanted:
        return []
    n = min(settings.base_layers, len(layers.clock_s) - 1)
    by_hand = to_say(
        "Lower the exposure to {wanted:.1f} s by hand once the base is done: from layer {n}, "
        "about {clock:.0f} min after the start.",
        wanted=wanted,
        n=n,
        clock=float(layers.clock_s[n]) / 60.0,
    )
    single = to_say(
        "Set {wanted:.1f} s for all and hold the base another way: longer settle, more base layers, a wider raft.",
        wanted=wanted,
    )
    return [
        Risk(
            what=to_say(
                "The body gets the base's {exposure:.1f} s of light where {wanted:.1f} s would do.",
                exposure=settings.body.exposure_s,
                wanted=wanted,
            ),
            layer=n,
            margin=None,
            chance=SHARED_CHANCE,
            why=to_say(
                "{name} has one exposure for base and body; {through}.",
                name=case.job.target.name,
                through=_through(light),
            ),
            do=by_hand if rule.live else single,
        )
    ]


HOLLOW = to_say(
    "Resin stays liquid inside a closed hollow and leaks or bursts out later, weeks "
    "after curing: open it at its lowest and its highest place, wash the inside and cure "
    "it too, or print it solid."
)
"""Common practice, no source."""


def cautions(job: Job, hand: HandPlan | None, pockets: Sequence[SealedPocket] = ()) -> tuple[str, ...]:
    """Return the cautions that apply to a run."""
    told = [
        to_say(
            "Uncured resin and its vapour irritate and can sensitise the skin for good. Wear "
            "nitrile gloves and eye protection."
        ),
        to_say("Give the room fresh air, and follow the resin's safety data sheet."),
        to_say("Never look into the light; keep the lid closed while it is on."),
        to_say("Keep fingers out from under the plate: it can start without warning."),
        to_say("Wash solvents are flammable: no flame or spark near them, lids on, ventilate."),
        to_say("Resin, solvent and rags go to hazardous waste as your local rules say; cure leftovers solid first."),
    ]
    if hand is not None and hand.visits:
        told.insert(2, to_say("Change settings on the controller only; do not reach into the machine while it runs."))
    if job.target.platform.width_m * job.target.platform.depth_m > 0.03:
        told.append(to_say("A large plate full of resin is heavy: two hands, and a table that cannot tip."))
    told.append(to_say("Figures are engineering estimates: confirm them with a trial."))
    if any(pocket.stays_closed for pocket in pockets):
        told.insert(0, HOLLOW)
    told.append(to_say("Not for medical, dental, food-contact or load-bearing use on this tool's word."))
    return tuple(told)


def open_questions(job: Job, bowed: SolvedUnder | None) -> tuple[str, ...]:
    """Return what the sheet had to assume and what follows if it is wrong."""
    return (*_open_about_resin(job), *_open_about_machines(job), *_open_about_film(job, bowed), *_open_about_proof(job))


def _open_about_resin(job: Job) -> list[str]:
    told = []
    name = job.resin.name
    if not curve_is_known(job.resin):
        told.append(
            to_say(
                "Nobody measured how deep {name} cures. The light is carried by dose alone; whether "
                "it cures through layers that come out too thick is judged by a wide range of "
                "working curves that fit your proven runs.",
                name=name,
            )
        )
    if curve_is_foreign(job.resin):
        told.append(
            to_say(
                "The working curve of {name} is somebody else's. 24 laboratories with one resin "
                "found D_p apart by up to 7 times and E_c by up to 70 times; unless you gave a "
                "range, it is taken to be as unsure. Cure four squares of your own.",
                name=name,
            )
        )
    if not job.resin.viscosity:
        labelled = job.resin.label is not None and job.resin.label.viscosity_pa_s is not None
        stands_in = (
            to_say("its label stands in, trusted to 25 %") if labelled else to_say("a range of common resins stands in")
        )
        told.append(to_say("Nobody measured how thick {name} is: {stands_in}.", name=name, stands_in=stands_in))
    if job.resin != job.resin_from:
        told.append(
            to_say(
                "The recipe was proven with {name}, not {name_2}: the seconds carry the same dose, "
                "which another resin may not want. Print an exposure trial first.",
                name=job.resin_from.name,
                name_2=name,
            )
        )
    return told


def _open_about_light(job: Job) -> list[str]:
    told = []
    a, b = job.origin.light, job.target.light
    if a.meter and b.meter and a.meter != b.meter:
        told.append(
            to_say(
                "The light of {name} was read with {meter}, that of {name_2} with {meter_2}: their "
                "errors do not cancel, and the exposure is unsure by both. Read both with one meter.",
                name=job.origin.name,
                meter=a.meter,
                name_2=job.target.name,
                meter_2=b.meter,
            )
        )
    if bool(a.meter) != bool(b.meter):
        unread = job.target if a.meter else job.origin
        if unread.light.irradiance_w_m2.kind is not Kind.ESTIMATE:
            told.append(
                to_say(
                    "The light of {name} was said, not read with a meter: the exposure is unsure by that.",
                    name=unread.name,
                )
            )
    ratio = b.irradiance_w_m2.value / a.irradiance_w_m2.value
    times = max(ratio, 1.0 / ratio)
    if times > FAR_RATIO and _viscosity_pa_s(job) < THIN_PA_S:
        told.append(
            to_say(
                "The light differs {times:.1f} times and {name} is thin: equal dose may not cure "
                "equally. Cure squares again on {name_2}.",
                times=times,
                name=job.resin.name,
                name_2=job.target.name,
            )
        )
    elif times > FAR_RATIO:
        told.append(
            to_say(
                "The light differs {times:.1f} times: that equal dose then cures equally is a rule with a range.",
                times=times,
            )
        )
    told += [
        to_say(
            "The light of {name} has shone {burned:.0f} h since it was read: how far it faded is reckoned.",
            name=m.name,
            burned=m.light.burned_s / 3600.0,
        )
        for m in {m.name: m for m in (job.origin, job.target)}.values()
        if m.light.burned_s > 0.0
    ]
    return told


def _viscosity_pa_s(job: Job) -> float:
    belief = viscosity_belief(job.resin)
    colder = 1.0 / job.room_k - 1.0 / belief.reference_k
    return belief.viscosity_pa_s.value * math.exp(belief.activation_j_mol.value / GAS_CONSTANT_J_MOL_K * colder)


def _open_about_machines(job: Job) -> list[str]:
    told = _open_about_light(job)
    machines = {m.name: m for m in (job.origin, job.target)}
    guesses = [name for name, m in machines.items() if m.light.irradiance_w_m2.kind is Kind.ESTIMATE]
    if guesses:
        told.append(
            to_say(
                "Nobody read the light of {guesses}: it is a guess, and the exposure with it.",
                guesses=guesses[0]
                if len(guesses) == 1
                else to_say("{one} and {other}", one=guesses[0], other=guesses[1]),
            )
        )
    told += [
        to_say("Nobody said of {name}: {what}.", name=name, what=to_join(m.assumed, "; "))
        for name, m in machines.items()
        if m.assumed
    ]
    if not job.target.level:
        told.append(
            to_say(
                "Nobody read how level {name}'s platform is: the usual error after levelling by paper is assumed.",
                name=job.target.name,
            )
        )
    return told


def _open_about_film(job: Job, bowed: SolvedUnder | None) -> list[str]:
    """What stands in for the outlines of the layers under which a film that gives was solved."""
    if bowed is None:
        return []
    told = to_say(
        "Nothing firm backs the film of {name}, so it gives: film and resin are solved together", name=job.target.name
    )
    under = {
        SolvedUnder.LAYERS: to_say("under each layer's own outlines"),
        SolvedUnder.OUTLINES: to_say(
            "under the pieces as seen from above, since the outlines of single layers are not known"
        ),
        SolvedUnder.DISC: to_say(
            "under one disc that resists like the widest layer, as no outline is known: give the parts' files"
        ),
    }
    return [
        to_say(
            "{told} {under}. A tilted platform squeezes up to a tenth worse there, which is left out.",
            told=told,
            under=under[bowed],
        )
    ]


def _open_about_proof(job: Job) -> list[str]:
    told = []
    if not job.recipe.tried:
        told.append(
            to_say(
                "Nothing is proven here: waits, rises and speeds start from common practice on "
                "machines of this size, which counts as half a run that held."
            )
        )
    elif job.recipe.proof.load is not None and not job.recipe.proof.parts:
        told.append(
            to_say(
                "The proven plate is known by tape measure only: sections are taken as constant, so "
                "jumps in area it survived count for nothing."
            )
        )
    if job.room_k != job.recipe.proof.room_k:
        told.append(
            to_say(
                "Temperature changes viscosity and the film as modelled; how it changes the critical "
                "dose of this resin is not known and is left out."
            )
        )
    return told
