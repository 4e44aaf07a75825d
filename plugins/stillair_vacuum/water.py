"""Water in a vacuum: where it boils, and below its triple point where its ice turns to vapour.

Liquid: Wagner and Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783, equation 1 (IAPWS SR1-86(1992)). Ice:
IAPWS R14-08(2011), equation 6. They meet at the triple point within 0.0001 Pa.
"""

from __future__ import annotations

import math

from stillair.calculator import OutOfRange

__all__ = ["boils_at", "pressure"]

#: K and Pa, the triple point (IAPWS R14-08(2011)): below it there is ice, no liquid.
TRIPLE, TRIPLE_PRESSURE = 273.16, 611.657
#: K and Pa, the critical point (IAPWS SR1-86(1992)).
CRITICAL, CRITICAL_PRESSURE = 647.096, 22.064e6
#: K, -120 and 392 °F: colder and hotter than any vacuum is pulled (judgement). The formulas reach further.
COLDEST, HOTTEST = 188.70555555555555, 473.15
LIQUID = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)
ICE = ((-21.2144006, 0.00333333333), (27.3203819, 1.20666667), (-6.10598130, 1.70333333))


def pressure(kelvin: float) -> float:
    """Pa absolute at which water boils, or below 0.01 °C its ice turns to vapour."""
    if not COLDEST <= kelvin <= HOTTEST:
        raise OutOfRange("the temperature is not between -120 and 392 °F: check number and unit")
    if kelvin < TRIPLE:
        reduced = kelvin / TRIPLE
        return TRIPLE_PRESSURE * math.exp(math.fsum(a * reduced**b for a, b in ICE) / reduced)
    reduced = kelvin / CRITICAL
    return CRITICAL_PRESSURE * math.exp(math.fsum(a * (1 - reduced) ** b for a, b in LIQUID) / reduced)


def boils_at(pascal: float) -> float:
    """K at which water boils, or below 611.657 Pa its ice turns to vapour, at this absolute pressure."""
    cold, hot = COLDEST, HOTTEST
    if not pressure(cold) <= pascal <= pressure(hot):
        raise OutOfRange("no water boils at this pressure between -120 and 392 °F: 0.2 micron to 225 psia")
    while hot - cold > 1e-9:
        middle = (cold + hot) / 2
        cold, hot = (middle, hot) if pressure(middle) < pascal else (cold, middle)
    return (cold + hot) / 2
