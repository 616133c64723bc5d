"""The table of formulas: every entry works, shows its working with the numbers in it, and cites listed sources.

Values are those of the tests in tests/published, where their sources stand; here they go in and come out in bench
units.
"""

from __future__ import annotations

import inspect
import math
import re
import subprocess
import sys
from contextlib import suppress
from unittest import mock

import pint
import pytest

from vatwright.errors import InputError
from vatwright.services.calculate import FORMULAS, calculate, formulas
from vatwright.services.formula import Formula
from vatwright.sources import source
from vatwright.units import BENCH_UNITS

CASES = {
    # Stefan 1874, Reynolds 1886, Saint-Venant 1855, Bredt 1896, Scott 1931 and the spring closed form
    "disc_torsion radius_mm=10": (15707.963, "mm4", 1e-7),
    "rect_torsion long_mm=120 short_mm=68": (8.12026e6, "mm4", 1e-6),
    "ellipse_torsion long_mm=2 short_mm=1": (5.0265482, "mm4", 1e-8),
    "triangle_torsion side_mm=1": (0.02165064, "mm4", 1e-6),
    "annulus_torsion outer_mm=1 inner_mm=0.5": (1.472622, "mm4", 1e-6),
    "vented_annulus_torsion outer_mm=1 inner_mm=0.5": (0.197895, "mm4", 4e-6),
    "torsion_bound area_mm2=1": (0.1591549, "mm4", 1e-6),
    "torsion_estimate area_mm2=1 polar_mm4=0.1666666667": (0.15, "mm4", 1e-8),
    "squeeze_force viscosity_Pa_s=0.2 torsion_mm4=15707.963268 gap_um=50 speed_mm_s=1": (75.398, "N", 1e-5),
    "peak_pressure viscosity_Pa_s=0.2 radius_mm=10 gap_um=50 speed_mm_s=1": (480.0, "kPa", 1e-12),
    "suction_limit area_mm2=314.159265": (31.832, "N", 1e-4),
    "viscous_pull viscosity_Pa_s=0.2 torsion_mm4=15707.963 gap_um=50 speed_mm_s=1 area_mm2=314.159265": (
        31.832,
        "N",
        1e-4,
    ),
    "scott_force consistency=0.2 flow_index=0.8 radius_mm=10 gap_um=50 speed_mm_s=1": (12.93037, "N", 1e-6),
    "squeeze_time viscosity_Pa_s=0.2 torsion_mm4=15707.963268 from_um=500 to_um=50 force_N=10": (0.186611, "s", 5e-6),
    "settle_time viscosity_Pa_s=0.2 torsion_mm4=15707.963268 stiffness_N_mm=100 from_um=550 to_um=51 target_um=50": (
        1.862774,
        "s",
        1e-6,
    ),
    "settled_gap viscosity_Pa_s=0.25 torsion_mm4=1e6 stiffness_N_mm=250 from_um=1000 target_um=-30 time_s=2": (
        72.63,
        "um",
        1e-4,
    ),
    "settle_constant viscosity_Pa_s=0.2 torsion_mm4=15707.963268 stiffness_N_mm=100 gap_um=50": (0.753982, "s", 1e-6),
    # Jacobs 1992
    "cure_depth Dp_um=150 Ec_mJ_cm2=8 dose_mJ_cm2=24": (164.792, "um", 3e-6),
    "cure_dose Dp_um=150 Ec_mJ_cm2=8 depth_um=75": (13.1898, "mJ/cm2", 5e-6),
    "print_through Dp_um=150 Ec_mJ_cm2=8 dose_mJ_cm2=16 layer_um=50 layers=3": (224.269, "um", 3e-6),
    "carried_exposure exposure_s=2.5 from_mW_cm2=3 to_mW_cm2=2": (3.75, "s", 1e-12),
    "carried_exposure exposure_s=2.5 from_mW_cm2=3 to_mW_cm2=2 reciprocity=0.5": (3.0619, "s", 1.5e-5),
    "penetration_depth cell_um=93 absorbance=0.4148": (97.37, "um", 1e-4),
    "schwarzschild_exposure exposure_s=2.5 from_mW_cm2=3 to_mW_cm2=2 schwarzschild=0.8": (4.1501, "s", 1.5e-5),
    "two_doses Dp_um=150 Ec_mJ_cm2=8 dose1_mJ_cm2=10 dose2_mJ_cm2=14": (164.792, "um", 3e-6),
    "spot_share spot_mW_cm2=2.2 mean_mW_cm2=2.75": (80.0, "%", 1e-12),
    "spot_depth Dp_um=150 spot_mW_cm2=2 mean_mW_cm2=4": (-103.972, "um", 5e-6),  # -150 ln 2
    # the defining constants, SI brochure 2019
    "photon_flux irradiance_mW_cm2=1 wavelength_nm=405": (2.03882e15, "photons/(cm2 s)", 3e-6),
    "volume_shrinkage liquid_g_cm3=1.10 cured_g_cm3=1.18": (6.7797, "%", 1e-5),
    "linear_shrinkage volume_percent=6.77966": (2.3130, "%", 1e-4),  # 1 - (1.10 / 1.18)^(1/3)
    "drag_out film_um=50 wet_area_cm2=1000": (5.0, "ml", 1e-12),
    "vent_pressure viscosity_Pa_s=0.3 flow_ml_s=0.3 diameter_mm=2 wall_mm=2": (
        0.72837,
        "kPa",
        1e-5,
    ),  # Sampson, Poiseuille
    "vapour_later steady_ppm=100 room_m3=30 fresh_air_m3_h=60 time_min=30 start_ppm=0": (
        63.2121,
        "ppm",
        1e-6,
    ),  # 1 - 1/e
    # Rivlin 1944, Kendall 1975
    "peel_angle modulus_MPa=500 film_um=100 tension_N_m=500 energy_J_m2=5": (5.9850, "deg", 1e-5),
    "peel_energy modulus_MPa=500 film_um=100 tension_N_m=500 lift_mm=3.1452 span_mm=30": (5.0, "J/m2", 1e-4),
    "release_lift modulus_MPa=500 film_um=100 tension_N_m=500 energy_J_m2=5 span_mm=30": (3.1452, "mm", 2e-5),
    "release_pull modulus_MPa=500 film_um=100 tension_N_m=500 energy_J_m2=5": (80.992, "N/m", 2e-5),
    "lift_demand span_mm=30 angle_deg=45": (30.0, "mm", 1e-12),
    "pull tension_N_m=500 angle_deg=30 front_mm=100": (25.0, "N", 1e-12),
    "rivlin_force energy_J_m2=5 angle_deg=30": (37.3205, "N/m", 2e-6),
    "kendall_force modulus_MPa=500 film_um=100 energy_J_m2=5 angle_deg=0": (707.107, "N/m", 1e-6),
    "membrane_stiffness tension_N_m=20 disc_mm=2.5 window_mm=30": (50.571, "N/m", 1e-5),
    # Andrade 1930, Vogel 1921, Stokes 1851, Landau and Levich 1942, Jeffreys 1930, Orchard 1962
    "andrade T1_c=20 mu1=0.35 T2_c=40 mu2=0.12 T_c=40": (0.12, "Pa s", 1e-12),
    "activation_energy T1_c=20 mu1=0.35 T2_c=40 mu2=0.12": (40.849, "kJ/mol", 1e-4),
    "vft_viscosity mu1=0.2 T1_c=25 B=900 T0_c=-93.15 T_c=15": (0.404502, "Pa s", 2e-6),
    "sinking_speed particle_um=10 excess_g_cm3=2.5 viscosity_Pa_s=0.2": (2.45166, "mm/h", 3e-6),
    "film_thickness viscosity_Pa_s=10 speed_mm_s=10 surface_tension_N_m=0.035 density_g_cm3=1.1": (3044.7, "um", 1e-4),
    "drained_film viscosity_Pa_s=0.2 density_g_cm3=1.1 length_mm=100 time_s=600": (37.06, "um", 1e-3),
    "relevel_time viscosity_Pa_s=0.2 length_mm=100 density_g_cm3=1.1 depth_mm=5": (4.4496, "s", 1e-4),
    "relevel_depth viscosity_Pa_s=0.2 length_mm=100 density_g_cm3=1.1 time_s=4.4496": (5.0, "mm", 1e-4),
    # trapezoids and double S
    "move_time distance_mm=6 speed_mm_s=3 accel_mm_s2=50": (2.06, "s", 1e-12),
    "s_curve_time distance_mm=6 speed_mm_s=3 accel_mm_s2=50 jerk_mm_s3=1000": (2.11, "s", 1e-12),
    "two_stage_time distance1_mm=2 speed1_mm_s=1 distance2_mm=3 speed2_mm_s=3 accel_mm_s2=50": (3.08, "s", 1e-12),
    "stroke_acceleration distance_mm=6 speed_mm_s=3 time_s=2.06": (50.0, "mm/s2", 1e-10),
    # Timoshenko 1951 and 1959, Rayleigh 1877
    "arm_stiffness modulus_GPa=70 width_mm=40 height_mm=20 length_mm=150": (1659.26, "N/mm", 1e-6),
    "plate_stiffness modulus_GPa=70 thickness_mm=4 poisson=0.22 long_mm=100 short_mm=100": (50 / 7.14e-3, "N/mm", 1e-3),
    "round_plate_stiffness modulus_GPa=70 thickness_mm=4 poisson=0.22 radius_mm=50": (50 / 6.33867e-3, "N/mm", 2e-6),
    "dial_stiffness load_N=49 deflection_um=200": (245.0, "N/mm", 1e-12),
    "springs_in_series k1_N_mm=200 k2_N_mm=300": (120.0, "N/mm", 1e-12),
    "natural_frequency stiffness_N_mm=1659.26 mass_kg=1.570714": (163.58, "Hz", 4e-5),
    "sag_frequency sag_mm=0.1": (49.8403, "Hz", 1e-6),
    "ring_down_time frequency_Hz=8 damping_ratio=0.03 left=0.05": (1.98662, "s", 1e-5),
    # NIOSH 2007 and the dilution equation
    "vapour_ppm evaporation_g_h=100 room_m3=30 air_changes_h=1 molar_mass=60.1": (1356.1, "ppm", 4e-5),
    "vapour_ppm evaporation_g_h=100 room_m3=30 air_changes_h=3 molar_mass=60.1 mixing=3": (1356.1, "ppm", 4e-5),
    "fresh_air evaporation_g_h=100 molar_mass=60.1 limit_ppm=400": (101.7, "m3/h", 5e-4),
    "spill_ppm mass_g=785 molar_mass=60.1 room_m3=30": (10645.0, "ppm", 6e-5),
    "saturated_percent vapour_pressure_kPa=4.39964": (4.342, "%", 1e-4),
    # Ideal gas law by hand; 2339 Pa at 20 C: IAPWS; 8.3 mm/s is the coefficient of water
    "evaporation vapour_pressure_kPa=2.339 molar_mass=18.015 open_cm2=1000 T_c=20": (51.657, "g/h", 1e-4),
    # 20 ml a plate into 8 litres, plate by plate: 740/8740
    "bath_percent carried_ml=20 bath_ml=8000 plates=37": (100 * 740 / 8740, "%", 1e-9),
    "bath_plates carried_ml=20 bath_ml=8000 limit_percent=20": (100.0, "", 1e-9),
    # Newton's law of cooling with the first root 0.8603 of a plane wall, Bi 1: Incropera and DeWitt, table 5.1
    "warming_time start_c=12 air_c=20 wanted_c=19 thickness_mm=20 density_g_cm3=1.1 coefficient_W_m2_K=10": (
        1100 * 1900 * 0.02**2 / (0.2 * 0.8603**2) * 2.0794415 / 60,
        "min",
        2e-4,
    ),
    # beam theory: four legs of 40 x 40 mm, 10 GPa, 0.7 m, 30 kg sway at 7.938 Hz
    "table_stiffness legs=4 modulus_GPa=10 leg_mm=40 tall_mm=700": (
        30 * (2 * 3.14159265 * 7.938) ** 2 / 1000,
        "N/mm",
        2e-4,
    ),
    # mean of the geometric distribution; a failure noticed at 75 %; 1200/15.5 = 77.4
    "plates_for_one chance_percent=85": (1.1764706, "", 1e-7),
    "cost_with_failures good_cost=12 failed_cost=9 chance_percent=85": (13.5882, "", 4e-6),
    "pays_after fixed_cost=1200 price=25 unit_cost=9.5": (78.0, "", 1e-12),
}


