"""Dimensions hold: measured in other base units, every formula gives the same thing.

Change the metre, the kilogram, the second, the kelvin and the mole by odd factors; scale what goes in (and every
constant with a unit in its name) by what its unit says; what comes out must scale by what its own unit says.  A wrong
exponent or a number with a hidden unit fails.  pint tells the dimensions of a unit; it is a tool of the tests only.
"""

from __future__ import annotations

import importlib
import importlib.util
import inspect
import math
import sys
from pathlib import Path

import numpy as np
import pytest

FACTORS = {"[length]": 1.7, "[mass]": 0.6, "[time]": 2.3, "[temperature]": 1.4, "[substance]": 0.8}


def _load_rule(name: str):
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


units = _load_rule("units_of_names")
docs = _load_rule("test_units_in_docstrings")

FACE = {"viscosity_pa_s": 0.2, "torsion_m4": 1e-8}
GAPS = {"start_gap_m": 5e-4, "end_gap_m": 8e-5}
CURVE = {"penetration_m": 1.5e-4, "critical_j_m2": 80.0}
FILM = {"modulus_pa": 5e8, "film_m": 1e-4}
ARM = {"modulus_pa": 7e10, "second_moment_m4": 2e-8, "length_m": 0.15}
READINGS = {"cold_pa_s": 0.35, "cold_k": 293.0, "warm_pa_s": 0.12, "warm_k": 313.0}
BOWING = {"viscosity_pa_s": 0.25, "radius_m": 0.02, "tension_n_m": 800.0, "window_radius_m": 0.06}
RESIN = {"viscosity_pa_s": 0.2, "density_kg_m3": 1100.0}

READ = {
    "x_m": [-0.05, 0.05, 0.04, -0.05, 0.01],
    "y_m": [-0.03, -0.03, 0.03, 0.02, 0.0],
    "sigma_m": [1e-5, 2e-5, 1e-5, 1e-5, 3e-5],
}

SPOTS = {
    "x_m": [-0.05, 0.05, 0.04, -0.05, 0.01],
    "y_m": [-0.03, -0.03, 0.03, 0.02, 0.0],
    "irradiance_w_m2": [24.0, 27.0, 25.0, 22.0, 31.0],
}

