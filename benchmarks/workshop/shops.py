"""An invented workshop: how its machines and resin really are, and what its owner wrote down of them.

The truth has what the model leaves out (a film that gives, a bowed platform, resin that warms over the run, corners dimmer
than said, films that wear) and data sheets that are wrong by more than the plan takes.  All of it is invented.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from attrs import frozen

from vatwright.files.read import Given, read_shop
from vatwright.physics.film_peel import peel_angle, peel_energy
from vatwright.records.job import Shop
from vatwright.records.sourced import NORMAL_95
from vatwright.units import ZERO_CELSIUS_K

SIZES = {
    "compact": (150.0, 92.0, 176.0, 112.0),
    "mid": (216.0, 134.0, 240.0, 150.0),
    "large": (296.0, 166.0, 320.0, 188.0),
}
"""Platform and window of three sizes of machine [mm]; common practice, no source."""

PAIRS = (("compact", "mid"), ("compact", "large"), ("mid", "large"), ("large", "compact"), ("compact", "compact"))
"""From and to; the last is a second machine of the same size."""

WIDER = 1.2
"""By how much more the truth scatters than the plan's priors [-]."""

FILM = (4.8e8, 1.2e-4)
"""Young's modulus [Pa] and thickness [m] of every film here."""

PEEL_SPEED_M_S = 1e-3
"""Speed of the rise at which the energy of a bond is told [m/s]."""

GAS_J_MOL_K = 8.314


def _factor(rng: np.random.Generator, factor_90: float) -> float:
    """A factor whose 90 % range is this factor either way, and wider by `WIDER`."""
    return float(np.exp(WIDER * math.log(factor_90) / NORMAL_95 * rng.standard_normal()))


@frozen(kw_only=True)
class TrueMachine:
    """One machine as it is, SI; `give` is the arm's stiffness over the film's, `bow_m` how hollow the platform is."""

    stiffness_n_m: float
    give: float
    ceiling_n: float
    irradiance_w_m2: float
    dimmest: float
    tension_n_m: float
    tilt_m: float
    bow_m: float
    warms_k: float
    warms_in_s: float


@frozen(kw_only=True)
class TrueShop:
    """Everything as it is: machines by name, resin, peel energy, scatter."""

    machines: dict[str, TrueMachine]
    viscosity_pa_s: float
    activation_j_mol: float
    depth_m: float
    critical_j_m2: float
    overcure_m: float
    reciprocity: float
    energy_j_m2: float
    wear: float
    speed_exponent: float
    scatter: float
    other: float

    def viscosity_at(self, temperature_k: float) -> float:
        """Viscosity of the resin [Pa s]."""
        inverse = 1.0 / temperature_k - 1.0 / (ZERO_CELSIUS_K + 25.0)
        return self.viscosity_pa_s * math.exp(self.activation_j_mol / GAS_J_MOL_K * inverse)

    def angle_rad(self, machine: str, *, colder_k: float, runs: int, speed_m_s: float) -> float:
        """Angle at which the film lets go; it grows with cold, with the runs the film has seen, and with speed."""
        faster = self.speed_exponent * math.log(speed_m_s / PEEL_SPEED_M_S)
        energy = self.energy_j_m2 * math.exp(0.012 * colder_k + self.wear * runs + faster)
        return peel_angle(
            modulus_pa=FILM[0], film_m=FILM[1], tension_n_m=self.machines[machine].tension_n_m, energy_j_m2=energy
        )


@frozen(kw_only=True)
class Workshop:
    """A workshop: the truth, what its owner wrote down, from which machine to which, and the rooms."""

    truth: TrueShop
    said: Shop
    origin: str
    target: str
    size: str
    room_from_k: float
    room_k: float


SCATTER = 0.15
"""Scatter between runs (log): half as much again as the plan takes [-]."""

OTHER = 0.01
"""Share of runs that fail for what is in no model [-]."""


def a_workshop(seed: int) -> Workshop:
    """Return an invented workshop."""
    rng = np.random.default_rng([seed, 1])
    origin, target = PAIRS[seed % len(PAIRS)]
    names = {"Wren": origin, "Heron": target}
    truth = TrueShop(
        machines={name: _machine(rng, size) for name, size in names.items()},
        viscosity_pa_s=0.28 * _factor(rng, 1.7), activation_j_mol=4.2e4 * _factor(rng, 1.25),
        depth_m=1.35e-4 * _factor(rng, 1.3), critical_j_m2=45.0 * _factor(rng, 1.5),
        overcure_m=1.4e-5 * _factor(rng, 2.0), reciprocity=float(1.0 + 0.12 * rng.standard_normal()),
        energy_j_m2=peel_energy(
            modulus_pa=FILM[0], film_m=FILM[1], tension_n_m=850.0, angle_rad=math.radians(11.0 * _factor(rng, 1.6))
        ),
        wear=0.01 * abs(float(rng.standard_normal())),
        speed_exponent=0.32 * _factor(np.random.default_rng([seed, 4]), 1.6), scatter=SCATTER, other=OTHER,
    )  # fmt: skip
    room_from = float(rng.uniform(20.0, 25.0))
    room = float(np.clip(room_from + 3.0 * rng.standard_normal(), 17.0, 28.0))
    tables = {
        "machine": [_written(rng, name, size, truth.machines[name]) for name, size in names.items()],
        "resin": [_resin(rng, truth)],
    }
    return Workshop(
        truth=truth, said=read_shop(Given("a workshop", tables)), origin="Wren", target="Heron", size=target,
        room_from_k=ZERO_CELSIUS_K + round(room_from), room_k=ZERO_CELSIUS_K + round(room),
    )  # fmt: skip


