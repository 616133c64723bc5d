"""Calculate: one formula at a time, with units, working, validity and source.

A formula stands here with one line: its name on the command line, the function that computes it in SI, the unit of what
comes out and the arguments in bench units.  All a reader is told about it comes from the function's own docstring
(formula_text.py).
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from attrs import frozen

from vatwright.errors import InputError, Mistake
from vatwright.physics import (
    cure_depth,
    drag_out,
    film_peel,
    motion,
    pool,
    squeeze_film,
    stiffness,
    vapour,
    vent,
    viscosity,
)
from vatwright.planning.cost import failures
from vatwright.services import compositions
from vatwright.services.formula import Argument, Formula, unit_text
from vatwright.services.formula_text import worked
from vatwright.sources import source
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

FACE = "viscosity_Pa_s torsion_mm4"
CURVE = "Dp_um=penetration_m Ec_mJ_cm2=critical_j_m2"
FILM = "modulus_MPa film_um tension_N_m"
LIGHTS = "exposure_s from_mW_cm2=from_irradiance_w_m2 to_mW_cm2=to_irradiance_w_m2"
PLATE = "modulus_GPa thickness_mm poisson"
READINGS = "T1_c=cold_k mu1:Pa_s=cold_pa_s T2_c=warm_k mu2:Pa_s=warm_pa_s"

TABLE: dict[str, tuple[tuple[str, Callable[..., Any], str, str], ...]] = {
    "squeeze and settle": (
        ("disc_torsion", squeeze_film.disc_torsion, "mm4", "radius_mm"),
        ("rect_torsion", squeeze_film.rectangle_torsion, "mm4", "long_mm short_mm"),
        ("ellipse_torsion", squeeze_film.ellipse_torsion, "mm4", "long_mm short_mm"),
        ("triangle_torsion", squeeze_film.triangle_torsion, "mm4", "side_mm"),
        ("annulus_torsion", squeeze_film.annulus_torsion, "mm4", "outer_mm inner_mm"),
        ("vented_annulus_torsion", squeeze_film.vented_annulus_torsion, "mm4", "outer_mm inner_mm"),
        ("torsion_bound", squeeze_film.torsion_bound, "mm4", "area_mm2"),
        ("torsion_estimate", squeeze_film.torsion_estimate, "mm4", "area_mm2 polar_mm4"),
        ("squeeze_force", squeeze_film.squeeze_force, "N", f"{FACE} gap_um speed_mm_s"),
        ("peak_pressure", squeeze_film.disc_peak_pressure, "kPa", "viscosity_Pa_s radius_mm gap_um speed_mm_s"),
        ("suction_limit", squeeze_film.suction_limit, "N", "area_mm2"),
        ("viscous_pull", squeeze_film.viscous_pull, "N", f"{FACE} gap_um speed_mm_s area_mm2"),
        ("scott_force", squeeze_film.scott_force, "N", "consistency flow_index radius_mm gap_um speed_mm_s"),
        ("squeeze_time", squeeze_film.squeeze_time, "s", f"{FACE} from_um=start_gap_m to_um=end_gap_m force_N"),
        (
            "settle_time", squeeze_film.settle_time, "s",
            f"{FACE} stiffness_N_mm from_um=start_gap_m to_um=end_gap_m target_um",
        ),
        (
            "settled_gap", squeeze_film.settled_gap, "um",
            f"{FACE} stiffness_N_mm from_um=start_gap_m target_um time_s",
        ),
        ("settle_constant", squeeze_film.settle_time_constant, "s", f"{FACE} stiffness_N_mm gap_um=target_gap_m"),
        (
            "film_settle", compositions.force_left, "1",
            "viscosity_Pa_s radius_mm tension_N_m window_radius_mm gap_um descent_mm_s time_s",
        ),
    ),
    "cure": (
        ("cure_depth", cure_depth.cure_depth, "um", f"{CURVE} dose_mJ_cm2"),
        ("cure_dose", cure_depth.cure_dose, "mJ_cm2", f"{CURVE} depth_um"),
        ("print_through", compositions.print_through, "um", f"{CURVE} dose_mJ_cm2 layer_um layers"),
        ("carried_exposure", cure_depth.carried_exposure, "s", "exposure_s from_mW_cm2 to_mW_cm2 reciprocity"),
        (
            "schwarzschild_exposure", compositions.schwarzschild_exposure, "s",
            "exposure_s from_mW_cm2 to_mW_cm2 schwarzschild",
        ),
        ("two_doses", compositions.two_doses, "um", f"{CURVE} dose1_mJ_cm2=first_j_m2 dose2_mJ_cm2=second_j_m2"),
        ("spot_share", compositions.spot_share, "percent", "spot_mW_cm2 mean_mW_cm2"),
        ("spot_depth", compositions.spot_depth, "um", "Dp_um=penetration_m spot_mW_cm2 mean_mW_cm2"),
        ("photon_flux", cure_depth.photon_flux, "per_cm2_s", "irradiance_mW_cm2 wavelength_nm"),
        ("penetration_depth", cure_depth.penetration_from_absorbance, "um", "cell_um absorbance"),
        ("volume_shrinkage", cure_depth.volume_shrinkage, "percent", "liquid_g_cm3 cured_g_cm3"),
        ("linear_shrinkage", cure_depth.linear_shrinkage, "percent", "volume_percent=volume_fraction"),
    ),
    "release": (
        ("peel_angle", film_peel.peel_angle, "deg", f"{FILM} energy_J_m2"),
        ("peel_energy", compositions.lift_energy, "J_m2", f"{FILM} lift_mm span_mm"),
        ("release_lift", compositions.release_lift, "mm", f"{FILM} energy_J_m2 span_mm"),
        ("release_pull", compositions.release_pull, "N_m", f"{FILM} energy_J_m2"),
        ("lift_demand", film_peel.lift_demand, "mm", "span_mm angle_deg"),
        ("pull", film_peel.pull, "N", "tension_N_m angle_deg front_mm"),
        ("rivlin_force", film_peel.rivlin_force, "N_m", "energy_J_m2 angle_deg"),
        ("kendall_force", film_peel.kendall_force, "N_m", "modulus_MPa film_um energy_J_m2 angle_deg"),
        ("membrane_stiffness", film_peel.membrane_stiffness, "N_m", "tension_N_m disc_mm window_mm"),
    ),
    "resin": (
        ("andrade", viscosity.two_point_viscosity, "Pa_s", f"{READINGS} T_c=temperature_k"),
        ("activation_energy", viscosity.activation_energy, "kJ_mol", READINGS),
        (
            "vft_viscosity", viscosity.vft_viscosity, "Pa_s",
            "mu1:Pa_s=known_pa_s T1_c=known_k B=b_k T0_c=t0_k T_c=temperature_k",
        ),
        (
            "sinking_speed", viscosity.sinking_speed, "mm_h",
            "particle_um=diameter_m excess_g_cm3=density_difference_kg_m3 viscosity_Pa_s volume_fraction",
        ),
        (
            "film_thickness", drag_out.film_thickness, "um",
            "viscosity_Pa_s speed_mm_s surface_tension_N_m density_g_cm3",
        ),
        ("drained_film", drag_out.drained_film, "um", "viscosity_Pa_s density_g_cm3 length_mm=height_m time_s"),
        ("drag_out", drag_out.drag_out_volume, "ml", "film_um wet_area_cm2"),
        ("vent_pressure", vent.vent_pressure, "kPa", "viscosity_Pa_s flow_ml_s diameter_mm wall_mm"),
        ("relevel_time", pool.relevel_time, "s", "viscosity_Pa_s length_mm density_g_cm3 depth_mm"),
        ("relevel_depth", pool.relevel_depth, "mm", "viscosity_Pa_s length_mm density_g_cm3 time_s"),
    ),
    "motion": (
        ("move_time", motion.move_time, "s", "distance_mm speed_mm_s accel_mm_s2=acceleration_m_s2"),
        ("s_curve_time", motion.s_curve_time, "s", "distance_mm speed_mm_s accel_mm_s2=acceleration_m_s2 jerk_mm_s3"),
        (
            "two_stage_time", motion.two_stage_time, "s",
            (
                "distance1_mm=first_distance_m speed1_mm_s=first_speed_m_s distance2_mm=second_distance_m "
                "speed2_mm_s=second_speed_m_s accel_mm_s2=acceleration_m_s2"
            ),
        ),
        ("stroke_acceleration", motion.stroke_acceleration, "mm_s2", "distance_mm speed_mm_s time_s"),
    ),
    "stiffness and sway": (
        ("arm_stiffness", compositions.arm_stiffness, "N_mm", "modulus_GPa width_mm height_mm length_mm"),
        ("plate_stiffness", compositions.plate_stiffness, "N_mm", f"{PLATE} long_mm short_mm"),
        ("round_plate_stiffness", compositions.round_plate_stiffness, "N_mm", f"{PLATE} radius_mm"),
        ("dial_stiffness", compositions.dial_stiffness, "N_mm", "load_N deflection_um"),
        ("springs_in_series", compositions.two_springs, "N_mm", "k1_N_mm k2_N_mm"),
        ("natural_frequency", stiffness.natural_frequency, "Hz", "stiffness_N_mm mass_kg"),
        ("sag_frequency", stiffness.sag_frequency, "Hz", "sag_mm"),
        ("ring_down_time", stiffness.ring_down_time, "s", "frequency_Hz damping_ratio left"),
        ("table_stiffness", compositions.table_stiffness, "N_mm", "legs modulus_GPa leg_mm=side_m tall_mm=height_m"),
    ),
    "room air": (
        (
            "vapour_ppm", compositions.room_vapour, "ppm",
            "evaporation_g_h room_m3 air_changes_h:per_h=air_changes_per_s molar_mass:g_mol mixing",
        ),
        ("fresh_air", compositions.fresh_air, "m3_h", "evaporation_g_h molar_mass:g_mol limit_ppm mixing"),
        ("spill_ppm", vapour.spill_concentration, "ppm", "mass_g molar_mass:g_mol room_m3"),
        (
            "vapour_later", vapour.concentration_after, "ppm",
            "steady_ppm=steady_fraction room_m3 fresh_air_m3_h=fresh_air_m3_s time_min=time_s start_ppm=start_fraction",
        ),
        ("saturated_percent", vapour.saturated_fraction, "percent", "vapour_pressure_kPa"),
        (
            "evaporation", vapour.evaporation_rate, "g_h",
            "vapour_pressure_kPa molar_mass:g_mol open_cm2=area_m2 T_c=temperature_k",
        ),
    ),
    "wash and warm-up": (
        ("bath_percent", drag_out.bath_share, "percent", "carried_ml bath_ml plates=batches"),
        ("bath_plates", drag_out.batches_until, "1", "carried_ml bath_ml limit_percent"),
        (
            "warming_time", compositions.warming_time, "min",
            (
                "start_c air_c wanted_c thickness_mm density_g_cm3 capacity_kJ_kg_K=heat_capacity_j_kg_k "
                "conductivity_W_m_K=conductivity_w_m_k coefficient_W_m2_K=coefficient_w_m2_k"
            ),
        ),
    ),
    "money": (
        ("plates_for_one", failures.attempts, "1", "chance_percent"),
        ("cost_with_failures", failures.expected_cost, "1", "good_cost=good failed_cost=failed chance_percent"),
        ("pays_after", failures.break_even, "1", "fixed_cost=fixed price unit_cost"),
    ),
}  # fmt: skip
"""Subject -> name, function in SI, unit of the result, arguments.

