"""What a derived fact may be: formulas, quantified lists, counts, sums, series, checks before and after."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from stillair.calculator import between, propagate
from stillair.condition import core
from stillair.condition.core import NumberDomain, OptionDomain, Ref
from stillair.possible import Number, Options
from stillair.verdict import Reason, Verdict, Why, all_of, any_of

from .formula import Closure, closure_of
from .history import Observation, end_of
from .program import Binding, Cond
from .standing import doubt, last_event, newest_first, reading, trigger_time, unusable, whole
from .waits import lasting

if TYPE_CHECKING:
    from .view import View

__all__ = [
    "Lot",
    "Picked",
    "bind",
    "calculated",
    "contending",
    "derived",
    "in_hand",
    "lot_of",
    "read_in_order",
    "that_is_all",
]


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
            return _total(view, derivation, ref)
        case core.Extreme():
            return _extreme(view, derivation, ref)
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
    if isinstance(formula.expression, core.Value):
        # Another name for a number: its errors stay the same to the last digit, so that they cancel.
        named = _reasoned(view, bind(formula.expression.ref, ref))
        assert isinstance(named, Number)
        return named if named.reasons or not named.undefined else named._replace(reasons=(_outside(about),))
    compiled = closure_of(view.program, formula)
    if compiled.series:
        return _of_series(view, compiled, ref, about)
    values = [_reasoned(view, bind(leaf, ref)) for leaf in compiled.leaves]
    return propagate(
        compiled.function,
        values,
        compiled.choices,
        compiled.monotone,
        about,
        compiled.divisors,
        compiled.caps,
    )


def read_in_order(view: View, series: Ref) -> list[Observation] | Reason:
    """The readings of a series that stand, oldest first; or why it is not known which do."""
    found: list[Observation] = []
    for observation, doubtful in newest_first(view, series):
        if doubtful is not None:
            return doubtful
        found.append(observation)
    return found[::-1] or Reason(Why.NOT_ASKED, str(series))


def _of_series(view: View, compiled: Closure, ref: Ref, about: str) -> Number:
    """The value of a formula that takes whole series: each reading enters with its own tolerance."""
    values: list[Number | Options] = []
    choices: list[Sequence[object] | None] = []
    monotone: list[bool] = []
    places: list[tuple[int, tuple[float, ...]]] = []
    for index, leaf in enumerate(compiled.leaves):
        inner = bind(leaf, ref)
        if index not in compiled.series:
            places.append((len(values), ()))
            values.append(_reasoned(view, inner))
            choices.append(compiled.choices[index])
            monotone.append(compiled.monotone[index])
            continue
        found = read_in_order(view, inner)
        if isinstance(found, Reason):
            return Number.nothing(found)
        fact = view.program.facts[inner.name]
        places.append((len(values), tuple(o.taken - found[0].taken for o in found)))
        values.extend(reading(view, fact, o) for o in found)
        choices.extend([None] * len(found))
        monotone.extend([False] * len(found))

    def gathered(flat: Sequence[object]) -> float:
        given: list[object] = []
        for first, times in places:
            given.append([(t, flat[first + i]) for i, t in enumerate(times)] if times else flat[first])
        return compiled.function(given)

    return propagate(gathered, values, choices, monotone, about)


def _outside(about: str) -> Reason:
    return Reason(Why.OUTSIDE, about)


def _reasoned(view: View, ref: Ref) -> Number | Options:
    """A value with the reasons why it is not settled, also where they are worked out apart from it."""
    value = view.value(ref)
    if isinstance(value, Number) and value.ignorant and not value.reasons:
        return value._replace(reasons=view.reasons_of(ref))
    return value


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
    lines, taken = _rested(v for m in members for v in _read(view, inner, in_hand(view, ref, each.list, m)))
    return Options(mask, (), lines, taken)


def _read(view: View, cond: Cond, binding: Binding) -> Iterator[Number | Options]:
    """What a condition reads, for the members in hand."""
    for leaf, _, per in cond.reads:
        yield view.value(leaf if per is None else Ref(leaf.name, binding[per]))


def _rested(values: Iterable[Number | Options]) -> tuple[tuple[int, ...], float | None]:
    """The lines that values rest on, and when the latest of them was taken."""
    lines: set[int] = set()
    taken: float | None = None
    for value in values:
        lines.update(value.lines)
        if value.taken is not None and (taken is None or value.taken > taken):
            taken = value.taken
    return tuple(sorted(lines)), taken


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


class Picked(NamedTuple):
    """A member that a sum, a highest or a lowest is over: surely, or if its condition turns out to hold."""

    member: str
    sure: bool
    number: Number
    binding: Binding


class Lot(NamedTuple):
    """The members that a sum, a highest or a lowest is over, and whether no further one may be listed.

    `left` are those surely left out. `lines` and `taken` are what all this rests on.
    """

    picked: list[Picked]
    left: list[str]
    closed: bool
    lines: tuple[int, ...]
    taken: float | None


def lot_of(view: View, derivation: core.Sum | core.Extreme, ref: Ref) -> Lot:
    """What a sum, a highest or a lowest is taken over, as far as is known."""
    members, closed = view.members(derivation.list)
    inner = None if derivation.condition is None else view.program.inner[ref.name]
    picked: list[Picked] = []
    left: list[str] = []
    values: list[Number | Options] = []
    for member in members:
        binding = in_hand(view, ref, derivation.list, member)
        verdict = Verdict.HOLDS if inner is None else view.judge(inner, binding)
        if inner is not None:
            values.extend(_read(view, inner, binding))
        if verdict is Verdict.FAILS:
            left.append(member)
            continue
        number = view.number(derivation.item.bound(binding))
        values.append(number)
        picked.append(Picked(member, verdict is Verdict.HOLDS, number, binding))
    return Lot(picked, left, closed, *_rested(values))


def _doubts(
    view: View, derivation: core.Sum | core.Extreme, ref: Ref, lot: Lot, picked: Iterable[Picked]
) -> tuple[Reason, ...]:
    """Why what is taken over these members is not settled."""
    found: dict[Reason, None] = {}
    for each in picked:
        if not each.sure:
            found.update(dict.fromkeys(view.reasons(view.program.inner[ref.name], each.binding)))
        found.update(dict.fromkeys(each.number.reasons))
    if not lot.closed:
        found[Reason(Why.OPEN_LIST, derivation.list, that_is_all(view, derivation.list))] = None
    return tuple(found)


def _total(view: View, total: core.Sum, ref: Ref) -> Number:
    lot = lot_of(view, total, ref)
    low = high = 0.0
    effects: dict[tuple[str, str], float] = {}
    for each in lot.picked:
        number = each.number
        if number.undefined:
            return Number.nothing(*_doubts(view, total, ref, lot, [each]))
        if not each.sure:
            # Nothing, or its value with all of its tolerance: which of them is not known.
            low += min(0.0, number.low - number.tolerance)
            high += max(0.0, number.high + number.tolerance)
            continue
        low += number.low
        high += number.high
        for source, effect in number.effects.items():
            effects[source] = effects.get(source, 0.0) + effect
    if not lot.closed:
        high = math.inf
        if _bounds(view, total.item)[0] < 0:
            low = -math.inf
    return Number(low, high, effects, _doubts(view, total, ref, lot, lot.picked), lot.lines, lot.taken)


def _bounds(view: View, item: Ref) -> tuple[float, float]:
    """Between which values the number of a member that is not listed yet must lie."""
    fact = view.program.facts.get(item.name)
    if fact is not None and isinstance(fact.domain, NumberDomain):
        return fact.domain.low, fact.domain.high
    return -math.inf, math.inf


def _extreme(view: View, extreme: core.Extreme, ref: Ref) -> Number:
    """The highest, or the lowest as the highest of the numbers turned round."""
    lot = lot_of(view, extreme, ref)
    sign = 1.0 if extreme.kind == "highest" else -1.0
    sure = [each for each in lot.picked if each.sure]
    if not sure or any(each.number.undefined for each in lot.picked):
        doubtful = lot.picked if not sure else [each for each in lot.picked if each.number.undefined]
        reasons = _doubts(view, extreme, ref, lot, doubtful)
        return Number.nothing(*(reasons or (_none(extreme, lot),)))
    found = contending(extreme, lot)
    reasons = _doubts(view, extreme, ref, lot, found)
    if len(found) == 1 and lot.closed:
        return found[0].number._replace(reasons=reasons, lines=lot.lines, taken=lot.taken)
    effects, apart = between([each.number.effects for each in found])
    spans = [(_turned(each.number, sign), each.sure) for each in found]
    low = max(span[0] for span, in_it in spans if in_it) - apart
    high = max(span[1] for span, _ in spans) + apart
    if not lot.closed:
        least, most = _bounds(view, extreme.item)
        most = most if sign > 0 else -least
        # A member still to be listed shares no error with those that are.
        high = max(high, most + math.fsum(abs(effect) for effect in effects.values()))
    if sign < 0:
        low, high = -high, -low
    return Number(low, high, effects, reasons, lot.lines, lot.taken)


def contending(derivation: core.Sum | core.Extreme, lot: Lot) -> list[Picked]:
    """The members that a result rests on: all of a sum, or those that may be the highest or the lowest."""
    if isinstance(derivation, core.Sum):
        return lot.picked
    sign = 1.0 if derivation.kind == "highest" else -1.0
    sure = [each for each in lot.picked if each.sure and not each.number.undefined]
    return [each for each in lot.picked if not any(_passes(one, each, sign) for one in sure)]


def _none(extreme: core.Extreme, lot: Lot) -> Reason:
    """Why there is no highest or lowest: no member, or none that meets the condition."""
    if not lot.left or extreme.condition is None:
        return Reason(Why.NONE, extreme.list)
    return Reason(Why.NONE, extreme.list, f"none of {len(lot.left)} with {extreme.condition.text}")


def _turned(number: Number, sign: float) -> tuple[float, float]:
    return (number.low, number.high) if sign > 0 else (-number.high, -number.low)


def _passes(one: Picked, other: Picked, sign: float) -> bool:
    """Whether one number is surely beyond another; an error that both share cancels."""
    gap = _turned(one.number, sign)[0] - _turned(other.number, sign)[1]
    if gap <= 0:
        return False
    effects = dict(one.number.effects)
    for source, effect in other.number.effects.items():
        effects[source] = effects.get(source, 0.0) - effect
    return gap > Number(0.0, 0.0, effects).tolerance


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
    return seen._replace(high=math.inf, reasons=(*seen.reasons, reason))


def _since(view: View, since: core.SinceEvent, ref: Ref) -> Number:
    inner = bind(since.ref, ref)
    if inner.name in view.program.events:
        happened = last_event(view, inner.name, inner.member)
        if isinstance(happened, Reason):
            return Number.nothing(happened)
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
