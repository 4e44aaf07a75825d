"""What is left open, and the day on which somebody looks again."""

from __future__ import annotations

from collections.abc import Iterator

from stillair.assess import Observation
from stillair.condition.core import Ref
from stillair.wording import Wording

from .document import Item, Part, Strong, line
from .findings import finding_title
from .reason import items

__all__ = ["ahead", "due", "left_open"]


def ahead(wording: Wording) -> Part | None:
    """None where nothing is left open and no day is set."""
    told = [
        *(_told("To be looked at again:", wording.moment(day)) for day in due(wording)),
        *(_told("Left open:", text) for text in left_open(wording)),
        *(_told("Not reached:", name) for name in not_reached(wording)),
        *(_told("Suspected:", text) for text in _suspected(wording)),
    ]
    return Part("Left open, and what comes next", (items(told),)) if told else None


def _told(what: str, text: str) -> Item:
    return Item(line(Strong(what), " ", text))


def due(wording: Wording) -> Iterator[float]:
    """The moments that are set for another look, in seconds since 1970 (UTC)."""
    for fact in wording.program.facts.values():
        if not fact.spec.due:
            continue
        value = wording.found.view.number(Ref(fact.name)) if fact.per is None else None
        if value is not None and not value.undefined and not value.ignorant:
            yield value.low


def left_open(wording: Wording) -> Iterator[str]:
    """What was written down as left open; what a copy leaves out is said to be left out."""
    for fact in wording.program.facts.values():
        if not fact.spec.left_open:
            continue
        for (name, _), found in wording.found.history.observations.items():
            if name == fact.name:
                yield from (_said(observation) for observation in found if observation.value is not None)


def not_reached(wording: Wording) -> Iterator[str]:
    """The places that nobody could look at."""
    for state in wording.found.places:
        if state.status == "not reached":
            yield wording.member("place", state.place)


def _suspected(wording: Wording) -> Iterator[str]:
    for finding in wording.found.findings:
        if finding.grade == "suspected":
            yield finding_title(wording, finding)


def _said(observation: Observation) -> str:
    return observation.read or "left out of this copy"
