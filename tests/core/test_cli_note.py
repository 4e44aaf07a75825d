"""`note`, `handover` and `close`: entries from the command line, and what is said of them."""

from __future__ import annotations

import errno
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stillair.assess import May
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Session, Settings
from stillair.job import Job, Line

pytestmark = pytest.mark.usefixtures("own_cache")

KETTLE = Path(__file__).parent / "kettle"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
MINUTE = 60.0


class Visit:
    """A job that has begun, and the verbs run on it under a clock that stands until it is moved."""

    def __init__(self, folder: Path, pack: Path = KETTLE) -> None:
        self.path = folder / "visit.job"
        self.clock = FixedClock(NINE)
        Session.start(self.path, packs=[str(pack)], by="A. Tech", clock=self.clock).close()
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
        (("--correct", "lid=shut", "--why", "looked again"), "there is no entry of `lid`"),
        (("owner=" + 2001 * "x",), "has 2001 characters"),
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


def test_an_instrument_of_another_kind_is_refused(visit: Visit) -> None:
    """A balance reads no temperature; the thermometer does."""
    body = {"offset": 0.1, "repeat": 0.1, "resolution": 0.1}
    with Job.resume(visit.path, writer="test", now=NINE, offset=0) as job:
        for serial, kind in (("B1", "balance"), ("T1", "thermometer")):
            said = {"serial": serial, "kind": kind, **body}
            job.append("instrument", said, taken=NINE, entered=NINE, offset=0, by="A. Tech")
    visit.begun += 2
    result = visit.note("water=72", "--with", "B1")
    assert result.exit_code == 2
    assert "`B1` is declared as a balance, and `water` is read with a thermometer" in result.output
    assert visit.entries() == []
    visit.note("water=72", "--with", "T1")
    assert visit.entries()[-1][1]["instrument"] == "T1"


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


# -- what may not be done ------------------------------------------------------------------------------------

READY = ("smell=no", "lid=shut", "unplugged of wall=yes")


def make_ready(visit: Visit) -> None:
    """Everything is known that pouring rests on."""
    visit.note(*READY)
    with Session.load(visit.path, write=True, clock=visit.clock) as session:
        session.write("listed", {"list": "plug"})


def flat(result: Result) -> str:
    return " ".join(result.output.split())


def trail_of(visit: Visit) -> str:
    return " ".join(visit.run("trail", str(visit.path)).output.split())


def test_an_event_that_a_step_marks_is_refused_until_the_step_may_be_done(visit: Visit) -> None:
    refused = visit.note("--event", "acid_poured")
    assert refused.exit_code == visit.run("may", str(visit.path), "pour").exit_code == 1
    assert "STOP: not kept: Pour the acid in may not be done (as of 09:00)" in flat(refused)
    assert "open: unplugged of wall: not asked" in flat(refused)
    assert "lifted when: answered: Any smell of burning? (smell)" in flat(refused)
    assert visit.entries() == []
    make_ready(visit)
    assert visit.note("--event", "acid_poured").exit_code == 0
    assert visit.entries()[-1] == ("event", {"event": "acid_poured"})


def test_an_event_against_a_safety_stop_ends_with_three_and_says_what_lifts_it(visit: Visit) -> None:
    make_ready(visit)
    visit.clock.at += MINUTE
    visit.note("smell=yes")
    before = visit.entries()
    refused = visit.note("--event", "acid_poured")
    assert refused.exit_code == 3
    assert "because: Leave the kitchen." in refused.output
    assert "lifted when: The smell is gone and you answer again." in flat(refused)
    assert visit.entries() == before


def test_a_powered_state_does_not_begin_against_its_gate(visit: Visit) -> None:
    visit.note("smell=yes")
    assert visit.note("--event", "boil_begun").exit_code == 3
    visit.clock.at += MINUTE
    visit.note("smell=no")
    assert visit.note("--event", "boil_begun").exit_code == 0
    assert visit.entries()[-1] == ("event", {"event": "boil_begun"})


