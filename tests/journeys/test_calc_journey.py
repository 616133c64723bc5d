"""The calculator through the real command, against worked examples of others."""

from __future__ import annotations

import math

import pytest
from tests.journeys.conftest import vatwright
from tests.journeys.published_json import parsed

DISC_MM4 = math.pi * 10.0**4 / 2.0
"""Torsion constant of a disc of 10 mm [mm4]: pi R^4 / 2 (Saint-Venant 1855)."""

FACE = f"viscosity_Pa_s=0.2 torsion_mm4={DISC_MM4!r}"
SPRING = f"{FACE} stiffness_N_mm=100 target_um=50"

CHECKS = [
    # name, arguments, value, unit, relative tolerance; where the number is from
    ("disc_torsion", "radius_mm=10", DISC_MM4, "mm4", 1e-12),
    # Timoshenko and Goodier, Theory of Elasticity, torsion of rectangular bars: a/b = 2 gives beta = 0.229 (0.2286817).
    ("rect_torsion", "long_mm=20 short_mm=10", 0.2286817 * 20 * 10**3, "mm4", 1e-6),
    ("rect_torsion", "long_mm=10 short_mm=10", 0.1405770 * 10**4, "mm4", 1e-6),
    # Stefan (1874): F = 3 pi mu R^4 V / (2 h^3).
    ("squeeze_force", f"{FACE} gap_um=50 speed_mm_s=1", 3 * math.pi * 0.2 * 1e-8 * 1e-3 / (2 * 1.25e-13), "N", 1e-9),
    # Stefan (1874), integrated: t = 3 pi mu R^4 / (4 F) (1/h2^2 - 1/h1^2).
    ("squeeze_time", f"{FACE} from_um=500 to_um=50 force_N=10", 3 * math.pi * 0.2e-8 / 40 * (4e8 - 4e6), "s", 1e-9),
    # dh/dt = -k/(3 mu J) h^3 (h - h_t), integrated by scipy.integrate.solve_ivp at 1e-12: 550 to 55 um and to 51 um.
    ("settle_time", f"{SPRING} from_um=550 to_um=55", 0.810766, "s", 1e-5),
    ("settle_time", f"{SPRING} from_um=550 to_um=51", 1.862774, "s", 1e-5),
    # and back: after these times the gap is 55 um and 51 um.
    ("settled_gap", f"{SPRING} from_um=550 time_s=0.810766", 55.0, "um", 1e-5),
    ("settled_gap", f"{SPRING} from_um=550 time_s=1.862774", 51.0, "um", 1e-5),
    # Jacobs (1992), equation 4-4: C_d = D_p ln(E / E_c).
    ("cure_depth", "Dp_um=150 Ec_mJ_cm2=5 dose_mJ_cm2=20", 150 * math.log(4), "um", 1e-9),
    ("cure_dose", "Dp_um=150 Ec_mJ_cm2=5 depth_um=100", 5 * math.exp(100 / 150), "mJ/cm2", 1e-9),
    # Trapezoid: distance / speed + speed / acceleration; below v^2 / a it is a triangle: 2 sqrt(d / a).
    ("move_time", "distance_mm=5 speed_mm_s=1 accel_mm_s2=100", 5.01, "s", 1e-9),
    ("move_time", "distance_mm=0.01 speed_mm_s=10 accel_mm_s2=100", 2 * math.sqrt(0.01 / 100), "s", 1e-9),
    # Andrade (1934) through two readings and a third temperature: ln mu is linear in 1/T.
    (
        "andrade", "T1_c=20 mu1=0.34 T2_c=25 mu2=0.25 T_c=18",
        0.34 * math.exp(math.log(0.34 / 0.25) / (1 / 293.15 - 1 / 298.15) * (1 / 291.15 - 1 / 293.15)), "Pa s", 1e-9,
    ),
    # Well-mixed room: 1e6 G / Q with 24.45 litres a mole at 25 C; 100 g/h of isopropyl alcohol (60.1 g/mol, NIOSH Pocket
    # Guide) in 30 m3 at 1, 3 and 6 air changes: 1356.1, 452.0, 226.0 ppm.
    ("vapour_ppm", "evaporation_g_h=100 room_m3=30 air_changes_h=1 molar_mass=60.1", 1356.1, "ppm", 1e-3),
    ("vapour_ppm", "evaporation_g_h=100 room_m3=30 air_changes_h=6 molar_mass=60.1", 226.0, "ppm", 1e-3),
    # The same mixing factor of 3 as in the NIOSH example: three times as much.
    ("vapour_ppm", "evaporation_g_h=100 room_m3=30 air_changes_h=1 molar_mass=60.1 mixing=3", 3 * 1356.1, "ppm", 1e-3),
]  # fmt: skip
CONTRACT = {
    "disc_torsion", "rect_torsion", "squeeze_force", "squeeze_time", "settle_time", "settled_gap", "cure_depth", "cure_dose",
    "peel_angle", "move_time", "andrade", "vapour_ppm",
}  # fmt: skip


