"""One more entry gives the same assessment whether the job is assessed in full or followed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from stillair.assess import Assessment, Program, assess, follow
from stillair.authoring.rehearse import play, read_scenario
from stillair.job import Line
from stillair.trail import passages

from .test_scenarios import WRITTEN


def said(found: Assessment) -> list[object]:
    """Everything an assessment says."""
    return [
        [(s.rule, s.member, s.verdict, s.decided, s.reasons, s.lines) for s in found.rules],
        [(f, f.reasons) for f in found.findings],
        found.places,
        found.waits,
        found.suspicions,
        found.steps,
        found.next,
        None if found.search is None else (found.search.quiet, found.search.posterior, found.search.order),
    ]


def followed(program: Program, lines: Sequence[Line], first: int) -> None:
    """Line by line, held against a full assessment at every sixth line from `first` on and at the last."""
    found: Assessment | None = None
    for count in range(1, len(lines) + 1):
        at = lines[count - 1].entered
        found = assess(program, lines[:count], at) if found is None else follow(found, lines[:count], at)
        if count % 6 != first and count != len(lines):
            continue
        whole = assess(program, lines[:count], at)
        assert said(found) == said(whole), lines[count - 1]
        if count % 4 == 0 or count == len(lines):
            later = assess(program, lines[:count], at + 11 * 60)
            assert said(follow(found, lines[:count], at + 11 * 60)) == said(later)
            found = whole


@pytest.mark.parametrize("path", WRITTEN, ids=lambda p: p.stem)
def test_following_says_what_assessing_says(program: Program, path: Path) -> None:
    """Line by line through every scenario, and eleven minutes later."""
    scenario = read_scenario(path)
    first = WRITTEN.index(path) % 6
    followed(program, apart(play(program, scenario, passages).lines), first)


def apart(lines: Sequence[Line]) -> list[Line]:
    """The lines a second apart where they share a minute, as a person would enter them."""
    found: list[Line] = []
    for line in lines:
        last = found[-1].taken if found else float("-inf")
        taken = max(line.taken, last + 1) if found else line.taken
        found.append(replace(line, taken=taken, entered=taken))
    return found
