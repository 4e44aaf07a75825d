"""What the entries of a fact leave possible: staleness, evidence, disputes, the tolerance of a reading."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from stillair.calculator import between
from stillair.condition.core import NumberDomain, OptionDomain, Ref
from stillair.possible import UNSURE, Number, Options
from stillair.verdict import Reason, Verdict, Why, all_of

from .history import Moment, Observation
from .program import NO_BINDING, Fact, Trigger
from .waits import lasting

if TYPE_CHECKING:
    from .view import View

__all__ = [
    "aged",
    "doubt",
    "last_event",
    "newest_first",
    "reading",
    "settled",
    "standing",
    "trigger_time",
    "undone",
    "unusable",
    "whole",
]


def standing(view: View, fact: Fact, ref: Ref) -> Number | Options:
    """What the observations leave possible.

    Of what may change the newest stands, of what cannot change all do. One that does not count is passed
    over; where that is not decided yet, both what it says and what stood before it stay possible.
    """
    found = view.history.before((fact.name, ref.member), view.moment)
    if not found:
        return whole(fact.domain, (Reason(Why.NOT_ASKED, str(ref)),))
    fixed = fact.spec.nature == "fixed"
    reasons: list[Reason] = []
    later: list[Reason] = []
    kept: list[Observation] = []
    pending: list[Observation] = []
    for observation in reversed(found):
        if kept and not fixed and observation.taken != kept[0].taken:
            break
        reason = unusable(view, fact, ref, observation)
        if reason is not None:
            if not fixed and not kept:
                reasons.append(reason)
                break
            if fixed and reason.why is not Why.UNAVAILABLE:
                reasons.append(reason)
            continue
        doubtful = doubt(view, fact, ref, observation)
        if doubtful is None:
            kept.append(observation)
        elif doubtful.why is Why.VOID:
            reasons.append(doubtful)
        else:
            later.append(doubtful)
            pending.append(observation)
    if not kept:
        reasons = later + reasons
        if not reasons:
            unavailable = next((o for o in reversed(found) if o.value is None), None)
            if unavailable is not None:
                reasons.append(Reason(Why.UNAVAILABLE, str(ref), unavailable.why))
            else:
                reasons.append(Reason(Why.NOT_ASKED, str(ref)))
        return whole(fact.domain, reasons)
    if len({o.value for o in kept}) > 1:
        said = ", ".join(f"{o.read or o.value} (line {o.line})" for o in reversed(kept))
        later.append(Reason(Why.DISPUTED, str(ref), f"entries differ: {said}"))
    possible = sorted([*kept, *pending], key=lambda o: o.moment, reverse=True)
    if isinstance(fact.domain, OptionDomain):
        return chosen(view, fact, ref, possible, found, later)
    return among(view, fact, possible, later)


def unusable(view: View, fact: Fact, ref: Ref, observation: Observation) -> Reason | None:
    """Why an entry says nothing now, whatever it rests on: not to be had, in doubt, or no longer good."""
    if observation.value is None:
        return Reason(Why.UNAVAILABLE, str(ref), observation.why)
    if observation.line in view.history.doubted:
        return Reason(Why.DISPUTED, str(ref), view.history.doubted[observation.line])
    return stale(view, fact, ref, observation)


def aged(view: View) -> set[str]:
    """The facts of which some entry is no longer good at this moment, though it would be but for its age."""
    found: set[str] = set()
    for key in view.history.observations:
        fact, ref = view.program.facts.get(key[0]), Ref(*key)
        if fact is None or fact.spec.safety or fact.name in found:
            continue
        if fact.good_for is None and not fact.void_after:
            continue
        if any(stale(view, fact, ref, o) is not None for o in view.history.before(key, view.moment)):
            found.add(fact.name)
    return found


def whole(domain: OptionDomain | NumberDomain, reasons: Sequence[Reason]) -> Number | Options:
    """All that a fact may be, and why nothing is known of it."""
    if isinstance(domain, OptionDomain):
        return Options(domain.whole, tuple(reasons))
    return Number(domain.low, domain.high, reasons=tuple(reasons))


def stale(view: View, fact: Fact, ref: Ref, observation: Observation) -> Reason | None:
    """Why an observation is no longer good at this moment, if it is not. What safety rests on always ages."""
    if not view.aging and not fact.spec.safety:
        return None
    good_for = fact.good_for
    if good_for is not None and view.at - observation.taken > good_for:
        return Reason(Why.STALE, str(ref), f"good for {lasting(good_for)}, taken longer ago")
    trigger = voided(view, fact, ref, observation)
    if trigger is None:
        return None
    return Reason(Why.STALE, str(ref), f"{trigger.text.replace('_', ' ')} after it was taken")


def voided(view: View, fact: Fact, ref: Ref, observation: Observation) -> Trigger | None:
    """What happened since that leaves an observation no longer good."""
    if not fact.void_after:
        return None
    times = view.void_times.get(ref)
    if times is None:
        found = ((trigger_time(view, t, view.moment, fact.per, ref.member), t) for t in fact.void_after)
        times = view.void_times[ref] = [(time, t) for time, t in found if time is not None]
    return next((trigger for time, trigger in times if time > observation.moment), None)


def doubt(view: View, fact: Fact, ref: Ref, observation: Observation) -> Reason | None:
    """Why an observation is not evidence, if it is not; `Why.LATER` where a check must still follow."""
    conds = [c for c in (fact.counts, fact.place_counts.get(ref.member or "")) if c is not None]
    if not conds or not needs_support(fact, observation):
        return None
    binding = {fact.per: ref.member} if fact.per is not None and ref.member is not None else NO_BINDING
    judged = [(view.supporting(cond, observation), cond) for cond in conds]
    verdict = all_of(then.judge(cond, binding) for then, cond in judged)
    if verdict is Verdict.HOLDS:
        return None
    because = fact.spec.counts_when.because if fact.spec.counts_when else None
    if verdict is Verdict.FAILS:
        return Reason(Why.VOID, str(ref), because or "what it rests on did not hold")
    reasons = [r for then, cond in judged for r in then.reasons(cond, binding)]
    first = next((r for r in reasons if r.why is Why.LATER), reasons[0])
    return Reason(first.why, str(ref), f"rests on {first}")


def needs_support(fact: Fact, observation: Observation) -> bool:
    """Whether what was observed counts only on conditions."""
    if isinstance(fact.domain, OptionDomain):
        return bool(fact.counted >> fact.domain.names.index(str(observation.value)) & 1)
    return True


def chosen(
    view: View,
    fact: Fact,
    ref: Ref,
    possible: Sequence[Observation],
    found: Sequence[Observation],
    reasons: Sequence[Reason],
) -> Options:
    """The options that the entries leave, and since when the newest has been so without a break."""
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
        if observation.value != latest.value or lapsed or voided(view, fact, ref, observation):
            break
        if observation.line in view.history.doubted or doubt(view, fact, ref, observation) is not None:
            break
        since = observation.taken
    lines = tuple(sorted(o.line for o in possible))
    settled = not mask & (mask - 1)
    return Options(mask, () if settled else tuple(reasons), lines, latest.taken, since)


def among(view: View, fact: Fact, possible: Sequence[Observation], reasons: Sequence[Reason]) -> Number:
    """The number between the lowest and highest reading that is possible."""
    numbers = [reading(view, fact, o) for o in possible]
    low, high = min(n.low for n in numbers), max(n.high for n in numbers)
    lines = tuple(sorted(o.line for o in possible))
    held = tuple(reasons) if low != high else ()
    effects, apart = between([n.effects for n in numbers])
    return Number(low - apart, high + apart, effects, held, lines, possible[0].taken)


def reading(view: View, fact: Fact, observation: Observation) -> Number:
    """One reading with the effects of its instrument."""
    assert isinstance(observation.value, float)
    effects: dict[tuple[str, str], float] = {}
    kind = view.program.kinds.get(fact.spec.read_with.text) if fact.spec.read_with else None
    instrument = view.history.instrument(observation.instrument, observation.moment)
    if kind is None or (instrument is not None and instrument.kind != kind.name):
        instrument = None
    offset = repeat = resolution = share = 0.0
    who = observation.instrument or (f"the {kind.title}" if kind else "")
    if instrument is not None:
        offset, repeat, resolution = instrument.offset, instrument.repeat, instrument.resolution
        share = instrument.of_reading
    elif kind is not None:
        offset, repeat, resolution = kind.offset, kind.repeat, kind.resolution
        share = kind.of_reading
        who = observation.instrument or f"{kind.name} of line {observation.line}"
    if offset:
        effects["offset" if observation.instrument else UNSURE, who] = offset
    if share and observation.value:
        # As one scale for all readings: of two, what they have in common cancels in the difference.
        scale = f"scale of {who}"
        effects["scale" if observation.instrument else UNSURE, scale] = share * abs(observation.value)
    own = math.hypot(repeat, resolution / 2, fact.tolerance)
    if own:
        effects["repeat", str(observation.line)] = own
    value = observation.value
    return Number(value, value, effects, (), (observation.line,), observation.taken)


def trigger_time(
    view: View, trigger: Trigger, moment: Moment, per: str | None = None, member: str | None = None
) -> tuple[float, int] | None:
    """The last time, up to a moment, that an event happened or a fact was seen to take an option.

    `per` and `member` say for whom it is asked: a trigger kept per the same list is looked up for that
    member, one kept per another list for any of its members.
    """
    if trigger.only is not None and member not in trigger.only:
        return None
    if trigger.per is None:
        return _happened(view, trigger, None, moment)
    if trigger.per == per:
        return _happened(view, trigger, member, moment)
    times = [_happened(view, trigger, each, moment) for each in view.members(trigger.per)[0]]
    return max((t for t in times if t is not None), default=None)


def undone(view: View, event: str, member: str | None, happened: Moment) -> Trigger | None:
    """What has undone an event since it happened, if anything has."""
    triggers = view.program.undone.get(event, ())
    per = view.program.symbols[event].per if triggers else None
    for trigger in triggers:
        time = trigger_time(view, trigger, view.moment, per, member)
        if time is not None and time > happened:
            return trigger
    return None


def last_event(view: View, event: str, member: str | None) -> tuple[float, int] | Reason:
    """When an event last happened; or why what it made so is not so: not yet, or undone since."""
    happened = view.history.latest_event((event, member), view.moment)
    if happened is None:
        return Reason(Why.NOT_YET, event, "it has not happened, as far as is known")
    undoing = undone(view, event, member, happened)
    if undoing is not None:
        return Reason(Why.NOT_YET, event, f"undone by: {undoing.text.replace('_', ' ')}")
    return happened


def _happened(view: View, trigger: Trigger, member: str | None, moment: Moment) -> tuple[float, int] | None:
    key = (trigger.name, member)
    if trigger.mask is None:
        return view.history.latest_event(key, moment)
    domain = view.program.facts[trigger.name].domain
    assert isinstance(domain, OptionDomain)
    for observation in reversed(view.history.before(key, moment)):
        if observation.value is not None and domain.mask(str(observation.value)) & trigger.mask:
            return observation.moment
    return None


def newest_first(view: View, inner: Ref, aged: bool = False) -> Iterator[tuple[Observation, Reason | None]]:
    """The readings of a fact that stand now or may come to, newest first; for the latter, why not yet.

    With `aged`, also those that are no longer good now: what was read was read.
    """
    fact = view.program.facts[inner.name]
    for observation in reversed(view.history.before((inner.name, inner.member), view.moment)):
        reason = unusable(view, fact, inner, observation)
        if reason is not None and not (aged and reason.why is Why.STALE):
            continue
        doubtful = doubt(view, fact, inner, observation)
        if doubtful is None or doubtful.why is not Why.VOID:
            yield observation, doubtful


def settled(view: View, ref: Ref) -> bool:
    """Whether a fact needs no asking now: known, waiting for a later check, or not to be had."""
    value = view.value(ref)
    if isinstance(value, Options):
        known = not value.mask & (value.mask - 1)
    else:
        known = not value.reasons and not value.undefined
    if known:
        return True
    whys = {reason.why for reason in value.reasons}
    if whys and whys <= {Why.UNAVAILABLE, Why.LATER}:
        return True
    return Why.LATER in whys and _newest_waits(view, ref)


def _newest_waits(view: View, ref: Ref) -> bool:
    """Whether the newest entry of a fact waits for a check that must follow, whatever older ones are."""
    fact = view.program.facts.get(ref.name)
    found = view.history.before((ref.name, ref.member), view.moment)
    if fact is None or not found or unusable(view, fact, ref, found[-1]) is not None:
        return False
    doubtful = doubt(view, fact, ref, found[-1])
    return doubtful is not None and doubtful.why is Why.LATER
