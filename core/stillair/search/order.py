"""Which check comes next, for least expected minutes to the fault.

Checks of one place each, without set-ups, go by chance per minute, p q / c (Black, "Discrete sequential
search", Information and Control 8, 1965; DeGroot, Optimal Statistical Decisions, 1970). A set-up is a job
of no chance that must come before its checks; so must any job that another would spoil.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from .jobs import Check, Jobs, SetUp
from .schedule import best_order, runs_of

__all__ = ["Check", "Plan", "SetUp", "choose", "expected_minutes"]


@dataclass(frozen=True, slots=True)
class Plan:
    """The checks in their order, with what they take on average until the fault is met or all are done.

    `rates` is the chance per minute at which each was chosen: of the run it belongs to, set-ups counted in.
    `pays` are the set-ups each is the first to need. `author_minutes` is the same of the author's order,
    None without one; `pinned` when that order is kept though another is shorter, of `best_minutes`.
    """

    order: tuple[str, ...]
    minutes: float
    rates: tuple[float, ...]
    runs: tuple[int, ...]
    pays: tuple[tuple[str, ...], ...]
    author_minutes: float | None = None
    pinned: bool = False
    best_minutes: float = 0.0

    @property
    def rate(self) -> float:
        """The chance per minute of going on; 0 when there is nothing to do."""
        return self.rates[0] if self.rates else 0.0

    @property
    def runner_up(self) -> int | None:
        """The place in the order of the check that would be next if the first run were not there."""
        later = [i for i, run in enumerate(self.runs) if run != self.runs[0]]
        return later[0] if later else (1 if len(self.order) > 1 else None)

    @property
    def pin_costs(self) -> float:
        """What keeping the author's order costs, in expected minutes."""
        return self.minutes - self.best_minutes if self.pinned else 0.0


def choose(
    checks: Sequence[Check],
    set_ups: Sequence[SetUp],
    belief: Mapping[str, float],
    author: Sequence[str] = (),
    pinned: bool = False,
) -> Plan:
    """The order of the checks, never longer on average than the author's.

    Set-ups that are not in `set_ups` are made ready already. A check that is not allowed is left out, with
    all that must come after it. `belief` is the chance that the fault is at a place; what is missing to 1
    is elsewhere. An author's order that breaks what must come first is put right, as little as can be.
    """
    jobs = Jobs(checks, set_ups, belief)
    own = jobs.following(author) if author else None
    best = best_order(jobs)
    if own is not None and jobs.minutes(own) <= jobs.minutes(best) * (1 + 1e-12):
        best = own
    if own is not None and (pinned or best is own):
        return _plan(jobs, own, own, best, pinned)
    return _plan(jobs, best, own, best, False)


def expected_minutes(
    order: Sequence[str], checks: Sequence[Check], set_ups: Sequence[SetUp], belief: Mapping[str, float]
) -> float:
    """What checks in this order take on average until the fault is met, or until all are done.

    Each set-up is made ready just before the first check that needs it. ValueError if the order breaks what
    must come first.
    """
    jobs = Jobs(checks, set_ups, belief)
    followed = jobs.following(order)
    if [jobs.names[j] for j in followed if jobs.names[j] in jobs.checks] != list(order):
        raise ValueError("the order breaks what must come first, or leaves something out")
    return jobs.minutes(followed)


def _plan(
    jobs: Jobs, order: Sequence[int], own: Sequence[int] | None, best: Sequence[int], pinned: bool
) -> Plan:
    names: list[str] = []
    rates: list[float] = []
    numbers: list[int] = []
    pays: list[tuple[str, ...]] = []
    waiting: list[str] = []
    for number, run in enumerate(runs_of(jobs, order)):
        for job in run.jobs:
            name = jobs.names[job]
            if name not in jobs.checks:
                waiting.append(name)
                continue
            names.append(name)
            rates.append(run.rate)
            numbers.append(number)
            pays.append(tuple(waiting))
            waiting.clear()
    return Plan(
        tuple(names),
        jobs.minutes(order),
        tuple(rates),
        tuple(numbers),
        tuple(pays),
        None if own is None else jobs.minutes(own),
        pinned and list(order) != list(best),
        jobs.minutes(best),
    )
