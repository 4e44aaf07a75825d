"""What might be entered next so that one test of a condition comes out otherwise.

Nothing here knows what follows: each is a guess, from the most direct, to be tried and looked at.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from stillair import quantity
from stillair.assess import Program
from stillair.assess.program import Fact
from stillair.assess.uses import Leaf, Use
from stillair.condition import core
from stillair.condition.core import NumberDomain, OptionDomain, Ref, Within
from stillair.quantity import QuantityError

from .rehearse import Player

__all__ = ["Dial", "Entry", "dials", "exact_instrument", "varied"]

Entry = dict[str, Any]
"""One entry of a scenario."""

_LATER = (1, 5, 10, 15, 16, 20, 30, 31, 60, 61, 90, 121, 24 * 60, 48 * 60, 15 * 1440, 31 * 1440, 366 * 1440)
"""Minutes by which the clock is moved on (judgement: the lengths that waits and lives commonly have)."""

_SPREAD = (0.0, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98, 1.0)
"""Where in its range a number is tried."""

_PLACES = 12
"""Parts a range is divided in to find between which of them an edge lies (judgement)."""

_NEAR, _DIALS = 10, 4
"""Facts looked at for one with a number, and of those with a number (judgement)."""

_DIGITS = 7
"""Digits of a number that are typed at most (judgement)."""

_MOST_FACTS = 30
"""Facts behind a test that are tried (judgement)."""


def varied(player: Player, use: Use, members: tuple[str, ...], part: Leaf) -> Iterator[Entry]:
    """Entries that may turn one part of a condition, nearest first. None is checked for being possible."""
    program = player.program
    binding = dict(zip(use.per, members, strict=False))
    for entry in _entries(player, part, binding):
        yield _again(player, use, members, entry)
    moment = player.day
    exact: list[float] = []
    if isinstance(part, Within) and isinstance(program.derived.get(part.ref.name), core.SinceEvent):
        now = player.found().view.number(part.ref.bound(binding))
        if now.low == now.high:
            exact = [(edge - now.low) / 60 + by for edge in part.region.edges() for by in (-0.5, 0.5)]
    for minutes in (*(m for m in exact if m > 0), *_LATER):
        yield _again(player, use, members, {"at": _clock(moment + timedelta(minutes=minutes))})


def _again(player: Player, use: Use, members: tuple[str, ...], entry: Entry) -> Entry:
    """The entry, and after it the fact anew whose entries the condition makes count."""
    if use.judged is None or not entry.keys() & {"note", "at"}:
        return entry
    fact = player.program.facts[use.judged]
    name = use.judged if fact.per is None else f"{use.judged} of {members[0] if members else ''}"
    note = entry.get("note", {})
    last = entered(player, name)
    return entry if name in note or last is None else {**entry, "note": {**note, name: last}}


def _entries(player: Player, part: Leaf, binding: dict[str, str]) -> Iterator[Entry]:
    program = player.program
    lists = (getattr(program.derived.get(name), "list", None) for name in _reached(program, part.ref.name))
    for each in dict.fromkeys(name for name in lists if name is not None):
        yield {"listed": each}
        yield {"member": {each: [f"another {each}"]}}
    for name in behind(program, part.ref.name):
        if name not in program.facts:
            yield from _events(player, name, binding)
            continue
        fact = program.facts[name]
        for text in _names(player, fact, part.ref, binding):
            for value in _values(player, fact, part):
                yield from _noted(player, fact, text, value)
            yield {"cannot": {text: "not reached"}}


def behind(program: Program, name: str) -> list[str]:
    """The facts and events that a name rests on, the nearest first."""
    reached = _reached(program, name)
    return [each for each in reached if each in program.facts or each in program.events][:_MOST_FACTS]


def _reached(program: Program, name: str) -> list[str]:
    """The name and all names that it rests on, the nearest first, until there are facts enough."""
    found = {name: None}
    level, facts = [name], 0
    while level and facts < _MOST_FACTS:
        level = [below for each in level for below in _below(program, each) if below not in found]
        level = list(dict.fromkeys(level))
        found |= dict.fromkeys(level)
        facts += sum(each in program.facts or each in program.events for each in level)
    return list(found)


def _below(program: Program, name: str) -> Iterator[str]:
    """The names that a name rests on directly."""
    for source, targets in program.links.items():
        if any(target == name for target, _ in targets):
            yield source


def _names(player: Player, fact: Fact, ref: Ref, binding: dict[str, str]) -> list[str]:
    """The fact as it is entered, for the member in hand or for each."""
    if fact.per is None:
        return [fact.name]
    if ref.name == fact.name and ref.member is not None and ref.member[0] != "@":
        return [f"{fact.name} of {ref.member}"]
    if fact.per in binding:
        return [f"{fact.name} of {binding[fact.per]}"]
    members = list(player.found().view.members(fact.per)[0])
    return [f"{fact.name} of {member}" for member in dict.fromkeys((*members[:2], *members[-1:]))]


def _events(player: Player, name: str, binding: dict[str, str]) -> Iterator[Entry]:
    spec = player.program.events.get(name)
    if spec is None or spec.per is None:
        yield {"event": name}
        return
    per = str(spec.per)
    members = [binding[per]] if per in binding else list(player.found().view.members(per)[0])
    yield from ({"event": name, "of": member} for member in members[:3])


def _noted(player: Player, fact: Fact, text: str, value: str) -> Iterator[Entry]:
    yield {"note": {text: value}}
    if entered(player, text) is not None:
        yield {"correct": {text: value}}


def entered(player: Player, text: str) -> str | None:
    """What was entered last for a fact, as it was typed; None if nothing was."""
    name, _, member = text.partition(" of ")
    for line in reversed(player.lines):
        body: Any = line.body.get("body") if line.kind == "correct" else line.body
        if isinstance(body, dict) and body.get("fact") == name and body.get("of") == (member or None):
            if "read" in body:
                return str(body["read"])
            return None
    return None


def _values(player: Player, fact: Fact, part: Leaf) -> Iterator[str]:
    if isinstance(fact.domain, OptionDomain):
        yield from fact.domain.names[:40]
        return
    for value in numbers(fact, part):
        if (text := typed(fact, value)) is not None:
            yield text


def numbers(fact: Fact, part: Leaf | None = None) -> Iterator[float]:
    """Numbers to try for a fact: about the edges where the test is of it, else through its range."""
    assert isinstance(fact.domain, NumberDomain)
    low, high = fact.domain.low, fact.domain.high
    if not (math.isfinite(low) and math.isfinite(high)):
        return
    if isinstance(part, Within) and part.ref.name == fact.name:
        for edge in part.region.edges():
            yield from (edge + (high - low) * by for by in (0, -0.001, 0.001, -0.1, 0.1))
    yield from (low + (high - low) * by for by in _SPREAD)


def typed(fact: Fact, value: float) -> str | None:
    """A number as it is typed, in the unit of the fact; None where it is outside the range."""
    assert isinstance(fact.domain, NumberDomain)
    if not fact.domain.low <= value <= fact.domain.high or fact.unit is None:
        return None
    dimension = fact.domain.dimension
    if dimension.name in ("moment", "date"):
        return quantity.show(value, fact.unit)
    shown = float(f"{(value - float(fact.unit.offset)) / float(fact.unit.factor):.{_DIGITS}g}")
    text = f"{shown:.10g} {fact.unit.symbol}".removesuffix(" 1")
    try:
        quantity.read(text, dimension, default=fact.unit)
    except QuantityError:
        return None
    return text


class Dial(NamedTuple):
    """A fact with a number that stands behind another number, `about`: what to enter to turn it."""

    fact: Fact
    name: str
    about: Ref
    beside: Mapping[str, str]
    corrects: bool = False
    exact: Mapping[str, str] | None = None
    """An instrument without tolerance, with which it is read."""

    def values(self) -> list[float]:
        """Numbers through the range of the fact."""
        low, high = self.fact.domain.low, self.fact.domain.high  # type: ignore[union-attr]
        return [low + (high - low) * place / _PLACES for place in range(_PLACES + 1)]

    def rounded(self, value: float) -> Iterator[float]:
        """The number to fewer digits of the unit in which it is typed, the fewest first."""
        assert self.fact.unit is not None
        factor, offset = float(self.fact.unit.factor), float(self.fact.unit.offset)
        texts = (f"{(value - offset) / factor:.{digits}g}" for digits in range(1, _DIGITS))
        yield from (float(text) * factor + offset for text in dict.fromkeys(texts))

    def entry(self, value: float) -> Entry | None:
        """The entry of this value; None where it cannot be entered."""
        text = typed(self.fact, value)
        if text is None:
            return None
        if self.corrects:
            return {"correct": {self.name: text}}
        entry: Entry = {"note": {self.name: text, **self.beside}}
        if self.exact is not None:
            entry = {"instrument": dict(self.exact), **entry, "with": {self.name: self.exact["serial"]}}
        return entry


def dials(player: Player, use: Use, members: tuple[str, ...], part: Leaf) -> Iterator[Dial]:
    """The facts with a number that stand behind a test, the nearest first."""
    program = player.program
    binding = dict(zip(use.per, members, strict=False))
    about = part.ref.bound(binding)
    count = 0
    for name in behind(program, part.ref.name)[:_NEAR]:
        fact = program.facts.get(name)
        if fact is None or not isinstance(fact.domain, NumberDomain) or fact.unit is None:
            continue
        member = None if fact.per is None else binding.get(fact.per) or about.member
        if (fact.per is None) is not (member is None):
            continue
        if not math.isfinite(fact.domain.high - fact.domain.low) or count == _DIALS:
            continue
        count += 1
        text = name if member is None else f"{name} of {member}"
        beside = {}
        if use.judged is not None and name != use.judged:
            judged = f"{use.judged} of {members[0]}" if members else use.judged
            last = entered(player, judged)
            if last is None:
                continue
            beside[judged] = last
        yield Dial(fact, text, about, beside)
        if entered(player, text) is not None:
            yield Dial(fact, text, about, beside, corrects=True)
        if fact.spec.read_with is not None:
            yield Dial(fact, text, about, beside, exact=exact_instrument(fact, fact.spec.read_with.text))


def exact_instrument(fact: Fact, kind: str) -> dict[str, str]:
    """An instrument that reads a number without tolerance, as it is declared."""
    assert fact.unit is not None
    nothing = f"0 {quantity.difference_unit(fact.unit).symbol}"
    same = {"offset": nothing, "repeat": nothing, "resolution": nothing, "of reading": "0 %"}
    return {"serial": f"exact {kind}", "kind": kind, **same}


def _clock(moment: datetime) -> str:
    return moment.replace(tzinfo=None).isoformat(" ", "seconds")
