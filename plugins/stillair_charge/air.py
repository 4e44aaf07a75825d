"""Air over the coil: how much, how warm where two streams meet, and what the fan works against."""

from __future__ import annotations

from stillair.calculator import OutOfRange

__all__ = ["flow", "mixed", "static"]

_POUND, _FOOT, _BTU, _RANKINE = 0.45359237, 0.3048, 1055.05585262, 5 / 9
#: J/(m3 K) of standard air: 0.075 lb/ft3 x 0.24 Btu/(lb °F), which is 1.08 Btu/(h °F) for a cfm.
HEAT = 0.075 * _POUND / _FOOT**3 * 0.24 * _BTU / (_POUND * _RANKINE)
#: Pa, the standard atmosphere that this holds for.
STANDARD = 101_325.0
#: Pa, air at 30,000 ft and at 1,500 ft below the sea (U.S. Standard Atmosphere, 1976), with the weather.
LOWEST, HIGHEST = 30_000.0, 110_000.0


def flow(heat: float, rise: float, atmosphere: float) -> float:
    """m3/s of air that a heat, W, warms by a rise, K, in air of this pressure, Pa."""
    if not heat > 0:
        raise OutOfRange("the heat is not above 0")
    if not rise > 0:
        raise OutOfRange("the air does not warm: were supply and return swapped?")
    if not LOWEST <= atmosphere <= HIGHEST:
        raise OutOfRange("no place on dry land lies under air of this pressure: check number and unit")
    return heat / (HEAT * rise * atmosphere / STANDARD)


def mixed(main: float, other: float, share: float) -> float:
    """K of two streams of air mixed, the other with its share of the whole."""
    if not 0 <= share <= 1:
        raise OutOfRange("a share lies between 0 and 100 %")
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
