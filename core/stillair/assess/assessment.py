"""The assessment of a job: verdicts, findings, stops, what may be done, what is next and why."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import NamedTuple

from stillair import quantity
from stillair.condition.core import GRADES, NumberDomain, OptionDomain, Ref
from stillair.condition.tree import grow, judge, open_tests_of
from stillair.job import Line
from stillair.possible import Number, Options
from stillair.verdict import Reason, Verdict, Why

from .history import History, Observation, events_of, fold
from .program import Cond, Fact, Program, Step
from .view import NO_BINDING, Binding, View, WaitState, bound

__all__ = [
    "Action",
    "Assessment",
    "Blocked",
    "Finding",
    "May",
    "Permission",
    "PlaceState",
    "RuleState",
    "StepState",
    "Suspicion",
    "assess",
]


class May(Enum):
    YES = "yes"
    NOT_YET = "not yet"
    NO = "no"


class Blocked(NamedTuple):
    """One thing that stands against a step: a stop, or a gate that fails."""

    rule: str | None
    say: str
    lifted_by: str | None
    safety: bool
    lines: tuple[int, ...] = ()


class Permission(NamedTuple):
    """Whether a step may be done: yes; not yet, with what is missing; or no, with what stands against it."""

    may: May
    blocked: tuple[Blocked, ...] = ()
    missing: tuple[Ref, ...] = ()
    reasons: tuple[Reason, ...] = ()


YES = Permission(May.YES)


@dataclass(frozen=True, slots=True)
class RuleState:
    """A rule, for one member of its list if it is kept per list."""

    rule: str
    member: str | None
    verdict: Verdict
    decided: float | None
    view: View = field(repr=False, compare=False)

    @property
    def _when(self) -> tuple[Cond, Binding]:
        rule = self.view.program.rules[self.rule]
        return rule.when, bound(rule, self.member)

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Why it is open; empty where it is decided."""
        return self.view.reasons(*self._when) if self.verdict is Verdict.OPEN else ()

    @property
    def lines(self) -> tuple[int, ...]:
        """The lines of the job it rests on."""
        return self.view.lines_of(*self._when)


@dataclass(frozen=True, slots=True)
class Finding:
    """A finding as it stands: its grade, the rule and the moment that gave it.

    `grade` is the strongest that a rule gives now, `none` when no rule can, `open` when none does yet.
    `grades` are all it may still have: a suspicion may become proof by what is learnt next.
    """

    name: str
    member: str | None
    grade: str
    grades: tuple[str, ...]
    rule: str | None
    decided: float | None
    lines: tuple[int, ...]
    view: View = field(repr=False, compare=False)

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """What keeps a stronger grade open."""
        return self.view.finding_reasons(Ref(self.name, self.member))


class StepState(NamedTuple):
    """Status: done, passed over, skipped, ready, waiting, held, not yet, stopped.

    A step is held while what it would observe could not count as evidence.
    """

    step: str
    member: str | None
    status: str
    permission: Permission
    asks: tuple[Ref, ...] = ()
    list: str | None = None
    """An open list whose end must still be said."""
    settled: bool = False
    """Over and done with, and nothing else in the job can make it wanted again."""


class PlaceState(NamedTuple):
    """A place: what the look gave, and whether it counts.

    `status`: not looked, not reached, void, waiting, or the option observed.
    """

    place: str
    status: str
    observation: Observation | None
    reason: Reason | None


class Suspicion(NamedTuple):
    """An observation that cannot be, or that fits only in another unit. Nothing rests on it meanwhile."""

    ref: Ref
    observation: Observation
    slip: str
    other: str | None = None


class Action(NamedTuple):
    """The one next action.

    `kind`: settle (a suspicion), ask, do, begin (a powered state), wait, list, stopped, finished.
    """

    kind: str
    step: str | None = None
    member: str | None = None
    facts: tuple[Ref, ...] = ()
    why: str = ""
    wait: str | None = None
    list: str | None = None
    suspicion: Suspicion | None = None
    permission: Permission = YES


