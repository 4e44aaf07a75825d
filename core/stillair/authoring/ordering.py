"""Whether two steps can both be to be done, as far as their conditions tell: else their order says nothing.

They cannot where one of them is never done; where a condition of one and a condition of the other exclude
each other; and where each thing that one gives is needed for the other. What a step gives is what it asks,
marks and waits for. As long as nothing counts of one of these, the other must not be permitted: a stop that
is there for safety and not shown to fail forbids it as well.

Looked at is what is to be done, and not which of two steps is named where neither may be done. Of steps kept
per one list it is what is to be done for one member: they are taken member by member.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import product

from stillair.assess import Program
from stillair.assess.program import Step
from stillair.condition import core
from stillair.condition.core import All, Condition, Either, Ref, Test, Truth, Within
from stillair.condition.merge import merged
from stillair.verdict import Verdict

from .able import able
from .mutants import counted, never

__all__ = ["both_to_be_done"]

MOST_REFS = 6
"""Facts on which two conditions rest that are held against each other (judgement)."""


def both_to_be_done(program: Program, first: Step, second: Step) -> bool:
    """Whether both may be to be done at one moment; True where that is not found out."""
    if first.spec.never is not None or second.spec.never is not None:
        return False
    both = product(_needs(program, first), _needs(program, second))
    if any(_meet(program, *pair) and never(program, All(pair, "")) for pair in both):
        return False
    return not any(_waits_for(program, *pair) for pair in ((first, second), (second, first)))


def _waits_for(program: Program, first: Step, second: Step) -> bool:
    """Whether a step is not to be done as long as the other one is."""
    given = list(_gives(program, first))
    return bool(given) and not any(_done_without(program, first, second, lacking) for lacking in given)


def _needs(program: Program, step: Step) -> Iterator[Condition]:
    """What must hold so that a step is to be done and may be."""
    activity = program.activities[step.spec.activity.text] if step.spec.activity is not None else None
    gate = activity.gate if activity is not None and step.powered is None else None
    for cond in (step.when, step.gate, gate):
        if cond is not None:
            yield from _parts(cond.checked)


def _joined(condition: Either) -> Iterator[Test | Within]:
    """Tests on one fact as one: `x < 5 or x >= 5` holds though nothing counts of it."""
    flat = merged(condition)
    parts = flat.parts if isinstance(flat, Either) else (flat,)
    yield from (part for part in parts if isinstance(part, Test | Within))


def _meet(program: Program, one: Condition, other: Condition) -> bool:
    """Whether two conditions rest on the same, or one on what the other counts, and on little else."""
    own, others = (set(core.refs_of(each)) for each in (one, other))
    shared = (
        own & others
        or any(counted(program, a) in others for a in own)
        or any(counted(program, b) in own for b in others)
    )
    return bool(shared) and len(own | others) <= MOST_REFS


def _parts(condition: Condition) -> Iterator[Condition]:
    """What must hold by itself so that a condition does; one with a name also as one."""
    if isinstance(condition, All):
        for part in condition.parts:
            yield from _parts(part)
    if not isinstance(condition, All) or condition.name is not None:
        yield condition


def _gives(program: Program, step: Step) -> Iterator[str]:
    """What keeps a step to be done while it lacks, each by itself: facts and the wait.

    Nothing where something else keeps it so as well. What a step marks can be entered though it is not done;
    only where that begins its own wait is it done with it.
    """
    spec = step.spec
    if step.powered is not None or step.every is not None or spec.name in program.closing:
        return
    if spec.marks and not _begins_its_wait(program, step):
        return
    if any(
        (per := program.facts[name].per) in program.lists and program.lists[per].open for name in step.asks
    ):
        return
    yield from step.asks
    if spec.wait is not None:
        yield spec.wait.text


def _begins_its_wait(program: Program, step: Step) -> bool:
    """Whether a step is done as soon as what it marks has happened, since its own wait begins with that."""
    if step.spec.wait is None or step.per is not None:
        return False
    marks = [mark.text for mark in step.spec.marks]
    begins = {trigger.name for trigger in program.waits[step.spec.wait.text].since if trigger.mask is None}
    return not begins.isdisjoint(marks) and not program.undoers(marks)


def _done_without(program: Program, first: Step, step: Step, lacking: str) -> bool:
    """Whether a step may be done though nothing counts of something that another is to give."""
    name = step.spec.activity.text if step.spec.activity is not None else None
    stops = [
        rule.when.checked
        for rule in program.rules.values()
        if rule.when.safety and name in {text.text for text in rule.spec.stop}
    ]
    others = list(_needs(program, first))
    own = _Without(program, lacking, others, in_hand=first.per == step.per)
    look = _Without(program, lacking, others)
    return all(map(own.may_hold, _needs(program, step))) and all(map(look.may_fail, stops))


class _Without:
    """What conditions can come to, as long as nothing counts of some things and others hold.

    What is kept per a list lacks of some member of it: of the one in hand, unless `in_hand` is off.
    """

    def __init__(
        self, program: Program, lacking: str | None, others: Sequence[Condition], in_hand: bool = True
    ) -> None:
        self.program = program
        self.in_hand = in_hand
        self.lacking = lacking
        self.tests = [other for other in others if isinstance(other, Test | Within)]
        self.named = {other.name for other in others if isinstance(other, All | Either)} - {None}
        self._looked: dict[str, bool] = {}

    @cached_property
    def of_members(self) -> _Without:
        """The same of whichever member of a list: what holds of the one in hand may not hold of it."""
        return _Without(self.program, self.lacking, ())

    @cached_property
    def ageless(self) -> _Without:
        """The same for a finding once decided: it is not undone by age, whatever holds by now."""
        fact = self.program.facts.get(self.lacking or "")
        ages = fact is not None and (fact.good_for is not None or fact.void_after)
        return _Without(self.program, None, ()) if ages else self

    def may_hold(self, condition: Condition) -> bool:
        """Whether a condition may hold."""
        if isinstance(condition, All | Either) and core.name_negated(condition.name) in self.named:
            return False
        match condition:
            case Truth():
                return condition.value
            case All():
                return all(map(self.may_hold, condition.parts))
            case Either():
                return any(map(self.may_hold, condition.parts)) or any(map(self._may_be, _joined(condition)))
            case Test() | Within():
                return self._may_be(condition)

    def _may_be(self, leaf: Test | Within) -> bool:
        """Whether a test may hold."""
        able_to = Verdict.HOLDS in able(self.program, leaf) and self._may(leaf)
        return able_to and not self._excluded(leaf)

    def _excluded(self, leaf: Test | Within) -> bool:
        """Whether a test cannot hold together with the others."""
        beside = (other for other in self.tests if other.ref == leaf.ref)
        return any(never(self.program, All((leaf, other), "")) for other in beside)

    def may_fail(self, condition: Condition) -> bool:
        """Whether a condition may fail."""
        return self.may_hold(core.negated(condition))

    def _may(self, leaf: Test | Within) -> bool:
        name = leaf.ref.name
        if name == self.lacking:
            if self._another(leaf.ref):
                return True
            if isinstance(leaf, Within):
                return True
            # A wait that lacks is not over: it may be running, or not started.
            if name in self.program.waits:
                return bool(leaf.sure & ~1)
            # Two entries for one moment may differ: what is known then is that it is one of them.
            return leaf.sure.bit_count() > 1 or leaf.sure == leaf.domain.whole
        if isinstance(leaf, Within):
            return True
        if name in self.program.findings:
            return bool(leaf.sure & 1) or self._found(name)
        derivation = self.program.derived.get(name)
        if isinstance(derivation, core.Each):
            return self._of_each(leaf, derivation)
        return True

    def _found(self, name: str) -> bool:
        """Whether some rule may give a finding."""
        if name not in self._looked:
            self._looked[name] = True
            self._looked[name] = any(map(self._gives_it, self.program.findings[name]))
        return self._looked[name]

    def _gives_it(self, name: str) -> bool:
        """Whether a rule may give its finding."""
        rule = self.program.rules[name]
        look = self if rule.spec.while_ else self.ageless
        if rule.per is not None:
            look = look.of_members
        return self._of_some(rule.per) or look.may_hold(rule.when.checked)

    def _of_each(self, leaf: Test, each: core.Each) -> bool:
        """Whether `every` or `any` may come out as it is tested; what lacks may lack for one member alone."""
        wants_yes, look = leaf.sure == 1, self.of_members
        all_of_them = wants_yes is (each.quantifier == "every")
        if not all_of_them and self._of_some(each.list):
            return True
        return look.may_hold(each.condition) if wants_yes else look.may_fail(each.condition)

    def _another(self, ref: Ref) -> bool:
        """Whether what lacks may lack of another member than the one that is looked at."""
        kept = ref.name in self.program.symbols and self.program.symbols[ref.name].per is not None
        return kept and not (self.in_hand and ref.member is not None and ref.member[0] == "@")

    def _of_some(self, per: str | None) -> bool:
        """Whether what lacks is kept per a list: of another of its members it may count."""
        symbol = self.program.symbols.get(self.lacking or "")
        return per is not None and symbol is not None and symbol.per == per
