"""An invented carry sheet: harbour lanterns in slate, from Wren to Albatross.  Plausible numbers, none computed."""

from __future__ import annotations

import math

import numpy as np
from attrs import evolve

from vatwright.records.machine import Opening, Platform, Window
from vatwright.records.plan import (
    Advice,
    BeliefChange,
    CarrySheet,
    HandPlan,
    HandWhy,
    LayerTable,
    LightCarried,
    Measurement,
    Outlook,
    PlatformView,
    PullCurve,
    ResinNeed,
    Risk,
    RunTime,
    Success,
    TimeShare,
    Visit,
)
from vatwright.records.study import FreshIsland, PlacedOutline, SealedPocket, Study

LAYERS = 1300
JUMP = 412
HOSTILE_HTML = "<script>alert(1)</script>"
HOSTILE_TYPST = '#read("/etc/passwd") $x$ *b* @ref'
HOSTILE_TERMINAL = "lid\x1b[2J\nsecond line"


def cite(key: str) -> str:
    """Stand in for the list of sources."""
    return {
        "stefan:1874": "J. Stefan, Versuche über die scheinbare Adhäsion, Sitzungsber. Akad. Wiss. Wien 69, 1874.",
        "rivlin:1944": "R. S. Rivlin, The effective work of adhesion, Paint Technology 9, 215-216, 1944.",
        "practice:bench": "Common practice, no source.",
    }.get(key, key)


def layer_table() -> LayerTable:
    n = np.arange(LAYERS)
    base, tail = n < 4, np.exp(-np.maximum(n - JUMP, 0) / 5.0) * (n >= JUMP)
    settle = np.select([n < 140, n < 280, n < 420], [45.0, 30.0, 15.0], 4.5)
    thickness = 50e-6 * (1.0 + 0.8 * np.exp(-n / 9.0) + 0.16 * tail)
    lift = 0.0052 + 0.0022 * (n >= JUMP) - 0.001 * (n > 900)
    return LayerTable(
        clock_s=np.concatenate(([0.0], np.cumsum(settle + np.where(base, 46.0, 10.6))[:-1])),
        thickness_m=thickness,
        thickness_low_m=thickness * (1 - 0.05 - 0.2 * np.exp(-n / 9.0)),
        thickness_high_m=thickness * (1 + 0.06 + 0.5 * np.exp(-n / 9.0)),
        cure_depth_m=np.where(base, 190e-6, np.where(n < 10, 190e-6 - (n - 3) * 18e-6, 82e-6)),
        settle_demand_s=3.4 + 38.0 * np.exp(-n / 60.0) + 0.8 * tail,
        settle_true_s=3.4 + 38.0 * np.exp(-n / 60.0) + 0.8 * tail,
        settle_given_s=settle,
        lift_demand_m=lift,
        reach_m=lift / 0.19,
        front_m=0.08 + 0.2 * (n >= JUMP) * np.exp(-np.maximum(n - JUMP, 0) / 500.0),
        pull_n=12.0 + 30.0 * (n >= JUMP) * np.exp(-np.maximum(n - JUMP, 0) / 500.0),
        screen_force_n=8.0 + 120.0 * np.exp(-n / 20.0) + 25.0 * tail,
        area_m2=np.where(n < 4, 0.0122, np.where(n < JUMP, 0.0008, 0.0072)) * np.where(n > 900, 0.3, 1.0),
        exposure_s=np.where(base, 33.0, np.where(n < 10, 33.0 - (n - 3) * 4.3, 2.9)),
    )


def lantern_outlines(part: str) -> tuple[PlacedOutline, ...]:
    angle = np.linspace(0.0, 2.0 * math.pi, 25)[:-1]
    ring = np.column_stack((np.cos(angle), np.sin(angle)))
    places = [((c - 2.5) * 0.046, (r - 1.5) * 0.040) for r in range(4) for c in range(6)]
    return tuple(PlacedOutline(part, (ring * 0.017 + np.array(p), ring[::-1] * 0.011 + np.array(p))) for p in places)


