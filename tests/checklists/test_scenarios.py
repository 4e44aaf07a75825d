"""Every scenario of the bundled packs comes out as its author expects."""

from __future__ import annotations

from pathlib import Path

import pytest
from stillair.assess import Program
from stillair.authoring.rehearse import play, read_scenario
from stillair.authoring.scenario import GENERATED, scenarios_in
from stillair.hooks import Plugins
from stillair.trail import passages

SCENARIOS = [path for folder in Plugins.load().packs for path in scenarios_in(folder)]
WRITTEN = [path for path in SCENARIOS if path.parent.name != GENERATED]
"""Those that people wrote or recorded."""


def test_there_are_scenarios() -> None:
    """An empty run would prove nothing."""
    assert len(WRITTEN) >= 20


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_scenario(program: Program, path: Path) -> None:
    """What is concluded, asked, awaited and refused is what the scenario says."""
    rehearsal = play(program, read_scenario(path), passages)
    assert rehearsal.misses == [], "\n".join(str(miss) for miss in rehearsal.misses)
