"""What the size of a confirmed fault says of a second one."""

from __future__ import annotations

from math import erfc, exp, log, pi, sqrt

__all__ = ["second_by_size"]

#: Below this many standard deviations the normal tail is taken from its expansion, where `erfc` is 0.
_DEEP = -25.0
#: As good as certain; beyond this many standard deviations the ratio is no longer worked out.
_SURE, _HIGH = 1e12, 7.0


def second_by_size(whole: float, found: float, spread: float) -> float:
    """How many times likelier these sizes are if a second fault takes a share of the whole.

    `whole` is what is lost in all, `found` what the confirmed fault loses, `spread` the standard deviation
    of ln(whole / found), both sizes together. Without a second, ln(whole / found) is normal about 0. With
    one, the share of the first is taken as uniform from 0 to 1 (a judgement), so that the logarithm is an
    exponential of mean 1 plus the same normal. The ratio of the densities is returned.

    >>> round(second_by_size(50, 10, 0.5), 1)
    50.3
    >>> round(second_by_size(50, 50, 0.5), 2)
    0.44
    """
    if whole <= 0 or found <= 0 or spread <= 0:
        raise ValueError("sizes and their spread are above 0")
    x = log(whole / found)
    z = x / spread - spread
    # exp(spread²/2 - x) Phi(z) over exp(-x²/(2 spread²)) / (spread sqrt(2 pi)); the exponents make z²/2.
    if z < _DEEP:
        return spread * (1 - 1 / z**2) / -z
    if z > _HIGH:
        return _SURE
    return min(_SURE, spread * sqrt(2 * pi) * exp(z * z / 2) * erfc(-z / sqrt(2)) / 2)
