"""What a derived fact may be: formulas, quantified lists, counts, sums, series, checks before and after."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from stillair.calculator import propagate
from stillair.condition import core
from stillair.condition.core import NumberDomain, OptionDomain, Ref
from stillair.possible import Number, Options
from stillair.verdict import Reason, Verdict, Why, all_of, any_of

from .formula import closure_of
from .history import Observation, end_of
from .program import Binding
from .standing import doubt, newest_first, reading, trigger_time, unusable, whole
from .waits import lasting

if TYPE_CHECKING:
    from .view import View

__all__ = ["bind", "calculated", "derived", "in_hand", "that_is_all"]


def derived(view: View, derivation: core.Derivation, ref: Ref) -> Number | Options:
    """What a derived fact may be."""
    match derivation:
        case core.Formula():
            return calculated(view, derivation, ref, derivation.text)
        case core.Each():
            return _each(view, derivation, ref)
        case core.Count():
            return _count(view, derivation, ref)
        case core.Sum():
            return _total(view, derivation)
        case core.Readings():
            return _readings(view, derivation.ref, ref)
        case core.Entries():
            return _entries(view, derivation, ref)
        case core.Spread():
            return _spread(view, derivation, ref)
        case core.SinceEvent():
            return _since(view, derivation, ref)
        case core.Near():
            return _near(view, derivation, ref)


def bind(inner: Ref, outer: Ref) -> Ref:
    """A reference inside a derived fact, for the member that the derived fact is kept for."""
    if inner.member is not None and inner.member[0] == "@":
        return Ref(inner.name, outer.member)
    return inner


def calculated(view: View, formula: core.Formula, ref: Ref, about: str) -> Number:
    """The value of a formula, with the tolerance of what it is worked out from."""
    compiled = closure_of(view.program, formula)
    values = [view.value(bind(leaf, ref)) for leaf in compiled.leaves]
    return propagate(compiled.function, values, compiled.choices, compiled.monotone, about)


def _each(view: View, each: core.Each, ref: Ref) -> Options:
    members, closed = view.members(each.list)
    every = each.quantifier == "every"
    inner = view.program.inner[ref.name]
    verdicts = [view.judge(inner, in_hand(view, ref, each.list, member)) for member in members]
    verdict = all_of(verdicts) if every else any_of(verdicts)
    if every and not members and closed:
        verdict = Verdict.FAILS
    elif not closed and verdict is (Verdict.HOLDS if every else Verdict.FAILS):
        verdict = Verdict.OPEN
    mask = {Verdict.HOLDS: 1, Verdict.FAILS: 2, Verdict.OPEN: 3}[verdict]
    lines: set[int] = set()
    taken: float | None = None
    for member in members:
        binding = in_hand(view, ref, each.list, member)
        for leaf, _, per in inner.reads:
            value = view.value(leaf if per is None else Ref(leaf.name, binding[per]))
            lines.update(value.lines)
            if value.taken is not None and (taken is None or value.taken > taken):
                taken = value.taken
    return Options(mask, (), tuple(sorted(lines)), taken)


def in_hand(view: View, ref: Ref, list_name: str, member: str) -> Binding:
    """The members in hand inside a derived fact: its own list's, and the one it is itself kept for."""
    outer = view.program.outer.get(ref.name)
    if outer is None or ref.member is None or outer == list_name:
        return {list_name: member}
    return {outer: ref.member, list_name: member}


def that_is_all(view: View, name: str) -> str:
    """What nobody has said of an open list."""
    spec = view.program.lists.get(name)
    return f"nobody has said that the list of {spec.title.lower() if spec else name} is complete"


def _count(view: View, count: core.Count, ref: Ref) -> Number:
    members, closed = view.members(count.list)
    inner = view.program.inner[ref.name]
    verdicts = [view.judge(inner, in_hand(view, ref, count.list, member)) for member in members]
    low = float(verdicts.count(Verdict.HOLDS))
    high = low + verdicts.count(Verdict.OPEN) if closed else math.inf
    return Number(low, high)


def _total(view: View, total: core.Sum) -> Number:
    members, closed = view.members(total.list)
    low = high = 0.0
    effects: dict[tuple[str, str], float] = {}
    reasons: list[Reason] = []
    lines: list[int] = []
    for member in members:
        number = view.number(total.item.bound({total.list: member}))
        if number.undefined:
            return Number.nothing(*number.reasons)
        low += number.low
        high += number.high
        for source, effect in number.effects.items():
            effects[source] = effects.get(source, 0.0) + effect
        reasons.extend(number.reasons)
        lines.extend(number.lines)
    if not closed:
        reasons.append(Reason(Why.OPEN_LIST, total.list, that_is_all(view, total.list)))
        high = math.inf
        symbol = view.program.facts.get(total.item.name)
        domain = symbol.domain if symbol is not None else None
        if not (isinstance(domain, NumberDomain) and domain.low >= 0):
            low = -math.inf
    return Number(low, high, effects, tuple(dict.fromkeys(reasons)), tuple(lines))


