"""What scenarios are to show of the conditions of a program, and what of it an assessment shows.

A goal is a way in which a condition or a part of it is to be seen (`coverage`), or a mutant that comes out
otherwise than its condition (`mutants`). Goals are numbered, and a set of them is an integer, a bit for each.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from stillair.assess import Assessment, Program, View, assess
from stillair.assess.uses import Asked, Leaf, Piece, Use, asked, each_view, leaves
from stillair.condition.core import All, Condition, Either, Ref, Truth, Within
from stillair.condition.merge import merged
from stillair.condition.tree import judge_merged
from stillair.job import Line
from stillair.possible import Number, Options, judge_mask, judge_span
from stillair.verdict import Verdict, all_of, any_of

from .able import able, deciding
from .coverage import TO_BE, TO_DECIDE, beside, bound_of, edges_of, step_of
from .mutants import Mutant
from .mutation import Reorder, the_other_way_round
from .parts import Parts, called, same, turned

__all__ = ["Edge", "Goals", "Shown", "newest"]


_OF_ORDER = -1
"""Stands for the number of a condition where a goal is about the order of steps."""


class Edge(NamedTuple):
    """A part of a condition, one edge of its number, one side of it, and the step within which it is seen."""

    part: int
    at: float
    above: bool
    step: float


class Shown(NamedTuple):
    """What a condition shows in a use of it for some members: goals, the verdicts of its tests and its own.

    `cond` is the number of the condition: a named one has one of its own.
    """

    cond: int
    use: Use
    members: tuple[str, ...]
    goals: int
    verdicts: tuple[int, ...]


class _About(NamedTuple):
    """The goals of one condition, by what shows them.

    `tests` are looked at one by one, those in a named condition as well; `parts` has such a one as one part.
    """

    asked: Asked
    flat: Condition
    flat_parts: tuple[Condition, ...]
    tests: Parts
    parts: Parts
    ways: Mapping[tuple[int, int], int]
    decides: Mapping[int, int]
    edges: Sequence[tuple[Edge, int]]
    slips: Sequence[tuple[Condition, int]]
    moved: Mapping[int, int]
    """For each part the slips that move an edge of it."""


class Goals:
    """The goals of a program's conditions, for the mutants given."""

    def __init__(self, program: Program, made: Sequence[Mutant], pairs: Sequence[Reorder] = ()) -> None:
        self.program = program
        self.made = made
        self.names: list[str] = []
        """What each goal is, in words."""
        self.conds: list[int] = []
        """The number of the condition that each goal is about."""
        self.of_mutant: dict[int, int] = {}
        self.of_way: dict[int, tuple[list[str], str, str]] = {}
        """For each way of seeing something the condition, by every use of it, its part, and the way."""
        slips: dict[int, list[tuple[Condition, int]]] = {}
        for number, mutant in enumerate(made):
            cond = mutant.asked.number
            name = f"{mutant.asked.uses[0]}: `{mutant.part}` {mutant.instead}"
            goal = self.of_mutant[number] = self._goal(cond, name)
            slips.setdefault(cond, []).append((merged(mutant.changed), goal))
        self._about = {
            each.number: self._made(each, slips.get(each.number, ()))
            for each in asked(program)
            if leaves(each.condition)
        }
        self.asked = {number: about.asked for number, about in self._about.items()}
        """The conditions there are goals of, by number."""
        self._known: dict[tuple[object, ...], tuple[int, tuple[int, ...]]] = {}
        self.order = {pair: self._goal(_OF_ORDER, f"{pair}") for pair in pairs}
        """For each two steps the goal that it matters which comes first."""
        self._in_order: set[Reorder] = set()
        self._would: dict[tuple[int, tuple[int, ...]], int] = {}
        self.of: dict[int, int] = {}
        """The goals of each condition."""
        for goal, cond in enumerate(self.conds):
            self.of[cond] = self.of.get(cond, 0) | 1 << goal

    def _goal(self, cond: int, name: str) -> int:
        self.names.append(name)
        self.conds.append(cond)
        return len(self.names) - 1

    def _way(self, about: Asked, part: str, way: str) -> int:
        """The goal that a part of a condition is seen in this way."""
        goal = self._goal(about.number, f"{about.uses[0]}: `{part}` {way}")
        self.of_way[goal] = ([*map(str, about.uses)], part, way)
        return goal

    def _made(self, each: Asked, slips: Sequence[tuple[Condition, int]]) -> _About:
        tests, own = Parts.of(each.condition, leaves), Parts.of(each.condition)
        parts = own.parts
        ways: dict[tuple[int, int], int] = {}
        decides: dict[int, int] = {}
        edges: list[tuple[Edge, int]] = []
        # A single part is the whole.
        named = [(called(part), able(self.program, part)) for part in parts]
        text = " ".join(each.text.split())
        whole = [(text, able(self.program, each.condition))] if len(parts) > 1 else []
        for place, (text, can) in enumerate([*named, *whole]):
            for verdict in sorted(can):
                ways[place, int(verdict)] = self._way(each, text, TO_BE[verdict])
        for place, (part, turns) in enumerate(zip(parts, deciding(self.program, own), strict=True)):
            if len(parts) > 1 and turns:
                decides[place] = self._way(each, called(part), TO_DECIDE)
            if isinstance(part, Within):
                at_test = next(n for n, test in enumerate(tests.parts) if same(test, part) is not None)
                step, said = step_of(self.program, part)
                for edge, at in edges_of(self.program, part):
                    for above in (False, True):
                        way = beside(said, above, bound_of(part, edge))
                        goal = self._way(each, called(part), way)
                        edges.append((Edge(at_test, at, above, step), goal))
        moved: dict[int, int] = {}
        for changed, goal in slips:
            for leaf in leaves(changed):
                if all(same(part, leaf) is None for part in tests.parts):
                    place = next(n for n, part in enumerate(_leaves(tests)) if part.ref == leaf.ref)
                    moved[place] = moved.get(place, 0) | 1 << goal
        flat = merged(each.condition), tuple(map(merged, parts))
        return _About(each, *flat, tests, own, ways, decides, edges, slips, moved)

    def edges(self, cond: int) -> Iterator[tuple[Edge, int]]:
        """The edges of a condition, each with the goals that a number beside it may show."""
        if cond in self._about:
            about = self._about[cond]
            for edge, goal in about.edges:
                yield edge, 1 << goal | about.moved.get(edge.part, 0)

    def tests(self, cond: int) -> Sequence[Leaf]:
        """The tests of a condition, those in named ones as well."""
        return _leaves(self._about[cond].tests)

    def decided_by(self, cond: int, verdicts: Sequence[int], place: int) -> bool:
        """Whether a test of a condition decides it, whatever its own verdict is."""
        tests = self._about[cond].tests
        return len(tests.parts) == 1 or tests.decides(
            (*verdicts[:place], int(Verdict.HOLDS), *verdicts[place + 1 :]), place
        )

    def would_show(self, cond: int, verdicts: tuple[int, ...]) -> int:
        """The goals that these verdicts of the parts of a condition would show, as far as these alone say."""
        key = (cond, verdicts)
        if key in self._would:
            return self._would[key]
        about = self._about[cond]
        now = about.tests.judged(verdicts)
        own = [_of_tests(part, about.tests.parts, verdicts) for part in about.parts.parts]
        found = self._seen(about, [int(each) for each in own if each is not None], int(now))
        for changed, goal in about.slips:
            then = _of_tests(changed, about.tests.parts, verdicts)
            if then is not None and then is not now:
                found |= 1 << goal
        self._would[key] = found
        return found

    def _seen(self, about: _About, own: Sequence[int], whole: int) -> int:
        """The goals that the verdicts of the parts of a condition, and its own, show."""
        goals = 0
        for place, verdict in enumerate((*own, whole)):
            if (place, verdict) in about.ways:
                goals |= 1 << about.ways[place, verdict]
            if place in about.decides and about.parts.decides(own, place):
                goals |= 1 << about.decides[place]
        return goals

    def of_order(self, found: Assessment, lines: Sequence[Line], again: bool = False) -> int:
        """The goals of the order of steps that what is next shows: each only once, unless asked `again`."""
        goals = 0
        for pair, goal in self.order.items():
            if pair.first == found.next.step and (again or pair not in self._in_order):
                with the_other_way_round(self.program, pair):
                    other = assess(self.program, lines, found.at).next
                if other.step != pair.first:
                    self._in_order.add(pair)
                    goals |= 1 << goal
        return goals

    def shown(self, view: View, wanted: int = -1) -> Iterator[Shown]:
        """What the conditions that have goals in `wanted` show in a view, for each choice of members."""
        for number, about in self._about.items():
            if not wanted & self.of.get(number, 0):
                continue
            for use in about.asked.judged_by:
                for members, seen, binding in newest(view, use):
                    yield Shown(number, use, members, *self._judged(seen, binding, use, about))

    def _judged(
        self, view: View, binding: Mapping[str, str], use: Use, about: _About
    ) -> tuple[int, tuple[int, ...]]:
        values = {part.ref: view.value(part.ref.bound(binding)) for part in _leaves(about.tests)}
        number = about.asked.number
        key = (number, *(v.mask if isinstance(v, Options) else v.span() for v in values.values()))
        held = self._known.get(key)
        if held is None:
            named = number < 0
            whole = int(
                judge_merged(about.flat, values.__getitem__) if named else view.judge(use.cond, binding)
            )
            held = self._known[key] = self._compared(about, values, whole)
        return held

    def _compared(
        self, about: _About, values: Mapping[Ref, Number | Options], whole: int
    ) -> tuple[int, tuple[int, ...]]:
        verdicts = []
        spans: dict[int, tuple[float, float]] = {}
        for place, part in enumerate(_leaves(about.tests)):
            value = values[part.ref]
            if isinstance(value, Options):
                assert not isinstance(part, Within)
                verdicts.append(int(judge_mask(value.mask, part.sure, part.never)))
            else:
                assert isinstance(part, Within)
                spans[place] = low, high = value.span()
                verdicts.append(int(judge_span(low, high, part.region)))
        own = [int(judge_merged(part, values.__getitem__)) for part in about.flat_parts]
        goals = self._seen(about, own, whole)
        for edge, goal in about.edges:
            low, high = spans[edge.part]
            spare = low - edge.at if edge.above else edge.at - high
            if verdicts[edge.part] != Verdict.OPEN and 0 <= spare <= edge.step * (1 + 1e-9):
                goals |= 1 << goal
        for changed, goal in about.slips:
            if judge_merged(changed, values.__getitem__) != whole:
                goals |= 1 << goal
        return goals, (*verdicts, whole)


def _leaves(tests: Parts) -> list[Leaf]:
    return [part for part in tests.parts if not isinstance(part, All | Either)]


def _of_tests(tree: Condition, parts: Sequence[Piece], verdicts: Sequence[int]) -> Verdict | None:
    """The verdict of a tree of these tests, some turned round; None where another test is in it."""
    if isinstance(tree, All | Either):
        found = [_of_tests(part, parts, verdicts) for part in tree.parts]
        known = [each for each in found if each is not None]
        return (all_of if isinstance(tree, All) else any_of)(known) if len(known) == len(found) else None
    if isinstance(tree, Truth):
        return Verdict.HOLDS if tree.value else Verdict.FAILS
    for part, verdict in zip(parts, verdicts, strict=False):
        turn = same(part, tree)
        if turn is not None:
            return Verdict(turned(verdict) if turn else verdict)
    return None


def newest(view: View, use: Use) -> Iterator[tuple[tuple[str, ...], View, Mapping[str, str]]]:
    """For each choice of members what a condition is judged in; what makes entries count, for the newest."""
    found = {
        tuple(binding.get(per, "") for per in use.per): (seen, binding)
        for seen, binding in each_view(view, use)
    }
    for members, (seen, binding) in found.items():
        yield members, seen, binding
