"""What the owner is told when it was not found where it leaks."""

from __future__ import annotations

from datetime import UTC

import pytest
from stillair.assess import Program, assess
from stillair.authoring.rehearse import play, read_scenario
from stillair.trail import letter, markdown, write

from .test_scenarios import SCENARIOS

FOUND, UNSURE, CHOICES, NEXT = (
    "## What we found",
    "## What we could not check, and what is not certain",
    "## Your choices",
    "## What comes next",
)


def told(program: Program, stem: str) -> tuple[str, str]:
    """The letter and the trail at the end of a scenario."""
    path = next(path for path in SCENARIOS if path.stem == stem)
    lines = play(program, read_scenario(path)).lines
    found = assess(program, lines, lines[-1].entered)
    return write(letter(found, lines, UTC)), markdown(found, lines, UTC)


def part(said: str, title: str) -> str:
    return " ".join(said.split(f"{title}\n")[1].split("\n## ")[0].split())


def test_nothing_found_is_no_promise_and_a_better_test_and_a_day_are_named(program: Program) -> None:
    said, _ = told(program, "400-nothing-found-anywhere")
    assert "That does not mean that it is tight." in part(said, FOUND)
    assert "Where it leaks was not found. It may leak all the same" in part(said, UNSURE)
    choices = part(said, CHOICES)
    assert "Held under nitrogen for about " in choices
    assert "not known" not in choices
    assert "You chose to have it searched again, in a way that sees more." in choices
    assert "We look at it again on 2026-09-30." in part(said, NEXT)


def test_one_answer_is_a_suspicion_and_no_day_is_no_silence(program: Program) -> None:
    path = next(path for path in SCENARIOS if path.stem == "401-it-answered-once")
    scenario = read_scenario(path)
    notes = [turn.get("note", {}) for turn in scenario["does"]]
    cut = next(i for i, note in enumerate(notes) if note.get("search_over") == "no")
    scenario = {**scenario, "does": scenario["does"][:cut]}
    lines = play(program, scenario).lines
    said = write(letter(assess(program, lines, lines[-1].entered), lines, UTC))
    assert "Outdoor coil and base pan: The detector answered here. That is a suspicion" in part(said, FOUND)
    assert "What was not reached can be opened up and looked at." in part(said, CHOICES)
    assert "You chose to have nothing more done for now. It may leak all the same." in part(said, CHOICES)
    assert "No day is set yet on which somebody looks at it again. Ask for one." in part(said, NEXT)


def test_what_a_better_test_finds_takes_all_of_it_back(program: Program) -> None:
    said, trail = told(program, "402-a-finer-detector-finds-it")
    assert "Two different methods show it." in part(said, FOUND)
    for text in (said, trail.split("\n## Everything")[0].split("\n## Entries")[0]):
        assert "Where it leaks was not found" not in text
        assert "It was not found where it leaks. It may leak" not in text


@pytest.mark.parametrize("number", [400, 401, 402, 403])
def test_nobody_is_told_that_there_is_no_leak(program: Program, number: int) -> None:
    said, _ = told(program, next(p.stem for p in SCENARIOS if p.stem.startswith(f"{number}-")))
    for promise in ("no leak", "does not leak", "free of leaks", "leak-free", "tight now"):
        assert promise not in said.lower()
