"""`instruments` of several jobs: which are due for their check, and whose they were last."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from stillair.assess import EntryError
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.entering import declare_instrument
from stillair.cli.session import Session, Settings
from stillair.due import Use, due_list, uses

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
GUIDE = Path(__file__).parents[2] / "checklists" / "README.md"
TOOLS = HERE / "tank_tools"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=timezone(timedelta(hours=-4)))


class Jobs:
    """Jobs of the tank in one folder, one a day from the fifteenth of April on."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "jobs"
        self.folder.mkdir()
        self.pack = HERE / "tank"
        self.clock = FixedClock(NINE.timestamp(), NINE.tzinfo)  # type: ignore[arg-type]

    def job(self, name: str, by: str, serials: dict[str, str | None], read: str | None = None) -> None:
        """A job with instruments and when each was checked; `read` is the one a reading was taken with."""
        path = self.folder / f"{name}.job"
        with Session.start(path, [TOOLS], packs=[str(self.pack)], by=by, clock=self.clock) as session:
            for serial, checked in serials.items():
                dated = {"checked": checked} if checked is not None else {}
                unknown = {"offset": None, "repeat": None, "resolution": None}
                session.write("instrument", {"serial": serial, "kind": "gauge", **unknown, **dated})
        if read is not None:
            with_ = ["--with", read] if read else []
            assert self.run("--by", by, "note", path, "bottom=20 psig", *with_).exit_code == 0
        self.clock.at += 86400

    def run(self, *args: object) -> Result:
        call = ["--plugin-dir", str(TOOLS), *map(str, args)]
        return CliRunner().invoke(main, call, obj=Settings(clock=self.clock))

    def due(self, *args: object, day: str = "2026-04-20") -> dict[str, Any]:
        told = json.loads(
            self.run("instruments", *(args or (self.folder,)), "--due", day, "--format", "json").stdout
        )
        assert told["format"] == "stillair.due/1"
        return told  # type: ignore[no-any-return]


@pytest.fixture
def jobs(tmp_path: Path) -> Jobs:
    return Jobs(tmp_path)


def flat(result: Result) -> str:
    return " ".join(result.output.split())


def test_overdue_first_then_unknown_then_the_rest(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {"G1": "2026-03-01", "G2": "2025-04-01", "G3": None, "G4": "2024-01-01"}, "G1")
    states = [(each["serial"], each["state"], each["check_due"]) for each in jobs.due()["instruments"]]
    assert states == [
        ("G4", "overdue", "2024-12-31"),
        ("G2", "overdue", "2026-04-01"),
        ("G3", "unknown when checked", None),
        ("G1", "good", "2027-03-01"),
    ]
    assert jobs.due()["due"] == 3


def test_the_newest_check_of_all_jobs_counts_whatever_their_order(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {"G1": "2026-04-10"}, "G1")
    jobs.job("b", "B. Tech", {"G1": "2025-01-01"}, "G1")
    jobs.job("c", "C. Tech", {"G1": None})
    (found,) = jobs.due()["instruments"]
    assert (found["state"], found["checked"], Path(found["checked_in"]).name) == (
        "good",
        "2026-04-10",
        "a.job",
    )
    assert [Path(each).name for each in found["jobs"]] == ["a.job", "b.job", "c.job"]


def test_who_used_it_last_and_in_which_job(jobs: Jobs) -> None:
    jobs.job("z", "A. Tech", {"G1": "2025-01-01"}, "G1")
    jobs.job("a", "B. Tech", {"G1": None}, "G1")
    (found,) = jobs.due()["instruments"]
    assert (found["by"], Path(found["job"]).name, found["last_used"]) == (
        "B. Tech",
        "a.job",
        "2026-04-16T09:00:00-04:00",
    )
    said = flat(jobs.run("instruments", jobs.folder))
    assert "G1 (gauge): OVERDUE, due by 2026-01-01" in said
    assert "last used 2026-04-16 by B. Tech, in" in said
    assert "by: check every 365 d of gauge in the checklist tank (test)" in said
    assert "2 jobs, 1 instrument, 1 due on 2026-04-17" in said


def test_the_day_decides(jobs: Jobs) -> None:
    """On the day itself it is still good; the day after it is overdue."""
    jobs.job("a", "A. Tech", {"G1": "2025-04-20"})
    assert jobs.due(day="2026-04-20")["instruments"][0]["state"] == "good"
    assert jobs.due(day="2026-04-21")["instruments"][0]["state"] == "overdue"
    assert jobs.run("instruments", jobs.folder, "--due", "soon").exit_code == 2