def _settings() -> tuple[Advice, ...]:
    src = ("stefan:1874",)

    def row(
        name: str, old: float, new: float, low: float, high: float, why: str, honoured: str = "yes", **more: object
    ) -> Advice:
        return Advice(
            name=name,
            from_value=old,
            to_value=new,
            low=low,
            high=high,
            honoured=honoured,
            reason=why,
            sources=src,
            **more,
        )

    same = "nothing about it changes with the machine"
    arm = {"dominated_by": "the stiffness of Albatross's arm", "narrowed_by": "a 5 kg weight on the arm and a dial"}
    shared = "the whole platform squeezes resin out, 2.2 times the area under the same resin"
    return (
        row("layer_mm", 5e-5, 5e-5, 5e-5, 5e-5, same),
        row("base.layers", 4, 4, 4, 4, "four layers already hold the pull"),
        row("ramp.layers", 6, 6, 6, 6, same),
        row(
            "base.exposure_s",
            30.0,
            35.0,
            31.4,
            39.2,
            "the screen is 10 % dimmer (your readings, 4 May) and the first layers thicker",
        ),
        row("base.settle_s", 30.0, 45.0, 33.0, 61.0, shared, "shared", by_hand=True, **arm),
        row("base.soak_s", 0.0, 0.0, 0.0, 0.0, same),
        row("base.refill_s", 0.0, 0.0, 0.0, 0.0, same),
        row("base.peel_lift_mm", 0.004, 0.004, 0.0031, 0.0042, "the raft ends well inside the window"),
        row("base.peel_speed_mm_s", 0.001, 0.001, 0.001, 0.001, same),
        row("base.clear_lift_mm", 0.004, 0.006, 0.004, 0.006, "resin has 1.6 times as far to flow back"),
        row("base.clear_speed_mm_s", 0.003, 0.003, 0.003, 0.003, same),
        row("base.return_speed_mm_s", 0.003, 0.003, 0.003, 0.003, same),
        row("body.exposure_s", 2.6, 2.9, 2.71, 3.12, "the screen is 10 % dimmer (your readings, 4 May)"),
        row(
            "body.settle_s",
            2.0,
            4.5,
            3.6,
            5.8,
            "four times the pieces squeeze together; the arm is about as stiff",
            "shared",
            by_hand=True,
            **arm,
        ),
        row("body.soak_s", 0.0, 0.5, 0.0, 0.9, "the cured layer is let stand before it is pulled", "no"),
        row("body.refill_s", 0.0, 0.0, 0.0, 0.0, same),
        row(
            "body.peel_lift_mm",
            0.002,
            0.003,
            0.0026,
            0.0034,
            "the window is 1.6 times as wide: the middle lets go later",
        ),
        row("body.peel_speed_mm_s", 0.001, 0.001, 0.001, 0.001, same),
        row("body.clear_lift_mm", 0.003, 0.005, 0.0042, 0.0055, "the whole lift has to free the middle of the window"),
        row("body.clear_speed_mm_s", 0.003, 0.003, 0.003, 0.003, same),
        row("body.return_speed_mm_s", 0.003, 0.003, 0.003, 0.003, same),
    )


def hand_plan() -> HandPlan:
    values = ((640.0, 140, 30.0, 240.0), (1290.0, 280, 15.0, 300.0), (1980.0, 420, 4.5, math.inf))
    visits = tuple(
        Visit(at_s=at, layer=layer, setting="body.settle_s", value=value, late_ok_s=late, early_ok_s=20.0)
        for at, layer, value, late in values
    )
    return HandPlan(
        start_value=45.0,
        setting="body.settle_s",
        visits=visits,
        total_s=25830.0,
        alone_value=45.0,
        alone_total_s=75400.0,
        obeyed_total_s=24600.0,
        covers=True,
        why=HandWhy.SHARED,
    )


