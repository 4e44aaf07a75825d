"""Nitrogen as it is at the pressures of a test: up to 6 % denser than an ideal gas.

The reference equation of state (Span, Lemmon, Jacobsen, Wagner and Yokozeki, J. Phys. Chem. Ref. Data 29
(2000) 1361, Table 17) expanded in density and cut after its fourth virial coefficient.
"""

from __future__ import annotations

import math

from stillair_refrigerants.vapour import GAS_CONSTANT

__all__ = ["compressibility", "density"]

#: K and mol/m3, the critical point of that equation.
CRITICAL, CRITICAL_DENSITY = 126.192, 11183.9
#: (N, i, j, l) of the terms N (density)^i (temperature)^-j exp(-(density)^l), both over the critical ones,
#: l = 0 without the exponential: those that reach the fourth virial coefficient.
TERMS = (
    (0.924803575275, 1, 0.25, 0),
    (-0.492448489428, 1, 0.875, 0),
    (0.661883336938, 2, 0.5, 0),
    (-0.192902649201e1, 2, 0.875, 0),
    (-0.622469309629e-1, 3, 0.375, 0),
    (0.349943957581, 3, 0.75, 0),
    (0.564857472498, 1, 0.5, 1),
    (-0.161720005987e1, 1, 0.75, 1),
    (-0.481395031883, 1, 2.0, 1),
    (0.421150636384, 3, 1.25, 1),
    (-0.161962230825e-1, 3, 3.5, 1),
    (-0.435762336045e-1, 1, 4.0, 2),
    (-0.723174889316e-1, 2, 6.0, 2),
    (0.389644315272e-1, 3, 6.0, 2),
    (0.896915264558e-2, 3, 12.0, 4),
)


def compressibility(density: float, temperature: float) -> float:
    """pV over that of an ideal gas at mol/m3 and K."""
    reduced, inverse = density / CRITICAL_DENSITY, CRITICAL / temperature
    parts = [1.0]
    for coefficient, power, exponent, inside in TERMS:
        for order in range(3):
            reached = power + order * inside
            if reached <= 3 and (inside or not order):
                sign = (-1) ** order / math.factorial(order)
                parts.append(reached * sign * coefficient * inverse**exponent * reduced**reached)
    return math.fsum(parts)


def density(pressure: float, temperature: float) -> float:
    """mol/m3 at Pa absolute and K, up to 6 MPa from -40 °F."""
    found = ideal = pressure / (GAS_CONSTANT * temperature)
    for _ in range(12):  # each step leaves less than a twentieth of the error
        found = ideal / compressibility(found, temperature)
    return found
