"""What is still worth asking or doing, and in which order the members of a list are taken."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property

from stillair.condition.core import Ref
from stillair.verdict import Reason, Verdict, Why

from .gates import Gates
from .program import NO_BINDING, Binding, Cond, Fact, Step, bound
from .searching import Search, author_order
from .standing import settled
from .states import StepState
from .view import View

__all__ = ["Wanted"]


class Wanted:
    """What could still matter at the moment of a view.

    `unchanged` gives the state of a step as it was, if nothing has touched it since; `before` are the checks
    that were awaited then.
    """

    def __init__(
        self,
        view: View,
        gates: Gates,
        unchanged: Callable[[Step, str | None], StepState | None],
        before: Mapping[Ref, tuple[Ref, ...]],
    ) -> None:
        self.view = view
        self.program = view.program
        self.history = view.history
        self.at = view.at
        self.gates = gates
        self._unchanged = unchanged
        self._before = before
        self._order: dict[str, list[str]] = {}
        self._awaited: frozenset[Ref] | None = None
        self._awaiting: dict[Ref, tuple[Ref, ...]] = {}
        self._worth: dict[Ref, bool] = {}
        self._needed: dict[str, bool] = {}

    @property
    def awaiting(self) -> Mapping[Ref, tuple[Ref, ...]]:
        """The checks that must still follow, by what awaits them, as far as that was worked out."""
        return self._awaiting

    @cached_property
    def search(self) -> Search | None:
        """The search for a place, where a checklist declares what a look is worth."""
        check = self.program.look_check
        return None if check is None else Search(self.view, self.gates, check, self.settled)

    def ordered(self, per: str) -> list[str]:
        """The members of a list in the order they are worked through; places by their position."""
        held = self._order.get(per)
        if held is None:
            held = self._order[per] = self._ordered(per)
        return held

    def _ordered(self, per: str) -> list[str]:
        members = self.view.members(per)[0]
        if per != "place":
            return members
        places = self.program.places
        chosen = author_order(self.view) if self.search is None else self.search.order
        return [
            m
            for m in chosen
            if (when := places[m].when) is None or self.view.judge(when, {"place": m}) is not Verdict.FAILS
        ]

    def unlisted(self, step: Step) -> str | None:
        """An open list whose members the step asks about, if nobody has said yet that it is complete."""
        for name in step.asks:
            per = self.program.facts[name].per
            if per in self.program.quantified and not self.view.members(per)[1]:
                return per
        return None

    def needs_wait(self, name: str) -> bool:
        """Whether something still wanted depends on a wait."""
        held = self._needed.get(name)
        if held is None:
            self._needed[name] = False
            held = self._needed[name] = self._needs_wait(name)
        return held

    def _needs_wait(self, name: str) -> bool:
        for rule in self.program.rules.values():
            if name not in self._said_in(rule.when):
                continue
            for member in self._each(rule.per):
                binding = bound(rule, member)
                if rule.spec.finding is not None and self._hangs(rule.when, binding):
                    return True
                if self.view.judge(rule.when, binding) is Verdict.OPEN:
                    return True
        program = self.program
        gated = {n for n, a in program.activities.items() if a.gate is not None and name in a.gate.mentions}
        for step in program.steps.values():
            conds = [cond for ask in step.asks for cond in _evidence(program.facts[ask])]
            if step.gate is not None:
                conds.append(step.gate)
            if step.powered is not None:
                conds.append(program.powered[step.powered].gate)
            resting = any(name in cond.mentions for cond in conds)
            resting = resting or (step.when is not None and name in self._said_in(step.when))
            for member in self._each(step.per):
                if (
                    resting or not gated.isdisjoint(self.gates.activities_of(step, member))
                ) and self._still_wanted(step, member):
                    return True
        return False

    def _said_in(self, cond: Cond) -> set[str]:
        """The names a condition mentions, also inside `every`, `any` and `count`."""
        names: set[str] = set()
        for ref, _ in cond.slots:
            names.add(ref.name)
            if ref.name in self.program.inner:
                names |= self._said_in(self.program.inner[ref.name])
        return names

    def _hangs(self, cond: Cond, binding: Binding) -> bool:
        """Whether a condition is open, or would be if no wait were decided."""
        verdict = self.view.judge(cond, binding)
        if verdict is Verdict.FAILS:
            verdict = self.view.once_waited(cond, binding).verdict
        return verdict is Verdict.OPEN

    def _each(self, per: str | None) -> Sequence[str | None]:
        return [None] if per is None else self.view.members(per)[0]

    def is_skipped(self, step: Step, member: str | None) -> bool:
        """Whether somebody has said that the step is left out, and why."""
        skipped = self.history.skipped.get((step.spec.name, member))
        return skipped is not None and skipped[0] <= self.at

    def _still_wanted(self, step: Step, member: str | None) -> bool:
        """Whether a step has something to ask, or to do that asks nothing."""
        before = self._unchanged(step, member)
        if before is not None and before.status not in ("not yet", "passed over"):
            return False
        binding: Binding = {step.per: member} if step.per and member is not None else NO_BINDING
        if step.when is not None and self.view.judge(step.when, binding) is Verdict.FAILS:
            return self._hangs(step.when, binding)
        if self.is_skipped(step, member):
            return False
        if not step.asks and step.spec.wait is None:
            return not self.confirmed(step, member)
        return any(True for _ in self.outstanding(step, member))

    def confirmed(self, step: Step, member: str | None) -> bool:
        """Whether what the step does has been done, as far as it needs saying."""
        spec = step.spec
        done = [each for each in self.history.done.get((spec.name, member), ()) if each[0] <= self.at]
        if step.powered is not None and not step.asks:
            begun = self.gates.begun(step.powered)
            return begun is not None and any(each >= begun for each in done)
        if spec.marks:
            if any(self._undone(mark.text, member) for mark in spec.marks):
                return False
            if spec.wait is not None:
                state = self.view.wait(spec.wait.text)
                marks = {t.text for t in spec.marks}
                needed = {t.name for t in self.program.waits[spec.wait.text].since if t.mask is None}
                if marks & needed:
                    if step.per is None:
                        return state.started is not None
                    return bool(done)
            return bool(done)
        if step.asks or spec.wait is not None:
            return True
        return bool(done)

    def _undone(self, event: str, member: str | None) -> bool:
        """Whether an event happened, and something has undone it since."""
        member = member if self.program.symbols[event].per is not None else None
        happened = self.history.latest_event((event, member), self.view.moment)
        return happened is not None and isinstance(self.view.last_event(event, member), Reason)

    def outstanding(self, step: Step, member: str | None) -> Iterator[Ref]:
        """The facts that a step has still to ask."""
        closing = self.program.closing.get(step.spec.name, ())
        for ref in self.asked(step, member):
            due = ref.name in closing and ref in self.awaited and not self._given_up(ref)
            if due or self._grown_old(step, ref) or (not self.settled(ref) and self.worth_asking(ref)):
                yield ref

    def _grown_old(self, step: Step, ref: Ref) -> bool:
        """Whether a step asks again what was last read longer ago than it allows."""
        found = self.history.before((ref.name, ref.member), self.view.moment)
        if step.every is None or not found or found[-1].value is None:
            return False
        return self.at - found[-1].taken >= step.every

    def _given_up(self, check: Ref) -> bool:
        """Whether a check that must follow cannot be had, and nothing that awaits it was observed since."""
        tried = self.history.before((check.name, check.member), self.view.moment)
        if not tried or tried[-1].value is not None:
            return False
        for ref, checks in self._awaiting.items():
            seen = self.history.before((ref.name, ref.member), self.view.moment)
            if check in checks and seen and seen[-1].moment > tried[-1].moment:
                return False
        return True

    def asked(self, step: Step, member: str | None) -> Iterator[Ref]:
        """The facts a step asks, for each member of their lists."""
        for name in step.asks:
            fact = self.program.facts[name]
            if fact.per is None:
                yield Ref(name)
            elif fact.per == step.per and member is not None:
                yield Ref(name, member)
            else:
                for each in self.ordered(fact.per):
                    yield Ref(name, each)

    def settled(self, ref: Ref) -> bool:
        """Whether a fact needs no asking now: known, waiting for a later check, or not to be had."""
        return settled(self.view, ref)

    def worth_asking(self, ref: Ref) -> bool:
        """Whether an answer could still matter: an open verdict rests on it, or it is for the record."""
        held = self._worth.get(ref)
        if held is None:
            self._worth[ref] = False
            held = self._worth[ref] = self._is_worth_asking(ref)
        return held

    def _is_worth_asking(self, ref: Ref) -> bool:
        program, view, name = self.program, self.view, ref.name
        if name not in program.mentioned or program.facts[name].spec.for_the_record:
            return True
        per = program.facts[name].per
        for asker in program.askers.get(name, ()):
            for member in self._members(asker.per, per, ref.member):
                binding: Binding = {asker.per: member} if asker.per and member is not None else NO_BINDING
                if asker.step is not None:
                    when = program.steps[asker.step].when
                    if when is not None and view.judge(when, binding) is Verdict.FAILS:
                        continue
                if ref in self._lacking(asker.cond, binding):
                    return True
        for other in program.supporting.get(name, ()):
            kept = program.facts[other].per
            for member in self._members(kept, per, ref.member):
                sought = Ref(other, member)
                if self.settled(sought) or not self.worth_asking(sought):
                    continue
                if any(ref in waited.missing for waited in view.evidence(sought)):
                    return True
        if any(self.needs_wait(wait) for wait in program.starting.get(name, ())):
            return True
        return any(ref in self.gates.proof(powered) for powered in program.powered)

    def _members(self, list_name: str | None, per: str | None, member: str | None) -> Sequence[str | None]:
        """The members to look at in a list, for a fact that may itself be kept per it."""
        if list_name is None:
            return [None]
        return [member] if list_name == per else self.view.members(list_name)[0]

    def _lacking(self, cond: Cond, binding: Binding) -> tuple[Ref, ...]:
        """What could still decide a condition, waits taken as not yet decided."""
        verdict = self.view.judge(cond, binding)
        if verdict is Verdict.OPEN:
            return self.view.missing(cond, binding)
        if verdict is Verdict.FAILS and not cond.mentions.isdisjoint(self.program.waits):
            return self.view.once_waited(cond, binding).missing
        return ()

    @property
    def awaited(self) -> frozenset[Ref]:
        """The checks that must still follow an observation made, so that it can count."""
        if self._awaited is None:
            for fact in self.program.facts.values():
                if fact.counts is None and not fact.place_counts:
                    continue
                for member in self._each(fact.per):
                    if (fact.name, member) in self.history.observations:
                        ref = Ref(fact.name, member)
                        self._awaiting[ref] = self._awaits(ref)
            self._awaited = frozenset(r for found in self._awaiting.values() for r in found)
            self._before = {}
        return self._awaited

    def _awaits(self, ref: Ref) -> tuple[Ref, ...]:
        """The checks that must still follow the observation of a fact."""
        if self.view.reach is not None:
            found = self._before.get(ref)
            if found is not None and not self.view.reach.touches(ref):
                return found
        if any(r.why is Why.LATER for r in self.view.value(ref).reasons):
            return tuple(r for r in self.view.missing_of(ref) if r != ref)
        return ()


def _evidence(fact: Fact) -> Iterator[Cond]:
    """The conditions on which an observation of a fact counts."""
    if fact.counts is not None:
        yield fact.counts
    yield from fact.place_counts.values()
