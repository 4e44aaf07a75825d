"""The pressure of the atmosphere by elevation (U.S. Standard Atmosphere, 1976, layer from 0 to 11 km)."""

from __future__ import annotations

from stillair.calculator import OutOfRange

__all__ = ["SEA_LEVEL", "pressure_at", "refuse_unlike_air"]

#: Pa, temperature K, lapse rate K/m, gravity m/s2, molar mass kg/mol, gas constant J/(mol K), effective
#: radius of the earth m: U.S. Standard Atmosphere, 1976, Tables 1, 2 and 4 and equation 18.
SEA_LEVEL = 101325.0
TEMPERATURE = 288.15
LAPSE = 0.0065
GRAVITY = 9.80665
MOLAR_MASS = 0.0289644
GAS_CONSTANT = 8.31432
RADIUS = 6356766.0

LOWEST, HIGHEST = -500.0, 9000.0
#: Pa: the air of any place where people live and work, with its weather. 45 kPa is the standard atmosphere at
#: 6,400 m, above every town; 110 kPa is more than it is at 500 m below the sea (judgement).
THINNEST, DENSEST = 45e3, 110e3


def refuse_unlike_air(pressure: float) -> None:
    """OutOfRange for Pa that no air around people has, such as the pressure of a circuit typed there."""
    if not THINNEST <= pressure <= DENSEST:
        raise OutOfRange(
            f"an atmosphere of {pressure / 1e3:.4g} kPa is not between 45 and 110 kPa absolute (6.5 to 16 "
            "psia): it is the pressure of the air at that place, never of the circuit"
        )


def pressure_at(elevation: float) -> float:
    """Pa at an elevation in m above sea level; OutOfRange below -500 m and above 9000 m."""
    if not LOWEST <= elevation <= HIGHEST:
        raise OutOfRange(
            f"{elevation / 0.3048:,.0f} ft is not an elevation on dry land ({LOWEST / 0.3048:,.0f} to "
            f"{HIGHEST / 0.3048:,.0f} ft)"
        )
    geopotential = RADIUS * elevation / (RADIUS + elevation)
    exponent = GRAVITY * MOLAR_MASS / (GAS_CONSTANT * LAPSE)
    return SEA_LEVEL * float((1 - LAPSE * geopotential / TEMPERATURE) ** exponent)