@dataclass(slots=True)
class Assessment:
    """What follows from a job at one time by what had been entered by another. Read only."""

    program: Program
    history: History
    view: View
    at: float
    count: int
    rules: list[RuleState] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    stops: list[RuleState] = field(default_factory=list)
    cautions: list[RuleState] = field(default_factory=list)
    waits: dict[str, WaitState] = field(default_factory=dict)
    places: list[PlaceState] = field(default_factory=list)
    suspicions: list[Suspicion] = field(default_factory=list)
    next: Action = field(default_factory=lambda: Action("finished"))
    _steps: list[StepState] | None = None
    _states: dict[tuple[str, str | None], StepState] = field(default_factory=dict)
    _settled: dict[tuple[str, str | None], StepState] = field(default_factory=dict)
    _permissions: dict[tuple[str, str | None], Permission] = field(default_factory=dict)
    _awaited: frozenset[Ref] | None = None
    _worth: dict[Ref, bool] = field(default_factory=dict)
    _needed: dict[str, bool] = field(default_factory=dict)

    # -- for those who ask about one thing ---------------------------------------------------------------

    def permission(self, step: str, member: str | None = None) -> Permission:
        """Whether a step may be done now. KeyError if there is no such step."""
        key = (step, member)
        if key not in self._permissions:
            self._permissions[key] = self._permission(self.program.steps[step], member)
        return self._permissions[key]

    def activity(self, name: str) -> Permission:
        """Whether an activity may go on now. KeyError if there is no such activity."""
        return self._combined([*self._activity(name), *self._unproved(None)])

    def finding(self, name: str, member: str | None = None) -> Finding:
        return next(f for f in self.findings if f.name == name and f.member == member)

    def running(self) -> list[WaitState]:
        """The waits that are running, or whose time is up and whose question is open."""
        return [w for w in self.waits.values() if w.started is not None and w.options.mask & 2]

    # -- permissions -------------------------------------------------------------------------------------

    def _permission(self, step: Step, member: str | None) -> Permission:
        spec = step.spec
        if spec.never is not None:
            return Permission(May.NO, (Blocked(None, spec.never, None, True),))
        binding: Binding = {step.per: member} if step.per is not None and member is not None else NO_BINDING
        parts: list[Permission] = []
        activities = self._activities(step, member)
        for name in activities:
            parts.extend(self._activity(name, gated=step.powered is None))
        if step.powered is not None or activities:
            parts.extend(self._unproved(step))
        if step.when is not None:
            parts.append(self._wanted(step.when, binding))
        if step.gate is not None:
            parts.append(self._gate(step.gate, binding, spec.title or spec.name))
        if step.powered is not None:
            parts.append(self._powered_gate(step.powered))
        return self._combined(parts)

    def _wanted(self, when: Cond, binding: Binding) -> Permission:
        """A step whose `when` does not hold is not there to be done."""
        if self.view.judge(when, binding) is Verdict.FAILS:
            say = f"not wanted here: it is for when {self._failing(when, binding)}"
            return Permission(May.NO, (Blocked(None, say, None, when.safety),))
        return self._gate(when, binding, "")

    def _activity(self, name: str, gated: bool = True) -> Iterator[Permission]:
        activity = self.program.activities[name]
        for state in self.stops:
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
        for name, powered in self.program.powered.items():
            begun = self._begun(name)
            if begun is None or (step is not None and step.powered == name):
                continue
            proof = tuple(self._proof(name))
            if not proof or (step is not None and any(r.name in step.asks for r in proof)):
                continue
            over = self.at - begun[0] > powered.at_most
            say = f"{powered.spec.title} has {'run over its time' if over else 'begun'}"
            reason = Reason(Why.LATER, name, f"{say}; lock out again and prove it first")
            yield Permission(May.NOT_YET, (), proof, (reason,))

    def _powered_gate(self, name: str) -> Permission:
        """The gate of a powered state: before it begins, and, within its time, for the steps inside.

        What it frees counts inside as it was just before it began.
        """
        powered = self.program.powered[name]
        begun = self._begun(name)
        if begun is None or not self._powered_on(name):
            return self._gate(powered.gate, NO_BINDING, powered.spec.title)
        if self.at - begun[0] > powered.at_most:
            say = f"{powered.spec.title} has run over its {powered.spec.at_most}"
            return Permission(May.NO, (Blocked(name, say, "Lock out again and prove it.", True),))
        earlier = self.view.as_of(begun[0] - 0.001)
        freed = {text.text for text in powered.spec.frees}
        proved = {fact for fact, _ in powered.proof}

        def lookup(ref: Ref) -> Number | Options:
            if ref.name in proved and (ref.member is None or ref.member in freed):
                return earlier.value(ref)
            return self.view.value(ref)

        verdict = judge(powered.gate.checked, lookup)
        if verdict is Verdict.HOLDS:
            return YES
        if verdict is Verdict.OPEN:
            return Permission(
                May.NOT_YET, (), self.view.missing(powered.gate), self.view.reasons(powered.gate)
            )
        say = f"{powered.spec.title}: needs {self._failing(powered.gate, NO_BINDING)}"
        return Permission(May.NO, (Blocked(None, say, "Lock out again and prove it.", True),))

    def _gate(self, cond: Cond, binding: Binding, title: str) -> Permission:
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

    def _failing(self, cond: Cond, binding: Binding) -> str:
        """The smallest part of a gate that fails."""
        branch = grow(cond.checked, lambda ref: self.view.value(ref.bound(binding)))
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

    # -- powered states ----------------------------------------------------------------------------------

    def _begun(self, name: str) -> tuple[float, int] | None:
        return self.history.latest_event((f"{name}_begun", None), self.at)

    def _powered_on(self, name: str) -> bool:
        """Whether a powered state has begun and its proof has not been given since."""
        begun = self._begun(name)
        return begun is not None and bool(list(self._proof(name)))

    def _proof(self, name: str) -> Iterator[Ref]:
        """The facts that must still be observed to end a powered state."""
        begun = self._begun(name)
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
                found = self.history.before((fact.name, member), self.at)
                latest = found[-1] if found else None
                if (
                    latest is None
                    or latest.moment < begun
                    or latest.value is None
                    or latest.line in self.history.doubted
                    or not fact.domain.mask(str(latest.value)) & mask
                ):
                    yield Ref(fact.name, member)

    # -- building ----------------------------------------------------------------------------------------

    def _judge_rules(self) -> None:
        for rule in self.program.rules.values():
            members: Sequence[str | None] = [None]
            if rule.per is not None:
                members = self.view.members(rule.per)[0]
            for member in members:
                verdict, decided = self.view.rule(rule, member)
                state = RuleState(rule.spec.name, member, verdict, decided, self.view)
                self._add_rule(state)

    def _add_rule(self, state: RuleState) -> None:
        self.rules.append(state)
        spec = self.program.rules[state.rule].spec
        if spec.stop:
            self.stops.append(state)
        if spec.caution is not None:
            self.cautions.append(state)

    def _judge_findings(self) -> None:
        for name, rules in self.program.findings.items():
            per = self.program.rules[rules[0]].per
            members: Sequence[str | None] = [None] if per is None else self.view.members(per)[0]
            for member in members:
                self.findings.append(self._finding(name, member))

    def _finding(self, name: str, member: str | None) -> Finding:
        value = self.view.options(Ref(name, member))
        grades = tuple(g for bit, g in enumerate(GRADES) if value.mask >> bit & 1)
        held = self.view.held(name, member)
        if held is None:
            grade = "none" if grades == ("none",) else "open"
            return Finding(name, member, grade, grades, None, None, value.lines, self.view)
        rule, decided = held
        grade = rule.spec.grade.replace(" ", "_")
        return Finding(name, member, grade, grades, rule.spec.name, decided, value.lines, self.view)

    def _judge_places(self) -> None:
        if self.program.look is not None:
            self.places = [self._place(self.program.look, name) for name in self.program.places]

    def _place(self, look: str, name: str) -> PlaceState:
        found = self.history.before((look, name), self.at)
        if not found:
            return PlaceState(name, "not looked", None, None)
        latest = found[-1]
        if latest.value is None:
            return PlaceState(name, "not reached", latest, Reason(Why.UNAVAILABLE, name, latest.why))
        ref = Ref(look, name)
        doubt = self.view.doubt(self.program.facts[look], ref, latest)
        if doubt is not None:
            return PlaceState(name, "void" if doubt.why is Why.VOID else "waiting", latest, doubt)
        reasons = self.view.value(ref).reasons
        if reasons:
            status = "disputed" if reasons[0].why is Why.DISPUTED else "void"
            return PlaceState(name, status, latest, reasons[0])
        return PlaceState(name, str(latest.value), latest, None)

    # -- steps and the next action -----------------------------------------------------------------------

    @property
    def steps(self) -> list[StepState]:
        """Every step of the open checklists, in order, with its status."""
        if self._steps is None:
            self._steps = [self.step_state(step, member) for step, member in self.walk()]
        return self._steps

    def step_state(self, step: Step, member: str | None) -> StepState:
        """Where a step stands."""
        key = (step.spec.name, member)
        state = self._states.get(key)
        if state is None:
            state = self._settled.get(key)
            if state is None or self._touched(step, member):
                state = self._step_state(step, member)
            self._states[key] = state
        return state

    def _touched(self, step: Step, member: str | None) -> bool:
        """Whether a step that was over and done with before may be so no more."""
        reach = self.view.reach
        assert reach is not None
        if step.when is not None and reach.touches_condition(step.when, member):
            return True
        if step.spec.wait is not None and reach.touches(Ref(step.spec.wait.text)):
            return True
        return any(
            reach.touches(Ref(name, member if self.program.facts[name].per is not None else None))
            or (name in reach.local and self.program.facts[name].per != step.per)
            for name in step.asks
        )

    def walk(self) -> Iterator[tuple[Step, str | None]]:
        """The steps in their order; a run of steps kept per one list goes member by member."""
        closed = {n for n, (taken, _) in self.history.closed.items() if taken <= self.at}
        opened = [n for n in self.program.checklists if self.history.opened.get(n, self.at + 1) <= self.at]
        opened = opened or list(self.program.checklists)
        if "" in closed:
            return
        steps = [
            s for n in opened if n not in closed for s in self.program.steps.values() if s.checklist == n
        ]
        index = 0
        while index < len(steps):
            per = steps[index].per
            if per is None:
                yield steps[index], None
                index += 1
                continue
            end = index
            while (
                end < len(steps) and steps[end].per == per and steps[end].checklist == steps[index].checklist
            ):
                end += 1
            for member in self.ordered(per):
                for step in steps[index:end]:
                    yield step, member
            index = end

    def ordered(self, per: str) -> list[str]:
        """The members of a list in the order they are worked through; places by their position."""
        members = self.view.members(per)[0]
        if per != "place":
            return members
        way = self._way()
        places = self.program.places

        def position(item: tuple[int, str]) -> tuple[float, int]:
            order = places[item[1]].spec.order
            return (getattr(order, way) if order is not None else float(item[0]), item[0])

        chosen = [m for _, m in sorted(enumerate(members), key=position)]
        return [
            m
            for m in chosen
            if (when := places[m].when) is None or self.view.judge(when, {"place": m}) is not Verdict.FAILS
        ]

    def _way(self) -> str:
        """How what is sought moves: sinks unless a checklist's condition shows that it is level or rises."""
        for name, cond in self.program.ways.items():
            if self.view.judge(cond) is Verdict.HOLDS:
                return name
        return "sinks"

    def _step_state(self, step: Step, member: str | None) -> StepState:
        spec = step.spec
        binding: Binding = {step.per: member} if step.per is not None and member is not None else NO_BINDING
        if spec.never is not None:
            permission = self.permission(spec.name, member)
            return StepState(spec.name, member, "passed over", permission, settled=True)
        if self._is_skipped(step, member):
            return StepState(spec.name, member, "skipped", YES, settled=True)
        if step.when is not None:
            verdict = self.view.judge(step.when, binding)
            if verdict is Verdict.FAILS:
                return StepState(spec.name, member, "passed over", YES, settled=True)
            if verdict is Verdict.OPEN:
                permission = Permission(
                    May.NOT_YET,
                    (),
                    self.view.missing(step.when, binding),
                    self.view.reasons(step.when, binding),
                )
                return StepState(spec.name, member, "not yet", permission)
        waiting = False
        if spec.wait is not None:
            waiting = self.view.wait(spec.wait.text).options.mask != 1
            if waiting and not self.needs_wait(spec.wait.text):
                return StepState(spec.name, member, "passed over", YES)
        wanted = tuple(self._outstanding(step, member))
        confirmed = self._confirmed(step, member)
        listed = None if wanted else self._unlisted(step)
        if not wanted and not waiting and confirmed and listed is None:
            settled = (
                spec.name not in self.program.closing
                and step.powered is None
                and all(self.settled(ref) for ref in self._asked(step, member))
            )
            return StepState(spec.name, member, "done", YES, settled=settled)
        permission = self.permission(spec.name, member)
        if permission.may is not May.YES:
            status = "not yet" if permission.may is May.NOT_YET else "stopped"
            return StepState(spec.name, member, status, permission, wanted)
        doubts = {ref: doubts for ref in wanted if (doubts := self.view.evidence(ref))}
        asks = tuple(ref for ref in wanted if ref not in doubts)
        if doubts and not asks and not waiting and confirmed:
            missing = tuple(dict.fromkeys(r for d in doubts.values() for w in d for r in w.missing))
            reasons = tuple(dict.fromkeys(r for d in doubts.values() for w in d for r in w.reasons))
            if not reasons:
                fact = self.program.facts[next(iter(doubts)).name].spec
                because = fact.counts_when.because if fact.counts_when is not None else None
                reasons = (Reason(Why.VOID, fact.name, because or "it would not count now"),)
            return StepState(spec.name, member, "held", Permission(May.NOT_YET, (), missing, reasons), wanted)
        status = "waiting" if waiting and not asks and confirmed else "ready"
        return StepState(spec.name, member, status, permission, asks, listed)

    def _unlisted(self, step: Step) -> str | None:
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
        for state in self.rules:
            if state.verdict is Verdict.OPEN:
                when = self.program.rules[state.rule].when
                if any(ref.name == name for ref, _ in when.slots):
                    return True
        for step in self.program.steps.values():
            conds = {c for fact in map(self.program.facts.__getitem__, step.asks) for c in _evidence(fact)}
            members: Sequence[str | None] = [None] if step.per is None else self.view.members(step.per)[0]
            for member in members:
                needing = [*self._gates(step, member), *conds]
                if any(name in cond.mentions for cond in needing) and self._still_wanted(step, member):
                    return True
        return False

    def _is_skipped(self, step: Step, member: str | None) -> bool:
        skipped = self.history.skipped.get((step.spec.name, member))
        return skipped is not None and skipped[0] <= self.at

    def _still_wanted(self, step: Step, member: str | None) -> bool:
        """Whether a step has something to ask, or to do that asks nothing."""
        binding: Binding = {step.per: member} if step.per and member is not None else NO_BINDING
        if step.when is not None and self.view.judge(step.when, binding) is Verdict.FAILS:
            return False
        if self._is_skipped(step, member):
            return False
        if not step.asks and step.spec.wait is None:
            return not self._confirmed(step, member)
        return any(True for _ in self._outstanding(step, member))

    def _gates(self, step: Step, member: str | None) -> Iterator[Cond]:
        if step.gate is not None:
            yield step.gate
        for name in self._activities(step, member):
            gate = self.program.activities[name].gate
            if gate is not None:
                yield gate

    def _activities(self, step: Step, member: str | None) -> list[str]:
        """The activities of a step; a step kept per place takes that of the place."""
        if step.spec.activity is not None:
            return [step.spec.activity.text]
        if step.per == "place" and member is not None:
            place = self.program.places[member].spec
            if place.activity is not None:
                return [place.activity.text]
        return []

    def _confirmed(self, step: Step, member: str | None) -> bool:
        """Whether what the step does has been done, as far as it needs saying."""
        spec = step.spec
        done = [each for each in self.history.done.get((spec.name, member), ()) if each[0] <= self.at]
        if step.powered is not None:
            begun = self._begun(step.powered)
            return begun is not None and any(each >= begun for each in done)
        if spec.marks:
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

    def _outstanding(self, step: Step, member: str | None) -> Iterator[Ref]:
        closing = self.program.closing.get(step.spec.name, ())
        for ref in self._asked(step, member):
            due = ref.name in closing and ref in self.awaited
            if due or (not self.settled(ref) and self.worth_asking(ref)):
                yield ref

    def _asked(self, step: Step, member: str | None) -> Iterator[Ref]:
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
        value = self.view.value(ref)
        if isinstance(value, Options):
            known = not value.mask & (value.mask - 1)
        else:
            known = not value.reasons and not value.undefined
        if known:
            return True
        return bool(value.reasons) and all(r.why in (Why.UNAVAILABLE, Why.LATER) for r in value.reasons)

    def worth_asking(self, ref: Ref) -> bool:
        """Whether an answer could still matter: an open verdict rests on it, or it is for the record."""
        held = self._worth.get(ref)
        if held is None:
            self._worth[ref] = False
            held = self._worth[ref] = self._is_worth_asking(ref)
        return held

    def _is_worth_asking(self, ref: Ref) -> bool:
        program, view, name = self.program, self.view, ref.name
        if name not in program.mentioned:
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
        return any(ref in self._proof(powered) for powered in program.powered)

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
            self._awaited = frozenset(self._find_awaited())
        return self._awaited

    def _find_awaited(self) -> Iterator[Ref]:
        for fact in self.program.facts.values():
            if fact.counts is None and not fact.place_counts:
                continue
            members: Sequence[str | None] = [None] if fact.per is None else self.view.members(fact.per)[0]
            for member in members:
                ref = Ref(fact.name, member)
                if any(r.why is Why.LATER for r in self.view.value(ref).reasons):
                    yield from (r for r in self.view.missing_of(ref) if r != ref)

    def _choose(self) -> Action:
        if self.suspicions:
            first = self.suspicions[0]
            return Action("settle", facts=(first.ref,), why=first.slip, suspicion=first)
        inside = self._inside()
        if inside is not None:
            return inside
        held: list[StepState] = []
        waiting: Action | None = None
        running = {w.name for w in self.running() if w.ready_at is not None and self.at < w.ready_at}
        stopped: StepState | None = None
        for step, member in self.walk():
            state = self.step_state(step, member)
            if state.status == "stopped":
                stopped = stopped or state
                continue
            if state.status == "held":
                again = tuple(r for r in state.permission.missing if self._can_ask_again(r))
                if again:
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
            free = tuple(r for r in state.permission.missing if r.name not in owned and not self.settled(r))
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
        """The step for which a powered state was begun, if it is still to be done."""
        for step in self.program.steps.values():
            if step.powered is None or self._is_skipped(step, None):
                continue
            may = self.permission(step.spec.name).may
            if self._powered_on(step.powered) and not self._confirmed(step, None) and may is May.YES:
                return Action("do", step.spec.name, why=step.spec.why or "")
        return None

    def _can_ask_again(self, ref: Ref) -> bool:
        """Whether a fact that is needed afresh can be asked now, though the step that asks it is done."""
        if ref.name not in self.program.facts or not self.settled(ref):
            return False
        owners = [s for s in self.program.steps.values() if ref.name in s.asks]
        return not owners or any(self.permission(s.spec.name, ref.member).may is May.YES for s in owners)

    def _disturbs(self, step: Step) -> set[str]:
        names = {t.text for t in step.spec.disturbs}
        marks = {t.text for t in step.spec.marks}
        for name, wait in self.program.waits.items():
            if marks & {t.name for t in wait.restarted_by if t.mask is None}:
                names.add(name)
        return names

    def _doing(self, step: Step, state: StepState) -> Action:
        spec = step.spec
        if step.powered is not None and not self._powered_on(step.powered):
            powered = self.program.powered[step.powered].spec
            return Action("begin", spec.name, state.member, why=powered.title)
        if state.asks:
            return Action("ask", spec.name, state.member, state.asks, spec.why or "")
        if state.list is not None:
            return Action("list", spec.name, state.member, why=spec.why or "", list=state.list)
        if not self._confirmed(step, state.member):
            return Action("do", spec.name, state.member, why=spec.why or "")
        return self._waiting(step, state)

    def _waiting(self, step: Step, state: StepState) -> Action:
        assert step.spec.wait is not None
        name = step.spec.wait.text
        wait = self.waits[name]
        if wait.started is None:
            missing = tuple(self.view.missing_of(Ref(name)))
            return Action(
                "ask" if missing else "do", step.spec.name, state.member, missing, step.spec.why or "", name
            )
        if wait.ready_at is not None and self.at < wait.ready_at:
            return Action("wait", step.spec.name, state.member, why=step.spec.why or "", wait=name)
        witness = self.program.waits[name].witness
        facts = (Ref(witness),) if witness is not None else ()
        return Action("ask", step.spec.name, state.member, facts, "the time is up", name)


