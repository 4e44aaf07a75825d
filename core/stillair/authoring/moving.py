"""An open job that goes over to other rules: what comes out otherwise, and what would be loosened by it.

Nothing is loosened in silence. What is not as strict for this job at this moment is named: a stop that stood,
a gate that was closed, a step that is no longer behind one, something switched on whose proof is no longer
asked, a fact that is no longer about safety, an answer a guard rests on that was given to another question.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from stillair.assess import Assessment, May, Program, assess, fold
from stillair.assess.behind import freed, is_gated
from stillair.assess.history import events_of
from stillair.assess.program import Fact, Step
from stillair.assess.uses import guarding
from stillair.condition.core import OptionDomain, Ref
from stillair.job import JSON, Line
from stillair.verdict import Verdict

from .lost import Lost, lost
from .replay import Change, differing

__all__ = ["Moving", "moving"]

UNTOLD = "what stood by the older rules cannot be worked out here"


@dataclass(frozen=True, slots=True)
class Moving:
    """What going over would do; `lines` are the kinds and bodies to be written behind the move."""

    changes: tuple[Change, ...]
    asked: tuple[Ref, ...]
    lost: tuple[Lost, ...]
    loosened: tuple[str, ...]
    lines: tuple[tuple[str, Mapping[str, JSON]], ...]
    after: Assessment


def moving(lines: Sequence[Line], old: Program | None, new: Program, at: float) -> Moving:
    """What going over at a moment would do. `old` is None where the older rules cannot be run here."""
    gone = tuple(lost(lines, old, new))
    written = tuple(_written(lines, gone, new))
    last = lines[-1]
    added = [
        replace(last, n=last.n + 1 + n, kind=kind, body=body, taken=at, entered=at)
        for n, (kind, body) in enumerate(written, 1)
    ]
    after = assess(new, [*lines, *added], at)
    before = assess(old, lines, at) if old is not None else None
    asked = _asked(after)
    if before is not None:
        asked -= _asked(before)
    return Moving(
        tuple(differing(before, after)) if before is not None else (),
        tuple(sorted(ref for ref in asked if not after.history.observations.get((ref.name, ref.member)))),
        gone,
        tuple(_loosened(before, after)) if before is not None else (UNTOLD,),
        written,
        after,
    )


def _asked(found: Assessment) -> set[Ref]:
    return {ref for state in found.steps for ref in state.asks}


def _written(
    lines: Sequence[Line], gone: Sequence[Lost], new: Program
) -> Iterator[tuple[str, dict[str, JSON]]]:
    """What is put in the job behind the move: what is withdrawn, checklists that are gone or new."""
    for each in gone:
        if each.withdrawn:
            yield "correct", {"line": each.line, "why": f"the rules moved to: {each.why}"}
    history = fold(lines, new, float("inf"))
    for name in history.opened:
        if name not in new.checklists and name not in history.closed:
            yield "close", {"checklist": name, "outcome": "not among the rules moved to"}
    for name in new.checklists:
        if name not in history.opened:
            yield "open", {"checklist": name}


# -- what would be loosened ----------------------------------------------------------------------------------


def _loosened(before: Assessment, after: Assessment) -> Iterator[str]:
    """What stood against something under the older rules, and no longer does."""
    yield from _stops(before, after)
    for name in after.program.activities:
        closed = name not in before.program.activities or before.activity(name).may is not May.YES
        if closed and after.activity(name).may is May.YES:
            yield f"the activity {name} was not allowed and now is: {_title(after, name)}"
    for name, step in after.program.steps.items():
        if not is_gated(after.program, name) and not is_gated(before.program, name):
            continue
        for member in _members(after, step):
            if after.permission(name, member).may is May.YES and not _allowed(before, name, member):
                yield f"the step {Ref(name, member)} was not allowed and now is: {step.spec.title or name}"
    for name, gated, shared in freed(before.program, after.program):
        yield f"the step {name} has no gate, and does what {gated} did behind one: {shared}"
    yield from _left_on(before, after)
    yield from _otherwise_meant(before, after)


def _stops(before: Assessment, after: Assessment) -> Iterator[str]:
    """The stops that stood, or that safety kept open, and do so no longer; and those that are gone."""
    now = {(s.rule, s.member): s.verdict for s in after.stops}
    for state in before.stops:
        rule, verdict = before.program.rules[state.rule], now.get((state.rule, state.member))
        name, says = Ref(state.rule, state.member), rule.spec.say or state.rule
        was = {Verdict.HOLDS: "stood", Verdict.OPEN: "was open"}.get(state.verdict, "was there")
        left = {None: "is not among the rules", Verdict.FAILS: "fails"}.get(verdict, "is open")
        stricter = (Verdict.HOLDS, state.verdict) if state.verdict is not Verdict.FAILS else tuple(Verdict)
        if verdict not in stricter and (state.verdict is Verdict.HOLDS or rule.when.safety):
            yield f"the stop {name} {was} and now {left}: {says}"
        kept = after.program.rules.get(state.rule)
        if kept is not None and (state.verdict is Verdict.HOLDS or rule.when.safety):
            stops = {text.text for text in kept.spec.stop}
            free = sorted({t.text for t in rule.spec.stop if t.text in after.program.activities} - stops)
            if free:
                yield f"the stop {name} no longer stops {', '.join(free)}: {says}"


def _title(found: Assessment, activity: str) -> str:
    return found.program.activities[activity].spec.title


def _left_on(before: Assessment, after: Assessment) -> Iterator[str]:
    """What is on under the older rules, and need no longer be proved off, or not by as much."""
    on = [name for name in before.program.powered if before.unproved(name)]
    for name, said in zip(on, before.not_proved_off(), strict=True):
        powered, asked = before.program.powered[name], before.unproved(name)
        now = after.program.powered.get(name)
        still = after.unproved(name) if now is not None else ()
        if now is None or not still:
            yield f"it is no longer asked to be proved off: {said}"
            continue
        gone = [str(ref) for ref in asked if ref not in still]
        if gone:
            yield f"{', '.join(gone)} is no longer asked as proof: {said}"
        masks = dict(now.proof)
        for fact, mask in powered.proof:
            more = _options(after.program, fact, masks.get(fact, 0)) - _options(before.program, fact, mask)
            if more:
                yield f"{fact} is proof now if it is {', '.join(sorted(more))}: {said}"
        if now.at_most > powered.at_most:
            yield f"it may last {now.spec.at_most}, and not {powered.spec.at_most} only: {said}"


def _options(program: Program, fact: str, mask: int) -> set[str]:
    domain = program.facts[fact].domain if mask else None
    return set(domain.of_mask(mask)) if isinstance(domain, OptionDomain) else set()


def _members(found: Assessment, step: Step) -> Sequence[str | None]:
    return [None] if step.per is None else found.view.members(step.per)[0]


def _allowed(found: Assessment, name: str, member: str | None) -> bool:
    step = found.program.steps.get(name)
    if step is None or member not in _members(found, step):
        return False
    return found.permission(name, member).may is May.YES


def _otherwise_meant(before: Assessment, after: Assessment) -> Iterator[str]:
    """Answers that a guard rests on, to other questions; safety dropped; steps that stand for more."""
    told = {name for (name, _), found in after.history.observations.items() if found[-1].value is not None}
    rested = guarding(before.program) | guarding(after.program)
    for name, fact in after.program.facts.items():
        was = before.program.facts.get(name)
        if was is None:
            continue
        if was.spec.safety and not fact.spec.safety:
            yield f"{name} no longer counts as safety: {was.spec.ask}"
        if name in told and name in rested and _asks(was) != _asks(fact):
            yield f"the answer to {name} was given to another question: {was.spec.ask}"
    for name, step in after.program.steps.items():
        known = before.program.steps.get(name)
        more = set(events_of(step)) - set(events_of(known) if known is not None else ())
        if known is not None and more and any(key[0] == name for key in after.history.done):
            yield f"the step {name} was done, and is now taken to mean also: {', '.join(sorted(more))}"


def _asks(fact: Fact) -> tuple[object, ...]:
    labels = fact.domain.labels if isinstance(fact.domain, OptionDomain) else {}
    return fact.spec.ask, dict(labels)