@pytest.mark.parametrize("question", CASES)
def test_answers(question: str) -> None:
    expected, unit, tolerance = CASES[question]
    name, *values = question.split()
    answer = calculate(name, values)
    assert answer.value == pytest.approx(expected, rel=tolerance)
    assert answer.unit == unit
    for entry in values:
        number = f"{float(entry.split('=')[1]):.6g}"
        assert number in answer.working, f"{entry} is not in the working: {answer.working}"
    assert answer.working.endswith(f" = {answer.value:.5g} {unit}".rstrip())
    assert list(answer.to_json())[:3] == ["value", "unit", "source"]


def test_every_formula_is_asked() -> None:
    assert {question.split()[0] for question in CASES} >= set(FORMULAS) - {"film_settle"}


def test_a_free_film_scales_as_its_equations() -> None:
    """The equations hold no other groups than R_w/R, mu V R^4/(T h^4) and T h^3 t/(mu R^4) (derived)."""
    base = {"radius_mm": 20, "window_radius_mm": 60, "gap_um": 50}
    first = {"viscosity_Pa_s": 0.25, "tension_N_m": 800, "descent_mm_s": 1, "time_s": 0.5}
    second = {"viscosity_Pa_s": 0.5, "tension_N_m": 800, "descent_mm_s": 0.5, "time_s": 1}
    late = {**first, "time_s": 5}
    shares = [
        calculate("film_settle", [f"{k}={v}" for k, v in {**base, **state}.items()]).value
        for state in (first, second, late)
    ]
    assert shares[1] == pytest.approx(shares[0], rel=1e-9)
    assert 0.0 < shares[2] < shares[0] < 1.0