@pytest.mark.parametrize("every", ["5000000 d", "9e11 d"])
def test_what_is_due_beyond_all_calendars_is_never_due(jobs: Jobs, every: str) -> None:
    """Nor does a job with it stop; what is due some day is listed before."""
    pack = Path(shutil.copytree(HERE / "tank", jobs.folder.parent / "tank"))
    text = (pack / "tank.yaml").read_text("utf-8")
    jobs.job("a", "A. Tech", {"G1": "2026-04-01"}, "G1")
    assert "check every: 365 d" in text
    (pack / "tank.yaml").write_text(text.replace("check every: 365 d", f"check every: {every}"), "utf-8")
    jobs.pack = pack
    jobs.job("b", "A. Tech", {"A2": "2026-04-01"}, "A2")
    states = [(each["serial"], each["state"], each["check_due"]) for each in jobs.due()["instruments"]]
    assert states == [("G1", "good", "2027-04-01"), ("A2", "good", None)]
    alone = json.loads(jobs.run("instruments", jobs.folder / "b.job", "--format", "json").stdout)
    (found,) = alone["instruments"]
    assert (found["check_due"], found["overdue"]) == (None, False)
    assert "CAUTION" not in jobs.run("instruments", jobs.folder / "b.job").output
    trail = jobs.run("trail", jobs.folder / "b.job")
    assert trail.exit_code == 0 and "| never |" in trail.output


def test_a_serial_nobody_declared_and_a_reading_without_one_are_due(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {}, "G7")
    jobs.job("b", "A. Tech", {}, "")
    found = [(each["serial"], each["kind"], each["state"]) for each in jobs.due()["instruments"]]
    assert found == [("G7", "gauge", "unknown when checked"), (None, "gauge", "unknown when checked")]


def test_jobs_and_folders_are_taken_together(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {"G1": "2026-01-01"})
    jobs.job("b", "A. Tech", {"G2": "2026-01-01"})
    assert jobs.due(jobs.folder / "a.job", jobs.folder / "b.job")["jobs"] == 2
    assert [x["serial"] for x in jobs.due(jobs.folder / "a.job")["instruments"]] == ["G1"]


def test_one_job_alone_is_told_as_before(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {"G1": "2026-01-01"}, "G1")
    told = json.loads(jobs.run("instruments", jobs.folder / "a.job", "--format", "json").stdout)
    assert told["format"] == "stillair.instruments/1"


def test_a_job_that_cannot_be_read_is_told_and_the_rest_listed(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {"G1": "2026-01-01"})
    jobs.job("b", "A. Tech", {"G2": "2026-01-01"})
    path = jobs.folder / "b.job"
    path.write_bytes(path.read_bytes().replace(b'"A. Tech"', b'"B. Tech"'))
    result = jobs.run("instruments", jobs.folder)
    assert result.exit_code == 1 and "b.job: " in result.output and "G1 (gauge): good" in result.output
    assert [Path(each["job"]).name for each in jobs.due()["problems"]] == ["b.job"]


# -- what is not to be believed, and what is not to be mixed up ----------------------------------------------


def use(jobs: Jobs, job: str, kind: str | None, checked: str | None) -> Use:
    """An instrument G1 in some job, of a kind or of one that is not known."""
    jobs.job(job, "A. Tech", {"G1": checked})
    with Session.load(jobs.folder / f"{job}.job", [TOOLS], clock=jobs.clock) as session:
        (found,) = uses(job, session.words())
    return found._replace(carried=replace(found.carried, kind=kind))


def test_a_serial_of_two_kinds_is_two_instruments(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {"G1": "2024-01-01"})
    jobs.job("b", "A. Tech", {})
    with Session.load(jobs.folder / "b.job", [TOOLS], write=True, clock=jobs.clock) as session:
        unknown = {"offset": None, "repeat": None, "resolution": None}
        session.write("instrument", {"serial": "G1", "kind": "scale", **unknown, "checked": "2026-04-10"})
    found = {each["kind"]: (each["state"], each["checked"]) for each in jobs.due()["instruments"]}
    assert found == {"gauge": ("overdue", "2024-01-01"), "scale": ("no interval known", "2026-04-10")}


def test_of_a_kind_without_an_interval_nothing_is_due(jobs: Jobs) -> None:
    """Whether nobody knows when it was checked, or a date is not believed; with an interval both are due."""
    day = date(2026, 4, 20)
    for job, checked, doubted in (("a", None, None), ("b", None, "2027-01-01")):
        found = use(jobs, job, "gauge", checked)
        found = found._replace(carried=replace(found.carried, doubted=doubted))
        (one,) = due_list([found], day)
        assert (one.state, one.is_due) == ("unknown when checked", True)
        (one,) = due_list([found._replace(carried=replace(found.carried, check_every=None))], day)
        assert (one.state, one.is_due) == ("no interval known", False)
    assert "unless its kind has no `check every`" in GUIDE.read_text(encoding="utf-8")


