"""One more entry gives the same assessment whether the job is assessed in full or followed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from stillair.assess import Assessment, Program, assess, follow
from stillair.authoring import rehearse
from stillair.authoring.rehearse import Player, play, read_scenario
from stillair.job import Line
from stillair.trail import passages

from .test_scenarios import WRITTEN

AGED = 26 * 3600.0
"""Seconds after which most of what can grow old has."""

PARTS: Sequence[Callable[[Assessment], object]] = (
    lambda found: [(s.rule, s.member, s.verdict, s.decided, s.reasons, s.lines) for s in found.rules],
    lambda found: [(f, f.reasons) for f in found.findings],
    lambda found: found.places,
    lambda found: found.waits,
    lambda found: found.suspicions,
    lambda found: found.steps,
    lambda found: found.next,
    lambda found: found.search and (found.search.quiet, found.search.posterior, found.search.order),
    lambda found: [(s.rule, s.member, s.verdict) for s in (*found.stops, *found.cautions)],
    lambda found: [found.activity(name) for name in found.program.activities],
    lambda found: [found.rule(s.rule, s.member).verdict for s in found.rules],
    lambda found: [found.finding(f.name, f.member) for f in found.findings],
)


def said(found: Assessment, backwards: bool = False) -> list[object]:
    """Everything an assessment says, asked for in order or backwards: it is the same."""
    parts = range(len(PARTS))
    answers = {part: PARTS[part](found) for part in (reversed(parts) if backwards else parts)}
    return [answers[part] for part in parts]


def followed(program: Program, lines: Sequence[Line], first: int) -> None:
    """Eight lines of every 40 one by one, from `first` on, and the last eight; then eleven minutes later.

    After most of them something is asked for, after some nothing: what is not asked for is not worked out.
    Of one that was followed already, and whose entries have grown old, something is asked afterwards.
    """
    for start in sorted({*range(first, len(lines) - 8, 40), max(len(lines) - 8, 1)}):
        found = assess(program, lines[:start], lines[start - 1].entered)
        for count in range(start + 1, min(start + 8, len(lines)) + 1):
            if (count + first) % 4:
                PARTS[(count + first) % len(PARTS)](found)
                PARTS[(count // 3) % 2](found)
            at = lines[count - 1].entered
            found = follow(found, lines[:count], at)
        assert said(found) == said(assess(program, lines[:count], at), backwards=True), lines[count - 1]
        later = assess(program, lines[:count], at + 11 * 60)
        assert said(follow(found, lines[:count], at + 11 * 60)) == said(later, backwards=True)
    now = assess(program, lines, at + AGED)
    older = follow(now, lines, at + AGED + 60)
    findings = PARTS[1]
    findings(now)
    assert findings(older) == findings(assess(program, lines, at + AGED + 60))


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
