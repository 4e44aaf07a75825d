"""What an open verdict lacks: why it is open, and the facts that could still decide it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from stillair.condition import core
from stillair.condition.core import Ref, Test, Within, leaves
from stillair.condition.tree import open_tests
from stillair.possible import Number, Options
from stillair.verdict import Reason, Verdict, Why

from .derived import bind, contending, in_hand, lot_of, that_is_all
from .grades import rules_of
from .program import FURTHER, NO_BINDING, Binding, Cond, bound
from .searching import looks
from .waits import time_left

if TYPE_CHECKING:
    from .view import View

__all__ = [
    "Waited",
    "evidence",
    "finding_reasons",
    "missing",
    "missing_of",
    "once_waited",
    "reasons",
    "reasons_of",
    "tests_of",
]


class Waited(NamedTuple):
    """A verdict with every wait that is not ready taken as open, what could decide it, and why it is open."""

    verdict: Verdict
    missing: tuple[Ref, ...]
    reasons: tuple[Reason, ...]
    later: frozenset[Ref] = frozenset()
    """What is missing only as a check that must follow."""


def reasons_of(view: View, ref: Ref) -> tuple[Reason, ...]:
    """Why a fact or derived fact is not settled; empty where it is, or only its tolerance is wide."""
    program, name = view.program, ref.name
    if name in program.findings:
        return finding_reasons(view, ref)
    derivation = program.derived.get(name)
    if not isinstance(derivation, core.Each | core.Count):
        return view.value(ref).reasons
    value = view.value(ref)
    if value.mask != 3 if isinstance(value, Options) else not value.ignorant:
        return ()
    found: dict[Reason, None] = {}
    members, closed = view.members(derivation.list)
    for member in members:
        binding = in_hand(view, ref, derivation.list, member)
        found.update(dict.fromkeys(view.reasons(program.inner[name], binding)))
    if not closed:
        found[Reason(Why.OPEN_LIST, derivation.list, that_is_all(view, derivation.list))] = None
    return tuple(found)


def finding_reasons(view: View, ref: Ref) -> tuple[Reason, ...]:
    """Why a finding may still have a stronger grade than it has."""
    found: dict[Reason, None] = {}
    for rule in rules_of(view, ref.name):
        if view.rule(rule, ref.member)[0] is Verdict.HOLDS:
            break
        found.update(dict.fromkeys(view.reasons(rule.when, bound(rule, ref.member))))
    return tuple(found)


def once_waited(view: View, cond: Cond, binding: Binding = NO_BINDING) -> Waited:
    """The verdict if every wait that is not ready were still open, and what could decide it then."""

    def lookup(ref: Ref) -> Number | Options:
        value = view.value(ref.bound(binding) if binding else ref)
        if ref.name in view.program.waits and isinstance(value, Options) and not value.mask & 1:
            return Options(value.mask | 1, (_still(view, ref.name),))
        return value

    tests = open_tests(cond.flat, lookup)
    if not tests:
        return Waited(view.judge(cond, binding), (), ())
    missing: dict[Ref, bool] = {}
    reasons: dict[Reason, None] = {}
    for test in tests:
        ref = test.ref.bound(binding)
        found = lookup(test.ref).reasons or reasons_of(view, ref)
        follows = bool(found) and all(reason.why is Why.LATER for reason in found)
        for each in missing_of(view, ref):
            missing[each] = missing.get(each, True) and follows
        close = Reason(Why.CLOSE, str(ref).lstrip("="), test.text)
        reasons.update(dict.fromkeys(found or (close,)))
    later = frozenset(ref for ref, follows in missing.items() if follows)
    return Waited(Verdict.OPEN, tuple(missing), tuple(reasons), later)


def _still(view: View, name: str) -> Reason:
    """What a wait that is not ready is waiting for."""
    state = view.wait(name)
    if state.ready_at is None or state.started is None:
        return state.options.reasons[0]
    return Reason(Why.NOT_YET, name, f"running, {time_left(state.ready_at - view.at)} left")


def evidence(view: View, ref: Ref) -> list[Waited]:
    """Whether an observation of this fact, made now, would count; empty where every one does.

    Checks that can only be made afterwards are no hindrance.
    """
    fact = view.program.facts[ref.name]
    conds = [c for c in (fact.counts, fact.place_counts.get(ref.member or "")) if c is not None]
    if not conds:
        return []
    made = view.about_to_be_made()
    binding = {fact.per: ref.member} if fact.per is not None and ref.member is not None else NO_BINDING
    found = []
    for cond in conds:
        waited = once_waited(made, cond, binding)
        if waited.verdict is Verdict.OPEN and all(r.why is Why.LATER for r in waited.reasons):
            continue
        if waited.verdict is not Verdict.HOLDS:
            found.append(waited)
    return found


def tests_of(view: View, cond: Cond, binding: Binding) -> list[Test | Within]:
    """The tests that keep a condition open, for the members in hand."""
    if not binding:
        return open_tests(cond.flat, view.value)
    return open_tests(cond.flat, lambda ref: view.value(ref.bound(binding)))


def missing_of(view: View, ref: Ref) -> Iterator[Ref]:
    """The facts that could still settle what a fact or derived fact may be."""
    program = view.program
    name = ref.name
    if name in program.facts:
        fact = program.facts[name]
        value = view.value(ref)
        waiting = [r for r in value.reasons if r.why is Why.LATER]
        if waiting and (fact.counts is not None or fact.place_counts):
            found = view.history.before((name, ref.member), view.moment)
            observation = next((o for o in reversed(found) if o.value is not None), None)
            if observation is not None:
                binding = {fact.per: ref.member} if fact.per and ref.member else NO_BINDING
                later: list[Ref] = []
                for cond in (fact.counts, fact.place_counts.get(ref.member or "")):
                    if cond is not None:
                        later.extend(view.supporting(cond, observation).missing(cond, binding))
                if later:
                    yield from later
                    return
        yield ref
    elif name in program.calculations:
        yield from _missing_leaves(view, program.calculations[name][0], ref)
    elif name in program.waits:
        wait = program.waits[name]
        state = view.wait(name)
        if wait.lasts is not None and state.required is None:
            yield from missing_of(view, Ref(wait.lasts))
        if state.started is None:
            for trigger in wait.since:
                members = [None] if trigger.per is None else view.members(trigger.per)[0]
                for ref in (Ref(trigger.name, member) for member in members):
                    if trigger.mask is not None and view.options(ref).mask & ~trigger.mask:
                        yield ref
        elif wait.witness is not None and state.ready_at is not None and view.at >= state.ready_at:
            yield Ref(wait.witness)
    elif name == FURTHER:
        for looked in looks(program):
            if any(reason.why is Why.LATER for reason in view.value(looked).reasons):
                yield from missing_of(view, looked)
    elif name in program.findings:
        for rule_name in program.findings[name]:
            rule = program.rules[rule_name]
            yield from view.missing(rule.when, bound(rule, ref.member))
    elif name[0] == "=":
        derivation = program.derived[name]
        match derivation:
            case core.Formula():
                yield from _missing_leaves(view, derivation, ref)
            case core.Each() | core.Count():
                for member in view.members(derivation.list)[0]:
                    yield from view.missing(program.inner[name], in_hand(view, ref, derivation.list, member))
            case core.Sum() | core.Extreme():
                for each in contending(derivation, lot_of(view, derivation, ref)):
                    if not _settled(each.number):
                        yield from missing_of(view, derivation.item.bound(each.binding))
                    if not each.sure:
                        yield from view.missing(program.inner[name], each.binding)
            case core.Near() | core.Spread() | core.Readings() | core.Entries() | core.SinceEvent():
                inner = bind(derivation.ref, ref)
                if inner.name in program.facts:
                    yield inner


def _missing_leaves(view: View, formula: core.Formula, ref: Ref) -> Iterator[Ref]:
    for leaf in leaves(formula.expression):
        inner = bind(leaf, ref)
        if not _settled(view.value(inner)):
            yield from missing_of(view, inner)


def _settled(value: Number | Options) -> bool:
    """Whether a value is one value, give or take its tolerance."""
    if isinstance(value, Options):
        return not value.mask & (value.mask - 1)
    return not value.undefined and not value.ignorant


def reasons(view: View, tests: Sequence[Test | Within], binding: Binding) -> Iterator[Reason]:
    """Why a condition is open, by the tests that keep it so."""
    for test in tests:
        ref = test.ref.bound(binding)
        found = reasons_of(view, ref)
        if found:
            yield from found
        else:
            yield Reason(Why.CLOSE, str(ref).lstrip("="), test.text)


def missing(view: View, tests: Sequence[Test | Within], binding: Binding) -> Iterator[Ref]:
    """The facts that could still decide an open condition, by the tests that keep it so."""
    for test in tests:
        yield from missing_of(view, test.ref.bound(binding))
