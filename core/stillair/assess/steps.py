"""The steps of the open checklists in their order, and where each stands."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from stillair.checklist import StepSpec
from stillair.condition.core import Ref
from stillair.verdict import Reason, Verdict, Why

from .gates import Gates
from .program import NO_BINDING, Binding, Step
from .states import YES, May, Permission, StepState
from .view import View
from .wanted import Wanted

__all__ = ["Steps"]


class Steps:
    """Where every step stands at the moment of a view; `before` is where they stood, but for those `done`."""

    def __init__(
        self, view: View, gates: Gates, before: Steps | None = None, done: Collection[str] = ()
    ) -> None:
        self.view = view
        self.program = view.program
        self.history = view.history
        self.at = view.at
        self.gates = gates
        awaited = {} if before is None else before.wanted.awaiting
        self.wanted: Wanted = Wanted(view, gates, self.unchanged, awaited)
        self.states: dict[tuple[str, str | None], StepState] = {}
        self._settled: dict[tuple[str, str | None], StepState] = {}
        if before is not None:
            self._settled = {k: s for k, s in before.states.items() if s.settled and k[0] not in done}
        self._touched: dict[str, bool] = {}
        self._all: list[StepState] | None = None

    def all(self) -> list[StepState]:
        """Every step of the open checklists, in order, with its status."""
        if self._all is None:
            self._all = [self.state(step, member) for step, member in self.walk()]
        return self._all

    def state(self, step: Step, member: str | None) -> StepState:
        """Where a step stands."""
        key = (step.spec.name, member)
        state = self.states.get(key)
        if state is None:
            state = self.unchanged(step, member) or self._step_state(step, member)
            self.states[key] = state
        return state

    def unchanged(self, step: Step, member: str | None) -> StepState | None:
        """The state a step had before, if it was settled and nothing it rests on has been touched."""
        state = self._settled.get((step.spec.name, member))
        if state is None:
            return None
        touched = self._touched.get(step.spec.name)
        if touched is None:
            touched = self._touched[step.spec.name] = self._may_touch(step)
        return None if touched and self._touches(step, member) else state

    def _may_touch(self, step: Step) -> bool:
        """Whether anything that a step rests on has changed, for whichever member."""
        reach = self.view.reach
        assert reach is not None
        names = {ref.name for ref, _ in step.when.slots} if step.when is not None else set()
        if step.spec.wait is not None:
            names.add(step.spec.wait.text)
        names.update(step.asks)
        names.update(self._undoers(step))
        return not (names.isdisjoint(reach.broad) and names.isdisjoint(reach.local))

    def _touches(self, step: Step, member: str | None) -> bool:
        reach = self.view.reach
        assert reach is not None
        if step.when is not None and reach.touches_condition(step.when, member):
            return True
        if step.spec.wait is not None and reach.touches(Ref(step.spec.wait.text)):
            return True
        if not self._undoers(step).isdisjoint(reach.broad | reach.local.keys()):
            return True
        return any(
            reach.touches(Ref(name, member if self.program.facts[name].per is not None else None))
            or (name in reach.local and self.program.facts[name].per != step.per)
            for name in step.asks
        )

    def _undoers(self, step: Step) -> set[str]:
        """What undoes an event that a step marks, so that it is to be done again."""
        return self.program.undoers(mark.text for mark in step.spec.marks)

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
            members = self.wanted.ordered(per)
            if not members:
                yield from ((step, None) for step in steps[index:end] if self._unlisted(step) is not None)
            for member in members:
                for step in steps[index:end]:
                    yield step, member
            index = end

    def _step_state(self, step: Step, member: str | None) -> StepState:
        spec = step.spec
        binding: Binding = {step.per: member} if step.per is not None and member is not None else NO_BINDING
        if spec.never is not None:
            permission = self.gates.permission(spec.name, member)
            return StepState(spec.name, member, "passed over", permission, settled=True)
        if self.wanted.is_skipped(step, member):
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
                return StepState(spec.name, member, "not yet", permission, settled=True)
        if step.per is not None and member is None:
            # Nothing is listed yet: what is asked first is whether there is anything to list.
            permission = self.gates.permission(spec.name)
            status = {May.YES: "ready", May.NOT_YET: "not yet", May.NO: "stopped"}[permission.may]
            return StepState(spec.name, None, status, permission, (), self._unlisted(step))
        waiting = False
        if spec.wait is not None:
            wait = self.view.wait(spec.wait.text).options
            waiting = wait.mask != 1
            if waiting and not self.wanted.needs_wait(spec.wait.text):
                return StepState(spec.name, member, "passed over", YES)
            if any(reason.why is Why.UNWATCHED for reason in wait.reasons):
                return StepState(spec.name, member, "not yet", Permission(May.NOT_YET, (), (), wait.reasons))
        wanted = tuple(self.wanted.outstanding(step, member))
        confirmed = self.wanted.confirmed(step, member)
        listed = None if wanted else self.wanted.unlisted(step)
        if not wanted and not waiting and confirmed and listed is None:
            settled = (
                spec.name not in self.program.closing
                and step.powered is None
                and step.every is None
                and all(self.wanted.settled(ref) for ref in self.wanted.asked(step, member))
            )
            return StepState(spec.name, member, "done", YES, settled=settled)
        permission = self.gates.permission(spec.name, member)
        if permission.may is not May.YES:
            status = "not yet" if permission.may is May.NOT_YET else "stopped"
            return StepState(spec.name, member, status, permission, wanted)
        spoiled = tuple(self._spoiled(wanted, member))
        if spoiled:
            return StepState(spec.name, member, "not yet", Permission(May.NOT_YET, (), (), spoiled), wanted)
        doubts = {ref: doubts for ref in wanted if (doubts := self.view.evidence(ref))}
        asks = tuple(ref for ref in wanted if ref not in doubts)
        if doubts and not asks and not waiting and confirmed:
            asked = (r for d in doubts.values() for w in d for r in w.missing if r not in w.later)
            missing = tuple(dict.fromkeys(asked))
            reasons = tuple(dict.fromkeys(r for d in doubts.values() for w in d for r in w.reasons))
            if not reasons:
                fact = self.program.facts[next(iter(doubts)).name].spec
                because = fact.counts_when.because if fact.counts_when is not None else None
                reasons = (Reason(Why.VOID, fact.name, because or "it would not count now"),)
            return StepState(spec.name, member, "held", Permission(May.NOT_YET, (), missing, reasons), wanted)
        status = "waiting" if waiting and not asks and confirmed else "ready"
        if status == "waiting" and (reasons := self._endless(spec)):
            return StepState(spec.name, member, "not yet", Permission(May.NOT_YET, (), (), reasons))
        return StepState(spec.name, member, status, permission, asks, listed)

    def _spoiled(self, wanted: Collection[Ref], member: str | None) -> Iterator[Reason]:
        """Why a look at a place must wait: places that it would spoil have not been looked at."""
        search = self.wanted.search
        if search is not None and member is not None and Ref(search.check.fact, member) in wanted:
            title = self.program.places[member].spec.title
            for place in search.spoils(member):
                first = str(Ref(search.check.fact, place))
                yield Reason(Why.NOT_YET, first, f"it comes first: a look at {title} would spoil it")

    def _unlisted(self, step: Step) -> str | None:
        """The open list a step is kept by, empty so far, if its `when` can be judged without a member."""
        if step.when is not None and step.when.kept:
            return None
        return self.wanted.unlisted(step)

    def _endless(self, spec: StepSpec) -> tuple[Reason, ...]:
        """Why a wait that has begun cannot end: how long it lasts cannot be had."""
        assert spec.wait is not None
        lasts = self.program.waits[spec.wait.text].lasts
        state = self.view.wait(spec.wait.text)
        if lasts is None or state.started is None or state.required is not None:
            return ()
        return state.options.reasons if self.wanted.settled(Ref(lasts)) else ()
