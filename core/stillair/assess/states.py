"""What an assessment says: rules, findings, steps, places, suspicions, permissions, the next action."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import NamedTuple

from stillair.condition.core import Ref
from stillair.verdict import Reason, Verdict

from .history import Observation
from .program import Binding, Cond, bound
from .view import View

__all__ = [
    "YES",
    "Action",
    "Blocked",
    "Finding",
    "May",
    "Permission",
    "PlaceState",
    "RuleState",
    "StepState",
    "Suspicion",
]


class May(Enum):
    YES = "yes"
    NOT_YET = "not yet"
    NO = "no"


class Blocked(NamedTuple):
    """One thing that stands against a step: a stop, or a gate that fails."""

    rule: str | None
    say: str
    lifted_by: str | None
    safety: bool
    lines: tuple[int, ...] = ()


class Permission(NamedTuple):
    """Whether a step may be done: yes; not yet, with what is missing; or no, with what stands against it."""

    may: May
    blocked: tuple[Blocked, ...] = ()
    missing: tuple[Ref, ...] = ()
    reasons: tuple[Reason, ...] = ()


YES = Permission(May.YES)


@dataclass(slots=True)
class RuleState:
    """A rule, for one member of its list if it is kept per list."""

    rule: str
    member: str | None
    verdict: Verdict
    decided: float | None
    view: View = field(repr=False, compare=False)

    @property
    def _when(self) -> tuple[Cond, Binding]:
        rule = self.view.program.rules[self.rule]
        return rule.when, bound(rule, self.member)

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Why it is open; empty where it is decided."""
        return self.view.reasons(*self._when) if self.verdict is Verdict.OPEN else ()

    @property
    def lines(self) -> tuple[int, ...]:
        """The lines of the job it rests on."""
        return self.view.lines_of(*self._when)


@dataclass(slots=True)
class Finding:
    """A finding as it stands: its grade, the rule and the moment that gave it.

    `grade` is the strongest that a rule gives now, `none` when no rule can, `open` when none does yet.
    `grades` are all it may still have: a suspicion may become proof by what is learnt next.
    """

    name: str
    member: str | None
    grade: str
    grades: tuple[str, ...]
    rule: str | None
    decided: float | None
    lines: tuple[int, ...]
    view: View = field(repr=False, compare=False)

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """What keeps a stronger grade open."""
        return self.view.finding_reasons(Ref(self.name, self.member))


class StepState(NamedTuple):
    """Status: done, passed over, skipped, ready, waiting, held, not yet, stopped.

    A step is held while what it would observe could not count as evidence.
    """

    step: str
    member: str | None
    status: str
    permission: Permission
    asks: tuple[Ref, ...] = ()
    list: str | None = None
    """An open list whose end must still be said."""
    settled: bool = False
    """It stays so until something that the step itself asks, waits for or is wanted for changes."""


class PlaceState(NamedTuple):
    """A place: what the look gave, and whether it counts.

    `status`: not looked, not reached, void, waiting, or the option observed.
    """

    place: str
    status: str
    observation: Observation | None
    reason: Reason | None


class Suspicion(NamedTuple):
    """An observation that cannot be, or that fits only in another unit. Nothing rests on it meanwhile."""

    ref: Ref
    observation: Observation
    slip: str
    other: str | None = None
    confirmed: bool = False
    """The same was entered again: to ask once more would be no use."""


class Action(NamedTuple):
    """The one next action.

    `kind`: settle (a suspicion), ask, do, begin (a powered state), wait, list, stopped, finished.
    """

    kind: str
    step: str | None = None
    member: str | None = None
    facts: tuple[Ref, ...] = ()
    why: str = ""
    wait: str | None = None
    list: str | None = None
    suspicion: Suspicion | None = None
    permission: Permission = YES
