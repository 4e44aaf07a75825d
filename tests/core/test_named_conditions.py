"""Conditions that have a name: written once, they mean the same wherever they are named."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from stillair.assess.states import May
from stillair.fault import StillairError
from stillair.verdict import Verdict

sys.path.insert(0, str(Path(__file__).parent))
from test_assess import Visit

HOLDS, FAILS, OPEN = Verdict.HOLDS, Verdict.FAILS, Verdict.OPEN

TEXT = """
    lists:
      source: {title: Sources, members: {one: One, two: Two}}
    conditions:
      at_work: begun is yes and resting
      resting: not (done is yes)
      all_dead: every source has (dead is yes)
      long: climbed > 5 m
    facts:
      begun: {ask: Begun?, kind: yes-no}
      done: {ask: Done?, kind: yes-no}
      dead: {ask: Dead?, kind: yes-no, per: source, safety: true}
      level: {ask: Level?, quantity: length, between: 0 m .. 100 m}
    calculate:
      climbed: level - 1 m
    activities:
      opening: {title: Opening, gate: at_work and all_dead}
    rules:
      - {rule: works, caution: c, when: at_work}
      - {rule: idle, caution: c, when: not at_work}
      - {rule: dead-and-long, caution: c, when: all_dead and long}
"""


def test_it_means_what_it_says_wherever_it_stands() -> None:
    visit = Visit(TEXT)
    assert (visit.rule("works"), visit.rule("idle")) == (OPEN, OPEN)
    visit.see(begun="yes", done="no")
    assert (visit.rule("works"), visit.rule("idle")) == (HOLDS, FAILS)
    visit.at(1).see(done="yes")
    assert (visit.rule("works"), visit.rule("idle")) == (FAILS, HOLDS)


def test_what_it_rests_on_is_what_is_missing() -> None:
    """The reasons name the facts inside, not the name of the condition."""
    visit = Visit(TEXT)
    found = visit.judge()
    assert {str(r) for r in found.view.missing(visit.program.rules["works"].when)} == {"begun", "done"}


def test_lists_and_calculations_may_be_inside() -> None:
    visit = Visit(TEXT)
    visit.see(dead_of_one="yes", dead_of_two="yes", level=7.0)
    assert visit.rule("dead-and-long") is HOLDS
    visit.at(1).see(level=5.5)
    assert visit.rule("dead-and-long") is FAILS


def test_in_a_gate_it_guards_as_if_it_were_written_there() -> None:
    """What safety rests on stays a matter of safety."""
    spelled = TEXT.replace(
        "gate: at_work and all_dead",
        "gate: begun is yes and not (done is yes) and every source has (dead is yes)",
    )
    for text in (TEXT, spelled):
        visit = Visit(text)
        visit.see(begun="yes", done="no", dead_of_one="yes")
        gate = visit.program.activities["opening"].gate
        assert gate is not None and gate.safety
        assert visit.judge().activity("opening").may is May.NOT_YET


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("resting: not (done is yes)", "resting: not at_work", "resting → at_work → resting"),
        ("long: climbed > 5 m", "long: climbed > 5 psi", "length against pressure difference"),
        ("long: climbed > 5 m", "done: climbed > 5 m", "has the name of the"),
        ("when: not at_work", "when: not at_wrk", "`at_wrk` is not defined"),
        ("when: not at_work", "when: at_work is yes", "`at_work` is a condition, not a fact"),
    ],
)
def test_a_fault_is_told_once_at_its_place(old: str, new: str, said: str) -> None:
    assert old in TEXT
    with pytest.raises(StillairError) as raised:
        Visit(TEXT.replace(old, new))
    (fault,) = raised.value.faults
    assert said in str(fault)
    assert fault.line is not None and fault.source_line
