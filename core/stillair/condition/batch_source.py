"""The source of a `Batch`: one function for all its conditions, and one for each fact that is learnt.

A condition that needs all its parts fails as soon as one part cannot be. So verdicts start as failed, and
only where every part is still possible is a condition judged further. A part that several conditions need is
tested once, and of `x > 3` and `x > 5` the second only where the first is possible. A condition that needs
any of its parts is the same, turned round.
"""

from __future__ import annotations

import heapq
import marshal
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import CodeType

from stillair.possible import Region

from .batch import Slots
from .compiled import Spans, joined, literal, single, slots_of
from .core import All, Condition, Either, Ref, Test, Within, negated
from .merge import merged

__all__ = ["batch_code", "batch_slots"]

#: `if` within `if`; CPython 3.11 reads at most 100 levels of indentation.
_DEPTH = 60
#: The same for a row of tests on one number, so that other tests find room within.
_ROW = 20
#: Conditions for each fact from which it pays to look whether every fact has one possible value (measured).
_MANY = 2


def batch_slots(conditions: Iterable[Condition]) -> Slots:
    """The facts of these conditions in the order in which they are first mentioned."""
    numbers: dict[Ref, int] = {}
    options: dict[Ref, int] = {}
    for condition in conditions:
        for ref, is_number in slots_of(merged(condition)):
            kind = numbers if is_number else options
            kind.setdefault(ref, len(kind))
    return Slots(numbers, options)


def batch_code(conditions: Sequence[Condition]) -> bytes:
    """The code of a `Batch`, marshalled: for this version of Python only."""
    flat = [merged(condition) for condition in conditions]
    slots = batch_slots(flat)
    widest = max((len(test.domain.names) for condition in flat for test in _tests(condition)), default=0)
    judges = [*_judge("spans", "lh", Spans, flat, slots)]
    if len(flat) >= _MANY * (len(slots.numbers) + len(slots.options)):
        judges += _judge("points", "x", _Points, flat, slots)
    return marshal.dumps((_compiled(judges), marshal.dumps(_compiled(_updates(flat, slots))), widest))


def _compiled(lines: Iterable[str]) -> CodeType:
    return compile("\n".join(lines) + "\n", "<conditions>", "exec", dont_inherit=True, optimize=2)


class _Points(Spans):
    """Writes tests on the local `x`, the one value of a number, and the mask `m` of one option."""

    def options_within(self, name: str, allowed: int, whole: int) -> str:
        others = whole & ~allowed
        if not allowed or not others:
            return str(bool(allowed))
        if single(allowed) or single(others):
            return f"m{name}=={allowed}" if single(allowed) else f"m{name}!={others}"
        if single(allowed + 1):
            return f"m{name}<{allowed + 1}"
        if single(others + 1):
            return f"m{name}>{others}"
        return f"m{name}&{allowed}"

    options_meet = options_within

    def number_within(self, name: str, region: Region) -> str:
        pieces = []
        for low, low_in, high, high_in in region.pieces:
            tests = []
            if low > -math.inf or not low_in:
                tests.append(f"x{name}>{'=' if low_in else ''}{literal(low)}")
            if high < math.inf or not high_in:
                tests.append(f"x{name}<{'=' if high_in else ''}{literal(high)}")
            pieces.append(" and ".join(tests) or "True")
        return joined(" or ", pieces) if pieces else "False"

    number_meets = number_within


@dataclass(frozen=True, slots=True)
class _Gate:
    """A test that must be possible. Of two with the same `row`, one at a higher `place` is the narrower."""

    row: tuple[str, str]
    place: tuple[float, bool]
    source: str
    cost: int


@dataclass(frozen=True, slots=True)
class _Rule:
    """What is judged once every gate is passed, as a statement."""

    gates: tuple[_Gate, ...]
    statement: str


def _judge(
    name: str, values: str, kind: type[Spans], conditions: Sequence[Condition], slots: Slots
) -> Iterator[str]:
    """The function `name` over lists of `values` and masks, giving every verdict."""
    names = {ref: str(slot) for each in (slots.numbers, slots.options) for ref, slot in each.items()}
    rules: list[_Rule] = []
    decided: list[int] = []
    spans = kind(names)
    for number, condition in enumerate(conditions):
        parts, fails, holds = _parts(condition)
        gates = sorted((gate for part in parts for gate in _gates(part, spans)), key=lambda gate: gate.cost)
        sure = [spans.surely(part) for part in parts if kind is Spans or not _two_valued(part)]
        verdict = f"{holds} if {joined(' and ', sure)} else 2" if sure else str(holds)
        decided.append(fails)
        rules.append(_Rule(tuple(gates), f"r[{number}] = {verdict}"))
    yield f"def {name}({', '.join(values)}, m):"
    for letter, count in [*((value, len(slots.numbers)) for value in values), ("m", len(slots.options))]:
        if count:
            yield f" {''.join(f'{letter}{slot}, ' for slot in range(count))} = {letter}"
    yield f" r = {decided}"
    yield from _nested(rules, 1)
    yield " return r"


