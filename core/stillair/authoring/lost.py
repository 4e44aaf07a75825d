"""The entries of a job that other rules have no place for, and those they would read as something else."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from stillair.assess import Program
from stillair.assess.history import corrections
from stillair.assess.program import Fact
from stillair.condition.core import NumberDomain, OptionDomain
from stillair.job import JSON, Line
from stillair.quantity import QuantityError, find_unit

__all__ = ["Lost", "fitting", "lost"]


class Lost(NamedTuple):
    """An entry that newer rules have no place for; `withdrawn` if they would read it as something else."""

    line: int
    what: str
    why: str
    withdrawn: bool


def lost(lines: Sequence[Line], old: Program | None, new: Program) -> Iterator[Lost]:
    """The standing entries that the newer rules have no place for."""
    standing = corrections(lines)
    for line in lines:
        kind, body = line.kind, line.body
        correction = standing.get(line.n)
        if correction is not None:
            given = correction.body.get("body")
            if not isinstance(given, Mapping):
                continue
            kind, body = ("observe" if "value" in given else kind), given
        found = _misplaced(kind, body, old, new)
        if found is not None:
            yield Lost(line.n, *found)


def fitting(lines: Sequence[Line], new: Program, old: Program | None = None) -> list[Line]:
    """The lines without those whose values the newer rules would read as something else."""
    out = {each.line for each in lost(lines, old, new) if each.withdrawn}
    return [
        line
        for line in lines
        if line.n not in out and not (line.kind == "correct" and line.body["line"] in out)
    ]


def _misplaced(
    kind: str, body: Mapping[str, JSON], old: Program | None, new: Program
) -> tuple[str, str, bool] | None:
    of = f" of {body['of']}" if "of" in body else ""
    match kind:
        case "observe" | "unavailable":
            name = str(body["fact"])
            fact = new.facts.get(name)
            if fact is None:
                return f"{name}{of}", "no such fact", False
            if fact.per == "place" and "of" in body and str(body["of"]) not in new.places:
                return f"{name}{of}", "no such place", False
            why = _misfit(fact, old.facts.get(name) if old is not None else None, kind, body)
            return (f"{name}{of}", why, True) if why is not None else None
        case "event":
            name = str(body["event"])
            if name not in new.events:
                return f"{name}{of}", "no such event", False
            if (new.symbols[name].per is None) != ("of" not in body):
                return f"{name}{of}", "the event is kept for other members", False
        case "done" | "skip":
            if str(body["step"]) not in new.steps:
                return f"{body['step']}{of}", "no such step", False
        case "member" | "listed":
            if str(body["list"]) not in new.lists:
                return f"the list {body['list']}", "no such list", False
        case "instrument":
            name = str(body["kind"])
            before = old.kinds.get(name) if old is not None else None
            if name not in new.kinds:
                return f"instrument {body.get('serial', '')}", f"no instrument is called {name}", True
            if before is not None and before.dimension != new.kinds[name].dimension:
                return f"instrument {body.get('serial', '')}", f"{name} reads something else", True
    return None


def _misfit(fact: Fact, before: Fact | None, kind: str, body: Mapping[str, JSON]) -> str | None:
    """Why a value is none of those that a fact may take; None where it fits."""
    if (fact.per is None) != ("of" not in body) or (before is not None and before.per != fact.per):
        return "the fact is kept for other members"
    if kind == "unavailable" or "value" not in body:
        return None
    value, domain = body["value"], fact.domain
    if isinstance(domain, OptionDomain):
        value = "present" if value is True else value
        return None if value in domain.names else f"{body.get('read', value)} is no answer to it"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "it is a number there"
    if _dimension(before, body, domain) != domain.dimension.name:
        return "it is a number of another kind there"
    if not domain.low <= value <= domain.high:
        return f"{body.get('read', value)} lies outside its range"
    return None


def _dimension(before: Fact | None, body: Mapping[str, JSON], domain: NumberDomain) -> str | None:
    """The dimension a number was read in: that of the older fact, else as far as its unit tells."""
    if before is not None:
        return before.domain.dimension.name if isinstance(before.domain, NumberDomain) else None
    if "unit" not in body:
        return domain.dimension.name
    try:
        return find_unit(str(body["unit"]), domain.dimension).dimension.name
    except QuantityError:
        return None
