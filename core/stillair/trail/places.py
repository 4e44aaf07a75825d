"""Places: what was seen, what each look that counts rests on, what was not reached, how likely each is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from stillair.assess import Observation, PlaceState
from stillair.assess.program import Fact
from stillair.because import clue_says
from stillair.condition.core import Ref
from stillair.job import Line as Entry
from stillair.sought import share
from stillair.verdict import Reason, Verdict, Why
from stillair.wording import Wording

from .believed import believed
from .document import Block, Item, Line, Part, Piece, Strong, Table, line
from .prose import prose
from .reason import items, seen
from .support import Support, needs_support, supports

__all__ = ["places"]

_NOTHING = "nothing more"


@dataclass(frozen=True, slots=True)
class _Look:
    """One entry at a place that counts only with what it rests on."""

    place: str
    fact: Fact
    observation: Observation
    status: str
    reason: Reason | None
    rests_on: tuple[Support, ...]


def places(wording: Wording, entries: Sequence[Entry]) -> Part | None:
    """None without places. The looks that rest on checks stand in tables, the others in lists."""
    found = wording.found
    likely = tuple(_likely(wording))
    if not found.places:
        return Part("Places", likely) if likely else None
    looks = [look for state in found.places for look in _looks(wording, state)]
    blocks: list[Block] = []
    plain = [s for s in found.places if s.observation is not None and s.status not in ("not reached", "void")]
    plain = [s for s in plain if not any(s.observation is each.observation for each in looks)]
    _list(blocks, "Something showed. What follows is told under Findings:", wording, entries, plain)
    for status, title in (
        ("counts", "Looked at, and it counts. Each rests on the checks beside it."),
        ("void", "Looked at, but void: it proves nothing."),
        ("waiting", "Looked at, and waiting for what must follow before it counts:"),
        ("disputed", "Looked at, and the entries differ:"),
    ):
        group = [look for look in looks if look.status == status]
        if group:
            blocks.append(line(Strong(title)))
            blocks += _table(wording, entries, group)
    lost = [
        s
        for s in found.places
        if s.status == "void" and all(s.observation is not e.observation for e in looks)
    ]
    _list(blocks, "Seen, and void since:", wording, entries, lost)
    unreached = [s for s in found.places if s.status == "not reached"]
    _list(blocks, "Not reached:", wording, entries, unreached)
    if not unreached:
        blocks.append(line("No place was given up as not reached."))
    _list(blocks, "Not looked at:", wording, entries, [s for s in found.places if s.status == "not looked"])
    blocks += likely
    return Part("Places", tuple(blocks))


def _list(
    blocks: list[Block], title: str, wording: Wording, entries: Sequence[Entry], states: Sequence[PlaceState]
) -> None:
    if states:
        blocks.append(line(Strong(title)))
        blocks.append(items(_place(wording, entries, state) for state in states))


def _place(wording: Wording, entries: Sequence[Entry], state: PlaceState) -> Item:
    pieces: list[Piece] = [Strong(_title(wording, state.place))]
    if state.observation is not None:
        pieces.append(f": {seen(wording, entries, state.observation)}")
    if state.reason is not None and state.status != "not reached":
        pieces.append(f" – {wording.reason(state.reason)}")
    return Item(tuple(pieces))


def _title(wording: Wording, place: str) -> str:
    return wording.program.places[place].spec.title


def _likely(wording: Wording) -> Iterator[Block]:
    """How likely each place is now, and by what; nothing where no clue and no check was written."""
    if not wording.program.places or not (wording.program.clues or wording.found.search is not None):
        return
    if wording.found.search is not None:
        yield from believed(wording, wording.found.search)
        return
    yield line(Strong("How likely each place is, by the clues so far:"))
    yield line(
        "Beliefs are judgement: shares of 100, not a measurement. What a look gave is not counted in, "
        "and the order of search is its author's."
    )
    yield items(
        Item(
            line(Strong(_title(wording, place)), f": {share(belief.now)}"),
            tuple(Item(line(prose(clue_says(wording, each)))) for each in belief.weighed),
        )
        for place, belief in wording.found.beliefs.items()
    )


# -- looks that rest on checks -------------------------------------------------------------------------------


def _looks(wording: Wording, state: PlaceState) -> Iterator[_Look]:
    """The entries at a place that need support, those of the look first, in the order they were made."""
    view = wording.found.view
    program = wording.program
    facts = [f for f in program.facts.values() if f.per == "place" and (f.counts or f.place_counts)]
    for fact in sorted(facts, key=lambda f: f.name != program.look):
        for observation in view.history.before((fact.name, state.place), view.moment):
            if not needs_support(fact, observation):
                continue
            status, reason = "counts", view.doubt(fact, Ref(fact.name, state.place), observation)
            if observation.line in view.history.doubted:
                text = view.history.doubted[observation.line]
                status, reason = "disputed", Reason(Why.DISPUTED, fact.name, text)
            elif reason is not None:
                status = "void" if reason.why is Why.VOID else "waiting"
            elif observation is state.observation and state.status in ("void", "waiting", "disputed"):
                status, reason = state.status, state.reason
            rests_on = tuple(supports(wording, fact, observation))
            yield _Look(state.place, fact, observation, status, reason, rests_on)


def _table(wording: Wording, entries: Sequence[Entry], looks: Sequence[_Look]) -> Iterator[Block]:
    """What all the looks rest on as a list, said once; what differs in a table."""
    proved = {support.about for look in looks for support in look.rests_on if support.bears == "after"}
    shared = [
        support
        for support in looks[0].rests_on
        if support.bears == "before"
        and support.about not in proved
        and all(support in look.rests_on for look in looks)
    ]
    if shared:
        yield line("All of them rest on:" if len(looks) > 1 else "It rests on:")
        yield items(Item(_said(support)) for support in shared)
    columns = ["Place", "Seen", "Proved before", "Proved after", "Needed there"]
    reasons = [(look.reason.text or look.reason.why.value) if look.reason else "" for look in looks]
    differ = len(set(reasons)) > 1
    if differ:
        columns.append("Why it does not count")
    elif reasons[0]:
        yield line("Why: ", reasons[0], ".")
    rows = []
    for look, reason in zip(looks, reasons, strict=True):
        cells = [line(_title(wording, look.place)), _seen(wording, entries, look)]
        own = [support for support in look.rests_on if support not in shared]
        cells += [_cell([s for s in own if s.bears == bears]) for bears in ("before", "after", "here")]
        rows.append((*cells, line(reason)) if differ else tuple(cells))
    yield Table(tuple(columns), tuple(rows))


def _seen(wording: Wording, entries: Sequence[Entry], look: _Look) -> Line:
    """What was seen; by which question, where it is not the look itself."""
    asked = "" if look.fact.name == wording.program.look else f"{prose(look.fact.spec.ask)} "
    return line(asked, seen(wording, entries, look.observation))


def _cell(found: Sequence[Support]) -> Line:
    """The tests of one column."""
    pieces: list[Piece] = []
    for support in found:
        pieces += ["; " if pieces else "", *_said(support)]
    return tuple(pieces) or line(_NOTHING)


def _said(support: Support) -> Line:
    """A test; one that does not hold is marked."""
    if support.verdict is Verdict.HOLDS:
        return line(support.says)
    return line(Strong("not so:" if support.verdict is Verdict.FAILS else "open:"), " ", support.says)