def _nested(rules: Sequence[_Rule], depth: int) -> Iterator[str]:
    """Statements that judge these rules, a gate of several tested once."""
    indent = " " * depth
    alone, rows = (rules, []) if depth > _DEPTH else _rows(rules)
    for rule in alone:
        passed = " and ".join(gate.source for gate in rule.gates)
        yield f"{indent}if {passed}: {rule.statement}" if passed else indent + rule.statement
    for row in rows:
        places = sorted(row)
        for number, place in enumerate(places):
            deeper = depth + number % _ROW
            source, within = row[place]
            yield f"{' ' * deeper}if {source}:"
            yield from _nested(within, deeper + 1)


_Row = dict[tuple[float, bool], tuple[str, list[_Rule]]]


def _rows(rules: Sequence[_Rule]) -> tuple[list[_Rule], list[_Row]]:
    """The rules that share no gate, and the rows of those that do: by place, a gate and the rules within it.

    The rows that save most tests are taken first.
    """
    having: dict[tuple[str, str], dict[int, _Gate]] = defaultdict(dict)
    for number, rule in enumerate(rules):
        for gate in rule.gates:
            having[gate.row].setdefault(number, gate)

    def saving(held: Mapping[int, _Gate]) -> float:
        # Half of a row of narrower and narrower tests is made, for values spread evenly.
        return len(held) - (len({gate.place for gate in held.values()}) + 1) / 2

    heap = [(-saving(held), key) for key, held in having.items()]
    heapq.heapify(heap)
    left = dict(enumerate(rules))
    rows: list[_Row] = []
    while heap:
        before, key = heapq.heappop(heap)
        held = {number: gate for number, gate in having[key].items() if number in left}
        if len(held) < 2:
            continue
        if -saving(held) > before:
            heapq.heappush(heap, (-saving(held), key))
            continue
        row: _Row = {}
        for number, gate in held.items():
            rule = left.pop(number)
            rest = tuple(other for other in rule.gates if other is not gate)
            row.setdefault(gate.place, (gate.source, []))[1].append(replace(rule, gates=rest))
        rows.append(row)
    return list(left.values()), rows


def _gates(part: Condition, spans: Spans) -> Iterator[_Gate]:
    """The tests that all must be possible for the part to be."""
    if isinstance(part, Within) and len(part.region.pieces) == 1:
        name = spans.names[part.ref]
        low, low_in, high, high_in = part.region.pieces[0]
        if low > -math.inf or not low_in:
            above = part._replace(region=Region(((low, low_in, math.inf, True),)))
            yield _Gate(("above", name), (low, not low_in), spans.possibly(above), 1)
        if high < math.inf or not high_in:
            below = part._replace(region=Region(((-math.inf, True, high, high_in),)))
            yield _Gate(("below", name), (-high, not high_in), spans.possibly(below), 1)
        return
    source = spans.possibly(part)
    if source != "True":
        yield _Gate(("", source), (0.0, False), source, len(source) if " " in source else 1 + ("&" in source))


def _updates(conditions: Sequence[Condition], slots: Slots) -> Iterator[str]:
    """The functions of `Batch.updates`.

    Every part of an open condition was possible, and only those that mention the fact may have changed.
    """
    names = {ref: f"[{slot}]" for each in (slots.numbers, slots.options) for ref, slot in each.items()}
    spans = Spans(names)
    statements: dict[Ref, list[str]] = defaultdict(list)
    for number, condition in enumerate(conditions):
        parts, fails, holds = _parts(condition)
        possible, sure = [list(map(each, parts)) for each in (spans.possibly, spans.surely)]
        mentions = [{ref for ref, _ in slots_of(part)} for part in parts]
        for ref in set[Ref]().union(*mentions):
            these = [at for at, refs in enumerate(mentions) if ref in refs]
            others = [at for at in range(len(parts)) if at not in these]
            statements[ref] += [
                f" if r[{number}]==2:",
                f"  if {' and '.join(possible[at] for at in these)}:",
                f"   if {' and '.join(sure[at] for at in these + others)}: r[{number}] = {holds}",
                f"  else: r[{number}] = {fails}",
            ]
    for kind, each in (("numbers", slots.numbers), ("options", slots.options)):
        for ref, slot in each.items():
            yield f"def {kind}_{slot}(l, h, m, r):"
            yield from statements[ref]
        yield f"{kind} = ({''.join(f'{kind}_{slot}, ' for slot in each.values())})"


def _parts(condition: Condition) -> tuple[tuple[Condition, ...], int, int]:
    """Parts, the verdict where any of them fails, and the verdict where all hold."""
    if isinstance(condition, Either):
        return tuple(map(negated, condition.parts)), 1, 0
    return condition.parts if isinstance(condition, All) else (condition,), 0, 1


def _tests(condition: Condition) -> Iterator[Test]:
    if isinstance(condition, Test):
        yield condition
    elif isinstance(condition, All | Either):
        for part in condition.parts:
            yield from _tests(part)


def _two_valued(condition: Condition) -> bool:
    """Whether one value of each fact decides it: no option that a test says nothing about."""
    return all(test.sure | test.never == test.domain.whole for test in _tests(condition))
