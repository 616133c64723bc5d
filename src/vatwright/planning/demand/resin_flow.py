"""How thick the resin is: what its readings, or their absence, let one believe."""

from __future__ import annotations

import math

import numpy as np
from attrs import frozen

from vatwright.physics.viscosity import GAS_CONSTANT_J_MOL_K
from vatwright.records.material import Label, Resin, ViscosityReading
from vatwright.records.sourced import NORMAL_95, Kind, Sourced

UNREAD_PA_S = Sourced(value=0.3, low=0.1, high=1.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Viscosity at 25 C of a print resin nobody measured [Pa s]: 0.1-1.0, from memory of ready-to-use resins."""

ACTIVATION_J_MOL = Sourced(value=42_000.0, low=30_000.0, high=60_000.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Activation energy of viscous flow of liquid acrylates [J/mol]: 30-60 kJ/mol, from memory."""

LOT_SPREAD = 0.2 / NORMAL_95
"""Lot-to-lot and ageing scatter of viscosity (log): +-20 % at 90 %; engineering estimate, no source."""

LABEL_SPREAD = 0.15 / NORMAL_95
"""How far a label's viscosity may be off beside the scatter of lots (log), +-25 % at 90 % together; engineering estimate."""

AGED_SPREAD = math.log(1.5) / NORMAL_95
"""How much more unsure the viscosity of a lot past its date is (log): a factor of 1.5 either way at 90 %; engineering estimate,
no source."""

REFERENCE_K = 298.15


@frozen(kw_only=True)
class ViscosityBelief:
    """Viscosity at a reference temperature and how it changes, each with its range.

    Parameters
    ----------
    viscosity_pa_s : Sourced
        At `reference_k` [Pa s].
    activation_j_mol : Sourced
        Activation energy [J/mol].
    reference_k : float
        Reference temperature [K].
    """

    viscosity_pa_s: Sourced
    activation_j_mol: Sourced
    reference_k: float


def viscosity_belief(resin: Resin) -> ViscosityBelief:
    """Return what is believed about a resin's viscosity.

    Parameters
    ----------
    resin : Resin
        With no reading its label stands, and with none of that either the prior; with readings at one temperature only
        their mean is used and the activation energy keeps its prior; with readings at two or more temperatures the
        activation energy is fitted too, its prior weighing in like one more reading.

    Returns
    -------
    ViscosityBelief
        Referred to the mean reciprocal temperature of the readings, where level and slope are independent.

    Notes
    -----
    Andrade's law ln mu = A + E/(R T).

    References
    ----------
    Andrade, "The viscosity of liquids", Nature 125 (1930) 309-310. [andrade:1930]
    """
    told = resin.viscosity or _labelled(resin.label)
    if not told:
        return ViscosityBelief(viscosity_pa_s=UNREAD_PA_S, activation_j_mol=ACTIVATION_J_MOL, reference_k=REFERENCE_K)
    inverse_k = np.array([1.0 / r.temperature_k for r in told])
    log_mu = np.log([r.viscosity_pa_s for r in told])
    sigma = np.array([r.sigma_pa_s / r.viscosity_pa_s for r in told])
    weight = 1.0 / sigma**2
    centre = float(np.average(inverse_k, weights=weight))
    level = float(np.average(log_mu, weights=weight))
    level_spread = math.sqrt(1.0 / weight.sum() + LOT_SPREAD**2)
    factor = math.exp(NORMAL_95 * level_spread)
    kind, source = (Kind.READING, "user:reading") if resin.viscosity else (Kind.STATEMENT, "user:statement")
    return ViscosityBelief(
        viscosity_pa_s=Sourced.about(math.exp(level), factor=factor, source=source, kind=kind),
        activation_j_mol=_activation(inverse_k - centre, log_mu - level, weight),
        reference_k=1.0 / centre,
    )


def _labelled(label: Label | None) -> tuple[ViscosityReading, ...]:
    """A label's viscosity as the reading it is worth."""
    if label is None or label.viscosity_pa_s is None:
        return ()
    said = label.viscosity_pa_s
    return (ViscosityReading(temperature_k=label.temperature_k, viscosity_pa_s=said, sigma_pa_s=said * LABEL_SPREAD),)


def _activation(inverse_k: np.ndarray, log_mu: np.ndarray, weight: np.ndarray) -> Sourced:
    information = float((weight * inverse_k**2).sum()) / GAS_CONSTANT_J_MOL_K**2
    if information == 0.0:
        return ACTIVATION_J_MOL
    slope = float((weight * inverse_k * log_mu).sum()) / GAS_CONSTANT_J_MOL_K / information
    prior_sigma = ACTIVATION_J_MOL.value * ACTIVATION_J_MOL.spread
    total = information + prior_sigma**-2
    mean = (information * slope + prior_sigma**-2 * ACTIVATION_J_MOL.value) / total
    if mean <= 0.0:
        return ACTIVATION_J_MOL
    factor = math.exp(NORMAL_95 / (math.sqrt(total) * mean))
    return Sourced.about(mean, factor=factor, source="user:reading", kind=Kind.READING)
