"""Viscosity of gases at 20 °C and 1 atm: what resists them in a narrow leak.

The values of pure gases were computed with CoolProp 8.0.0 (Bell et al., Ind. Eng. Chem. Res. 53 (2014) 2498),
R-123 at 0.5 atm because it is liquid at 1 atm. A blend is mixed by the rule of Herning and Zipperer
(Gas- und Wasserfach 79 (1936) 49), within 3 % of CoolProp's R-404A, R-407C, R-410A and R-507A.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from stillair.calculator import OutOfRange
from stillair_refrigerants import catalogue

__all__ = ["GASES", "PURE", "of_gas", "of_refrigerant"]

#: Pa s, 20 °C, 1 atm.
PURE: Mapping[str, float] = {
    "R-22": 13.55e-6,
    "R-32": 13.14e-6,
    "R-125": 12.75e-6,
    "R-134a": 11.62e-6,
    "R-143a": 10.94e-6,
    "R-1234yf": 12.18e-6,
    "R-1234ze(E)": 12.14e-6,
    "R-290": 8.01e-6,
    "R-600a": 7.37e-6,
    "R-717": 9.91e-6,
    "R-744": 14.67e-6,
    "R-12": 11.60e-6,
    "R-123": 10.58e-6,
}
#: Pa s, 20 °C, 1 atm; of the hydrogen mixture by the same rule from 8.80e-6 and 17.57e-6 Pa s.
GASES: Mapping[str, float] = {"nitrogen": 17.57e-6, "hydrogen-mix": 17.45e-6, "helium": 19.62e-6}


def of_gas(name: str) -> float:
    """Pa s of a test gas; OutOfRange where it is not tabulated."""
    if name not in GASES:
        raise OutOfRange(f"the viscosity of {name} is not known here")
    return GASES[name]


def of_refrigerant(name: str) -> float:
    """Pa s of the vapour of a refrigerant; OutOfRange where a part of it is not tabulated."""
    top = bottom = 0.0
    for part in catalogue.parts(name):
        if part.name not in PURE:
            raise OutOfRange(f"the viscosity of {part.name} is not known here")
        # The rule weighs by moles times the root of molar mass: mass share over the root of molar mass.
        weight = part.share / math.sqrt(catalogue.molar_mass(part.name))
        top += weight * PURE[part.name]
        bottom += weight
    return top / bottom
