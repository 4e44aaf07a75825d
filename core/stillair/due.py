"""Which instruments of several jobs are due for their check: by serial and kind, with the newest known."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import NamedTuple

from stillair.carried import Carried, carried, due_by
from stillair.wording import Wording

__all__ = ["Instrument", "Use", "due_list", "uses"]

ORDER = ("overdue", "unknown when checked", "good", "no interval known")
"""The states in the order in which they are listed; the first two are due."""


class Use(NamedTuple):
    """An instrument in one job: its reading or, where there is none, its declaration that is last."""

    job: str
    carried: Carried
    taken: datetime
    by: str | None
    rests_on: str | None
    """What says how often its kind is checked."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """One serial of a kind over all jobs; without a serial, all readings of a kind: none can be told apart.

    Where no job says its kind, it is the one of that serial whose kind is known, if there is one alone. Where
    jobs go by several intervals, the shortest counts.
    """

    serial: str | None
    kind: str | None
    title: str
    state: str
    checked: str | None
    checked_in: str | None
    due: str | None
    interval_s: float | None
    rests_on: str | None
    last: Use
    jobs: tuple[str, ...]
    doubted: tuple[str, ...] = ()
    """Why check dates are not believed, one sentence each."""

    @property
    def is_due(self) -> bool:
        return self.state in ORDER[:2]


def uses(job: str, wording: Wording) -> Iterator[Use]:
    """The instruments of one job, each with its last use."""
    history = wording.found.history
    people = {o.line: (o.taken, o.by) for found in history.observations.values() for o in found}
    for each in carried(wording):
        read = [people[line] for line in each.lines if line in people]
        at, by = max(read, default=(history.start, None), key=lambda found: found[0])
        if not read and each.serial in history.instruments:
            at = history.instruments[each.serial].declared[0]
        taken = datetime.fromtimestamp(at, UTC).astimezone(wording.zone)
        yield Use(job, each, taken, by, _rests_on(wording, each.kind))


def due_list(found: Iterable[Use], day: date) -> list[Instrument]:
    """Every instrument as of a day, those due first: the longest overdue before all."""
    grouped: dict[tuple[str | None, str | None], list[Use]] = {}
    for use in found:
        grouped.setdefault((use.carried.serial, use.carried.kind), []).append(use)
    for serial in [serial for serial, kind in grouped if kind is None]:
        same = [key for key in grouped if key[0] == serial and key[1] is not None]
        if len(same) == 1:
            grouped[same[0]] += grouped.pop((serial, None))
    return sorted((_instrument(each, day) for each in grouped.values()), key=_order)


def _instrument(found: list[Use], day: date) -> Instrument:
    last = max(found, key=lambda use: use.taken)
    known = [use for use in found if use.carried.kind is not None]
    named = max(known, key=lambda use: use.taken) if known else last
    said = [use for use in found if use.carried.checked is not None]
    dated = [use for use in said if date.fromisoformat(str(use.carried.checked)) <= day]
    doubted = [
        f"{use.carried.doubted}, as {use.job} has it, is later than it was entered"
        for use in found
        if use.carried.doubted is not None
    ] + [
        f"{use.carried.checked}, as {use.job} has it, is after {day.isoformat()}"
        for use in said
        if use not in dated
    ]
    newest = max(dated, key=lambda use: str(use.carried.checked)) if dated else None
    timed = [use for use in found if use.carried.check_every is not None]
    shortest = min(timed, key=lambda use: use.carried.check_every or 0.0) if timed else None
    every = shortest.carried.check_every if shortest is not None else None
    checked = newest.carried.checked if newest is not None else None
    due = due_by(checked, every)
    if checked is None:
        # Of a kind that is not known it is not known either whether it is never checked.
        state = "no interval known" if every is None and known else "unknown when checked"
    elif every is None:
        state = "no interval known"
    else:
        state = "overdue" if due is not None and date.fromisoformat(due) < day else "good"
    return Instrument(
        last.carried.serial,
        named.carried.kind,
        named.carried.title,
        state,
        checked,
        newest.job if newest is not None else None,
        due,
        every,
        shortest.rests_on if shortest is not None else None,
        last,
        tuple(dict.fromkeys(use.job for use in found)),
        tuple(doubted),
    )


def _order(each: Instrument) -> tuple[int, str, bool, str, str]:
    return (
        ORDER.index(each.state),
        each.due or "never",
        each.serial is None,
        each.serial or "",
        each.kind or "",
    )


def _rests_on(wording: Wording, kind: str | None) -> str | None:
    """`check every 365 d of gauge in the checklist tank (source)`; None where nothing is said."""
    for name, checklist in wording.program.checklists.items():
        for spec in checklist.instruments:
            if spec.name == kind and spec.check_every is not None:
                source = f" ({spec.source})" if spec.source else ""
                return f"check every {spec.check_every.text} of {kind} in the checklist {name}{source}"
    return None
