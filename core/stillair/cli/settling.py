"""Entries of what cannot change that differ: which they are, and the corrections that settle them."""

from __future__ import annotations

from stillair.assess import Action, Assessment, Entry, Observation
from stillair.condition.core import Ref
from stillair.verdict import Why

from .entering import correct, observe
from .labels import observed
from .session import Session

__all__ = ["as_entered", "dispute_said", "disputed", "is_dispute", "settle"]


def disputed(found: Assessment, ref: Ref) -> list[Observation]:
    """The entries of a fixed fact that count and differ, oldest first; none where they agree."""
    fact = found.program.facts.get(ref.name)
    if fact is None or fact.spec.nature != "fixed":
        return []
    if not any(reason.why is Why.DISPUTED for reason in found.view.value(ref).reasons):
        return []
    entries = found.history.before((ref.name, ref.member), found.view.moment)
    return [o for o in entries if o.value is not None and found.view.doubt(fact, ref, o) is None]


def dispute_said(session: Session, found: Assessment, observation: Observation) -> str:
    """One of the entries: what, when, by whom, and its line."""
    by = f" by {observation.by}" if observation.by else ""
    at = session.said(observation.taken)
    return f"{observed(found.program, observation)}, at {at}{by} (line {observation.line})"


def as_entered(session: Session, found: Assessment, ref: Ref, observation: Observation) -> Entry:
    """An entry that stands, as an answer to be given again."""
    number = isinstance(observation.value, float)
    text = observation.read if number else str(observation.value)
    serial = observation.instrument
    return observe(session, found, ref, text, serial=serial, taken=observation.taken)


def settle(session: Session, found: Assessment, ref: Ref, entry: Entry) -> list[int]:
    """Correct the entries that differ from the right one. The lines that were corrected."""
    wrong = [o for o in disputed(found, ref) if o.value != entry.body.get("value")]
    with session.together():
        for observation in wrong:
            correct(session, observation, entry, f"settled: {entry.understood} is right")
    return [observation.corrects or observation.line for observation in wrong]


def is_dispute(found: Assessment, action: Action) -> bool:
    """Whether the next action is to settle entries that differ."""
    suspicion = action.suspicion
    return suspicion is not None and suspicion.other is None and bool(disputed(found, suspicion.ref))