SAMPLES: dict[str, dict[str, dict]] = {
    "plane": {
        "fit_plane": {**READ, "gap_m": [1e-4, 1.6e-4, 2e-4, 1.2e-4, 1.5e-4], "width_m": 0.1, "depth_m": 0.06},
        "plane_sigma": {**READ, "at_x_m": 0.05, "at_y_m": 0.03},
        "twist_sigma": {**READ, "width_m": 0.1, "depth_m": 0.06},
    },
    "squeeze_film": {
        "disc_torsion": {"radius_m": 0.01},
        "rectangle_torsion": {"long_m": 0.12, "short_m": 0.068},
        "ellipse_torsion": {"long_semi_axis_m": 0.02, "short_semi_axis_m": 0.01},
        "triangle_torsion": {"side_m": 0.01},
        "annulus_torsion": {"outer_radius_m": 0.02, "inner_radius_m": 0.01},
        "vented_annulus_torsion": {"outer_radius_m": 0.02, "inner_radius_m": 0.01},
        "torsion_bound": {"area_m2": 3e-4},
        "torsion_estimate": {"area_m2": 3e-4, "polar_m4": 2e-8},
        "squeeze_resistance": {**FACE, "gap_m": 5e-5},
        "squeeze_force": {**FACE, "gap_m": 5e-5, "speed_m_s": 1e-3},
        "disc_peak_pressure": {"viscosity_pa_s": 0.2, "radius_m": 0.01, "gap_m": 5e-5, "speed_m_s": 1e-3},
        "edge_shear_rate": {"viscosity_pa_s": 0.2, "force_n": 2.0, "radius_m": 0.01, "gap_m": 5e-5},
        "suction_limit": {"area_m2": 3e-4},
        "viscous_pull": {**FACE, "gap_m": 5e-5, "speed_m_s": 1e-3, "area_m2": 3e-4},
        "scott_force": {
            "consistency_pa_sn": 0.2,
            "flow_index": 0.8,
            "radius_m": 0.01,
            "gap_m": 5e-5,
            "speed_m_s": 1e-3,
        },
        "squeeze_time": {**FACE, **GAPS, "force_n": 10.0},
        "settle_time_constant": {**FACE, "stiffness_n_m": 1e5, "target_gap_m": 5e-5},
        "settle_time": {**FACE, **GAPS, "stiffness_n_m": 1e5, "target_gap_m": 5e-5},
        "settled_gap": {**FACE, "start_gap_m": 5e-4, "stiffness_n_m": 1e5, "target_gap_m": -5e-5, "time_s": 2.0},
    },
    "irradiance": {
        "irradiance_at": {**SPOTS, "at_x_m": [0.01, 0.2], "at_y_m": [-0.01, 0.0]},
        "mean_irradiance": {**SPOTS, "width_m": 0.11, "depth_m": 0.07},
        "irradiance_range": {**SPOTS, "outlines_m": [np.array([(-0.02, -0.02), (0.02, -0.01), (0.0, 0.02)])]},
    },
    "cure_width": {name: {"share": 0.4, "blur_m": 3e-5} for name in ("thinnest_wall", "thinnest_pin", "narrowest_gap")},
    "cure_depth": {
        "cure_depth": {**CURVE, "dose_j_m2": 160.0},
        "cure_dose": {**CURVE, "depth_m": 1e-4},
        "accumulated_dose": {
            "penetration_m": 1.5e-4,
            "dose_j_m2": 160.0,
            "layer_m": 5e-5,
            "layers": 3,
            "depth_m": 2e-5,
        },
        "print_through": {**CURVE, "dose_j_m2": 160.0, "layer_m": 5e-5, "layers": 3},
        "carried_exposure": {
            "exposure_s": 2.5,
            "from_irradiance_w_m2": 30.0,
            "to_irradiance_w_m2": 20.0,
            "reciprocity": 0.7,
        },
        "penetration_from_absorbance": {"cell_m": 9e-5, "absorbance": 0.4},
        "photon_flux": {"irradiance_w_m2": 30.0, "wavelength_m": 4.05e-7},
        "fit_working_curve": {"doses_j_m2": [90.0, 150.0, 300.0], "depths_m": [2e-5, 9e-5, 2.1e-4]},
        "volume_shrinkage": {"liquid_kg_m3": 1100.0, "cured_kg_m3": 1180.0},
        "linear_shrinkage": {"volume_fraction": 0.07},
    },
    "film_peel": {
        "rivlin_force": {"energy_j_m2": 5.0, "angle_rad": 0.4},
        "kendall_force": {**FILM, "energy_j_m2": 5.0, "angle_rad": 0.4},
        "released_tension": {**FILM, "tension_n_m": 500.0, "angle_rad": 0.1},
        "peel_energy": {**FILM, "tension_n_m": 500.0, "angle_rad": 0.1},
        "peel_angle": {**FILM, "tension_n_m": 500.0, "energy_j_m2": 5.0},
        "strip_release": {**FILM, "tension_n_m": 500.0, "energy_j_m2": 5.0, "span_m": 0.03},
        "lift_demand": {"span_m": 0.03, "angle_rad": 0.1},
        "pull": {"tension_n_m": 500.0, "angle_rad": 0.1, "front_m": 0.2},
        "membrane_stiffness": {"tension_n_m": 500.0, "disc_radius_m": 0.01, "window_radius_m": 0.06},
        "bond_energy": {
            "sheet_n_m": 5e4,
            "tension_n_m": 500.0,
            "angle_rad": 0.1,
            "front_speed_ratio": 3.0,
            "exponent": 0.4,
        },
        "peel_angle_at_speed": {
            "sheet_n_m": 5e4,
            "tension_n_m": 500.0,
            "energy_j_m2": 5.0,
            "rise_speed_ratio": 3.0,
            "exponent": 0.4,
        },
    },
    "viscosity": {
        "activation_energy": READINGS,
        "andrade_viscosity": {"known_pa_s": 0.2, "known_k": 298.0, "activation_j_mol": 4.5e4, "temperature_k": 290.0},
        "two_point_viscosity": {**READINGS, "temperature_k": 300.0},
        "vft_viscosity": {"known_pa_s": 0.2, "known_k": 298.0, "b_k": 900.0, "t0_k": 180.0, "temperature_k": 290.0},
        "sinking_speed": {
            "diameter_m": 1e-5,
            "density_difference_kg_m3": 2500.0,
            "viscosity_pa_s": 0.2,
            "volume_fraction": 0.1,
        },
    },
    "motion": {
        "move_time": {"distance_m": 6e-3, "speed_m_s": 3e-3, "acceleration_m_s2": 0.05},
        "s_curve_time": {"distance_m": 6e-3, "speed_m_s": 3e-3, "acceleration_m_s2": 0.05, "jerk_m_s3": 1.0},
        "stroke_acceleration": {"distance_m": 6e-3, "speed_m_s": 3e-3, "time_s": 2.06},
        "two_stage_time": {
            "first_distance_m": 2e-3,
            "first_speed_m_s": 1e-3,
            "second_distance_m": 3e-3,
            "second_speed_m_s": 3e-3,
            "acceleration_m_s2": 0.05,
        },
    },
    "stiffness": {
        "rectangle_second_moment": {"width_m": 0.04, "height_m": 0.02},
        "cantilever_stiffness": ARM,
        "plate_rigidity": {"modulus_pa": 7e10, "thickness_m": 4e-3, "poisson": 0.22},
        "round_plate_stiffness": {"rigidity_j": 392.0, "radius_m": 0.05},
        "rectangular_plate_stiffness": {"rigidity_j": 392.0, "long_m": 0.13, "short_m": 0.1},
        "springs_in_series": {"*stiffnesses_n_m": [2e5, 3e5]},
        "dial_stiffness": {"load_n": 49.0, "deflection_m": 2e-4, "load_sigma_n": 0.5, "deflection_sigma_m": 5e-6},
        "natural_frequency": {"stiffness_n_m": 1e6, "mass_kg": 1.5},
        "sag_frequency": {"sag_m": 1e-3},
        "table_stiffness": {"legs": 4, "modulus_pa": 1e10, "second_moment_m4": 2e-7, "height_m": 0.7},
        "ring_down_time": {"frequency_hz": 8.0, "damping_ratio": 0.03, "left": 0.05},
    },
    "drag_out": {
        "capillary_number": {"viscosity_pa_s": 0.2, "speed_m_s": 1e-3, "surface_tension_n_m": 0.035},
        "film_thickness": {**RESIN, "speed_m_s": 1e-3, "surface_tension_n_m": 0.035},
        "drained_film": {**RESIN, "height_m": 0.1, "time_s": 600.0},
        "drag_out_volume": {"film_m": 5e-5, "wet_area_m2": 0.1},
        "bath_share": {"carried_m3": 2e-5, "bath_m3": 8e-3, "batches": 20.0},
        "batches_until": {"carried_m3": 2e-5, "bath_m3": 8e-3, "limit": 0.1},
        "bath_density": {"mass_share": 0.1, "resin_kg_m3": 1100.0, "solvent_kg_m3": 785.0},
    },
    "warming": {
        "slab_time_constant": {
            "density_kg_m3": 1100.0,
            "heat_capacity_j_kg_k": 1900.0,
            "thickness_m": 0.017,
            "conductivity_w_m_k": 0.2,
            "coefficient_w_m2_k": 10.0,
        },
        "warmed_temperature": {"start_k": 291.0, "rise_k": 6.0, "time_constant_s": 2700.0, "time_s": 3600.0},
        "warming_time": {"start_k": 285.0, "air_k": 295.0, "wanted_k": 293.0, "time_constant_s": 3600.0},
    },
    "pool": {
        "relevel_time": {**RESIN, "length_m": 0.1, "depth_m": 5e-3},
        "relevel_depth": {**RESIN, "length_m": 0.1, "time_s": 5.0},
    },
    "film_settle": {
        "force_left": {**BOWING, "gap_m": 5e-5, "descent_m_s": 1e-3, "time_s": 0.5},
        "film_time_unit": {"viscosity_pa_s": 0.25, "radius_m": 0.02, "tension_n_m": 800.0, "gap_m": 5e-5},
        "film_stiffness": {"radius_m": 0.02, "tension_n_m": 800.0, "window_radius_m": 0.06},
        "settling_stiffness": {"radius_m": 0.02, "tension_n_m": 800.0, "window_radius_m": 0.06},
        "film_decay_time": {**BOWING, "gap_m": 5e-5},
        "film_half_time": {**BOWING, "gap_m": 5e-5, "descent_m_s": 1e-3},
    },
    "vapour": {
        "vapour_pressure": {
            "known_pa": 4400.0,
            "known_k": 293.0,
            "vaporisation_j_mol": 4.5e4,
            "temperature_k": 298.0,
        },
        "evaporation_rate": {
            "vapour_pressure_pa": 4400.0,
            "molar_mass_kg_mol": 0.06,
            "area_m2": 0.04,
            "temperature_k": 293.0,
        },
        "vapour_flow": {"evaporation_kg_s": 3e-5, "molar_mass_kg_mol": 0.06, "molar_volume_m3_mol": 0.02445},
        "steady_concentration": {"vapour_m3_s": 1e-5, "fresh_air_m3_s": 0.01, "mixing": 2.0},
        "fresh_air_needed": {"vapour_m3_s": 1e-5, "limit_fraction": 4e-4, "mixing": 2.0},
        "concentration_after": {
            "steady_fraction": 1e-3,
            "room_m3": 30.0,
            "fresh_air_m3_s": 0.01,
            "time_s": 900.0,
            "start_fraction": 1e-4,
        },
        "spill_concentration": {
            "mass_kg": 0.8,
            "molar_mass_kg_mol": 0.06,
            "room_m3": 30.0,
            "molar_volume_m3_mol": 0.02445,
        },
        "saturated_fraction": {"vapour_pressure_pa": 4400.0},
    },
}
"""A typical state for every formula; SI."""

