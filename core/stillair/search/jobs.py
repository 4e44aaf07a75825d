"""Checks and set-ups as numbered jobs: what they take, what they may meet, what must come first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

__all__ = ["Check", "Jobs", "SetUp", "members"]


@dataclass(frozen=True, slots=True)
class Check:
    """A look that takes minutes and notices a fault, if it is there, with a chance for each place.

    `needs` are set-ups; `after` are jobs, checks or set-ups, that must have been done, or this spoils them.
    """

    name: str
    minutes: float
    notices: Mapping[str, float]
    needs: frozenset[str] = frozenset()
    after: frozenset[str] = frozenset()
    allowed: bool = True


@dataclass(frozen=True, slots=True)
class SetUp:
    """What must be made ready, once, before some checks: the cabinet open, the walk to the unit outdoors."""

    name: str
    minutes: float
    after: frozenset[str] = frozenset()


class Jobs:
    """Checks and set-ups as numbered jobs; which must come before which, as masks."""

    def __init__(
        self, checks: Sequence[Check], set_ups: Sequence[SetUp], belief: Mapping[str, float]
    ) -> None:
        self.belief = belief
        every: dict[str, Check | SetUp] = {each.name: each for each in set_ups}
        every.update((each.name, each) for each in checks)
        if len(every) < len(checks) + len(set_ups):
            raise ValueError("two jobs have one name")
        left = _left(every)
        wanted = _wanted(left)
        kept = [name for name in every if name in wanted]
        self.names = tuple(kept)
        self.number = {name: i for i, name in enumerate(kept)}
        self.checks = {name: job for name in kept if isinstance(job := every[name], Check)}
        self.minutes_of = tuple(every[name].minutes for name in kept)
        self.before = tuple(
            sum(1 << self.number[b] for b in _before(every[name]) if b in self.number) for name in kept
        )
        self.waited_for = 0
        for mask in self.before:
            self.waited_for |= mask
        self.apart = self._apart()
        """Whether no place is looked at by two checks: then an order changes no chance."""
        self._cyclic()

    def _apart(self) -> bool:
        places = [place for check in self.checks.values() for place, q in check.notices.items() if q]
        return len(places) == len(set(places))

    def _cyclic(self) -> None:
        done = 0
        for _ in self.names:
            more = done
            for job, before in enumerate(self.before):
                if not before & ~done:
                    more |= 1 << job
            done = more
        if done != (1 << len(self.names)) - 1:
            names = ", ".join(n for i, n in enumerate(self.names) if not done >> i & 1)
            raise ValueError(f"each of these must come before another of them: {names}")

    # -- an order, and what it takes ------------------------------------------------------------------------

    def following(self, order: Iterable[str]) -> list[int]:
        """All jobs, the checks in this order as far as what must come first allows; set-ups just in time."""
        found: list[int] = []
        done = 0

        def do(job: int) -> None:
            nonlocal done
            if done >> job & 1:
                return
            for other in members(self.before[job]):
                do(other)
            done |= 1 << job
            found.append(job)

        for name in order:
            if name in self.number:
                do(self.number[name])
        for job in range(len(self.names)):
            do(job)
        return found

    def in_time(self, order: Iterable[int]) -> list[int]:
        """An order with each set-up just before the first check that needs it."""
        return self.following(self.names[job] for job in order if self.names[job] in self.checks)

    def minutes(self, order: Sequence[int]) -> float:
        """The expected minutes of an order of all jobs."""
        left = dict(self.belief)
        missed = 1.0
        taken = 0.0
        for job in order:
            taken += self.minutes_of[job] * missed
            check = self.checks.get(self.names[job])
            if check is not None:
                for place, q in check.notices.items():
                    noticed = left.get(place, 0.0) * q
                    if noticed:
                        left[place] -= noticed
                        missed -= noticed
        return taken

    def met(self, order: Sequence[int]) -> tuple[float, ...]:
        """The chance of each job to meet the fault in this order."""
        left = dict(self.belief)
        chances = [0.0] * len(self.names)
        for job in order:
            chances[job] = self.gain(job, left)
            self.miss(job, left)
        return tuple(chances)

    def gain(self, job: int, left: Mapping[str, float]) -> float:
        """The chance that a job meets the fault, where `left` is what is believed and was not noticed."""
        check = self.checks.get(self.names[job])
        return 0.0 if check is None else sum(left.get(p, 0.0) * q for p, q in check.notices.items())

    def miss(self, job: int, left: dict[str, float]) -> None:
        """Take from `left` what a job would have noticed."""
        check = self.checks.get(self.names[job])
        if check is not None:
            for place, q in check.notices.items():
                left[place] = left.get(place, 0.0) * (1 - q)


def _before(job: Check | SetUp) -> frozenset[str]:
    return job.after | job.needs if isinstance(job, Check) else job.after


def _left(every: Mapping[str, Check | SetUp]) -> dict[str, Check | SetUp]:
    """The jobs that may be done: without the checks not allowed now, and what must come after them."""
    left = dict(every)
    gone = {name for name, job in every.items() if isinstance(job, Check) and not job.allowed}
    while gone:
        for name in gone:
            del left[name]
        gone = {n for n, job in left.items() if any(b in every and b not in left for b in _before(job))}
    return left


def _wanted(left: Mapping[str, Check | SetUp]) -> set[str]:
    """The checks and all that must come before them: a set-up that nothing needs is not made."""
    found: set[str] = set()
    waiting = [name for name, job in left.items() if isinstance(job, Check)]
    while waiting:
        name = waiting.pop()
        if name in left and name not in found:
            found.add(name)
            waiting += _before(left[name])
    return found


def members(mask: int) -> Iterator[int]:
    """The numbers of the jobs in a mask."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low
