"""What is believed of each place after the looks: a table with bars, what moved it, and when to stop."""

from __future__ import annotations

from collections.abc import Iterator

from stillair.assess import Search
from stillair.because import clue_says
from stillair.sought import (
    CONTRADICTED,
    better_tests,
    disputed_said,
    lacking_said,
    quiet_said,
    share,
    stop_said,
)
from stillair.wording import Wording

from .document import Block, Code, Item, Strong, Table, line
from .prose import prose
from .reason import items

__all__ = ["believed"]

_BAR = 20
"""How long the bar of a belief of 1 is."""


def believed(wording: Wording, search: Search) -> Iterator[Block]:
    """What is believed of each place after the looks, as a table with bars, and what moved it."""
    after = search.posterior
    yield line(Strong("How likely a fault is at each place:"))
    yield line(
        "Beliefs are judgement, not a measurement. They know of two faults at most. A silence lowers a "
        "belief only by its chance to notice a fault there; a look that does not count changes nothing."
    )
    untold = search.untold
    for pack, (jobs, faults, strength) in wording.program.learned.items():
        yield line(
            f"The beliefs of {pack} were learned from {jobs} closed jobs with {faults} confirmed faults. "
            f"Those written in it count as {strength:g} more."
        )
    band = wording.found.band
    if band is not None:
        yield line(
            f"This job is of a kind with beliefs of its own, {band.group} {band.band}: from {band.jobs} of "
            f"these jobs, with {band.faults} of these faults."
        )
    rows = []
    for place, belief in wording.found.beliefs.items():
        now = after.places[place]
        told = "–" if place in untold else share(now)
        cells = (wording.program.places[place].spec.title, share(belief.first), share(belief.now), told)
        rows.append(
            (*map(line, cells), line(Code("#" * round(_BAR * now))) if now >= 0.5 / _BAR else line(""))
        )
    if after.elsewhere:
        rows.append((line("Elsewhere"), line(""), line(""), line(share(after.elsewhere)), line("")))
    yield Table(("Place", "At first", "With clues", "After looks", "Bar"), tuple(rows))
    moved = [
        Item(
            line(Strong(wording.program.places[place].spec.title)),
            tuple(
                Item(line(prose(said)))
                for said in (
                    *(clue_says(wording, each) for each in belief.weighed),
                    *(quiet_said(wording, each) for each in search.quiet if each.place == place),
                    *((disputed_said(wording, search),) if place in search.disputed else ()),
                )
            ),
        )
        for place, belief in wording.found.beliefs.items()
        if belief.weighed or place in search.disputed or any(each.place == place for each in search.quiet)
    ]
    if moved:
        yield line("What moved them:")
        yield items(moved)
    yield from _second(search)
    if search.left:
        yield from (line(prose(said)) for said in lacking_said(wording, search))
    yield from _ordered(search)
    if search.over:
        yield line(Strong(stop_said(wording, search)), ".")
        tests = tuple(better_tests(wording, search))
        if tests:
            yield line("What is worth more:")
            yield items(Item(line(prose(said))) for said in tests)


def _second(search: Search) -> Iterator[Block]:
    """What is left to believe in a second fault, once one is confirmed."""
    if search.contradicted:
        yield line(Strong(f"{CONTRADICTED[0].upper()}{CONTRADICTED[1:]}."))
    elif search.untold:
        yield line("Two are confirmed. Of a third one these beliefs say nothing.")
    if len(search.confirmed) != 1:
        return
    size = search.by_size
    if size is None:
        by = "no sizes are known to compare"
    else:
        by = f"by the sizes a second one is {size:.2g} times as likely as without them"
    yield line(f"A second fault, not confirmed yet: {share(search.posterior.unfound)} ({by}).")


def _ordered(search: Search) -> Iterator[Block]:
    plan = search.plan
    if plan.pinned:
        yield line(
            f"The order of search is pinned by its author. It takes {plan.minutes:.0f} min on average from "
            f"here, {plan.pin_costs:.1f} min more than the shortest."
        )
    elif len(plan.order) > 1 and plan.author_minutes is not None:
        yield line(
            f"The places that can be looked at now take {plan.minutes:.0f} min on average in the order of "
            f"search, {plan.author_minutes:.0f} min in the order they are written in."
        )
