"""Answers that cannot be had: each must lead on, or end with the reason named."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from stillair.assess import Assessment, Program, assess
from stillair.authoring.rehearse import play
from stillair.checklist import Text
from stillair.condition.core import Ref
from stillair.fault import Fault
from stillair.job import Line
from stillair.verdict import Verdict, Why

from .sites import Subject

__all__ = ["leads_nowhere"]

_BEGUN = datetime.fromisoformat("2026-01-05 09:00 +00:00").timestamp()
_NOBODY = "nobody could tell"


def leads_nowhere(
    subject: Subject, program: Program, scenarios: Mapping[str, Mapping[str, Any]]
) -> Iterator[Fault]:
    """A fault for each fact that, when it cannot be had, leaves the guide without a word.

    Tried with all else unknown, and where each scenario ends for what is asked there.
    """
    places = {fact.name: fact.where for checklist in subject.checklists for fact in checklist.facts}
    told: set[str] = set()
    for state, lines, facts in _states(program, scenarios):
        for ref in facts:
            if ref.name in told or ref.name not in places:
                continue
            why = _dead_end(program, lines, ref)
            if why is not None:
                told.add(ref.name)
                yield _fault(places[ref.name], ref, state, why)


def _fault(where: Text, ref: Ref, state: str, why: str) -> Fault:
    message = f"when `{ref}` cannot be had, {why}, {state}"
    help = "guard the step with `count of … >= 1`, or add a rule or a step for who cannot tell"
    return where.fault("SA612", message, help=help)


def _states(
    program: Program, scenarios: Mapping[str, Mapping[str, Any]]
) -> Iterator[tuple[str, list[Line], Iterable[Ref]]]:
    begun = _begun(program)
    yield "with all else unknown", begun, _asked(program, begun)
    for name, scenario in scenarios.items():
        # Whether it comes out as expected is not asked here, so that no trail is made for it.
        lines = play(program, scenario, None).lines
        found = assess(program, lines, lines[-1].taken)
        yield f"where {name} ends", lines, found.next.facts


def _begun(program: Program) -> list[Line]:
    lines: list[Line] = []
    packs = {
        name: {"version": version, "digest": digest} for name, (version, digest) in program.packs.items()
    }
    _add(
        lines,
        _BEGUN,
        "job",
        {"format": "stillair.job/1", "engine": "", "title": "", "packs": packs, "plugins": {}},
    )
    for name in program.checklists:
        _add(lines, _BEGUN, "open", {"checklist": name})
    return lines


def _add(lines: list[Line], at: float, kind: str, body: Mapping[str, Any]) -> None:
    lines.append(Line(len(lines) + 1, kind, at, at, 0, "A. Tech", dict(body)))


def _asked(program: Program, lines: Sequence[Line]) -> Iterator[Ref]:
    """Every fact that some step asks, of one member where it is kept per a list."""
    view = assess(program, lines, _BEGUN).view
    for name in dict.fromkeys(name for step in program.steps.values() for name in step.asks):
        per = program.facts[name].per
        members = [None] if per is None else view.members(per)[0][:1]
        yield from (Ref(name, member) for member in members)


def _dead_end(program: Program, lines: Sequence[Line], ref: Ref) -> str | None:
    """What is wrong once somebody has said that a fact cannot be had; None where it leads on."""
    after = list(lines)
    at = after[-1].taken + 60
    body = {"fact": ref.name, "reason": "cannot be had", "why": _NOBODY}
    _add(after, at, "unavailable", body | ({"of": ref.member} if ref.member else {}))
    found = assess(program, after, at)
    action = found.next
    if action.kind == "ask" and ref in action.facts:
        return "it is asked again at once"
    if action.kind == "stopped":
        permission = action.permission
        assert permission is not None
        said = permission.blocked or permission.missing or permission.reasons
        return None if said else f"`{action.step}` stops and no reason is named"
    if action.kind == "finished":
        passed = next(_passed_over(program, found, ref), None)
        if passed is not None:
            return f"the guide ends and passes over `{passed}`"
    return None


def _passed_over(program: Program, found: Assessment, ref: Ref) -> Iterator[str]:
    """The steps that are not optional and that this answer alone leaves open for ever."""
    for step in program.steps.values():
        if step.spec.optional or step.spec.never is not None or step.when is None or step.per is not None:
            continue
        if found.view.judge(step.when) is Verdict.OPEN and ref in found.view.missing(step.when, {}):
            reasons = found.view.value(ref).reasons
            if any(reason.why is Why.UNAVAILABLE for reason in reasons):
                yield step.spec.name
