"""Whether a step or an activity may be done now: stops, gates, powered states."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from stillair.condition.core import OptionDomain, Ref
from stillair.condition.tree import grow
from stillair.verdict import Reason, Verdict, Why

from .program import NO_BINDING, Binding, Cond, Step, bound
from .standing import doubt
from .states import YES, Blocked, May, Permission, RuleState
from .view import View

__all__ = ["Gates"]


class Gates:
    """What may be done at the moment of a view, given the state of the rules that stop."""

    def __init__(self, view: View, stops: Sequence[RuleState]) -> None:
        self.view = view
        self.program = view.program
        self.history = view.history
        self.at = view.at
        self._stops = stops
        self._permissions: dict[tuple[str, str | None], Permission] = {}
        self._activities: dict[tuple[str, bool], list[Permission]] = {}

    def permission(self, step: str, member: str | None = None) -> Permission:
        """Whether a step may be done now. KeyError if there is no such step."""
        key = (step, member)
        if key not in self._permissions:
            self._permissions[key] = self._permission(self.program.steps[step], member)
        return self._permissions[key]

    def allowed(self, step: str, member: str | None = None) -> bool:
        """Whether a step may be done now, and nothing is missing for it."""
        return self.permission(step, member).may is May.YES

    def activity(self, name: str) -> Permission:
        """Whether an activity may go on now. KeyError if there is no such activity."""
        return self._combined([*self._activity(name, gated=True), *self._unproved(None)])

    def stopping_all(self) -> RuleState | None:
        """The safety stop that stands against every activity that is ever done, if one does."""
        steps = [s.spec for s in self.program.steps.values() if s.spec.activity is not None]
        # What is only in steps that are never done is no work that could go on.
        never = {s.activity.text for s in steps if s.activity is not None and s.never is not None}
        some = {s.activity.text for s in steps if s.activity is not None and s.never is None}
        every = set(self.program.activities) - (never - some)
        for state in self._stops:
            rule = self.program.rules[state.rule]
            holds = state.verdict is Verdict.HOLDS and rule.when.safety
            if holds and every and every <= {text.text for text in rule.spec.stop}:
                return state
        return None

    def any_step(self, activity: str) -> Permission:
        """Whether any step of an activity may be done now; of one without steps, whether it may itself."""
        own = self.activity(activity)
        if own.may is not May.YES:
            return own
        steps = [
            self.permission(step.spec.name, member)
            for step in self.program.steps.values()
            if step.spec.never is None
            for member in ([None] if step.per is None else self.view.members(step.per)[0])
            if activity in self.activities_of(step, member)
        ]
        if not steps or any(permission.may is May.YES for permission in steps):
            return own
        return next((p for p in steps if p.may is May.NOT_YET), steps[0])

    def _permission(self, step: Step, member: str | None) -> Permission:
        spec = step.spec
        if spec.never is not None:
            return Permission(May.NO, (Blocked(None, spec.never, None, True),))
        binding: Binding = {step.per: member} if step.per is not None and member is not None else NO_BINDING
        parts: list[Permission] = []
        activities = self.activities_of(step, member)
        for name in activities:
            gated = step.powered is None
            if (name, gated) not in self._activities:
                self._activities[name, gated] = list(self._activity(name, gated))
            parts.extend(self._activities[name, gated])
        if step.powered is not None or activities:
            parts.extend(self._unproved(step))
        place = self.program.places.get(member or "") if step.per == "place" else None
        if place is not None and place.when is not None:
            verdict = self.view.judge(place.when, binding)
            if verdict is Verdict.FAILS or (verdict is Verdict.OPEN and place.when.safety):
                parts.append(self._wanted(place.when, binding))
        if step.when is not None:
            parts.append(self._wanted(step.when, binding))
        if step.gate is not None:
            parts.append(self._gate(step.gate, binding, spec.title or spec.name))
        parts.extend(self._tools(step))
        if step.powered is not None:
            parts.append(self._powered_gate(step.powered))
        return self._combined(parts)

    def _tools(self, step: Step) -> Iterator[Permission]:
        """What a look needs in hand: without the tool of any check that it is, it may not be made."""
        for fact in step.asks:
            needed = [
                (check.at_hand, check.tool) for check in self.program.checks.values() if check.fact == fact
            ]
            found = [
                YES if at_hand is None else self._gate(at_hand, NO_BINDING, f"{tool}, not at hand")
                for at_hand, tool in needed
            ]
            if found and all(permission.may is not May.YES for permission in found):
                yield next((p for p in found if p.may is May.NOT_YET), found[0])

    def _wanted(self, when: Cond, binding: Binding) -> Permission:
        """A step whose `when` does not hold is not there to be done."""
        if self.view.judge(when, binding) is Verdict.FAILS:
            say = f"not wanted here: it is for when {self._failing(when, binding)}"
            return Permission(May.NO, (Blocked(None, say, None, when.safety),))
        return self._gate(when, binding, "")

    def _activity(self, name: str, gated: bool) -> Iterator[Permission]:
        """What stands against an activity: stops, safety that is not shown, and its gate if `gated`."""
        activity = self.program.activities[name]
        for state in self._stops:
            rule = self.program.rules[state.rule]
            if name not in {t.text for t in rule.spec.stop}:
                continue
            if state.verdict is Verdict.HOLDS:
                blocked = Blocked(
                    rule.spec.name, rule.spec.say or "", rule.spec.lifted_by, rule.when.safety, state.lines
                )
                yield Permission(May.NO, (blocked,))
            elif state.verdict is Verdict.OPEN and rule.when.safety:
                binding = bound(rule, state.member)
                yield Permission(May.NOT_YET, (), self.view.missing(rule.when, binding), state.reasons)
        for rule in self.program.rules.values():
            stops = rule.when.safety and name in {text.text for text in rule.spec.stop}
            if stops and rule.per is not None and not self.view.members(rule.per)[1]:
                reason = Reason(Why.OPEN_LIST, rule.per, "one more of them may stop this")
                yield Permission(May.NOT_YET, (), (), (reason,))
        if gated and activity.gate is not None:
            yield self._gate(activity.gate, NO_BINDING, activity.spec.title)

    def _unproved(self, step: Step | None) -> Iterator[Permission]:
        """While a powered state is not ended by its proof, only what proves it may be done."""
        for name in self.program.powered:
            if step is not None and step.powered == name:
                continue
            proof = tuple(self.proof(name))
            if proof and not (step is not None and any(r.name in step.asks for r in proof)):
                reason = Reason(Why.LATER, name, self.not_proved_off(name))
                yield Permission(May.NOT_YET, (), proof, (reason,))

    def not_proved_off(self, name: str) -> str:
        """What is said of a powered state that has begun and whose proof has not been given since."""
        begun = self.begun(name)
        powered = self.program.powered[name]
        over = begun is not None and self.at - begun[0] > powered.at_most
        how = "run over its time" if over else "begun"
        return f"{powered.spec.title} has {how}; lock out again and prove it first"

    def _powered_gate(self, name: str) -> Permission:
        """The gate of a powered state: before it begins, and, within its time, for the steps inside.

        What it frees counts inside as it was just before it began.
        """
        powered = self.program.powered[name]
        begun = self.begun(name)
        if begun is None or not self.powered_on(name):
            return self._gate(powered.gate, NO_BINDING, powered.spec.title)
        if self.at - begun[0] > powered.at_most:
            say = f"{powered.spec.title} has run over its {powered.spec.at_most}"
            return Permission(May.NO, (Blocked(name, say, "Lock out again and prove it.", True),))
        earlier = self.view.as_of((begun[0], begun[1] - 1))
        freed = [text.text for text in powered.spec.frees]
        kept = [
            Ref(fact, member)
            for fact, _ in powered.proof
            for member in (freed if self.program.facts[fact].per == powered.spec.of.text else [None])
        ]
        view = self.view.given({ref: earlier.value(ref) for ref in kept})
        verdict = view.judge(powered.gate)
        if verdict is Verdict.HOLDS:
            return YES
        if verdict is Verdict.OPEN:
            return Permission(May.NOT_YET, (), view.missing(powered.gate), view.reasons(powered.gate))
        say = f"{powered.spec.title}: needs {self._failing(powered.gate, NO_BINDING, view)}"
        return Permission(May.NO, (Blocked(None, say, "Lock out again and prove it.", True),))

    def _gate(self, cond: Cond, binding: Binding, title: str) -> Permission:
        """A gate: one that fails only until a wait is over says *not yet*."""
        verdict = self.view.judge(cond, binding)
        if verdict is Verdict.HOLDS:
            return YES
        if verdict is Verdict.OPEN:
            return Permission(
                May.NOT_YET, (), self.view.missing(cond, binding), self.view.reasons(cond, binding)
            )
        waited = self.view.once_waited(cond, binding)
        if waited.verdict is Verdict.OPEN:
            return Permission(May.NOT_YET, (), waited.missing, waited.reasons)
        failing = self._failing(cond, binding)
        return Permission(May.NO, (Blocked(None, f"{title}: needs {failing}", None, cond.safety),))

    def _failing(self, cond: Cond, binding: Binding, view: View | None = None) -> str:
        """The smallest part of a gate that fails."""
        seen = self.view if view is None else view
        branch = grow(cond.checked, lambda ref: seen.value(ref.bound(binding)))
        while branch.parts:
            failing = [p for p in branch.parts if p.verdict is Verdict.FAILS]
            if len(failing) != 1:
                break
            branch = failing[0]
        return branch.text

    @staticmethod
    def _combined(parts: Sequence[Permission] | Iterator[Permission]) -> Permission:
        parts = list(parts)
        no = [b for p in parts if p.may is May.NO for b in p.blocked]
        if no:
            return Permission(May.NO, tuple(dict.fromkeys(no)))
        open_parts = [p for p in parts if p.may is May.NOT_YET]
        if open_parts:
            missing = tuple(dict.fromkeys(r for p in open_parts for r in p.missing))
            reasons = tuple(dict.fromkeys(r for p in open_parts for r in p.reasons))
            return Permission(May.NOT_YET, (), missing, reasons)
        return YES

    def begun(self, name: str) -> tuple[float, int] | None:
        """When a powered state last began, as (time, line)."""
        return self.history.latest_event((f"{name}_begun", None), self.view.moment)

    def powered_on(self, name: str) -> bool:
        """Whether a powered state has begun and its proof has not been given since."""
        begun = self.begun(name)
        return begun is not None and bool(list(self.proof(name)))

    def proof(self, name: str) -> Iterator[Ref]:
        """The facts that must still be observed to end a powered state."""
        begun = self.begun(name)
        if begun is None:
            return
        powered = self.program.powered[name].spec
        freed = {t.text for t in powered.frees}
        for proved, mask in self.program.powered[name].proof:
            fact = self.program.facts[proved]
            assert isinstance(fact.domain, OptionDomain)
            members: Sequence[str | None] = [None]
            if fact.per is not None:
                members = [
                    m for m in self.view.members(fact.per)[0] if m in freed or fact.per != powered.of.text
                ]
            for member in members:
                found = self.history.before((fact.name, member), self.view.moment)
                latest = found[-1] if found else None
                if (
                    latest is None
                    or latest.moment < begun
                    or latest.value is None
                    or latest.line in self.history.doubted
                    or doubt(self.view, fact, Ref(fact.name, member), latest) is not None
                    or not fact.domain.mask(str(latest.value)) & mask
                ):
                    yield Ref(fact.name, member)

    def activities_of(self, step: Step, member: str | None) -> list[str]:
        """The activities of a step; a step kept per place takes that of the place."""
        if step.spec.activity is not None:
            return [step.spec.activity.text]
        if step.per == "place" and member is not None:
            place = self.program.places[member].spec
            if place.activity is not None:
                return [place.activity.text]
        return []
