"""Checked conditions as flat Python source: no objects, no calls in the hot path.

The source is written from the checked tree only; no text of a pack is ever executed. A number is given as
its lowest and highest possible value, options as a bit mask. A number that does not exist is (nan, nan),
for which no comparison is true, so its test is open.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from types import CodeType

from stillair.possible import Region

from .core import All, Condition, Either, Ref, Test, Truth, Within
from .merge import merged

__all__ = ["Judge", "code_of", "functions", "slots_of", "source_of"]

#: Given the flat list of lows, highs and masks of a condition's slots: 0 fails, 1 holds, 2 open.
Judge = Callable[[Sequence[float]], int]


def slots_of(condition: Condition) -> tuple[tuple[Ref, bool], ...]:
    """The references a condition reads, each once, and whether it is a number (two values) or a mask."""
    found: dict[Ref, bool] = {}

    def visit(node: Condition) -> None:
        if isinstance(node, Test | Within):
            found.setdefault(node.ref, isinstance(node, Within))
        elif isinstance(node, All | Either):
            for part in node.parts:
                visit(part)

    visit(condition)
    return tuple(found.items())


def source_of(conditions: Sequence[Condition]) -> str:
    """Python source defining `c0`, `c1`, …: one function for each condition."""
    lines: list[str] = []
    for number, condition in enumerate(conditions):
        condition = merged(condition)
        names: dict[Ref, str] = {}
        unpacked: list[str] = []
        for index, (ref, is_number) in enumerate(slots_of(condition)):
            names[ref] = str(index)
            unpacked += [f"l{index}", f"h{index}"] if is_number else [f"m{index}"]
        lines.append(f"def c{number}(v):")
        if unpacked:
            lines.append(f" {', '.join(unpacked)}, = v")
        lines.append(f" return 1 if {holds(condition, names)} else 0 if {fails(condition, names)} else 2")
    return "\n".join(lines) + "\n"


def code_of(conditions: Sequence[Condition]) -> CodeType:
    """The compiled module of `source_of`, ready to be marshalled."""
    return compile(source_of(conditions), "<conditions>", "exec", dont_inherit=True, optimize=2)


def functions(code: CodeType, count: int) -> list[Judge]:
    """The functions that a compiled module defines."""
    space: dict[str, Judge] = {}
    exec(code, {"__builtins__": {}}, space)
    return [space[f"c{number}"] for number in range(count)]


def holds(condition: Condition, names: Mapping[Ref, str]) -> str:
    """Source of 'true for every possible value'."""
    match condition:
        case Truth():
            return str(condition.value)
        case Test():
            return _inside(names[condition.ref], condition.sure, condition.domain.whole)
        case Within():
            return _covered(names[condition.ref], condition.region)
        case All():
            return _joined(" and ", [holds(part, names) for part in condition.parts])
        case Either():
            return _joined(" or ", [holds(part, names) for part in condition.parts])


def fails(condition: Condition, names: Mapping[Ref, str]) -> str:
    """Source of 'false for every possible value'."""
    match condition:
        case Truth():
            return str(not condition.value)
        case Test():
            return _inside(names[condition.ref], condition.never, condition.domain.whole)
        case Within():
            return _covered(names[condition.ref], condition.region.complement())
        case All():
            return _joined(" or ", [fails(part, names) for part in condition.parts])
        case Either():
            return _joined(" and ", [fails(part, names) for part in condition.parts])


def _joined(word: str, parts: Sequence[str]) -> str:
    return "(" + word.join(parts) + ")"


def _inside(name: str, allowed: int, whole: int) -> str:
    outside = whole & ~allowed
    return f"not m{name}&{outside}" if outside else "True"


def _covered(name: str, region: Region) -> str:
    """Source of 'the span lies in one piece of the region'; never true for nan."""
    if not region.pieces:
        return "False"
    pieces = []
    for low, low_in, high, high_in in region.pieces:
        tests = []
        if low > -math.inf:
            tests.append(f"l{name}>{'=' if low_in else ''}{low!r}")
        if high < math.inf:
            tests.append(f"h{name}<{'=' if high_in else ''}{high!r}")
        pieces.append(" and ".join(tests) or f"l{name}==l{name}")
    return pieces[0] if len(pieces) == 1 else "(" + " or ".join(pieces) + ")"
