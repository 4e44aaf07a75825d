"""Held together when a pack moves under a company's adjustments: the old pack, the new one, and theirs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from stillair import quantity
from stillair.assess import Program
from stillair.assess.adjusting import is_looser
from stillair.checklist import Adjusting, FactSpec, LimitChange, Text
from stillair.wording import duration, exact

__all__ = ["Standing", "standings"]


class Standing(NamedTuple):
    """One adjustment: what the pack had, what it has now, what the company has, and what is stale of it."""

    kind: str
    name: str
    was: str | None
    now: str | None
    theirs: str
    stale: str | None


def standings(adjusts: Adjusting, old: Program, new: Program) -> Iterator[Standing]:
    """How each adjustment made for the old pack stands with the new one."""
    for name, change in adjusts.limits:
        yield _limit(name, change, old, new)
    for name, life in adjusts.good_for:
        yield _life(name, life, old, new)
    for name, note in adjusts.notes:
        yield _words("note", name.text, "how", note, old, new)
    for name, what in adjusts.photos:
        there = new.steps.get(name.text)
        stale = None if there is not None else "the step is gone"
        was, now = (p.steps[name.text].spec.title if name.text in p.steps else None for p in (old, new))
        yield Standing("photo", name.text, was, now, what, stale)
    for name, said in adjusts.wording:
        for key, words in said:
            yield _words("wording", name.text, key.text, words, old, new)


def _limit(name: Text, change: LimitChange, old: Program, new: Program) -> Standing:
    was, now = (program.limits.get(name.text) for program in (old, new))
    before = exact(was.value, was.unit) if was is not None else None
    if now is None:
        return Standing("limit", name.text, before, None, change.value.text, "the limit is gone")
    after = exact(now.value, now.unit)
    dimension = now.unit.dimension
    stale = None
    try:
        value = quantity.read(change.value.text, dimension, default=now.unit).value
    except quantity.QuantityError as error:
        return Standing("limit", name.text, before, after, change.value.text, str(error))
    between = now.spec.between
    bounds = sorted(quantity.read(t.text, dimension, default=now.unit).value for t in between or ())
    if not bounds or not bounds[0] <= value <= bounds[1]:
        stale = (
            f"outside the bounds it has now, {between[0]} .. {between[1]}"
            if between
            else "it has no bounds now"
        )
    elif value == now.value:
        stale = "the pack now says the same"
    elif is_looser(now, value) and not (was is not None and is_looser(was, value)):
        stale = "looser than the pack now, and it was not before"
    elif was is not None and was.value != now.value:
        stale = "the pack has moved under it"
    elif was is not None and was.spec.safer != now.spec.safer:
        stale = f"the safer direction was {was.spec.safer} and is {now.spec.safer}"
    return Standing("limit", name.text, before, after, change.value.text, stale)


def _life(name: Text, life: Text, old: Program, new: Program) -> Standing:
    def said(program: Program) -> tuple[bool, float | None, str | None]:
        fact = program.facts.get(name.text)
        good_for = fact.good_for if fact is not None else None
        return fact is not None, good_for, None if good_for is None else duration(good_for)

    (_, _, before), (there, good_for, after) = said(old), said(new)
    stale = None
    try:
        theirs = quantity.read(life.text, quantity.DIMENSIONS["duration"]).value
    except quantity.QuantityError as error:
        return Standing("good for", name.text, before, after, life.text, str(error))
    if not there:
        stale = "the fact is gone"
    elif good_for is not None and theirs >= good_for:
        stale = "the pack's own is as short now"
    elif before != after:
        stale = "the pack has moved under it"
    return Standing("good for", name.text, before, after, life.text, stale)


def _words(kind: str, name: str, key: str, theirs: str, old: Program, new: Program) -> Standing:
    was, now = (_said(program, name, key) for program in (old, new))
    stale = None
    if now is None and not _is_there(new, name):
        stale = "what it is about is gone"
    elif was != now:
        stale = "the pack says something else now"
    elif name in old.facts and name in new.facts:
        before, after = (_seen(program.facts[name].spec) for program in (old, new))
        changed = [each for each in before if before[each] != after[each]]
        if changed:
            was, now = ("; ".join(f"{each} {seen[each]}" for each in changed) for seen in (before, after))
            stale = f"the pack has changed its {', '.join(changed)}"
    return Standing(kind, name, was, now, theirs, stale)


def _seen(spec: FactSpec) -> dict[str, str]:
    """All that a fact says to whoever writes a note on it, in words."""
    listed = {
        "question": spec.ask,
        "kind": spec.kind,
        "answers": [f"{option.name} ({option.label})" for option in spec.options],
        "catalogue": spec.catalogue,
        "quantity": spec.quantity,
        "range": " .. ".join(text.text for text in spec.between or ()),
        "unit": spec.unit,
        "tolerance": spec.tolerance,
        "instrument": spec.read_with,
        "nature": spec.nature,
        "list": spec.per,
        "safety": spec.safety,
        "life": spec.good_for,
        "void after": [text.text for text in spec.void_after],
        "counts when": spec.counts_when and spec.counts_when.condition,
        "why": spec.why,
        "how": spec.how,
        "caution": spec.caution,
    }
    return {
        name: " ".join((", ".join(said) if isinstance(said, list) else str(said or "none")).split())
        for name, said in listed.items()
    }


def _is_there(program: Program, name: str) -> bool:
    return name in program.facts or name in program.steps or name in program.rules


def _said(program: Program, name: str, key: str) -> str | None:
    """What a fact, step or rule says under a key."""
    tables: tuple[Any, ...] = (program.facts, program.steps, program.rules)
    found = next((table[name] for table in tables if name in table), None)
    return None if found is None else getattr(found.spec, key, None)
