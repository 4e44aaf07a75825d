"""The parts of a condition, each once, and what the whole comes to for the verdicts of its parts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from stillair.assess.uses import Piece, pieces
from stillair.condition import core
from stillair.verdict import Verdict, all_of, any_of

__all__ = ["Parts", "called", "same", "turned"]


class Parts(NamedTuple):
    """The tests of a condition, each once; for each place of the text which stands there, and if turned."""

    condition: core.Condition
    parts: list[Piece]
    places: list[tuple[int, bool]]

    @classmethod
    def of(
        cls, condition: core.Condition, split: Callable[[core.Condition], Sequence[Piece]] = pieces
    ) -> Parts:
        """Those that a condition is split into."""
        parts: list[Piece] = []
        places = []
        for piece in split(condition):
            known = next(
                ((n, t) for n, part in enumerate(parts) if (t := same(part, piece)) is not None), None
            )
            if known is None:
                known = len(parts), False
                parts.append(piece)
            places.append(known)
        return cls(condition, parts, places)

    def judged(self, verdicts: Sequence[int]) -> Verdict:
        """The verdict of the whole for these verdicts of its tests."""
        each = iter([turned(verdicts[n]) if t else verdicts[n] for n, t in self.places])
        return _judged(self.condition, each, any(isinstance(p, core.All | core.Either) for p in self.parts))

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


def same(part: Piece, other: Piece) -> bool | None:
    """Whether another test is the one turned round; False where it is the same, None where neither."""
    if isinstance(part, core.All | core.Either) or isinstance(other, core.All | core.Either):
        names = [str(each.name) for each in (part, other) if isinstance(each, core.All | core.Either)]
        if len(names) < 2 or names[0] == names[1]:
            return None if len(names) < 2 else False
        return True if f"not {names[0]}" == names[1] or names[0] == f"not {names[1]}" else None
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


def _judged(condition: core.Condition, verdicts: Iterator[int], named: bool) -> Verdict:
    """The verdict of a tree for those of its parts; `named` where a condition that has a name is one."""
    if isinstance(condition, core.All | core.Either) and not (named and condition.name is not None):
        join = all_of if isinstance(condition, core.All) else any_of
        return join([_judged(part, verdicts, named) for part in condition.parts])
    if isinstance(condition, core.Truth):
        return Verdict.HOLDS if condition.value else Verdict.FAILS
    return Verdict(next(verdicts))


def called(part: Piece) -> str:
    """A part as people read it: the test as it is written, or the name it has."""
    if isinstance(part, core.All | core.Either) and part.name is not None:
        return part.name
    return " ".join(part.text.split())
