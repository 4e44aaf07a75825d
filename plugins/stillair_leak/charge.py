"""How much refrigerant a circuit still holds when only vapour is left."""

from __future__ import annotations

from stillair.calculator import OutOfRange
from stillair_refrigerants import saturation, vapour

__all__ = ["vapour_mass"]


def vapour_mass(name: str, pressure: float, temperature: float, volume: float) -> float:
    """kg of vapour alone at Pa absolute and K in m3; OutOfRange at saturation, where liquid may be."""
    if not volume > 0:
        raise OutOfRange("the volume of the circuit is not above 0")
    table = saturation.table(name)
    if temperature <= table.kelvin[-1] and pressure >= table.pressure(temperature, "dew"):
        raise OutOfRange(
            f"{name} is saturated at this pressure: liquid may be present, and then pressure says nothing of "
            "how much"
        )
    return vapour.density(name, temperature, pressure) * volume
