"""Vapour: does it sink or rise in air, and its density."""

from __future__ import annotations

from stillair.calculator import OutOfRange

from . import catalogue, saturation
from .model import ModelError, model

__all__ = ["density", "density_to_air", "gas_to_air"]

#: kg/mol. Dry air: ASHRAE Handbook Fundamentals 2017, chapter 1. Nitrogen: IUPAC standard atomic weights.
AIR, NITROGEN = 0.028966, 0.0280134
#: J/(mol K), exact since the SI of 2019.
GAS_CONSTANT = 8.314462618
ATMOSPHERE = 101325.0
#: K (300 °F): the hottest discharge line a technician meets (judgement, no source).
HOTTEST = 422.0388888888889


def density_to_air(name: str, share: float, temperature: float) -> float:
    """Density over that of dry air, both at 1 atm and K, of a refrigerant with nitrogen.

    `share` is the refrigerant's by mass. The refrigerant deviates from an ideal gas by its second virial
    coefficient (1 to 4 %: R-22 at 70 °F 3.03, ideal 2.99), nitrogen and air are ideal (within 0.1 %).
    OutOfRange where the refrigerant would condense, or outside -60 to 150 °F.
    """
    if not 0 <= share <= 1:
        raise OutOfRange(f"a share of {100 * share:.4g} % is not between 0 and 100 %")
    mass = catalogue.molar_mass(name)
    moles = share / mass / (share / mass + (1 - share) / NITROGEN)
    table = saturation.table(name)
    virial = table.virial(temperature)
    if temperature <= table.kelvin[-1]:
        condenses = table.pressure(temperature, "dew")
        if moles * ATMOSPHERE > condenses:
            boiling = table.temperature(moles * ATMOSPHERE, "dew") * 1.8 - 459.67
            raise OutOfRange(
                f"{name} condenses here at 1 atm below {boiling:.0f} °F: what escapes is liquid, and vapour "
                "already diluted by air"
            )
    mixed = moles * mass + (1 - moles) * NITROGEN
    compressibility = 1 + moles * moles * virial * ATMOSPHERE / (GAS_CONSTANT * temperature)
    return mixed / AIR / compressibility


def gas_to_air(molar_mass: float) -> float:
    """Density of an ideal gas over that of dry air at the same pressure and temperature; g/mol."""
    return molar_mass / (1e3 * AIR)


def density(name: str, temperature: float, pressure: float) -> float:
    """kg/m3 of the vapour at K and Pa absolute, by CoolProp; OutOfRange where it is not wholly vapour.

    Above the end of the saturation table the pressure may not exceed the dew pressure at that end.
    """
    table = saturation.table(name)
    if temperature > HOTTEST:
        raise OutOfRange(f"{temperature * 1.8 - 459.67:.0f} °F is above 300 °F")
    most = table.pressure(min(temperature, table.kelvin[-1]), "dew")
    if not 0 < pressure <= most:
        raise OutOfRange(
            f"{name} at {temperature * 1.8 - 459.67:.4g} °F is taken as wholly vapour between vacuum and "
            f"{most / saturation.PSI:.4g} psia"
        )
    try:
        return model(name).density(temperature, pressure, "vapour")
    except ModelError as error:
        raise OutOfRange(str(error)) from error
