"""What a rule gave when what it rests on was last read, where nothing but age lies between then and now."""

from __future__ import annotations

from stillair.assess import Finding, View, end_of
from stillair.assess.program import bound
from stillair.verdict import Verdict
from stillair.wording import Wording

__all__ = ["is_closed", "only_aged", "open_findings", "when_last_read"]


def is_closed(wording: Wording) -> bool:
    return "" in wording.found.history.closed


def when_last_read(wording: Wording, name: str, member: str | None) -> tuple[Verdict, View]:
    """The verdict of a rule, and the view that gave it: as of its last entry if it is open now.

    It stays open where an event since has ended what was read.
    """
    rule = wording.program.rules[name]
    binding = bound(rule, member)
    view = wording.found.view
    verdict = view.judge(rule.when, binding)
    if verdict is not Verdict.OPEN:
        return verdict, view
    last = float("-inf")
    for (about, of), _ in view.history.observations.items():
        if about not in rule.when.mentions or (member is not None and of is not None and of != member):
            continue
        found = view.history.before((about, of), view.moment)
        fact = wording.program.facts.get(about)
        if not found or fact is None:
            continue
        last = max(last, found[-1].taken)
        ended = (view.trigger_time(t, view.moment, fact.per, of) for t in fact.void_after)
        if any(happened is not None and happened > found[-1].moment for happened in ended):
            return verdict, view
    if last >= view.at or last == float("-inf"):
        return verdict, view
    then = view.as_of(end_of(last))
    return then.judge(rule.when, binding), then


def only_aged(wording: Wording, finding: Finding) -> bool:
    """Whether an open finding was not so when last read: its rules fail, or did and have only grown old."""
    return finding.grade == "open" and all(
        when_last_read(wording, name, finding.member)[0] is Verdict.FAILS
        for name in wording.program.findings[finding.name]
    )


def open_findings(wording: Wording) -> list[Finding]:
    """The findings that are open; of a closed job without those that have only grown old."""
    found = [f for f in wording.found.findings if f.grade == "open"]
    return [f for f in found if not only_aged(wording, f)] if is_closed(wording) else found
