"""What a published pack tells its reader: a source for every figure and rule, a word of caution in time."""

from __future__ import annotations

from collections.abc import Iterator

from stillair.checklist import Text
from stillair.fault import Fault

from .sites import Subject

__all__ = ["untold"]

_NONE = frozenset(
    (
        "",
        "?",
        "-",
        "none",
        "n/a",
        "na",
        "todo",
        "to do",
        "tbd",
        "to be done",
        "fixme",
        "xxx",
        "unknown",
        "source",
    )
)
"""What stands for a source and names none."""


def untold(subject: Subject) -> Iterator[Fault]:
    """A fault for each rule, limit or instrument without a source, and each safety fact without a caution."""
    for checklist in subject.checklists:
        for kind, specs in (
            ("limit", checklist.limits),
            ("rule", checklist.rules),
            ("instrument", checklist.instruments),
        ):
            for spec in specs:
                yield from _unsourced(kind, spec.where, spec.source)
    yield from _without_caution(subject)


def _unsourced(kind: str, where: Text, source: str | None) -> Iterator[Fault]:
    help = "name document, table and year; or say `common practice`, `judgement` or `from memory`"
    if source is None:
        yield where.fault("SA610", f"the {kind} `{where}` has no source", help=help)
    elif source.strip(" .").casefold() in _NONE:
        yield where.fault("SA610", f"`{source}` is no source, in the {kind} `{where}`", help=help)


def _without_caution(subject: Subject) -> Iterator[Fault]:
    program = subject.program
    warned: set[str] = set()
    for rule in program.rules.values():
        if rule.spec.stop or rule.spec.caution is not None:
            warned |= rule.when.mentions
    for checklist in subject.checklists:
        for step in checklist.steps:
            activity = None if step.activity is None else program.activities[step.activity.text]
            if step.caution is not None or (activity is not None and activity.spec.caution is not None):
                continue
            for text in step.ask:
                fact = program.facts[text.text].spec
                if fact.safety and fact.caution is None and fact.name not in warned:
                    message = f"the safety fact `{text}` is asked without a caution"
                    help = "add `caution` to the fact, the step or its activity, or a rule that stops"
                    yield text.fault("SA611", message, help=help)