def _evidence(fact: Fact) -> Iterator[Cond]:
    """The conditions on which an observation of a fact counts."""
    if fact.counts is not None:
        yield fact.counts
    yield from fact.place_counts.values()


def assess(program: Program, lines: Sequence[Line], at: float, known: float | None = None) -> Assessment:
    """What follows from the lines of a job at the time `at`, by what had been entered by `known`.

    Pure: the same program, lines and times give the same assessment. `known` defaults to the last line.
    """
    history = fold(lines, program, float("inf") if known is None else known)
    view = View(program, history, at)
    suspicions = _suspicions(program, history, view)
    if suspicions:
        history.doubted = {s.observation.line: s.slip for s in suspicions}
        view = View(program, history, at)
    found = Assessment(program, history, view, at, len(lines), suspicions=suspicions)
    found.waits = {name: view.wait(name) for name in program.waits}
    found._judge_rules()
    found._judge_findings()
    found._judge_places()
    found.next = found._choose()
    return found


def follow(before: Assessment, lines: Sequence[Line], at: float) -> Assessment:
    """The assessment of a job that has grown by a few lines since `before`; equal to `assess`, and faster.

    Only what the new lines or the time can have changed is worked out again. Corrections, handovers, new
    members and anything entered for an earlier time are assessed in full.
    """
    program = before.program
    new = lines[before.count :]
    plain = {"observe", "unavailable", "event", "done"}
    whole = (
        before.suspicions
        or before.history.known != float("inf")
        or not before.history.taken <= before.at <= at
    )
    if (
        whole
        or len(new) > 8
        or any(x.kind not in plain or not before.history.taken < x.taken <= at for x in new)
    ):
        return assess(program, lines, at)
    history = before.history.extended(new, program)
    view = before.view.after(history, at, [ref for line in new for ref in _changed(program, line)])
    if _suspicions(program, history, view):
        return assess(program, lines, at)
    reach = view.reach
    assert reach is not None
    found = Assessment(program, history, view, at, count=len(lines))
    found.waits = {name: view.wait(name) for name in program.waits}
    for state in before.rules:
        rule = program.rules[state.rule]
        if reach.touches_condition(rule.when, state.member):
            verdict, decided = view.rule(rule, state.member)
            state = RuleState(state.rule, state.member, verdict, decided, view)
        found._add_rule(state)
    for finding in before.findings:
        if reach.touches(Ref(finding.name, finding.member)):
            finding = found._finding(finding.name, finding.member)
        found.findings.append(finding)
    for place in before.places:
        if program.look is not None and reach.touches(Ref(program.look, place.place)):
            place = found._place(program.look, place.place)
        found.places.append(place)
    found._settled = {
        key: state
        for key, state in before._states.items()
        if state.settled and not any(x.kind == "done" and x.body.get("step") == key[0] for x in new)
    }
    found.next = found._choose()
    return found


