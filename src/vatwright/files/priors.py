"""What stands in where a shop file is silent, and how far a bare statement is trusted.

Every value here is an engineering estimate or common practice, says so in its `kind`, and gives way to anything that a
user states or reads.  Ranges are 90 % ranges.
"""

from __future__ import annotations

import math

from vatwright.records.sourced import Kind, Sourced

ESTIMATE = "estimate:vatwright"
PRACTICE = "practice:bench"
STATED = "user:statement"
READ = "user:reading"

STIFFNESS = Sourced.about(2.5e5, factor=2.0, source=ESTIMATE, kind=Kind.ESTIMATE)
"""Arm, rail and clamp together [N/m]; engineering estimate, no source."""

CEILING = Sourced(value=245.0, low=150.0, high=400.0, source=ESTIMATE, kind=Kind.ESTIMATE)
"""Greatest force of the drive [N]; engineering estimate, no source; the median is the geometric mean of the range."""

TENSION = Sourced(value=866.0, low=300.0, high=2500.0, source=ESTIMATE, kind=Kind.ESTIMATE)
"""Line tension of a fitted film [N/m]; engineering estimate, no source; median as above."""

IRRADIANCE = Sourced.about(30.0, factor=1.5, source=ESTIMATE, kind=Kind.ESTIMATE)
"""Irradiance at the window [W/m2]: a guess, no source; read it with a meter."""

ACCELERATION = Sourced(value=0.1, low=0.03, high=0.3, source=ESTIMATE, kind=Kind.ESTIMATE)
"""Acceleration of the platform [m/s2]; engineering estimate, no source."""

STATED_FACTOR = {
    "tension_N_m": 1.2,
    "stiffness_N_mm": 1.3,
    "ceiling_N": 1.2,
    "irradiance_mW_cm2": 1.15,
    "acceleration_mm_s2": 1.2,
    "green_strength_MPa": 1.3,
    "base_bond_MPa": 1.5,
    "fade_percent": 1.5,
    "Dp_um": math.sqrt(7.0),
    "Ec_mJ_cm2": math.sqrt(70.0),
}
"""A bare number is known to within this factor either way; engineering estimates, no source, but for the working curve:
24 laboratories that measured one resin found D_p apart by up to 7 times and E_c by up to 70 times [kolibaba:2024], so
a curve that somebody else states is known to the square root of that either way."""

OWN_CURVE_FACTOR = {"Dp_um": 1.15, "Ec_mJ_cm2": 1.3}
"""The same for a working curve that the user read on the machine at hand; engineering estimates, no source."""

METER_FACTOR = 1.05
"""The same for irradiance read with a named meter; engineering estimate, no source."""

FILM_MODULUS_MPA = {"FEP": "480", "PFA": "530", "ETFE": "1100"}
"""Young's modulus of film materials [MPa]: FEP and PFA from memory (handbook ranges 345-550 and 480-580), ETFE as
published for architectural foil (resin grades 800-1100)."""

FILM_MATERIAL = "FEP"
FILM_THICKNESS_UM = "100"
FILM_BACKING = "glass"
"""A film nobody described: 100 um of FEP on glass; common practice, no source."""

WINDOW_MARGIN_M = 0.015
"""How far the window reaches beyond the platform on each side [m]; engineering estimate, no source."""

VAT_MARGIN_M = 0.01
"""How far the vat's floor reaches beyond the window on each side [m]; engineering estimate, no source."""

VAT_FULL_M = 0.025
"""Greatest resin depth in a vat [m]; engineering estimate, no source."""

DIAL_SIGMA_UM = "10"
"""Standard uncertainty of a dial reading [um]: one division of a common dial indicator; common practice, no source."""

STOPWATCH_SIGMA_S = "0.2"
"""Standard uncertainty of a time taken by hand [s]; common practice, no source."""

VISCOSITY_SIGMA = 0.05
"""Standard uncertainty of a viscosity reading as a share of it [-]; engineering estimate, no source."""

PROVEN_ROOM_C = "20"
"""Room in which a recipe ran when nobody wrote it down [degC]; engineering estimate, no source."""
