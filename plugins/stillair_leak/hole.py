"""What one hole passes at another pressure, or of another gas, as long as the flow is viscous.

Laminar flow of a gas through a narrow path carries a throughput in proportion to the difference of the
squares of the absolute pressures, over the viscosity. Small leaks (below about 1e-5 Pa m3/s) drift towards
molecular flow, in proportion to the pressure difference and one over the root of the molar mass.
"""

from __future__ import annotations

from stillair.calculator import OutOfRange
from stillair_refrigerants import catalogue
from stillair_refrigerants.atmosphere import refuse_unlike_air

from . import viscosity

__all__ = ["mass_ratio", "pressure_factor"]

#: Pa. Above what a full nitrogen cylinder holds (2640 psig, from memory) no circuit is tested.
HIGHEST = 20e6


def pressure_factor(test_pressure: float, leak_pressure: float, atmosphere: float) -> float:
    """By how much a hole leaks more at the test pressure than at the leak's own; all Pa absolute."""
    refuse_unlike_air(atmosphere)
    for pressure, called in ((test_pressure, "test"), (leak_pressure, "leak's own")):
        if not pressure > atmosphere:
            raise OutOfRange(
                f"the {called} pressure is not above the atmosphere: nothing comes out, and nothing can be "
                "concluded from that"
            )
        if not pressure <= HIGHEST:
            raise OutOfRange(f"the {called} pressure is above 20 MPa: check number and unit")
    return (test_pressure**2 - atmosphere**2) / (leak_pressure**2 - atmosphere**2)


def mass_ratio(gas: str, gas_molar_mass: float, refrigerant: str) -> float:
    """Mass of refrigerant vapour over mass of the gas a hole passes at the same pressures; kg/mol."""
    viscous = viscosity.of_gas(gas) / viscosity.of_refrigerant(refrigerant)
    return viscous * catalogue.molar_mass(refrigerant) / gas_molar_mass
