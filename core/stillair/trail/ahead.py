"""What is left open, and the day on which somebody looks again."""

from __future__ import annotations

from collections.abc import Iterator

from stillair.assess import Observation
from stillair.assess.program import NO_BINDING, Binding, Step
from stillair.condition.core import Ref
from stillair.verdict import Verdict
from stillair.wording import Wording

from .document import Item, Part, Strong, line
from .findings import finding_title
from .reason import items

__all__ = ["ahead", "due", "left_open", "work_is_due"]


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


def work_is_due(wording: Wording, activity: str) -> bool:
    """Whether any step of an activity may be due, or was begun; no only where that is certain."""
    program = wording.program
    steps = [each for each in program.steps.values() if activity in _activities(wording, each)]
    wanted = [step for step in steps if step.spec.never is None]
    return not wanted or any(_begun(wording, step) or _may_be_due(wording, step) for step in wanted)


def _activities(wording: Wording, step: Step) -> set[str]:
    """The activities of a step; one kept per place may take that of any place."""
    if step.spec.activity is not None:
        return {step.spec.activity.text}
    if step.per != "place":
        return set()
    places = (state.spec.activity for state in wording.program.places.values())
    return {activity.text for activity in places if activity is not None}


def _begun(wording: Wording, step: Step) -> bool:
    """Whether anything of it is on the record: that it was done, what it asks, or what it marks."""
    history = wording.found.history
    marks = {mark.text for mark in step.spec.marks} | {f"{step.powered}_begun"}
    return (
        any(name == step.spec.name for name, _ in history.done)
        or any(name in step.asks for name, _ in history.observations)
        or any(name in marks for name, _ in history.events)
    )


def _may_be_due(wording: Wording, step: Step) -> bool:
    view = wording.found.view
    if step.when is None:
        return True
    bindings: list[Binding] = [NO_BINDING]
    if step.per is not None:
        bindings = [{step.per: member} for member in view.members(step.per)[0]]
        if not bindings and step.when.kept:
            return True  # of a list that is empty so far, a `when` about its members says nothing
    return any(view.judge(step.when, binding) is not Verdict.FAILS for binding in bindings or [NO_BINDING])