def _readings(view: View, series: Ref, ref: Ref) -> Number:
    found = list(newest_first(view, bind(series, ref), aged=True))
    later = tuple(doubtful for _, doubtful in reversed(found) if doubtful is not None)
    lines = tuple(o.line for o, doubtful in reversed(found) if doubtful is None)
    return Number(float(len(lines)), float(len(found)), reasons=later, lines=lines)


def _entries(view: View, entries: core.Entries, ref: Ref) -> Number:
    inner = bind(entries.ref, ref)
    lines = tuple(
        o.line
        for o in view.history.before((inner.name, inner.member), view.moment)
        if o.value is not None and o.line not in view.history.doubted and entries.option in (None, o.value)
    )
    return Number(float(len(lines)), float(len(lines)), lines=lines)


def _spread(view: View, spread: core.Spread, ref: Ref) -> Number:
    inner = bind(spread.ref, ref)
    fact = view.program.facts[inner.name]
    begun = view.at - spread.window
    found: list[Observation] = []
    covered = False
    for observation, doubtful in newest_first(view, inner):
        if observation.taken <= begun:
            covered = covered or doubtful is None
            continue
        if doubtful is not None:
            return Number.nothing(doubtful)
        found.append(observation)
    if len(found) < 2:
        return Number.nothing(Reason(Why.NOT_ASKED, inner.name, "two readings are needed"))
    highest = max(found, key=lambda o: float(o.value or 0.0))
    lowest = min(found, key=lambda o: float(o.value or 0.0))
    seen = propagate(
        lambda v: float(v[0]) - float(v[1]),  # type: ignore[arg-type]
        [reading(view, fact, highest), reading(view, fact, lowest)],
        [None, None],
        [True, True],
        spread.text,
    )
    if covered:
        return seen
    reason = Reason(Why.NOT_YET, inner.name, f"the readings do not yet go back {lasting(spread.window)}")
    return replace(seen, high=math.inf, reasons=(*seen.reasons, reason))


def _since(view: View, since: core.SinceEvent, ref: Ref) -> Number:
    inner = bind(since.ref, ref)
    if inner.name in view.program.events:
        happened = view.history.latest_event((inner.name, inner.member), view.moment)
        if happened is None:
            return Number.nothing(Reason(Why.NOT_YET, inner.name, "it has not happened, as far as is known"))
        elapsed = view.at - happened[0]
        return Number(elapsed, elapsed, lines=(happened[1],))
    for observation, doubtful in newest_first(view, inner):
        if doubtful is not None:
            return Number.nothing(doubtful)
        elapsed = view.at - observation.taken
        return Number(elapsed, elapsed, lines=(observation.line,))
    return Number.nothing(*(view.value(inner).reasons or (Reason(Why.NOT_ASKED, inner.name),)))


def _near(view: View, near: core.Near, ref: Ref) -> Number | Options:
    inner = bind(near.ref, ref)
    fact = view.program.facts[inner.name]
    if near.anchor is not None:
        happened = view.history.latest_event((near.anchor.name, None), view.moment)
        if happened is None:
            return whole(near.domain, [Reason(Why.NOT_YET, near.anchor.name)])
        anchor = happened
    else:
        assert view.judged is not None
        anchor = view.judged.observation.moment
    chosen: Observation | None = None
    if near.kind == "last":
        then = view.as_of(anchor, view.judged)
        for observation in view.history.before((inner.name, inner.member), anchor):
            if observation.moment < anchor:
                chosen = observation
        if chosen is not None:
            reason = unusable(then, fact, inner, chosen) or doubt(then, fact, inner, chosen)
            if reason is not None:
                return whole(near.domain, [reason])
        missing = Reason(Why.NOT_ASKED, str(inner), "no such check before it is known")
    else:
        for observation in view.history.before((inner.name, inner.member), end_of(view.now)):
            if observation.value is None or observation.moment <= anchor:
                continue
            doubtful = doubt(view.as_of(observation.moment), fact, inner, observation)
            if doubtful is not None and doubtful.why is Why.VOID:
                continue
            if doubtful is not None:
                return whole(near.domain, [doubtful])
            chosen = observation
            break
        missing = Reason(Why.LATER, str(inner), "the check that must follow has not been made")
        if chosen is not None:
            for trigger in fact.void_after:
                happened = trigger_time(view, trigger, chosen.moment, fact.per, inner.member)
                if happened is not None and anchor < happened < chosen.moment:
                    text = f"{trigger.text.replace('_', ' ')} before the check that must follow"
                    return whole(near.domain, [Reason(Why.STALE, str(inner), text)])
    if chosen is not None and chosen.line in view.history.doubted:
        doubted = view.history.doubted[chosen.line]
        return whole(near.domain, [Reason(Why.DISPUTED, str(inner), doubted)])
    if chosen is not None and near.window is not None and abs(anchor[0] - chosen.taken) > near.window:
        chosen = None
        missing = Reason(Why.STALE, str(inner), f"no such check within {lasting(near.window)}")
    if chosen is None:
        return whole(near.domain, [missing])
    if isinstance(near.domain, OptionDomain):
        mask = near.domain.mask(str(chosen.value))
        return Options(mask, (), (chosen.line,), chosen.taken)
    return reading(view, fact, chosen)
