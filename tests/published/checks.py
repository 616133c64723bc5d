"""What others print, and what comes out here: one table, held in test_checks.py and shown in the docs.

Each value of theirs is as printed, or as a general-purpose library gives it; what is allowed is half of the last digit printed
unless a reason stands beside it.  Values that only follow from the same formula again do not belong here.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.evidence import dose_response, proportion
from vatwright.geometry.torsion import region_torsion
from vatwright.physics import drag_out, motion, squeeze_film, stiffness, vapour, warming
from vatwright.planning.after.solvents import solvent_of

if TYPE_CHECKING:
    from collections.abc import Callable


class Check(NamedTuple):
    """One published value.

    Parameters
    ----------
    quantity : str
        What it is, with its unit.
    source : str
        Key of the source of the formula it holds.
    read : str
        Where the value is from: the library that carries it, or how it was remembered.
    theirs : float
        As printed.
    allowed : float
        By how much ours may differ.
    ours : callable
        Works ours out.
    """

    quantity: str
    source: str
    read: str
    theirs: float
    allowed: float
    ours: Callable[[], float]


MEMORY = "from memory"
HANDBOOKS = "printed alike in several handbooks, from memory"


def _bar(aspect: float) -> np.ndarray:
    return np.array([[0.0, 0.0], [aspect, 0.0], [aspect, 1.0], [0.0, 1.0]])


def _hexagon() -> np.ndarray:
    angle = np.arange(6) * math.pi / 3.0
    return np.column_stack((np.cos(angle), np.sin(angle)))


def _half_disc() -> np.ndarray:
    angle = np.linspace(0.0, math.pi, 721)
    return np.column_stack((np.cos(angle), np.sin(angle)))


def _rectangles() -> list[Check]:
    printed = {1.0: 0.141, 1.5: 0.196, 2.0: 0.229, 3.0: 0.263, 5.0: 0.291, 10.0: 0.312}
    formula = [
        Check(f"torsion of a bar {aspect:g} : 1 over a b³, by formula", "timoshenko:1951", HANDBOOKS, beta, 5.1e-4,
              lambda aspect=aspect: squeeze_film.rectangle_torsion(long_m=aspect, short_m=1.0) / aspect)
        for aspect, beta in printed.items()
    ]  # fmt: skip
    grid = [
        Check(f"the same by the solver for any outline, {aspect:g} : 1", "timoshenko:1951", HANDBOOKS, beta, 5.5e-4,
              lambda aspect=aspect: region_torsion(_bar(aspect)) / aspect)
        for aspect, beta in printed.items()
        if aspect <= 3.0
    ]  # fmt: skip
    return formula + grid


def _plates() -> list[Check]:
    # A thousandth: Navier's series gives 0.016524 where the table has 0.01651; its last digit is not to be trusted.
    printed = {
        ("clamped", "uniform"): (0.00126, 0.00172, 0.00220, 0.00254),
        ("clamped", "point"): (0.00560, 0.00647, 0.00702, 0.00722),
        ("simple", "uniform"): (0.00406, 0.00564, 0.00772, 0.01013),
        ("simple", "point"): (0.01160, 0.01353, 0.01531, 0.01651),
    }
    return [
        Check(f"sag of a {edges} plate {stiffness.PLATE_ASPECTS[column]:g} : 1, {load} load", "timoshenko:1959", MEMORY,
              value, max(1.1e-5, 1e-3 * value),
              lambda edges=edges, load=load, column=column: stiffness.PLATE_UNDER_LOAD[edges, load][column])
        for (edges, load), row in printed.items()
        for column, value in enumerate(row)
        if column in (0, 3)
    ]  # fmt: skip


def _beetles(what: Callable[[dose_response.DoseResponse], float]) -> Callable[[], float]:
    return lambda: what(
        dose_response.fit_dose_response(
            doses=[1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839],
            runs=[59, 60, 62, 56, 63, 59, 62, 60],
            responded=[6, 13, 18, 28, 52, 53, 61, 60],
        )
    )


def _pressure(name: str, celsius: float) -> Callable[[], float]:
    solvent = solvent_of(name)
    return lambda: vapour.vapour_pressure(
        known_pa=solvent.pressure_pa, known_k=293.15, vaporisation_j_mol=solvent.vaporisation_j_mol,
        temperature_k=celsius + 273.15,
    )  # fmt: skip


def _antoine(cas: str, celsius: float) -> float:
    from chemicals.vapor_pressure import Antoine, Psat_data_AntoinePoling

    row = Psat_data_AntoinePoling.loc[cas]
    return float(Antoine(celsius + 273.15, row.A, row.B, row.C))


def _vapours() -> list[Check]:
    return [
        Check(f"vapour pressure of {name} at {celsius:g} °C [Pa]", "clausius:1850", "Antoine's law, `chemicals`",
              theirs := _antoine(cas, celsius), 0.04 * theirs, _pressure(name, celsius))
        for name, cas in (("isopropanol", "67-63-0"), ("ethanol", "64-17-5"))
        for celsius in (12.0, 30.0)
    ]  # fmt: skip


def _shares() -> list[Check]:
    from scipy import stats

    return [
        Check(f"95 % interval of {events} in {runs} runs, {end} end", "clopper:1934", "`scipy`",
              float(getattr(stats.binomtest(events, runs).proportion_ci(0.95), end)), 1e-9,
              lambda events=events, runs=runs, end=end: getattr(
                  proportion.clopper_pearson(events=events, runs=runs, confidence=0.95), end))
        for events, runs in ((1, 10), (3, 20))
        for end in ("low", "high")
    ]  # fmt: skip


def checks() -> list[Check]:
    """Return every check, in the order of the table."""
    clear = {"viscosity_pa_s": 0.1, "surface_tension_n_m": 0.035, "density_kg_m3": 1100.0}
    return [
        *_rectangles(),
        Check("torsion of a hexagon over s⁴", "timoshenko:1951", HANDBOOKS, 1.04, 5e-3, lambda: region_torsion(_hexagon())),
        Check("torsion of a half disc over R⁴", "timoshenko:1951", HANDBOOKS, 0.297, 6e-4,
              lambda: region_torsion(_half_disc())),
        Check("most torsion an area can have, over A²", "polya:1948", "a theorem: 1 / 2π", 0.15915494, 1e-8,
              lambda: squeeze_film.torsion_bound(1.0)),
        *_plates(),
        Check("film on what is drawn out slowly, over l Ca^(2/3)", "landau:1942", MEMORY, 0.946, 1e-3,
              lambda: drag_out.film_thickness(speed_m_s=1e-4, **clear)
              / (math.sqrt(0.035 / (1100.0 * 9.80665)) * drag_out.capillary_number(
                  viscosity_pa_s=0.1, speed_m_s=1e-4, surface_tension_n_m=0.035) ** (2.0 / 3.0))),
        Check("first root of a plane wall, Biot number 1", "incropera:2007", MEMORY, 0.8603, 5e-5,
              lambda: math.sqrt(0.02**2 / warming.slab_time_constant(
                  thickness_m=0.02, coefficient_w_m2_k=50.0, density_kg_m3=1.0, heat_capacity_j_kg_k=1.0,
                  conductivity_w_m_k=1.0))),
        *_vapours(),
        Check("isopropanol over its liquid at 20 °C [% by volume]", "niosh:2007", "33 mmHg, printed", 4.3, 0.05,
              lambda: 100.0 * vapour.saturated_fraction(33.0 / 760.0 * 101_325.0)),
        Check("beetles killed by a gas: intercept of the logit line", "dobson:2002", MEMORY, -60.72, 5e-3,
              _beetles(lambda fit: fit.intercept)),
        Check("the same: slope", "dobson:2002", MEMORY, 34.27, 5e-3, _beetles(lambda fit: fit.slope)),
        Check("the same: deviance", "dobson:2002", MEMORY, 11.23, 5e-3, _beetles(lambda fit: fit.deviance)),
        *_shares(),
        Check("a mass that sags by 1 mm swings at [Hz]", "rayleigh:1877", "15.76 / sqrt(mm), a handbook's rule, from memory",
              15.76, 5e-3, lambda: stiffness.sag_frequency(1e-3)),
        Check("6 mm at 3 mm/s and 50 mm/s² [s]", "biagiotti:2008", "d/v + v/a, by hand", 2.06, 1e-9,
              lambda: motion.move_time(distance_m=6e-3, speed_m_s=3e-3, acceleration_m_s2=0.05)),
    ]  # fmt: skip
