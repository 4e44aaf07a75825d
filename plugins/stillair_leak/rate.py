"""A leak as mass of gas a second, and as pressure times volume a second (pV throughput)."""

from __future__ import annotations

from stillair.calculator import OutOfRange
from stillair_refrigerants import catalogue
from stillair_refrigerants.vapour import GAS_CONSTANT

from .pool import COLDEST, HOTTEST

__all__ = ["from_mass_flow", "to_mass_flow"]


def from_mass_flow(name: str, leak: float, reference: float) -> float:
    """Pa m3/s of `leak` kg/s of a refrigerant, its volume counted at `reference` K."""
    return leak * _specific(name, reference)


def to_mass_flow(name: str, throughput: float, reference: float) -> float:
    """kg/s of `throughput` Pa m3/s of a refrigerant, its volume counted at `reference` K."""
    return throughput / _specific(name, reference)


def _specific(name: str, reference: float) -> float:
    if not COLDEST <= reference <= HOTTEST:
        raise OutOfRange(
            "the reference temperature is not between -60 and 150 °F: 0, 20 and 25 °C are in use, check "
            "number and unit"
        )
    return GAS_CONSTANT * reference / catalogue.molar_mass(name)
