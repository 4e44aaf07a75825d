"""The stretches of time in which nothing that a condition rests on changes.

Two observations of one stretch rest on the same, so whether they count is worked out once for both.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator

from stillair.condition import core

from .history import History, Moment
from .program import Program

__all__ = ["Stretches"]

INF = float("inf")
_FIRST = -1.0
"""Before every line of a time."""


class Stretches:
    """When anything changes that a set of names rests on, for one history."""

    def __init__(self, program: Program, history: History) -> None:
        self._program = program
        self._history = history
        self._turns: dict[frozenset[str], list[Moment] | None] = {}
        self._entered: dict[str, list[Moment]] = {}
        for (name, _), found in history.observations.items():
            self._entered.setdefault(name, []).extend(o.moment for o in found)
        for (name, _), times in history.events.items():
            self._entered.setdefault(name, []).extend(times)
        self._listed = [(taken, _FIRST) for names in history.members.values() for taken, _ in names.values()]
        self._listed += [(taken, _FIRST) for said in history.listed.values() for taken, _ in said]

    def begun(self, names: frozenset[str], moment: Moment) -> Moment | None:
        """When the stretch began that a moment lies in; None where what the names rest on never stands still.

        `names` is all that is rested on, directly or not.
        """
        if names not in self._turns:
            self._turns[names] = self._turns_of(names)
        turns = self._turns[names]
        if turns is None:
            return None
        index = bisect_right(turns, moment)
        return turns[index - 1] if index else (-INF, _FIRST)

    def _turns_of(self, names: Iterable[str]) -> list[Moment] | None:
        turns = set(self._listed)
        for name in names:
            if name == "now" or isinstance(self._program.derived.get(name), core.SinceEvent):
                return None
            wait = self._program.waits.get(name)
            if wait is not None and wait.lasts is not None:
                return None  # when it is over depends on what was said of it, at every moment anew
            turns.update(self._entered.get(name, ()))
            turns.update(self._lapses(name))
        return sorted(turns)

    def _lapses(self, name: str) -> Iterator[Moment]:
        """The moments at which time alone changes what a name may be."""
        program = self._program
        fact = program.facts.get(name)
        if fact is not None:
            if fact.good_for is not None:
                yield from ((taken + fact.good_for, INF) for taken, _ in self._entered.get(name, ()))
            return
        wait = program.waits.get(name)
        if wait is not None:
            starts = [t.name for t in (*wait.since, *wait.restarted_by)]
            for start in (*starts, wait.witness):
                yield from (
                    (taken + wait.duration, _FIRST) for taken, _ in self._entered.get(start or "", ())
                )
            return
        match program.derived.get(name):
            case core.Near(kind, ref, _, float(window)):
                for taken, _ in self._entered.get(ref.name, ()):
                    yield (taken + window, INF) if kind == "last" else (taken - window, _FIRST)
            case core.Spread(ref, window):
                yield from ((taken + window, _FIRST) for taken, _ in self._entered.get(ref.name, ()))
