"""Where a wait stands: not started, running, ready, or ready only if a witness says so.

How long it lasts is written, or is what a fact says. While that fact is not known the wait is never ready;
where it is known give or take something, the longest it may be counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from stillair import quantity
from stillair.condition.core import Ref
from stillair.possible import Number, Options
from stillair.verdict import Reason, Why

from .history import Observation
from .program import Trigger, Wait

if TYPE_CHECKING:
    from .view import View

__all__ = ["WaitState", "lasting", "time_left", "wait_state"]


class WaitState(NamedTuple):
    """A wait: when it started (None: not yet), when it can be ready, and what is still missing.

    `required` is how long it lasts, at the longest, in seconds; it and `ready_at` are None while that is not
    known. `soonest` is when it would be over if it lasted the shortest time that is possible.
    """

    name: str
    options: Options
    started: float | None
    ready_at: float | None
    restarted_by: str = ""
    required: float | None = None
    soonest: float | None = None


def wait_state(view: View, name: str) -> WaitState:
    """Where a wait stands: begun by all it waits since, and again by what restarts it or was witnessed."""
    wait = view.program.waits[name]
    length = _length(view, wait)
    known = not (length.reasons or length.undefined or length.ignorant)
    shortest, longest = length.span()
    required = longest if known else None
    ready, running, not_started = 1, 2, 4
    started = -math.inf
    lines: list[int] = []
    unsure: list[Reason] = []
    for trigger in wait.since:
        members, closed = _members(view, trigger)
        if not closed:
            unsure.append(Reason(Why.OPEN_LIST, str(trigger.per), "one more of them would hold it up"))
        for member in members:
            begun = _begun(view, trigger, member)
            if begun is None:
                word = "with:" if trigger.mask is None else "when"
                reason = Reason(Why.NOT_YET, name, f"starts {word} {trigger.text.replace('_', ' ')}")
                return WaitState(name, Options(not_started, (reason,)), None, None, "", required)
            unsure.extend(begun.reasons)
            started = max(started, begun.since or -math.inf)
            lines.extend(begun.lines)
    if unsure:
        reason = Reason(Why.NOT_YET, name, "it is not shown that it has started")
        whole = Options(ready | running | not_started, (*dict.fromkeys(unsure), reason))
        return WaitState(name, whole, None, None, "", required)
    restarted = ""
    for trigger in wait.restarted_by:
        happened = view.trigger_time(trigger, view.moment)
        if happened is not None and happened[0] > started:
            started = happened[0]
            restarted = trigger.text.replace("_", " ")
            lines.append(happened[1])
    witness = wait.witness
    answers: list[Observation] = []
    if witness is not None:
        answers = view.history.before((witness, None), view.moment)
        for answer in answers:
            if answer.value == "yes" and answer.taken > started:
                started = answer.taken
                restarted = "something ran or was opened"
    lines.extend(length.lines)
    state = WaitState(name, Options(running, (), tuple(lines), started), started, None, restarted)
    if not known:
        return state._replace(options=Options(ready | running, length.reasons, tuple(lines), started))
    ready_at, soonest = started + longest, started + shortest
    state = state._replace(ready_at=ready_at, required=longest, soonest=soonest)
    if view.at < soonest:
        return state
    if view.at < ready_at:
        reason = Reason(Why.NOT_YET, name, "it may be over, and surely is only after the longest it can take")
        return state._replace(options=Options(ready | running, (reason,), tuple(lines), started))
    # It was not known to be ready before it was known how long it lasts.
    told = ready_at if length.taken is None else max(ready_at, length.taken)
    if witness is None:
        return state._replace(options=Options(ready, (), tuple(lines), told))
    for answer in reversed(answers):
        if answer.taken < ready_at:
            break
        if answer.value == "no":
            options = Options(ready, (), (*lines, answer.line), max(answer.taken, told))
            return state._replace(options=options)
        if answer.value is None:
            reason = Reason(Why.UNWATCHED, name, answer.why or "nobody watched")
            return state._replace(options=Options(ready | running, (reason,)))
    reason = Reason(Why.NOT_ASKED, witness, "the time is up; has anything happened since?")
    return state._replace(options=Options(ready | running, (reason,)))


def _length(view: View, wait: Wait) -> Number:
    """How long a wait lasts, in seconds."""
    if wait.lasts is None:
        return Number(wait.duration, wait.duration)
    return view.number(Ref(wait.lasts))


def _members(view: View, trigger: Trigger) -> tuple[Sequence[str | None], bool]:
    """For whom something must have happened to start a wait, and whether that is all of them."""
    if trigger.per is None:
        return [None], True
    members, closed = view.members(trigger.per)
    if not trigger.any:
        return members, closed
    happened = {m: view.history.latest_event((trigger.name, m), view.moment) for m in members}
    return [max(members, key=lambda m: happened[m] or (-math.inf, 0))] if members else [None], True


def _begun(view: View, trigger: Trigger, member: str | None) -> Options | None:
    """Since when what starts a wait is so for a member, with reasons if it may not be; None: it is not."""
    if trigger.mask is None:
        happened = view.last_event(trigger.name, member)
        return None if isinstance(happened, Reason) else Options(1, (), (happened[1],), None, happened[0])
    options = view.options(Ref(trigger.name, member))
    if not options.mask & trigger.mask:
        return None
    return options if options.mask & ~trigger.mask else options._replace(reasons=())


def time_left(seconds: float) -> str:
    """Rounded up, so that nobody comes too early: to whole minutes from a minute on.

    >>> time_left(61), time_left(40), time_left(7200), time_left(48395)
    ('2 min', '40 s', '2 h', '13 h 27 min')
    """
    whole = max(0, math.ceil(seconds))
    if whole < 60:
        return f"{whole} s"
    hours, minutes = divmod(-(-whole // 60), 60)
    return " ".join([*([f"{hours} h"] if hours else []), *([f"{minutes} min"] if minutes else [])])


def lasting(seconds: float) -> str:
    """A duration in the largest of days, hours and minutes that gives a whole number, or `1 min 40 s`."""
    if seconds % 60:
        return quantity.show(seconds, quantity.canonical_unit(quantity.DIMENSIONS["duration"]))
    if seconds % 86400 == 0:
        return f"{seconds / 86400:g} d"
    if seconds % 3600 == 0:
        return f"{seconds / 3600:g} h"
    return f"{seconds / 60:g} min"
