"""What confirmed faults say of the weights, with the weights before as prior.

The prior is a Dirichlet distribution, worth as many confirmed faults as its `strength` says. Without clues
what comes out is exact. A fault found where clues pointed says less: its chance was weight times factor over
the sum of these. That likelihood has no closed form and is drawn from by Gibbs sampling, with a gamma
variable for each set of clues that takes the place of the sum (Caron and Doucet, Journal of Computational
and Graphical Statistics 21, 2012). The draws are the same for the same faults.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from math import exp, fsum, lgamma, log
from typing import NamedTuple

__all__ = ["LEAST", "MOST", "Fault", "Learned", "beta_interval", "learn"]

#: The share of cases in which the interval given holds the weight.
RATE = 0.95
#: The confirmed faults a prior may be worth: at least and at most (judgement; no source).
LEAST, MOST = 1.0, 100_000.0
#: Chains drawn from at once, draws of each that are not counted, and draws that are.
_CHAINS, _WARM, _KEPT = 100, 50, 100
_SEED = 1763


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
    if not whole or not LEAST <= strength <= MOST:
        raise ValueError(f"a prior has some weight, and a strength from {LEAST:g} to {MOST:.0f}")
    shares = {place: weight / whole for place, weight in prior.items()}
    believed = [place for place, share in shares.items() if share]
    numbers = dict.fromkeys(prior, 0)
    pointed: Counter[tuple[float, ...]] = Counter()
    for fault in faults:
        if fault.place not in believed:
            raise ValueError(f"no fault is believed in at {fault.place}")
        numbers[fault.place] += 1
        factors = [fault.clues.get(place, 1.0) for place in believed]
        if max(factors) > min(factors):
            pointed[tuple(factor / max(factors) for factor in factors)] += 1
    parts = {place: strength * share + numbers[place] for place, share in shares.items()}
    if pointed:
        drawn = _drawn([parts[place] for place in believed], pointed)
        after = dict(zip(believed, drawn, strict=True))
        return {p: Learned(*after.get(p, (0.0, 0.0, 0.0)), number) for p, number in numbers.items()}
    total = fsum(parts.values())
    return {
        place: Learned(part / total, *beta_interval(part, total - part, RATE), numbers[place])
        for place, part in parts.items()
    }


def _drawn(
    parts: Sequence[float], pointed: Mapping[tuple[float, ...], int]
) -> list[tuple[float, float, float]]:
    """The mean and the ends of the middle interval of each weight, where clues pointed."""
    import numpy as np  # here, because it takes longer to load than most commands run

    factors, times = (np.array(each) for each in zip(*sorted(pointed.items()), strict=True))
    shape = np.array(parts)
    rng = np.random.default_rng(_SEED)
    size = rng.gamma(shape, size=(_CHAINS, len(shape)))
    kept = []
    for draw in range(_WARM + _KEPT):
        sums = rng.gamma(times, size=(_CHAINS, len(times))) / (size @ factors.T)
        size = rng.gamma(shape, size=size.shape) / (1 + sums @ factors)
        share = size / size.sum(axis=1, keepdims=True)
        # The shares do not depend on the sum; drawn anew as well, it holds nothing up.
        size = share * rng.gamma(shape.sum() - times.sum(), size=(_CHAINS, 1))
        if draw >= _WARM:
            kept.append(share)
    draws = np.concatenate(kept)
    low, high = np.quantile(draws, ((1 - RATE) / 2, (1 + RATE) / 2), axis=0)
    return [
        (float(mean), float(least), float(most))
        for mean, least, most in zip(draws.mean(axis=0), low, high, strict=True)
    ]


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
