"""An invented workshop for the tests of the planning room: machines, a resin, a recipe and plates of plain sections."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from attrs import evolve

from vatwright.files.read import read_shop
from vatwright.planning.carry.carry import PlateCounts, carry
from vatwright.planning.demand.unknowns import Side
from vatwright.records.job import Hands, Job, Shop
from vatwright.records.machine import (
    Backing,
    Controller,
    Film,
    Light,
    Machine,
    Motion,
    Obeys,
    Platform,
    Rule,
    Vat,
    Window,
)
from vatwright.records.material import CureReading, Resin, ViscosityReading
from vatwright.records.part import PartUse, PlateLoad
from vatwright.records.plan import CarrySheet
from vatwright.records.process import Phase, Proof, Recipe, Settings
from vatwright.records.sourced import Kind, Sourced
from vatwright.records.study import Reach, Study
from vatwright.services.study_parts import PartBench, study_plate
from vatwright.units import ZERO_CELSIUS_K
from vatwright.wiring import demo_folder, read_geometry

LAYER_NM = 50_000
ROOM_K = ZERO_CELSIUS_K + 22.0


def read(value: float, *, factor: float = 1.1) -> Sourced:
    return Sourced.about(value, factor=factor, source="user:reading", kind=Kind.READING)


def exact(value: float) -> Sourced:
    return Sourced(value=value, low=value, high=value, source="user:reading", kind=Kind.READING)


def machine(name="Wren", *, width_mm=150.0, depth_mm=92.0, stiffness_n_m=2.4e5, rules=None, **changes) -> Machine:
    """A machine of which everything is known well; the window is 10 mm wider all round."""
    width, depth = width_mm / 1e3, depth_mm / 1e3
    whole = {
        "name": name,
        "platform": Platform(width_m=width, depth_m=depth),
        "window": Window(width_m=width + 0.02, depth_m=depth + 0.02),
        "height_m": 0.2,
        "film": Film(backing=Backing.GLASS, thickness_m=1e-4, modulus_pa=4.8e8, tension_n_m=read(900.0)),
        "stiffness_n_m": read(stiffness_n_m),
        "ceiling_n": read(245.0),
        "light": Light(irradiance_w_m2=read(30.0, factor=1.05), meter="the bench meter"),
        "motion": Motion(acceleration_m_s2=exact(0.1), fastest_m_s=0.01),
        "vat": Vat(width_m=width + 0.04, depth_m=depth + 0.04, full_m=0.02),
        "controller": Controller(rules=rules or {}, overhead_s=0.5),
    }
    return Machine(**whole | changes)


def settle_rule(obeys=Obeys.YES, **changes) -> dict[str, Rule]:
    return {"settle_s": Rule(**{"obeys": obeys, "maximum": 120.0, "step": 0.5} | changes)}


def resin(**changes) -> Resin:
    """A resin read at two temperatures, with four squares cured."""
    whole = {
        "name": "slate",
        "viscosity": (
            ViscosityReading(temperature_k=ZERO_CELSIUS_K + 20.0, viscosity_pa_s=0.34, sigma_pa_s=0.017),
            ViscosityReading(temperature_k=ZERO_CELSIUS_K + 25.0, viscosity_pa_s=0.25, sigma_pa_s=0.0125),
        ),
        "cure_readings": tuple(
            CureReading(dose_j_m2=d, depth_m=x)
            for d, x in ((50.0, 52e-6), (100.0, 145e-6), (200.0, 246e-6), (400.0, 338e-6))
        ),
    }
    return Resin(**whole | changes)


def settings(**changes) -> Settings:
    """Common practice on a compact machine, no source: 2 + 3 mm, 2 s, base 4 + 4 mm and 30 s."""
    body = Phase(
        exposure_s=2.6, settle_s=2.0, peel_lift_m=0.002, peel_speed_m_s=0.001, clear_lift_m=0.003,
        clear_speed_m_s=0.003, return_speed_m_s=0.003,
    )  # fmt: skip
    base = evolve(body, exposure_s=30.0, settle_s=30.0, peel_lift_m=0.004, clear_lift_m=0.004)
    return Settings(**{"layer_nm": LAYER_NM, "base_layers": 4, "ramp_layers": 4, "base": base, "body": body} | changes)


def job(*, origin=None, target=None, resin_from=None, to_resin=None, recipe=None, room_k=ROOM_K, **changes) -> Job:
    """From Wren to Wren unless told otherwise, in the room it was proven in."""
    origin, first = origin or machine(), resin_from or resin()
    proof = Proof(runs=8, room_k=ROOM_K, load=PlateLoad(pieces=4, section_m2=3e-4, height_m=0.003))
    proven = Recipe(name="proven", machine=origin.name, resin=first.name, settings=recipe or settings(), proof=proof)
    whole = {
        "name": "a job",
        "recipe": proven,
        "origin": origin,
        "target": target or origin,
        "resin_from": first,
        "resin": to_resin or first,
        "room_k": room_k,
        "parts": (PartUse(name="lantern", file="lantern.stl"),),
    }
    return Job(**whole | changes)


def circle(x_m: float, y_m: float, radius_m: float) -> np.ndarray:
    turn = np.linspace(0.0, 2.0 * math.pi, 24, endpoint=False)
    return np.column_stack((x_m + radius_m * np.cos(turn), y_m + radius_m * np.sin(turn)))


def plate(radius_mm, *, span_mm=45.0, layer_nm=LAYER_NM, spread_mm=(28.0, 18.0), **changes) -> Study:
    """Four upright bars of discs, one radius a layer; J = pi R^4 / 2 each (Saint-Venant, any handbook)."""
    radius = np.asarray(radius_mm, dtype=float) / 1e3
    area, torsion = 4 * math.pi * radius**2, 4 * math.pi * radius**4 / 2.0
    x, y = (v / 1e3 for v in spread_mm)
    feet = tuple(circle(sx * x, sy * y, float(radius[0])) for sx in (-1, 1) for sy in (-1, 1))
    # The film lets go of them where it has risen to half of that distance over tan(theta): about as of a slab.
    front = 2.0 * area / (span_mm / 1e3)
    rise = np.linspace(0.1, 1.0, 10) * 0.5 * span_mm / 1e3
    reach = Reach(
        span_m=np.full(radius.size, span_mm / 1e3),
        reach_m=np.full(radius.size, 0.5 * span_mm / 1e3),
        front_m=front,
        peak_layer=int(np.argmax(area)),
        peak_rise_m=rise,
        peak_pull_m=front.max() * np.minimum(rise / rise[5], 1.0),
        solved=np.zeros(0, dtype=np.int64),
    )
    whole = {
        "layer_nm": layer_nm,
        "height_m": radius.size * layer_nm / 1e9,
        "volume_m3": float(area.sum()) * layer_nm / 1e9,
        "area_m2": area,
        "perimeter_m": 8 * math.pi * radius,
        "islands": np.full(radius.size, 4, dtype=np.int64),
        "torsion_m4": torsion,
        "pieces": 4,
        "surface_m2": float((8 * math.pi * radius).sum()) * layer_nm / 1e9,
        "base_outlines_m": feet,
        "reach": reach,
    }
    return Study(**whole | changes)


def carried(task: Job, proven: Study, target: Study | None = None, **asked: Any) -> CarrySheet:
    """The sheet of a job on these plates; without a second one, on the same plate."""
    target = proven if target is None else target
    counts = PlateCounts(origin=(proven.layers,), target=(target.layers,))
    return carry(task, proven=proven, target=target, plates=counts, **asked)


def shop_of(text: str, folder: Path) -> Shop:
    """The records that a shop file makes."""
    path = folder / "shop.toml"
    path.write_text(text, encoding="utf-8")
    return read_shop(path)


@cache
def demo_shop() -> Shop:
    return read_shop(demo_folder() / "shop.toml")


def demo_machine(name: str) -> Machine:
    return next(m for m in demo_shop().machines if m.name == name)


@cache
def _bench() -> PartBench:
    return PartBench(read_geometry, layer_nm=LAYER_NM)


@cache
def demo_plate(name: str, **counts: int) -> Study:
    """The fullest plate of demo parts on a demo machine; parts are named with underscores."""
    parts = tuple(
        PartUse(name=part, file=str(demo_folder() / "parts" / f"{part.replace('_', '-')}.stl"), unit="mm", count=count)
        for part, count in counts.items()
    )
    return study_plate(parts, _bench(), machine=demo_machine(name)).study


def lowest(study: Study, layers: int) -> Study:
    """The first layers of a plate: what is above them is left out to keep tests quick."""
    n = min(layers, study.layers)
    reach = study.reach
    return evolve(
        study,
        area_m2=study.area_m2[:n],
        perimeter_m=study.perimeter_m[:n],
        islands=study.islands[:n],
        torsion_m4=study.torsion_m4[:n],
        fresh=tuple(f for f in study.fresh if f.layer < n),
        hanging=(),
        reach=evolve(
            reach,
            span_m=reach.span_m[:n],
            reach_m=reach.reach_m[:n],
            front_m=reach.front_m[:n],
            peak_layer=int(np.argmax(reach.front_m[:n])),
        ),
    )


def demo_job(to: str | Machine, **changes) -> Job:
    """The demo recipe to a machine, by the name it has in the demo shop or as it is, in the room it was proven in."""
    shop = demo_shop()
    recipe, slate = shop.recipes[0], next(r for r in shop.resins if r.name == "slate")
    whole = {
        "name": "demo",
        "recipe": recipe,
        "origin": demo_machine(recipe.machine),
        "target": demo_machine(to) if isinstance(to, str) else to,
        "resin_from": slate,
        "resin": slate,
        "room_k": recipe.proof.room_k,
        "parts": recipe.proof.parts,
        "hands": Hands(visits=4),
    }
    return Job(**whole | changes)


def side(count: int = 1, **values: float) -> Side:
    """One machine in `count` like worlds."""
    whole = {
        "stiffness_n_m": 2.4e5, "ceiling_n": 245.0, "viscosity_pa_s": 0.3, "irradiance_w_m2": 30.0,
        "spot": 1.0, "reference_w_m2": 30.0, "reciprocity": 1.0,
        "tension_n_m": 900.0, "angle_rad": math.radians(9.0), "speed_exponent": 0.3, "sheet_n_m": 5e4,
        "curve_depth_m": 150e-6, "curve_dose_j_m2": 40.0,
        "unlevel_m": 3e-5,
    } | values  # fmt: skip
    return Side(**{name: np.full(count, value) for name, value in whole.items()})
