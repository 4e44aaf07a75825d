"""What every fact may be, as of one moment: the lazy evaluator behind an assessment."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from stillair.calculator import between, propagate
from stillair.condition import core
from stillair.condition.core import GRADES, NumberDomain, OptionDomain, Ref, leaves
from stillair.condition.tree import open_tests_of
from stillair.possible import Number, Options
from stillair.verdict import Reason, Verdict, Why, all_of, any_of

from .formula import closure_of
from .history import History, Observation
from .program import Cond, Fact, Program, Rule, Trigger
from .reach import Reach

__all__ = ["Binding", "Judged", "View", "WaitState", "Waited", "bound"]

Binding = Mapping[str, str]
NO_BINDING: Binding = {}
INF = math.inf
VERDICTS = (Verdict.FAILS, Verdict.HOLDS, Verdict.OPEN)


class Judged(NamedTuple):
    """The observation that a `counts when` is about."""

    observation: Observation


class WaitState(NamedTuple):
    """A wait: when it started (None: not yet), when it can be ready, and what is still missing."""

    name: str
    options: Options
    started: float | None
    ready_at: float | None
    restarted_by: str = ""


class Waited(NamedTuple):
    """A verdict with every wait that is not ready taken as open, what could decide it, and why it is open."""

    verdict: Verdict
    missing: tuple[Ref, ...]
    reasons: tuple[Reason, ...]


#: The line number of an observation that is only being thought of: after every line there is.
_NEXT_LINE = 1 << 60


class View:
    """The facts as of `at`, as far as they were known; checks made later, up to `now`, may confirm them.

    Values are computed when first asked for and kept. Pure: nothing here reads a clock or a file. `before` is
    a view of the job with fewer lines; what `reach` says is untouched is taken from it.
    """

    def __init__(
        self,
        program: Program,
        history: History,
        at: float,
        now: float | None = None,
        judged: Judged | None = None,
        views: dict[object, View] | None = None,
        before: View | None = None,
        reach: Reach | None = None,
    ) -> None:
        self.program = program
        self.history = history
        self.at = at
        self.now = at if now is None else now
        self.judged = judged
        self._values: dict[Ref, Number | Options] = {}
        self._verdicts: dict[object, Verdict] = {}
        self._stale_facts: set[str] = set()
        self._rules: dict[tuple[str, str | None], tuple[Verdict, float | None]] = {}
        self._open: dict[object, tuple[Reason, ...]] = {}
        self._lacking: dict[object, tuple[Ref, ...]] = {}
        self._waits: dict[str, WaitState] = {}
        self._views: dict[object, View] = {} if views is None else views
        self._before = before
        self._reach = reach
        self._later: Reach | None = None
        self._root = self
        self._aging = True
        self._ageless: View | None = None

    def as_of(self, at: float, judged: Judged | None = None) -> View:
        """The same knowledge, as of an earlier moment."""
        if at == self.at and judged is self.judged:
            return self
        key = (at, None if judged is None else judged.observation.line)
        view = self._views.get(key)
        if view is None:
            root = self._root
            before = None if root._before is None else root._before._views.get(key)
            view = View(self.program, self.history, at, self.now, judged, self._views, before, root._later)
            view._root = root
            if before is not None:
                view._stale_facts |= before._stale_facts
            self._views[key] = view
        return view

    def after(self, history: History, at: float, changed: Iterable[Ref]) -> View:
        """The view at a later time, with these facts newly observed at the end of the job.

        Only what rests on them, or on what time alone has changed, is worked out again.
        """
        program = self.program
        changed = list(changed)
        fresh = View(program, history, at)
        changed += [ref for ref in self._timed() if fresh.value(ref) != self.value(ref)]
        later = Reach.of_later(program, changed)
        changed += later.facts(program)
        view = View(program, history, at, before=self, reach=Reach.of(program, changed))
        view._later = later
        view._stale_facts |= self._stale_facts
        for older in (self, *self._views.values()):
            older._before = None
        return view

    def _timed(self) -> Iterator[Ref]:
        """Everything that time alone may change."""
        program = self.program
        for name in program.timed:
            fact = program.facts.get(name)
            per = program.outer.get(name) if fact is None else fact.per
            for member in [None] if per is None else self.members(per)[0]:
                yield Ref(name, member)

    @property
    def reach(self) -> Reach | None:
        """What may differ from the view this one was made from; None if it was made from none."""
        return self._reach

    # -- verdicts ----------------------------------------------------------------------------------------

    def judge(self, cond: Cond, binding: Binding = NO_BINDING) -> Verdict:
        """The verdict of a compiled condition."""
        key = (cond.number, *binding.values()) if binding else cond.number
        verdict = self._verdicts.get(key)
        if verdict is None and self._before is not None:
            verdict = self._before._verdicts.get(key)
            if verdict is not None:
                member = next(iter(binding.values()), None) if len(binding) < 2 else None
                assert self._reach is not None
                if len(binding) > 1 or self._reach.touches_condition(cond, member):
                    verdict = None
                else:
                    self._verdicts[key] = verdict
        if verdict is None:
            flat: list[float] = []
            values = self._values
            for ref, is_number, per in cond.reads:
                if per is not None:
                    ref = Ref(ref.name, binding[per])
                value = values.get(ref)
                if value is None:
                    value = self.value(ref)
                if is_number:
                    flat += value.span()  # type: ignore[union-attr]
                else:
                    flat.append(value.mask)  # type: ignore[union-attr]
            verdict = VERDICTS[self.program.judges[cond.number](flat)]
            self._verdicts[key] = verdict
        return verdict

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
            return self._derived(program.derived[name], ref)
        fact = program.facts.get(name)
        if fact is not None:
            return self._fact(fact, ref)
        calculation = program.calculations.get(name)
        if calculation is not None:
            return self._formula(calculation[0], ref, name)
        if name in program.waits:
            return self.wait(name).options
        if name in program.findings:
            return self._finding(ref)
        if name == "now":
            return Number(self.at, self.at)
        raise KeyError(name)

    # -- facts -------------------------------------------------------------------------------------------

    def _fact(self, fact: Fact, ref: Ref) -> Number | Options:
        """What the observations leave possible.

        Of what may change the newest stands, of what cannot change all do. One that does not count is passed
        over; where that is not decided yet, both what it says and what stood before it stay possible.
        """
        found = self.history.before((fact.name, ref.member), self.at)
        fixed = fact.spec.nature == "fixed"
        reasons: list[Reason] = []
        later: list[Reason] = []
        kept: list[Observation] = []
        pending: list[Observation] = []
        for observation in reversed(found):
            if kept and not fixed and observation.taken != kept[0].taken:
                break
            reason = self._unusable(fact, ref, observation)
            if reason is not None:
                if not fixed and not kept:
                    reasons.append(reason)
                    break
                if fixed and reason.why is not Why.UNAVAILABLE:
                    reasons.append(reason)
                continue
            doubt = self.doubt(fact, ref, observation)
            if doubt is None:
                kept.append(observation)
            elif doubt.why is Why.VOID:
                reasons.append(doubt)
            else:
                later.append(doubt)
                pending.append(observation)
        if not kept:
            reasons = later + reasons
            if not reasons:
                unavailable = next((o for o in reversed(found) if o.value is None), None)
                if unavailable is not None:
                    reasons.append(Reason(Why.UNAVAILABLE, str(ref), unavailable.why))
                else:
                    reasons.append(Reason(Why.NOT_ASKED, str(ref)))
            return self._whole(fact.domain, reasons)
        if len({o.value for o in kept}) > 1:
            said = ", ".join(f"{o.read or o.value} (line {o.line})" for o in reversed(kept))
            later.append(Reason(Why.DISPUTED, str(ref), f"entries differ: {said}"))
        possible = sorted([*kept, *pending], key=lambda o: o.moment, reverse=True)
        if isinstance(fact.domain, OptionDomain):
            return self._chosen(fact, ref, possible, found, later)
        return self._reading(fact, possible, later)

    def _unusable(self, fact: Fact, ref: Ref, observation: Observation) -> Reason | None:
        """Why an entry says nothing now, whatever it rests on: not to be had, in doubt, or no longer good."""
        if observation.value is None:
            return Reason(Why.UNAVAILABLE, str(ref), observation.why)
        if observation.line in self.history.doubted:
            return Reason(Why.DISPUTED, str(ref), self.history.doubted[observation.line])
        stale = self._stale(fact, ref, observation)
        if stale is not None:
            self._stale_facts.add(fact.name)
        return stale

    @staticmethod
    def _whole(domain: OptionDomain | NumberDomain, reasons: Sequence[Reason]) -> Number | Options:
        if isinstance(domain, OptionDomain):
            return Options(domain.whole, tuple(reasons))
        return Number(domain.low, domain.high, reasons=tuple(reasons))

    def _stale(self, fact: Fact, ref: Ref, observation: Observation) -> Reason | None:
        """Why an observation is no longer good at this moment, if it is not."""
        if not self._aging:
            return None
        good_for = fact.good_for
        if good_for is not None and self.at - observation.taken > good_for:
            return Reason(Why.STALE, str(ref), f"good for {_minutes(good_for)}, taken longer ago")
        trigger = self._voided(fact, ref, observation)
        if trigger is None:
            return None
        return Reason(Why.STALE, str(ref), f"{trigger.text.replace('_', ' ')} after it was taken")

    def _voided(self, fact: Fact, ref: Ref, observation: Observation) -> Trigger | None:
        """What happened since that leaves an observation no longer good."""
        for trigger in fact.void_after:
            happened = self.trigger_time(trigger, self.at, fact.per, ref.member)
            if happened is not None and happened > observation.moment:
                return trigger
        return None

    def doubt(self, fact: Fact, ref: Ref, observation: Observation) -> Reason | None:
        """Why an observation is not evidence, if it is not (or not yet)."""
        conds = [c for c in (fact.counts, fact.place_counts.get(ref.member or "")) if c is not None]
        if not conds or not self._needs_support(fact, observation):
            return None
        view = self.as_of(observation.taken, Judged(observation))
        binding = {fact.per: ref.member} if fact.per is not None and ref.member is not None else NO_BINDING
        verdict = all_of(view.judge(cond, binding) for cond in conds)
        if verdict is Verdict.HOLDS:
            return None
        because = fact.spec.counts_when.because if fact.spec.counts_when else None
        if verdict is Verdict.FAILS:
            return Reason(Why.VOID, str(ref), because or "what it rests on did not hold")
        open_reasons = [r for cond in conds for r in view.reasons(cond, binding)]
        later = next((r for r in open_reasons if r.why is Why.LATER), None) or next(iter(open_reasons), None)
        return Reason(Why.LATER, str(ref), f"rests on {later}" if later else "what it rests on is not shown")

    @staticmethod
    def _needs_support(fact: Fact, observation: Observation) -> bool:
        if isinstance(fact.domain, OptionDomain):
            return bool(fact.counted >> fact.domain.names.index(str(observation.value)) & 1)
        return True

    def _chosen(
        self,
        fact: Fact,
        ref: Ref,
        possible: Sequence[Observation],
        found: Sequence[Observation],
        reasons: Sequence[Reason],
    ) -> Options:
        domain = fact.domain
        assert isinstance(domain, OptionDomain)
        mask = domain.mask(*(str(o.value) for o in possible))
        latest = possible[0]
        since = latest.taken
        for observation in reversed(found):
            if observation.moment >= latest.moment:
                continue
            if observation.value is None:
                break
            lapsed = fact.good_for is not None and since - observation.taken > fact.good_for
            if observation.value != latest.value or lapsed or self._voided(fact, ref, observation):
                break
            since = observation.taken
        lines = tuple(sorted(o.line for o in possible))
        settled = not mask & (mask - 1)
        return Options(mask, () if settled else tuple(reasons), lines, latest.taken, since)

    def _reading(self, fact: Fact, possible: Sequence[Observation], reasons: Sequence[Reason]) -> Number:
        numbers = [self.reading(fact, o) for o in possible]
        low, high = min(n.low for n in numbers), max(n.high for n in numbers)
        lines = tuple(sorted(o.line for o in possible))
        held = tuple(reasons) if low != high else ()
        effects, apart = between([n.effects for n in numbers])
        return Number(low - apart, high + apart, effects, held, lines, possible[0].taken)

    def reading(self, fact: Fact, observation: Observation) -> Number:
        """One reading with the effects of its instrument."""
        assert isinstance(observation.value, float)
        effects: dict[tuple[str, str], float] = {}
        kind = self.program.kinds.get(fact.spec.read_with.text) if fact.spec.read_with else None
        instrument = self.history.instruments.get(observation.instrument or "")
        offset = repeat = resolution = 0.0
        who = observation.instrument or (f"the {kind.title}" if kind else "")
        if instrument is not None:
            offset, repeat, resolution = instrument.offset, instrument.repeat, instrument.resolution
        elif kind is not None:
            offset, repeat, resolution = kind.offset, kind.repeat, kind.resolution
            who = observation.instrument or f"{kind.name} of line {observation.line}"
        if offset:
            effects["offset", who] = offset
        own = math.hypot(repeat, resolution / 2, fact.tolerance)
        if own:
            effects["repeat", str(observation.line)] = own
        value = observation.value
        return Number(value, value, effects, (), (observation.line,), observation.taken)

    def trigger_time(
        self, trigger: Trigger, at: float, per: str | None = None, member: str | None = None
    ) -> tuple[float, int] | None:
        """The last time, up to `at`, that an event happened or a fact was seen to take an option.

        `per` and `member` say for whom it is asked: a trigger kept per the same list is looked up for that
        member, one kept per another list for any of its members.
        """
        if trigger.only is not None and member not in trigger.only:
            return None
        if trigger.per is None:
            return self._happened(trigger, None, at)
        if trigger.per == per:
            return self._happened(trigger, member, at)
        times = [self._happened(trigger, each, at) for each in self.members(trigger.per)[0]]
        return max((t for t in times if t is not None), default=None)

    def _happened(self, trigger: Trigger, member: str | None, at: float) -> tuple[float, int] | None:
        key = (trigger.name, member)
        if trigger.mask is None:
            return self.history.latest_event(key, at)
        domain = self.program.facts[trigger.name].domain
        assert isinstance(domain, OptionDomain)
        for observation in reversed(self.history.before(key, at)):
            if observation.value is not None and domain.mask(str(observation.value)) & trigger.mask:
                return observation.moment
        return None

    # -- waits -------------------------------------------------------------------------------------------

    def wait(self, name: str) -> WaitState:
        """Where a wait stands at this moment."""
        state = self._waits.get(name)
        if state is None:
            state = self._wait(name)
            self._waits[name] = state
        return state

    def _wait(self, name: str) -> WaitState:
        wait = self.program.waits[name]
        ready, running, not_started = 1, 2, 4
        started = -INF
        lines: list[int] = []
        for trigger in wait.since:
            if trigger.mask is None:
                happened = self.trigger_time(trigger, self.at)
                if happened is None:
                    reason = Reason(Why.NOT_YET, name, f"starts with: {trigger.text.replace('_', ' ')}")
                    return WaitState(name, Options(not_started, (reason,)), None, None)
                started = max(started, happened[0])
                lines.append(happened[1])
                continue
            options = self.options(Ref(trigger.name))
            if not options.mask & trigger.mask:
                reason = Reason(Why.NOT_YET, name, f"starts when {trigger.text.replace('_', ' ')}")
                return WaitState(name, Options(not_started, (reason,)), None, None)
            if options.mask & ~trigger.mask:
                reason = Reason(Why.NOT_YET, name, f"starts when {trigger.text.replace('_', ' ')}")
                whole = Options(ready | running | not_started, (*options.reasons, reason))
                return WaitState(name, whole, None, None)
            started = max(started, options.since or -INF)
            lines.extend(options.lines)
        restarted = ""
        for trigger in wait.restarted_by:
            happened = self.trigger_time(trigger, self.at)
            if happened is not None and happened[0] > started:
                started = happened[0]
                restarted = trigger.text.replace("_", " ")
                lines.append(happened[1])
        witness = wait.witness
        answers: list[Observation] = []
        if witness is not None:
            answers = self.history.before((witness, None), self.at)
            for answer in answers:
                if answer.value == "yes" and answer.taken > started:
                    started = answer.taken
                    restarted = "something ran or was opened"
        ready_at = started + wait.duration
        taken = started
        if self.at < ready_at:
            return WaitState(name, Options(running, (), tuple(lines), taken), started, ready_at, restarted)
        if witness is None:
            return WaitState(name, Options(ready, (), tuple(lines), ready_at), started, ready_at, restarted)
        for answer in reversed(answers):
            if answer.taken < ready_at:
                break
            if answer.value == "no":
                options = Options(ready, (), (*lines, answer.line), answer.taken)
                return WaitState(name, options, started, ready_at, restarted)
            if answer.value is None:
                reason = Reason(Why.UNWATCHED, name, answer.why or "nobody watched")
                return WaitState(name, Options(ready | running, (reason,)), started, ready_at, restarted)
        reason = Reason(Why.NOT_ASKED, witness, "the time is up; has anything happened since?")
        return WaitState(name, Options(ready | running, (reason,)), started, ready_at, restarted)

    # -- findings ----------------------------------------------------------------------------------------

    def rule(self, rule: Rule, member: str | None) -> tuple[Verdict, float | None]:
        """A rule's verdict and the moment it was decided. A finding once decided is not undone by age."""
        key = (rule.spec.name, member)
        held = self._rules.get(key)
        if held is None:
            held = self._rules[key] = self._rule(rule, member)
        return held

    def _rule(self, rule: Rule, member: str | None) -> tuple[Verdict, float | None]:
        binding = bound(rule, member)
        verdict = self.judge(rule.when, binding)
        if verdict is Verdict.HOLDS:
            return verdict, self._rested_on(rule.when, binding)
        if rule.spec.finding is None or rule.spec.while_:
            return verdict, None
        if verdict is Verdict.FAILS or self._stale_facts.isdisjoint(rule.when.mentions):
            return verdict, None
        # Age alone does not undo a finding: what was last said must still give it, and must once have done.
        ageless = self._without_age().judge(rule.when, binding)
        if ageless is Verdict.HOLDS:
            for moment in self._moments(rule.when, member):
                earlier = self.as_of(moment).judge(rule.when, binding)
                if earlier is not Verdict.OPEN:
                    if earlier is Verdict.HOLDS:
                        return earlier, moment
                    break
        return verdict, None

    def _without_age(self) -> View:
        """This moment as if nothing that was entered grew stale."""
        if self._ageless is None:
            self._ageless = View(self.program, self.history, self.at, self.now, self.judged)
            self._ageless._aging = False
        return self._ageless

    def _rested_on(self, cond: Cond, binding: Binding) -> float | None:
        taken = [self.value(ref.bound(binding)).taken for ref, _ in cond.slots]
        return max((t for t in taken if t is not None), default=None)

    def _moments(self, cond: Cond, member: str | None) -> Iterator[float]:
        """The times at which what a condition rests on was observed, latest first."""
        times: set[float] = set()
        names = cond.mentions
        for (name, of), found in self.history.observations.items():
            if name in names and (member is None or of is None or of == member):
                times.update(o.taken for o in found if o.taken < self.at)
        yield from sorted(times, reverse=True)

    def held(self, name: str, member: str | None) -> tuple[Rule, float | None] | None:
        """The strongest rule that gives this finding now, and the moment it was decided."""
        for rule in self._rules_of(name):
            verdict, decided = self.rule(rule, member)
            if verdict is Verdict.HOLDS:
                return rule, decided
        return None

    def _rules_of(self, name: str) -> list[Rule]:
        return [self.program.rules[each] for each in self.program.findings[name]]

    def _finding(self, ref: Ref) -> Options:
        """The grades a finding may have: that of the strongest rule that holds, and of any open one above."""
        mask = 0
        for rule in self._rules_of(ref.name):
            verdict, decided = self.rule(rule, ref.member)
            bit = 1 << GRADES.index(rule.spec.grade.replace(" ", "_"))
            if verdict is Verdict.HOLDS:
                return Options(mask | bit, (), self.lines_of(rule.when, bound(rule, ref.member)), decided)
            if verdict is Verdict.OPEN:
                mask |= bit
        return Options(mask | 1)

    def lines_of(self, cond: Cond, binding: Binding) -> tuple[int, ...]:
        """The lines of the job that a condition rests on."""
        lines: set[int] = set()
        for ref, _, per in cond.reads:
            lines.update(self.value(ref if per is None else Ref(ref.name, binding[per])).lines)
        return tuple(sorted(lines))

    # -- derived facts -----------------------------------------------------------------------------------

    def _derived(self, derivation: core.Derivation, ref: Ref) -> Number | Options:
        match derivation:
            case core.Formula():
                return self._formula(derivation, ref, derivation.text)
            case core.Each():
                return self._each(derivation, ref)
            case core.Count():
                return self._count(derivation, ref)
            case core.Sum():
                return self._sum(derivation)
            case core.Readings():
                return self._readings(derivation.ref, ref)
            case core.Spread():
                return self._spread(derivation, ref)
            case core.SinceEvent():
                return self._since(derivation, ref)
            case core.Near():
                return self._near(derivation, ref)

    @staticmethod
    def _member(inner: Ref, outer: Ref) -> str | None:
        return outer.member if inner.member is not None and inner.member[0] == "@" else inner.member

    def _bind(self, inner: Ref, outer: Ref) -> Ref:
        return Ref(inner.name, self._member(inner, outer))

    def _formula(self, formula: core.Formula, ref: Ref, about: str) -> Number:
        compiled = closure_of(self.program, formula)
        values = [self.value(self._bind(leaf, ref)) for leaf in compiled.leaves]
        return propagate(compiled.function, values, compiled.choices, compiled.monotone, about)

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

    def _each(self, each: core.Each, ref: Ref) -> Options:
        members, closed = self.members(each.list)
        every = each.quantifier == "every"
        inner = self.program.inner[ref.name]
        verdicts = [self.judge(inner, self._in_hand(ref, each.list, member)) for member in members]
        verdict = all_of(verdicts) if every else any_of(verdicts)
        if every and not members and closed:
            verdict = Verdict.FAILS
        elif not closed and verdict is (Verdict.HOLDS if every else Verdict.FAILS):
            verdict = Verdict.OPEN
        mask = {Verdict.HOLDS: 1, Verdict.FAILS: 2, Verdict.OPEN: 3}[verdict]
        lines: set[int] = set()
        taken: float | None = None
        for member in members:
            binding = self._in_hand(ref, each.list, member)
            for leaf, _, per in inner.reads:
                value = self.value(leaf if per is None else Ref(leaf.name, binding[per]))
                lines.update(value.lines)
                if value.taken is not None and (taken is None or value.taken > taken):
                    taken = value.taken
        return Options(mask, (), tuple(sorted(lines)), taken)

    def _in_hand(self, ref: Ref, list_name: str, member: str) -> Binding:
        """The members in hand inside a derived fact: its own list's, and the one it is itself kept for."""
        outer = self.program.outer.get(ref.name)
        if outer is None or ref.member is None or outer == list_name:
            return {list_name: member}
        return {outer: ref.member, list_name: member}

    def _that_is_all(self, name: str) -> str:
        spec = self.program.lists.get(name)
        return f"nobody has said that the list of {spec.title.lower() if spec else name} is complete"

    def _count(self, count: core.Count, ref: Ref) -> Number:
        members, closed = self.members(count.list)
        inner = self.program.inner[ref.name]
        verdicts = [self.judge(inner, self._in_hand(ref, count.list, member)) for member in members]
        low = float(verdicts.count(Verdict.HOLDS))
        high = low + verdicts.count(Verdict.OPEN) if closed else INF
        return Number(low, high)

    def _sum(self, total: core.Sum) -> Number:
        members, closed = self.members(total.list)
        low = high = 0.0
        effects: dict[tuple[str, str], float] = {}
        reasons: list[Reason] = []
        lines: list[int] = []
        for member in members:
            number = self.number(total.item.bound({total.list: member}))
            if number.undefined:
                return Number.nothing(*number.reasons)
            low += number.low
            high += number.high
            for source, effect in number.effects.items():
                effects[source] = effects.get(source, 0.0) + effect
            reasons.extend(number.reasons)
            lines.extend(number.lines)
        if not closed:
            reasons.append(Reason(Why.OPEN_LIST, total.list, self._that_is_all(total.list)))
            high = INF
            symbol = self.program.facts.get(total.item.name)
            domain = symbol.domain if symbol is not None else None
            if not (isinstance(domain, NumberDomain) and domain.low >= 0):
                low = -INF
        return Number(low, high, effects, tuple(dict.fromkeys(reasons)), tuple(lines))

    def _standing(
        self, inner: Ref, since: float = -INF, aged: bool = False
    ) -> tuple[list[Observation], list[Reason]]:
        """The readings of a fact that stand now, oldest first, and why others may still come to count.

        With `aged`, also those that are no longer good now: what was read was read.
        """
        fact = self.program.facts[inner.name]
        found: list[Observation] = []
        later: list[Reason] = []
        for observation in self.history.before((inner.name, inner.member), self.at):
            unusable = self._unusable(fact, inner, observation)
            if observation.taken <= since or (unusable and not (aged and unusable.why is Why.STALE)):
                continue
            doubt = self.doubt(fact, inner, observation)
            if doubt is None:
                found.append(observation)
            elif doubt.why is not Why.VOID:
                later.append(doubt)
        return found, later

    def _readings(self, counted: Ref, ref: Ref) -> Number:
        found, later = self._standing(self._bind(counted, ref), aged=True)
        count = float(len(found))
        return Number(count, count + len(later), reasons=tuple(later), lines=tuple(o.line for o in found))

    def _spread(self, spread: core.Spread, ref: Ref) -> Number:
        inner = self._bind(spread.ref, ref)
        fact = self.program.facts[inner.name]
        found, later = self._standing(inner, self.at - spread.window)
        if later:
            return Number.nothing(*later)
        if len(found) < 2:
            return Number.nothing(Reason(Why.NOT_ASKED, inner.name, "two readings are needed"))
        highest = max(found, key=lambda o: float(o.value or 0.0))
        lowest = min(found, key=lambda o: float(o.value or 0.0))
        high, low = self.reading(fact, highest), self.reading(fact, lowest)
        return propagate(
            lambda v: float(v[0]) - float(v[1]),  # type: ignore[arg-type]
            [high, low],
            [None, None],
            [True, True],
            spread.text,
        )

    def _since(self, since: core.SinceEvent, ref: Ref) -> Number:
        inner = self._bind(since.ref, ref)
        if inner.name in self.program.events:
            happened = self.history.latest_event((inner.name, inner.member), self.at)
            if happened is None:
                return Number.nothing(
                    Reason(Why.NOT_YET, inner.name, "it has not happened, as far as is known")
                )
            elapsed = self.at - happened[0]
            return Number(elapsed, elapsed, lines=(happened[1],))
        found, later = self._standing(inner)
        if later:
            return Number.nothing(*later)
        if not found:
            return Number.nothing(*(self.value(inner).reasons or (Reason(Why.NOT_ASKED, inner.name),)))
        elapsed = self.at - found[-1].taken
        return Number(elapsed, elapsed, lines=(found[-1].line,))

    def _near(self, near: core.Near, ref: Ref) -> Number | Options:
        inner = self._bind(near.ref, ref)
        fact = self.program.facts[inner.name]
        if near.anchor is not None:
            happened = self.history.latest_event((near.anchor.name, None), self.at)
            if happened is None:
                return self._whole(near.domain, [Reason(Why.NOT_YET, near.anchor.name)])
            anchor = happened
        else:
            assert self.judged is not None
            anchor = self.judged.observation.moment
        chosen: Observation | None = None
        if near.kind == "last":
            then = self.as_of(anchor[0], self.judged)
            for observation in self.history.before((inner.name, inner.member), anchor[0]):
                if observation.moment < anchor:
                    chosen = observation
            if chosen is not None:
                unusable = then._unusable(fact, inner, chosen) or then.doubt(fact, inner, chosen)
                if unusable is not None:
                    return self._whole(near.domain, [unusable])
            missing = Reason(Why.NOT_ASKED, str(inner), "no such check before it is known")
        else:
            for observation in self.history.before((inner.name, inner.member), self.now):
                if observation.value is not None and observation.moment > anchor:
                    chosen = observation
                    break
            missing = Reason(Why.LATER, str(inner), "the check that must follow has not been made")
            if chosen is not None:
                for trigger in fact.void_after:
                    happened = self.trigger_time(trigger, chosen.taken, fact.per, inner.member)
                    if happened is not None and anchor < happened < chosen.moment:
                        text = f"{trigger.text.replace('_', ' ')} before the check that must follow"
                        return self._whole(near.domain, [Reason(Why.STALE, str(inner), text)])
        if chosen is not None and chosen.line in self.history.doubted:
            doubted = self.history.doubted[chosen.line]
            return self._whole(near.domain, [Reason(Why.DISPUTED, str(inner), doubted)])
        if chosen is not None and near.window is not None and abs(anchor[0] - chosen.taken) > near.window:
            chosen = None
            missing = Reason(Why.STALE, str(inner), f"no such check within {_minutes(near.window)}")
        if chosen is None:
            return self._whole(near.domain, [missing])
        if isinstance(near.domain, OptionDomain):
            mask = near.domain.mask(str(chosen.value))
            return Options(mask, (), (chosen.line,), chosen.taken)
        return self.reading(fact, chosen)

    # -- reasons -----------------------------------------------------------------------------------------

    def reasons(self, cond: Cond, binding: Binding = NO_BINDING) -> tuple[Reason, ...]:
        """Why a condition is open; empty where it is decided."""
        if self.judge(cond, binding) is not Verdict.OPEN:
            return ()
        key = (cond.number, *binding.values()) if binding else cond.number
        held = self._open.get(key)
        if held is None:
            found: dict[Reason, None] = {}
            for test in self._open_tests(cond, binding):
                bound = test.ref.bound(binding)
                reasons = self.reasons_of(bound)
                if reasons:
                    found.update(dict.fromkeys(reasons))
                else:
                    found[Reason(Why.CLOSE, str(bound).lstrip("="), test.text)] = None
            held = self._open[key] = tuple(found)
        return held

    def reasons_of(self, ref: Ref) -> tuple[Reason, ...]:
        """Why a fact or derived fact is not settled; empty where it is, or only its tolerance is wide."""
        program, name = self.program, ref.name
        if name in program.findings:
            return self.finding_reasons(ref)
        derivation = program.derived.get(name)
        if not isinstance(derivation, core.Each | core.Count):
            return self.value(ref).reasons
        value = self.value(ref)
        if value.mask != 3 if isinstance(value, Options) else not value.ignorant:
            return ()
        found: dict[Reason, None] = {}
        members, closed = self.members(derivation.list)
        for member in members:
            binding = self._in_hand(ref, derivation.list, member)
            found.update(dict.fromkeys(self.reasons(program.inner[name], binding)))
        if not closed:
            found[Reason(Why.OPEN_LIST, derivation.list, self._that_is_all(derivation.list))] = None
        return tuple(found)

    def finding_reasons(self, ref: Ref) -> tuple[Reason, ...]:
        """Why a finding may still have a stronger grade than it has."""
        found: dict[Reason, None] = {}
        for rule in self._rules_of(ref.name):
            if self.rule(rule, ref.member)[0] is Verdict.HOLDS:
                break
            found.update(dict.fromkeys(self.reasons(rule.when, bound(rule, ref.member))))
        return tuple(found)

    def missing(self, cond: Cond, binding: Binding = NO_BINDING) -> tuple[Ref, ...]:
        """The facts that could still decide an open condition, in the order they are mentioned."""
        if self.judge(cond, binding) is not Verdict.OPEN:
            return ()
        key = (cond.number, *binding.values()) if binding else cond.number
        held = self._lacking.get(key)
        if held is None:
            found: dict[Ref, None] = {}
            for test in self._open_tests(cond, binding):
                found.update(dict.fromkeys(self.missing_of(test.ref.bound(binding))))
            held = self._lacking[key] = tuple(found)
        return held

    def once_waited(self, cond: Cond, binding: Binding = NO_BINDING) -> Waited:
        """The verdict if every wait that is not ready were still open, and what could decide it then."""

        def lookup(ref: Ref) -> Number | Options:
            value = self.value(ref.bound(binding) if binding else ref)
            if ref.name in self.program.waits and isinstance(value, Options) and not value.mask & 1:
                return Options(value.mask | 1, (self._still(ref.name),))
            return value

        tests = open_tests_of(cond.flat, lookup)
        if not tests:
            return Waited(self.judge(cond, binding), (), ())
        missing: dict[Ref, None] = {}
        reasons: dict[Reason, None] = {}
        for test in tests:
            bound = test.ref.bound(binding)
            missing.update(dict.fromkeys(self.missing_of(bound)))
            found = lookup(test.ref).reasons or self.reasons_of(bound)
            close = Reason(Why.CLOSE, str(bound).lstrip("="), test.text)
            reasons.update(dict.fromkeys(found or (close,)))
        return Waited(Verdict.OPEN, tuple(missing), tuple(reasons))

    def _still(self, name: str) -> Reason:
        """What a wait that is not ready is waiting for."""
        state = self.wait(name)
        if state.ready_at is None or state.started is None:
            return state.options.reasons[0]
        left = _minutes(max(0.0, math.ceil(state.ready_at - self.at)))
        return Reason(Why.NOT_YET, name, f"running, {left} left")

    def evidence(self, ref: Ref) -> list[Waited]:
        """Whether an observation of this fact, made now, would count; empty where every one does.

        Checks that can only be made afterwards are no hindrance.
        """
        fact = self.program.facts[ref.name]
        conds = [c for c in (fact.counts, fact.place_counts.get(ref.member or "")) if c is not None]
        if not conds:
            return []
        made = Observation(_NEXT_LINE, self.at, self.at, None, ref.name, ref.member, None, "")
        view = View(self.program, self.history, self.at, self.now, Judged(made), self._views)
        view._root = self._root
        binding = {fact.per: ref.member} if fact.per is not None and ref.member is not None else NO_BINDING
        found = []
        for cond in conds:
            waited = view.once_waited(cond, binding)
            if waited.verdict is Verdict.OPEN and all(r.why is Why.LATER for r in waited.reasons):
                continue
            if waited.verdict is not Verdict.HOLDS:
                found.append(waited)
        return found

    def _open_tests(self, cond: Cond, binding: Binding) -> list[core.Test | core.Within]:
        if not binding:
            return open_tests_of(cond.flat, self.value)
        return open_tests_of(cond.flat, lambda ref: self.value(ref.bound(binding)))

    def missing_of(self, ref: Ref) -> Iterator[Ref]:
        """The facts that could still settle what a fact or derived fact may be."""
        program = self.program
        name = ref.name
        if name in program.facts:
            fact = program.facts[name]
            value = self.value(ref)
            waiting = [r for r in value.reasons if r.why is Why.LATER]
            if waiting and (fact.counts is not None or fact.place_counts):
                found = self.history.before((name, ref.member), self.at)
                observation = next((o for o in reversed(found) if o.value is not None), None)
                if observation is not None:
                    view = self.as_of(observation.taken, Judged(observation))
                    binding = {fact.per: ref.member} if fact.per and ref.member else NO_BINDING
                    later: list[Ref] = []
                    for cond in (fact.counts, fact.place_counts.get(ref.member or "")):
                        if cond is not None:
                            later.extend(view.missing(cond, binding))
                    if later:
                        yield from later
                        return
            yield ref
        elif name in program.calculations:
            yield from self._missing_leaves(program.calculations[name][0], ref)
        elif name in program.waits:
            wait = program.waits[name]
            state = self.wait(name)
            if state.started is None:
                for trigger in wait.since:
                    if trigger.mask is not None and self.options(Ref(trigger.name)).mask & ~trigger.mask:
                        yield Ref(trigger.name)
            elif wait.witness is not None and state.ready_at is not None and self.at >= state.ready_at:
                yield Ref(wait.witness)
        elif name in program.findings:
            for rule_name in program.findings[name]:
                rule = program.rules[rule_name]
                yield from self.missing(rule.when, bound(rule, ref.member))
        elif name[0] == "=":
            derivation = program.derived[name]
            match derivation:
                case core.Formula():
                    yield from self._missing_leaves(derivation, ref)
                case core.Each() | core.Count():
                    for member in self.members(derivation.list)[0]:
                        yield from self.missing(
                            program.inner[name], self._in_hand(ref, derivation.list, member)
                        )
                case core.Sum():
                    for member in self.members(derivation.list)[0]:
                        yield from self.missing_of(derivation.item.bound({derivation.list: member}))
                case core.Near() | core.Spread() | core.Readings() | core.SinceEvent():
                    inner = self._bind(derivation.ref, ref)
                    if inner.name in program.facts:
                        yield inner

    def _missing_leaves(self, formula: core.Formula, ref: Ref) -> Iterator[Ref]:
        for leaf in leaves(formula.expression):
            bound = self._bind(leaf, ref)
            value = self.value(bound)
            settled = (
                not value.mask & (value.mask - 1)
                if isinstance(value, Options)
                else not value.undefined and not value.ignorant
            )
            if not settled:
                yield from self.missing_of(bound)


def bound(rule: Rule, member: str | None) -> Binding:
    """The member in hand for a rule kept per a list."""
    return {rule.per: member} if rule.per is not None and member is not None else NO_BINDING


def _minutes(seconds: float) -> str:
    if seconds % 86400 == 0:
        return f"{seconds / 86400:g} d"
    if seconds % 3600 == 0:
        return f"{seconds / 3600:g} h"
    return f"{seconds / 60:g} min"
