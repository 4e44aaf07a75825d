"""The assessment of a job: verdicts, findings, stops, what may be done, what is next and why."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from functools import cached_property
from itertools import pairwise
from typing import Any

from stillair.condition.core import GRADES, Ref
from stillair.job import Line
from stillair.verdict import Reason, Why

from .beliefs import Belief, band_of, beliefs
from .choice import Choice
from .gates import Gates
from .history import History, end_of, events_of, fold
from .program import Band, Program, Rule
from .searching import Search
from .states import Action, Finding, Permission, PlaceState, RuleState, StepState, Suspicion
from .steps import Steps
from .suspicion import suspicions
from .view import View
from .waits import WaitState

__all__ = ["Assessment", "NoSuch", "assess", "follow", "view_of"]


class NoSuch(LookupError):
    """What was asked for is not there, or not for that member of its list."""


class Assessment:
    """What follows from a job at one time by what had been entered by another. Read only.

    Each part is worked out when it is first asked for. `count` is the number of lines it is made from;
    `before` is the assessment it follows on, in which no step of `done` was done yet.
    """

    def __init__(
        self,
        view: View,
        count: int,
        suspicions: list[Suspicion],
        before: Assessment | None = None,
        done: Collection[str] = (),
    ) -> None:
        self.program: Program = view.program
        self.history: History = view.history
        self.view = view
        self.at = view.at
        self.count = count
        self.suspicions = suspicions
        # What it had worked out, and not itself: a long job would be kept once for each of its entries.
        kept = ("rules", "stops", "cautions", "findings", "places", "_steps")
        there = {} if before is None else vars(before)
        self._earlier: dict[str, Any] = {name: there[name] for name in kept if name in there}
        self._done = done

    @cached_property
    def rules(self) -> list[RuleState]:
        """Every rule of the open checklists, for each member of the list it is kept per."""
        self.view.judge_together()
        return self._judged(self._earlier.pop("rules", None), self.program.rules.values())

    @cached_property
    def stops(self) -> list[RuleState]:
        """The rules that stop an activity."""
        stops = [rule for rule in self.program.rules.values() if rule.spec.stop]
        return self._judged(self._earlier.pop("stops", None), stops)

    @cached_property
    def cautions(self) -> list[RuleState]:
        """The rules that give a caution."""
        cautions = [rule for rule in self.program.rules.values() if rule.spec.caution is not None]
        return self._judged(self._earlier.pop("cautions", None), cautions)

    def _judged(self, before: list[RuleState] | None, rules: Iterable[Rule]) -> list[RuleState]:
        """These rules as they stand; worked out anew where something touches how they stood before."""
        view = self.view
        reach = view.reach
        if before is None or reach is None:
            return [
                _rule(view, rule.spec.name, member) for rule in rules for member in _members(view, rule.per)
            ]
        touched = {rule.spec.name: rule for rule in rules if reach.may_touch(rule.when)}
        return [
            _rule(view, s.rule, s.member)
            if s.rule in touched and reach.touches_condition(touched[s.rule].when, s.member)
            else s
            for s in before
        ]

    @cached_property
    def findings(self) -> list[Finding]:
        """Every finding, for each member of the list it is kept per."""
        view, rules = self.view, self.program.rules
        self.view.judge_together()
        before, reach = self._earlier.pop("findings", None), view.reach
        if before is None or reach is None:
            return [
                _finding(view, name, member)
                for name, given in self.program.findings.items()
                for member in _members(view, rules[given[0]].per)
            ]
        return [
            _finding(view, f.name, f.member) if reach.touches(Ref(f.name, f.member)) else f for f in before
        ]

    @cached_property
    def places(self) -> list[PlaceState]:
        """Every place that is looked at, and what was found there."""
        look = self.program.look
        if look is None:
            return []
        before, reach = self._earlier.pop("places", None), self.view.reach
        if before is None or reach is None:
            return [_place(self.view, look, name) for name in self.program.places]
        return [_place(self.view, look, p.place) if reach.touches(Ref(look, p.place)) else p for p in before]

    @cached_property
    def waits(self) -> dict[str, WaitState]:
        """Every wait by its name."""
        return {name: self.view.wait(name) for name in self.program.waits}

    @cached_property
    def _gates(self) -> Gates:
        return Gates(self.view, self.stops)

    @cached_property
    def _steps(self) -> Steps:
        return Steps(self.view, self._gates, self._earlier.pop("_steps", None), self._done)

    @cached_property
    def next(self) -> Action:
        """The one next action."""
        return Choice(self._steps, self.suspicions).action()

    @cached_property
    def beliefs(self) -> dict[str, Belief]:
        """How likely each place is now, by its name."""
        return {belief.place: belief for belief in beliefs(self.view)}

    @property
    def band(self) -> Band | None:
        """The kind of jobs whose learned beliefs this job goes by."""
        return band_of(self.view)

    @property
    def search(self) -> Search | None:
        """The search for a place, where a checklist declares what a look is worth."""
        return self._steps.wanted.search

    @property
    def steps(self) -> list[StepState]:
        """Every step of the open checklists, in order, with its status."""
        return self._steps.all()

    def permission(self, step: str, member: str | None = None) -> Permission:
        """Whether a step may be done now. KeyError if there is no such step."""
        return self._gates.permission(step, member)

    def activity(self, name: str) -> Permission:
        """Whether an activity may go on now. KeyError if there is no such activity."""
        return self._gates.activity(name)

    def unproved(self, powered: str) -> tuple[Ref, ...]:
        """What must still be observed to prove that a powered state has ended; nothing if it is not on."""
        return tuple(self._gates.proof(powered))

    def not_proved_off(self) -> list[str]:
        """What is said of each powered state that has begun and is not proved to have ended."""
        return [self._gates.not_proved_off(n) for n in self.program.powered if self._gates.powered_on(n)]

    def stopping_all(self) -> RuleState | None:
        """The safety stop that stands against every activity: there is nothing to do but what it says."""
        return self._gates.stopping_all()

    def any_step(self, activity: str) -> Permission:
        """Whether any step of an activity may be done now. KeyError if there is no such activity."""
        return self._gates.any_step(activity)

    def rule(self, name: str, member: str | None = None) -> RuleState:
        """A rule as it stands. NoSuch if there is no such rule, or no such member."""
        rule = self.program.rules.get(name)
        if rule is None or member not in _members(self.view, rule.per):
            raise NoSuch(name, member)
        return _rule(self.view, name, member)

    def finding(self, name: str, member: str | None = None) -> Finding:
        """A finding as it stands. NoSuch if there is no such finding, or no such member."""
        given = self.program.findings.get(name)
        if given is None or member not in _members(self.view, self.program.rules[given[0]].per):
            raise NoSuch(name, member)
        return _finding(self.view, name, member)

    def running(self) -> list[WaitState]:
        """The waits that are running, or whose time is up and whose question is open."""
        return [w for w in self.waits.values() if w.started is not None and w.options.mask & 2]


def assess(program: Program, lines: Sequence[Line], at: float, known: float | None = None) -> Assessment:
    """What follows from the lines of a job at the time `at`, by what had been entered by `known`.

    Pure: the same program, lines and times give the same assessment. `known` defaults to the last line.
    """
    view, suspected = view_of(program, lines, at, known)
    return Assessment(view, len(lines), suspected)


def view_of(
    program: Program, lines: Sequence[Line], at: float, known: float | None = None
) -> tuple[View, list[Suspicion]]:
    """What the facts may be, and which entries are suspect: what an assessment begins with."""
    history = fold(lines, program, float("inf") if known is None else known)
    view = View(program, history, end_of(at))
    suspected = suspicions(program, history, view)
    if suspected:
        history.doubted = {s.observation.line: s.slip for s in suspected}
        view = View(program, history, end_of(at))
    return view, suspected


def _members(view: View, per: str | None) -> Sequence[str | None]:
    return [None] if per is None else view.members(per)[0]


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
        or any(later.taken < earlier.taken for earlier, later in pairwise(new))
    ):
        return assess(program, lines, at)
    history = before.history.extended(new, program)
    view = before.view.after(history, at, [ref for line in new for ref in _changed(program, line)])
    if suspicions(program, history, view):
        return assess(program, lines, at)
    done = {str(line.body["step"]) for line in new if line.kind == "done"}
    return Assessment(view, len(lines), [], before, done)


def _rule(view: View, name: str, member: str | None) -> RuleState:
    verdict, decided = view.rule(view.program.rules[name], member)
    return RuleState(name, member, verdict, decided, view)


def _finding(view: View, name: str, member: str | None) -> Finding:
    value = view.options(Ref(name, member))
    grades = tuple(g for bit, g in enumerate(GRADES) if value.mask >> bit & 1)
    held = view.held(name, member)
    if held is None:
        grade = "none" if grades == ("none",) else "open"
        return Finding(name, member, grade, grades, None, None, value.lines, view)
    rule, decided = held
    grade = rule.spec.grade.replace(" ", "_")
    return Finding(name, member, grade, grades, rule.spec.name, decided, value.lines, view)


def _place(view: View, look: str, name: str) -> PlaceState:
    found = view.history.before((look, name), view.moment)
    if not found:
        return PlaceState(name, "not looked", None, None)
    latest = found[-1]
    if latest.value is None:
        return PlaceState(name, "not reached", latest, Reason(Why.UNAVAILABLE, name, latest.why))
    ref = Ref(look, name)
    doubt = view.doubt(view.program.facts[look], ref, latest)
    if doubt is not None:
        return PlaceState(name, "waiting" if doubt.why is Why.LATER else "void", latest, doubt)
    reasons = view.value(ref).reasons
    if reasons:
        status = "disputed" if reasons[0].why is Why.DISPUTED else "void"
        return PlaceState(name, status, latest, reasons[0])
    return PlaceState(name, str(latest.value), latest, None)


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
