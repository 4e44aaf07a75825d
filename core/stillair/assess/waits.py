"""Where a wait stands: not started, running, ready, or ready only if a witness says so."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stillair.condition.core import Ref
from stillair.possible import Options
from stillair.verdict import Reason, Why

from .history import Observation

if TYPE_CHECKING:
    from .view import View

__all__ = ["WaitState", "lasting", "wait_state"]


class WaitState(NamedTuple):
    """A wait: when it started (None: not yet), when it can be ready, and what is still missing."""

    name: str
    options: Options
    started: float | None
    ready_at: float | None
    restarted_by: str = ""


def wait_state(view: View, name: str) -> WaitState:
    """Where a wait stands: begun by all it waits since, and again by what restarts it or was witnessed."""
    wait = view.program.waits[name]
    ready, running, not_started = 1, 2, 4
    started = -math.inf
    lines: list[int] = []
    for trigger in wait.since:
        if trigger.mask is None:
            happened = view.trigger_time(trigger, view.moment)
            if happened is None:
                reason = Reason(Why.NOT_YET, name, f"starts with: {trigger.text.replace('_', ' ')}")
                return WaitState(name, Options(not_started, (reason,)), None, None)
            started = max(started, happened[0])
            lines.append(happened[1])
            continue
        options = view.options(Ref(trigger.name))
        if not options.mask & trigger.mask:
            reason = Reason(Why.NOT_YET, name, f"starts when {trigger.text.replace('_', ' ')}")
            return WaitState(name, Options(not_started, (reason,)), None, None)
        if options.mask & ~trigger.mask:
            reason = Reason(Why.NOT_YET, name, f"starts when {trigger.text.replace('_', ' ')}")
            whole = Options(ready | running | not_started, (*options.reasons, reason))
            return WaitState(name, whole, None, None)
        started = max(started, options.since or -math.inf)
        lines.extend(options.lines)
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
    ready_at = started + wait.duration
    taken = started
    if view.at < ready_at:
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


def lasting(seconds: float) -> str:
    """A duration in the largest of days, hours and minutes that gives a whole number."""
    if seconds % 86400 == 0:
        return f"{seconds / 86400:g} d"
    if seconds % 3600 == 0:
        return f"{seconds / 3600:g} h"
    return f"{seconds / 60:g} min"
