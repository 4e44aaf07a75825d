"""What is switched on: whether it is on still, and what its end says of the steps it was for."""

from __future__ import annotations

from stillair.assess import Assessment
from stillair.job import Line
from stillair.wording import Wording

from .entering import did
from .labels import step_said
from .session import Session

__all__ = ["ended_by", "ending", "finish_steps", "state_ended_by_event"]


def _unfinished(found: Assessment, state: str) -> list[str]:
    """The steps that it was switched on for and that were not said to be done since."""
    begun = found.history.latest_event((f"{state}_begun", None), found.view.moment)
    return [
        name
        for name, step in found.program.steps.items()
        if step.powered == state
        and begun is not None
        and not any(done >= begun for done in found.history.done.get((name, None), ()))
    ]


def ended_by(found: Assessment, step: str) -> str | None:
    """What is switched off when this step is done: nothing else is left that it is on for."""
    state = found.program.steps[step].powered
    if state is None or found.history.on_since(state, found.view.moment) is None:
        return None
    return state if _unfinished(found, state) == [step] else None


def ending(found: Assessment, step: str) -> str:
    """What `y` says of this step: that it is done, and that what it needed is off again."""
    state = ended_by(found, step)
    off = f", and off again: {found.program.powered[state].spec.title}" if state is not None else ""
    return f"y when it is done{off}"


def state_ended_by_event(found: Assessment, event: str) -> str | None:
    """The powered state whose end an event is."""
    return next((name for name in found.program.powered if event == f"{name}_ended"), None)


def finish_steps(
    session: Session, found: Assessment, event: str, taken: float | None
) -> list[tuple[Line, str]]:
    """Where an event is the end of a powered state, its steps are done: their lines, and what each says.

    `found` is how things stood before the event.
    """
    state = state_ended_by_event(found, event)
    if state is None:
        return []
    words = Wording(found, session.zone())
    return [
        (did(session, found, step, None, taken), f"done by its end: {step_said(words, step, None)}")
        for step in _unfinished(found, state)
    ]
