"""Which of two steps comes first: sought where both are to be done."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml

from .conftest import rehearse

pytestmark = pytest.mark.usefixtures("own_cache")

FACTS = """checklist: vat
title: Vat
facts:
  lid: {ask: Lid?, options: {shut: Shut, open: Open}}
  valve: {ask: Valve?, options: {shut: Shut, open: Open}}
  lamp: {ask: Lamp?, options: {good: It shines, weak: It is weak}}
steps:
"""


def vat(folder: Path, *steps: str) -> Path:
    """A pack with these steps, and one scenario in which nothing is done."""
    (folder / "scenarios").mkdir()
    manifest = "pack: vat\nversion: 1.0.0\ntitle: V\nengine: '>=0.1,<1'\nchecklists: [vat.yaml]\n"
    (folder / "manifest.yaml").write_text(manifest, encoding="utf-8")
    text = FACTS + "".join(f"  - {{step: {step}}}\n" for step in steps)
    (folder / "vat.yaml").write_text(text, encoding="utf-8")
    (folder / "scenarios" / "idle.yaml").write_text(
        "scenario: Idle\nstarts: 2026-04-15 09:00 -04:00\nby: A. Tech\ndoes:\n  - expect: {next: a}\n",
        encoding="utf-8",
    )
    return folder


def made(folder: Path) -> list[dict[str, Any]]:
    """The entries that `--fill` makes of it; none may fail."""
    assert rehearse(folder, "--fill").exit_code == 0
    assert rehearse(folder).exit_code == 0
    text = (folder / "scenarios" / "generated" / "idle.yaml").read_text(encoding="utf-8")
    return list(yaml.safe_load(text)["does"])


def orders(folder: Path) -> list[str]:
    """The questions about the order of steps that nothing answers."""
    found = json.loads(rehearse(folder, "--mutate", "--mutants", 999, "--format", "json").stdout)
    return [each["question"] for each in found["survivors"] if "came after" in each["question"]]


def test_what_would_come_first_is_left_out(tmp_path: Path) -> None:
    folder = vat(tmp_path, "a, title: A, ask: [lid]", "b, title: B, ask: [valve]", "c, title: C, ask: [lamp]")
    assert orders(folder) == ["would it matter if `b` came after `c`?"]
    does = made(folder)
    assert {"after": 1, "skip": {"a": "left out here"}, "expect": {"next": "b"}} in does
    assert orders(folder) == []


def test_a_step_answered_in_part_is_still_to_be_done(tmp_path: Path) -> None:
    folder = vat(tmp_path, "a, title: A, ask: [lid, valve]", "b, title: B, ask: [lamp], when: lid is open")
    does = made(folder)
    assert any(each.get("note") == {"lid": "open"} and each["expect"].get("next") == "a" for each in does)
    assert orders(folder) == []


def test_two_steps_that_are_never_both_to_be_done_are_not_sought(tmp_path: Path) -> None:
    folder = vat(tmp_path, "a, title: A, ask: [lid]", "b, title: B, ask: [lamp], when: lid is open")
    assert orders(folder) == []
    assert not any("next" in each["expect"] for each in made(folder))
