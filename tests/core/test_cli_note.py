"""`note`, `handover` and `close`: entries from the command line, and what is said of them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Session, Settings
from stillair.job import Job, Line

KETTLE = Path(__file__).parent / "kettle"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
MINUTE = 60.0


class Visit:
    """A job that has begun, and the verbs run on it under a clock that stands until it is moved."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "visit.job"
        self.clock = FixedClock(NINE)
        Session.start(self.path, packs=[str(KETTLE)], by="A. Tech", clock=self.clock).close()
        self.begun = len(self.lines())

    def run(self, *args: str) -> Result:
        return CliRunner().invoke(main, list(args), obj=Settings(clock=self.clock))

    def note(self, *args: str) -> Result:
        return self.run("note", str(self.path), *args)

    def lines(self) -> list[Line]:
        with Job.open(self.path) as job:
            return list(job.lines)

    def entries(self) -> list[tuple[str, dict[str, object]]]:
        return [(line.kind, dict(line.body)) for line in self.lines()[self.begun :]]


@pytest.fixture(autouse=True, scope="module")
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    home = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, str(home))
        yield


@pytest.fixture
def visit(tmp_path: Path) -> Visit:
    return Visit(tmp_path)


def test_several_facts_are_kept_and_what_is_next_is_said(visit: Visit) -> None:
    result = visit.note("smell=no", "lid=stands ajar", "unplugged of wall=yes", "water=22 C")
    assert result.exit_code == 2
    assert visit.entries() == []
    result = visit.note("smell=no", "lid=It stands ajar", "unplugged of wall=yes", "water=22 C")
    assert result.exit_code == 0
    assert [body.get("fact") for _, body in visit.entries()] == ["smell", "lid", "unplugged", "water"]
    assert "kept 09:00 water: 22 °C" in result.output
    assert "next: Pull the plug" in result.output


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("smel=no",), "did you mean `smell`?"),
        (("smell=no", "watr=72"), "there is no fact `watr`"),
        (("unplugged=yes",), "`unplugged` is kept per plug"),
        (("unplugged of wal=yes",), "did you mean `wall`?"),
        (("smell",), "is not FACT=VALUE"),
        (("water=900",), "is outside -40 °F .. 212 °F"),
        (("water=72 psi",), "help:"),
        (("smell=no", "--at", "9:30"), "later than now, 09:00"),
        (("smell=no", "--at", "noon"), "noon"),
        (("--event", "lid_open"), "did you mean `lid_opened`?"),
        (("--event", "lid_opened of wall"), "is not kept per member"),
        (("--cannot", "water"), "no reason is given"),
        (("--cannot", "wter", "--why", "flat"), "did you mean `water`?"),
        (("--did", "poor"), "did you mean `pour`?"),
        (("--correct", "lid=shut", "--why", "x"), "there is no entry of `lid`"),
        ((), "nothing to enter"),
    ],
)
def test_what_cannot_be_taken_is_wrong_usage_and_keeps_nothing(
    visit: Visit, args: tuple[str, ...], said: str
) -> None:
    result = visit.note(*args)
    assert result.exit_code == 2
    assert said in " ".join(result.output.split())
    assert result.output.startswith("stillair: ") and "help: " in result.output
    assert visit.entries() == []


def test_the_time_it_was_seen_is_kept_beside_the_time_it_was_entered(visit: Visit) -> None:
    visit.clock.at += 20 * MINUTE
    visit.note("smell=no", "--at", "9:05")
    line = visit.lines()[-1]
    assert (line.taken, line.entered) == (NINE + 5 * MINUTE, NINE + 20 * MINUTE)


def test_who_says_it_is_kept(visit: Visit) -> None:
    visit.note("smell=no")
    visit.run("--by", "B. Helper", "note", str(visit.path), "lid=shut")
    visit.note("room=70")
    assert [line.by for line in visit.lines()[visit.begun :]] == ["A. Tech", "B. Helper", "A. Tech"]


def test_an_instrument_that_is_not_declared_is_told(visit: Visit) -> None:
    result = visit.note("water=72", "--with", "T9")
    assert "`T9` is not declared" in result.output
    assert visit.entries()[-1][1]["instrument"] == "T9"


