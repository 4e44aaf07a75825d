"""The charge that a line set of another length asks for."""

from __future__ import annotations

import math

from stillair.calculator import OutOfRange
from stillair_refrigerants import saturation

__all__ = ["by_geometry", "by_rate"]

#: m: no line set of a split is longer (judgement).
LONGEST = 150.0


def by_rate(nameplate: float, length: float, included: float, rate: float, extras: float) -> float:
    """kg: nameplate + (length - included) x rate + extras."""
    for amount, called in ((nameplate, "the nameplate charge"), (rate, "the rate"), (extras, "the extras")):
        if amount < 0:
            raise OutOfRange(f"{called} is below nothing")
    if not (0 <= length <= LONGEST and 0 <= included <= LONGEST):
        raise OutOfRange("a length is not between 0 and 490 ft: check number and unit")
    total = nameplate + (length - included) * rate + extras
    if not total > 0:
        raise OutOfRange("nothing is left of the charge: check length and rate")
    return total


def by_geometry(name: str, length: float, inside: float, kelvin: float) -> float:
    """kg of saturated liquid that a pipe of this inside diameter, m, holds."""
    if not 0 <= length <= LONGEST:
        raise OutOfRange("the length is not between 0 and 490 ft: check number and unit")
    if not 0 < inside <= 0.1:
        raise OutOfRange("the inside diameter is not between 0 and 4 in: check number and unit")
    return math.pi / 4 * inside**2 * length * saturation.table(name).density_of_liquid(kelvin)
