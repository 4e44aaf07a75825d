"""What is done behind a gate only, and which steps do the same with nothing, or with less, before it."""

from __future__ import annotations

from collections.abc import Container, Iterator
from typing import NamedTuple

from stillair.condition import core
from stillair.condition.core import Condition

from .history import events_of
from .program import Cond, Program, Step
from .strict import Compared

__all__ = ["Freed", "freed", "is_gated", "weaker"]


class Freed(NamedTuple):
    """A step that does what another does behind a gate only: what they share, in words."""

    step: str
    gated: str
    shared: str


def is_gated(program: Program, name: str) -> bool:
    """Whether more than its place in the order of work stands before a step."""
    step = program.steps.get(name)
    if step is None:
        return False
    spec = step.spec
    if step.per == "place" and any(place.spec.activity for place in program.places.values()):
        return True
    return bool(spec.activity or spec.never or step.gate is not None or step.powered is not None)


def freed(old: Program, new: Program) -> Iterator[Freed]:
    """Steps with nothing before them that do what was done behind a gate only, as under another name."""
    free = _free(old)
    for name, step in new.steps.items():
        known = old.steps.get(name)
        if is_gated(new, name) or (known is not None and is_gated(old, name)):
            continue
        gained = _doings(step) - (_doings(known) if known is not None else set()) - free
        for gated, was in old.steps.items():
            shared = gained & _doings(was)
            if shared and is_gated(old, gated):
                yield Freed(name, gated, ", ".join(sorted(shared)))


def weaker(old: Program, new: Program, names: Container[str]) -> Iterator[Freed]:
    """The steps among these, each behind a gate, that do what was done behind gates only, where theirs is
    not shown to be as strict as one of those.
    """
    compared, free = Compared(old, new), _free(old)
    for name, step in new.steps.items():
        if name not in names or not is_gated(new, name) or step.spec.never is not None:
            continue
        for doing in sorted(_doings(step) - free):
            gated = [each for each, was in old.steps.items() if doing in _doings(was)]
            if gated and not any(_as_strict(compared, old.steps[each], step) for each in gated):
                yield Freed(name, gated[0], doing)


def _free(program: Program) -> set[str]:
    return {
        doing
        for name, step in program.steps.items()
        if not is_gated(program, name)
        for doing in _doings(step)
    }


def _doings(step: Step) -> set[str]:
    """What a step asks, marks and says to do, in words."""
    asks = {f"asks {name}" for name in step.asks}
    said = {" ".join(text.split()) for text in (step.spec.title, step.spec.do) if text}
    return asks | {f"marks {name}" for name in events_of(step)} | {f"“{text}”" for text in said}


def _as_strict(compared: Compared, was: Step, now: Step) -> bool:
    """Whether all that stands before one step stands before the other too. What it must be `when` counts for
    the new one alone: a step that is not wanted may not be done.
    """
    old, new = compared.old, compared.new
    if was.powered is not None or was.spec.never is not None or was.per not in (None, now.per):
        return False
    before, after = (step.spec.activity.text if step.spec.activity else None for step in (was, now))
    if before is None and was.per == "place" and after is not None:
        return False  # Each place has an activity of its own.
    if before is not None and (after is None or not _stops(old, before) <= _stops(new, after)):
        return False
    gates = [was.gate, old.activities[before].gate if before is not None else None]
    held = [now.gate, now.when, new.activities[after].gate if after is not None else None]
    parts = list(_parts(held))
    return all(any(_follows(compared, wanted, part) for part in parts) for wanted in _parts(gates))


def _stops(program: Program, activity: str) -> set[str]:
    rules = program.rules.items()
    return {name for name, rule in rules if activity in {text.text for text in rule.spec.stop}}


def _parts(conds: list[Cond | None]) -> Iterator[Condition]:
    """What must hold, part by part; what always does is nothing."""
    waiting = [cond.checked for cond in conds if cond is not None]
    for each in waiting:
        if isinstance(each, core.All):
            waiting += each.parts
        elif not (isinstance(each, core.Truth) and each.value):
            yield each


def _follows(compared: Compared, wanted: Condition, part: Condition) -> bool:
    """Whether one condition holds wherever the other does."""
    match wanted, part:
        case core.Test(), core.Test() if wanted.ref == part.ref and compared.same(wanted.ref.name):
            return not part.sure & ~wanted.sure
    return not any(True for _ in compared.looser(wanted, part, narrow=True))