PROMISED = {
    "disc_torsion": "radius_mm",
    "rect_torsion": "long_mm short_mm",
    "squeeze_force": "viscosity_Pa_s torsion_mm4 gap_um speed_mm_s",
    "squeeze_time": "viscosity_Pa_s torsion_mm4 from_um to_um force_N",
    "settle_time": "viscosity_Pa_s torsion_mm4 stiffness_N_mm from_um to_um target_um",
    "settled_gap": "viscosity_Pa_s torsion_mm4 stiffness_N_mm from_um target_um time_s",
    "cure_depth": "Dp_um Ec_mJ_cm2 dose_mJ_cm2",
    "cure_dose": "Dp_um Ec_mJ_cm2 depth_um",
    "peel_angle": "modulus_MPa film_um tension_N_m energy_J_m2",
    "move_time": "distance_mm speed_mm_s accel_mm_s2",
    "andrade": "T1_c mu1 T2_c mu2 T_c",
    "vapour_ppm": "evaporation_g_h room_m3 air_changes_h molar_mass",
}


@pytest.mark.parametrize("name", PROMISED)
def test_promised_names_and_arguments(name: str) -> None:
    """What others rely on: these names with these arguments, in this order."""
    formula = FORMULAS[name]
    assert [a.name for a in formula.arguments if a.name not in formula.defaults] == PROMISED[name].split()


