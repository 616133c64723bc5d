"""What stands in where a shop file is silent, and how far a bare statement is trusted.

Every value here is an engineering estimate or common practice, says so in its `kind`, and gives way to anything that a
user states or reads.  Ranges are 90 % ranges.
"""

from __future__ import annotations

from vatwright.quantities import key_at
from vatwright.records.sourced import standing_in

STATED = "user:statement"
READ = "user:reading"

STIFFNESS = standing_in(key_at("machine.stiffness_N_mm"))
"""Arm, rail and clamp together [N/m]; engineering estimate, no source."""

CEILING = standing_in(key_at("machine.ceiling_N"))
"""Greatest force of the drive [N]; engineering estimate, no source; the median is the geometric mean of the range."""

TENSION = standing_in(key_at("machine.film.tension_N_m"))
"""Line tension of a fitted film [N/m]; engineering estimate, no source; median as above."""

IRRADIANCE = standing_in(key_at("machine.light.irradiance_mW_cm2"))
"""Irradiance at the window [W/m2]: a guess, no source; read it with a meter."""

ACCELERATION = standing_in(key_at("machine.motion.acceleration_mm_s2"))
"""Acceleration of the platform [m/s2]; engineering estimate, no source."""


OWN_CURVE_FACTOR = {"Dp_um": 1.15, "Ec_mJ_cm2": 1.3}
"""The same for a working curve that the user read on the machine at hand; engineering estimates, no source."""

METER_FACTOR = 1.05
"""The same for irradiance read with a named meter; engineering estimate, no source."""

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

VISCOSITY_SIGMA = 0.05
"""Standard uncertainty of a viscosity reading as a share of it [-]; engineering estimate, no source."""

PROVEN_ROOM_C = "20"
"""Room in which a recipe ran when nobody wrote it down [degC]; engineering estimate, no source."""