@pytest.mark.parametrize("entry", [("--event", "acid_poured"), ("--did", "pour")])
def test_what_happened_against_permission_is_kept_and_the_trail_says_so(
    visit: Visit, entry: tuple[str, str]
) -> None:
    visit.note("smell=yes")
    kept = visit.note(*entry, "--happened-anyway", "nobody looked")
    assert kept.exit_code == 0
    assert "CAUTION: Pour the acid in was not permitted; the trail says so" in flat(kept)
    assert visit.entries()[-1][1]["why"] == "nobody looked"
    cautions = trail_of(visit).split("## Stops and cautions")[1].split("## Findings")[0]
    title = "The acid went in" if entry[0] == "--event" else "Pour the acid in"
    assert f"**{title}** was done though not permitted at that time: “nobody looked”. 09:00" in cautions
    with Session.load(visit.path, clock=visit.clock) as session:
        assert session.assess().waits["soak"].started == NINE


def test_what_was_permitted_is_never_told_as_though_it_was_not(visit: Visit) -> None:
    make_ready(visit)
    assert "is not needed" in visit.note("--did", "pour", "--happened-anyway", "unsure").output
    assert visit.entries()[-1] == ("done", {"step": "pour"})
    assert "Done though not permitted" not in trail_of(visit)


def test_taking_back_what_happened_anyway_takes_it_out_of_the_cautions(visit: Visit) -> None:
    visit.note("--did", "pour", "--happened-anyway", "nobody looked")
    with Session.load(visit.path, write=True, clock=visit.clock) as session:
        session.write("correct", {"line": len(session.lines), "why": "it was another kettle"})
    assert "Done though not permitted" not in trail_of(visit)
    assert "though not permitted at that time: “nobody looked”" in trail_of(visit)


@pytest.mark.parametrize("args", [("smell=no",), ("--did", "pour", "--happened-anyway", " ")])
def test_happened_anyway_goes_with_what_happened_and_a_reason(visit: Visit, args: tuple[str, ...]) -> None:
    more = () if "--did" in args else ("--happened-anyway", "x")
    assert visit.note(*args, *more).exit_code == 2
    assert visit.entries() == []


def test_an_earlier_time_needs_permission_then_and_now(visit: Visit) -> None:
    visit.clock.at += 5 * MINUTE
    make_ready(visit)
    visit.clock.at += 5 * MINUTE
    early = visit.note("--did", "pour", "--at", "9:02")
    assert early.exit_code == 1 and "(as of 09:02)" in flat(early)
    visit.note("smell=yes")
    late = visit.note("--did", "pour", "--at", "9:06")
    assert late.exit_code == 3 and "(as of 09:10)" in flat(late)
    visit.clock.at += MINUTE
    visit.note("smell=no")
    assert visit.note("--did", "pour", "--at", "9:06").exit_code == 0
    assert visit.lines()[-1].taken == NINE + 6 * MINUTE


def test_having_looked_at_an_earlier_moment_hides_nothing_that_came_after(visit: Visit) -> None:
    make_ready(visit)
    visit.clock.at += 10 * MINUTE
    visit.note("smell=yes")
    with Session.load(visit.path, clock=visit.clock) as session:
        assert session.assess(NINE + 5 * MINUTE).permission("pour").may is May.YES
        assert session.assess().permission("pour").may is May.NO


def test_a_step_that_is_passed_over_is_not_noted(tmp_path: Path) -> None:
    pack = tmp_path / "kettle"
    shutil.copytree(KETTLE, pack)
    text = (pack / "kettle.yaml").read_text(encoding="utf-8")
    step = "  - {step: sand, title: Sand it, when: scale is thick, do: Rub hard.}\n  - {step: polish"
    (pack / "kettle.yaml").write_text(text.replace("  - {step: polish", step), encoding="utf-8")
    visit = Visit(tmp_path, pack)
    visit.note("scale=clean")
    refused = visit.note("--did", "sand")
    assert refused.exit_code == 1
    assert "it is for when scale is thick" in flat(refused)
    visit.clock.at += MINUTE
    visit.note("scale=thick")
    assert visit.note("--did", "sand").exit_code == 0