@pytest.mark.parametrize("name", FORMULAS)
def test_entry_is_sound(name: str) -> None:
    formula = FORMULAS[name]
    assert [source(key).key for key in formula.sources] == list(formula.sources)
    assert formula.sources
    assert formula.title[0].isupper()
    assert formula.validity.endswith(".")
    assert set(formula.defaults) <= {a.name for a in formula.arguments}
    assert {a.keyword for a in formula.arguments} <= set(inspect.signature(formula.function).parameters)
    shown = set(re.findall(r"[A-Za-z]\w*", formula.said.equation))
    for argument in formula.arguments:
        assert argument.meaning
        assert set(argument.symbol.split()) <= shown, f"{argument.name} is not in {formula.said.equation}"


@pytest.mark.parametrize("name", FORMULAS)
def test_bench_unit_is_of_the_docstrings_dimension(name: str) -> None:
    """pint says what a mark such as [J/m^2] is; the unit on the command line must be of the same kind."""
    formula = FORMULAS[name]
    marks = {a.unit: formula.said.parameters[a.keyword].unit for a in formula.arguments} | {
        formula.unit: formula.said.unit
    }
    for unit, mark in marks.items():
        if unit == "1" or mark == "Pa s^n":
            assert mark in {"1", "money", "K", "Pa s^n"}
        else:
            assert dimension(KINDS[unit] if unit in KINDS else BENCH_UNITS[unit].dimension) == dimension(mark)


