"""Moments at which two steps are both to be done, and the one that comes first is next.

Sought from moments at which the first is to be done: what it asks is answered in part, and what the second
needs is turned, until both are. What else would be next is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from stillair.assess import Assessment, Program
from stillair.assess.program import Cond
from stillair.assess.states import StepState
from stillair.assess.uses import Use, leaves, uses
from stillair.condition.core import OptionDomain
from stillair.verdict import Verdict

from .goals import Goals
from .mutation import Reorder
from .rehearse import Player
from .varying import Entry, numbers, typed, varied

__all__ = ["TO_DO", "Pairing", "Turns"]

TO_DO = ("ready", "waiting")
"""Where a step stands that is to be done now."""

_DEPTH, _KEPT, _TURNS, _OTHERS = 3, 3, 25, 6
"""Entries one after another, moments gone on from, entries for a part, steps left out at most (judgement)."""

Turns = tuple[Entry, ...]


class _Reached(NamedTuple):
    """A moment after some entries, and how many conditions of the second step do not hold there yet."""

    unmet: int
    turns: Turns
    player: Player


class Pairing:
    """Seeks, for two steps that follow each other, entries after which it matters which comes first."""

    def __init__(self, goals: Goals, after: Callable[[Player, Sequence[Entry]], Player | None]) -> None:
        self.goals = goals
        self.program = goals.program
        self.after = after
        self._uses: dict[int, Use] = {}
        for use in uses(self.program):
            self._uses.setdefault(use.cond.number, use)
        self._left = 0

    def seek(self, pair: Reorder, seeds: Sequence[Player], tries: int) -> tuple[int, Turns] | None:
        """From which of some moments, and by which entries after it; None where none were found."""
        self._left = tries
        for number, seed in enumerate(seeds):
            level = [_Reached(self._unmet(seed, pair), (), seed)]
            for depth in range(_DEPTH + 1):
                for each in level:
                    turns = self._first_of_both(each, pair)
                    if turns is not None:
                        return number, turns
                if depth == _DEPTH or self._left <= 0:
                    break
                further = [then for each in level for then in self._onward(each, pair)]
                level = sorted(further, key=lambda then: then.unmet)[:_KEPT]
        return None

    def _onward(self, at: _Reached, pair: Reorder) -> Iterator[_Reached]:
        """What one more entry leads to, where the first step is still to be done."""
        for entry in self._turns(at.player, pair):
            if self._left <= 0:
                return
            self._left -= 1
            then = self.after(at.player, [entry])
            if then is not None and _state(then.found(), pair.first) is not None:
                unmet = self._unmet(then, pair)
                if unmet < at.unmet or not at.turns:
                    yield _Reached(unmet, (*at.turns, entry), then)

    def _first_of_both(self, at: _Reached, pair: Reorder) -> Turns | None:
        """The entries by which the first step is next, with the second to be done as well."""
        player, turns = at.player, at.turns
        if any(_state(player.found(), name) is None for name in pair):
            return None
        for _ in range(_OTHERS + 1):
            action = player.found().next
            if action.step == pair.first:
                shown = self.goals.of_order(player.found(), player.lines, again=True)
                return turns if shown >> self.goals.order[pair] & 1 else None
            if action.step is None or action.step == pair.second:
                return None
            name = f"{action.step} of {action.member}" if action.member else action.step
            entry: Entry = {"skip": {name: "left out here"}}
            then = self.after(player, [entry])
            if then is None:
                return None
            player, turns = then, (*turns, entry)
        return None

    # -- what may be entered ---------------------------------------------------------------------------------

    def _turns(self, player: Player, pair: Reorder) -> Iterator[Entry]:
        first = _state(player.found(), pair.first)
        assert first is not None
        for ref in first.asks:
            fact = self.program.facts[ref.name]
            values = (
                fact.domain.names if isinstance(fact.domain, OptionDomain) else _typed(self.program, ref.name)
            )
            yield from ({"note": {str(ref): value}} for value in values)
        for cond in self._needs(pair.second):
            use = self._uses[cond.number]
            members = tuple(first.member or "" for _ in use.per)
            for leaf in leaves(cond.checked):
                for count, entry in enumerate(varied(player, use, members, leaf)):
                    if count == _TURNS:
                        break
                    yield entry

    def _needs(self, name: str) -> Iterator[Cond]:
        step = self.program.steps[name]
        activity = (
            self.program.activities[step.spec.activity.text] if step.spec.activity is not None else None
        )
        for cond in (step.when, step.gate, activity.gate if activity is not None else None):
            if cond is not None:
                yield cond

    def _unmet(self, player: Player, pair: Reorder) -> int:
        view = player.found().view
        first = _state(player.found(), pair.first)
        binding = {self.program.steps[pair.first].per or "": first.member or ""} if first is not None else {}
        return sum(
            view.judge(cond, binding) is not Verdict.HOLDS
            for cond in self._needs(pair.second)
            if not cond.kept or all(per in binding for _, _, per in cond.reads if per is not None)
        )


def _typed(program: Program, name: str) -> Iterator[str]:
    fact = program.facts[name]
    if isinstance(fact.domain, OptionDomain) or fact.unit is None:
        return
    for count, value in enumerate(numbers(fact)):
        text = typed(fact, value)
        if text is not None and count % 3 == 1:
            yield text


def _state(found: Assessment, name: str) -> StepState | None:
    """Where a step stands that is to be done, for the first member of its list; None where it is not."""
    return next((s for s in found.steps if s.step == name and s.status in TO_DO), None)
