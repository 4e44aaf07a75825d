"""A trace of refrigerant under nitrogen, so that a detector has something to answer to."""

from __future__ import annotations

from stillair.calculator import OutOfRange
from stillair_refrigerants import catalogue, saturation
from stillair_refrigerants.vapour import GAS_CONSTANT, NITROGEN

from .hold import HIGHEST

__all__ = ["mass", "share_by_mass"]


def mass(name: str, pressure: float, volume: float, temperature: float, share: float) -> float:
    """kg of refrigerant that make up `share` by mass of what fills the volume; Pa absolute, m3, K.

    The rest is nitrogen and both are ideal gases. OutOfRange where the trace would condense, or outside the
    saturation table.
    """
    if not 0 <= share <= 1:
        raise OutOfRange(f"a share of {100 * share:.4g} % is not between 0 and 100 %")
    if not (pressure > 0 and volume > 0):
        raise OutOfRange("the test pressure or the volume is not above 0")
    _refuse_too_dense(pressure)
    molar_mass = catalogue.molar_mass(name)
    moles = share / molar_mass
    part = moles / (moles + (1 - share) / NITROGEN)
    condenses = saturation.pressure(name, temperature, "dew")
    if part * pressure >= condenses:
        raise OutOfRange(f"so much {name} would condense at {temperature * 1.8 - 459.67:.4g} °F")
    return part * pressure * volume * molar_mass / (GAS_CONSTANT * temperature)


def share_by_mass(name: str, refrigerant: float, total: float) -> float:
    """Share by mass of a refrigerant let in first, to `refrigerant` Pa, then nitrogen to `total` Pa."""
    if not 0 <= refrigerant <= total or total <= 0:
        raise OutOfRange(
            "the pressure of the refrigerant alone must lie between vacuum and the total pressure"
        )
    _refuse_too_dense(total)
    part = refrigerant * catalogue.molar_mass(name)
    return part / (part + (total - refrigerant) * NITROGEN)


def _refuse_too_dense(pressure: float) -> None:
    if pressure > HIGHEST:
        raise OutOfRange(
            "the pressure is above 6 MPa absolute (870 psia), where nitrogen is no longer taken as an ideal "
            "gas and no circuit is tested: check number and unit"
        )
