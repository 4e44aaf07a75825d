"""What is said of the search: why a place is next, what a silence was worth, when to stop."""

from __future__ import annotations

from collections.abc import Iterator

from stillair.assess import Action, Chosen, Quiet, Search
from stillair.checklist import NAMED_IN
from stillair.condition.core import Ref
from stillair.verdict import Verdict
from stillair.wording import Wording, plainly

__all__ = [
    "CONTRADICTED",
    "better_tests",
    "chosen_place",
    "disputed_said",
    "going_on_said",
    "lacking_said",
    "per_minute",
    "quiet_said",
    "share",
    "stop_said",
    "why_now",
]


#: What is said where no fault is left possible.
CONTRADICTED = (
    "the beliefs and the looks contradict each other: by them no fault is left anywhere, and one is sought; "
    "a belief of 0, or a silence that is said to miss nothing, is wrong"
)


def share(belief: float) -> str:
    """A belief as per cent: `14 %`, `0.4 %`. Only one that is 0 or 1 is shown as nothing or all."""
    shown = 100 * belief
    if 0 < shown < 0.1:
        return "below 0.1 %"
    if 99.5 <= shown < 100:
        return "over 99 %"
    return f"{shown:.1f} %" if 0 < shown < 0.95 else f"{shown:.0f} %"


def per_minute(rate: float) -> str:
    """A chance per minute, to two digits: `0.024`."""
    if 0 < rate < 0.00005:
        return "below 0.0001"
    digits = 4 if rate < 0.01 else 3
    return f"{rate:.{digits}f}"


def chosen_place(found_next: Action, search: Search | None) -> Chosen | None:
    """Why the place of the next action is next; None where the next action is no look at the place chosen."""
    if search is None or found_next.kind != "ask" or found_next.member is None:
        return None
    if Ref(search.check.fact, found_next.member) not in found_next.facts:
        return None
    return search.chosen(found_next.member)


def why_now(wording: Wording, chosen: Chosen) -> str:
    """Why a place is next, in one line: `0.024 per minute against 0.014 for the coil; same set-up`."""
    if not chosen.rate:
        search = wording.found.search
        if search is not None and search.confirmed:
            return "the route is gone to its end: another one behind the first is common"
        tool = "" if chosen.tool is None else f" with: {chosen.tool}"
        return f"no chance to notice a fault here{tool}"
    parts = [f"{per_minute(chosen.rate)} per minute"]
    if chosen.other is None:
        parts[0] += "; the last place that can be looked at now"
    else:
        parts[0] += f" against {per_minute(chosen.other_rate)} for {_title(wording, chosen.other)}"
    if chosen.shares:
        parts.append(f"set up already: {_set_ups(wording, chosen.shares)}")
    if chosen.tool is not None:
        parts.append(f"with: {chosen.tool}")
    if chosen.pays:
        parts.append(f"set-up counted in: {_set_ups(wording, chosen.pays)}")
    if chosen.costs is not None:
        parts.append(f"its author's order, {chosen.costs:.1f} min longer on average than the shortest")
    return "; ".join(parts)


def quiet_said(wording: Wording, quiet: Quiet) -> str:
    """What a silence was worth: `Sniffing, silent: 80 % to notice a leak there, as usual`."""
    check = wording.program.checks[quiet.check]
    how = "" if quiet.known else ", the usual chance"
    tool = "" if check.tool is None else f" ({check.tool})"
    return f"{check.spec.title}{tool}, silent: {share(quiet.chance)} to notice it there{how}"


def disputed_said(wording: Wording, search: Search) -> str:
    """What an answer is worth while it is not settled whether it stands."""
    assert search.sought is not None
    name = search.sought.suspected
    times = "" if name is None else f" x{wording.program.limits[name].value:g}"
    return f"answered, and not settled: counted as suspected{times}"


def lacking_said(wording: Wording, search: Search) -> Iterator[str]:
    """What the look is made with and is not at hand, or not known to be."""
    for tool, verdict, reasons in search.lacking:
        why = wording.reasons(reasons) if verdict is Verdict.OPEN else ""
        how = "not known to be at hand" if verdict is Verdict.OPEN else "not at hand"
        yield f"{tool}: {how}{f' ({why})' if why else ''}; no place is looked at with it before"


def going_on_said(wording: Wording, search: Search) -> str:
    """What going on is worth, and why it goes on or not."""
    if search.contradicted:
        return CONTRADICTED
    if search.over:
        return stop_said(wording, search)
    if search.disputed:
        names = ", ".join(_title(wording, place) for place in search.disputed)
        return f"it answered, and that is not settled: {names}; a suspicion is followed up first"
    if search.pointed:
        return "a fault is suspected or found: that is followed up, whatever the rest is worth"
    return f"going on is worth {per_minute(search.rate)} per minute, as a judgement and not measured"


def stop_said(wording: Wording, search: Search) -> str:
    """That going on is worth less than the limit."""
    assert search.sought is not None and search.sought.stop_below is not None
    limit = wording.program.limits[search.sought.stop_below]
    what = "No other one found" if search.confirmed else "Not found"
    if not search.left:
        return f"{what} under these limits: no place is left to look at in this way"
    return (
        f"{what} under these limits: going on is worth {per_minute(search.rate)} per minute, "
        f"below {limit.text} ({limit.spec.name})"
    )


def better_tests(wording: Wording, search: Search) -> Iterator[str]:
    """What is worth more than going on; a number that is not known is said to be so."""
    for say in search.better:
        yield NAMED_IN.sub(lambda found: _number(wording, found[1]), say)


def _number(wording: Wording, name: str) -> str:
    ref = Ref(name)
    value = wording.found.view.number(ref)
    if value.reasons:
        value = value._replace(undefined=True)
    return plainly(wording.spoken(ref, value), wording.unit(ref), wording.zone)


def _title(wording: Wording, place: str) -> str:
    return wording.program.places[place].spec.title


def _set_ups(wording: Wording, names: tuple[str, ...]) -> str:
    return ", ".join(wording.program.set_ups[name].spec.title for name in names)