def _machine(rng: np.random.Generator, size: str) -> TrueMachine:
    width, depth, *_ = SIZES[size]
    half_m = math.hypot(width, depth) / 2e3
    soft = {"compact": 1.15, "mid": 1.0, "large": 0.85}[size]
    return TrueMachine(
        stiffness_n_m=2.5e5 * soft * _factor(rng, 2.0),
        give=float(0.12 * abs(rng.standard_normal())),
        ceiling_n=245.0 * _factor(rng, 1.5),
        irradiance_w_m2=30.0 * _factor(rng, 1.35),
        dimmest=float(np.clip(0.88 - 0.05 * abs(rng.standard_normal()), 0.7, 0.97)),
        tension_n_m=850.0 * _factor(rng, 1.6),
        tilt_m=3.5e-4 * half_m * _factor(rng, 2.5),
        bow_m=float(1.5e-5 * abs(rng.standard_normal()) * half_m / 0.09),
        warms_k=float(rng.uniform(0.0, 6.0)),
        warms_in_s=60.0 * float(rng.uniform(20.0, 90.0)),
    )


def _written(rng: np.random.Generator, name: str, size: str, true: TrueMachine) -> dict[str, Any]:
    """What the owner wrote down of a machine: sizes, and now and then a reading."""
    width, depth, window_w, window_d = SIZES[size]
    table: dict[str, Any] = {
        "name": name,
        "height_mm": 200.0,
        "platform": {"width_mm": width, "depth_mm": depth, "corner_mm": 4.0},
        "window": {"width_mm": window_w, "depth_mm": window_d, "corner_mm": 8.0},
        "film": {"backing": "glass", "material": "FEP", "thickness_um": FILM[1] * 1e6},
        "light": _light(rng, true),
        "motion": {"acceleration_mm_s2": 100.0, "fastest_mm_s": 10.0},
        "controller": {"overhead_s": 0.8},
    }
    if rng.random() < 0.5:  # a weight and a dial indicator
        table["dial"] = [
            {
                "load_kg": load,
                "deflection_um": round(
                    load * 9.81 / true.stiffness_n_m * 1e6 * float(np.exp(0.08 * rng.standard_normal())), 1
                ),
            }
            for load in (2.0, 5.0)
        ]
    return table


def _light(rng: np.random.Generator, true: TrueMachine) -> dict[str, Any]:
    """A meter's reading, or the data plate's figure: wrong by up to a third, and it says nothing of dim corners."""
    metered = rng.random() < 0.5
    wrong = 0.05 if metered else 0.15
    said: dict[str, Any] = {
        "irradiance_mW_cm2": round(true.irradiance_w_m2 / 10.0 * float(np.exp(wrong * rng.standard_normal())), 2)
    }
    if metered:
        said |= {
            "read_with": "the bench meter",
            "dimmest_percent": round(100.0 * true.dimmest * float(np.exp(0.04 * rng.standard_normal()))),
        }
        said["dimmest_percent"] = min(said["dimmest_percent"], 98)
    return said


def _resin(rng: np.random.Generator, truth: TrueShop) -> dict[str, Any]:
    """A reading of the viscosity or its label's figure, and four squares."""
    table: dict[str, Any] = {"name": "slate", "density_g_cm3": 1.1}
    read = rng.random() < 0.5
    wrong = 0.06 if read else 0.2
    said = round(truth.viscosity_pa_s * 1e3 * float(np.exp(wrong * rng.standard_normal())))
    if read:
        table["viscosity"] = [{"temperature_c": 25.0, "viscosity_mPa_s": said}]
    else:
        table["label"] = {"viscosity_mPa_s": said}
    doses = truth.critical_j_m2 * np.array([1.5, 3.0, 6.0, 12.0])
    depths = truth.depth_m * np.log(doses / truth.critical_j_m2)
    table["cure"] = [
        {
            "dose_mJ_cm2": round(float(dose) / 10.0, 2),
            "depth_um": round(float(depth) * 1e6 * float(np.exp(0.07 * rng.standard_normal())), 1),
        }
        for dose, depth in zip(doses, depths, strict=True)
    ]
    return table
