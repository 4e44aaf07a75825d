"""The letter to the owner: one page in plain words, from the same assessment as the trail."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import tzinfo

from stillair.assess import Assessment
from stillair.checklist import NAMED_IN
from stillair.condition.core import Ref
from stillair.job import Line as Entry
from stillair.verdict import Reason, Verdict, Why
from stillair.wording import Wording, day, plainly

from .ahead import due, left_open, not_reached
from .document import Document, Item, Part, line
from .prose import prose
from .reason import items
from .stops import in_force, stop_said

__all__ = ["DOUBTS", "letter"]

#: What each reason of doubt is called in the letter.
DOUBTS: Mapping[Why, str] = {
    Why.NOT_ASKED: "nobody has looked yet",
    Why.UNAVAILABLE: "it could not be found out",
    Why.STALE: "it was seen too long ago, or something has changed since",
    Why.DISPUTED: "two notes about it do not agree",
    Why.CLOSE: "the reading was too near the limit to tell",
    Why.OUTSIDE: "it lies outside what can be worked out",
    Why.OPEN_LIST: "the list it goes by may not be complete",
    Why.NONE: "there was nothing of the kind to look at",
    Why.LATER: "a check that must follow has not been made yet",
    Why.VOID: "what was seen does not count, for the conditions were not right",
    Why.UNWATCHED: "nobody watched the whole time",
    Why.NOT_YET: "it has not happened yet",
}
_TITLES = {
    "found": "What we found",
    "done": "What we did",
    "not checked": "What we could not check, and what is not certain",
    "choice": "Your choices",
    "next": "What comes next",
    "safety": "For your safety",
}
_MOST = 6
"""Sentences in one part before the rest is counted (judgement: one page)."""


def letter(found: Assessment, lines: Sequence[Entry], zone: tzinfo) -> Document:
    """The letter as a document. It names no instrument, and repeats nothing that is personal."""
    wording = Wording(found, zone)
    told: dict[str, list[str]] = {part: [] for part in _TITLES}
    for part, said in _told(wording):
        if said not in told[part]:
            told[part].append(said)
    told["not checked"] += [f"We could not reach this place: {name}." for name in not_reached(wording)]
    told["next"] += [f"We look at it again on {day(at, zone)}." for at in due(wording)]
    told["next"] += [f"Still to be done: {text}" for text in left_open(wording)]
    told["safety"] += [f"Not to be done now: {said}" for said in dict.fromkeys(_stops(wording))]
    parts = [Part("About this letter", (line(_days(lines, zone)), line(_WHAT_IT_IS)))]
    for part, title in _TITLES.items():
        if told[part]:
            parts.append(Part(title, (items(_shortened(told[part])),)))
    parts.append(Part("Whose word counts", tuple(line(text) for text in _LAST_WORD)))
    return Document("For the owner", tuple(parts))


_WHAT_IT_IS = (
    "It says in plain words what was found and done. The whole record, with every reading, is kept beside it "
    "and can be asked for."
)
_LAST_WORD = (
    "This letter is no permit, no inspection and no certificate. It does not say that anything complies with "
    "a code. Local law, the authority having jurisdiction and the equipment maker's instructions come first. "
    "The stricter rule applies.",
    "Such work is for people who hold the licence for it. If you smell gas or "
    "burning, or an alarm sounds, leave, work no switch, and call the emergency number from outside.",
)


def _told(wording: Wording) -> Iterator[tuple[str, str]]:
    """What the rules tell: one that holds its sentence, one that is open what is not known."""
    for state in wording.found.rules:
        rule = wording.program.rules[state.rule]
        owner = rule.spec.owner
        if owner is None:
            continue
        where = wording.member(rule.per, state.member) if state.member is not None else ""
        lead = f"{where}: " if where else ""
        finding = rule.spec.finding
        if finding is not None and state.verdict is Verdict.HOLDS:
            surest = wording.found.finding(finding.text, state.member).rule
            if surest != state.rule and wording.program.rules[surest or state.rule].spec.owner is not None:
                continue  # the same is told with more certainty
        if state.verdict is Verdict.HOLDS:
            yield owner.part, lead + _filled(wording, prose(owner.say))
        elif state.verdict is Verdict.OPEN and owner.open is not None:
            said = _filled(wording, prose(owner.open))
            yield "not checked", f"{lead}We cannot say yet {said}: {_doubt(state.reasons)}."


def _doubt(reasons: Sequence[Reason]) -> str:
    return DOUBTS[reasons[0].why] if reasons else "it is not settled yet"


def _filled(wording: Wording, said: str) -> str:
    """The sentence with its numbers put in, as a person would say them."""

    def put_in(name: str) -> str:
        ref = Ref(name)
        return plainly(wording.spoken(ref, wording.found.view.number(ref)), wording.unit(ref), wording.zone)

    return NAMED_IN.sub(lambda found: put_in(found[1]), said)


def _stops(wording: Wording) -> Iterator[str]:
    """What safety holds back now."""
    for state in in_force(wording):
        if wording.program.rules[state.rule].when.safety:
            yield stop_said(wording, state)


def _days(lines: Sequence[Entry], zone: tzinfo) -> str:
    days = sorted(day(entry.taken, zone) for entry in lines)
    first, last = days[0], days[-1]
    return f"We were at your house on {first}." if first == last else f"Our work went from {first} to {last}."


def _shortened(said: Sequence[str]) -> Iterator[Item]:
    for text in said[:_MOST]:
        yield Item(line(text))
    if len(said) > _MOST:
        yield Item(line(f"{len(said) - _MOST} more of this kind stand in the record."))
