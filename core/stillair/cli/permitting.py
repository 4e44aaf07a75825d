"""Whether an entry may be made: by whom, in a job that is open, and with permission for what was done."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from stillair.assess import Assessment, May, Permission, RuleState
from stillair.assess.history import events_of
from stillair.condition.core import Ref
from stillair.job import JobError
from stillair.wording import Wording

from . import DONE, NO, STOPPED, Mistake
from .labels import in_order, standing, step_said
from .screen import Screen
from .session import Session

__all__ = [
    "Refusal",
    "answer_code",
    "closed_with",
    "code_of",
    "early",
    "in_charge_only",
    "is_closed",
    "not_permitted",
    "open_only",
    "refusal",
    "safety_stops",
    "say_refusal",
    "steps_of_event",
]


def in_charge_only(session: Session, job: str, what: str) -> None:
    """Mistake unless the entries are by the one the job is with."""
    if session.in_charge is None or session.by == session.in_charge:
        return
    raise Mistake(
        f"the job is with {session.in_charge}: {what} only under that name",
        f"{session.in_charge} hands it over first: stillair handover {job} --to '{session.by}'",
    )


def is_closed(found: Assessment) -> bool:
    """Whether the job was closed, or every checklist of it that was opened."""
    closed, opened = found.history.closed, found.history.opened
    return "" in closed or (bool(opened) and all(name in closed for name in opened))


def closed_with(found: Assessment) -> tuple[float, str] | None:
    """When and with which outcome the job was closed; None if it is open."""
    closed = found.history.closed
    return closed.get("") or max(closed.values()) if is_closed(found) else None


def open_only(session: Session, found: Assessment, job: str) -> None:
    """JobError where the job is closed."""
    end = closed_with(found)
    if end is None:
        return
    at, outcome = end
    raise JobError(
        f"the job was closed at {session.said(at)}: {outcome}",
        help=f"`stillair guide {job} --reopen` opens it again, on the record",
    )


# -- safety stops --------------------------------------------------------------------------------------------


def safety_stops(found: Assessment) -> list[RuleState]:
    """The stops that stand and that only an answer about safety lifts, the one that stops most first."""
    rules = found.program.rules
    return [s for s in standing(found) if rules[s.rule].spec.stop and rules[s.rule].when.safety]


def code_of(found: Assessment) -> int:
    """The exit code of what is next: 3 while a safety stop stands, whatever else may go on."""
    stopped = found.next.kind == "stopped"
    if safety_stops(found) or _overrun(found):
        return STOPPED
    if stopped and any(b.safety for b in found.next.permission.blocked):
        return STOPPED
    return NO if stopped else DONE


def _overrun(found: Assessment) -> bool:
    """Whether something switched on has run over its time, and is not proved off."""
    return any(
        blocked.rule == step.powered
        for name, step in found.program.steps.items()
        if step.powered is not None
        for blocked in found.permission(name).blocked
    )


def answer_code(found: Assessment, answer: Permission) -> int:
    """The exit code of a permission: 0 for yes; else 3 for safety, or while a safety stop stands; else 1."""
    if answer.may is May.YES:
        return DONE
    safety = answer.may is May.NO and any(b.safety for b in answer.blocked)
    return STOPPED if safety or safety_stops(found) else NO


# -- permission ----------------------------------------------------------------------------------------------


class Refusal(NamedTuple):
    """A step that may not be done, with what stands against it and the assessment that says so."""

    words: Wording
    step: str
    member: str | None
    permission: Permission

    @property
    def code(self) -> int:
        """The exit code: stopped for safety, or no."""
        return answer_code(self.words.found, self.permission)

    @property
    def why(self) -> str:
        """What stands against it first, or what is open."""
        blocked = in_order(self.words.program, self.permission.blocked)
        against = [*(each.say for each in blocked), *map(self.words.reason, self.permission.reasons)]
        return next(iter(against), "")


def steps_of_event(found: Assessment, event: str, member: str | None) -> list[Ref]:
    """The steps that an event stands for: those that mark it, or whose powered state begins with it."""
    steps: list[Ref] = []
    for step in found.program.steps.values():
        if event not in events_of(step):
            continue
        if step.per is None:
            steps.append(Ref(step.spec.name))
            continue
        members = found.view.members(step.per)[0]
        steps += [Ref(step.spec.name, m) for m in members if member in (None, m)]
    return steps


def refusal(session: Session, steps: list[Ref], taken: float | None) -> Refusal | None:
    """What stands against every one of these steps, as of when it was done or now; None if nothing does."""
    moments = [session.now()] if taken is None else [taken, session.now()]
    for moment in moments:
        found = session.assess(moment)
        answers = [(step, found.permission(step.name, step.member)) for step in steps]
        if answers and all(answer.may is not May.YES for _, answer in answers):
            step, answer = next((a for a in answers if a[1].may is May.NO), answers[0])
            return Refusal(Wording(found, session.zone()), step.name, step.member, answer)
    return None


def not_permitted(session: Session, found: Assessment, ref: Ref) -> Refusal | None:
    """The step with an activity that observes a fact, where no such step was permitted; else None."""
    refused: Refusal | None = None
    for name, step in found.program.steps.items():
        if ref.name not in step.asks or step.spec.activity is None:
            continue
        member = ref.member if step.per is not None else None
        answer = found.permission(name, member)
        if answer.may is May.YES:
            return None
        refused = refused or Refusal(Wording(found, session.zone()), name, member, answer)
    return refused


def early(session: Session, then: Assessment, after: Assessment, refs: Iterable[Ref]) -> Iterator[str]:
    """The caution for entries of what no step was permitted to observe, neither before them nor with them."""
    told: dict[str, list[str]] = {}
    for ref in refs:
        refused = not_permitted(session, then, ref)
        if refused is not None and not_permitted(session, after, ref) is not None:
            title = step_said(refused.words, refused.step, refused.member)
            told.setdefault(f"“{title}” was not permitted then. {refused.why}", []).append(str(ref))
    yield from (f"{', '.join(refs)}: {said}" for said, refs in told.items())


def say_refusal(screen: Screen, refused: Refusal) -> None:
    """What is refused, why, and what lifts it."""
    words, answer = refused.words, refused.permission
    said = step_said(words, refused.step, refused.member)
    when = words.clock(words.found.at)
    screen.say(f"not kept: {said} may not be done (as of {when})", "STOP: ", bold=True)
    for blocked in in_order(words.program, answer.blocked):
        screen.say(blocked.say, "  because: ")
    for reason in answer.reasons:
        screen.say(words.reason(reason), "  open: ")
    for text in dict.fromkeys(_lifted_by(refused)):
        screen.say(text, "  lifted when: ")


def _lifted_by(refused: Refusal) -> Iterator[str]:
    words, answer = refused.words, refused.permission
    if words.program.steps[refused.step].spec.never is not None:
        yield "never: nothing lifts this"
        return
    for blocked in in_order(words.program, answer.blocked):
        if blocked.lifted_by:
            yield blocked.lifted_by
    for ref in answer.missing:
        yield f"answered: {words.question(ref)} ({words.name(ref)})"
    if answer.may is May.NO:
        from stillair.because import lifting  # only where something is refused: slow to import

        yield from lifting(words, refused.step, refused.member)