def _changed(program: Program, line: Line) -> Iterator[Ref]:
    """The facts and events that a plain line is about."""
    of = line.body.get("of")
    member = str(of) if of is not None else None
    if line.kind == "event":
        yield Ref(str(line.body["event"]), member)
    elif line.kind == "done":
        step = program.steps.get(str(line.body["step"]))
        for event in events_of(step) if step is not None else ():
            symbol = program.symbols[event]
            yield Ref(event, member if symbol.per is not None else None)
    else:
        yield Ref(str(line.body["fact"]), member)


def _suspicions(program: Program, history: History, view: View) -> list[Suspicion]:
    """Entries that cannot be, and entries that fit what is expected only in another unit.

    An entry made again with the same value is taken as confirmed.
    """
    found: dict[int, Suspicion] = {}
    for impossible in program.impossible:
        if view.judge(impossible.when) is Verdict.HOLDS:
            for name in impossible.facts:
                observation = _latest(history, view, name)
                if observation is not None:
                    found.setdefault(observation.line, Suspicion(Ref(name), observation, impossible.slip))
    for suspect in program.suspects:
        if view.judge(suspect.expects) is not Verdict.FAILS:
            continue
        for name in suspect.facts:
            observation = _latest(history, view, name)
            if observation is None or _confirmed_again(history, observation):
                continue
            for other, text in _other_readings(program, name, observation):
                tried = copy.copy(history)
                tried.observations = dict(history.observations)
                key = (name, None)
                tried.observations[key] = [
                    _replaced(o, other) if o is observation else o for o in history.observations[key]
                ]
                if _could_fit(View(program, tried, view.at), suspect.expects):
                    slip = f"{observation.read} does not fit; {text} would. Which was read?"
                    found.setdefault(observation.line, Suspicion(Ref(name), observation, slip, text))
    return list(found.values())


