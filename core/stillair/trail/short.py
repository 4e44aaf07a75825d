"""The job in a few lines for its owner: what stands, what was found, what is open, what is next."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from stillair.assess import Finding
from stillair.condition import core
from stillair.margin import deciders_of_rule
from stillair.verdict import Verdict, Why
from stillair.wording import Wording

from .aged import open_findings
from .document import Code, Item, Line, Part, Strong, line
from .findings import about_places, finding_said, finding_title, ranked
from .prose import prose
from .stops import in_force, parted, stop_said

__all__ = ["in_short"]

_MOST = 8
"""Lines at most (judgement: what is read at a glance)."""
_STOPS, _NAMES = 2, 6
"""Stops said in words, and names in one line, before the rest is counted."""
_GRADES = ("confirmed", "probable", "suspected")


def in_short(wording: Wording) -> Part:
    """At most eight lines, without the numbers of entries."""
    before = _stops(wording)
    after = [*_not_reached(wording), *_open(wording), _next(wording)]
    room = _MOST - len(before) - len(after)
    return Part("In short", ((*before, *_found(wording, room), *after),))


def _stops(wording: Wording) -> list[Item]:
    holding = list(dict.fromkeys(stop_said(wording, s) for s in in_force(wording)))
    items = [Item(line(Strong("Stop in force:"), " ", said)) for said in holding[:_STOPS]]
    more = len(holding) - _STOPS
    if more > 0:
        items[-1] = Item(line(Strong(f"{more + 1} more stops in force:"), " ", "see Stops and cautions."))
    unknown, later = parted(wording)
    if unknown:
        items.append(Item(line("Not every stop is ruled out: see Stops and cautions.")))
    due = " of work that is due" if later else ""
    none = f"No stop is in force, and every stop{due} that rests on safety is ruled out."
    return items or [Item(line(none))]


# -- what was found ------------------------------------------------------------------------------------------


def _found(wording: Wording, room: int) -> list[Item]:
    """What was found at places, surest first, then what was measured; the rest is counted."""
    places, measured = _at_places(wording), _measured(wording)
    if not places and not any(f.grade == "not_found" for f in measured):
        places = [line("Nothing has been found at any place so far.")]
    told = [*places, *(_with_margin(wording, finding) for finding in measured)]
    shown = told if len(told) <= room else told[: room - 1]
    items = [Item(said) for said in shown]
    if len(told) > len(shown):
        items.append(Item(line(f"{len(told) - len(shown)} more of this kind: see Findings.")))
    return items


def _at_places(wording: Wording) -> list[Line]:
    """The surest finding of each place, the places with the same one in one line."""
    groups: dict[tuple[str, str], list[str]] = {}
    for place, found in about_places(wording).items():
        key = (found[0].grade, finding_said(wording, found[0]))
        groups.setdefault(key, []).append(wording.member("place", place))
    told = []
    for grade in _GRADES:
        for (each, said), where in groups.items():
            if each == grade:
                named = "" if grade in said.casefold() else f" – {grade}"
                told.append(line(Strong(f"{_listed(where, _NAMES)}:"), f" {said}{named}."))
    return told


def _measured(wording: Wording) -> list[Finding]:
    """Findings about no place that a reading with a tolerance decides, and what was said of all places.

    One that only leads to another that is told is left to it.
    """
    rules = wording.program.rules
    found = [
        f
        for f in ranked(wording.found.findings)
        if f.rule is not None
        and rules[f.rule].per != "place"
        and ((f.grade in _GRADES and _margin(wording, f)) or _of_all_places(wording, f))
    ]
    rests_on = {name for f in found if f.rule is not None for name in rules[f.rule].when.mentions}
    return [f for f in found if f.name not in rests_on]


def _with_margin(wording: Wording, finding: Finding) -> Line:
    margin = _margin(wording, finding)
    end = (": ", Code(margin), " at 95 %.") if margin else (".",)
    said = Strong(finding_title(wording, finding))
    return line(said, f" – {finding.grade.replace('_', ' ')}", *end)


def _margin(wording: Wording, finding: Finding) -> str:
    """The test of a reading that decides a finding with least to spare, without its entries."""
    assert finding.rule is not None
    tests = [
        each
        for each in deciders_of_rule(wording, finding.rule, finding.member)
        if " ± " in each.says and each.verdict is Verdict.HOLDS
    ]
    if not tests:
        return ""
    return re.sub(r" \(lines? [^)]*\)", "", min(tests, key=lambda each: each.ease).says)


def _of_all_places(wording: Wording, finding: Finding) -> bool:
    """Whether a finding is about every place at once."""
    assert finding.rule is not None
    derived = (
        wording.program.derived.get(ref.name) for ref, _ in wording.program.rules[finding.rule].when.slots
    )
    return any(isinstance(each, core.Each) and each.list == "place" for each in derived)


# -- what is open --------------------------------------------------------------------------------------------


def _not_reached(wording: Wording) -> list[Item]:
    names = _places(wording, ("not reached",))
    return [Item(line(Strong("Not reached:"), " ", f"{_listed(names, len(names))}."))] if names else []


def _open(wording: Wording) -> list[Item]:
    """What matters of what is open, in one line for places and one for the rest."""
    found = wording.found
    items = []
    places = [
        f"{title} ({state})" if state != "not looked" else title
        for state in ("void", "disputed", "waiting", "not looked")
        for title in _places(wording, (state,))
    ]
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
    for finding in open_findings(wording):
        per = wording.program.rules[wording.program.findings[finding.name][0]].per
        if weighty & set(finding.grades) and per != "place":
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
