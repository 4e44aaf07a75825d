"""Stops that stand: why the exit code is 3, and what stood when what it rests on was handed on."""

from __future__ import annotations

from stillair.assess import Assessment, RuleState
from stillair.verdict import Verdict
from stillair.wording import Wording

from . import STOPPED
from .labels import rule_said
from .permitting import code_of, safety_stops
from .session import Session

__all__ = ["say_stood", "stood", "why_stopped"]


def why_stopped(words: Wording) -> list[str]:
    """What stands where the exit code is 3; empty where it is not."""
    found = words.found
    if code_of(found) != STOPPED:
        return []
    said = [rule_said(words, state)[1] for state in safety_stops(found)]
    said += found.not_proved_off()
    return said or [blocked.say for blocked in found.next.permission.blocked if blocked.safety]


def stood(session: Session, found: Assessment) -> list[RuleState]:
    """The stops that stood at a handover or an emergency and have not been answered anew since."""
    unanswered = {(s.rule, s.member) for s in found.stops if s.verdict is Verdict.OPEN}
    left: list[RuleState] = []
    for line in reversed(session.lines):
        if not unanswered:
            break
        if line.kind not in ("handover", "emergency"):
            continue
        for state in session.before(line).stops:
            key = (state.rule, state.member)
            if key in unanswered and state.verdict is not Verdict.OPEN:
                unanswered.discard(key)
                if state.verdict is Verdict.HOLDS:
                    left.append(state)
    return left


def say_stood(session: Session, words: Wording) -> list[str]:
    """What each of these stops says, and that it is to be answered anew."""
    return [
        f"{rule_said(words, state)[1]} So it stood when the job was handed on. Answer anew first."
        for state in stood(session, words.found)
    ]
