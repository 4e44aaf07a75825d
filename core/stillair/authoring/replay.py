"""An old job assessed with other rules beside its own: what it would have found, stopped or cautioned.

What the other rules ask and the job never told stays open.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from stillair.assess import Assessment, Program, assess
from stillair.job import Line

from .lost import fitting

__all__ = ["Change", "differing", "outcomes", "replayed"]

NOT_THERE = "not there"


class Change(NamedTuple):
    """A finding, stop or caution that comes out otherwise."""

    kind: str
    name: str
    of: str | None
    was: str
    now: str


def outcomes(found: Assessment) -> dict[tuple[str, str, str | None], str]:
    """Every finding with its grade, every stop and caution with its verdict."""
    told = {("finding", f.name, f.member): f.grade.replace("_", " ") for f in found.findings}
    for kind, states in (("stop", found.stops), ("caution", found.cautions)):
        told |= {(kind, s.rule, s.member): s.verdict.word for s in states}
    return told


def replayed(lines: Sequence[Line], old: Program, new: Program) -> Iterator[Change]:
    """What comes out otherwise with the new rules, as of the last entry."""
    at = max(line.entered for line in lines)
    yield from differing(assess(old, lines, at), assess(new, fitting(lines, new, old), at))


def differing(before: Assessment, after: Assessment) -> Iterator[Change]:
    """What comes out otherwise in one assessment than in another."""
    was, now = outcomes(before), outcomes(after)
    for key in dict.fromkeys((*was, *now)):
        then, since = was.get(key, NOT_THERE), now.get(key, NOT_THERE)
        if then != since:
            yield Change(*key, then, since)
