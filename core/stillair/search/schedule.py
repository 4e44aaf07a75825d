"""An order of jobs with the least sum of chance times end, or close to it.

Parts of the jobs that share nothing are apart. A part is taken apart further: the set with the highest
chance per minute that lacks nothing that must come first goes first (Sidney, Operations Research 23, 1975).
Inside such a set, once the jobs that others wait for stand in some order, each other job waits for one of
them, the last; what is left is a tree and solved exactly (Horn, SIAM Journal on Applied Mathematics 23,
1972). Those orders are tried all, where they are few. Else every way to get on is followed, as long as the
sets of jobs done are few enough (Held and Karp, Journal of SIAM 10, 1962). Else orders are tried from one of
them by moving one job at a time.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from itertools import islice, pairwise
from math import inf
from operator import itemgetter
from typing import NamedTuple, TypeAlias

from .jobs import Jobs, members

__all__ = ["best_order", "runs_of"]

#: Orders of the jobs that others wait for: tried all, up to so many; else so many by moving one at a time.
_ALL, _SOME = 24, 40
#: Sets of jobs done that are told apart before trying gives way to moving.
_SETS = 600
#: Of more jobs that others wait for than this, not every set is tried for the best chance per minute.
_MANY = 9
#: How often an order is planned again where checks share places.
_AGAIN = 2


class Run(NamedTuple):
    """Jobs done one after another: chance per minute, minutes, chance, and the sum of chance times end."""

    rate: float
    minutes: float
    chance: float
    cost: float
    jobs: tuple[int, ...]


def _run(minutes: float, chance: float, cost: float, jobs: tuple[int, ...]) -> Run:
    return Run(chance / minutes if minutes else (inf if chance else -1.0), minutes, chance, cost, jobs)


def _joined(one: Run, two: Run) -> Run:
    """One run after another."""
    _, minutes, chance, cost, jobs = one
    _, more, also, sooner, rest = two
    return _run(minutes + more, chance + also, cost + sooner + also * minutes, jobs + rest)


_rate = itemgetter(0)
_Done: TypeAlias = "tuple[int, _Done] | None"


def _cost(runs: Sequence[Run]) -> float:
    cost = taken = 0.0
    for run in runs:
        cost += run.cost + run.chance * taken
        taken += run.minutes
    return cost


def best_order(jobs: Jobs) -> list[int]:
    """An order of all jobs with least expected minutes, or close to it.

    Where two checks look at one place, the later finds less. The order is then planned again, each check
    with the chance it had in the order before.
    """
    best = _planned(jobs, [jobs.gain(job, jobs.belief) for job in range(len(jobs.names))])
    if jobs.apart:
        return best
    least = jobs.minutes(best)
    for _ in range(_AGAIN):
        order = _improved(jobs, _planned(jobs, jobs.met(best)))
        minutes = jobs.minutes(order)
        if minutes >= least * (1 - 1e-12):
            break
        best, least = order, minutes
    return best


def runs_of(jobs: Jobs, order: Sequence[int]) -> list[Run]:
    """An order cut where the chance per minute falls: each run is the best way on from where it begins."""
    chances = jobs.met(order)
    return _falling(_alone(jobs, chances, job) for job in order)


def _falling(jobs: Iterable[Run]) -> list[Run]:
    """These one after another, as runs of falling chance per minute."""
    runs: list[Run] = []
    for run in jobs:
        while runs and runs[-1].rate <= run.rate:
            run = _joined(runs.pop(), run)
        runs.append(run)
    return runs


def _planned(jobs: Jobs, chances: Sequence[float]) -> list[int]:
    runs = [run for part in _parts(jobs) for run in _Part(jobs, chances, part).runs()]
    runs.sort(key=_rate, reverse=True)
    return jobs.in_time(job for run in runs for job in run.jobs)


def _alone(jobs: Jobs, chances: Sequence[float], job: int) -> Run:
    minutes, chance = jobs.minutes_of[job], chances[job]
    return _run(minutes, chance, minutes * chance, (job,))


def _parts(jobs: Jobs) -> Iterator[list[int]]:
    """The jobs in parts that share nothing that must come first."""
    masks = [1 << job | before for job, before in enumerate(jobs.before)]
    parts: list[int] = []
    for mask in masks:
        touching = [p for p in parts if p & mask]
        parts = [p for p in parts if not p & mask]
        for each in touching:
            mask |= each
        parts.append(mask)
    for part in parts:
        yield list(members(part))


class _Part:
    """Jobs that wait for each other, directly or not."""

    def __init__(self, jobs: Jobs, chances: Sequence[float], part: Sequence[int]) -> None:
        self.jobs = jobs
        self.chances = chances
        self.part = part

    def alone(self, job: int) -> Run:
        return _alone(self.jobs, self.chances, job)

    def runs(self) -> list[Run]:
        """A part is taken apart: what has the best chance per minute, then the best of what is left."""
        heads = [job for job in self.part if self.jobs.waited_for >> job & 1]
        leaves = sorted(
            (self.alone(j) for j in self.part if not self.jobs.waited_for >> j & 1), key=_rate, reverse=True
        )
        if len(heads) > _MANY and (exact := self._followed(_Tree(self, leaves, 0), heads)) is not None:
            return exact
        runs: list[Run] = []
        done = 0
        while heads:
            first = self._densest(heads, leaves, done)
            taken = sum(1 << job for job in first)
            inner = [h for h in heads if taken >> h & 1]
            tree = _Tree(self, [leaf for leaf in leaves if taken >> leaf.jobs[0] & 1], done)
            runs += self._ordered(tree, inner)
            done |= taken
            heads = [h for h in heads if not taken >> h & 1]
            leaves = [leaf for leaf in leaves if not taken >> leaf.jobs[0] & 1]
            free = [leaf for leaf in leaves if not self.jobs.before[leaf.jobs[0]] & ~done]
            runs += free
            leaves = [leaf for leaf in leaves if leaf not in free]
        return runs + leaves

    def _densest(self, heads: Sequence[int], leaves: Sequence[Run], done: int) -> tuple[int, ...]:
        """Of all sets that lack nothing that must come first, the one with the highest chance per minute."""
        best = None
        for mask in self._closed(heads, done):
            ready = mask | done
            jobs = list(members(mask))
            minutes = sum(self.jobs.minutes_of[head] for head in jobs)
            chance = sum(self.chances[head] for head in jobs)
            for leaf in leaves:
                if not self.jobs.before[leaf.jobs[0]] & ~ready:
                    if chance * leaf.minutes >= leaf.chance * minutes and chance:
                        break
                    minutes += leaf.minutes
                    chance += leaf.chance
                    jobs += leaf.jobs
            rate = _run(minutes, chance, 0.0, ()).rate
            if best is None or rate > best[0]:
                best = (rate, tuple(jobs))
        assert best is not None
        return best[1]

    def _closed(self, heads: Sequence[int], done: int) -> Iterator[int]:
        """Sets that lack nothing that must come first: all of them, or each job with what it waits for."""
        if len(heads) > _MANY:
            for head in heads:
                yield sum(1 << job for job in self._led_by(head, heads))
            return
        sets = [0]
        for head in self._led(heads):
            sets += [each | 1 << head for each in sets if not self.jobs.before[head] & ~(each | done)]
        yield from sets[1:]

    def _led(self, heads: Sequence[int]) -> list[int]:
        """These jobs in an order that respects what must come first."""
        order: list[int] = []
        for head in heads:
            order += [job for job in self._led_by(head, heads) if job not in order]
        return order

    def _ordered(self, tree: _Tree, heads: Sequence[int]) -> list[Run]:
        orders = list(islice(self._orders(heads), _ALL + 1))
        if len(orders) <= _ALL:
            return min((tree.runs(order) for order in orders), key=_cost)
        exact = self._followed(tree, heads)
        return self._searched(tree, orders[0]) if exact is None else exact

    def _followed(self, tree: _Tree, heads: Sequence[int]) -> list[Run] | None:
        """The best order by every way to get on from each set of jobs done; None if these are too many.

        Of the jobs that nothing waits for and that may be done, only the one with the best chance per
        minute can be next: changed round with a worse one before it, nothing gets longer.
        """
        minutes_of, chances = self.jobs.minutes_of, self.chances
        waiting = sum(1 << head for head in heads)
        ways = [(1 << h, self.jobs.before[h] & waiting, minutes_of[h], chances[h], h) for h in heads]
        rest = [
            (1 << leaf.jobs[0], sum(1 << head for head in before), leaf.minutes, leaf.chance, leaf.jobs[0])
            for leaf, before in tree.leaves
        ]
        layer: dict[int, tuple[float, float, _Done]] = {0: (0.0, 0.0, None)}
        count = 0
        for _ in range(len(ways) + len(rest)):
            after: dict[int, tuple[float, float, _Done]] = {}
            for done, (cost, taken, order) in layer.items():
                open_ways = [way for way in ways if not way[0] & done and not way[1] & ~done]
                for leaf in rest:
                    if not leaf[0] & done and not leaf[1] & ~done:
                        open_ways.append(leaf)
                        break
                for bit, _, minutes, chance, job in open_ways:
                    end = taken + minutes
                    more = cost + chance * end
                    known = after.get(done | bit)
                    if known is None or more < known[0]:
                        after[done | bit] = (more, end, (job, order))
            count += len(after)
            if count > _SETS:
                return None
            layer = after
        ((_, _, last),) = layer.values()
        found: list[int] = []
        while last is not None:
            job, last = last
            found.append(job)
        return _falling(self.alone(job) for job in reversed(found))

    def _orders(self, heads: Sequence[int]) -> Iterator[list[int]]:
        """All orders of these jobs that respect what must come first."""
        if not heads:
            yield []
        waited = sum(1 << h for h in heads)
        for head in heads:
            if not self.jobs.before[head] & waited:
                for rest in self._orders([h for h in heads if h != head]):
                    yield [head, *rest]

    def _searched(self, tree: _Tree, order: list[int]) -> list[Run]:
        """From one order of the jobs that others wait for, moving one while that helps."""
        best = tree.runs(order)
        tries = _SOME
        better = True
        while better and tries > 0:
            better = False
            for moved in _moves(order):
                if not self._holds(moved):
                    continue
                runs = tree.runs(moved)
                tries -= 1
                if _cost(runs) < _cost(best) * (1 - 1e-12):
                    order, best, better = moved, runs, True
                    break
                if tries <= 0:
                    break
        return best

    def _holds(self, order: Sequence[int]) -> bool:
        later = sum(1 << h for h in order)
        for head in order:
            later &= ~(1 << head)
            if self.jobs.before[head] & later:
                return False
        return True

    def _led_by(self, head: int, waiting: Collection[int]) -> list[int]:
        """What must still be done for a job, in order, the job last."""
        found: list[int] = []

        def add(job: int) -> None:
            if job in found or job not in waiting:
                return
            for other in members(self.jobs.before[job]):
                add(other)
            found.append(job)

        add(head)
        return found


class _Tree:
    """Jobs that nothing waits for, hung on an order of those that others wait for."""

    def __init__(self, part: _Part, leaves: Sequence[Run], done: int) -> None:
        self.part = part
        self.leaves = [(leaf, tuple(members(part.jobs.before[leaf.jobs[0]] & ~done))) for leaf in leaves]

    def runs(self, order: Sequence[int]) -> list[Run]:
        """The best order with the waited-for jobs in this one, as runs of falling chance per minute."""
        position = {head: at for at, head in enumerate(order)}
        hung: list[list[Run]] = [[] for _ in order]
        for leaf, before in self.leaves:
            at = max(position[head] for head in before)
            hung[at].append(leaf)
        runs: list[Run] = []
        for head, own in zip(reversed(order), reversed(hung), strict=True):
            if own:
                runs = sorted([*runs, *own], key=_rate, reverse=True)
            run = self.part.alone(head)
            taken = 0
            while taken < len(runs) and run.rate <= runs[taken].rate:
                run = _joined(run, runs[taken])
                taken += 1
            runs = [run, *runs[taken:]]
        return runs


def _improved(jobs: Jobs, order: list[int]) -> list[int]:
    """Neighbours changed round while that helps: where a silence at one lowers the chance of the other."""
    for _ in range(3):
        changed = False
        left = dict(jobs.belief)
        at = 0
        while at + 1 < len(order):
            one, two = order[at], order[at + 1]
            if not jobs.before[two] >> one & 1 and _sooner(jobs, two, one, left):
                order[at], order[at + 1] = two, one
                changed = True
            jobs.miss(order[at], left)
            at += 1
        if not changed:
            break
    return jobs.in_time(order)


def _sooner(jobs: Jobs, one: int, two: int, left: Mapping[str, float]) -> bool:
    return jobs.gain(one, left) * jobs.minutes_of[two] > jobs.gain(two, left) * jobs.minutes_of[one]


def _moves(order: Sequence[int]) -> Iterator[list[int]]:
    """Every order that differs by moving one job; neighbours first."""
    for (i, _), (j, _) in pairwise(enumerate(order)):
        yield [*order[:i], order[j], order[i], *order[j + 1 :]]
    for i in range(len(order)):
        rest = [*order[:i], *order[i + 1 :]]
        for j in range(len(order)):
            if abs(i - j) > 1:
                yield [*rest[:j], order[i], *rest[j:]]
