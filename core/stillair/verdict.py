"""Verdicts: a condition holds, fails, or is open with its reasons."""

from __future__ import annotations

from collections.abc import Iterable
from enum import Enum, IntEnum
from typing import NamedTuple

__all__ = ["Reason", "Verdict", "Why", "all_of", "any_of"]


class Verdict(IntEnum):
    """HOLDS if true for every possible value, FAILS if for none, OPEN otherwise."""

    FAILS = 0
    HOLDS = 1
    OPEN = 2

    @property
    def word(self) -> str:
        return self.name.lower()


class Why(Enum):
    """Why a matter is open. An open verdict carries at least one of these."""

    NOT_ASKED = "not asked"
    UNAVAILABLE = "cannot be had"
    STALE = "gone stale"
    DISPUTED = "disputed"
    CLOSE = "too close to call"
    OUTSIDE = "outside the valid range"
    OPEN_LIST = "list not closed"
    NONE = "none listed"
    LATER = "waiting for a later check"
    VOID = "does not count"
    UNWATCHED = "not watched"
    NOT_YET = "has not happened yet"


class Reason(NamedTuple):
    """One reason: its kind, the name it is about (`dead of indoor`), and one plain sentence part."""

    why: Why
    about: str
    text: str = ""

    def __str__(self) -> str:
        return f"{self.about}: {self.text or self.why.value}"


def all_of(verdicts: Iterable[Verdict]) -> Verdict:
    """Kleene conjunction; of nothing, it holds."""
    result = Verdict.HOLDS
    for verdict in verdicts:
        if verdict is Verdict.FAILS:
            return verdict
        if verdict is Verdict.OPEN:
            result = verdict
    return result


def any_of(verdicts: Iterable[Verdict]) -> Verdict:
    """Kleene disjunction; of nothing, it fails."""
    result = Verdict.FAILS
    for verdict in verdicts:
        if verdict is Verdict.HOLDS:
            return verdict
        if verdict is Verdict.OPEN:
            result = verdict
    return result
