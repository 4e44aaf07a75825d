"""Every scenario of the bundled pack comes out as its author expects."""

from __future__ import annotations

from pathlib import Path

import pytest
import stillair_checklists
from stillair.assess import Program, compile_packs
from stillair.authoring.rehearse import play, read_scenario
from stillair.hooks import Plugins
from stillair.pack import read_pack
from stillair.trail import markdown

PACK = Path(stillair_checklists.__file__).parent / "leak"
SCENARIOS = sorted((PACK / "scenarios").glob("*.yaml"))


@pytest.fixture(scope="module")
def program() -> Program:
    plugins = Plugins.load()
    pack = read_pack(PACK, plugins=plugins.versions())
    return compile_packs([pack], plugins.calculators, plugins.catalogues)


def test_there_are_scenarios() -> None:
    """An empty run would prove nothing."""
    assert len(SCENARIOS) >= 20


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_scenario(program: Program, path: Path) -> None:
    """What is concluded, asked, awaited and refused is what the scenario says."""
    rehearsal = play(program, read_scenario(path), markdown)
    assert rehearsal.misses == [], "\n".join(str(miss) for miss in rehearsal.misses)
