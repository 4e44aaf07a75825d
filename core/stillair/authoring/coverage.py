"""What the scenarios have seen of each condition, each of its parts and each limit.

A condition and its parts are to be seen to hold, to fail and to be open; a part also to decide: with the
other verdict of this part alone, that of the whole would have been another. A number is to be seen on both
sides of each edge it is compared with, no further from it than one step of the last digit written.

A condition that has a name is one part wherever it stands; its own parts are to be seen once, in whatever
it stands.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field
from typing import NamedTuple

from stillair import quantity
from stillair.assess import Assessment, Program, View
from stillair.assess.uses import Asked, Piece, Use, asked, each_view
from stillair.condition import core
from stillair.condition.merge import merged
from stillair.condition.tree import judge_merged
from stillair.possible import Number, Options
from stillair.verdict import Verdict

from .able import able, deciding, range_of
from .parts import Parts, called

__all__ = [
    "TO_BE",
    "TO_DECIDE",
    "Coverage",
    "Edge",
    "Part",
    "Seen",
    "Seer",
    "beside",
    "bound_of",
    "coverage",
    "edges_of",
    "share",
    "step_of",
    "units_behind",
]

TO_BE = {Verdict.HOLDS: "to hold", Verdict.FAILS: "to fail", Verdict.OPEN: "open"}
TO_DECIDE = "to decide"
"""The ways in which a part can be seen, besides near its edges."""

_MINUTE = 60.0
"""The step of clock times and of durations compared with one another: what people enter."""

Values = Mapping[core.Ref, Number | Options]

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
        self._about = [_About.of(each) for each in asked(program)]
        self._known: set[tuple[object, ...]] = set()

    def __call__(self, found: Assessment, expected: object = None) -> None:
        for about in self._about:
            for use in about.asked.judged_by:
                for view, binding in each_view(found.view, use):
                    values = {ref: view.value(ref.bound(binding)) for ref in about.refs}
                    spans = (v.mask if isinstance(v, Options) else v.span() for v in values.values())
                    key = (about.asked.number, *spans)
                    if key not in self._known:
                        self._known.add(key)
                        self._see(about, values, use, view, binding)

    def _see(self, about: _About, values: Values, use: Use, view: View, binding: Mapping[str, str]) -> None:
        number = about.asked.number
        verdicts = []
        for place, part in enumerate(about.flat):
            verdict = judge_merged(part, values.__getitem__)
            verdicts.append(int(verdict))
            if isinstance(part, core.Within) and verdict is not Verdict.OPEN:
                low, high = values[part.ref].span()  # type: ignore[union-attr]
                for edge, at in enumerate(part.region.edges()):
                    for above, spare in ((True, low - at), (False, at - high)):
                        way = (number, place, edge, above)
                        if 0 <= spare < self.seen.nearest.get(way, math.inf):
                            self.seen.nearest[way] = spare
        named = number < 0
        whole = judge_merged(about.whole, values.__getitem__) if named else view.judge(use.cond, binding)
        self.seen.verdicts.setdefault(number, set()).add((*verdicts, int(whole)))


class _About(NamedTuple):
    """A condition, what it rests on, and its parts and itself with the tests on one fact brought together."""

    asked: Asked
    refs: tuple[core.Ref, ...]
    flat: tuple[core.Condition, ...]
    whole: core.Condition

    @classmethod
    def of(cls, asked: Asked) -> _About:
        tree = asked.condition
        flat = tuple(map(merged, Parts.of(tree).parts))
        return cls(asked, tuple(dict.fromkeys(core.refs_of(tree))), flat, merged(tree))


@dataclass(frozen=True, slots=True)
class Edge:
    """One edge a number is compared with: the limit or number as written, its step, how near it was seen."""

    bound: str
    step: str
    below: bool
    above: bool

    @property
    def ways(self) -> dict[str, bool]:
        """Whether it was seen on each side."""
        sides = ((False, self.below), (True, self.above))
        return {beside(self.step, above, self.bound): seen for above, seen in sides}


def beside(step: str, above: bool, bound: str) -> str:
    """The way of seeing a number within a step of an edge, on one side of it."""
    return f"within {step} {'above' if above else 'below'} {bound}"


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
    def ways(self) -> dict[str, bool]:
        """Each way in which it can be seen, and whether it was."""
        own = (
            (TO_BE[Verdict.HOLDS], self.holds),
            (TO_BE[Verdict.FAILS], self.fails),
            (TO_BE[Verdict.OPEN], self.open),
            (TO_DECIDE, self.decides),
        )
        found = {way: seen for way, seen in own if seen is not None}
        for edge in self.edges:
            for way, seen in edge.ways.items():
                found[way] = seen and found.get(way, True)
        return found

    @property
    def missing(self) -> tuple[str, ...]:
        """The ways in which it was not seen."""
        return tuple(way for way, seen in self.ways.items() if not seen)

    @property
    def wanted(self) -> int:
        """How many ways there are to see it."""
        return len(self.ways)


@dataclass(frozen=True, slots=True)
class Coverage:
    """How one condition was seen: what it is used for, the whole first, then its tests if it has several."""

    uses: tuple[Use, ...]
    parts: tuple[Part, ...]
    guards: bool
    """Whether it is a gate, a stop, or makes a safety fact count, or stands in one that does."""


def coverage(program: Program, seen: Seen) -> list[Coverage]:
    """How every condition was seen; those that are the same wherever they stand, once."""
    return [_covered(program, seen, each) for each in asked(program)]


def share(found: Sequence[Coverage]) -> float:
    """Per cent of all ways that were seen; of nothing, all."""
    wanted = sum(part.wanted for each in found for part in each.parts)
    missing = sum(len(part.missing) for each in found for part in each.parts)
    return 100.0 * (wanted - missing) / wanted if wanted else 100.0


def _covered(program: Program, seen: Seen, each: Asked) -> Coverage:
    tests = Parts.of(each.condition)
    if not tests.parts:
        return Coverage(each.uses, (), each.guards)  # `always` and `never` can be seen in one way only
    verdicts = seen.verdicts.get(each.number, set())
    parts = []
    turning = deciding(program, tests)
    for number, part in enumerate(tests.parts):
        seen_so = _seen_so(able(program, part), {verdict[number] for verdict in verdicts})
        decides = None
        if len(tests.parts) > 1 and turning[number]:
            decides = any(tests.decides(verdict[:-1], number) for verdict in verdicts)
        edges = tuple(_edges(program, seen, each.number, number, part))
        parts.append(Part(called(part), *seen_so, decides, edges))
    if len(parts) == 1:
        return Coverage(each.uses, tuple(parts), each.guards)
    seen_so = _seen_so(able(program, each.condition), {verdict[-1] for verdict in verdicts})
    whole = Part(" ".join(each.text.split()), *seen_so, None)
    return Coverage(each.uses, (whole, *parts), each.guards)


def _seen_so(can: Set[Verdict], found: Set[int]) -> tuple[bool | None, bool | None, bool | None]:
    """Whether something was seen to hold, to fail and open; None where it cannot be so."""
    holds, fails, is_open = (
        verdict in found if verdict in can else None
        for verdict in (Verdict.HOLDS, Verdict.FAILS, Verdict.OPEN)
    )
    return holds, fails, is_open


def _edges(program: Program, seen: Seen, cond: int, number: int, part: Piece) -> Iterator[Edge]:
    if not isinstance(part, core.Within):
        return
    size, said = step_of(program, part)
    slack = size * (1 + 1e-9)
    for place, _ in edges_of(program, part):
        near = [seen.nearest.get((cond, number, place, up), math.inf) <= slack for up in (False, True)]
        yield Edge(bound_of(part, place), said, *near)


def edges_of(program: Program, part: core.Within) -> Iterator[tuple[int, float]]:
    """The edges of a test that have possible numbers on both sides, each with its place among all."""
    low, high = range_of(program, part.ref)
    yield from ((place, at) for place, at in enumerate(part.region.edges()) if low < at < high)


def bound_of(part: core.Within, place: int) -> str:
    """What an edge of a test is called: the limit or number as written."""
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
