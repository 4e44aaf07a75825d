"""A vacuum watched after its pump was valved off: how fast it rises, and whether straight or levelling.

Readings are (seconds since the first, Pa absolute), oldest first.
"""

from __future__ import annotations

import itertools
import math
import statistics

from stillair.calculator import OutOfRange, Readings

__all__ = ["ratio", "rise", "throughput"]

#: Readings and seconds below which a shape says nothing (judgement).
FEWEST, SHORTEST = 4, 300.0
#: The first and the last part of a watch are one of so many (judgement).
PARTS = 5
#: Pa. Above it this is no vacuum: more than any weather makes of the atmosphere (judgement).
HIGHEST = 110e3


def ratio(readings: Readings) -> float:
    """Mean rate of rise over the last part of the watch over that of the first: 1 straight, 0 level.

    The first part ends with the first reading at or after a fifth of the watch, the last part begins with
    the last reading at or before four fifths. OutOfRange where they overlap, the watch is short or nothing
    rose in the first part.
    """
    _check(readings)
    long = readings[-1][0] - readings[0][0] if readings else 0.0
    if len(readings) < FEWEST or not long >= SHORTEST:
        raise OutOfRange("a shape needs 4 readings over 5 minutes or more: watch longer")
    part = long / PARTS * (1 - 1e-9)  # a reading at the fifth belongs, whatever floats make of its time
    end = next(i for i, (time, _) in enumerate(readings) if time - readings[0][0] >= part)
    begin = max(i for i, (time, _) in enumerate(readings) if readings[-1][0] - time >= part)
    if end > begin:
        raise OutOfRange("the readings stand too far apart for a shape: read every minute or two")
    at_first = _mean_rate(readings[0], readings[end])
    if not at_first > 0:
        raise OutOfRange("it did not rise at first, so there is no shape: look at the hold itself")
    return _mean_rate(readings[begin], readings[-1]) / at_first


def rise(readings: Readings) -> float:
    """Pa/s: the slope of the straight line that fits best by least squares; negative where it fell."""
    _check(readings)
    if len(readings) < 2:
        raise OutOfRange("a rise needs two readings or more")
    times, values = zip(*readings, strict=True)
    return statistics.linear_regression(times, values).slope


def throughput(rise: float, volume: float) -> float:
    """Pa m3/s that flow into `volume` m3 that rises by `rise` Pa/s at one temperature; negative: it fell."""
    if not volume > 0:
        raise OutOfRange("the volume is not above 0")
    return rise * volume


def _mean_rate(one: tuple[float, float], other: tuple[float, float]) -> float:
    return (other[1] - one[1]) / (other[0] - one[0])


def _check(readings: Readings) -> None:
    for _, value in readings:
        if not value > 0:
            raise OutOfRange("a gauge that reads 0 or less is at fault: no pump leaves nothing")
        if not value <= HIGHEST:
            raise OutOfRange("a reading is above the atmosphere: this is no vacuum, check number and unit")
    for one, other in itertools.pairwise(readings):
        if not 0 < other[0] - one[0] < math.inf:
            raise OutOfRange("the times of the readings do not increase: check the clock")
