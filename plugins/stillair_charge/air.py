"""Air over the coil: how much, how warm where two streams meet, and what the fan works against."""

from __future__ import annotations

from stillair.calculator import OutOfRange
from stillair_refrigerants.atmosphere import SEA_LEVEL, refuse_unlike_air
from stillair_refrigerants.saturation import node_temperature

__all__ = ["flow", "mixed", "refuse_unlike_line", "static"]

_POUND, _FOOT, _BTU, _RANKINE = 0.45359237, 0.3048, 1055.05585262, 5 / 9
#: J/(m3 K) of standard air: 0.075 lb/ft3 x 0.24 Btu/(lb °F), which is 1.08 Btu/(h °F) for a cfm.
HEAT = 0.075 * _POUND / _FOOT**3 * 0.24 * _BTU / (_POUND * _RANKINE)

#: K, 1 and 200 °F: less cannot be told from none, and nothing warms air by more (judgement).
LEAST, MOST = 1 * _RANKINE, 200 * _RANKINE
#: K, -60 and 300 °F: no line and no air of a unit is colder or hotter (judgement).
COLDEST, HOTTEST = map(node_temperature, (-60, 300))


def flow(heat: float, rise: float, atmosphere: float) -> float:
    """m3/s of air that a heat, W, warms by a rise, K, in air of this pressure, Pa."""
    if not heat > 0:
        raise OutOfRange("the heat is not above 0")
    if not rise > 0:
        raise OutOfRange("the air does not warm: were supply and return swapped?")
    if not LEAST <= rise <= MOST:
        raise OutOfRange(
            "the rise is not between 1 and 200 °F: it is supply less return, and not a temperature itself"
        )
    refuse_unlike_air(atmosphere)
    return heat / (HEAT * rise * atmosphere / SEA_LEVEL)


def mixed(main: float, other: float, share: float) -> float:
    """K of two streams of air mixed, the other with its share of the whole."""
    if not 0 <= share <= 1:
        raise OutOfRange("a share lies between 0 and 100 %")
    refuse_unlike_line(main, "main air")
    refuse_unlike_line(other, "other air")
    return main * (1 - share) + other * share


def static(supply: float, return_side: float) -> float:
    """Pa between the two sides of the fan, from two gauge readings."""
    if supply < 0:
        raise OutOfRange("the supply side reads below the air around: were the hoses swapped?")
    if return_side > 0:
        raise OutOfRange(
            "the return side reads above the air around: it is a suction, so write it with its minus"
        )
    return supply - return_side


def refuse_unlike_line(kelvin: float, called: str) -> None:
    """OutOfRange for a temperature that no line and no air of a unit has."""
    if not COLDEST <= kelvin <= HOTTEST:
        raise OutOfRange(
            f"the temperature of the {called} is not between -60 and 300 °F: check number and unit"
        )
