"""What one more entry can change: everything that rests on it, and nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from stillair.condition.core import Ref

from .program import Cond, Program

__all__ = ["Reach"]

Links = Mapping[str, Sequence[tuple[str, bool]]]


class Reach:
    """The references that a change may have touched.

    `broad` names are touched for every member; `local` ones only for the member they are kept with.
    """

    __slots__ = ("broad", "local")

    def __init__(self) -> None:
        self.broad: set[str] = set()
        self.local: dict[str, set[str | None]] = {}

    @staticmethod
    def of(program: Program, changed: Iterable[Ref]) -> Reach:
        """What rests on these references now, directly or not, themselves included.

        What an observation needed to count is judged as of its own moment, so it is not followed here.
        """
        return Reach._spread(changed, program.links, {})

    @staticmethod
    def of_later(program: Program, changed: Iterable[Ref]) -> Reach:
        """What these references, as a check made later, can change in the facts as of earlier moments."""
        sought = [Ref(name) for ref in changed for name in program.later.get(ref.name, ())]
        return Reach._spread(sought, program.links, program.evidence)

    @staticmethod
    def _spread(changed: Iterable[Ref], links: Links, evidence: Links) -> Reach:
        reach = Reach()
        waiting = [(ref.name, ref.member) for ref in changed]
        while waiting:
            name, member = waiting.pop()
            if name in reach.broad:
                continue
            if member is None:
                reach.broad.add(name)
                for table in (links, evidence):
                    waiting.extend((other, None) for other, _ in table.get(name, ()))
                continue
            members = reach.local.setdefault(name, set())
            if member in members:
                continue
            members.add(member)
            for table in (links, evidence):
                waiting.extend((other, member if local else None) for other, local in table.get(name, ()))
        return reach

    def touches(self, ref: Ref) -> bool:
        """Whether this reference may have changed."""
        if ref.name in self.broad:
            return True
        members = self.local.get(ref.name)
        return members is not None and ref.member in members

    def may_touch(self, cond: Cond) -> bool:
        """Whether a condition may have changed, for whichever member in hand."""
        return any(ref.name in self.broad or ref.name in self.local for ref, _ in cond.slots)

    def touches_condition(self, cond: Cond, member: str | None) -> bool:
        """Whether a condition may have changed, `member` being the one in hand."""
        for ref, _, per in cond.reads:
            if ref.name in self.broad:
                return True
            members = self.local.get(ref.name)
            if members is not None and (member if per is not None else ref.member) in members:
                return True
        return False
