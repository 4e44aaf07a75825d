"""The one next action, and why."""

from __future__ import annotations

from collections.abc import Sequence

from stillair.condition.core import OptionDomain, Ref
from stillair.verdict import Verdict, Why

from .program import NO_BINDING, Binding, Step
from .states import Action, May, StepState, Suspicion
from .steps import Steps

__all__ = ["Choice"]


class Choice:
    """What to do next, as things stand with the steps."""

    def __init__(self, steps: Steps, suspicions: Sequence[Suspicion]) -> None:
        self.steps = steps
        self.wanted = steps.wanted
        self.gates = steps.gates
        self.view = steps.view
        self.program = steps.program
        self.at = steps.at
        self.suspicions = suspicions

    def _running(self) -> set[str]:
        """The waits that something rests on and whose time is not up, or may not be."""
        found = set()
        for name, wait in self.program.waits.items():
            state = self.view.wait(name)
            if state.started is None or not state.options.mask & 2:
                continue
            if state.ready_at is None:
                if wait.lasts is not None and not self.wanted.settled(Ref(wait.lasts)):
                    found.add(name)
            elif self.at < state.ready_at and self.wanted.needs_wait(name):
                found.add(name)
        return found

    def action(self) -> Action:
        """The next action: what is doubtful first, then what is open, in the order of the steps."""
        first = next((s for s in self.suspicions if not s.confirmed), None)
        if first is not None and self.gates.stopping_all() is None:
            return Action("settle", facts=(first.ref,), why=first.slip, suspicion=first)
        inside = self._inside()
        if inside is not None:
            return inside
        held: list[StepState] = []
        waiting: Action | None = None
        running = self._running()
        stopped: StepState | None = None
        for step, member in self.steps.walk():
            state = self.steps.state(step, member)
            if state.status == "stopped":
                stopped = stopped or state
                continue
            if state.status == "held":
                close = any(reason.why is Why.CLOSE for reason in state.permission.reasons)
                again = tuple(r for r in state.permission.missing if self._can_ask_again(r))
                if again and not close:
                    return Action("ask", step.spec.name, member, again, "so that what is found here counts")
            if state.status in ("not yet", "held"):
                held.append(state)
                continue
            if state.status == "waiting":
                assert step.spec.wait is not None
                action = self._waiting(step, state)
                if action.kind != "wait":
                    return action
                waiting = waiting or action
                continue
            if state.status != "ready":
                continue
            if running & self._disturbs(step):
                continue
            action = self._doing(step, state)
            if action.kind == "wait":
                waiting = waiting or action
                continue
            return action
        owned = {name for s in self.program.steps.values() for name in s.asks}
        for state in held:
            free = tuple(
                r for r in state.permission.missing if r.name not in owned and not self.wanted.settled(r)
            )
            disputed = self._disputed(free[0]) if free else None
            if disputed is not None:
                return Action("settle", facts=free[:1], why=disputed.slip, suspicion=disputed)
            if free:
                why = f"needed before: {self.program.steps[state.step].spec.title}"
                return Action("ask", facts=free, why=why)
        for state in held:
            listed = next((r for r in state.permission.reasons if r.why is Why.OPEN_LIST), None)
            if listed is not None:
                why = f"needed before: {self.program.steps[state.step].spec.title}"
                return Action("list", state.step, state.member, why=why, list=listed.about)
        if waiting is not None:
            return waiting
        for state in held:
            some = tuple(r for r in state.asks if state.status == "held" and self._some_answers_count(r))
            if some:
                return Action("ask", state.step, state.member, some, "not every answer would count here now")
        left = [*([stopped] if stopped is not None else []), *held]
        for state in left:
            step = self.program.steps[state.step]
            binding: Binding = {step.per: state.member} if step.per and state.member else NO_BINDING
            if step.spec.optional:
                continue
            if step.when is None or self.view.judge(step.when, binding) is Verdict.HOLDS:
                return Action("stopped", state.step, state.member, permission=state.permission)
        return Action("finished")

    def _inside(self) -> Action | None:
        """What is still to be done, asked or awaited inside a powered state that has begun."""
        waiting: Action | None = None
        for step in self.program.steps.values():
            if step.powered is None or not self.gates.powered_on(step.powered):
                continue
            state = self.steps.state(step, None)
            if state.status == "ready":
                return self._doing(step, state)
            if state.status == "waiting" and waiting is None:
                waiting = self._waiting(step, state)
                if waiting.kind != "wait":
                    return waiting
        return waiting

    def _can_ask_again(self, ref: Ref) -> bool:
        """Whether a fact that is needed afresh can be asked now, though the step that asks it is done."""
        if ref.name not in self.program.facts or not self.wanted.settled(ref):
            return False
        if any(reason.why is Why.UNAVAILABLE for reason in self.view.value(ref).reasons):
            return False
        owners = [s for s in self.program.steps.values() if ref.name in s.asks]
        return not owners or any(
            self.gates.permission(s.spec.name, ref.member).may is May.YES for s in owners
        )

    def _disputed(self, ref: Ref) -> Suspicion | None:
        """The latest entry of what cannot change, where entries differ: one more would not settle it."""
        if self.program.facts[ref.name].spec.nature != "fixed":
            return None
        reason = next((r for r in self.view.value(ref).reasons if r.why is Why.DISPUTED), None)
        if reason is None:
            return None
        latest = self.view.history.before((ref.name, ref.member), self.view.moment)[-1]
        return Suspicion(ref, latest, f"{reason.text}. Which is right? Correct the other.")

    def _some_answers_count(self, ref: Ref) -> bool:
        """Whether a fact not looked at yet has an answer that counts whatever it rests on."""
        fact = self.program.facts[ref.name]
        looked = self.view.history.before((ref.name, ref.member), self.view.moment)
        return not looked and isinstance(fact.domain, OptionDomain) and fact.counted != fact.domain.whole

    def _disturbs(self, step: Step) -> set[str]:
        names = {t.text for t in step.spec.disturbs}
        marks = {t.text for t in step.spec.marks}
        for name, wait in self.program.waits.items():
            if marks & {t.name for t in wait.restarted_by if t.mask is None}:
                names.add(name)
        return names

    def _doing(self, step: Step, state: StepState) -> Action:
        spec = step.spec
        if step.powered is not None and not self.gates.powered_on(step.powered):
            powered = self.program.powered[step.powered].spec
            return Action("begin", spec.name, state.member, why=powered.title)
        for ref in state.asks:
            disputed = self._disputed(ref)
            if disputed is not None:
                return Action("settle", spec.name, state.member, (ref,), disputed.slip, suspicion=disputed)
        if state.asks:
            return Action("ask", spec.name, state.member, state.asks, spec.why or "")
        if state.list is not None:
            return Action("list", spec.name, state.member, why=spec.why or "", list=state.list)
        if not self.wanted.confirmed(step, state.member):
            return Action("do", spec.name, state.member, why=spec.why or "")
        return self._waiting(step, state)

    def _waiting(self, step: Step, state: StepState) -> Action:
        assert step.spec.wait is not None
        name = step.spec.wait.text
        wait = self.view.wait(name)
        lasts = self.program.waits[name].lasts
        if wait.started is None or wait.ready_at is None:
            missing = tuple(
                r for r in self.view.missing_of(Ref(name)) if r.name != lasts or not self.wanted.settled(r)
            )
            disputed = self._disputed(Ref(lasts)) if lasts is not None else None
            if disputed is not None:
                about = (disputed.ref,)
                slip = disputed.slip
                return Action("settle", step.spec.name, state.member, about, slip, suspicion=disputed)
            return Action(
                "ask" if missing else "do", step.spec.name, state.member, missing, step.spec.why or "", name
            )
        if wait.ready_at is not None and self.at < wait.ready_at:
            return Action("wait", step.spec.name, state.member, why=step.spec.why or "", wait=name)
        witness = self.program.waits[name].witness
        facts = (Ref(witness),) if witness is not None else ()
        return Action("ask", step.spec.name, state.member, facts, "the time is up", name)