REGISTRY = pint.UnitRegistry()
KINDS = {"c": "K", "deg": "rad", "N_m": "N/m"}
SI = {
    "length": "m", "area": "m^2", "volume": "m^3", "torsion": "m^4", "time": "s", "speed": "m/s", "force": "N",
    "acceleration": "m/s^2", "jerk": "m/s^3", "mass": "kg", "stiffness": "N/m", "viscosity": "Pa s", "pressure": "Pa",
    "areal_energy": "J/m^2", "irradiance": "W/m^2", "density": "kg/m^3", "mass_flow": "kg/s", "molar_mass": "kg/mol",
    "rate": "1/s", "angle": "rad", "fraction": "1", "volume_flow": "m^3/s", "molar_energy": "J/mol",
    "heat_capacity": "J/(kg K)", "photon_flux": "1/(m^2 s)", "frequency": "Hz", "conductivity": "W/(m K)",
    "heat_transfer": "W/(m^2 K)",
}  # fmt: skip


def dimension(mark: str) -> object:
    """Dimension of a unit mark, by pint."""
    text = re.sub(r"(?<=[\w)]) (?=[A-Za-z(])", "*", SI.get(mark, mark))
    return REGISTRY.Quantity(1.0, "" if text == "1" else text).dimensionality


def evaluated(equation: str, values: dict[str, float]) -> float:
    """Value of a printed right-hand side, side by side meaning times, by the language's own arithmetic."""
    functions = {"ln": math.log, "exp": math.exp, "sin": math.sin, "cos": math.cos, "tan": math.tan, "sqrt": math.sqrt}
    text, before = "", ""
    for piece in re.findall(r"[A-Za-z]\w*|\d+(?:\.\d+)?|\S", equation.translate(str.maketrans("[]", "()"))):
        if (piece[0].isalnum() or piece == "(") and (before[:1].isalnum() or before == ")") and before not in functions:
            text += "*"
        text += {"^": "**"}.get(piece, piece)
        before = piece
    names = {f"v_{k}": v for k, v in values.items()}
    text = re.sub(r"[A-Za-z]\w*", lambda m: f"v_{m[0]}" if m[0] in values else m[0], text)
    return float(eval(text, {"__builtins__": {}}, {**functions, "pi": math.pi, **names}))  # noqa: S307


