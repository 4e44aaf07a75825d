"""Refrigerant vapour that stays in a space: how much of the air it becomes, and what it leaves to breathe."""

from __future__ import annotations

from stillair.calculator import OutOfRange
from stillair_refrigerants import catalogue
from stillair_refrigerants.atmosphere import refuse_unlike_air
from stillair_refrigerants.vapour import GAS_CONSTANT

__all__ = ["OXYGEN", "concentration", "full", "oxygen_left"]

#: Share by volume of dry air: U.S. Standard Atmosphere, 1976, Table 3 (0.209476), to the digits of ISO 2533.
OXYGEN = 0.20946
#: K, -60 and 150 °F: the places of the work, as the tables of stillair_refrigerants.
COLDEST, HOTTEST = 222.03888888888888, 338.7055555555556


def full(name: str, volume: float, temperature: float, atmosphere: float) -> float:
    """kg of vapour that would fill `volume` m3 at K and Pa by itself.

    Ideal gas: thinned by air the vapour behaves as one, undiluted it is 1 to 4 % denser.
    """
    if not volume > 0:
        raise OutOfRange("the volume of the space is not above 0")
    if not COLDEST <= temperature <= HOTTEST:
        raise OutOfRange("the temperature is not between -60 and 150 °F")
    refuse_unlike_air(atmosphere)
    return atmosphere * volume * catalogue.molar_mass(name) / (GAS_CONSTANT * temperature)


def concentration(
    name: str, leak: float, time: float, volume: float, temperature: float, atmosphere: float
) -> float:
    """Share by volume after `leak` kg/s for `time` s, spread evenly and none lost; at most 1.

    Real spaces leak, so as a mean it is an upper bound; near the floor it may be many times the mean.
    """
    if not leak >= 0:
        raise OutOfRange("the leak is negative")
    if not time >= 0:
        raise OutOfRange("the time is negative")
    return min(leak * time / full(name, volume, temperature, atmosphere), 1.0)


def oxygen_left(displaced: float) -> float:
    """Share of oxygen by volume, where `displaced` of the air is another gas."""
    if not 0 <= displaced <= 1:
        raise OutOfRange(f"a share of {100 * displaced:.4g} % is not between 0 and 100 %")
    return OXYGEN * (1 - displaced)
