"""Conditions changed in one place each, as a slip of their author might, and those that change nothing.

A number is moved by one step, its unit is taken for another, a test is turned round, a part is left out,
`and` stands for `or`. A mutant that no possible facts can tell from the condition is equivalent: every
combination of options, and of numbers on each side of every edge, within the range of each fact, is tried.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise, product
from typing import NamedTuple

from stillair import quantity
from stillair.assess import Program
from stillair.assess.program import Cond
from stillair.assess.uses import Asked, Leaf, Piece, leaves, named_in, pieces, uses
from stillair.condition import core
from stillair.condition.core import All, Condition, Either, Ref, Test, Truth, Within, negated
from stillair.condition.merge import merged
from stillair.condition.tree import Lookup, judge, judge_merged
from stillair.possible import Number, Options, Region
from stillair.verdict import Verdict

from .able import able, range_of
from .coverage import step_of
from .parts import called

__all__ = ["MOST", "Case", "Mutant", "apart", "counted", "mutants", "never", "places", "settled", "values_of"]

MOST = 20_000
"""Combinations tried to tell a mutant from its condition (judgement: a second)."""

Case = Mapping[Ref, float | int | None]
"""For each reference one possible value: a number, the bit of an option, or None where it is not known."""


class Mutant(NamedTuple):
    """A condition with one part of it changed: what stands in its place, in words.

    A condition that has a name is one part wherever it stands; its own parts are changed in the `asked` that
    is about it, and so in whatever it stands.
    """

    asked: Asked
    part: str
    instead: str
    changed: Condition


def mutants(program: Program, asked: Asked) -> Iterator[Mutant]:
    """Every mutant of a condition, as written."""
    tree = asked.condition
    for place, piece in enumerate(pieces(tree)):
        for instead, new in _of_piece(program, piece):
            yield Mutant(asked, called(piece), instead, _with(tree, place, new))
    for path, node in _joins(tree):
        for index, part in enumerate(node.parts):
            rest = node.parts[:index] + node.parts[index + 1 :]
            new = rest[0] if len(rest) == 1 else type(node)(rest, node.text)
            yield Mutant(asked, _called(part), "left out", _at(tree, path, new))
        word, other = ("or", Either) if isinstance(node, All) else ("and", All)
        join = "and" if word == "or" else "or"
        swapped = other(node.parts, node.text)
        told = f"`{word}` for `{join}`"
        yield Mutant(asked, _called(node), told, _at(tree, path, swapped))


def places(program: Program, mutant: Mutant) -> list[tuple[Cond, Condition]]:
    """The conditions that a mutant changes, each with what stands in its place."""
    named = mutant.asked.named
    if named is None:
        return [(mutant.asked.uses[0].cond, mutant.changed)]
    conds = {use.cond.number: use.cond for use in uses(program)}
    either = (named, f"not {named}")
    standing = [c for c in conds.values() if any(each.name in either for each in named_in(c.checked))]
    return [(cond, _put(cond.checked, named, mutant.changed)) for cond in standing]


def _put(tree: Condition, name: str, new: Condition) -> Condition:
    """The tree with another condition in the place of a named one."""
    if not isinstance(tree, All | Either):
        return tree
    if tree.name == name:
        return _as(name, new)
    if tree.name == f"not {name}":
        return _as(f"not {name}", negated(new))
    return tree._replace(parts=tuple(_put(part, name, new) for part in tree.parts))


def _as(name: str, new: Condition) -> Condition:
    """The condition under the name, though there be one part left of it."""
    return new._replace(name=name) if isinstance(new, All | Either) else All((new,), new.text, name)


def _called(part: Condition) -> str:
    return " ".join(part.text.split()) if isinstance(part, Truth) else called(part)


def _of_piece(program: Program, leaf: Piece) -> Iterator[tuple[str, Condition]]:
    yield "the other way round", negated(leaf)
    if not isinstance(leaf, Within):
        return
    size, said = step_of(program, leaf)
    for edge, at in enumerate(leaf.region.edges()):
        for by, word in ((size, "more"), (-size, "less")):
            moved = _moved(leaf.region, edge, at + by)
            if moved is not None:
                yield f"{said} {word} at its {_which(leaf, edge)}", leaf._replace(region=moved)
    if len(list(leaf.region.edges())) == 1:
        yield from _other_units(program, leaf)


def _which(leaf: Within, edge: int) -> str:
    return "edge" if len(list(leaf.region.edges())) == 1 else ("lower edge", "upper edge")[min(edge, 1)]


def _moved(region: Region, edge: int, to: float) -> Region | None:
    """The region with one of its edges elsewhere; None where there would be nothing left."""
    pieces = []
    count = 0
    for low, low_in, high, high_in in region.pieces:
        ends = []
        for end in (low, high):
            if math.isfinite(end):
                ends.append(to if count == edge else end)
                count += 1
            else:
                ends.append(end)
        if ends[0] > ends[1]:
            return None
        pieces.append((ends[0], low_in, ends[1], high_in))
    return Region(tuple(pieces))


def _other_units(program: Program, leaf: Within) -> Iterator[tuple[str, Condition]]:
    """The number written, had it been meant in a unit it is often confused with."""
    if len(leaf.bounds) != 1:
        return
    limit = program.limits.get(leaf.bounds[0])
    try:
        read = quantity.read(limit.text if limit is not None else leaf.bounds[0], leaf.dimension)
    except quantity.QuantityError:
        return
    (at,) = leaf.region.edges()
    if read.value != at:
        return
    others = [other for other in quantity.other_units(read) if other.value != at]
    for other in others[:1]:
        moved = _moved(leaf.region, 0, other.value)
        if moved is not None:
            yield (
                f"{other.typed} for {limit.text if limit is not None else leaf.bounds[0]}",
                leaf._replace(region=moved),
            )


# -- the tree ------------------------------------------------------------------------------------------------


def _with(tree: Condition, place: int, new: Condition) -> Condition:
    """The tree with its part number `place` replaced."""
    count = -1

    def walk(node: Condition) -> Condition:
        nonlocal count
        if isinstance(node, All | Either) and node.name is None:
            return type(node)(tuple(walk(part) for part in node.parts), node.text)
        if isinstance(node, Truth):
            return node
        count += 1
        return new if count == place else node

    return walk(tree)


def _joins(tree: Condition, path: tuple[int, ...] = ()) -> Iterator[tuple[tuple[int, ...], All | Either]]:
    if isinstance(tree, All | Either) and tree.name is None:
        yield path, tree
        for index, part in enumerate(tree.parts):
            yield from _joins(part, (*path, index))


def _at(tree: Condition, path: Sequence[int], new: Condition) -> Condition:
    if not path:
        return new
    assert isinstance(tree, All | Either)
    parts = list(tree.parts)
    parts[path[0]] = _at(parts[path[0]], path[1:], new)
    return type(tree)(tuple(parts), tree.text)


# -- telling them apart --------------------------------------------------------------------------------------


def apart(program: Program, mutant: Mutant) -> Case | bool:
    """Facts for which the mutant and its condition differ; False if there are none, True if not found out.

    Cases in which everything is known come first.
    """
    old, new = mutant.asked.condition, mutant.changed
    if _one_test_the_same(program, old, new):
        return False
    choices = {ref: values_of(program, ref, old, new) for ref in dict.fromkeys(core.refs_of(old))}
    if math.prod(map(len, choices.values())) > MOST:
        return True
    flat_old, flat_new = merged(old), merged(new)
    for values in product(*choices.values()):
        case = dict(zip(choices, values, strict=True))
        lookup = _lookup(program, case, old)
        if judge_merged(flat_old, lookup) is not judge_merged(flat_new, lookup):
            return case
    return False


def _one_test_the_same(program: Program, old: Condition, new: Condition) -> bool:
    """Whether only one test differs, and comes out the same for whatever its fact may be."""
    unlike = [(a, b) for a, b in zip(leaves(old), leaves(new), strict=False) if a != b]
    if len(leaves(old)) != len(leaves(new)) or len(unlike) != 1 or unlike[0][0].ref != unlike[0][1].ref:
        return False
    a, b = unlike[0]
    cases: list[Case] = [{a.ref: value} for value in values_of(program, a.ref, a, b)]
    return all(settled(program, a, case) is settled(program, b, case) for case in cases)


def never(program: Program, condition: Condition) -> bool:
    """Whether a condition is shown to hold for no facts."""
    condition = merged(condition)
    choices = {r: values_of(program, r, condition) for r in dict.fromkeys(core.refs_of(condition))}
    if math.prod(map(len, choices.values())) > MOST:
        return False
    cases = (dict(zip(choices, values, strict=True)) for values in product(*choices.values()))
    return not any(settled(program, condition, case) is Verdict.HOLDS for case in cases)


def settled(program: Program, condition: Condition, case: Case) -> Verdict:
    """The verdict of a condition for these values. A fact of which nothing counts is not known."""
    return judge(condition, _lookup(program, case, condition))


def _lookup(program: Program, case: Case, condition: Condition) -> Lookup:
    unknown = {leaf.ref: _unknown(program, leaf) for leaf in leaves(condition)}
    nothing = set()
    for ref, value in case.items():
        inner = counted(program, ref) if value == 0 else None
        if inner is not None:
            of_member = inner.member is not None and inner.member[0] == "@"
            nothing.add(Ref(inner.name, ref.member) if of_member else inner)

    def lookup(ref: Ref) -> Number | Options:
        value = case[ref]
        if value is None or ref in nothing:
            return unknown[ref]
        return Options(value) if isinstance(value, int) else Number(value, value)

    return lookup


def counted(program: Program, ref: Ref) -> Ref | None:
    """The fact of which a number counts every reading, or every entry."""
    match program.derived.get(ref.name):
        case core.Readings(ref=inner) | core.Entries(ref=inner, option=None):
            return inner
    return None


def _unknown(program: Program, leaf: Leaf) -> Number | Options:
    """What a test is held against where nothing is known. The time since what never happened is no number."""
    if isinstance(leaf, Test):
        return Options(leaf.domain.whole)
    if isinstance(program.derived.get(leaf.ref.name), core.SinceEvent):
        return Number(-math.inf, math.inf)
    return Number(*range_of(program, leaf.ref))


def values_of(program: Program, ref: Ref, *trees: Condition) -> list[float | int | None]:
    """Values of a fact that a condition can tell apart: every option, or numbers at and beside every edge.

    Last is None where it may not be known.
    """
    of_it = (leaf for tree in trees for leaf in leaves(tree) if leaf.ref == ref)
    may_be_open = any(Verdict.OPEN in able(program, leaf) for leaf in of_it)
    return [*_known(program, ref, *trees), *([None] if may_be_open else ())]


def _known(program: Program, ref: Ref, *trees: Condition) -> list[float | int]:
    parts = [leaf for tree in trees for leaf in leaves(tree) if leaf.ref == ref]
    first = parts[0]
    if isinstance(first, Test):
        known = {(leaf.sure, leaf.never) for leaf in parts if isinstance(leaf, Test)}
        kinds: dict[tuple[bool, ...], int] = {}
        for bit in range(len(first.domain.names)):
            kinds.setdefault(tuple(bool(mask >> bit & 1) for pair in known for mask in pair), 1 << bit)
        return list(kinds.values())
    edges = sorted({edge for leaf in parts if isinstance(leaf, Within) for edge in leaf.region.edges()})
    whole = isinstance(program.derived.get(ref.name), core.Readings | core.Entries | core.Count)
    if whole:
        return [float(n) for n in sorted({max(0, math.floor(e) + d) for e in edges for d in (-1, 0, 1)})]
    low, high = range_of(program, ref)
    between = [(a + b) / 2 for a, b in pairwise(edges)]
    span = max(1.0, *(abs(e) for e in edges)) if edges else 1.0
    outer = [edges[0] - span, edges[-1] + span] if edges else [0.0]
    ends = [end for end in (low, high) if math.isfinite(end)]
    return [value for value in sorted({*edges, *between, *outer, *ends}) if low <= value <= high]