@pytest.mark.parametrize("question", [q for q in CASES if "; " not in calculate(q.split()[0], q.split()[1:]).working])
def test_the_printed_equation_gives_the_printed_value(question: str) -> None:
    """What a reader would work out from the equation alone is what the formula gives."""
    name, *values = question.split()
    formula, answer = FORMULAS[name], calculate(name, values)
    numbers = {a.symbol: a.si(answer.inputs[a.name]) for a in formula.arguments}
    right = re.split(r" (?:=|<=|~) ", formula.said.equation)[1]
    assert evaluated(right, numbers) == pytest.approx(_si(answer.value, formula), rel=1e-9)


def _si(value: float, formula: Formula) -> float:
    unit = formula.unit
    if unit in {"1", "deg"}:
        return math.radians(value) if unit == "deg" else value
    return value * BENCH_UNITS[unit].times / BENCH_UNITS[unit].over


def test_a_formula_is_added_in_one_place() -> None:
    """One function with its docstring and one line: name, unit and arguments; the rest is read from the docstring."""

    def wall_weight(*, length_m: float, density_kg_m3: float, times: float = 2.0) -> float:
        r"""Return the weight of a square wall.

        .. math:: W = n \rho L^2

        Parameters
        ----------
        length_m : float
            Side of the wall, :math:`L` [m].
        density_kg_m3 : float
            Weight per volume, :math:`\rho` [kg/m^3].
        times : float
            Number of walls, :math:`n` [1]; may be zero.

        Returns
        -------
        float
            Weight [kg].

        Notes
        -----
        Walls of one metre.

        References
        ----------
        Geometry [derived:vatwright].
        """
        return times * density_kg_m3 * length_m**2

    added = formulas({"walls": (("wall", wall_weight, "kg", "length_mm density_g_cm3 times"),)})["wall"]
    assert (added.title, added.validity) == ("Weight of a square wall", "Walls of one metre.")
    assert added.sources == ("derived:vatwright",)
    assert added.usage == "length_mm density_g_cm3 [times=2]"
    assert [a.sign for a in added.arguments] == ["above 0", "above 0", "0 or above"]
    with mock.patch.dict(FORMULAS, {"wall": added}):
        answer = calculate("wall", ["length=2m", "density_g_cm3=1.1"])
    assert answer.value == pytest.approx(2.0 * 1100.0 * 4.0)
    assert answer.working == "W = n rho L^2 = 2 x 1.1 g/cm3 x (2000 mm)^2 = 8800 kg"


