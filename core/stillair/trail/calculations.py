"""Calculations with the numbers put in, the formulas behind them, and the limits in force."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from stillair.checklist import LimitSpec
from stillair.condition.core import Ref
from stillair.wording import Wording, exact
from stillair.working import Working, working

from .document import Code, Item, Part, Piece, Strong, line
from .prose import prose
from .reason import items, lines_said

__all__ = ["calculations", "limits", "set_by_said"]


def calculations(wording: Wording) -> Part | None:
    """Each calculation with its tolerance; then formulas, ranges and sources, each once."""
    found = []
    told: list[Working] = []
    view = wording.found.view
    entered = {fact for fact, _ in view.history.observations}
    idle = []
    for name, (formula, per, about) in wording.program.calculations.items():
        facts = wording.program.supports.get(name, frozenset()) & wording.program.facts.keys()
        if facts and not facts & entered:
            idle.append(Code(name))
            continue
        members: Sequence[str | None] = [None] if per is None else view.members(per)[0]
        for member in members:
            ref = Ref(name, member)
            done = working(wording, view, formula, ref, wording.name(ref))
            told.append(done)
            found.append(_calculation(wording, done, about))
    if idle:
        first, *others = idle
        more = [piece for code in others for piece in (", ", code)]
        found.append(Item(line("Nothing was entered that these rest on: ", first, *more, ".")))
    if not found:
        return None
    behind = items(_calculators(wording, told))
    if not behind:
        return Part("Calculations", (items(found),))
    return Part("Calculations", (items(found), line(Strong("What they are made with:")), behind))


def _calculators(wording: Wording, told: Sequence[Working]) -> Iterator[Item]:
    """Each formula used, with the range it is valid in and its sources."""
    formulas = dict.fromkeys(text for done in told for text in done.formulas)
    valid = dict(text.split(": ", 1) for done in told for text in done.valid)
    for text in formulas:
        name = text.split(": ", 1)[0]
        under = [Item(line("Valid: ", Code(valid[name])))] if name in valid else []
        calculator = wording.program.calculators.get(name)
        sources = calculator.sources if calculator is not None else ()
        under += [Item(line("Source: ", prose(source.text))) for source in sources]
        yield Item(line("Formula: ", Code(text)), tuple(under))


def _calculation(wording: Wording, done: Working, about: str | None) -> Item:
    under = [Item(line(prose(about)))] if about else []
    under += [Item(line(Code(step))) for step in done.steps]
    if done.doubt:
        under.append(Item(line(Code(done.doubt), " at 95 %")))
    if done.number.undefined or done.reasons:
        reasons = list(dict.fromkeys(wording.reason(r) for r in done.reasons))
        word = "Not known: " if done.number.undefined else "Not settled: "
        under.append(Item(line(word), items(Item(line(reason)) for reason in reasons)))
    if done.number.lines:
        under.append(Item(line(f"Rests on {lines_said(done.number.lines)}.")))
    return Item(line(Code(f"{done.result}"), " – ", Code(done.expression)), tuple(under))


def set_by_said(spec: LimitSpec) -> Iterator[Piece]:
    """Who set a limit to another value, from what, and, where that is looser, why and until when."""
    assert spec.set_by is not None
    said = spec.set_by
    yield f"{prose(said.company)}, from {said.was} to {spec.value}"
    if said.looser:
        yield ", "
        yield Strong("looser")
        yield f". Allowed by {prose(said.who)} until {said.until}: {prose(said.why)}"


def limits(wording: Wording) -> Part | None:
    """Each limit in force with its value, how far it may be set, and where it comes from."""
    found = []
    for limit in wording.program.limits.values():
        spec = limit.spec
        range_ = f", may be set from {spec.between[0]} to {spec.between[1]}" if spec.between else ""
        safer = f", safer: {spec.safer}" if spec.safer != "neither" else ""
        value = exact(limit.value, limit.unit, wording.zone)
        under = [Item(line(prose(spec.about)))] if spec.about else []
        under.append(Item(line("Source: ", prose(spec.source))))
        if spec.set_by is not None:
            under.append(Item(line(Strong("Set by the company:"), " ", *set_by_said(spec))))
        found.append(Item(line(Code(f"{spec.name} = {value}"), f"{range_}{safer}"), tuple(under)))
    return Part("Limits in force", (items(found),)) if found else None
