"""A condition read back: the value under each test, its margin, what would settle it and what change it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from stillair import quantity
from stillair.assess import Observation, View, end_of
from stillair.assess.program import Cond, Rule, bound
from stillair.assess.waits import time_left
from stillair.condition import core
from stillair.condition.core import Condition, Ref
from stillair.condition.tree import judge
from stillair.possible import Number, Options, Region, judge_span
from stillair.quantity import Unit
from stillair.verdict import Verdict, Why
from stillair.wording import Wording, area, exact, floor_digits, number
from stillair.working import members_put_in, working

__all__ = [
    "Judgement",
    "changes",
    "deciders",
    "deciders_of_rule",
    "judgement",
    "judgement_of_rule",
    "settles",
    "wait_says",
]

Binding = Mapping[str, str]
_NOT_BOUND: Binding = {}
_NOTHING_KNOWN = (Why.NOT_ASKED, Why.UNAVAILABLE, Why.STALE)
_DEEPEST = 12
"""Nested conditions, findings and lists followed (judgement: deeper ones are explained by their own name)."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """One part of a condition as judged.

    `text` is the part as written, `join` says how its parts are joined (`all of`, `any of`), `says` what its
    facts are and how far from the edge, `settles` what would settle one that is too close to call, `working`
    and `doubt` how its number came about. `lines` are the entries it rests on. `ease` is what is to spare in
    tolerances, where a tolerance could have decided otherwise.
    """

    text: str
    verdict: Verdict
    says: str = ""
    settles: str = ""
    working: tuple[str, ...] = ()
    doubt: str = ""
    lines: tuple[int, ...] = ()
    parts: tuple[Judgement, ...] = field(default=())
    join: str = ""
    ease: float = math.inf

    @property
    def leaves(self) -> Iterator[Judgement]:
        """The tests themselves, without the joins around them."""
        if self.says:
            yield self
        for part in self.parts:
            yield from part.leaves


def judgement(
    wording: Wording, view: View, cond: Cond, binding: Binding = _NOT_BOUND, deepest: int = _DEEPEST
) -> Judgement:
    """The judged tree of a compiled condition in a view.

    The findings and lists that its tests refer to are explained as well, `deepest` levels of them.
    """
    return _Reader(wording, view, binding, deepest=deepest).read(cond.checked)


def judgement_of_rule(wording: Wording, name: str, member: str | None, deepest: int = _DEEPEST) -> Judgement:
    """The judged tree of a rule, as of the moment that decided it where that is earlier than now."""
    rule = wording.program.rules[name]
    binding = {rule.per: member} if rule.per is not None and member is not None else _NOT_BOUND
    view = _view_that_decided(wording.found.view, rule, member)
    return judgement(wording, view, rule.when, binding, deepest)


def deciders_of_rule(wording: Wording, name: str, member: str | None) -> Iterator[Judgement]:
    """The tests that decide a rule, as of the moment that decided it; each is read when it is asked for.

    Where one of several is enough, those that hold; where one of all is wanting, those that fail.
    """
    rule = wording.program.rules[name]
    view = _view_that_decided(wording.found.view, rule, member)
    return deciders(wording, view, rule.when, bound(rule, member))


def deciders(wording: Wording, view: View, cond: Cond, binding: Binding = _NOT_BOUND) -> Iterator[Judgement]:
    """The tests that decide a condition in a view, in the same way."""
    return _Reader(wording, view, binding, deepest=0).deciders(cond.checked)


def _view_that_decided(view: View, rule: Rule, member: str | None) -> View:
    """The view as of the moment that gave a rule its verdict: now, unless what it rests on has aged since."""
    binding = {rule.per: member} if rule.per is not None and member is not None else _NOT_BOUND
    verdict, decided = view.rule(rule, member)
    if verdict is view.judge(rule.when, binding):
        return view
    if decided is not None:
        return view.as_of(end_of(decided))
    times = {
        o.taken
        for (name, _), found in view.history.observations.items()
        if name in rule.when.mentions
        for o in found
        if o.taken < view.at
    }
    for moment in sorted(times, reverse=True):
        if view.as_of(end_of(moment)).judge(rule.when, binding) is verdict:
            return view.as_of(end_of(moment))
    return view


class _Reader:
    def __init__(
        self,
        wording: Wording,
        view: View,
        binding: Binding,
        path: tuple[str, ...] = (),
        deepest: int = _DEEPEST,
    ) -> None:
        self.wording = wording
        self.view = view
        self.binding = binding
        self.path = path
        self.deepest = deepest

    def _into(self, view: View, binding: Binding, name: str) -> _Reader:
        """A reader of what stands behind a name."""
        return _Reader(self.wording, view, binding, (*self.path, name), self.deepest)

    def read(self, condition: Condition) -> Judgement:
        verdict = judge(condition, self._lookup)
        text = " ".join(condition.text.split())
        match condition:
            case core.Test():
                return self._options(condition, text, verdict)
            case core.Within():
                return self._number(condition, text, verdict)
            case core.All() | core.Either():
                parts = tuple(self.read(part) for part in condition.parts)
                lines = tuple(sorted({line for part in parts for line in part.lines}))
                join = "all of" if isinstance(condition, core.All) else "any of"
                return Judgement(text, verdict, join=join, lines=lines, parts=parts)
        return Judgement(text, verdict, says=f"{text}, whatever is known")

    def deciders(self, condition: Condition) -> Iterator[Judgement]:
        if not isinstance(condition, core.All | core.Either):
            yield self.read(condition)
            return
        decides = Verdict.FAILS if isinstance(condition, core.All) else Verdict.HOLDS
        every = judge(condition, self._lookup) is not decides
        for part in condition.parts:
            if every or judge(part, self._lookup) is decides:
                yield from self.deciders(part)

    def _lookup(self, ref: Ref) -> Number | Options:
        return self.view.value(ref.bound(self.binding) if self.binding else ref)

    # -- options -----------------------------------------------------------------------------------------

    def _options(self, test: core.Test, text: str, verdict: Verdict) -> Judgement:
        ref = test.ref.bound(self.binding)
        value = self.view.options(ref)
        name = self.wording.name(ref)
        program = self.wording.program
        derivation = program.derived.get(ref.name)
        parts: tuple[Judgement, ...] = ()
        if isinstance(derivation, core.Each):
            parts = self._members(derivation.list, ref)
            says = self._list(derivation.list, value)
            return Judgement(text, verdict, says, lines=value.lines, parts=parts)
        if ref.name in program.findings and len(self.path) < self.deepest and ref.name not in self.path:
            parts = tuple(self._rules(ref))
        if ref.name in program.waits:
            return Judgement(text, verdict, wait_says(self.wording, self.view, ref.name), lines=value.lines)
        known = not value.mask & (value.mask - 1)
        said = self.wording.value(ref, value, test.domain)
        if known:
            option = test.domain.of_mask(value.mask)[0]
            said += self.wording.attribute(test.text, option, test.domain)
            says = f"{name}: {said}{self._from(value)}"
        else:
            reasons = self.wording.reasons(self.view.reasons_of(ref))
            says = f"{name}: {said}" + (f" – {reasons}" if reasons else "")
        return Judgement(text, verdict, says, lines=value.lines, parts=parts)

    def _from(self, value: Options | Number) -> str:
        """Where a value comes from: its line, and when it was taken."""
        if not value.lines:
            return ""
        word = "line" if len(value.lines) == 1 else "lines"
        at = f", {self.wording.clock(value.taken)}" if value.taken is not None else ""
        return f" ({word} {', '.join(map(str, value.lines))}{at})"

    def _rules(self, ref: Ref) -> Iterator[Judgement]:
        program = self.wording.program
        for name in program.findings[ref.name]:
            rule = program.rules[name]
            binding = {rule.per: ref.member} if rule.per and ref.member else _NOT_BOUND
            verdict, _ = self.view.rule(rule, ref.member)
            view = _view_that_decided(self.view, rule, ref.member)
            inner = self._into(view, binding, ref.name).read(rule.when.checked)
            grade = rule.spec.grade
            yield Judgement(f"rule {name} ({grade})", verdict, lines=inner.lines, parts=(inner,))

    def _members(self, list_name: str, ref: Ref) -> tuple[Judgement, ...]:
        """The condition inside `every`, `any`, `count`, or after `with`, for each member."""
        if len(self.path) >= self.deepest:
            return ()
        inner = self.wording.program.inner[ref.name]
        found = []
        for member in self.view.members(list_name)[0]:
            # The member of the outer list, if the condition is itself kept for one, stays in hand.
            binding = dict(self.binding) | {list_name: member}
            outer = self.wording.program.outer.get(ref.name)
            if outer is not None and ref.member is not None and outer != list_name:
                binding[outer] = ref.member
            read = self._into(self.view, binding, ref.name).read(inner.checked)
            label = self.wording.member(list_name, member)
            found.append(Judgement(label, read.verdict, lines=read.lines, parts=(read,)))
        return tuple(found)

    def _list(self, list_name: str, value: Options) -> str:
        members, closed = self.view.members(list_name)
        spec = self.wording.program.lists.get(list_name)
        title = spec.title if spec is not None else "Places"
        end = "" if closed else ", and nobody has said that this is all"
        return f"{title}: {len(members)} in the list{end}"

    # -- numbers -----------------------------------------------------------------------------------------

    def _number(self, test: core.Within, text: str, verdict: Verdict) -> Judgement:
        ref = test.ref.bound(self.binding)
        value = self.wording.spoken(ref, self.view.number(ref))
        unit = self._unit(ref, test)
        name = self.wording.name(ref)
        zone = self.wording.zone
        steps: tuple[str, ...] = ()
        program = self.wording.program
        derivation = program.derived.get(ref.name)
        calculation = program.calculations.get(ref.name)
        formula = (
            derivation if isinstance(derivation, core.Formula) else calculation[0] if calculation else None
        )
        if formula is not None:
            steps = working(self.wording, self.view, formula, ref, name).steps
        elif isinstance(derivation, core.Sum | core.Extreme):
            steps = members_put_in(self.wording, self.view, ref)
        parts: tuple[Judgement, ...] = ()
        if ref.name in program.inner and isinstance(derivation, core.Count | core.Sum | core.Extreme):
            parts = self._members(derivation.list, ref)
        region = test.region
        edges = list(region.edges())
        settled = ""
        ease = math.inf
        open_reasons = self.view.reasons_of(ref)
        one_sided = math.isinf(value.low) is not math.isinf(value.high)
        if value.undefined or (math.isinf(value.low) and math.isinf(value.high)):
            says = f"{name}: not known – {self.wording.reasons(open_reasons) or 'it has no value now'}"
        elif verdict is Verdict.OPEN and (open_reasons or value.ignorant):
            reasons = self.wording.reasons(open_reasons)
            # What is left out of a sum, or of what is worked out from it, leaves the rest known.
            partly = one_sided or self.wording.over_members(ref) is not None
            known = partly or not any(r.why in _NOTHING_KNOWN for r in open_reasons)
            said = number(value, unit, zone) if known else "not known"
            says = f"{name}: {said}" + (f" – {reasons}" if reasons else "")
        elif verdict is Verdict.OPEN:
            against = " and ".join(exact(edge, unit, zone) for edge in edges)
            says = f"{name}: too close to call: {number(value, unit, zone)} against {against}"
            settled = settles(self.wording, value, edges, unit)
        else:
            inside = area(region if verdict is Verdict.HOLDS else region.complement(), unit, zone)
            spread = value.tolerance or value.ignorant or value.shape is not None
            word = " is" if one_sided else " ="
            says = f"{name}{word} {number(value, unit, zone)}{self._from(value)}, "
            says += f"wholly {inside}" if spread else inside
            spare = _spare(value, edges)
            if spare is not None and value.tolerance:
                ease = spare / value.tolerance
            if spare is not None and unit.dimension.name != "moment":
                says += f", {_close(spare, quantity.difference_unit(unit), value.tolerance)} to spare"
            if one_sided and open_reasons:
                says += f" – {self.wording.reasons(open_reasons)}"
        return Judgement(
            text,
            verdict,
            says,
            settled,
            steps,
            self.wording.doubt(value, unit),
            value.lines,
            parts,
            ease=ease,
        )

    def _unit(self, ref: Ref, test: core.Within) -> Unit:
        unit = self.wording.unit(ref)
        if unit.dimension.name == test.dimension.name or unit.dimension == test.dimension:
            return unit
        return quantity.canonical_unit(test.dimension)


def _close(value: float, unit: Unit, tolerance: float) -> str:
    """A number to the digits of the tolerance beside it."""
    return quantity.show(value, unit, tolerance) if tolerance else exact(value, unit)


def _spare(value: Number, edges: Sequence[float]) -> float | None:
    """How far the span of a decided number is from the nearest edge."""
    ends = [end for end in value.span() if math.isfinite(end)]
    if not edges or not ends:
        return None
    return max(0.0, min(abs(edge - end) for edge in edges for end in ends))


def wait_says(wording: Wording, view: View, name: str) -> str:
    """Where a wait stands: not started, running with the time left, time up but not confirmed, or ready."""
    state = view.wait(name)
    if state.started is None:
        return f"{name}: not started – {wording.reasons(state.options.reasons)}"
    began = f"started {wording.clock(state.started)}"
    if state.restarted_by:
        began = f"started again {wording.clock(state.started)} ({state.restarted_by})"
    if state.ready_at is None:
        return f"{name}: {began}, how long it lasts is not known – {wording.reasons(state.options.reasons)}"
    if state.options.mask == 1:
        return f"{name}: ready since {wording.clock(state.options.taken or state.ready_at)}, {began}"
    if view.at < state.ready_at:
        left = time_left(state.ready_at - view.at)
        return f"{name}: running, {began}, ready at {wording.clock(state.ready_at)}, {left} left"
    return f"{name}: the time is up, {began} – {wording.reasons(state.options.reasons)}"


# -- what would settle what is too close to call -----------------------------------------------------------


def settles(wording: Wording, value: Number, edges: Sequence[float], unit: Unit) -> str:
    """What would decide a number that is too close to call: the tolerance needed, instrument by instrument.

    The other effects stay as they are: with total T, the effect e of one instrument and n the distance to the
    nearest edge, it must come down to √(n² - (T² - e²)).
    """
    middle = value.middle
    needed = min((abs(edge - middle) for edge in edges), default=0.0)
    difference = quantity.difference_unit(unit)
    if needed <= 1e-9 * max(abs(middle), 1e-12) or not floor_digits(needed):
        return "no better instrument would settle it, only another value"
    total = value.tolerance
    ways = []
    for group, effect in _instruments(wording, value).items():
        rest = total * total - effect * effect
        allowed = needed * needed - rest
        if allowed <= 0:
            continue
        share = math.sqrt(allowed) / effect
        own, own_unit = _own_tolerance(wording, value, group)
        if own is None or own_unit is None:
            continue
        good = _below(share * own, own_unit)
        ways.append(f"{group} good to ±{good} instead of ±{exact(own, own_unit)} would settle it")
    if ways:
        return "; or ".join(ways)
    together = f"together they must come to less than ±{_below(needed, difference)}"
    return f"no single better instrument would settle it: {together}"


def _below(value: float, unit: Unit) -> str:
    """A tolerance in its unit, rounded down, so that it is enough as said."""
    factor = abs(float(unit.factor))
    rounded = floor_digits(value / factor)
    if rounded >= value / factor * (1 - 1e-9):
        rounded = floor_digits(rounded * (1 - 1e-6))
    return quantity.show(rounded * factor, unit)


def _group(wording: Wording, source: tuple[str, str]) -> str:
    """The instrument an effect belongs to."""
    kind, who = source
    if kind == "repeat" and who.isdigit():
        observation = wording.observation_of(int(who))
        if observation is not None:
            return _instrument_of(wording, observation)
    return who.removeprefix("scale of ")


def _instrument_of(wording: Wording, observation: Observation) -> str:
    if observation.instrument is not None:
        return observation.instrument
    fact = wording.program.facts[observation.fact]
    if fact.spec.read_with is not None:
        return f"{fact.spec.read_with.text} of line {observation.line}"
    return f"the reading of {observation.fact}, line {observation.line},"


def _instruments(wording: Wording, value: Number) -> dict[str, float]:
    """The effect of each instrument on a number: offset and readings together."""
    squares: dict[str, float] = {}
    for source, effect in value.effects.items():
        group = _group(wording, source)
        squares[group] = squares.get(group, 0.0) + effect * effect
    return {group: math.sqrt(square) for group, square in squares.items() if square}


def _own_tolerance(wording: Wording, value: Number, group: str) -> tuple[float | None, Unit | None]:
    """The tolerance of one instrument in the unit of what it reads."""
    for line in value.lines:
        observation = wording.observation_of(line)
        if observation is None or _instrument_of(wording, observation) != group:
            continue
        fact = wording.program.facts[observation.fact]
        if fact.unit is not None and isinstance(observation.value, float):
            reading = wording.found.view.reading(fact, observation)
            return reading.tolerance, quantity.difference_unit(fact.unit)
    return None, None


# -- what would change a verdict -----------------------------------------------------------------------------


def changes(wording: Wording, view: View, cond: Cond, binding: Binding = _NOT_BOUND) -> tuple[str, ...]:
    """For a decided condition, the nearest single value that would decide it the other way, fact by fact."""
    lookup: Callable[[Ref], Number | Options] = lambda ref: view.value(ref.bound(binding))  # noqa: E731
    now = judge(cond.checked, lookup)
    if now is Verdict.OPEN:
        return ()
    wanted = Verdict.FAILS if now is Verdict.HOLDS else Verdict.HOLDS
    found = []
    tests: dict[Ref, list[core.Test | core.Within]] = {}
    for test in _tests(cond.checked):
        tests.setdefault(test.ref, []).append(test)
    for ref, group in tests.items():
        bound = ref.bound(binding)

        def turns(value: Number | Options, ref: Ref = ref) -> bool:
            return judge(cond.checked, lambda r: value if r == ref else lookup(r)) is wanted

        name = wording.name(bound)
        if isinstance(group[0], core.Test):
            domain = group[0].domain
            options = [n for bit, n in enumerate(domain.names) if turns(Options(1 << bit))]
            if isinstance(wording.program.derived.get(ref.name), core.Each):
                if options:
                    found.append(f"{name}: {'so' if options == ['yes'] else 'not so'}")
            elif options:
                present = domain.of_mask(view.options(bound).mask)
                others = [n for n in domain.names if n not in present]
                if len(options) > 3:
                    shown = (
                        f"anything but {' or '.join(present)}"
                        if options == others
                        else f"any of {len(options)}"
                    )
                else:
                    shown = " or ".join(options)
                found.append(f"{name}: {shown.replace('_', ' ')}")
            continue
        said = _nearest(wording, view.number(bound), bound, group, turns)
        if said:
            found.append(said)
    return tuple(found)


def _tests(condition: Condition) -> Iterator[core.Test | core.Within]:
    if isinstance(condition, core.Test | core.Within):
        yield condition
    elif isinstance(condition, core.All | core.Either):
        for part in condition.parts:
            yield from _tests(part)


def _nearest(
    wording: Wording,
    value: Number,
    ref: Ref,
    tests: Sequence[core.Test | core.Within],
    turns: Callable[[Number], bool],
) -> str:
    """The value nearest to the present one, with the same tolerance, for which the verdict turns."""
    if value.undefined or math.isinf(value.low) or math.isinf(value.high):
        return ""
    unit = wording.unit(ref)
    tolerance = value.tolerance
    hair = 1e-6 * abs(float(unit.factor))
    middle = value.middle
    good = [
        (abs(t - middle), t, inclusive)
        for test in tests
        if isinstance(test, core.Within)
        for edge in test.region.edges()
        for sign in (-1, 1)
        for t, inclusive in ((edge + sign * tolerance, _with_edge(test.region, edge, sign * hair)),)
        if turns(Number(t + sign * hair, t + sign * hair, value.effects))
    ]
    if not good:
        return ""
    _, best, inclusive = min(good)
    is_moment = unit.dimension.name == "moment"
    said, present = (
        exact(v, unit, wording.zone) if is_moment else _close(v, unit, tolerance) for v in (best, middle)
    )
    if inclusive:
        where = f"at {said} {'or more' if best > middle else 'or less'}"
    else:
        words = ("after", "before") if is_moment else ("above", "below")
        where = f"{words[best < middle]} {said}"
    text = f"{wording.name(ref)} {where} (now {present})"
    moved = _moved(wording, ref, best - middle, tolerance)
    return text + (f", as by {moved}" if moved else "")


def _with_edge(region: Region, edge: float, beyond: float) -> bool:
    """Whether a number at an edge is judged as one beyond it is."""
    return judge_span(edge, edge, region) is judge_span(edge + beyond, edge + beyond, region)


def _moved(wording: Wording, ref: Ref, by: float, tolerance: float) -> str:
    """Which single reading, moved by how much, moves a difference so far; empty where it is no difference."""
    derivation = wording.program.derived.get(ref.name)
    if not isinstance(derivation, core.Formula):
        return ""
    ways = []
    for fact, sign in _terms(derivation.expression, 1):
        if fact.name in wording.program.facts:
            unit = quantity.difference_unit(wording.unit(fact))
            word = "higher" if by * sign > 0 else "lower"
            ways.append(f"{wording.name(fact)} {_close(abs(by), unit, tolerance)} {word}")
    return " or ".join(ways)


def _terms(expression: core.Expression, sign: int) -> Iterator[tuple[Ref, int]]:
    match expression:
        case core.Value():
            yield expression.ref, sign
        case core.Operation() if expression.operator in "+-":
            yield from _terms(expression.left, sign)
            yield from _terms(expression.right, sign if expression.operator == "+" else -sign)
