"""The level to which 40 CFR 82.156, Table 1, has a circuit evacuated before it is opened."""

from __future__ import annotations

from stillair.calculator import OutOfRange
from stillair_refrigerants import saturation
from stillair_refrigerants.atmosphere import refuse_unlike_air

__all__ = ["MACHINES", "class_pressure", "level"]

#: Made before, or on and since, 15 November 1993.
MACHINES = ("before_1993", "since_1993")
#: Pa of one inch of mercury, and the atmosphere that Table 1 counts from: 29.9 inHg.
INCH = 3386.388640341
STANDARD = 29.9 * INCH
#: Pa: 25 mmHg absolute.
LOW = 25 * 133.322387415
#: kg: 200 lb.
LARGE = 200 * 0.45359237
#: Inches of vacuum by class and whether it is large, for each of MACHINES.
TABLE_1 = {
    ("very-high", False): (0, 0),
    ("very-high", True): (0, 0),
    ("high", False): (0, 0),
    ("high", True): (4, 10),
    ("medium", False): (4, 10),
    ("medium", True): (4, 15),
}
AT_104 = saturation.node_temperature(104)


def level(pressure_class: str, full_charge: float, machine: str, atmosphere: float) -> float:
    """Pa absolute to reach, and never above the air around: what is higher would be let out."""
    if not full_charge > 0:
        raise OutOfRange("the full charge is not above 0")
    refuse_unlike_air(atmosphere)
    if pressure_class == "low":
        return min(LOW, atmosphere)
    inches = TABLE_1[pressure_class, full_charge >= LARGE][MACHINES.index(machine)]
    return min(STANDARD - inches * INCH, atmosphere)


def class_pressure(name: str) -> float:
    """Pa absolute of the liquid at 104 °F, by which 82.152 sorts refrigerants into classes."""
    return saturation.pressure(name, AT_104, "bubble")
