"""What every fact may be, as of one moment: the lazy evaluator behind an assessment."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from copy import copy
from functools import cached_property
from typing import Any, NamedTuple

from stillair.condition.batch import Narrowing
from stillair.condition.core import Ref, Test, Within
from stillair.possible import Number, Options
from stillair.verdict import Reason, Verdict, Why

from . import derived, grades, lacking, searching, standing, waits
from .history import History, Moment, Observation, end_of
from .lacking import Waited
from .program import FURTHER, NO_BINDING, Binding, Cond, Fact, Program, Rule, Trigger
from .reach import Reach
from .stretches import Stretches
from .waits import WaitState

__all__ = ["Judged", "View"]

VERDICTS = (Verdict.FAILS, Verdict.HOLDS, Verdict.OPEN)


class Judged(NamedTuple):
    """The observation that a `counts when` is about."""

    observation: Observation


#: The line number of an observation that is only being thought of: after every line there is.
_NEXT_LINE = 1 << 60


class View:
    """The facts as of `at`, as far as they were known; checks made later, up to `now`, may confirm them.

    Values are computed when first asked for and kept; `aging` is off where age alone is to be forgiven. Pure:
    nothing here reads a clock or a file, or depends on what was asked before. `before` is a view of the job
    with fewer lines; what `reach` says is untouched is taken from it.
    """

    def __init__(
        self,
        program: Program,
        history: History,
        moment: Moment,
        now: float | None = None,
        judged: Judged | None = None,
        views: dict[object, View] | None = None,
        before: View | None = None,
        reach: Reach | None = None,
    ) -> None:
        self.program = program
        self.history = history
        self.moment = moment
        self.at = moment[0]
        self.now = self.at if now is None else now
        self.judged = judged
        self._values: dict[Ref, Number | Options] = {}
        self._verdicts: dict[object, Verdict] = {}
        self.void_times: dict[Ref, list[tuple[Moment, Trigger]]] = {}
        self._rules: dict[tuple[str, str | None], tuple[Verdict, float | None]] = {}
        self._tests: dict[object, list[Test | Within]] = {}
        self._open: dict[object, tuple[Reason, ...]] = {}
        self._lacking: dict[object, tuple[Ref, ...]] = {}
        self._waits: dict[str, WaitState] = {}
        self._narrowing: Narrowing | None = None
        self._views: dict[object, View] = {} if views is None else views
        self._before = before
        self._reach = reach
        self._later: Reach | None = None
        self._root = self
        self.aging = True
        self._ageless: View | None = None
        self._made: View | None = None
        self._stretches: Stretches | None = None
        self._standins: dict[tuple[int, Moment], Observation] = {}
        self._undoubted: View | None = None

    def undoubted(self) -> View:
        """The view in which entries are judged for what cannot be: none of them is in doubt yet."""
        if not self.history.doubted:
            return self
        if self._undoubted is None:
            history = copy(self.history)
            history.doubted = {}
            self._undoubted = View(self.program, history, self.moment)
        return self._undoubted

    def as_of(self, moment: Moment, judged: Judged | None = None) -> View:
        """The same knowledge, as of an earlier moment."""
        if moment == self.moment and judged is self.judged:
            return self
        key = (moment, None if judged is None else judged.observation.line)
        view = self._views.get(key)
        if view is None:
            root = self._root
            before = None if root._before is None else root._before._views.get(key)
            view = View(
                self.program, self.history, moment, self.now, judged, self._views, before, root._later
            )
            view._root = root
            self._views[key] = view
        return view

    def after(self, history: History, at: float, changed: Iterable[Ref]) -> View:
        """The view at a later time, with these facts newly observed at the end of the job.

        Only what rests on them, or on what time alone has changed, is worked out again.
        """
        program = self.program
        changed = list(changed)
        moment = end_of(at)
        changed += [ref for ref in self._timed() if self._lapses(ref, at)]
        later = Reach.of_later(program, changed)
        checked = [ref for key in self.history.observations if later.touches(ref := Ref(*key))]
        view = View(program, history, moment, before=self, reach=Reach.of(program, [*changed, *checked]))
        view._standins = dict(self._standins)
        view._later = later
        for older in (self, *self._views.values()):
            older._before = None
        mended = [ref for ref in checked if self._mended(ref, view)]
        if len(mended) < len(checked):
            view._reach = Reach.of(program, [*changed, *mended])
        return view

    def _mended(self, ref: Ref, after: View) -> bool:
        """Whether a check made later changes which entries of a fact count, or what could still settle it."""
        fact = self.program.facts.get(ref.name)
        if fact is None:
            return True
        doubts = []
        for observation in self.history.before((ref.name, ref.member), self.moment):
            if observation.value is not None:
                doubts.append(self.doubt(fact, ref, observation))
                if doubts[-1] != after.doubt(fact, ref, observation):
                    return True
        open_ = any(reason is not None and reason.why is Why.LATER for reason in doubts)
        return open_ and list(after.missing_of(ref)) != list(self.missing_of(ref))

    def supporting(self, cond: Cond, observation: Observation) -> View:
        """The view as of an observation's moment, or of another in whose stretch the same is found."""
        root = self._root
        if root._stretches is None:
            root._stretches = Stretches(self.program, self.history)
        moment = observation.moment
        begun = root._stretches.begun(cond.rests, moment)
        if begun is not None:
            key = (cond.number, begun)
            standin = root._standins.get(key)
            if standin is None or root._stretches.begun(cond.rests, standin.moment) != begun:
                root._standins[key] = observation
            else:
                observation = standin
        return self.as_of(observation.moment, Judged(observation))

    def _timed(self) -> Iterator[Ref]:
        """Everything that time alone may change."""
        program = self.program
        for name in program.timed:
            fact = program.facts.get(name)
            per = program.outer.get(name) if fact is None else fact.per
            for member in [None] if per is None else self.members(per)[0]:
                yield Ref(name, member)

    def _lapses(self, ref: Ref, at: float) -> bool:
        """Whether time alone may change what this is, between this moment and a later one."""
        fact = self.program.facts.get(ref.name)
        if fact is not None:
            good_for = fact.good_for
            assert good_for is not None
            found = self.history.observations.get((ref.name, ref.member), ())
            return any(self.at - o.taken <= good_for < at - o.taken for o in found)
        if ref.name in self.program.waits:
            state = self.wait(ref.name)
            return any(end is not None and self.at < end <= at for end in (state.soonest, state.ready_at))
        value = self.value(ref)
        return not (isinstance(value, Number) and value.undefined)

    @property
    def reach(self) -> Reach | None:
        """What may differ from the view this one was made from; None if it was made from none."""
        return self._reach

    @cached_property
    def aged(self) -> set[str]:
        """The facts of which some entry is no longer good, though it would be but for its age."""
        return standing.aged(self)

    # -- verdicts ----------------------------------------------------------------------------------------

    def judge(self, cond: Cond, binding: Binding = NO_BINDING) -> Verdict:
        """The verdict of a compiled condition."""
        key = (cond.number, *binding.values()) if cond.kept else cond.number
        verdict = self._verdicts.get(key)
        if verdict is not None:
            return verdict
        if self._before is not None:
            verdict = self._before._verdicts.get(key)
            if verdict is not None:
                member = next(iter(binding.values()), None) if len(binding) < 2 else None
                assert self._reach is not None
                if len(binding) < 2 and not self._reach.touches_condition(cond, member):
                    self._verdicts[key] = verdict
                    return verdict
        flat: list[float] = []
        values: dict[Any, Any] = self._values
        for ref, is_number, per in cond.reads:
            # A reference is a tuple: a plain one finds its value as well, and is made faster.
            place = ref if per is None else (ref.name, binding[per])
            value: Any = values.get(place)
            if value is None:
                value = self.value(Ref(*place))
            if is_number:
                flat += value.span()
            else:
                flat.append(value.mask)
        verdict = VERDICTS[self.program.judges[cond.number](flat)]
        self._verdicts[key] = verdict
        return verdict

    def judge_together(self) -> None:
        """Judge the rules that are kept for no list: all at once, or again where something touches them."""
        program, reach = self.program, self._reach
        conditions, slots, _ = program.together
        assert program.batch is not None
        before = None if self._before is None else self._before._narrowing
        if before is None or reach is None:
            spans = [self.number(ref).span() for ref in slots.numbers]
            masks = [self.options(ref).mask for ref in slots.options]
            lows, highs = [low for low, _ in spans], [high for _, high in spans]
            self._narrowing = Narrowing(program.batch, lows, highs, masks)
        else:
            self._narrowing = before.copy()
            for ref, slot in slots.numbers.items():
                if reach.touches(ref):
                    self._narrowing.number(slot, *self.number(ref).span())
            for ref, slot in slots.options.items():
                if reach.touches(ref):
                    self._narrowing.options(slot, self.options(ref).mask)
        verdicts = map(VERDICTS.__getitem__, self._narrowing.verdicts)
        self._verdicts.update(zip(conditions, verdicts, strict=True))

    # -- values ------------------------------------------------------------------------------------------

    def value(self, ref: Ref) -> Number | Options:
        """What a fact or derived fact may be."""
        value = self._values.get(ref)
        if value is None:
            if self._before is not None:
                value = self._before._values.get(ref)
                if value is not None and self._reach is not None and self._reach.touches(ref):
                    value = None
            if value is None:
                value = self._value(ref)
            self._values[ref] = value
        return value

    def options(self, ref: Ref) -> Options:
        value = self.value(ref)
        assert isinstance(value, Options)
        return value

    def number(self, ref: Ref) -> Number:
        value = self.value(ref)
        assert isinstance(value, Number)
        return value

    def _value(self, ref: Ref) -> Number | Options:
        name = ref.name
        program = self.program
        if name[0] == "=":
            return derived.derived(self, program.derived[name], ref)
        fact = program.facts.get(name)
        if fact is not None:
            return standing.standing(self, fact, ref)
        calculation = program.calculations.get(name)
        if calculation is not None:
            return derived.calculated(self, calculation[0], ref, name)
        if name in program.waits:
            return self.wait(name).options
        if name in program.findings:
            return grades.finding(self, ref)
        if name == "now":
            return Number(self.at, self.at)
        if name == FURTHER:
            return searching.further(self)
        raise KeyError(name)

    # -- waits -------------------------------------------------------------------------------------------

    def wait(self, name: str) -> WaitState:
        """Where a wait stands at this moment."""
        state = self._waits.get(name)
        if state is None:
            state = waits.wait_state(self, name)
            self._waits[name] = state
        return state

    # -- findings ----------------------------------------------------------------------------------------

    def rule(self, rule: Rule, member: str | None) -> tuple[Verdict, float | None]:
        """A rule's verdict and the moment it was decided. A finding once decided is not undone by age."""
        key = (rule.spec.name, member)
        held = self._rules.get(key)
        if held is None:
            held = self._rules[key] = grades.rule_verdict(self, rule, member)
        return held

    def held(self, name: str, member: str | None) -> tuple[Rule, float | None] | None:
        """The strongest rule that gives this finding now, and the moment it was decided."""
        return grades.holding(self, name, member)

    def lines_of(self, cond: Cond, binding: Binding) -> tuple[int, ...]:
        """The lines of the job that a condition rests on."""
        return grades.lines_of(self, cond, binding)

    def about_to_be_made(self) -> View:
        """This moment, for judging an observation that is only being thought of."""
        if self._made is None:
            made = Observation(_NEXT_LINE, self.at, self.at, None, "", None, None, "")
            self._made = View(self.program, self.history, self.moment, self.now, Judged(made), self._views)
            self._made._root = self._root
        return self._made

    def given(self, values: Mapping[Ref, Number | Options]) -> View:
        """This moment if some facts were as given."""
        view = View(self.program, self.history, self.moment, self.now, self.judged)
        view._values.update(values)
        return view

    def without_age(self) -> View:
        """This moment as if nothing that was entered grew stale."""
        if self._ageless is None:
            self._ageless = View(self.program, self.history, self.moment, self.now, self.judged)
            self._ageless.aging = False
        return self._ageless

    # -- derived facts -----------------------------------------------------------------------------------

    def members(self, name: str) -> tuple[list[str], bool]:
        """The members of a list at this moment, and whether the list is closed."""
        if name == "place":
            return list(self.program.places), True
        spec = self.program.lists[name]
        found = [m.name for m in spec.members]
        for member, (taken, _) in self.history.members.get(name, {}).items():
            if taken <= self.at and member not in found:
                found.append(member)
        if not spec.open:
            return found, True
        said = [taken for taken, _ in self.history.listed.get(name, ()) if taken <= self.at]
        added = [taken for taken, _ in self.history.members.get(name, {}).values() if taken <= self.at]
        return found, bool(said) and all(taken <= max(said) for taken in added)

    # -- reasons -----------------------------------------------------------------------------------------

    def reasons(self, cond: Cond, binding: Binding = NO_BINDING) -> tuple[Reason, ...]:
        """Why a condition is open; empty where it is decided."""
        if self.judge(cond, binding) is not Verdict.OPEN:
            return ()
        key = (cond.number, *binding.values()) if cond.kept else cond.number
        held = self._open.get(key)
        if held is None:
            tests = self._open_tests(key, cond, binding)
            held = self._open[key] = tuple(dict.fromkeys(lacking.reasons(self, tests, binding)))
        return held

    def missing(self, cond: Cond, binding: Binding = NO_BINDING) -> tuple[Ref, ...]:
        """The facts that could still decide an open condition, in the order they are mentioned."""
        if self.judge(cond, binding) is not Verdict.OPEN:
            return ()
        key = (cond.number, *binding.values()) if cond.kept else cond.number
        held = self._lacking.get(key)
        if held is None:
            tests = self._open_tests(key, cond, binding)
            held = self._lacking[key] = tuple(dict.fromkeys(lacking.missing(self, tests, binding)))
        return held

    def _open_tests(self, key: object, cond: Cond, binding: Binding) -> list[Test | Within]:
        held = self._tests.get(key)
        if held is None:
            held = self._tests[key] = lacking.tests_of(self, cond, binding)
        return held

    def missing_of(self, ref: Ref) -> Iterator[Ref]:
        """The facts that could still settle what a fact or derived fact may be."""
        return lacking.missing_of(self, ref)

    def reasons_of(self, ref: Ref) -> tuple[Reason, ...]:
        """Why a fact or derived fact is not settled; empty where it is, or only its tolerance is wide."""
        return lacking.reasons_of(self, ref)

    def finding_reasons(self, ref: Ref) -> tuple[Reason, ...]:
        """Why a finding may still have a stronger grade than it has."""
        return lacking.finding_reasons(self, ref)

    def once_waited(self, cond: Cond, binding: Binding = NO_BINDING) -> Waited:
        """The verdict if every wait that is not ready were still open, and what could decide it then."""
        return lacking.once_waited(self, cond, binding)

    def evidence(self, ref: Ref) -> list[Waited]:
        """Whether an observation of this fact, made now, would count; empty where every one does."""
        return lacking.evidence(self, ref)

    # -- entries -----------------------------------------------------------------------------------------

    def doubt(self, fact: Fact, ref: Ref, observation: Observation) -> Reason | None:
        """Why an observation is not evidence, if it is not (or not yet)."""
        return standing.doubt(self, fact, ref, observation)

    def reading(self, fact: Fact, observation: Observation) -> Number:
        """One reading with the effects of its instrument."""
        return standing.reading(self, fact, observation)

    def trigger_time(
        self, trigger: Trigger, moment: Moment, per: str | None = None, member: str | None = None
    ) -> tuple[float, int] | None:
        """The last time, up to a moment, that an event happened or a fact was seen to take an option."""
        return standing.trigger_time(self, trigger, moment, per, member)

    def last_event(self, event: str, member: str | None) -> tuple[float, int] | Reason:
        """When an event last happened; or why what it made so is not so now."""
        return standing.last_event(self, event, member)
