"""What confirmed faults say of the weights: Dirichlet-multinomial, with the weights before as prior.

The prior is worth as many confirmed faults as its `strength` says. A fault found where clues pointed says
less: it is counted as often as it would be met without them (the ratio of the two chances).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from math import exp, fsum, lgamma, log
from typing import NamedTuple

__all__ = ["Fault", "Learned", "beta_interval", "learn"]

#: The share of cases in which the interval given holds the weight.
RATE = 0.95


class Fault(NamedTuple):
    """A confirmed fault: where, and how many times likelier clues had made each place."""

    place: str
    clues: Mapping[str, float]


class Learned(NamedTuple):
    """A weight as a share of 1, the interval that holds it in 95 of 100 cases, the faults behind it."""

    share: float
    low: float
    high: float
    faults: int


def learn(prior: Mapping[str, float], strength: float, faults: Iterable[Fault]) -> dict[str, Learned]:
    """The weights after these faults, as shares of 1. A fault at a place of no prior weight is refused."""
    whole = fsum(prior.values())
    if not whole or strength <= 0:
        raise ValueError("a prior has some weight, and a strength above 0")
    shares = {place: weight / whole for place, weight in prior.items()}
    counted = dict.fromkeys(prior, 0.0)
    numbers = dict.fromkeys(prior, 0)
    for fault in faults:
        if not shares.get(fault.place):
            raise ValueError(f"no fault is believed in at {fault.place}")
        usual = fsum(share * fault.clues.get(place, 1.0) for place, share in shares.items())
        counted[fault.place] += usual / fault.clues.get(fault.place, 1.0)
        numbers[fault.place] += 1
    total = strength + fsum(counted.values())
    found = {}
    for place, share in shares.items():
        part = strength * share + counted[place]
        low, high = beta_interval(part, total - part, RATE)
        found[place] = Learned(part / total, low, high, numbers[place])
    return found


@lru_cache(maxsize=4096)
def beta_interval(a: float, b: float, rate: float) -> tuple[float, float]:
    """The middle interval that holds a beta distribution at a rate.

    >>> [round(end, 4) for end in beta_interval(2, 3, 0.95)]
    [0.0676, 0.8059]
    """
    if a <= 0 or b <= 0:
        return (0.0, 0.0) if a <= 0 else (1.0, 1.0)
    return _quantile(a, b, (1 - rate) / 2), _quantile(a, b, (1 + rate) / 2)


def _quantile(a: float, b: float, chance: float) -> float:
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = (low + high) / 2
        if _cumulated(a, b, middle) < chance:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _cumulated(a: float, b: float, x: float) -> float:
    """The regularised incomplete beta function, by its continued fraction (DLMF 8.17.22)."""
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1 - x))
    if x < (a + 1) / (a + b + 2):
        return front * _fraction(a, b, x) / a
    return 1 - front * _fraction(b, a, 1 - x) / b


def _fraction(a: float, b: float, x: float) -> float:
    """By Lentz's method; the fraction is 1 / (1 + d1 / (1 + d2 / (1 + …)))."""
    tiny = 1e-300
    c, d = 1.0, 1 - (a + b) * x / (a + 1)
    d = 1 / (d or tiny)
    result = d
    for m in range(1, 1000):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1 / ((1 + term * d) or tiny)
            c = (1 + term / c) or tiny
            result *= c * d
        if abs(c * d - 1) < 1e-14:
            break
    return result
