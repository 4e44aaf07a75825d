"""One more entry gives the same assessment whether the job is assessed in full or followed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from stillair.assess import Assessment, Program, assess, follow
from stillair.authoring import rehearse
from stillair.authoring.rehearse import Player, play, read_scenario
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
    """Eight lines of every 40 one by one, from `first` on, and the last eight; then eleven minutes later."""
    for start in sorted({*range(first, len(lines) - 8, 40), max(len(lines) - 8, 1)}):
        found = assess(program, lines[:start], lines[start - 1].entered)
        for count in range(start + 1, min(start + 8, len(lines)) + 1):
            at = lines[count - 1].entered
            found = follow(found, lines[:count], at)
        assert said(found) == said(assess(program, lines[:count], at)), lines[count - 1]
        later = assess(program, lines[:count], at + 11 * 60)
        assert said(follow(found, lines[:count], at + 11 * 60)) == said(later)


SCENARIOS = {path: read_scenario(path) for path in WRITTEN}
WHOLE = [path for path, scenario in SCENARIOS.items() if "base" not in scenario]
FORKED = [path for path, scenario in SCENARIOS.items() if "base" in scenario]


@pytest.mark.parametrize("path", WHOLE, ids=lambda p: p.stem)
def test_following_says_what_assessing_says(program: Program, path: Path) -> None:
    """Through a fifth of every scenario, another part of each, and its end."""
    first = WHOLE.index(path) % 40 + 1
    followed(program, apart(play(program, SCENARIOS[path]).lines), first)


@pytest.mark.parametrize("path", FORKED, ids=lambda p: p.stem)
def test_what_goes_on_from_another_scenario_is_followed_too(
    program: Program, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the place where it goes on, by as many lines as are entered there: one time in four."""
    held = 0

    def fork(player: Player) -> Player:
        player.found()
        return begin(player)

    def both(before: Assessment, lines: Sequence[Line], at: float) -> Assessment:
        nonlocal held
        held += 1
        found = follow(before, lines, at)
        if held % 4 == 1:
            assert said(found) == said(assess(program, lines, at))
        return found

    begin = Player.fork
    monkeypatch.setattr(Player, "fork", fork)
    monkeypatch.setattr(rehearse, "follow", both)
    play(program, SCENARIOS[path], passages, watch=lambda found, expected: None)
    assert held


def apart(lines: Sequence[Line]) -> list[Line]:
    """The lines a second apart where they share a minute, as a person would enter them."""
    found: list[Line] = []
    for line in lines:
        last = found[-1].taken if found else float("-inf")
        taken = max(line.taken, last + 1) if found else line.taken
        found.append(replace(line, taken=taken, entered=taken))
    return found
