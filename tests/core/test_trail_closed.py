"""The moment a trail is told as of: the close of a job, its last entry, or one asked for."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from stillair.assess import Program
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Session, Settings

sys.path.insert(0, str(Path(__file__).parent))
from test_trail_walk import NINE, ZONE, Walk, compiled, walked, written


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Program:
    return compiled(written(tmp_path_factory.mktemp("packs") / "pipe"))


@pytest.fixture
def walk(program: Program) -> Walk:
    return Walk(program)


def closed(walk: Walk, minutes: float) -> Walk:
    walked(walk).minutes(minutes).add("close", checklist=None, outcome="to be mended")
    return walk


def test_a_job_closed_the_next_day_is_not_undone_by_the_age_of_its_readings(walk: Walk) -> None:
    trail = closed(walk, 60 * 24).trail()
    assert "**As of 2026-04-16 09:00 -04:00, when the job was closed.**" in trail
    for phrase in ("The nose is dead", "Not every stop", "gone stale", "slack` – may", "**Still open:**"):
        assert phrase not in trail
    assert "`slack` – `pressure = 60.0 psig ± 2.0 psi (line 9, 2026-04-15 09:00 -04:00)" in trail


def test_an_open_job_a_day_later_says_that_its_readings_are_old(walk: Walk) -> None:
    walked(walk).minutes(60 * 24).add("note", text="came back")
    trail = walk.trail()
    assert "**As of 2026-04-16 09:00 -04:00, the last entry, line 17.**" in trail
    assert "Not every stop is ruled out" in trail
    assert "gone stale (good for 30 min, taken longer ago)" in trail


def test_a_closed_job_keeps_a_stop_that_was_never_ruled_out_or_held_last(
    walk: Walk, program: Program
) -> None:
    walk.note(nose="good")
    walk.minutes(60).add("close", checklist=None, outcome="left")
    assert "Not every stop is ruled out" in walk.part("In short")
    other = walked(Walk(program))
    other.minutes(22).note(drip="silent")
    other.minutes(60 * 24).add("close", checklist=None, outcome="left")
    assert "`dead-nose`" in other.part("Stops and cautions").split("**Stops not ruled out.**")[1]


def test_a_closed_job_keeps_a_stop_that_an_event_made_open_again(walk: Walk) -> None:
    walked(walk).add("handover", to="B. Tech")
    walk.minutes(60 * 24).add("close", checklist=None, outcome="left")
    unknown = walk.part("Stops and cautions").split("**Stops not ruled out.**")[1]
    assert "`no-card`" in unknown and "handover after it was taken" in unknown
    assert "`dead-nose`" not in unknown


def test_a_caution_that_has_only_grown_old_is_still_given(walk: Walk) -> None:
    walk.note(pressure="30 psig")
    walk.minutes(60 * 24).add("close", checklist=None, outcome="left")
    assert "**Low pressure: do not trust silence.**" in walk.part("Stops and cautions")


def test_what_is_noted_after_the_close_changes_nothing_but_the_record(walk: Walk) -> None:
    before = closed(walk, 30).part("Findings")
    walk.minutes(60 * 30).add("note", text="owner called")
    assert walk.part("Findings") == before
    assert "when the job was closed.** 1 entry made later: only in the record below." in walk.trail()
    assert "owner called" in walk.part("Every entry, in order")


def test_what_is_observed_after_the_close_counts(walk: Walk) -> None:
    closed(walk, 30).minutes(40).note(drip="silent")
    assert "**Stop in force:** The nose is dead." in walk.part("In short")


def test_the_verb_tells_a_closed_job_as_of_its_close_unless_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path))
    clock = FixedClock(NINE, ZONE)
    job = tmp_path / "visit.job"
    with Session.start(job, packs=[str(written(tmp_path / "pipe"))], by="A. Tech", clock=clock) as session:
        session.write("observe", {"fact": "drip", "value": "answered", "read": "answered"})
        clock.at += 600
        session.write("close", {"checklist": None, "outcome": "done"})
        clock.at += 7200
        session.write("note", {"text": "owner called"})

    def told(*more: str) -> str:
        return CliRunner().invoke(main, ["trail", str(job), *more], obj=Settings(clock=clock)).output

    assert "**As of 2026-04-15 09:10 -04:00, when the job was closed.**" in told()
    assert '"at": "2026-04-15T09:10:00-04:00"' in told("--format", "json")
    assert "**As of 2026-04-15 11:00 -04:00, a moment asked for.**" in told("--at", "11:00")
