"""The conditions of packs where they are written, and what each name in them may be."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import NamedTuple

from stillair.assess.compiler import Compiler
from stillair.assess.program import Program
from stillair.checklist import Checklist, Text
from stillair.condition.core import GRADES, Condition, OptionDomain, Ref
from stillair.condition.worlds import Space
from stillair.pack import Pack

from .spans import Spans

__all__ = ["Site", "Subject"]


class Site(NamedTuple):
    """A condition and its text; `role` is what a person calls it, `owner` the name it belongs to."""

    text: Text
    condition: Condition
    role: str
    owner: str

    def part(self, said: str) -> Text | None:
        """Where a part of the condition stands; None where it is not written here."""
        words = r"\s+".join(re.escape(word) for word in said.split())
        found = re.search(rf"(?<!\w){words}(?!\w)", self.text.text) if words else None
        return None if found is None else self.text.part(*found.span())


class Subject:
    """Packs that work together, with no fault of reading left in them."""

    def __init__(self, packs: tuple[Pack, ...], compiler: Compiler) -> None:
        self.packs = packs
        self.compiler = compiler
        self.program: Program = compiler.program
        self.spans = Spans(self.program)

    @property
    def checklists(self) -> Iterator[Checklist]:
        for pack in self.packs:
            yield from pack.checklists

    @cached_property
    def sites(self) -> list[Site]:
        """Every condition that is written, once for each place."""
        return [site for checklist in self.checklists for site in self._sites(checklist)]

    def _sites(self, checklist: Checklist) -> Iterator[Site]:
        program = self.program
        for name, said in checklist.conditions:
            condition = self.compiler.checker.condition(said.text)
            yield Site(said, condition, f"the condition `{name}`", name.text)
        for fact in checklist.facts:
            if fact.counts_when is not None:
                counts = program.facts[fact.name].counts
                assert counts is not None
                role = f"`counts when` of `{fact.name}`"
                yield Site(fact.counts_when.condition, counts.checked, role, fact.name)
        for activity in checklist.activities:
            yield from self._gate(activity.gate, f"the gate of `{activity.name}`", activity.name)
        for powered in checklist.powered:
            yield from self._gate(powered.gate, f"the gate of `{powered.name}`", powered.name)
        for step in checklist.steps:
            per = program.steps[step.name].per
            yield from self._gate(step.when, f"`when` of `{step.name}`", step.name, per)
            yield from self._gate(step.gate, f"the gate of `{step.name}`", step.name, per)
        for rule in checklist.rules:
            per = program.rules[rule.name].per
            yield from self._gate(rule.when, f"`when` of `{rule.name}`", rule.name, per)
        for place in checklist.places:
            yield from self._gate(place.when, f"`when` of `{place.name}`", place.name)
            counts = (
                None if program.look is None else program.facts[program.look].place_counts.get(place.name)
            )
            if place.counts_when is not None and counts is not None:
                role = f"`counts when` of `{place.name}`"
                yield Site(place.counts_when, counts.checked, role, place.name)
        for way, said in checklist.ways:
            yield from self._gate(said, f"the order `{way}`", way)
        for clue in checklist.clues:
            per = None if clue.per is None else "place"
            yield from self._gate(clue.when, f"`when` of `{clue.name}`", clue.name, per)
        for check in checklist.checks:
            yield from self._gate(check.at_hand, f"`at hand` of `{check.name}`", check.name)
        for group in checklist.groups:
            per = program.rules[group.rules[0].text].per
            yield from self._gate(group.within, f"`within` of `{group.name}`", group.name, per)
        for impossible in checklist.impossible:
            yield from self._gate(impossible.when, "what is impossible", impossible.when.text)
        for suspect in checklist.suspect:
            yield from self._gate(suspect.expects, "what is expected", suspect.expects.text)

    def _gate(self, text: Text | None, role: str, owner: str, per: str | None = None) -> Iterator[Site]:
        cond = self.compiler.cond(text, per=per)
        if text is not None and cond is not None:
            yield Site(text, cond.checked, role, owner)

    @cached_property
    def everywhere(self) -> Space:
        """The worlds in which every condition is judged."""
        return self.space([cond.flat for cond in self.program.conditions])

    def space(self, conditions: Iterable[Condition], *, lacking: bool = False) -> Space:
        """The worlds in which these conditions are judged; `lacking`: a number may not exist."""
        lacks = self.spans.may_lack if lacking else lambda ref: False
        return Space(conditions, self.spans.of, self.spans.key, self.spans.is_whole, self._options, lacks)

    def _options(self, ref: Ref, domain: OptionDomain) -> int:
        """The options a name may have: of a finding, the grades that some rule gives."""
        rules = self.program.findings.get(ref.name)
        if rules is None:
            return domain.whole
        given = 1 << GRADES.index("none")
        for name in rules:
            given |= self.program.rules[name].grade
        return given
