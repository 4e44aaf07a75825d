"""A recovery cylinder: how much goes in, how full of liquid it gets when warm, what it must bear."""

from __future__ import annotations

from stillair.calculator import OutOfRange
from stillair_refrigerants import saturation
from stillair_refrigerants.atmosphere import SEA_LEVEL

__all__ = ["full_of_liquid", "greatest", "room", "service_pressure"]

#: Share of the water capacity: AHRI Guideline K, by trade press.
SHARE = 0.8
#: kg/m3 of water at 77 °F: IAPWS-95. The specific gravity of a liquid at 77 °F is against it.
WATER = 997.048
AT_77, AT_130, AT_131 = map(saturation.node_temperature, (77, 130, 131))
#: 49 CFR 173.301 and 173.304a: at 131 °F (55 °C) at most 5/4 of the marked service pressure.
OVER_SERVICE = 1.25
#: kg: 1,000 lb of water, the largest of the welded cylinders in use (49 CFR 178.51 and 178.61, from memory).
LARGEST = 1000 * 0.45359237


def greatest(name: str, water_capacity: float, tare: float) -> float:
    """Greatest gross mass, kg: tare + 0.8 x water capacity x the lower of 1 and the specific gravity."""
    _refuse_unmarked(water_capacity)
    if not tare > 0:
        raise OutOfRange("the tare is not above 0: read it on the collar, behind TW")
    _gravity(name, AT_130)  # a gas without liquid when warm has its own rule
    return tare + SHARE * water_capacity * min(1.0, _gravity(name, AT_77))


def room(name: str, water_capacity: float, tare: float, gross: float) -> float:
    """Mass, kg, that may still go in; negative where it is overfilled."""
    most = greatest(name, water_capacity, tare)
    if not gross >= tare:
        raise OutOfRange("the cylinder weighs less than its tare: read scale and collar again")
    return most - gross


def full_of_liquid(name: str, water_capacity: float, net: float) -> float:
    """Share of the cylinder that the liquid fills at 130 °F; at 1 and above it bursts."""
    _refuse_unmarked(water_capacity)
    if not net >= 0:
        raise OutOfRange("the cylinder holds less than nothing: read scale and collar again")
    return net / water_capacity / _gravity(name, AT_130)


def service_pressure(name: str) -> float:
    """Lowest marked service pressure, Pa gauge, 5/4 of which holds the refrigerant at 131 °F."""
    return (saturation.pressure(name, AT_131, "bubble") - SEA_LEVEL) / OVER_SERVICE


def _gravity(name: str, kelvin: float) -> float:
    table = saturation.table(name)
    if kelvin > table.kelvin[-1]:
        raise OutOfRange(
            f"{name} has no liquid at 130 °F, and this rule stands on it: fill only by the label of a "
            f"cylinder made for {name}"
        )
    return table.density_of_liquid(kelvin) / WATER


def _refuse_unmarked(water_capacity: float) -> None:
    if not water_capacity > 0:
        raise OutOfRange("the water capacity is not above 0: read it on the collar, behind WC")
    if not water_capacity <= LARGEST:
        raise OutOfRange("no cylinder holds more than 1000 lb of water: read the collar again, behind WC")
