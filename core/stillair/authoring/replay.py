"""An old job assessed with other rules beside its own: what it would have found, stopped or cautioned.

What the other rules ask and the job never told stays open.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from stillair.assess import Assessment, Program, assess
from stillair.job import Line

__all__ = ["Change", "outcomes", "replayed"]

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
    was, now = (outcomes(assess(program, lines, at)) for program in (old, new))
    for key in dict.fromkeys((*was, *now)):
        before, after = was.get(key, NOT_THERE), now.get(key, NOT_THERE)
        if before != after:
            yield Change(*key, before, after)
