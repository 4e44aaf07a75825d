"""Liquid: its density, and against water."""

from __future__ import annotations

from stillair.calculator import OutOfRange

from . import saturation
from .model import ModelError, model

__all__ = ["density", "specific_gravity"]

#: kg/m3 of water at 4 °C: IAPWS-95 (Wagner and Pruss, J. Phys. Chem. Ref. Data 31 (2002) 387).
WATER = 999.975
#: Pa: above any cylinder's or system's test pressure (judgement, no source).
HIGHEST = 1e7


def specific_gravity(name: str, temperature: float) -> float:
    """Density of the saturated liquid at K over that of water at 4 °C, from the tables."""
    return saturation.table(name).density_of_liquid(temperature) / WATER


def density(name: str, temperature: float, pressure: float) -> float:
    """kg/m3 of the liquid at K and Pa absolute, by CoolProp; OutOfRange where it is not wholly liquid."""
    least = saturation.pressure(name, temperature, "bubble")
    if not least <= pressure <= HIGHEST:
        raise OutOfRange(
            f"{name} at {temperature * 1.8 - 459.67:.4g} °F is wholly liquid from "
            f"{least / saturation.PSI:.4g} psia; answered up to {HIGHEST / saturation.PSI:.4g} psia"
        )
    try:
        return model(name).density(temperature, pressure, "liquid")
    except ModelError as error:
        raise OutOfRange(str(error)) from error
