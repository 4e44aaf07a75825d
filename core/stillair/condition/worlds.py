"""Whether conditions can be so at once: exact over options and over ranges of numbers.

A world gives every name one option, or one of the stretches into which the bounds of all tests cut its range.
Each name is taken as free of the others: that `a - b` and `b` belong together is not seen.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

from stillair.possible import Region

from .core import All, Condition, Either, NumberDomain, OptionDomain, Ref, Test, Truth, Within

__all__ = ["Cells", "Goal", "Space", "Want", "World", "leaf_tests"]


class Want(IntEnum):
    """What is asked of a condition in a world: that it holds, that it fails, or that it does not.

    Numbers, since they are looked up hundreds of thousands of times.
    """

    HOLDS = 0
    FAILS = 1
    NOT_HOLDS = 2
    NOT_FAILS = 3


Goal = tuple[Condition, Want]
Choice = tuple[Sequence[Condition], Want]


class Key(NamedTuple):
    """A name as a world knows it; `sign` -1 where a difference is written the other way round."""

    ref: Ref
    sign: int = 1


@dataclass(frozen=True, slots=True)
class Cells:
    """The stretches of a number that no test tells apart, each with a number that stands for it.

    nan stands for a number that does not exist: no test on it holds, and none fails.
    """

    domain: NumberDomain
    samples: tuple[float, ...]
    bounds: frozenset[float] = frozenset()
    """Those samples that are a bound themselves."""

    @property
    def whole(self) -> int:
        return (1 << len(self.samples)) - 1

    def within(self, region: Region, sign: int) -> int:
        return sum(1 << i for i, x in enumerate(self.samples) if sign * x in region)

    @property
    def lacking(self) -> int:
        return sum(1 << i for i, x in enumerate(self.samples) if math.isnan(x))


World = Mapping[Ref, int]
"""For each name a mask: its options, or its cells."""


class Space:
    """The worlds of some conditions.

    `domain` gives the range of a number, `key` the one way to write a name, `whole` whether it counts
    something, `options` those a name may have, `lacks` whether the number may not exist.
    """

    def __init__(
        self,
        conditions: Iterable[Condition],
        domain: Callable[[Ref], NumberDomain | None] = lambda ref: None,
        key: Callable[[Ref], Key] = Key,
        whole: Callable[[Ref], bool] = lambda ref: False,
        options: Callable[[Ref, OptionDomain], int] = lambda ref, domain: domain.whole,
        lacks: Callable[[Ref], bool] = lambda ref: False,
    ) -> None:
        self.key = key
        self._options = options
        edges: dict[Ref, set[float]] = {}
        ranges: dict[Ref, NumberDomain] = {}
        self.tests: dict[Ref, Test | Within] = {}
        """For each name some test on it."""
        for test in (leaf for condition in conditions for leaf in leaf_tests(condition)):
            ref, sign = key(test.ref)
            self.tests.setdefault(ref, test)
            if isinstance(test, Within):
                edges.setdefault(ref, set()).update(sign * edge for edge in test.region.edges())
                ranges.setdefault(ref, domain(ref) or NumberDomain(test.dimension))
        self.cells = {
            ref: Cells(
                ranges[ref],
                _samples(ranges[ref], sorted(found), whole(ref)) + ((math.nan,) if lacks(ref) else ()),
                frozenset((*found, ranges[ref].low, ranges[ref].high)),
            )
            for ref, found in edges.items()
        }
        self._masks: dict[tuple[int, Want], tuple[Ref, int, int]] = {}
        self._about: dict[int, frozenset[Ref]] = {}
        self._kept: list[Condition] = []
        """Those known by their id, which must not be given to another."""

    def find(self, *goals: Goal, within: World | None = None) -> World | None:
        """A world in which all goals are met, in `within` if that is given; None where there is none."""
        return self._solve(list(goals), [], dict(within or {}))

    def _solve(self, goals: list[Goal], open_: Sequence[Choice], masks: dict[Ref, int]) -> World | None:
        """A world that meets all goals and, of each choice still open, one part."""
        new: list[Choice] = []
        changed: set[Ref] = set()
        while goals:
            condition, want = goals.pop()
            if isinstance(condition, Truth):
                if condition.value is not _positive(want):
                    return None
            elif isinstance(condition, Test | Within):
                ref, allowed, whole = self._mask(condition, want)
                before = masks.get(ref, whole)
                mask = before & allowed
                if not mask:
                    return None
                if mask != before:
                    masks[ref] = mask
                    changed.add(ref)
            elif isinstance(condition, All) is _positive(want):
                goals += [(part, want) for part in condition.parts]
            else:
                new.append((condition.parts, want))
        return self._choose(open_, new, changed, masks)

    def _choose(
        self, open_: Sequence[Choice], new: Sequence[Choice], changed: set[Ref], masks: dict[Ref, int]
    ) -> World | None:
        """A world for the choices left, trying first the one with the fewest ways open."""
        left: list[Choice] = []
        for choices, only in ((open_, changed), (new, None)):
            for parts, want in choices:
                ways = self._ways(parts, want, masks, only)
                if ways is None:
                    continue
                if not ways:
                    return None
                left.append((ways, want))
        if not left:
            return masks
        best, want = left.pop(min(range(len(left)), key=lambda i: len(left[i][0])))
        for part in best:
            found = self._solve([(part, want)], left, dict(masks))
            if found is not None:
                return found
        return None

    def _ways(
        self, parts: Iterable[Condition], want: Want, masks: Mapping[Ref, int], changed: set[Ref] | None
    ) -> list[Condition] | None:
        """The parts by which a choice can still be met; None where it is met already, whatever comes.

        Where `changed` is given, the parts were open before those names were narrowed.
        """
        ways = []
        for part in parts:
            if changed is not None and changed.isdisjoint(self._names(part)):
                ways.append(part)
                continue
            met = self._met(part, want, masks)
            if met:
                return None
            if met is None:
                ways.append(part)
        return ways

    def _names(self, condition: Condition) -> frozenset[Ref]:
        """The names a condition is about, each as a world knows it."""
        held = self._about.get(id(condition))
        if held is None:
            self._kept.append(condition)
            names = frozenset(self.key(test.ref).ref for test in leaf_tests(condition))
            held = self._about[id(condition)] = names
        return held

    def _met(self, condition: Condition, want: Want, masks: Mapping[Ref, int]) -> bool | None:
        """Whether a goal is met whatever comes, or can no longer be met; None where that is open."""
        held = self._masks.get((id(condition), want))
        if held is None and isinstance(condition, Test | Within):
            held = self._mask(condition, want)
        if held is not None:
            ref, allowed, whole = held
            mask = masks.get(ref, whole)
            return True if not mask & ~allowed else None if mask & allowed else False
        assert not isinstance(condition, Test | Within)
        if isinstance(condition, Truth):
            return condition.value is _positive(want)
        every = isinstance(condition, All) is _positive(want)
        open_ = False
        for part in condition.parts:
            met = self._met(part, want, masks)
            if met is None:
                open_ = True
            elif met is not every:
                return met
        return None if open_ else every

    def _mask(self, test: Test | Within, want: Want) -> tuple[Ref, int, int]:
        """The name of a test, the mask with which it is as wanted, and the mask of all."""
        held = self._masks.get((id(test), want))
        if held is None:
            self._kept.append(test)
            held = self._masks[id(test), want] = self._masked(test, want)
        return held

    def _masked(self, test: Test | Within, want: Want) -> tuple[Ref, int, int]:
        ref, sign = self.key(test.ref)
        if isinstance(test, Test):
            whole = self._options(ref, test.domain)
            allowed = {
                Want.HOLDS: test.sure,
                Want.FAILS: test.never,
                Want.NOT_HOLDS: ~test.sure,
                Want.NOT_FAILS: ~test.never,
            }[want]
            return ref, allowed & whole, whole
        cells = self.cells[ref]
        inside, lacking = cells.within(test.region, sign), cells.lacking
        allowed = {
            Want.HOLDS: inside,
            Want.FAILS: ~inside & ~lacking,
            Want.NOT_HOLDS: ~inside,
            Want.NOT_FAILS: inside | lacking,
        }[want]
        return ref, allowed & cells.whole, cells.whole


def _positive(want: Want) -> bool:
    return want in (Want.HOLDS, Want.NOT_FAILS)


def leaf_tests(condition: Condition) -> Iterator[Test | Within]:
    """The tests of a condition, in order."""
    if isinstance(condition, Test | Within):
        yield condition
    elif isinstance(condition, All | Either):
        for part in condition.parts:
            yield from leaf_tests(part)


def _samples(domain: NumberDomain, edges: Sequence[float], whole: bool) -> tuple[float, ...]:
    """A number for each edge inside the range, and one for each stretch between."""
    low, high = domain.low, domain.high
    inner = [edge for edge in edges if low <= edge <= high]
    ends = [*([low] if low > -math.inf else []), *inner, *([high] if high < math.inf else [])]
    points = sorted(set(ends))
    if whole:
        return tuple(_whole_numbers(domain, points))
    if not points:
        return (0.0,)
    samples: list[float] = []
    if low == -math.inf:
        samples.append(points[0] - max(1.0, abs(points[0])))
    for point, following in zip(points, [*points[1:], None], strict=True):
        samples.append(point)
        if following is not None:
            samples.append(point + (following - point) / 2)
    if high == math.inf:
        samples.append(points[-1] + max(1.0, abs(points[-1])))
    return tuple(samples)


def _whole_numbers(domain: NumberDomain, points: Sequence[float]) -> Iterator[float]:
    """Of the stretches those that hold a whole number, by the lowest of it."""
    low = max(0, math.ceil(domain.low)) if domain.low > -math.inf else 0
    known = sorted({low, *(n for p in points for n in (math.floor(p), math.floor(p) + 1, math.ceil(p) - 1))})
    for number in known:
        if low <= number <= domain.high:
            yield float(number)
