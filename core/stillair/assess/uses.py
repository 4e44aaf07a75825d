"""What each condition of a program is for, for which members it is judged, and where it is written."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

from stillair.checklist import Checklist, Text
from stillair.condition import core
from stillair.condition.tree import judge
from stillair.verdict import Verdict

from .program import Cond, Program
from .view import Judged, View

__all__ = [
    "Asked",
    "Leaf",
    "Piece",
    "Use",
    "asked",
    "by_name",
    "each_view",
    "guarding",
    "inside",
    "leaves",
    "named_in",
    "named_verdict",
    "pieces",
    "stands",
    "uses",
    "verdict_in",
    "written",
]

Binding = Mapping[str, str]
Leaf = core.Test | core.Within
Piece = Leaf | core.All | core.Either
"""A test, or a named condition as one."""


@dataclass(frozen=True, slots=True)
class Use:
    """One use of a condition: the `gate` of the step or activity `name`, the `when` of a rule.

    `per` are the lists whose members it is judged for; `judged` is the fact whose observations it is about,
    `only` the one member of its list whose. `guards` is true for a gate, a stop, for what makes a safety fact
    count, and for what stands inside `every`, `any` or `count` of one of these.
    """

    cond: Cond
    kind: str
    name: str
    per: tuple[str, ...] = ()
    judged: str | None = None
    guards: bool = False
    only: str = ""

    def __str__(self) -> str:
        return f"{self.kind} {self.name}"


def uses(program: Program) -> Iterator[Use]:
    """Every use of a condition, by kind; one inside another comes last, once for each way it is judged."""
    owners: dict[str, dict[tuple[str | None, str], bool]] = {}
    waiting: list[tuple[Cond, str | None, str, bool]] = []
    for use in _outer(program):
        yield use
        waiting.append((use.cond, use.judged, use.only, use.guards))
    for cond, judged, only, guards in waiting:
        for name in _inner_behind(program, cond):
            known = owners.setdefault(name, {})
            if guards > known.get((judged, only), False) or (judged, only) not in known:
                known[judged, only] = guards
                waiting.append((program.inner[name], judged, only, guards))
    for name, cond in program.inner.items():
        derivation = program.derived[name]
        per = tuple(dict.fromkeys([*_per(program.outer.get(name)), derivation.list]))  # type: ignore[union-attr]
        for (judged, only), guards in owners.get(name, {(None, ""): False}).items():
            yield Use(cond, "inside", derivation.text, per, judged, guards, only)


def _inner_behind(program: Program, cond: Cond) -> Iterator[str]:
    """The derived facts that have a condition inside and that a condition reads, or a formula it reads."""
    waiting = [ref.name for ref, _ in cond.slots]
    for name in waiting:
        if name in program.inner:
            yield name
        formula = program.derived.get(name) or program.calculations.get(name, (None,))[0]
        if isinstance(formula, core.Formula):
            waiting += [ref.name for ref in core.leaves(formula.expression) if ref.name not in waiting]


def _outer(program: Program) -> Iterator[Use]:
    for rule in program.rules.values():
        kind = "stop" if rule.spec.stop else "caution" if rule.spec.caution is not None else "rule"
        yield Use(rule.when, kind, rule.spec.name, _per(rule.per), guards=bool(rule.spec.stop))
    for activity in program.activities.values():
        if activity.gate is not None:
            yield Use(activity.gate, "gate of activity", activity.spec.name, guards=True)
    for powered in program.powered.values():
        yield Use(powered.gate, "gate of powered state", powered.spec.name, guards=True)
    for step in program.steps.values():
        if step.when is not None:
            yield Use(step.when, "when of step", step.spec.name, _per(step.per))
        if step.gate is not None:
            yield Use(step.gate, "gate of step", step.spec.name, _per(step.per), guards=True)
    for fact in program.facts.values():
        if fact.counts is not None:
            safety = fact.spec.safety
            yield Use(fact.counts, "counts when of fact", fact.name, _per(fact.per), fact.name, safety)
        for place, cond in fact.place_counts.items():
            yield Use(cond, "counts when of place", place, ("place",), fact.name, only=place)
    for place_ in program.places.values():
        if place_.when is not None:
            yield Use(place_.when, "when of place", place_.spec.name, ("place",))
    for clue in program.clues.values():
        yield Use(clue.when, "clue", clue.spec.name, _per(clue.spec.per and "place"))
    for check in program.checks.values():
        if check.at_hand is not None:
            yield Use(check.at_hand, "at hand of check", check.spec.name)
    for number, impossible in enumerate(program.impossible, 1):
        yield Use(impossible.when, "impossible", str(number))
    for number, suspect in enumerate(program.suspects, 1):
        yield Use(suspect.expects, "suspect", str(number))


class Asked(NamedTuple):
    """A condition that scenarios are to show: one that is used, or a named one wherever it stands.

    `uses` name it; `judged_by` has one use for each way it is judged. `guards` is true where one of its uses
    guards. A named one has a number below 0.
    """

    number: int
    condition: core.Condition
    text: str
    uses: tuple[Use, ...]
    judged_by: tuple[Use, ...]
    guards: bool

    @property
    def named(self) -> str | None:
        """The name it has of its own."""
        return self.uses[0].name if self.number < 0 else None

    def lists_of(self, use: Use) -> tuple[str, ...]:
        """The lists for whose members it is expected: of a named one those that it is itself about."""
        if self.named is None:
            return use.per
        refs = core.refs_of(self.condition)
        return tuple(dict.fromkeys(r.member[1:] for r in refs if r.member is not None and r.member[0] == "@"))

    def called(self, use: Use, members: Sequence[str]) -> str:
        """What it is called in an expectation of this use of it, for members of its lists."""
        of = f" of {', '.join(members)}" if members else ""
        return f"{self.uses[0] if self.named is not None else use}{of}"


def asked(program: Program) -> list[Asked]:
    """Every condition once, however often it is used; last those that have a name."""
    kept = program.worked_out.get("asked")
    if kept is None:
        kept = program.worked_out["asked"] = _all_asked(program)
    assert isinstance(kept, list)
    return kept


def by_name(program: Program) -> Mapping[str, Use | Asked]:
    """Every use of a condition, and every condition that has a name, by what it is called."""
    kept = program.worked_out.get("by_name")
    if kept is None:
        named = {str(each.uses[0]): each for each in asked(program) if each.number < 0}
        kept = program.worked_out["by_name"] = {**named, **{str(use): use for use in uses(program)}}
    assert isinstance(kept, dict)
    return kept


def _all_asked(program: Program) -> list[Asked]:
    groups: dict[int, list[Use]] = {}
    named: dict[tuple[str, object], tuple[core.Condition, list[Use]]] = {}
    for use in uses(program):
        groups.setdefault(use.cond.number, []).append(use)
        for each in dict.fromkeys(named_in(use.cond.checked)):
            turned = str(each.name).startswith("not ")
            tree = core.negated(each) if turned else each
            assert isinstance(tree, core.All | core.Either)
            tree = tree._replace(name=None)
            key = str(each.name).removeprefix("not "), _shape(tree)
            held = named.get(key)
            # Told in the words of a place where it is not negated, if there is one.
            named[key] = tree if held is None or not turned else held[0], [*(held[1] if held else ()), use]
    found = [
        _asked(number, group[0].cond.checked, group[0].cond.text, group, group)
        for number, group in groups.items()
    ]
    for (name, _), (tree, by) in named.items():
        use = Use(by[0].cond, "condition", name, guards=any(each.guards for each in by))
        found.append(_asked(-1 - len(found), tree, tree.text, [use], by))
    return found


def _shape(condition: core.Condition) -> object:
    """What a condition says, however it is written: `not (not a)` is `a`."""
    match condition:
        case core.Test():
            return condition.ref, condition.sure, condition.never
        case core.Within():
            return condition.ref, condition.region
        case core.Truth():
            return condition.value
        case core.All() | core.Either():
            return type(condition), *map(_shape, condition.parts)


def _asked(number: int, condition: core.Condition, text: str, own: Sequence[Use], by: Sequence[Use]) -> Asked:
    unlike = {(use.per, use.judged, use.only): use for use in reversed(by)}
    guards = any(use.guards for use in by)
    return Asked(number, condition, text, tuple(own), tuple(reversed(unlike.values())), guards)


def guarding(program: Program) -> frozenset[str]:
    """The facts about safety, those that prove something off, and all names that gates and stops rest on."""
    proofs = {fact for powered in program.powered.values() for fact, _ in powered.proof}
    rested = {name for use in uses(program) if use.guards for name in use.cond.mentions}
    return program.safety_facts | proofs | rested


def _per(per: object) -> tuple[str, ...]:
    return () if per is None else (str(per),)


def leaves(condition: core.Condition) -> list[Leaf]:
    """The tests of a condition, in the order written."""
    if isinstance(condition, core.Test | core.Within):
        return [condition]
    if isinstance(condition, core.All | core.Either):
        return [leaf for part in condition.parts for leaf in leaves(part)]
    return []


def pieces(condition: core.Condition) -> list[Piece]:
    """The tests of a condition, in the order written, with each named condition as one of them."""
    if isinstance(condition, core.Test | core.Within):
        return [condition]
    if isinstance(condition, core.All | core.Either):
        if condition.name is not None:
            return [condition]
        return [piece for part in condition.parts for piece in pieces(part)]
    return []


def named_in(condition: core.Condition) -> Iterator[core.All | core.Either]:
    """The named conditions that a condition is made of, and those that these are made of."""
    if isinstance(condition, core.All | core.Either):
        if condition.name is not None:
            yield condition
        for part in condition.parts:
            yield from named_in(part)


def each_view(view: View, use: Use) -> Iterator[tuple[View, Binding]]:
    """Every view and every choice of members that a condition is judged in at a moment.

    What says that entries cannot be, or do not fit, is judged before they are in doubt for it.
    """
    if use.kind in ("impossible", "suspect"):
        view = view.undoubted()
    if use.judged is None:
        for chosen in product(*(view.members(per)[0] for per in use.per)):
            yield view, dict(zip(use.per, chosen, strict=True))
        return
    own = view.program.facts[use.judged].per
    others = [per for per in use.per if per != own]
    for (fact, member), found in view.history.observations.items():
        if fact != use.judged or use.only not in ("", member):
            continue
        for observation in found:
            if observation.value is not None and observation.taken <= view.at:
                seen = view.as_of(observation.moment, Judged(observation))
                base = {own: member} if own in use.per and own is not None and member is not None else {}
                for chosen in product(*(seen.members(per)[0] for per in others)):
                    yield seen, {**base, **dict(zip(others, chosen, strict=True))}


def verdict_in(view: View, use: Use, members: Sequence[str] = ()) -> Verdict | None:
    """The verdict of a condition for these members of its lists; None where it is not judged for them.

    What makes an entry count is judged for the newest entry.
    """
    for seen, binding in reversed(list(each_view(view, use))):
        if tuple(binding.get(per, "") for per in use.per) == tuple(members):
            return seen.judge(use.cond, binding)
    return None


def named_verdict(view: View, each: Asked, members: Sequence[str] = ()) -> Verdict | None:
    """The verdict of a condition that has a name, for members of the lists it is about; None if none.

    What makes an entry count is judged for the newest entry.
    """
    for use in each.judged_by:
        for seen, binding in reversed(list(each_view(view, use))):
            if [binding[per] for per in each.lists_of(use)] == list(members):
                values = {ref: seen.value(ref.bound(binding)) for ref in core.refs_of(each.condition)}
                return judge(each.condition, values.__getitem__)
    return None


def written(checklists: Iterable[Checklist]) -> Mapping[tuple[str, str], Text]:
    """Where the conditions stand in the files of packs, by kind and name of their use.

    What is numbered is counted through all checklists, which are given in the order of work.
    """
    found: dict[tuple[str, str], Text | None] = {}
    for checklist in checklists:
        for rule in checklist.rules:
            kind = "stop" if rule.stop else "caution" if rule.caution is not None else "rule"
            found[kind, rule.name] = rule.when
        for activity in checklist.activities:
            found["gate of activity", activity.name] = activity.gate
        for powered in checklist.powered:
            found["gate of powered state", powered.name] = powered.gate
        for step in checklist.steps:
            found["step", step.name] = step.where
            found["when of step", step.name] = step.when
            found["gate of step", step.name] = step.gate
        for fact in checklist.facts:
            if fact.counts_when is not None:
                found["counts when of fact", fact.name] = fact.counts_when.condition
        for place in checklist.places:
            found["counts when of place", place.name] = place.counts_when
            found["when of place", place.name] = place.when
        for clue in checklist.clues:
            found["clue", clue.name] = clue.when
        for check in checklist.checks:
            found["at hand of check", check.name] = check.at_hand
        for impossible in checklist.impossible:
            found["impossible", str(1 + sum(kind == "impossible" for kind, _ in found))] = impossible.when
        for suspect in checklist.suspect:
            found["suspect", str(1 + sum(kind == "suspect" for kind, _ in found))] = suspect.expects
        for name, said in checklist.conditions:
            found["condition", name.text] = said
        for calculation in checklist.calculations:
            found["calculation", calculation.name] = calculation.expression
    return {key: text for key, text in found.items() if text is not None}


def stands(use: Use, texts: Mapping[tuple[str, str], Text]) -> Text | None:
    """Where a condition is written; one inside another, at the first place of that. None: not in `texts`."""
    if use.kind != "inside":
        return texts.get((use.kind, use.name))
    for text in texts.values():
        outer = inside(text, use.name)
        if outer is not None:
            return inside(outer, use.cond.text) or outer
    return None


def inside(text: Text, part: str) -> Text | None:
    """The part of a text that reads so, in whole words, with its place; None if it does not."""
    found = re.search(rf"(?<![\w.]){re.escape(part)}(?![\w.])", text.text)
    return text.part(found.start(), found.end()) if found else None
