"""Checked conditions as flat Python source: no objects, no calls in the hot path.

The source is written from the checked tree only; no text of a pack is ever executed. A number is given as
its lowest and highest possible value, options as a bit mask. A number that does not exist is (nan, nan),
for which no comparison is true, so its test is open. A mask is never empty, a lowest value never above the
highest.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from types import CodeType

from stillair.possible import Region

from .core import All, Condition, Either, Ref, Test, Truth, Within
from .merge import merged

__all__ = ["Judge", "Spans", "code_of", "functions", "slots_of", "source_of"]

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
        lines.append(f" return {Spans(names).verdict(condition)}")
    return "\n".join(lines) + "\n"


def code_of(conditions: Sequence[Condition]) -> CodeType:
    """The compiled module of `source_of`, ready to be marshalled."""
    return compile(source_of(conditions), "<conditions>", "exec", dont_inherit=True, optimize=2)


def functions(code: CodeType, count: int) -> list[Judge]:
    """The functions that a compiled module defines."""
    space: dict[str, Judge] = {}
    exec(code, {"__builtins__": {}}, space)
    return [space[f"c{number}"] for number in range(count)]


class Spans:
    """Writes tests on the locals `l` and `h` (lowest, highest) of a number and the mask `m` of options.

    `names` gives what follows the letter for each reference.
    """

    def __init__(self, names: Mapping[Ref, str]) -> None:
        self.names = names

    def verdict(self, condition: Condition) -> str:
        """Source of the verdict; what one part can decide comes first."""
        surely, possibly = self.surely(condition), self.possibly(condition)
        if isinstance(condition, All):
            return f"(1 if {surely} else 2) if {possibly} else 0"
        return f"1 if {surely} else 2 if {possibly} else 0"

    def surely(self, condition: Condition) -> str:
        """Source of 'true for every possible value'."""
        match condition:
            case Truth():
                return str(condition.value)
            case Test():
                return self.options_within(self.names[condition.ref], condition.sure, condition.domain.whole)
            case Within():
                return self.number_within(self.names[condition.ref], condition.region)
            case All():
                return joined(" and ", map(self.surely, condition.parts))
            case Either():
                return joined(" or ", map(self.surely, condition.parts))

    def possibly(self, condition: Condition) -> str:
        """Source of 'not false for every possible value'."""
        match condition:
            case Truth():
                return str(condition.value)
            case Test():
                whole = condition.domain.whole
                return self.options_meet(self.names[condition.ref], whole & ~condition.never, whole)
            case Within():
                return self.number_meets(self.names[condition.ref], condition.region)
            case All():
                return joined(" and ", map(self.possibly, condition.parts))
            case Either():
                return joined(" or ", map(self.possibly, condition.parts))

    def options_within(self, name: str, allowed: int, whole: int) -> str:
        if not allowed or allowed == whole:
            return str(bool(allowed))
        return f"m{name}=={allowed}" if single(allowed) else f"not m{name}&{whole & ~allowed}"

    def options_meet(self, name: str, allowed: int, whole: int) -> str:
        if not allowed or allowed == whole:
            return str(bool(allowed))
        others = whole & ~allowed
        return f"m{name}!={others}" if single(others) else f"m{name}&{allowed}"

    def number_within(self, name: str, region: Region) -> str:
        """Source of 'the span lies in one piece of the region'; never true for nan."""
        pieces = []
        for low, low_in, high, high_in in region.pieces:
            tests = []
            if low > -math.inf or not low_in:
                tests.append(f"l{name}>{'=' if low_in else ''}{literal(low)}")
            if high < math.inf or not high_in:
                tests.append(f"h{name}<{'=' if high_in else ''}{literal(high)}")
            pieces.append(" and ".join(tests) or f"l{name}==l{name}")
        return joined(" or ", pieces) if pieces else "False"

    def number_meets(self, name: str, region: Region) -> str:
        """Source of 'not in the rest of the numbers'; always true for nan."""
        return f"not {self.number_within(name, region.complement())}"


def single(mask: int) -> bool:
    return mask > 0 and not mask & (mask - 1)


def literal(value: float) -> str:
    """Source of a number; infinity has no other literal."""
    return repr(float(value)).replace("inf", "1e999")


def joined(word: str, parts: Iterable[str]) -> str:
    parts = list(parts)
    return parts[0] if len(parts) == 1 and " " not in parts[0] else "(" + word.join(parts) + ")"