def _risks() -> tuple[Risk, ...]:
    return (
        Risk(
            what="the base lets go at the rear left",
            layer=0,
            margin=1.08,
            chance=0.05,
            why="the resin there is still 175 um thick when the light comes on, and 35 s cures 190",
            do="level the rear left corner again, or give the base 60 s of settle",
        ),
        Risk(
            what="the flare of the lantern does not cure through",
            layer=JUMP,
            margin=1.34,
            chance=0.02,
            why="the area jumps ninefold and the arm is still bent from the squeeze",
            do="keep settle at 4.5 s or more from layer 400 on",
        ),
        Risk(
            what="the plate tips the table",
            layer=-1,
            margin=2.8,
            chance=0.001,
            why="the table sways at 3 Hz",
            do="stand the machine on the floor if the vat ripples",
        ),
    )


def sample_sheet(part: str = "lantern", job: str = "harbour lanterns") -> CarrySheet:
    lift = np.linspace(0.0, 0.008, 81)
    middle = 42.0 * np.exp(-(((lift - 0.0031) / 0.0016) ** 2))
    shares = (
        ("light", 13400.0, 3900.0),
        ("settle", 10400.0, 6900.0),
        ("peel lift", 11000.0, 3900.0),
        ("clear lift", 6300.0, 2300.0),
        ("return", 10500.0, 3500.0),
        ("other waits", 2600.0, 1300.0),
        ("controller", 9300.0, 4030.0),
    )
    return CarrySheet(
        job=job,
        recipe="slate on Wren",
        resin="slate",
        origin="Wren",
        target="Albatross",
        pieces=24,
        runs=11,
        failed=0,
        room_from_k=294.65,
        room_k=291.15,
        holds=True,
        outlook=Outlook.HOLDS,
        verdict="will hold if the three settle changes are made by hand in the first 35 minutes",
        confidence=0.9,
        success=Success(low=0.88, mean=0.93, high=0.96),
        settings=_settings(),
        time=RunTime(
            from_s=63500.0,
            to_s=25830.0,
            from_plates=4,
            to_plates=1,
            per_piece_from_s=2646.0,
            per_piece_to_s=1076.0,
            shares=tuple(TimeShare(label=n, from_s=a, to_s=b) for n, a, b in shares),
        ),
        layers=layer_table(),
        pull_curve=PullCurve(layer=JUMP, lift_m=lift, low_n=middle / 1.4, middle_n=middle, high_n=middle * 1.45),
        platform_view=PlatformView(
            platform=Platform(
                width_m=0.300,
                depth_m=0.165,
                corner_m=0.006,
                openings=(
                    Opening(x_m=-0.135, y_m=0.0, width_m=0.012, depth_m=0.012),
                    Opening(x_m=0.135, y_m=0.0, width_m=0.006, depth_m=0.04, round_=False),
                ),
            ),
            window=Window(width_m=0.310, depth_m=0.178, corner_m=0.012),
            outlines=lantern_outlines(part),
            tan_angle=math.tan(math.radians(5.0)),
            worst_x_m=0.023,
            worst_y_m=0.003,
            worst_lift_m=0.00745,
        ),
        resin_need=ResinNeed(parts_m3=312e-6, drag_out_m3=21e-6, pool_m3=418e-6, pour_m3=751e-6),
        light=LightCarried(
            from_w_m2=30.0,
            to_w_m2=27.0,
            from_dimmest=0.88,
            to_dimmest=0.82,
            from_brightest=1.09,
            to_brightest=1.15,
            from_least_j_m2=68.6,
            to_least_j_m2=68.6,
            from_most_j_m2=85.0,
            to_most_j_m2=96.3,
            from_through_m=289e-6,
            to_through_m=306e-6,
        ),
        hand=hand_plan(),
        risks=_risks(),
        measure_next=(
            Measurement(
                reading="weigh down the arm with 5 kg and read the dial",
                setting="body.settle_s",
                share_left=0.5,
                minutes=2.0,
                how="hang the weight on the arm without a plate, read the dial before and after, three times",
            ),
            Measurement(
                reading="measure the first layer of the next run in three places",
                setting="base.settle_s",
                share_left=0.7,
                minutes=5.0,
                how="caliper on the raft's edge at the front, the middle and the rear",
            ),
        ),
        beliefs=(
            BeliefChange(
                name="stiffness of Albatross's arm",
                unit="N/m",
                before=(1.25e5, 2.5e5, 5e5),
                after=(1.6e5, 2.4e5, 3.6e5),
                kind="engineering estimate",
                source="practice:bench",
            ),
            BeliefChange(
                name="peel angle",
                unit="deg",
                before=(3.0, 5.0, 8.0),
                after=(4.1, 4.9, 5.8),
                kind="worked out",
                source="rivlin:1944",
            ),
            BeliefChange(
                name="viscosity of slate at 18 C",
                unit="Pa s",
                before=(0.24, 0.3, 0.36),
                after=(0.25, 0.3, 0.35),
                kind="your reading",
                source="user:reading",
            ),
        ),
        cautions=(
            "Uncured resin and its vapour: gloves, eye protection, fresh air; follow the resin's safety data sheet",
            "Never look into the light of the machine",
            "Resin waste, solvent and rags: follow the local rules",
        ),
        open_questions=(
            "the film of Albatross was fitted in March; its tension is assumed, not measured",
            "the platform is taken as level to 0.05 mm; nobody has read its corners since 4 May",
        ),
        warnings=("lantern.stl: two shells overlap by 12 mm3; counted once",),
        sources=("stefan:1874", "rivlin:1944", "practice:bench"),
    )