RECORDS = {("film_settle", "settled_profile")}
"""Formulas that return whole histories; their sums stand above."""

CASES = [(module, name) for module, functions in SAMPLES.items() for name in functions]


def factor(unit: str) -> float:
    """Return by what the number of a quantity changes when the base units do."""
    dimensions = units.parse(unit).dimensionality
    return math.prod(FACTORS[d] ** float(power) for d, power in dimensions.items())


def scale(name: str, value: object, arguments: dict) -> object:
    """Return an argument, a constant or a result in the other base units."""
    if name.endswith("_pa_sn"):  # Pa s^n: its unit depends on another argument
        return value * factor("Pa") * FACTORS["[time]"] ** arguments["flow_index"]
    unit = units.unit_of_name(name)
    if unit is None:
        return value
    if isinstance(value, list):
        return [v * factor(unit) for v in value]
    return value * factor(unit)


def call(function, arguments: dict) -> dict[str, float]:
    """Return the results by name: the docstring's unit for a float, the fields of a record otherwise."""
    positional = [v for key, values in arguments.items() if key.startswith("*") for v in values]
    keywords = {key: v for key, v in arguments.items() if not key.startswith("*")}
    signature = inspect.signature(function)
    in_order = [k for k in keywords if signature.parameters[k].kind is inspect.Parameter.POSITIONAL_OR_KEYWORD]
    positional.extend(keywords.pop(key) for key in in_order)
    result = function(*positional, **keywords)
    return result._asdict() if hasattr(result, "_asdict") else {"": result}