def test_without_docstrings_a_sentence() -> None:
    command = [sys.executable, "-OO", "-m", "vatwright", "calc", "disc_torsion", "radius_mm=10"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "Start Python without -OO" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("size", ["1e-300", "1e300", "5e-324"])
@pytest.mark.parametrize("name", FORMULAS)
def test_extreme_numbers_are_answered_or_refused(name: str, size: str) -> None:
    values = [f"{a.name}={size}" for a in FORMULAS[name].arguments]
    with suppress(InputError):
        assert math.isfinite(calculate(name, values).value)


@pytest.mark.parametrize(
    "values",
    [["radius_mm=10"], ["radius=10mm"], ["radius_mm=10mm"], ["radius=1e4um"], ["radius_mm=0.01 m"]],
)
def test_units_in_the_name_or_in_the_value(values: list[str]) -> None:
    assert calculate("disc_torsion", values).value == pytest.approx(15707.963267948966, rel=1e-15)


def test_temperatures_and_molar_mass_with_their_units() -> None:
    plain = calculate("andrade", ["T1_c=20", "mu1=0.35", "T2_c=40", "mu2=0.12", "T_c=30"])
    marked = calculate("andrade", ["T1=20°C", "mu1=350mPa.s", "T2=40C", "mu2=0.12 Pa s", "T_c=30 C"])
    assert marked.value == pytest.approx(plain.value, rel=1e-14)
    vapour = ["evaporation=100g/h", "room=30m3", "air_changes_h=2 1/h", "molar_mass=60.1 g/mol"]
    assert calculate("vapour_ppm", vapour).value == pytest.approx(678.04, rel=1e-4)


def test_results_keep_full_precision() -> None:
    assert calculate("disc_torsion", ["radius_mm=0.001"]).value == pytest.approx(1.5707963267948966e-12, rel=1e-14)


def test_every_mistake_at_once() -> None:
    values = ["viscosity_pa_s=0.2", "torsion_mm4=x", "from_um=-5", "to=50", "force_N=10 kPa", "weather=1", "fast"]
    with pytest.raises(InputError) as caught:
        calculate("squeeze_time", values)
    assert [(m.where, m.what) for m in caught.value.mistakes] == [
        ("viscosity_pa_s", "is not an argument of squeeze_time"),
        ("torsion_mm4", "'x' is not a number"),
        ("from_um", "must be above 0, got -5"),
        ("to", "'50' has no unit"),
        ("force_N", "'10 kPa' is a pressure, a force is wanted"),
        ("weather", "is not an argument of squeeze_time"),
        ("fast", "is not of the form name=value"),
    ]
    assert caught.value.mistakes[0].do == "Did you mean viscosity_Pa_s?"
    assert "viscosity_Pa_s torsion_mm4 from_um to_um force_N" in caught.value.mistakes[5].do


def test_missing_and_doubled() -> None:
    with pytest.raises(InputError) as caught:
        calculate("rect_torsion", ["long_mm=3", "long=4mm"])
    assert [(m.where, m.what) for m in caught.value.mistakes] == [
        ("long", "is given twice"),
        ("short_mm", "is missing"),
    ]


@pytest.mark.parametrize(
    ("question", "message"),
    [
        ("disk_torsion radius_mm=1", "disk_torsion: there is no formula of this name. Did you mean disc_torsion"),
        ("zzz", "List them with: vatwright calc --list"),
        ("disc_torsion radius_mm=nan", "'nan' is not a finite number"),
        ("disc_torsion radius_mm=1e999", "'1e999' is not a finite number"),
        ("ring_down_time frequency_Hz=fast damping_ratio=0.1 left=0.1", "frequency_Hz: 'fast' is not a number"),
        ("scott_force consistency=1mm flow_index=1 radius_mm=1 gap_um=1 speed_mm_s=1", "'1mm' is not a plain number"),
        ("lift_demand span_mm=30 angle_deg=90", "angle_deg: must be below pi/2"),
        ("print_through Dp_um=1 Ec_mJ_cm2=1 dose_mJ_cm2=1 layer_um=1 layers=2.5", "layers: must be a whole number"),
        (
            "settle_time viscosity_Pa_s=0.2 torsion_mm4=1 stiffness_N_mm=100 from_um=550 to_um=45 target_um=50",
            r"to_um: must be above the target gap .* \(in SI units\)",
        ),
        ("cure_dose Dp_um=0.001 Ec_mJ_cm2=8 depth_um=1000", "cure_dose: the result is too large for a number"),
        ("peak_pressure viscosity_Pa_s=1e300 radius_mm=1e9 gap_um=1e-3 speed_mm_s=1", "not a finite number"),
        ("pays_after fixed_cost=3 price=2 unit_cost=3", "pays_after: no number does it with these values"),
        ("plates_for_one chance_percent=101", "chance_percent: is above 100 %"),
        ("squeeze_force viscosity_Pa_s=1 torsion_mm4=1 gap_um=1e-300 speed_mm_s=1", "squeeze_force: the result is too"),
        ("andrade T1_c=-300 mu1=1 T2_c=20 mu2=2 T_c=30", "T1_c: must be a finite number above 0"),
    ],
)
def test_refusals(question: str, message: str) -> None:
    name, *values = question.split()
    with pytest.raises(InputError, match=message) as caught:
        calculate(name, values)
    assert caught.value.exit_code == 2