@pytest.mark.parametrize(("name", "words", "value", "unit", "within"), CHECKS)
def test_a_formula_gives_the_value_of_its_source(name, words, value, unit, within):
    data = parsed(vatwright("calc", name, *words.split(), "--json", code=0).out)
    assert data["value"] == pytest.approx(value, rel=within)
    assert data["unit"] == unit
    assert data["source"]


@pytest.mark.parametrize("tension_n_m", [0.0, 800.0, 2000.0])
def test_the_peel_angle_balances_the_energy_of_the_film(tension_n_m):
    """Kendall (1975) with a tension: G = T1 (1 - cos th) + (T1 - T0)^2 / (2 E t), the film stretched by 1/cos th."""
    words = f"modulus_MPa=500 film_um=100 tension_N_m={tension_n_m} energy_J_m2=5"
    data = parsed(vatwright("calc", "peel_angle", *words.split(), "--json", code=0).out)
    assert data["unit"] == "deg"
    angle, stretch = math.radians(data["value"]), 500e6 * 100e-6
    tension = tension_n_m + (stretch + tension_n_m) * (1.0 / math.cos(angle) - 1.0)
    energy = tension * (1.0 - math.cos(angle)) + (tension - tension_n_m) ** 2 / (2.0 * stretch)
    assert energy == pytest.approx(5.0, rel=1e-9)


def test_values_may_carry_their_unit():
    told = [
        vatwright("calc", "disc_torsion", word, "--json", code=0).out
        for word in ("radius_mm=10", "radius=10mm", "radius=10000um")
    ]
    assert [parsed(t)["value"] for t in told] == pytest.approx([DISC_MM4] * 3, rel=1e-12)


def test_every_promised_formula_is_listed_with_its_arguments():
    listed = {e["name"]: e for e in parsed(vatwright("calc", "--list", "--json", code=0).out)}
    assert set(listed) >= CONTRACT
    text = vatwright("calc", "--list", code=0).out
    assert text == vatwright("calc", code=0).out
    for name, entry in listed.items():
        usage = f"  {name} " + " ".join(
            a["name"] if a["default"] is None else f"[{a['name']}={a['default']:g}]" for a in entry["arguments"]
        )
        assert usage in text


def test_the_answer_in_words_shows_working_range_and_source():
    text = vatwright("calc", "disc_torsion", "radius=10mm", code=0).out
    assert text.splitlines()[0] == "disc_torsion = 15708 mm4"
    assert "Working: J = pi R^4 / 2 = pi (10 mm)^4 / 2 = 15708 mm4" in text
    assert "Source:" in text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["disk_torsion", "radius_mm=1"], "disk_torsion: there is no formula of this name. Did you mean disc_torsion?"),
        (["disc_torsion"], "radius_mm: is missing. Give the radius"),
        (["disc_torsion", "radius_mm=-1"], "radius_mm: must be above 0, got -1."),
        (["disc_torsion", "radius_mm=nan"], "radius_mm: 'nan' is not"),
        (["disc_torsion", "radius_mm=1e300"], "disc_torsion: the result is too large for a number."),
        (["disc_torsion", "radius=1s"], "radius: '1s' is a time, a length is wanted."),
        (["disc_torsion", "radius_mm"], "radius_mm: is not of the form name=value."),
        (["cure_depth", "Dp_um=x", "Ec_mJ_cm2=-5", "dose=3"], "dose: '3' has no unit."),
    ],
)
def test_what_cannot_be_worked_out_is_told(words, said):
    for more in ([], ["--json"]):
        ran = vatwright("calc", *words, *more, code=2)
        assert said in ran.err
        assert ran.out == ""