def test_a_fact_that_cannot_be_had_stays_open(visit: Visit) -> None:
    result = visit.note("--cannot", "lid", "--why", "behind the plaster")
    assert result.exit_code == 0
    assert visit.entries() == [("unavailable", {"fact": "lid", "reason": "behind the plaster"})]
    assert "next: Look before you touch (smell)" in result.output


def test_a_stop_is_told_when_a_note_brings_it_about(visit: Visit) -> None:
    result = visit.note("smell=yes")
    assert result.exit_code == 0
    assert "STOP: Leave the kitchen." in result.output
    visit.clock.at += MINUTE
    assert "lifted: Leave the kitchen." in visit.note("smell=no").output


def test_a_step_that_may_not_be_done_is_not_noted(visit: Visit) -> None:
    never = visit.note("--did", "drink-it")
    assert never.exit_code == 3 and "Acid burns." in never.output
    visit.note("smell=yes")
    stopped = visit.note("--did", "pour")
    assert stopped.exit_code == 3
    assert "because: Leave the kitchen." in stopped.output
    assert "lifted when: The smell is gone" in stopped.output
    assert [kind for kind, _ in visit.entries()] == ["observe"]


def test_a_step_done_and_an_event_move_the_wait(visit: Visit) -> None:
    visit.note("smell=no", "lid=shut", "unplugged of wall=yes")
    with Job.resume(visit.path, writer="test", now=NINE, offset=0) as job:
        job.append("listed", {"list": "plug"}, taken=NINE, entered=NINE, offset=0, by=None)
    assert visit.note("--did", "pour").exit_code == 0
    visit.clock.at += 4 * MINUTE
    visit.note("--event", "lid_opened")
    with Session.load(visit.path, clock=visit.clock) as session:
        assert session.assess().waits["soak"].ready_at == NINE + 14 * MINUTE


def test_a_correction_replaces_the_entry_each_time(visit: Visit) -> None:
    visit.note("water=72")
    visit.note("--correct", "water=73", "--why", "read wrongly")
    visit.note("--correct", "water=74", "--why", "read wrongly again")
    with Session.load(visit.path, clock=visit.clock) as session:
        standing = session.assess().history.observations["water", None]
    assert [o.read for o in standing] == ["74"]
    assert standing[0].corrects == visit.begun + 1


def test_what_could_not_be_had_is_corrected_by_a_value(visit: Visit) -> None:
    visit.note("--cannot", "water", "--why", "flat probe")
    visit.note("--correct", "water=74", "--why", "found another")
    with Session.load(visit.path, clock=visit.clock) as session:
        standing = session.assess().history.observations["water", None]
    assert [(o.read, o.why) for o in standing] == [("74", "")]


def test_a_handover_voids_what_only_the_one_who_left_could_vouch_for(visit: Visit) -> None:
    visit.note("smell=no", "lid=shut", "unplugged of wall=yes")
    visit.clock.at += MINUTE
    result = visit.run("handover", str(visit.path), "--to", "B. Next")
    assert "to be seen again: smell" in result.output
    assert "to be seen again: unplugged of wall" in result.output
    assert "lid" not in result.output
    with Session.load(visit.path, clock=visit.clock) as session:
        assert session.by == "B. Next"
        assert [str(ref) for ref in session.assess().next.facts] == ["smell"]


def test_a_job_is_closed_once_with_its_outcome(visit: Visit) -> None:
    assert visit.run("close", str(visit.path), "--outcome", "  ").exit_code == 2
    assert visit.run("close", str(visit.path), "--checklist", "ketle", "--outcome", "x").exit_code == 2
    assert visit.entries() == []
    result = visit.run("close", str(visit.path), "--outcome", "customer away")
    assert result.exit_code == 0
    assert visit.entries() == [("close", {"checklist": None, "outcome": "customer away"})]
    again = visit.run("close", str(visit.path), "--outcome", "again")
    assert again.exit_code == 2 and "closed already" in again.output
