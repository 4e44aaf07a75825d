"""Scenarios that show what no scenario shows yet, made of those there are.

First every moment of every scenario is looked at. For each goal that none of them shows, one more entry after
some moment is tried, of the facts that stand behind a part of the condition; numbers are brought to their
edges by halving. The order of two steps is sought by `pairing`. Of all that was found, few entries are kept
that together show everything.

What is made so says what follows today and not what ought to: it notices a slip, and its author reads it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from copy import deepcopy
from dataclasses import dataclass, field
from functools import lru_cache
from heapq import heapify, heappop, heappush
from itertools import pairwise
from typing import Any, NamedTuple

import yaml

from stillair.assess import Assessment, EntryError
from stillair.assess.uses import Use, named_verdict
from stillair.verdict import Verdict

from .goals import Edge, Goals, Shown, newest
from .mutation import Reorder
from .pairing import TO_DO, Pairing
from .rehearse import Player, ScenarioError
from .varying import Dial, Entry, dials, varied

__all__ = ["Filler", "Found", "Moment", "moments", "written"]

_EXAMPLES = 6
"""Moments with the same verdicts that are tried for a goal (judgement)."""

_TRIES = 60
"""Entries tried to turn one part at one moment (judgement)."""

_HALVINGS = 40

_MOST = 3
"""Entries made one after another (judgement)."""

_PAIRED = 2
"""Moments alike that are tried for the order of two steps (judgement)."""

_PLAYERS = 16
"""Scenarios played up to some moment that are kept (judgement: some megabytes each)."""


class Moment(NamedTuple):
    """A moment of a scenario: which one, after how many of its entries, and what more is entered then."""

    scenario: str
    after: int
    more: tuple[Entry, ...] = ()


class Found(NamedTuple):
    """What a moment shows; `kept` where a generated scenario has it already."""

    moment: Moment
    goals: int
    kept: bool = False


@dataclass
class Examples:
    """For each condition, which verdicts of its parts were seen together and where; the shortest first."""

    seen: dict[int, dict[tuple[int, ...], list[tuple[Moment, Use, tuple[str, ...]]]]] = field(
        default_factory=dict
    )
    pairs: dict[Reorder, dict[tuple[bool, str], list[Moment]]] = field(default_factory=dict)
    """For two steps, moments at which the first is to be done: by whether another is next, and by where the
    second stands."""

    def add(self, moment: Moment, shown: Shown) -> None:
        held = self.seen.setdefault(shown.cond, {}).setdefault(shown.verdicts, [])
        if len(held) < _EXAMPLES and all(m.scenario != moment.scenario for m, _, _ in held):
            held.append((moment, shown.use, shown.members))

    def add_pairs(self, moment: Moment, found: Assessment, pairs: Iterable[Reorder]) -> None:
        where = {state.step: state.status for state in reversed(found.steps)}
        for pair in pairs:
            if where.get(pair.first) in TO_DO:
                key = pair.first != found.next.step, where.get(pair.second, "")
                held = self.pairs.setdefault(pair, {}).setdefault(key, [])
                if len(held) < _PAIRED and all(m.scenario != moment.scenario for m in held):
                    held.append(moment)

    def paired(self, pair: Reorder) -> list[Moment]:
        """Moments at which the first of two steps is to be done, those first at which it is next."""
        held = sorted(self.pairs.get(pair, {}).items(), key=lambda each: (each[0][1] not in TO_DO, each[0]))
        return [moment for _, moments in held for moment in moments]

    def merge(self, other: Examples) -> None:
        for cond, found in other.seen.items():
            for verdicts, places in found.items():
                held = self.seen.setdefault(cond, {}).setdefault(verdicts, [])
                held += places[: max(0, _EXAMPLES - len(held))]
        for pair, groups in other.pairs.items():
            for key, moments in groups.items():
                held_ = self.pairs.setdefault(pair, {}).setdefault(key, [])
                held_ += moments[: max(0, _PAIRED - len(held_))]


def moments(
    goals: Goals,
    name: str,
    scenario: Mapping[str, Any],
    kept: Sequence[Entry] = (),
    others: Sequence[Entry] = (),
) -> tuple[list[Found], Examples]:
    """What each moment of a scenario shows, after each of its entries and after what follows some of them.

    What follows is `kept` in a generated scenario, or comes from `others`, written by hand.
    """
    player = Player(goals.program, scenario, None, None)
    found, examples = [], Examples()

    def look(moment: Moment, player: Player, kept: bool = False) -> None:
        shown = goals.of_order(player.found(), player.lines, kept)
        for each in goals.shown(player.found().view):
            shown |= each.goals
            examples.add(moment, each)
        found.append(Found(moment, shown, kept))
        examples.add_pairs(moment, player.found(), goals.order)

    by: dict[int, list[tuple[tuple[Entry, ...], bool]]] = {}
    for entry in (*kept, *others):
        does = (
            *entry.get("does", ()),
            {k: v for k, v in entry.items() if k not in ("after", "does", "expect")},
        )
        more = tuple(each for each in does if each)
        by.setdefault(int(entry["after"]), []).append((more, entry in kept))
    for number, part in enumerate([{}, *scenario["does"]]):
        if number:
            player.turn(number, {key: value for key, value in part.items() if key != "expect"})
            look(Moment(name, number), player)
        for more, is_kept in by.get(number, ()):
            if (then := after(player, more or [{}])) is not None:
                look(Moment(name, number, more), then, is_kept)
    return found, examples


def after(player: Player, more: Sequence[Entry]) -> Player | None:
    """A player after more entries, each a second after another; None if one is refused."""
    with suppress(ScenarioError, EntryError):
        for entry in more:
            player = player.fork()
            player.turn(0, entry)
        return player
    return None


class Filler:
    """Tries entries after moments of scenarios until what is wanted is shown, or nothing more is found."""

    def __init__(
        self,
        goals: Goals,
        scenarios: Mapping[str, Mapping[str, Any]],
        examples: Examples,
        wanted: int,
    ) -> None:
        self.goals = goals
        self.scenarios = scenarios
        self.examples = examples
        self.wanted = wanted
        self._found: list[Found] = []
        self._left = 0
        self._player = lru_cache(maxsize=_PLAYERS)(self._play)

    def order(self, pair: Reorder, tries: int) -> list[Found]:
        """Where the order of two steps is seen, after that many tries at most."""
        moments = self.examples.paired(pair)
        sought = Pairing(self.goals, after).seek(pair, [self._at(moment) for moment in moments], tries)
        if sought is None:
            return []
        moment, turns = moments[sought[0]], sought[1]
        return [Found(moment._replace(more=(*moment.more, *turns)), 1 << self.goals.order[pair])]

    def fill(self, cond: int, tries: int) -> list[Found]:
        """What shows more of what is wanted of a condition, after that many tries at most.

        It is the same whatever other conditions were looked at before.
        """
        self._left, self._found, before = tries, [], -1
        while self.wanted & self.goals.of.get(cond, 0) and self._left > 0:
            wanted, seen = self.wanted, len(self.examples.seen.get(cond, ()))
            self._turn_parts(cond)
            self._approach(cond)
            if self.wanted == wanted:
                if seen == before:
                    break
                before = seen
                self._turn_towards(cond)
        return self._found

    # -- parts -----------------------------------------------------------------------------------------------

    def _turn_parts(self, cond: int) -> None:
        """Turn one part after another, where the verdicts would then show what is wanted."""
        for verdicts, places in sorted(self.examples.seen.get(cond, {}).items()):
            for place, then in self._one_turned(cond, verdicts):
                for moment, use, members in places[:3]:
                    if self._left <= 0 or not self.goals.would_show(cond, then) & self.wanted:
                        break
                    if self._try(cond, moment, use, members, place, then[place]):
                        break

    def _turn_towards(self, cond: int) -> None:
        """Turn one part so that turning another one then would show what is wanted."""
        seen = dict(self.examples.seen.get(cond, {}))
        known = {verdicts[:-1] for verdicts in seen}
        for verdicts, places in sorted(seen.items()):
            for place, then in self._one_turned(cond, verdicts):
                if then in known or not any(
                    self.goals.would_show(cond, last) & self.wanted
                    for _, last in self._one_turned(cond, then)
                ):
                    continue
                for moment, use, members in places[:2]:
                    if self._left <= 0:
                        return
                    if self._try(cond, moment, use, members, place, then[place]):
                        known.add(then)
                        break

    def _one_turned(self, cond: int, verdicts: tuple[int, ...]) -> Iterator[tuple[int, tuple[int, ...]]]:
        """Each part, and the verdicts of all parts with that one otherwise."""
        count = len(self.goals.tests(cond))
        for place in range(count):
            for verdict in (Verdict.HOLDS, Verdict.FAILS, Verdict.OPEN):
                if int(verdict) != verdicts[place]:
                    yield place, (*verdicts[:place], int(verdict), *verdicts[place + 1 : count])

    def _try(
        self, cond: int, moment: Moment, use: Use, members: tuple[str, ...], place: int, verdict: int
    ) -> bool:
        """Whether some entry after the moment turns the part so."""
        part = self.goals.tests(cond)[place]
        for count, entry in enumerate(varied(self._at(moment), use, members, part)):
            if count >= _TRIES or self._left <= 0:
                return False
            for shown in self._look(moment, entry, cond):
                if shown.members == members and shown.verdicts[place] == verdict:
                    return True
        return False

    def _look(self, moment: Moment, entry: Entry, cond: int) -> list[Shown]:
        """What a condition shows after one more entry; whatever else of what is wanted is shown is kept."""
        self._left -= 1
        then = after(self._at(moment), [entry])
        if then is None:
            return []
        view = then.found().view
        own = list(self.goals.shown(view, self.goals.of[cond]))
        there = Moment(moment.scenario, moment.after, (*moment.more, entry))
        if not any(each.goals & self.wanted for each in own):
            if len(there.more) < _MOST:
                for each in own:
                    self.examples.add(there, each)
            return own
        shown = 0
        for each in self.goals.shown(view):
            shown |= each.goals
            if each.cond == cond:
                self.examples.add(there, each)
        self._found.append(Found(there, shown))
        self.wanted &= ~(shown & self.goals.of[cond])
        return own

    # -- edges -----------------------------------------------------------------------------------------------

    def _approach(self, cond: int) -> None:
        """Bring numbers to within one step of an edge, where the part decides if it can be so."""
        for edge, wanted in self.goals.edges(cond):
            if not self.wanted & wanted:
                continue
            places = [
                (verdicts, each)
                for verdicts, held in self.examples.seen.get(cond, {}).items()
                for each in held[:2]
            ]
            places.sort(key=lambda p: (not self.goals.decided_by(cond, p[0][:-1], edge.part), p[1][0].after))
            for _, (moment, use, members) in places[:5]:
                if self._left <= 0:
                    return
                if self._halve(cond, moment, use, members, edge, wanted):
                    break

    def _halve(
        self, cond: int, moment: Moment, use: Use, members: tuple[str, ...], edge: Edge, wanted: int
    ) -> bool:
        """Whether a number behind the part could be brought to within one step of the edge."""
        for dial in dials(self._at(moment), use, members, self.goals.tests(cond)[edge.part]):

            def spare(value: float, dial: Dial = dial) -> float | None:
                """How far beyond the edge, on the side wanted, the number is; negative on the other side."""
                entry = dial.entry(value)
                self._left -= 1
                then = after(self._at(moment), [entry]) if entry is not None else None
                if then is None:
                    return None
                for held, seen, _ in newest(then.found().view, use):
                    if held == members:
                        low, high = seen.number(dial.about).span()
                        beyond = low - edge.at if edge.above else edge.at - high
                        return beyond if math.isfinite(beyond) else None
                return None

            tried = [(value, found) for value in dial.values() if (found := spare(value)) is not None]
            for one, other in pairwise(tried):
                if (one[1] < 0) is not (other[1] < 0):
                    value = _halved(spare, one, other, edge.step)
                    if value is not None:
                        near = (
                            short
                            for short in dial.rounded(value)
                            if (left := spare(short)) is not None and 0 <= left < edge.step
                        )
                        entry = dial.entry(next(near, value))
                        if entry is not None:
                            self._look(moment, entry, cond)
                if not self.wanted & wanted:
                    return True
        return False

    # -- playing ---------------------------------------------------------------------------------------------

    def _at(self, moment: Moment) -> Player:
        player = self._player(moment.scenario, moment.after)
        then = after(player, moment.more)
        assert then is not None
        return then

    def _play(self, name: str, after: int) -> Player:
        player = Player(self.goals.program, self.scenarios[name], None, None)
        for number, part in enumerate(self.scenarios[name]["does"][:after], 1):
            player.turn(number, {key: value for key, value in part.items() if key != "expect"})
        player.found()
        return player


def _halved(
    spare: Callable[[float], float | None], one: tuple[float, float], other: tuple[float, float], step: float
) -> float | None:
    """A value between two for which what is spare is nothing to one step; None where halving finds none."""
    for _ in range(_HALVINGS):
        beyond = one if one[1] >= 0 else other
        if beyond[1] < step:
            return beyond[0]
        middle = (one[0] + other[0]) / 2
        found = spare(middle)
        if found is None:
            return None
        if (found < 0) is (one[1] < 0):
            one = middle, found
        else:
            other = middle, found
    return beyond[0] if beyond[1] == step else None


def chosen(found: Sequence[Found], wanted: int) -> list[Found]:
    """Few of what was found that together show all that is wanted; whichever adds most comes first."""
    found = sorted(found, key=lambda each: (each.moment.scenario, each.moment.after, str(each.moment.more)))
    heap = [(-(each.goals & wanted).bit_count(), number) for number, each in enumerate(found)]
    heapify(heap)
    taken = []
    while heap and wanted:
        gain, number = heappop(heap)
        new = found[number].goals & wanted
        if new.bit_count() < -gain:
            heappush(heap, (-new.bit_count(), number))
        elif new:
            taken.append(Found(found[number].moment, new))
            wanted &= ~new
    return taken


def _follows(goals: Goals, player: Player, wanted: int) -> dict[str, Any]:
    """What to expect at a moment so that these goals are shown there."""
    found, expect = player.found(), {}
    follows: dict[str, Any] = {}
    if any(wanted >> goal & 1 for goal in goals.order.values()) and found.next.step is not None:
        action = found.next
        follows["next"] = f"{action.step} of {action.member}" if action.member else action.step
    for shown in goals.shown(found.view, wanted):
        if shown.goals & wanted:
            wanted &= ~shown.goals
            about = goals.asked[shown.cond]
            of = dict(zip(shown.use.per, shown.members, strict=True))
            members = tuple(of[per] for per in about.lists_of(shown.use))
            named = about.named is not None
            verdict = named_verdict(found.view, about, members) if named else Verdict(shown.verdicts[-1])
            assert verdict is not None
            expect[about.called(shown.use, members)] = verdict.word
    return follows | ({"conditions": expect} if expect else {})


def written(
    goals: Goals, name: str, scenario: Mapping[str, Any], taken: Sequence[Found], about: str | None = None
) -> str:
    """The text of a scenario that follows another and expects of each condition what it shows.

    `name` is that of the file it follows; `about` what somebody wrote of it.
    """
    does = []
    player = Player(goals.program, scenario, None, None)
    place = 0
    for each in sorted(taken, key=lambda f: f.moment.after):
        while place < each.moment.after:
            part = scenario["does"][place]
            place += 1
            player.turn(place, {key: value for key, value in part.items() if key != "expect"})
        fork = after(player, each.moment.more or [{}])
        assert fork is not None
        follows = _follows(goals, fork, each.goals)
        if not follows:
            continue
        # Copied, so that YAML does not write one entry as an alias of another.
        *first, last = deepcopy(each.moment.more) or [{}]
        does.append(
            {"after": each.moment.after, **({"does": first} if first else {}), **last, "expect": follows}
        )
    text = {
        "scenario": f"What else follows in {name}",
        **({"about": about} if about else {}),
        "made": "generated",
        "follows": name,
        "does": does,
    }
    return yaml.dump(
        text, Dumper=_Tidy, sort_keys=False, allow_unicode=True, width=110, default_flow_style=None
    )


class _Tidy(yaml.SafeDumper):
    """Lists stand two spaces in, as in the other files of a pack."""

    def increase_indent(self, flow: bool = False, indentless: bool = False) -> None:
        super().increase_indent(flow, False)
