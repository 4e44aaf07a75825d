"""Worlds of one fault and of two, and how likely they are after looks.

A world says which places hold a fault. With weights w, a world of one place is as likely as w_i, a world
of two as w_i w_j; `second` is the chance, beforehand, that there are two. A look changes the weight of a
place by a factor of its own, so every sum over worlds is one over places: e1 = sum of the weights,
e2 = sum over pairs of their products (the elementary symmetric sums).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import fsum
from typing import NamedTuple

__all__ = ["ELSEWHERE", "Alarm", "Posterior", "Silence", "Worlds", "posterior"]

#: The place of whatever nobody listed: no look reaches it.
ELSEWHERE = ""


@dataclass(frozen=True, slots=True)
class Worlds:
    """What is believed before any look: the weight of each place and of elsewhere, the chance of a second."""

    weights: Mapping[str, float]
    elsewhere: float = 0.0
    second: float = 0.0

    def __post_init__(self) -> None:
        if any(w < 0 for w in (*self.weights.values(), self.elsewhere)):
            raise ValueError("a weight is 0 or more")
        if not 0 <= self.second < 1:
            raise ValueError("the chance of a second fault is from 0 to below 1")


class Silence(NamedTuple):
    """A look that counts and met nothing: the chance with which it would have noticed a fault, by place."""

    notices: Mapping[str, float]


class Alarm(NamedTuple):
    """A look that answered and is not confirmed: how many times likelier that is where a fault is."""

    place: str
    times: float


class Posterior(NamedTuple):
    """How likely it is that a place holds a fault, by place; of one confirmed, 1.

    The chances add up to the expected number of faults, from 1 to 2. `second` is the chance that there are
    two, `unfound` the chance that a fault exists which is not confirmed. All are 0 where every world is
    ruled out.
    """

    places: dict[str, float]
    elsewhere: float
    second: float
    unfound: float


def posterior(
    worlds: Worlds,
    looks: Iterable[Silence | Alarm] = (),
    confirmed: Collection[str] = (),
    by_size: float = 1.0,
) -> Posterior:
    """What is believed after looks; those that do not count are left out by the caller.

    `by_size` is how many times likelier the size of the one confirmed fault is with a second than without.
    """
    names = [*worlds.weights, ELSEWHERE]
    first = [*worlds.weights.values(), worlds.elsewhere]
    before, pairs_before = fsum(first), _pairs(first)
    if not before:
        return Posterior(dict.fromkeys(worlds.weights, 0.0), 0.0, 0.0, 0.0)
    second = worlds.second if pairs_before else 0.0
    one = (1 - second) / before
    two = second / pairs_before if pairs_before else 0.0
    factor = dict.fromkeys(names, 1.0)
    for look in looks:
        if isinstance(look, Alarm):
            factor[look.place] *= look.times
        else:
            for name, chance in look.notices.items():
                factor[name] *= 1 - chance
    now = [w * factor[name] for name, w in zip(names, first, strict=True)]
    found = [name in confirmed for name in names]
    left = [0.0 if f else w for f, w in zip(found, now, strict=True)]
    if sum(found) > 1:
        return _told(names, [float(f) for f in found], 1.0, 0.0)
    total = fsum(left)
    if any(found):
        two *= by_size
        whole = one + two * total
        more = two * total / whole if whole else 0.0
        chances = [1.0 if f else two * w / whole if whole else 0.0 for f, w in zip(found, left, strict=True)]
        return _told(names, chances, more, more)
    pairs = two * _pairs(left)
    whole = one * total + pairs
    if not whole:
        return _told(names, [0.0] * len(names), 0.0, 0.0)
    chances = [w * (one + two * other) / whole for w, other in zip(left, _others(left), strict=True)]
    return _told(names, chances, pairs / whole, 1.0)


def _told(names: Sequence[str], chances: Sequence[float], second: float, unfound: float) -> Posterior:
    return Posterior(dict(zip(names[:-1], chances, strict=False)), chances[-1], second, unfound)


def _pairs(weights: Sequence[float]) -> float:
    """The second elementary symmetric sum, without subtracting."""
    return fsum(w * before for w, before in zip(weights[1:], accumulate(weights), strict=False))


def _others(weights: Sequence[float]) -> list[float]:
    """For each weight the sum of all others, without subtracting."""
    before = list(accumulate(weights, initial=0.0))
    after = list(accumulate(reversed(weights), initial=0.0))[::-1]
    return [a + b for a, b in zip(before, after[1:], strict=False)]
