"""Steps nobody can ever do: conditions that exclude each other, gates with their facts behind them."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from stillair.assess.circles import shortest_circles
from stillair.assess.program import Program, Step
from stillair.checklist import StepSpec
from stillair.condition import core
from stillair.condition.core import All, Condition, Either, Ref, Truth, Within
from stillair.condition.worlds import Goal, Want, World
from stillair.fault import Fault

from .sites import Subject

__all__ = ["out_of_reach"]


def out_of_reach(subject: Subject) -> Iterator[Fault]:
    """A fault for each step that can never be done, and for each circle of gates."""
    specs = {step.name: step for checklist in subject.checklists for step in checklist.steps}
    worlds: dict[str, World | None] = {}
    for spec in specs.values():
        if spec.never is None:
            yield from _excluded(subject, spec, worlds)
    yield from _behind_themselves(subject, specs)


# -- conditions that exclude each other ---------------------------------------------------------------------


def _excluded(subject: Subject, spec: StepSpec, worlds: dict[str, World | None]) -> Iterator[Fault]:
    """A fault if the conditions on a step exclude each other; `worlds` are those found of activities."""
    own = list(_own(subject.program, subject.program.steps[spec.name]))
    activity = spec.activity.text if spec.activity is not None else None
    shared = list(_of_activity(subject.program, activity)) if activity is not None else []
    named = [*own, *shared]
    if len(named) < 2:
        return
    space = subject.everywhere
    if activity is not None:
        if activity not in worlds:
            worlds[activity] = space.find(*(goal for _, goal in shared))
        # Steps of one activity share most of their conditions: often one world will do for all of them.
        world = worlds[activity]
        if world is not None and space.find(*(goal for _, goal in own), within=world) is not None:
            return
    if space.find(*(goal for _, goal in named)) is not None:
        return
    if any(space.find(goal) is None for _, goal in named):
        return  # told of that condition
    for count in (2, 3):
        for some in combinations(named, count):
            if space.find(*(goal for _, goal in some)) is None:
                yield _told(spec, [name for name, _ in some])
                return
    yield _told(spec, [name for name, _ in named])


def _told(spec: StepSpec, names: list[str]) -> Fault:
    listed = f"{', '.join(names[:-1])} and {names[-1]}"
    message = f"the step `{spec.name}` can never be done: {listed} exclude each other"
    return spec.where.fault("SA604", message, help="let them meet, or remove the step")


def _own(program: Program, step: Step) -> Iterator[tuple[str, Goal]]:
    """Each condition of a step itself, with its name."""
    name = step.spec.name
    for role, cond in ((f"`when` of `{name}`", step.when), (f"the gate of `{name}`", step.gate)):
        if cond is not None:
            yield role, (cond.flat, Want.HOLDS)
    if step.powered is not None:
        yield f"the gate of `{step.powered}`", (program.powered[step.powered].gate.flat, Want.HOLDS)


def _of_activity(program: Program, activity: str) -> Iterator[tuple[str, Goal]]:
    """The gate of an activity and its stops, with their names."""
    gate = program.activities[activity].gate
    if gate is not None:
        yield f"the gate of `{activity}`", (gate.flat, Want.HOLDS)
    for rule in program.rules.values():
        if rule.per is None and activity in {text.text for text in rule.spec.stop}:
            yield f"the stop `{rule.spec.name}`", (rule.when.flat, Want.NOT_HOLDS)


# -- gates behind themselves --------------------------------------------------------------------------------


def _behind_themselves(subject: Subject, specs: dict[str, StepSpec]) -> Iterator[Fault]:
    had = _Had(subject)
    closed = [step for step in had.closed() if step.spec.never is None]
    missing = {step.spec.name: had.missing(step) for step in closed}
    asks = {step.spec.name: had.given_by(step) for step in closed}
    behind = {
        name: [other for other in asks if asks[other] & wanted] for name, wanted in missing.items() if wanted
    }
    for circle in shortest_circles(behind):
        needed = sorted(missing[circle[0]] & asks[circle[1]])
        fact = needed[0]
        message = f"`{circle[0]}` needs `{fact}`, which is asked only behind it"
        if len(circle) > 2:
            message = f"`{circle[0]}` needs `{fact}`, which is asked only behind it: {' → '.join(circle)}"
        help = "ask it in an earlier step, or leave it out of the gate"
        yield specs[circle[0]].where.fault("SA613", message, help=help)


class _Had:
    """What can be known, step by step: a fact once a step that asks it is open."""

    def __init__(self, subject: Subject) -> None:
        self.program = program = subject.program
        self.asked = {name for step in program.steps.values() for name in step.asks}
        self.marked = {text.text for step in program.steps.values() for text in step.spec.marks}
        self.names = {name for name in (*program.facts, *program.events) if not self._is_given(name)}
        self.done: set[str] = set()
        while True:
            new = [s for s in program.steps.values() if s.spec.name not in self.done and self._is_open(s)]
            if not new:
                break
            for step in new:
                self.done.add(step.spec.name)
                self.names |= self.given_by(step)

    def _is_given(self, name: str) -> bool:
        return name in self.asked or name in self.marked

    def given_by(self, step: Step) -> set[str]:
        return {*step.asks, *(text.text for text in step.spec.marks)}

    def closed(self) -> Iterator[Step]:
        return (step for name, step in self.program.steps.items() if name not in self.done)

    def _conditions(self, step: Step) -> Iterator[Condition]:
        for cond in (step.when, step.gate):
            if cond is not None:
                yield cond.checked
        if step.powered is not None:
            yield self.program.powered[step.powered].gate.checked
        if step.spec.activity is not None:
            gate = self.program.activities[step.spec.activity.text].gate
            if gate is not None:
                yield gate.checked

    def _is_open(self, step: Step) -> bool:
        return all(self._can_hold(condition) for condition in self._conditions(step))

    def missing(self, step: Step) -> set[str]:
        """The facts and events that keep a step closed."""
        found: set[str] = set()
        for condition in self._conditions(step):
            if not self._can_hold(condition):
                self._lack(condition, found, set())
        return found

    def _can_hold(self, condition: Condition) -> bool:
        match condition:
            case Truth():
                return condition.value
            case All():
                return all(map(self._can_hold, condition.parts))
            case Either():
                return any(map(self._can_hold, condition.parts))
        return self._holds_of_nothing(condition) or self._has(condition.ref, frozenset())

    def _holds_of_nothing(self, condition: Condition) -> bool:
        """Whether a test holds while nothing has been entered: a count of none, a wait that has not begun."""
        if isinstance(condition, core.Test) and condition.ref.name in self.program.waits:
            return bool(condition.sure & 1 << condition.domain.names.index("not_started"))
        if not isinstance(condition, Within):
            return False
        derivation = self.program.derived.get(condition.ref.name)
        counts = isinstance(derivation, core.Count | core.Readings | core.Entries)
        return counts and 0.0 in condition.region

    def _has(self, ref: Ref, within: frozenset[str]) -> bool:
        """Whether something can be known of a name."""
        return all(self._has_name(name, within) for name in self._rests(ref.name, within))

    def _has_name(self, name: str, within: frozenset[str]) -> bool:
        if name in self.program.findings and name not in within:
            rules = [self.program.rules[rule].when.checked for rule in self.program.findings[name]]
            return any(map(self._can_hold, rules))
        return name in self.names or name not in (*self.program.facts, *self.program.events)

    def _rests(self, name: str, within: frozenset[str]) -> Iterator[str]:
        """The facts, events and findings a name rests on directly, through what is derived."""
        program = self.program
        if name in program.calculations:
            for ref in core.leaves(program.calculations[name][0].expression):
                yield from self._rests(ref.name, within)
        elif name in program.derived:
            for ref in core.refs_in(program.derived[name]):
                yield from self._rests(ref.name, within)
        elif name in program.waits:
            wait = program.waits[name]
            yield from (trigger.name for trigger in wait.since)
            if wait.lasts is not None:
                yield wait.lasts
        else:
            yield name

    def _lack(self, condition: Condition, found: set[str], seen: set[str]) -> None:
        if isinstance(condition, All | Either):
            for part in condition.parts:
                if not self._can_hold(part):
                    self._lack(part, found, seen)
        elif not isinstance(condition, Truth) and not self._can_hold(condition):
            for name in self._rests(condition.ref.name, frozenset()):
                if name in self.program.findings:
                    if name not in seen:
                        seen.add(name)
                        for rule in self.program.findings[name]:
                            self._lack(self.program.rules[rule].when.checked, found, seen)
                elif name not in self.names and self._is_given(name):
                    found.add(name)
