"""A world as a scenario that can be kept in a file and played."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress

from stillair import quantity
from stillair.assess.program import Fact, Rule
from stillair.condition.core import All, Condition, Ref, Test, Truth, Within
from stillair.condition.worlds import Cells, Space, World
from stillair.quantity import QuantityError
from stillair.verdict import Verdict, all_of, any_of

from .sites import Subject

__all__ = ["scenario", "verdict_in"]

_STARTS = "2026-01-05 09:00 +00:00"


def scenario(subject: Subject, space: Space, world: World, title: str, rules: Mapping[str, Rule]) -> str:
    """The text of a scenario that makes the world, and expects of each rule what it is there.

    What cannot be entered as a fact, such as a formula of several, stands in a remark.
    """
    witness = _Witness(subject, space, world)
    expected = []
    for name, rule in rules.items():
        of = "" if rule.per is None else f" of {witness.member(rule.per)}"
        expected.append(f"{name}{of}: {verdict_in(rule.when.checked, space, witness.world).word}")
    lines = [
        f"scenario: {title}",
        f"starts: {_STARTS}",
        *(f"# and {said}" for said in witness.remarks),
        "does:",
    ]
    if witness.entries:
        lines += ["  - note:", *(f"      {name}: {value}" for name, value in witness.entries.items())]
    lines += ["    expect:" if witness.entries else "  - expect:", "      rules:"]
    return "\n".join([*lines, *(f"        {each}" for each in expected)])


class _Witness:
    """One world of those that are left: what to enter for it, and what cannot be entered."""

    def __init__(self, subject: Subject, space: Space, world: World) -> None:
        self.subject = subject
        self.space = space
        self.world: dict[Ref, int] = {}
        self.entries: dict[str, str] = {}
        self.remarks: list[str] = []
        for ref, mask in world.items():
            self.world[ref] = self._picked(ref, mask, space.tests[ref])

    def member(self, name: str) -> str:
        """Some member of a list."""
        if name == "place":
            return next(iter(self.subject.program.places))
        members = self.subject.program.lists[name].members
        return members[0].name if members else "one"

    def _picked(self, ref: Ref, mask: int, test: Test | Within) -> int:
        """One option or cell of those left, entered or remarked on."""
        fact = self.subject.program.facts.get(ref.name)
        name = ref.name
        if ref.member is not None:
            name = f"{name} of {self.member(ref.member[1:]) if ref.member[0] == '@' else ref.member}"
        if isinstance(test, Test):
            bit = mask & -mask
            option = test.domain.of_mask(bit)[0]
            if fact is not None:
                self.entries[name] = f'"{option}"' if option in ("yes", "no") else option
            else:
                self.remarks.append(f"{self.subject.spans.said(ref)} is {option}")
            return bit
        cells = self.space.cells[ref]
        order = sorted(range(len(cells.samples)), key=lambda i: (cells.samples[i] in cells.bounds, i))
        index = next(i for i in order if mask >> i & 1)
        shown = _shown(cells, index, fact, self.subject.spans.sign(ref))
        if fact is not None:
            self.entries[name] = shown
        else:
            self.remarks.append(f"{self.subject.spans.said(ref)} is {shown}")
        return 1 << index


def _shown(cells: Cells, index: int, fact: Fact | None, sign: int = 1) -> str:
    """A number of a cell as it is typed: in few digits where these lie in the same cell; of a difference
    that is written the other way round with the other `sign`.
    """
    value, dimension = cells.samples[index], cells.domain.dimension
    unit = fact.unit if fact is not None and fact.unit is not None else quantity.canonical_unit(dimension)
    around = [cells.samples[i] for i in (index - 1, index + 1) if 0 <= i < len(cells.samples)]
    short = quantity.show(sign * value, unit)
    with suppress(QuantityError):
        read = sign * quantity.read(short, dimension, default=unit).value
        if read == value or (value not in cells.bounds and all((read < x) is (value < x) for x in around)):
            return short
    return f"{sign * value!r} {quantity.canonical_unit(dimension).symbol}".removesuffix(" 1")


def verdict_in(condition: Condition, space: Space, world: World) -> Verdict:
    """The verdict of a condition where each name may be any of what a world leaves of it."""
    if isinstance(condition, Truth):
        return Verdict.HOLDS if condition.value else Verdict.FAILS
    if isinstance(condition, Test):
        mask = world.get(space.key(condition.ref).ref, condition.domain.whole)
        sure, never = condition.sure, condition.never
    elif isinstance(condition, Within):
        ref, sign = space.key(condition.ref)
        cells = space.cells[ref]
        mask, sure = world.get(ref, cells.whole), cells.within(condition.region, sign)
        never = cells.whole & ~sure
    else:
        join = all_of if isinstance(condition, All) else any_of
        return join(verdict_in(part, space, world) for part in condition.parts)
    if not mask & ~sure:
        return Verdict.HOLDS
    return Verdict.FAILS if not mask & ~never else Verdict.OPEN
