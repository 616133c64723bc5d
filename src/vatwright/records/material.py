"""Resins: what flows and what cures."""

from __future__ import annotations

from attrs import field, frozen, validators

from vatwright.records.sourced import Sourced

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))


@frozen(kw_only=True)
class ViscosityReading:
    """One reading of a resin's viscosity.

    Parameters
    ----------
    temperature_k : float
        Temperature [K].
    viscosity_pa_s : float
        Viscosity [Pa s].
    sigma_pa_s : float
        Standard uncertainty [Pa s].
    """

    temperature_k: float = field(validator=_positive)
    viscosity_pa_s: float = field(validator=_positive)
    sigma_pa_s: float = field(validator=_positive)


@frozen(kw_only=True)
class WorkingCurve:
    """Depth and critical dose of Jacobs's working curve, each with its range.

    Parameters
    ----------
    depth_m : Sourced
        D_p [m].
    critical_j_m2 : Sourced
        E_c [J/m2].
    correlation : float
        Correlation of their logarithms: a line through readings that is steeper also has its foot further right [-].
    """

    depth_m: Sourced
    critical_j_m2: Sourced
    correlation: float = field(default=0.0, validator=validators.and_(validators.ge(-1.0), validators.le(1.0)))


@frozen(kw_only=True)
class CureReading:
    """Thickness cured through the window at a known dose.

    Parameters
    ----------
    dose_j_m2 : float
        Dose [J/m2].
    depth_m : float
        Thickness cured [m].
    """

    dose_j_m2: float = field(validator=_positive)
    depth_m: float = field(validator=_positive)


@frozen(kw_only=True)
class Label:
    """What a bottle's label says; weak evidence, and of a machine that the label may not name.

    Parameters
    ----------
    viscosity_pa_s : float or None
        Viscosity [Pa s].
    temperature_k : float
        At which temperature [K].
    irradiance_w_m2 : float or None
        Light of the machine that its exposures are meant for [W/m2]; None where it does not say.
    layer_nm : int or None
        Layer thickness they are meant for [nm].
    exposure_s, base_exposure_s : float or None
        Light time of a body and of a base layer [s].
    """

    viscosity_pa_s: float | None = field(default=None, validator=validators.optional(_positive))
    temperature_k: float = field(default=298.15, validator=_positive)
    irradiance_w_m2: float | None = field(default=None, validator=validators.optional(_positive))
    layer_nm: int | None = field(default=None, validator=validators.optional(validators.gt(0)))
    exposure_s: float | None = field(default=None, validator=validators.optional(_positive))
    base_exposure_s: float | None = field(default=None, validator=validators.optional(_positive))


def _said(label: Label | None) -> Label | None:
    """A label that says nothing is none."""
    return None if label == Label() else label


@frozen(kw_only=True)
class Resin:
    """One resin as a practitioner knows it.

    Parameters
    ----------
    name : str
        What the shop calls it.
    viscosity : tuple of ViscosityReading
        Readings, one or more; empty lets the label or a prior stand in.
    curve : WorkingCurve or None
        The working curve, if somebody states it.
    cure_readings : tuple of CureReading
        Readings from which the tool fits the curve itself.
    filled : bool
        Whether it holds fillers, or thins when sheared for another reason: its viscosity then belongs to a shear rate.
    density_kg_m3 : float
        Density of the liquid [kg/m3].
    price_per_kg : float or None
        Price, in the shop's currency, a kilogram.
    green_strength_pa, base_bond_pa : Sourced or None
        Tensile strength of a bar before the final cure, and mean stress at which a foot peels off the platform [Pa]; None
        lets an estimate stand in.
    label : Label or None
        What the bottle says, where somebody wrote it down.
    """

    name: str
    viscosity: tuple[ViscosityReading, ...] = ()
    curve: WorkingCurve | None = None
    cure_readings: tuple[CureReading, ...] = ()
    filled: bool = False
    density_kg_m3: float = field(default=1100.0, validator=_positive)
    price_per_kg: float | None = field(default=None, validator=validators.optional(validators.ge(0.0)))
    green_strength_pa: Sourced | None = None
    base_bond_pa: Sourced | None = None
    label: Label | None = field(default=None, converter=_said)