An argument is its name, which ends in its unit, then ``:unit`` where it does not, and ``=keyword`` where the function's own
keyword does not begin with the same words.  What may be left out is what the function has a default for.
"""


@frozen(kw_only=True)
class Calculated:
    """What a formula gives, with everything needed to check it.

    Parameters
    ----------
    name, title : str
        The formula.
    value : float
        Result, at full precision, in `unit`.
    unit : str
        Unit as printed.
    inputs : mapping of str to float
        Arguments used, in the units of their names.
    working : str
        Equation with the numbers put in.
    validity : str
        Where it holds.
    sources : tuple of str
        Keys in the list of sources.
    """

    name: str
    title: str
    value: float
    unit: str
    inputs: Mapping[str, float]
    working: str
    validity: str
    sources: tuple[str, ...]

    @property
    def citations(self) -> tuple[str, ...]:
        """Sources in full."""
        return tuple(str(source(key)) for key in self.sources)

    def to_json(self) -> dict[str, Any]:
        """Return the answer as plain data: value, unit and source first."""
        return {
            "value": self.value,
            "unit": self.unit,
            "source": "; ".join(self.citations),
            "sources": list(self.sources),
            "name": self.name,
            "title": self.title,
            "inputs": dict(self.inputs),
            "working": self.working,
            "validity": self.validity,
        }


def calculate(name: str, values: Sequence[str]) -> Calculated:
    """Return what a formula gives.

    Parameters
    ----------
    name : str
        Name of the formula.
    values : sequence of str
        ``name=value`` texts; a value may carry a unit, and must where the name does not end in one.

    Returns
    -------
    Answer
        Result with unit, working, validity and sources.

    Raises
    ------
    InputError
        Carrying every mistake found.

    Examples
    --------
    >>> answer = calculate("disc_torsion", ["radius=1cm3"])
    Traceback (most recent call last):
    vatwright.errors.InputError: radius: '1cm3' is a volume, a length is wanted. Give it in mm.
    >>> answer = calculate("disc_torsion", ["radius=10mm"])
    >>> round(answer.value, 3), answer.unit
    (15707.963, 'mm4')
    >>> answer.working
    'J = pi R^4 / 2 = pi (10 mm)^4 / 2 = 15708 mm4'
    """
    formula = find_formula(name)
    inputs = _read_inputs(formula, values)
    value = formula.value(inputs)
    unit = unit_text(formula.unit)
    shown = {a.symbol: f"{inputs[a.name]:.6g} {a.unit_text}".strip() for a in formula.arguments}
    working = worked(formula.said.equation, formula.said.result, shown)
    return Calculated(
        name=name,
        title=formula.title,
        value=value,
        unit=unit,
        inputs=inputs,
        working=f"{working} = {value:.5g} {unit}".strip(),
        validity=formula.validity,
        sources=formula.sources,
    )


def find_formula(name: str) -> Formula:
    """Return the formula of that name.

    Raises
    ------
    InputError
        When there is none, naming the nearest.

    Examples
    --------
    >>> find_formula("disk_torsion")
    Traceback (most recent call last):
    vatwright.errors.InputError: disk_torsion: there is no formula of this name. Did you mean disc_torsion?
    """
    if name in FORMULAS:
        return FORMULAS[name]
    near = difflib.get_close_matches(name, FORMULAS, n=1)
    hint = f"Did you mean {near[0]}?" if near else "List them with: vatwright calc --list"
    raise InputError.one(name, to_say("there is no formula of this name"), hint)


def _read_inputs(formula: Formula, values: Sequence[str]) -> dict[str, float]:
    """Return the arguments in bench units, in the formula's order; raise every mistake at once."""
    by_key = {key: a for a in formula.arguments for key in (a.stem, a.name)}
    mistakes: list[Mistake] = []
    seen: dict[str, float | None] = {}
    for text in values:
        key, sign, value = text.partition("=")
        if not sign:
            mistakes.append(
                Mistake(
                    text,
                    to_say("is not of the form name=value"),
                    to_say("Write for example {example}", example=_example(formula)),
                )
            )
            continue
        argument = by_key.get(key)
        if argument is None:
            near = _nearest(key, by_key)
            hint = f"Did you mean {near}?" if near else f"It takes {formula.usage}"
            mistakes.append(Mistake(key, to_say("is not an argument of {name}", name=formula.name), hint))
            seen.setdefault(near, None)  # misspelt, not missing
            continue
        if seen.get(argument.name) is not None:
            mistakes.append(Mistake(key, to_say("is given twice"), to_say("Give it once")))
            continue
        seen[argument.name] = None
        try:
            seen[argument.name] = argument.read(value, key)
        except InputError as error:
            mistakes.extend(error.mistakes)
    mistakes.extend(
        Mistake(
            a.name,
            to_say("is missing"),
            to_say("Give the {meaning}, for example {name}=...", meaning=a.meaning, name=a.name),
        )
        for a in formula.arguments
        if a.name not in seen and a.name not in formula.defaults
    )
    if mistakes:
        raise InputError(mistakes)
    given = {n: v for n, v in seen.items() if v is not None}
    return {a.name: given[a.name] if a.name in given else formula.defaults[a.name] for a in formula.arguments}


def _example(formula: Formula) -> str:
    """Return the first argument with a number."""
    return f"{formula.arguments[0].name}=10"


def _nearest(key: str, by_key: Mapping[str, Argument]) -> str:
    """Return the argument whose name is nearest, or nothing."""
    folded = {k.casefold(): a.name for k, a in by_key.items()}
    near = difflib.get_close_matches(key.casefold(), folded, n=1)
    return folded[near[0]] if near else ""


def formulas(table: Mapping[str, Sequence[tuple[str, Callable[..., Any], str, str]]]) -> dict[str, Formula]:
    """Return the formulas of a table by name, in the order they are listed."""
    return {
        name: Formula(name=name, subject=subject, function=function, unit=unit, spelt=spelt)
        for subject, lines in table.items()
        for name, function, unit, spelt in lines
    }


FORMULAS = formulas(TABLE)