# -- all or nothing ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("args", "code", "said"),
    [
        (("smell=no", "lid=shut", "--did", "pour"), 1, "Pour the acid in may not be done"),
        (("smell=yes", "--event", "acid_poured"), 3, "because: Leave the kitchen."),
        (("lid=shut", "--event", "lid_open"), 2, "did you mean `lid_opened`?"),
        (("lid=shut", "--event", "lid_opened", "--did", "poor"), 2, "did you mean `pour`?"),
        (("--cannot", "water", "--why", "no probe here", "--did", "pour"), 1, "may not be done"),
        (("--correct", "room=71", "--why", "read wrongly", "--did", "pour"), 1, "may not be done"),
    ],
)
def test_where_a_part_is_refused_nothing_is_kept(
    visit: Visit, args: tuple[str, ...], code: int, said: str
) -> None:
    visit.note("room=70")
    before = {path.name: path.read_bytes() for path in visit.path.parent.glob("visit.job*") if path.is_file()}
    refused = visit.note(*args)
    assert refused.exit_code == code and said in flat(refused)
    assert "nothing is kept" in flat(refused) and "kept 09:00" not in refused.output
    after = {path.name: path.read_bytes() for path in visit.path.parent.glob("visit.job*") if path.is_file()}
    assert after == before


def test_what_is_noted_together_permits_what_is_noted_with_it(visit: Visit) -> None:
    with Session.load(visit.path, write=True, clock=visit.clock) as session:
        session.write("listed", {"list": "plug"})
    kept = visit.note(*READY, "--did", "pour")
    assert kept.exit_code == 0
    assert flat(kept).index("kept 09:00 lid: It is shut") < flat(kept).index("kept 09:00 done: Pour")
    assert [kind for kind, _ in visit.entries()] == ["listed", "observe", "observe", "observe", "done"]


def test_a_full_disk_keeps_nothing_of_what_is_noted_together(
    visit: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = visit.path.read_bytes()
    write_really, room = os.write, [300]

    def write(file: int, data: bytes | memoryview) -> int:
        if len(data) > room[0]:
            if room[0] == 0:
                raise OSError(errno.ENOSPC, "full")
            data, room[0] = data[: room[0]], 0
        return write_really(file, data)

    monkeypatch.setattr(os, "write", write)
    refused = visit.note("smell=no", "lid=shut", "room=70")
    monkeypatch.undo()
    assert refused.exit_code == 1 and "the disk is full: nothing was recorded" in flat(refused)
    assert "kept 09:00" not in refused.output
    assert visit.path.read_bytes() == before
    assert visit.note("smell=no").exit_code == 0


# -- other people, closed jobs -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "args",
    [
        ("smell=no",),
        ("unplugged of wall=yes",),
        ("lid=shut", "smell=no"),
        ("--cannot", "smell", "--why", "a cold"),
        ("--did", "polish"),
        ("--event", "lid_opened"),
        ("--correct", "lid=ajar", "--why", "looked again"),
    ],
)
def test_another_name_enters_no_more_than_plain_facts(visit: Visit, args: tuple[str, ...]) -> None:
    visit.note("lid=shut")
    before = visit.entries()
    refused = visit.run("--by", "B. Helper", "note", str(visit.path), *args)
    assert refused.exit_code == 2
    assert "the job is with A. Tech" in flat(refused)
    assert "stillair handover" in refused.output
    assert visit.entries() == before
    assert visit.note(*args).exit_code == 0


@pytest.mark.parametrize("args", [("close", "--outcome", "done"), ("handover", "--to", "C. Third")])
def test_another_name_neither_closes_nor_hands_over(visit: Visit, args: tuple[str, ...]) -> None:
    verb, *rest = args
    refused = visit.run("--by", "B. Helper", verb, str(visit.path), *rest)
    assert refused.exit_code == 2 and "the job is with A. Tech" in flat(refused)
    assert visit.entries() == []
    visit.run("handover", str(visit.path), "--to", "B. Helper")
    assert visit.run("--by", "B. Helper", verb, str(visit.path), *rest).exit_code == 0