def check(function, module, arguments: dict, unit: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Assert that a function scales as its units say."""
    before = call(function, arguments)
    for constant, value in vars(module).items():
        if constant.isupper() and isinstance(value, float) and units.unit_of_name(constant):
            monkeypatch.setattr(module, constant, scale(constant, value, arguments))
    after = call(function, {k: scale(k, v, arguments) for k, v in arguments.items()})
    for field, value in before.items():
        wanted = scale(field, value, arguments) if field else value * factor(unit)
        assert after[field] == pytest.approx(wanted, rel=1e-9), f"{field or 'result'} does not scale as [{unit}]"


@pytest.mark.parametrize(("file", "name"), CASES, ids=[f"{m}.{n}" for m, n in CASES])
def test_formula_scales_with_the_base_units(file: str, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    module = importlib.import_module(f"vatwright.physics.{file}")
    function = getattr(module, name)
    text = inspect.getdoc(function)
    returns = docs.marks(docs.sections(text).get("Returns", text))
    check(function, module, SAMPLES[file][name], returns[0] if returns else "1", monkeypatch)


def test_no_formula_is_left_out() -> None:
    listed = RECORDS.union(CASES)
    missing = [
        f"{file}.{node.name}" for file, node in docs.FUNCTIONS if file in SAMPLES and (file, node.name) not in listed
    ]
    assert not missing


def test_a_wrong_exponent_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """The check itself can fail: the misprint R^2 for R^4 in Stefan's force, and a hidden gravity."""
    module = importlib.import_module("vatwright.physics.pool")

    def misprint(*, viscosity_pa_s: float, radius_m: float, gap_m: float, speed_m_s: float) -> float:
        return 3.0 * math.pi * viscosity_pa_s * radius_m**2 * speed_m_s / (2.0 * gap_m**3)

    def hidden(*, mass_kg: float) -> float:
        return mass_kg * 9.80665

    state = {"viscosity_pa_s": 0.2, "radius_m": 0.01, "gap_m": 5e-5, "speed_m_s": 1e-3}
    with pytest.raises(AssertionError, match="does not scale"):
        check(misprint, module, state, "N", monkeypatch)
    with pytest.raises(AssertionError, match="does not scale"):
        check(hidden, module, {"mass_kg": 2.0}, "N", monkeypatch)
