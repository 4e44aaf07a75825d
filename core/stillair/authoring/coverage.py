"""What the scenarios have seen of each condition, each of its parts and each limit.

A condition and its parts are to be seen to hold, to fail and to be open; a part also to decide: with the
other verdict of this part alone, that of the whole would have been another. A number is to be seen on both
sides of each edge it is compared with, no further from it than one step of the last digit written.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from stillair import quantity
from stillair.assess import Assessment, Program, View
from stillair.assess.uses import Leaf, Use, each_view, leaves, uses
from stillair.condition import core
from stillair.possible import judge_mask, judge_span
from stillair.verdict import Verdict, all_of, any_of

__all__ = [
    "Coverage",
    "Edge",
    "Part",
    "Parts",
    "Seen",
    "Seer",
    "coverage",
    "edges_of",
    "may_be_open",
    "may_fail",
    "may_hold",
    "range_of",
    "same",
    "share",
    "step_of",
    "turned",
    "units_behind",
]

_MINUTE = 60.0
"""The step of clock times and of durations compared with one another: what people enter."""

Way = tuple[int, int, int, bool]
"""Condition, part, edge, whether above it."""


@dataclass(slots=True)
class Seen:
    """What was seen: for each condition the verdicts of its parts and, last, its own; how near each edge."""

    verdicts: dict[int, set[tuple[int, ...]]] = field(default_factory=dict)
    nearest: dict[Way, float] = field(default_factory=dict)

    def add(self, other: Seen) -> None:
        """Take in what was seen elsewhere with the same program."""
        for number, found in other.verdicts.items():
            self.verdicts.setdefault(number, set()).update(found)
        for way, spare in other.nearest.items():
            self.nearest[way] = min(spare, self.nearest.get(way, math.inf))


class Seer:
    """Looks at assessments and keeps what is seen of the conditions of a program."""

    def __init__(self, program: Program) -> None:
        self.seen = Seen()
        self._uses = [(use, Parts.of(use.cond.checked).parts) for use in uses(program)]

    def __call__(self, found: Assessment, expected: object = None) -> None:
        for use, parts in self._uses:
            for view, binding in each_view(found.view, use):
                verdicts = [int(self._judge(view, binding, use, n, part)) for n, part in enumerate(parts)]
                verdicts.append(int(view.judge(use.cond, binding)))
                self.seen.verdicts.setdefault(use.cond.number, set()).add(tuple(verdicts))

    def _judge(self, view: View, binding: Mapping[str, str], use: Use, number: int, part: Leaf) -> Verdict:
        ref = part.ref.bound(binding)
        if isinstance(part, core.Test):
            return judge_mask(view.options(ref).mask, part.sure, part.never)
        low, high = view.number(ref).span()
        verdict = judge_span(low, high, part.region)
        if verdict is not Verdict.OPEN:
            for edge, at in enumerate(part.region.edges()):
                for above, spare in ((True, low - at), (False, at - high)):
                    if spare >= 0:
                        way = (use.cond.number, number, edge, above)
                        held = self.seen.nearest.get(way, math.inf)
                        if spare < held:
                            self.seen.nearest[way] = spare
        return verdict


@dataclass(frozen=True, slots=True)
class Edge:
    """One edge a number is compared with: the limit or number as written, its step, how near it was seen."""

    bound: str
    step: str
    below: bool
    above: bool

    @property
    def missing(self) -> tuple[str, ...]:
        return tuple(
            f"within {self.step} {word} {self.bound}"
            for word, seen in (("below", self.below), ("above", self.above))
            if not seen
        )


@dataclass(frozen=True, slots=True)
class Part:
    """A condition as a whole or one of its tests, and how it was seen. None: it cannot be seen so."""

    text: str
    holds: bool | None
    fails: bool | None
    open: bool | None
    decides: bool | None
    edges: tuple[Edge, ...] = ()

    @property
    def missing(self) -> tuple[str, ...]:
        ways = (
            ("to hold", self.holds),
            ("to fail", self.fails),
            ("open", self.open),
            ("to decide", self.decides),
        )
        return (*(way for way, seen in ways if seen is False), *(m for e in self.edges for m in e.missing))

    @property
    def wanted(self) -> int:
        """How many ways there are to see it."""
        ways = (self.holds, self.fails, self.open, self.decides)
        return sum(way is not None for way in ways) + 2 * len(self.edges)


@dataclass(frozen=True, slots=True)
class Coverage:
    """How one condition was seen: what it is used for, the whole first, then its tests if it has several."""

    uses: tuple[Use, ...]
    parts: tuple[Part, ...]

    @property
    def guards(self) -> bool:
        """Whether it is a gate, a stop, or makes a safety fact count."""
        return any(use.guards for use in self.uses)


def coverage(program: Program, seen: Seen) -> list[Coverage]:
    """How every condition was seen; those that are the same wherever they stand, once."""
    groups: dict[int, list[Use]] = {}
    for use in uses(program):
        groups.setdefault(use.cond.number, []).append(use)
    return [_covered(program, seen, tuple(group)) for group in groups.values()]


def share(found: Sequence[Coverage]) -> float:
    """Per cent of all ways that were seen; of nothing, all."""
    wanted = sum(part.wanted for each in found for part in each.parts)
    missing = sum(len(part.missing) for each in found for part in each.parts)
    return 100.0 * (wanted - missing) / wanted if wanted else 100.0


def _covered(program: Program, seen: Seen, group: tuple[Use, ...]) -> Coverage:
    cond = group[0].cond
    asked = Parts.of(cond.checked)
    parts = asked.parts
    if not parts:
        return Coverage(group, ())  # `always` and `never` can be seen in one way only
    verdicts = seen.verdicts.get(cond.number, set())
    tests = []
    for number, part in enumerate(parts):
        found = {each[number] for each in verdicts}
        tests.append(
            Part(
                " ".join(part.text.split()),
                Verdict.HOLDS in found if may_hold(program, part) else None,
                Verdict.FAILS in found if may_fail(program, part) else None,
                Verdict.OPEN in found if may_be_open(program, part) else None,
                any(asked.decides(each[:-1], number) for each in verdicts) if len(parts) > 1 else None,
                tuple(_edges(program, seen, cond.number, number, part)),
            )
        )
    if len(parts) == 1:
        return Coverage(group, tuple(tests))
    found = {each[-1] for each in verdicts}
    may = any(test.open is not None for test in tests)
    whole = Part(
        " ".join(cond.text.split()),
        Verdict.HOLDS in found,
        Verdict.FAILS in found,
        Verdict.OPEN in found if may else None,
        None,
    )
    return Coverage(group, (whole, *tests))


def may_be_open(program: Program, part: Leaf) -> bool:
    """Not how often something was entered; how often it counts, only if a later check may decide that."""
    derivation = program.derived.get(part.ref.name)
    if isinstance(derivation, core.Readings):
        fact = program.facts[derivation.ref.name]
        return fact.counts is not None or bool(fact.place_counts)
    return not isinstance(derivation, core.Entries)


def may_hold(program: Program, part: Leaf) -> bool:
    """Whether there is a value for which a test holds."""
    return not isinstance(part, core.Within) or part.region.meets(*range_of(program, part.ref))


def may_fail(program: Program, part: Leaf) -> bool:
    """Whether there is a value for which a test fails: the time since something is never below nothing."""
    return not isinstance(part, core.Within) or part.region.complement().meets(*range_of(program, part.ref))


def range_of(program: Program, ref: core.Ref) -> tuple[float, float]:
    """The range a fact is kept to; a count and the time since something are never below nothing."""
    symbol = program.symbols.get(ref.name)
    if symbol is not None and symbol.kind == "fact" and isinstance(symbol.domain, core.NumberDomain):
        return symbol.domain.low, symbol.domain.high
    if isinstance(program.derived.get(ref.name), core.SinceEvent | core.Readings | core.Entries | core.Count):
        return 0.0, math.inf
    return -math.inf, math.inf


class Parts(NamedTuple):
    """The tests of a condition, each once; for each place of the text which stands there, and if turned."""

    condition: core.Condition
    parts: list[Leaf]
    places: list[tuple[int, bool]]

    @classmethod
    def of(cls, condition: core.Condition) -> Parts:
        parts: list[Leaf] = []
        places = []
        for leaf in leaves(condition):
            known = next(
                ((n, t) for n, part in enumerate(parts) if (t := same(part, leaf)) is not None), None
            )
            if known is None:
                known = len(parts), False
                parts.append(leaf)
            places.append(known)
        return cls(condition, parts, places)

    def judged(self, verdicts: Sequence[int]) -> Verdict:
        """The verdict of the whole for these verdicts of its tests."""
        return _judged(
            self.condition, iter([turned(verdicts[n]) if t else verdicts[n] for n, t in self.places])
        )

    def decides(self, verdicts: Sequence[int], number: int) -> bool:
        """Whether the other verdict of this test alone turns that of the whole."""
        if verdicts[number] == Verdict.OPEN:
            return False
        other = list(verdicts)
        other[number] = turned(verdicts[number])
        now, then = self.judged(verdicts), self.judged(other)
        return Verdict.OPEN not in (now, then) and now is not then


def turned(verdict: int) -> int:
    """The other verdict; open stays open."""
    if verdict == Verdict.OPEN:
        return verdict
    return int(Verdict.FAILS if verdict == Verdict.HOLDS else Verdict.HOLDS)


def same(part: Leaf, other: Leaf) -> bool | None:
    """Whether another test is the one turned round; False where it is the same, None where neither."""
    if part.ref != other.ref:
        return None
    if isinstance(part, core.Test) and isinstance(other, core.Test):
        if (part.sure, part.never) == (other.sure, other.never):
            return False
        return True if (part.never, part.sure) == (other.sure, other.never) else None
    if isinstance(part, core.Within) and isinstance(other, core.Within):
        if part.region == other.region:
            return False
        return True if part.region.complement() == other.region else None
    return None


def _judged(condition: core.Condition, verdicts: Iterator[int]) -> Verdict:
    match condition:
        case core.All():
            return all_of([_judged(part, verdicts) for part in condition.parts])
        case core.Either():
            return any_of([_judged(part, verdicts) for part in condition.parts])
        case core.Truth():
            return Verdict.HOLDS if condition.value else Verdict.FAILS
    return Verdict(next(verdicts))


def _edges(program: Program, seen: Seen, cond: int, number: int, part: Leaf) -> Iterator[Edge]:
    if not isinstance(part, core.Within):
        return
    within = {at for at, _ in edges_of(program, part)}
    size, said = step_of(program, part)
    slack = size * (1 + 1e-9)
    for place, at in enumerate(part.region.edges()):
        if at in within:
            near = [seen.nearest.get((cond, number, place, up), math.inf) <= slack for up in (False, True)]
            yield Edge(_bound(part, place), said, *near)


def edges_of(program: Program, part: core.Within) -> Iterator[tuple[float, float]]:
    """The edges of a test that have possible numbers on both sides, each with one step there."""
    low, high = range_of(program, part.ref)
    size, _ = step_of(program, part)
    yield from ((at, size) for at in part.region.edges() if low < at < high)


def _bound(part: core.Within, place: int) -> str:
    if len(part.bounds) == 1:
        bound = part.bounds[0]
        return bound.replace("±", "-" if place == 0 else "+") if bound.startswith("±") else bound
    return part.bounds[min(place, len(part.bounds) - 1)] if part.bounds else "the edge"


def step_of(program: Program, part: core.Within) -> tuple[float, str]:
    """One step at the edge: the last digit of the limit or number as written, else one of the unit read."""
    for bound in part.bounds:
        named = (program.limits.get(word) for word in re.findall(r"[a-z][a-z0-9_]*", bound))
        limit = next((each for each in named if each is not None), None)
        literal = limit.text if limit is not None else bound.lstrip("±")
        match = re.match(r"-?\d+(?:\.(\d+))?", literal)
        if match is None or (literal == "0" and part.dimension.name != "number"):
            continue
        decimals = len(match[1] or "")
        unit = quantity.difference_unit(quantity.read_literal(literal)[0].unit)
        size = 10.0**-decimals * abs(float(unit.factor))
        return size, f"{10.0**-decimals:.{decimals}f} {unit.symbol}".removesuffix(" 1")
    found = next(units_behind(program, part.ref), None)
    unit = quantity.difference_unit(found or quantity.canonical_unit(part.dimension))
    if unit.dimension.name == "duration":
        return _MINUTE, "1 min"
    return abs(float(unit.factor)), f"1 {unit.symbol}".removesuffix(" 1")


def units_behind(program: Program, ref: core.Ref) -> Iterator[quantity.Unit]:
    """The units in which the facts behind a difference are read."""
    fact = program.facts.get(ref.name)
    if fact is not None and fact.unit is not None:
        yield fact.unit
    formula = program.derived.get(ref.name) or program.calculations.get(ref.name, (None,))[0]
    if isinstance(formula, core.Formula):
        for leaf in core.leaves(formula.expression):
            for unit in units_behind(program, leaf):
                if quantity.difference_unit(unit).dimension == _difference(formula.dimension):
                    yield unit


def _difference(dimension: quantity.Dimension) -> quantity.Dimension:
    return quantity.difference_of(dimension) if dimension.point is not None else dimension