def crowded_sheet() -> CarrySheet:
    """Return the sample with everything longer than a screen has room for."""
    base = sample_sheet()
    long = "a reason that goes on for much longer than any column of a terminal could ever hold in one line"
    visits = tuple(evolve(base.hand.visits[0], at_s=700.0 * k, layer=50 * k) for k in range(1, 15)) if base.hand else ()
    return evolve(
        base,
        job="a very long order " * 12,
        verdict="will not hold, " + long * 4,
        holds=False,
        outlook=Outlook.NOT_SAFE,
        settings=tuple(
            evolve(a, to_value=a.to_value * 1.37, low=a.to_value, high=a.to_value * 2.0 + 1e-6, reason=long)
            for a in base.settings
        ),
        hand=evolve(base.hand, visits=visits, covers=False) if base.hand else None,
        risks=tuple(evolve(r, why=long, what=long, margin=0.7 * r.margin) for r in base.risks * 3),
        measure_next=base.measure_next * 4,
    )


def bare_sheet() -> CarrySheet:
    """Return the least a sheet can hold: no hands, no risks, no known cure, one layer, a job the origin cannot take."""
    base = sample_sheet()
    one = LayerTable(
        **{
            a.name: getattr(base.layers, a.name)[:1] * (0.0 if a.name == "cure_depth_m" else 1.0)
            for a in LayerTable.__attrs_attrs__
        }
    )
    return evolve(
        base,
        hand=None,
        risks=(),
        measure_next=(),
        beliefs=(),
        cautions=(),
        open_questions=(),
        warnings=(),
        sources=(),
        layers=one,
        pieces=1,
        time=evolve(base.time, from_plates=0),
        platform_view=evolve(base.platform_view, outlines=()),
    )


def sample_study() -> Study:
    table = layer_table()
    return Study(
        layer_nm=50_000,
        height_m=0.065,
        volume_m3=312e-6,
        area_m2=table.area_m2,
        perimeter_m=np.sqrt(table.area_m2) * 9.0,
        islands=np.where(np.arange(LAYERS) < 4, 1, 24),
        torsion_m4=table.area_m2**2 / 40.0,
        fresh=(FreshIsland(300, 0.012, -0.034, 2.1e-6),),
        pockets=(SealedPocket(500, 640, 4.2e-6, 3.1e-4),),
        surface_m2=0.31,
        closed=True,
        overlap_m3=1.2e-8,
        pieces=24,
        outlines=lantern_outlines("lantern"),
        warnings=("lantern.stl: two shells overlap by 12 mm3",),
    )
