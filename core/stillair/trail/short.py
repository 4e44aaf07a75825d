"""The job in a few lines for its owner: what stands, what was found, what is open, what is next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from stillair.assess import Finding
from stillair.verdict import Verdict, Why
from stillair.wording import Wording

from .document import Item, Part, Strong, line
from .parts import finding_title, ranked, stop_said
from .prose import prose

__all__ = ["in_short"]

_MOST = 8
"""Lines at most (judgement: what is read at a glance)."""
_STOPS, _NAMES = 2, 6
"""Stops said in words, and names in one line, before the rest is counted."""


def in_short(wording: Wording) -> Part:
    """At most eight lines, without the numbers of entries."""
    before = _stops(wording)
    after = [*_not_reached(wording), *_open(wording), _next(wording)]
    room = _MOST - len(before) - len(after)
    return Part("In short", ((*before, *_found(wording, room), *after),))


def _stops(wording: Wording) -> list[Item]:
    found = wording.found
    rules = wording.program.rules
    holding = dict.fromkeys(stop_said(wording, s) for s in found.stops if s.verdict is Verdict.HOLDS)
    items = [Item(line(Strong("Stop in force:"), " ", said)) for said in list(holding)[:_STOPS]]
    more = len(holding) - _STOPS
    if more > 0:
        items[-1] = Item(line(Strong(f"{more + 1} more stops in force:"), " ", "see Stops and cautions."))
    unknown = any(s.verdict is Verdict.OPEN and rules[s.rule].when.safety for s in found.stops)
    if unknown:
        items.append(Item(line("Not every stop is ruled out: see Stops and cautions.")))
    return items


def _found(wording: Wording, room: int) -> list[Item]:
    """Confirmed and probable findings: the surest of each place first, the rest as far as there is room."""
    sure = [f for f in ranked(wording.found.findings) if f.grade in ("confirmed", "probable")]
    at_places: dict[str | None, Finding] = {}
    for finding in sure:
        if _per(wording, finding) == "place":
            at_places.setdefault(finding.member, finding)
    rest = [f for f in sure if _per(wording, f) != "place"]
    found = [*at_places.values(), *rest]
    if not found:
        return [Item(line("Nothing is confirmed or probable so far."))]
    shown = found if len(found) <= room else found[: room - 1]
    items = []
    for finding in shown:
        assert finding.rule is not None
        said = finding_title(wording, finding, finding.rule)
        grade = "" if finding.grade in said else f" – {finding.grade}"
        items.append(Item(line(Strong(said), f"{grade}.")))
    if len(found) > len(shown):
        more = len(found) - len(shown)
        word = "finding is" if more == 1 else "findings are"
        items.append(Item(line(f"{more} more {word} confirmed or probable: see Findings.")))
    return items


def _per(wording: Wording, finding: Finding) -> str | None:
    return wording.program.rules[wording.program.findings[finding.name][0]].per


def _not_reached(wording: Wording) -> list[Item]:
    names = _places(wording, ("not reached",))
    return [Item(line(Strong("Not reached:"), " ", f"{_listed(names, len(names))}."))] if names else []


def _open(wording: Wording) -> list[Item]:
    """What matters of what is open, in one line for places and one for the rest."""
    found = wording.found
    items = []
    places = _places(wording, ("not looked", "void", "waiting", "disputed"))
    if places:
        items.append(Item(line(Strong("No result yet:"), " ", f"{_listed(places, _NAMES)}.")))
    said: list[str] = []
    for name in wording.program.activities:
        for reason in found.activity(name).reasons:
            if reason.why is Why.LATER and reason.about in wording.program.powered:
                said.append(reason.text)
    doubted = len(found.suspicions)
    if doubted:
        said.append(f"{doubted} {'entry is' if doubted == 1 else 'entries are'} in doubt")
    weighty = {"confirmed", "probable"}
    for finding in found.findings:
        if finding.grade == "open" and weighty & set(finding.grades) and _per(wording, finding) != "place":
            said.append(finding.name.replace("_", " "))
    if said:
        items.append(Item(line(Strong("Still open:"), " ", f"{_listed(said, _NAMES)}.")))
    return items


def _places(wording: Wording, wanted: Sequence[str]) -> list[str]:
    places = wording.program.places
    return [places[p.place].spec.title for p in wording.found.places if p.status in wanted]


def _listed(names: Iterable[str], most: int) -> str:
    known = list(dict.fromkeys(names))
    more = len(known) - most
    return "; ".join(known[:most]) + (f"; and {more} more" if more > 0 else "")


def _next(wording: Wording) -> Item:
    found = wording.found
    closed = found.history.closed.get("")
    if closed is not None:
        return Item(line(Strong("The job is closed:"), " ", closed[1]))
    action = found.next
    step = wording.program.steps.get(action.step or "")
    title = prose(step.spec.title) if step is not None else "settle the entry in doubt"
    label = wording.member(step.per, action.member) if step is not None else ""
    said = f"{label}: {title}" if label else title
    match action.kind:
        case "finished":
            return Item(line("Nothing is left to do in the open checklists; the job is not closed."))
        case "stopped":
            return Item(line(Strong("Stopped before:"), " ", f"{said}."))
        case "wait":
            return Item(line(Strong("Waiting:"), " ", f"{said}."))
    return Item(line(Strong("Next:"), " ", f"{said}."))
