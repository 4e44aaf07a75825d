"""The practical limits of EN 378: how much refrigerant a room takes before people must leave."""

from __future__ import annotations

from stillair.calculator import OutOfRange

__all__ = ["LIMITS", "limit", "room"]

#: kg/m3. EN 378-1:2016+A1:2020, Annex E, as transcribed in a public data file of the French edition, 2020.
_ANNEX_E = {
    "R-32": 0.061,
    "R-410A": 0.44,
    "R-454B": 0.059,
    "R-290": 0.008,
    "R-744": 0.1,
    "R-1234ze(E)": 0.061,
    "R-1234yf": 0.058,
    "R-134a": 0.25,
    "R-404A": 0.52,
    "R-507A": 0.53,
}
#: kg/m3, from memory of the same table.
_FROM_MEMORY = {"R-22": 0.3, "R-407C": 0.31, "R-12": 0.5, "R-600a": 0.011, "R-717": 0.00035}
LIMITS = {**_ANNEX_E, **_FROM_MEMORY}


def limit(name: str) -> float:
    """kg/m3; OutOfRange for a refrigerant whose limit is not in the table."""
    if name not in LIMITS:
        raise OutOfRange(f"no practical limit of {name} is at hand: look it up in EN 378-1, Annex E")
    return LIMITS[name]


def room(name: str, charge: float) -> float:
    """The least volume, m3, that takes a charge, kg, without passing the limit."""
    if not charge >= 0:
        raise OutOfRange("the charge is below nothing")
    return charge / limit(name)
