"""How near to burning: refrigerant in a space against its lower flammable limit (LFL)."""

from __future__ import annotations

from stillair.calculator import Entry, OutOfRange
from stillair_refrigerants import catalogue
from stillair_refrigerants.vapour import ATMOSPHERE, GAS_CONSTANT

from .pool import full

__all__ = ["limit", "mass_to_share", "share"]

#: K. 25 °C, at which ASHRAE Standard 34 and ISO 817 turn a limit by volume into one by mass (from memory).
REFERENCE = 298.15


def limit(refrigerant: Entry) -> float:
    """The LFL as a share by volume; the lower one where its value by mass and by volume do not agree.

    OutOfRange where there is none or it is not known: neither means that it is safe.
    """
    name = refrigerant.name
    by_mass, by_volume = refrigerant["lfl"], refrigerant["lfl_fraction"]
    limits = [by_volume] if isinstance(by_volume, float) else []
    if isinstance(by_mass, float):
        density = ATMOSPHERE * catalogue.molar_mass(name) / (GAS_CONSTANT * REFERENCE)
        limits.append(by_mass / density)
    if limits:
        return min(limits)
    if refrigerant["lfl_given"] == "none":
        raise OutOfRange(
            f"{name} has no flammable limit at the test condition, so no share of it; that is not proof of "
            "safety: it displaces oxygen, a flame makes poison of it, and under pressure with air it may burn"
        )
    raise OutOfRange(f"the flammable limit of {name} is not known here: treat it as flammable")


def share(refrigerant: Entry, mass: float, volume: float, temperature: float, atmosphere: float) -> float:
    """`mass` kg spread evenly in `volume` m3 at K and Pa, as a share of the LFL; above 1 it is passed."""
    lowest = limit(refrigerant)
    if not mass >= 0:
        raise OutOfRange("the mass in the space is negative")
    return mass / (full(refrigerant.name, volume, temperature, atmosphere) * lowest)


def mass_to_share(
    refrigerant: Entry, share: float, volume: float, temperature: float, atmosphere: float
) -> float:
    """kg that bring the mean of `volume` m3 to `share` of the LFL."""
    lowest = limit(refrigerant)
    if not share >= 0:
        raise OutOfRange("the share of the flammable limit is negative")
    return share * full(refrigerant.name, volume, temperature, atmosphere) * lowest
