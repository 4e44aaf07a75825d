"""Whether a detector can find a leak at all."""

from __future__ import annotations

from stillair.calculator import OutOfRange

__all__ = ["adequacy"]


def adequacy(leak: float, sensitivity: float, tracer_share: float, pressure_factor: float) -> float:
    """What a detector gets of a leak over what it needs; kg/s, kg/s, share by mass, number."""
    if not sensitivity > 0:
        raise OutOfRange("no detector answers to nothing: give its sensitivity for this gas")
    if not leak >= 0:
        raise OutOfRange("the leak is negative")
    if not 0 <= tracer_share <= 1:
        raise OutOfRange(f"a share of {100 * tracer_share:.4g} % is not between 0 and 100 %")
    if not pressure_factor >= 0:
        raise OutOfRange("the pressure factor is negative")
    return leak * tracer_share * pressure_factor / sensitivity