@pytest.mark.parametrize("args", [("note", "lid=shut"), ("handover", "--to", "B. Next"), ("guide",)])
@pytest.mark.parametrize("part", [(), ("--checklist", "kettle")])
def test_a_closed_job_takes_nothing_more_until_it_is_opened_again(
    visit: Visit, args: tuple[str, ...], part: tuple[str, ...]
) -> None:
    visit.run("close", str(visit.path), "--outcome", "sent away", *part)
    verb, *rest = args
    refused = visit.run(verb, str(visit.path), *rest)
    assert refused.exit_code == 1
    assert "the job was closed at 09:00: sent away" in flat(refused)
    assert "--reopen` opens it again" in flat(refused)
    assert [kind for kind, _ in visit.entries()] == ["close"]
    opened = visit.run("guide", str(visit.path), "--reopen")
    assert opened.exit_code == 0 and "== Look before you touch" in opened.output
    line = visit.entries()[-1]
    assert line == ("open", {"checklist": "kettle"}) if part else line[0] == "correct"
    assert visit.run(verb, str(visit.path), *rest).exit_code == 0
    again = visit.run("guide", str(visit.path), "--reopen")
    assert again.exit_code == 2 and "the job is not closed" in again.output
    assert visit.run("close", str(visit.path), "--outcome", "now it is done", *part).exit_code == 0


def test_no_new_job_is_opened_again(tmp_path: Path, visit: Visit) -> None:
    result = visit.run("guide", str(tmp_path / "other.job"), "--reopen")
    assert result.exit_code == 2 and "no job to open again" in result.output
    assert not (tmp_path / "other.job").exists()


# -- what contradicts itself, and times far back -------------------------------------------------------------


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("smell=no", "lid=shut", "lid=ajar"), "`lid` is given twice, as `shut` and as `ajar`"),
        (("unplugged of wall=yes", "unplugged.wall=no"), "`unplugged of wall` is given twice"),
        (("lid=shut", "lid=shut"), "`lid` is given twice, as `shut` and as `shut`"),
        (("lid=shut", "--cannot", "lid", "--why", "too dark"), "as `shut` and as `cannot be had`"),
        (("--correct", "water=72", "water=73", "--why", "read wrongly"), "`water` is given twice"),
    ],
)
def test_two_values_for_one_fact_keep_nothing(visit: Visit, args: tuple[str, ...], said: str) -> None:
    visit.note("water=70")
    refused = visit.note(*args)
    assert refused.exit_code == 2
    assert said in flat(refused) and "nothing is kept" in flat(refused)
    assert len(visit.entries()) == 1


def test_a_time_before_the_job_must_be_meant(visit: Visit) -> None:
    refused = visit.note("smell=no", "--at", "8:20")
    assert refused.exit_code == 2
    assert "`8:20` is before the job began at 09:00" in flat(refused) and "--long-ago" in refused.output
    assert visit.entries() == []
    assert visit.note("smell=no", "--at", "8:20", "--long-ago").exit_code == 0
    assert visit.lines()[-1].taken == NINE - 40 * MINUTE


def test_a_time_of_more_than_a_day_ago_must_be_meant(visit: Visit) -> None:
    visit.clock.at += 3 * 86400
    refused = visit.note("smell=no", "--at", "2026-04-16 12:00")
    assert refused.exit_code == 2
    assert "`2026-04-16 12:00` is more than a day ago" in flat(refused)
    assert visit.entries() == []
    assert visit.note("smell=no", "--at", "2026-04-16 12:00", "--long-ago").exit_code == 0
    assert visit.note("lid=shut", "--at", "2026-04-17 12:00").exit_code == 0
    assert visit.lines()[-1].taken == NINE + 2 * 86400 + 180 * MINUTE


def test_a_watch_that_is_a_minute_ahead_means_now(visit: Visit) -> None:
    assert visit.note("smell=no", "--at", "9:02").exit_code == 0
    assert visit.lines()[-1].taken == NINE
    refused = visit.note("lid=shut", "--at", "9:03")
    assert refused.exit_code == 2 and "is later than now" in refused.output
