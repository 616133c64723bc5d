"""Wash solvents: what published tables say of their vapour.  Values stand beside their table; where two differ both do."""

from __future__ import annotations

from attrs import frozen

from vatwright.records.after import AirLimit
from vatwright.units import ZERO_CELSIUS_K
from vatwright.wording import to_say


@frozen(kw_only=True)
class Solvent:
    """A wash solvent.

    Parameters
    ----------
    name : str
        As it is called here.
    also : tuple of str
        Other names, lower case.
    molar_mass_kg_mol, density_kg_m3 : float
        [kg/mol], [kg/m3].
    pressure_pa : float
        Vapour pressure at 20 C [Pa].
    vaporisation_j_mol : float
        Heat of vaporisation [J/mol].
    limits : tuple of AirLimit
        Occupational limits.
    flammable : tuple of AirLimit
        Lower flammable limits.
    flash_k : tuple of tuple
        Flash points [K], each with its table's key.
    """

    name: str
    also: tuple[str, ...]
    molar_mass_kg_mol: float
    density_kg_m3: float
    pressure_pa: float
    vaporisation_j_mol: float
    limits: tuple[AirLimit, ...]
    flammable: tuple[AirLimit, ...]
    flash_k: tuple[tuple[float, str], ...]


MMHG_PA = 133.322
"""Millimetre of mercury [Pa]; conventional [bipm:2019]."""

KNOWN_K = ZERO_CELSIUS_K + 20.0
"""Where `pressure_pa` holds [K]."""

AVERAGE = to_say("8 h average")
SHORT = to_say("15 min average")
DANGER = to_say("immediately dangerous")


def _limits(source: str, *, average: float = 0.0, short: float = 0.0, danger: float = 0.0) -> tuple[AirLimit, ...]:
    """Return the limits of one table [ppm]; 0 where it has none."""
    pairs = ((AVERAGE, average), (SHORT, short), (DANGER, danger))
    return tuple(AirLimit(what=w, fraction=ppm / 1e6, source=source) for w, ppm in pairs if ppm)


def _lower(**percent: float) -> tuple[AirLimit, ...]:
    keys = {"iec": "iec:2010", "nfpa": "nfpa:2008"}
    return tuple(
        AirLimit(what=to_say("lower flammable limit"), fraction=v / 100.0, source=keys[k]) for k, v in percent.items()
    )


SOLVENTS: tuple[Solvent, ...] = (
    Solvent(
        name="isopropanol",
        also=("isopropyl alcohol", "2-propanol", "propan-2-ol", "ipa"),
        molar_mass_kg_mol=0.0601,
        density_kg_m3=785.0,
        pressure_pa=33.0 * MMHG_PA,
        vaporisation_j_mol=45.4e3,
        limits=(
            *_limits("niosh:2007", average=400.0, short=500.0, danger=2000.0),
            *_limits("ontario:1990", average=200.0, short=400.0),
        ),
        flammable=_lower(iec=2.0, nfpa=2.0),
        flash_k=((285.15, "iec:2010"), (285.15, "nfpa:2008")),
    ),
    Solvent(
        name="ethanol",
        also=("ethyl alcohol", "denatured alcohol", "spirit"),
        molar_mass_kg_mol=0.0461,
        density_kg_m3=789.0,
        pressure_pa=44.0 * MMHG_PA,
        vaporisation_j_mol=42.3e3,
        limits=(*_limits("niosh:2007", average=1000.0, danger=3300.0), *_limits("ontario:1990", short=1000.0)),
        flammable=_lower(iec=3.1, nfpa=3.3),
        flash_k=((285.15, "iec:2010"), (286.15, "nfpa:2008")),
    ),
    Solvent(
        name="dipropylene glycol methyl ether",
        also=("dpm", "dipropylene glycol monomethyl ether"),
        molar_mass_kg_mol=0.1482,
        density_kg_m3=951.0,
        pressure_pa=0.5 * MMHG_PA,
        vaporisation_j_mol=50.0e3,
        limits=(
            *_limits("niosh:2007", average=100.0, short=150.0, danger=600.0),
            *_limits("ontario:1990", average=100.0, short=150.0),
        ),
        flammable=_lower(iec=1.1, nfpa=1.1),
        flash_k=((347.15, "iec:2010"), (358.15, "nfpa:2008")),
    ),
)
"""Limits: NIOSH pocket guide and the table of Ontario; flash points and flammable limits: IEC and NFPA.  Vapour pressures at
20 C: NIOSH.  Heats of vaporisation, the density of the ether and its NIOSH row: from memory [memory:vatwright]."""


def solvent_of(name: str) -> Solvent | None:
    """Return the solvent of that name, None where no table here has it.

    Examples
    --------
    >>> solvent_of("IPA").name, solvent_of("lemonade")
    ('isopropanol', None)
    """
    wanted = name.strip().lower()
    return next((s for s in SOLVENTS if wanted == s.name or wanted in s.also), None)