def _could_fit(view: View, expects: Cond) -> bool:
    """Whether what is expected holds, or is open only because something else is not known exactly."""
    verdict = view.judge(expects)
    if verdict is not Verdict.OPEN:
        return verdict is Verdict.HOLDS
    values = [view.value(test.ref) for test in open_tests_of(expects.flat, view.value)]
    return not any(isinstance(value, Number) and value.undefined for value in values)


def _latest(history: History, view: View, name: str) -> Observation | None:
    found = [o for o in history.before((name, None), view.at) if o.value is not None]
    return found[-1] if found else None


def _confirmed_again(history: History, observation: Observation) -> bool:
    """Whether the same was read again right after, or before: then it is no slip of the unit."""
    found = history.observations[observation.fact, observation.member]
    place = found.index(observation)
    return any(
        o.value == observation.value for o in (*found[place - 1 : place], *found[place + 1 : place + 2])
    )


def _replaced(observation: Observation, value: float) -> Observation:
    return observation._replace(value=value)


def _other_readings(program: Program, name: str, observation: Observation) -> Iterator[tuple[float, str]]:
    """What the number typed would be under the units it is often confused with."""
    fact = program.facts[name]
    if not isinstance(fact.domain, NumberDomain) or not observation.read:
        return
    try:
        typed = quantity.read(observation.read, fact.domain.dimension, default=fact.unit)
    except quantity.QuantityError:
        return
    for other in quantity.other_units(typed):
        if other.dimension == fact.domain.dimension:
            yield other.value, other.typed
