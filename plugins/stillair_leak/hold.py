"""A standing pressure test: what temperature alone does to it, and what leak it shows."""

from __future__ import annotations

from stillair.calculator import OutOfRange
from stillair_refrigerants.atmosphere import refuse_unlike_air
from stillair_refrigerants.vapour import GAS_CONSTANT

from . import nitrogen

__all__ = ["expected", "expected_real", "leak_rate", "smallest_leak", "time_needed"]

#: Pa. Above it nitrogen is not taken as ideal (judgement; field tests end near 4 MPa).
HIGHEST = 6e6
#: K, -40 and 160 °F: no circuit under test is colder or hotter (judgement).
COLDEST, HOTTEST = 233.15, 344.2611111111111
#: s: in less nobody reads gauge and thermometer twice (judgement).
SHORTEST = 60.0


def expected(start: float, start_temperature: float, end_temperature: float, atmosphere: float) -> float:
    """Gauge pressure, Pa, of a tight circuit after it went from one temperature to the other, K."""
    refuse_unlike_air(atmosphere)
    _refuse_unlike_ideal("start", start + atmosphere, start_temperature)
    _refuse_unlike_ideal("end", start + atmosphere, end_temperature)
    return (start + atmosphere) * end_temperature / start_temperature - atmosphere


def expected_real(start: float, start_temperature: float, end_temperature: float, atmosphere: float) -> float:
    """The same of nitrogen as it is: at constant density, by its equation of state."""
    ideal = expected(start, start_temperature, end_temperature, atmosphere) + atmosphere
    density = nitrogen.density(start + atmosphere, start_temperature)
    before, after = (nitrogen.compressibility(density, k) for k in (start_temperature, end_temperature))
    return ideal * after / before - atmosphere


def leak_rate(
    molar_mass: float,
    start: float,
    start_temperature: float,
    end: float,
    end_temperature: float,
    volume: float,
    time: float,
) -> float:
    """kg/s lost from `volume` m3 in `time` s, corrected for temperature; kg/mol, Pa absolute, K.

    Negative where gas came in.
    """
    _refuse_unlike_ideal("start", start, start_temperature)
    _refuse_unlike_ideal("end", end, end_temperature)
    lost = start / start_temperature - end / end_temperature
    return lost * molar_mass / GAS_CONSTANT * _volume_a_second(volume, time)


def smallest_leak(molar_mass: float, change: float, temperature: float, volume: float, time: float) -> float:
    """kg/s that change the pressure by `change` Pa, the least that can be told, in `time` s."""
    return _mass(molar_mass, change, temperature) * _volume_a_second(volume, time)


def time_needed(molar_mass: float, leak: float, change: float, temperature: float, volume: float) -> float:
    """Seconds in which a leak, kg/s, changes the pressure by `change` Pa, the least that can be told."""
    if not leak > 0:
        raise OutOfRange("the leak is not above 0: no hold is long enough to show none")
    _refuse_no_volume(volume)
    return _mass(molar_mass, change, temperature) * volume / leak


def _mass(molar_mass: float, change: float, temperature: float) -> float:
    """kg that change the pressure of each m3 by `change` Pa."""
    if not 0 < change <= HIGHEST:
        raise OutOfRange(
            "the change that can be told is not above 0, up to 6 MPa (870 psi): no gauge tells a change of "
            "nothing"
        )
    _refuse_unlike_ideal("hold", HIGHEST, temperature)
    return change * molar_mass / (GAS_CONSTANT * temperature)


def _refuse_unlike_ideal(when: str, pressure: float, temperature: float) -> None:
    if not 0 < pressure <= HIGHEST:
        raise OutOfRange(
            f"the pressure at the {when} is not between a perfect vacuum and 6 MPa absolute (870 psia)"
        )
    if not COLDEST <= temperature <= HOTTEST:
        raise OutOfRange(
            f"the temperature at the {when} is not between -40 and 160 °F: check number and unit"
        )


def _volume_a_second(volume: float, time: float) -> float:
    _refuse_no_volume(volume)
    if not time >= SHORTEST:
        raise OutOfRange("less than a minute between the two readings shows nothing: check number and unit")
    return volume / time


def _refuse_no_volume(volume: float) -> None:
    if not volume > 0:
        raise OutOfRange("the volume under test is not above 0")
