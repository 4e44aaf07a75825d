"""Stops that are not ruled out: told in full where their work may be due, by name alone where it is not."""

from __future__ import annotations

import sys
from datetime import UTC
from pathlib import Path

import pytest
from stillair.trail import markdown
from stillair.trail.stops import not_ruled_out, parted
from stillair.wording import Wording

sys.path.insert(0, str(Path(__file__).parent))
from test_assess import Visit

TEXT = """
    lists:
      pipe: {title: Pipes, ask: Another pipe?, open: true}
    facts:
      smell: {ask: Any smell?, kind: yes-no, safety: true}
      wanted: {ask: Shall it be filled?, kind: yes-no}
      hose: {ask: How is the hose?, options: {good: Good, worn: Worn}, safety: true}
      gauge: {ask: How is the gauge?, options: {good: Good, bent: Bent}}
      plugged: {ask: Is it plugged?, kind: yes-no, per: pipe}
    events:
      tap_opened: {say: The tap was opened}
    activities:
      looking: {title: Looking}
      filling: {title: Filling}
      burning: {title: Burning}
    steps:
      - {step: look, activity: looking, ask: [smell, wanted]}
      - {step: fill, activity: filling, when: wanted is yes, ask: [gauge], marks: [tap_opened]}
      - {step: plug, activity: filling, when: wanted is yes, ask: [plugged]}
      - {step: burn, activity: burning, never: It would burn down.}
    rules:
      - rule: smells
        stop: [looking, filling]
        when: smell is yes
        say: Leave.
        lifted by: It no longer smells.
        source: made up
      - rule: worn-hose
        stop: [filling]
        when: hose is worn
        say: No filling through a worn hose.
        lifted by: Another hose.
        source: made up
"""


def names(visit: Visit) -> tuple[list[str], list[str]]:
    wording = Wording(visit.judge(), UTC)
    told, later = parted(wording)
    assert sorted(s.rule for s in [*told, *later]) == sorted(s.rule for s in not_ruled_out(wording))
    return [s.rule for s in told], [s.rule for s in later]


def test_as_long_as_the_work_may_come_its_stop_is_told_in_full() -> None:
    visit = Visit(TEXT)
    assert names(visit) == (["smells", "worn-hose"], [])
    visit.see(wanted="yes")
    assert names(visit) == (["smells", "worn-hose"], [])


def test_of_work_that_is_not_wanted_the_stop_is_named_and_not_hidden() -> None:
    visit = Visit(TEXT)
    visit.see(wanted="no")
    assert names(visit) == (["smells"], ["worn-hose"])
    said = markdown(visit.judge(), visit.lines, UTC)
    stops = said.split("\n## Stops and cautions\n")[1].split("\n## ")[0]
    full, _, short = stops.partition("**Not ruled out either, of work that is not due.**")
    assert "`smells`, which if it held would say" in full and "worn-hose" not in full
    assert "Filling: `worn-hose`" in short


def test_a_stop_of_other_work_as_well_is_told_in_full() -> None:
    visit = Visit(TEXT)
    visit.see(wanted="no")
    assert "smells" in names(visit)[0], "it stops looking too, and that is due"


@pytest.mark.parametrize("begun", ["done", "event", "asked"])
def test_work_that_was_begun_keeps_its_stop_though_it_is_no_longer_wanted(begun: str) -> None:
    visit = Visit(TEXT)
    visit.see(wanted="yes")
    if begun == "done":
        visit.note("done", step="fill")
    elif begun == "event":
        visit.happen("tap_opened")
    else:
        visit.see(gauge="good")
    visit.at(5).see(wanted="no")
    assert names(visit) == (["smells", "worn-hose"], [])


def test_in_short_does_not_say_that_a_stop_is_ruled_out_that_is_not() -> None:
    visit = Visit(TEXT)
    visit.see(wanted="no", smell="no")
    said = "No stop is in force, and every stop of work that is due that rests on safety is ruled out."
    assert said in write_short(visit)
    visit.see(hose="good")
    assert "every stop that rests on safety is ruled out." in write_short(visit)


def write_short(visit: Visit) -> str:
    return markdown(visit.judge(), visit.lines, UTC).split("\n## In short\n")[1].split("\n## ")[0]