def test_a_kind_that_is_not_known_joins_the_only_one_that_is(jobs: Jobs) -> None:
    gauge, scale = use(jobs, "a", "gauge", "2024-01-01"), use(jobs, "b", "scale", "2026-01-01")
    unknown = use(jobs, "c", None, None)
    (one,) = due_list([unknown, gauge], date(2026, 4, 20))
    assert (one.kind, one.state, one.jobs) == ("gauge", "overdue", ("a", "c"))
    assert {each.kind for each in due_list([unknown, gauge, scale], date(2026, 4, 20))} == {
        None,
        "gauge",
        "scale",
    }
    assert [each.kind for each in due_list([unknown, unknown], date(2026, 4, 20))] == [None]


def test_a_check_that_lay_ahead_when_it_was_entered_is_not_believed(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {"G1": "2026-04-16"}, "G1")
    jobs.job("b", "A. Tech", {"G2": "2026-04-16"}, "G2")
    found = {each["serial"]: each for each in jobs.due(day="2026-05-01")["instruments"]}
    assert {name: each["state"] for name, each in found.items()} == {
        "G1": "unknown when checked",
        "G2": "good",
    }
    assert (
        "2026-04-16, as" in found["G1"]["doubted"][0]
        and "later than it was entered" in found["G1"]["doubted"][0]
    )
    assert found["G2"]["doubted"] == [] and found["G1"]["checked"] is None
    assert "not believed: checked 2026-04-16" in flat(
        jobs.run("instruments", jobs.folder, "--due", "2026-05-01")
    )
    alone = flat(jobs.run("instruments", jobs.folder / "a.job"))
    assert "checked 2026-04-16: later than it was entered, not believed" in alone
    assert "CAUTION: G1 has a check date not to be believed, 2026-04-16" in alone and "bottom" in alone


def test_a_check_after_the_day_asked_is_not_known_then(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {"G1": "2026-04-10", "G2": "2026-04-10"})
    jobs.job("b", "A. Tech", {"G2": "2025-01-01"})
    found = {each["serial"]: each for each in jobs.due(day="2026-04-09")["instruments"]}
    assert (found["G1"]["state"], found["G1"]["checked"]) == ("unknown when checked", None)
    assert "is after 2026-04-09" in found["G1"]["doubted"][0]
    assert (found["G2"]["state"], found["G2"]["checked"]) == ("overdue", "2025-01-01")
    assert jobs.due(day="2026-04-10")["due"] == 0


@pytest.mark.parametrize(
    ("checked", "said"), [("2026-04-16", "is later than today, 2026-04-15"), ("soon", "`soon` is not a date")]
)
def test_no_instrument_is_declared_as_checked_ahead(jobs: Jobs, checked: str, said: str) -> None:
    with Session.start(
        jobs.folder / "a.job", [TOOLS], packs=[str(HERE / "tank")], by="A. Tech", clock=jobs.clock
    ) as session:
        with pytest.raises(EntryError, match=said):
            declare_instrument(session, "G1", "gauge", {}, checked)
        assert declare_instrument(session, "G1", "gauge", {}, "2026-04-15").body["checked"] == "2026-04-15"


# -- where no job is -----------------------------------------------------------------------------------------


def test_a_folder_without_a_job_is_no_all_clear(jobs: Jobs) -> None:
    for extra in ([], ["--due", "2026-04-20"], ["--format", "json"]):
        result = jobs.run("instruments", jobs.folder, *extra)
        assert (
            result.exit_code == 1 and "there is no job in" in result.output and "0 due" not in result.output
        )
    jobs.job("a", "A. Tech", {"G1": "2026-04-01"})
    empty = jobs.folder / "empty"
    empty.mkdir()
    result = jobs.run("instruments", jobs.folder / "a.job", empty)
    assert result.exit_code == 1 and "empty: no job is there" in flat(result)


def test_folders_in_a_folder_are_looked_through(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {"G1": "2024-01-01"})
    assert [Path(each["jobs"][0]).name for each in jobs.due(jobs.folder.parent)["instruments"]] == ["a.job"]
    assert jobs.due(jobs.folder.parent)["jobs"] == 1


def test_a_job_named_twice_counts_once(jobs: Jobs) -> None:
    jobs.job("a", "A. Tech", {"G1": "2026-04-01"})
    path = jobs.folder / "a.job"
    told = jobs.due(path, path, jobs.folder, jobs.folder / ".." / "jobs" / "a.job")
    assert told["jobs"] == 1 and told["instruments"][0]["jobs"] == [str(path)]
