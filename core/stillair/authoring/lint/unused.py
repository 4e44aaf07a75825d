"""Names that nothing uses, and questions whose answer changes nothing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from stillair.checklist import NAMED_IN, Checklist, FactSpec, RuleSpec, Text
from stillair.fault import Fault

from .sites import Subject

__all__ = ["unused"]

_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
_RECORD = ("text", "photo", "signature")
"""Kinds of a fact that are the record themselves."""
_SECTIONS = (
    "lists", "instruments", "facts", "events", "limits", "calculations", "activities", "waits", "steps",
    "powered", "rules", "places", "set_ups", "checks", "clues", "balances", "impossible", "suspect",
)  # fmt: skip


class Use(NamedTuple):
    """Where a name is used: the field, and the name of what has it."""

    field: str
    owner: str


def unused(subject: Subject) -> Iterator[Fault]:
    """A fault for each name that nothing uses, and for each question that nothing rests on."""
    uses: dict[str, set[Use]] = {}
    for checklist in subject.checklists:
        for name, use in _uses(checklist):
            if name != use.owner:
                uses.setdefault(name, set()).add(use)
    for checklist in subject.checklists:
        for kind, where in _declared(checklist):
            if where.text not in uses:
                message = f"the {kind} `{where}` is declared and nothing uses it"
                yield where.fault("SA601", message, help="use it, or remove it")
        for fact in checklist.facts:
            found = uses.get(fact.name, set())
            if {use.field for use in found} == {"ask"} and not _is_record(subject, fact):
                message = f"the answer to `{fact.name}` changes nothing"
                help = "let something rest on it, or say `for the record: true`"
                yield fact.where.fault("SA606", message, help=help)


def _is_record(subject: Subject, fact: FactSpec) -> bool:
    return fact.for_the_record or fact.kind in _RECORD or fact.due or fact.name == subject.program.look


def _declared(checklist: Checklist) -> Iterator[tuple[str, Text]]:
    for kind, specs in (
        ("list", checklist.lists),
        ("instrument", checklist.instruments),
        ("fact", checklist.facts),
        ("event", checklist.events),
        ("limit", checklist.limits),
        ("activity", checklist.activities),
        ("wait", checklist.waits),
    ):
        for spec in specs:
            yield kind, spec.where
    for name, _ in checklist.conditions:
        yield "condition", name


def _uses(checklist: Checklist) -> Iterator[tuple[str, Use]]:
    """Every word of every condition, expression and reference, with its use."""
    for name, said in checklist.conditions:
        yield from ((word, Use("is", name.text)) for word in _WORD.findall(said.text))
    for way, said in checklist.ways:
        yield from ((word, Use("order", way)) for word in _WORD.findall(said.text))
    for group in checklist.groups:
        if group.within is not None:
            yield from ((word, Use("within", group.name)) for word in _WORD.findall(group.within.text))
    for group_of_bands, bands in checklist.bands:
        for _, said in bands:
            yield from ((word, Use("bands", group_of_bands)) for word in _WORD.findall(said.text))
    if checklist.search is not None:
        yield from ((word, Use("search", "")) for value in checklist.search for word in _words(value))
        for better in checklist.search.better:
            yield from ((word, Use("better", "")) for word in NAMED_IN.findall(better.say))
    for section in _SECTIONS:
        for spec in getattr(checklist, section):
            owner = getattr(spec, "name", "")
            for field, value in zip(spec._fields, spec, strict=True):
                if field not in ("where", "finding", "options", "members"):
                    yield from ((word, Use(field, owner)) for word in _words(value))
            if isinstance(spec, RuleSpec) and spec.owner is not None:
                for told in (spec.owner.say, spec.owner.open or ""):
                    yield from ((word, Use("owner", owner)) for word in NAMED_IN.findall(told))


def _words(value: object) -> Iterator[str]:
    """The words of a text, or of the texts in a record or a list."""
    if isinstance(value, Text):
        yield from _WORD.findall(value.text)
    elif isinstance(value, tuple):
        for each in value:
            yield from _words(each)
