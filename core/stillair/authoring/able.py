"""Which verdicts a condition and its parts can have at all, as far as domains, waits and lists tell.

What is left out here can never be; of what is in, facts may still keep some apart from one another.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from stillair.assess import Program
from stillair.assess.uses import Piece
from stillair.condition import core
from stillair.verdict import Verdict

from .parts import Parts, same

__all__ = ["able", "deciding", "range_of"]

Verdicts = frozenset[Verdict]
_ALL = frozenset(Verdict)
_HOLDS, _FAILS, _OPEN = Verdict.HOLDS, Verdict.FAILS, Verdict.OPEN


def able(program: Program, condition: core.Condition) -> Verdicts:
    """The verdicts that a condition can have."""
    match condition:
        case core.Truth():
            return frozenset({_HOLDS if condition.value else _FAILS})
        case core.Within():
            return frozenset(_of_number(program, condition))
        case core.Test():
            return frozenset(_of_options(program, condition))
        case core.All() | core.Either():
            parts = [able(program, part) for part in condition.parts]
            every, some = (_HOLDS, _FAILS) if isinstance(condition, core.All) else (_FAILS, _HOLDS)
            found = {every} if all(every in each for each in parts) else set()
            found |= {some} if any(some in each for each in parts) else set()
            # Open needs one part open and no other decided against it.
            for place, part in enumerate(parts):
                others = [*parts[:place], *parts[place + 1 :]]
                if _OPEN in part and all(each & {every, _OPEN} for each in others):
                    found.add(_OPEN)
            return frozenset(found)


def deciding(program: Program, tests: Parts) -> list[bool]:
    """For each part of a condition, whether there is a case in which the whole turns on it alone."""
    found = [False] * len(tests.parts)
    for piece, can in _turning(program, tests.condition, True, tests):
        place = next(n for n, part in enumerate(tests.parts) if same(part, piece) is not None)
        found[place] |= can and bool({_HOLDS, _FAILS} & able(program, piece))
    return found


def _turning(
    program: Program, condition: core.Condition, can: bool, tests: Parts
) -> Iterator[tuple[Piece, bool]]:
    """Each part as it stands, and whether all beside it can be so that it turns the whole."""
    if isinstance(condition, core.Truth):
        return
    known = any(same(part, condition) is not None for part in tests.parts)
    if isinstance(condition, core.All | core.Either) and not known:
        needed = _HOLDS if isinstance(condition, core.All) else _FAILS
        each = [needed in able(program, part) for part in condition.parts]
        for place, part in enumerate(condition.parts):
            beside = all(each[:place]) and all(each[place + 1 :])
            yield from _turning(program, part, can and beside, tests)
    else:
        yield condition, can


def _of_number(program: Program, test: core.Within) -> Iterator[Verdict]:
    span = range_of(program, test.ref)
    if test.region.meets(*span):
        yield _HOLDS
    if test.region.complement().meets(*span):
        yield _FAILS
    derivation = program.derived.get(test.ref.name)
    if isinstance(derivation, core.Readings):
        # How often something counts is open only where it is open whether an entry of it does.
        fact = program.facts[derivation.ref.name]
        counts = [fact.counts] if fact.counts is not None else []
        if any(_OPEN in able(program, cond.checked) for cond in (*counts, *fact.place_counts.values())):
            yield _OPEN
    elif not isinstance(derivation, core.Entries):
        yield _OPEN


def _of_options(program: Program, test: core.Test) -> Iterator[Verdict]:
    derivation = program.derived.get(test.ref.name)
    found = _ALL
    if isinstance(derivation, core.Each):
        found = _of_members(program, derivation)
    elif test.ref.name in program.waits:
        doubt = _in_doubt(program, test.ref.name)
        if not (doubt & ~test.sure and doubt & ~test.never):
            found = found - {_OPEN}
    if isinstance(derivation, core.Each) and (test.sure, test.never) == (2, 1):
        swap = {_HOLDS: _FAILS, _FAILS: _HOLDS, _OPEN: _OPEN}
        found = frozenset(swap[verdict] for verdict in found)
    if _HOLDS in found and test.sure:
        yield _HOLDS
    if _FAILS in found and test.never:
        yield _FAILS
    if _OPEN in found:
        yield _OPEN


def _of_members(program: Program, each: core.Each) -> Verdicts:
    """Of `every` or `any`: over a list that is closed and empty, neither holds."""
    inner = able(program, each.condition)
    spec = program.lists.get(each.list)
    empty = each.list != "place" and spec is not None and not spec.members
    found = {verdict for verdict in (_HOLDS, _FAILS) if verdict in inner}
    found |= {_FAILS} if empty else set()
    found |= {_OPEN} if _OPEN in inner or (spec is not None and spec.open) else set()
    return frozenset(found)


def _in_doubt(program: Program, name: str) -> int:
    """The states between which a wait may be in doubt, as a mask of ready, running and not started.

    A fact that starts it may be in doubt, or a list left open; else only a witness or its length leaves it
    open whether it is over.
    """
    wait = program.waits[name]
    opened = {list_ for list_, spec in program.lists.items() if spec.open}
    if any(each.mask is not None or (each.per in opened and not each.any) for each in wait.since):
        return 0b111
    return 0b011 if wait.witness is not None or wait.lasts is not None else 0


def range_of(program: Program, ref: core.Ref) -> tuple[float, float]:
    """The range a fact is kept to; a count and the time since something are never below nothing."""
    symbol = program.symbols.get(ref.name)
    if symbol is not None and symbol.kind == "fact" and isinstance(symbol.domain, core.NumberDomain):
        return symbol.domain.low, symbol.domain.high
    if isinstance(program.derived.get(ref.name), core.SinceEvent | core.Readings | core.Entries | core.Count):
        return 0.0, math.inf
    return -math.inf, math.inf
