"""The verbs that report: what they say, their JSON and their exit codes."""

from __future__ import annotations

import errno
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Session, Settings
from stillair.job import Job

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
TOOLS = HERE / "tank_tools"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()


class Visit:
    """A job of the tank on disk, and the verbs run on it under a clock that stands until it is moved."""

    def __init__(self, folder: Path, name: str = "visit.job") -> None:
        self.path = folder / name
        self.clock = FixedClock(NINE)
        Session.start(self.path, [TOOLS], packs=[str(HERE / "tank")], by="A. Tech", clock=self.clock).close()

    def run(self, *args: str) -> Result:
        whole = ["--plugin-dir", str(TOOLS), *args]
        return CliRunner().invoke(main, whole, obj=Settings(clock=self.clock))

    def ask(self, verb: str, *args: str) -> Result:
        return self.run(verb, str(self.path), *args)

    def told(self, verb: str, *args: str) -> Any:
        return json.loads(self.ask(verb, *args, "--format", "json").output)

    def minutes(self, after_nine: float) -> None:
        self.clock.at = NINE + 60 * after_nine

    def note(self, *args: str) -> None:
        assert self.ask("note", *args).exit_code == 0

    def enter(self, kind: str, /, **body: Any) -> None:
        with Session.load(self.path, [TOOLS], write=True, clock=self.clock) as session:
            session.write(kind, body)


@pytest.fixture
def visit(tmp_path: Path) -> Visit:
    return Visit(tmp_path)


def one_line(result: Result) -> str:
    return " ".join(result.output.split())


# -- next ----------------------------------------------------------------------------------------------------


def test_next_says_one_action_why_and_what_it_asks(visit: Visit) -> None:
    result = visit.ask("next")
    assert result.exit_code == 0
    said = one_line(result)
    assert said.startswith("Look first")
    assert "Stand back. why: Fumes come first. - Any smell of fumes? smell= yes, no" in said
    told = visit.told("next")
    assert (told["format"], told["step"]) == ("stillair.next/1", "first-look")


def test_next_shows_a_running_wait_with_clock_time_and_time_left(visit: Visit) -> None:
    visit.enter("event", event="valve_shut")
    visit.minutes(4)
    result = one_line(visit.ask("next"))
    assert "wait: rest: running, started 09:00, ready at 09:10, 6 min left" in result
    wait = visit.told("next")["waits"][0]
    assert (wait["state"], wait["left_s"], wait["required_s"]) == ("running", 360.0, 600.0)


# -- may -----------------------------------------------------------------------------------------------------


def test_may_says_not_yet_and_what_is_missing(visit: Visit) -> None:
    result = visit.ask("may", "fill")
    assert result.exit_code == 1
    said = one_line(result)
    assert said.startswith("not yet: Fill it missing:")
    assert "- smell: Any smell of fumes?" in said
    assert visit.told("may", "fill")["may"] == "not yet"


def test_may_says_yes_when_every_gate_holds(visit: Visit) -> None:
    visit.note("smell=no", "locked of inlet=yes", "locked of outlet=yes")
    visit.enter("listed", list="valve")
    result = visit.ask("may", "fill")
    assert (result.exit_code, result.output) == (0, "yes: Fill it\n")
    assert visit.ask("may", "filling").exit_code == 0


def test_may_says_no_for_safety_and_what_lifts_it(visit: Visit) -> None:
    visit.note("smell=yes")
    result = visit.ask("may", "fill")
    assert result.exit_code == 3
    said = one_line(result)
    assert "no: Fill it" in said
    assert "because: Leave the room." in said
    assert "lifted by: The smell is gone and you answer again." in said
    told = visit.told("may", "fill")
    assert (told["format"], told["may"], told["safety"]) == ("stillair.permission/1", "no", True)


def test_what_is_never_done_is_refused_with_its_reason(visit: Visit) -> None:
    result = visit.ask("may", "smoke")
    assert result.exit_code == 3
    assert "because: Fumes burn. lifted by: nothing lifts this" in one_line(result)
    assert visit.told("may", "smoke")["never"] is True


def test_may_of_what_is_no_step_is_wrong_usage(visit: Visit) -> None:
    result = visit.ask("may", "smell")
    assert result.exit_code == 2
    assert "`smell` is a fact, not a step" in result.output
    result = visit.ask("may", "fil")
    assert result.exit_code == 2
    assert "did you mean" in result.output


# -- why -----------------------------------------------------------------------------------------------------


def test_why_shows_the_tree_the_margin_and_what_would_change_it(visit: Visit) -> None:
    visit.note("bottom=40 psig")
    result = visit.ask("why", "too-little")
    assert result.exit_code == 0
    said = one_line(result)
    assert "rule too-little: fails" in said
    assert "fails bottom < least" in said
    assert "bottom = 40.0 psig ± 2.2 psi" in said
    assert "wholly at or above 20 psig, 17.8 psi to spare" in said
    assert "would change it: bottom below 17.8 psig (now 40 psig)" in said
    told = visit.told("why", "too-little")
    assert told["format"] == "stillair.why/1"
    assert told["trees"][0]["verdict"] == "fails"


def test_why_takes_a_member_and_an_earlier_time(visit: Visit) -> None:
    visit.note("look of seam=drop")
    visit.minutes(20)
    assert "finding drip of seam: confirmed" in one_line(visit.ask("why", "drip", "of", "seam"))
    visit.note("smell=no")
    assert visit.told("why", "smell", "--at", "9:10")["state"] == "not known"
    assert visit.told("why", "smell")["state"] == "no"


def test_why_of_nothing_known_gives_the_nearest_name(visit: Visit) -> None:
    result = visit.ask("why", "to-little")
    assert result.exit_code == 2
    assert "did you mean `too-little`?" in result.output


# -- whatif --------------------------------------------------------------------------------------------------


def test_whatif_says_what_would_change_and_keeps_nothing(visit: Visit) -> None:
    before = visit.path.read_bytes()
    result = visit.ask("whatif", "smell=yes", "bottom=12 psig")
    assert result.exit_code == 0
    said = one_line(result)
    assert "- stop fumes: open -> holds" in said
    assert "- activity filling: not yet -> no" in said
    assert "- finding low: open -> confirmed" in said
    assert "STOP: Leave the room." in said
    assert visit.path.read_bytes() == before
    told = visit.told("whatif", "smell=yes")
    assert {"what": "stop", "name": "fumes", "was": "open", "would_be": "holds"} in told["changes"]


def test_whatif_so_much_time_passed(visit: Visit) -> None:
    visit.enter("event", event="valve_shut")
    said = one_line(visit.ask("whatif", "--in", "11 min"))
    assert "- wait rest: running -> the time is up, its question is open" in said
    said = one_line(visit.ask("whatif", "--in", "3 min"))
    assert "no verdict, finding or permission would change" in said


def test_whatif_refuses_what_cannot_be_observed(visit: Visit) -> None:
    for args in (("bottom=900 psig",), ("botom=1 psig",), (), ("--in", "-5 min")):
        assert visit.ask("whatif", *args).exit_code == 2, args


# -- jobs ----------------------------------------------------------------------------------------------------


def test_jobs_lists_open_ones_with_waits_and_flags_damaged_ones(tmp_path: Path) -> None:
    going = Visit(tmp_path, "a.job")
    going.enter("event", event="valve_shut")
    going.minutes(4)
    closed = Visit(tmp_path, "b.job")
    closed.enter("close", checklist=None, outcome="done")
    torn = Visit(tmp_path, "c.job")
    with torn.path.open("ab") as stream:
        stream.write(b'{"half')
    broken = Visit(tmp_path, "d.job")
    broken.path.write_bytes(broken.path.read_bytes().replace(b"A. Tech", b"B. Tech", 1))
    (tmp_path / "e.job").write_bytes(b"no job\n")
    (tmp_path / "notes.txt").write_text("not a job")
    result = going.run("jobs", str(tmp_path))
    said = one_line(result)
    assert result.exit_code == 1
    assert "a.job: open" in said
    assert "wait: Let it rest: 6 min left" in said
    assert "b.job" not in said
    assert "c.job: torn" in said and "was torn off" in said
    assert "d.job: broken" in said and "! line" in said
    assert "e.job: unreadable" in said
    assert "notes.txt" not in said
    told = json.loads(going.run("jobs", str(tmp_path), "--all", "--format", "json").output)
    states = {each["file"]: each["state"] for each in told["jobs"]}
    assert states == {
        "a.job": "open",
        "b.job": "closed",
        "c.job": "torn",
        "d.job": "broken",
        "e.job": "unreadable",
    }


def test_jobs_of_an_empty_folder_and_of_none(tmp_path: Path) -> None:
    run = CliRunner().invoke
    assert run(main, ["jobs", str(tmp_path)]).output == "no open job here\n"
    assert run(main, ["jobs", str(tmp_path / "nowhere")]).exit_code == 2


# -- verify --------------------------------------------------------------------------------------------------


def test_verify_says_whole_and_gives_the_last_hash(visit: Visit) -> None:
    result = visit.ask("verify")
    with Job.open(visit.path) as job:
        assert f"last hash: {job.last_hash}" in result.output
        assert visit.ask("verify", "--expect", job.last_hash).exit_code == 0
    assert result.exit_code == 0
    assert visit.ask("verify", "--expect", "0" * 64).exit_code == 1
    told = visit.told("verify")
    assert (told["format"], told["ok"], told["rederivable"]) == ("stillair.verify/1", True, True)


def test_verify_of_a_broken_chain_names_the_line(visit: Visit) -> None:
    visit.note("smell=no", "lamp=good")
    visit.path.write_bytes(visit.path.read_bytes().replace(b'"value":"no"', b'"value":"yes"'))
    result = visit.ask("verify")
    assert result.exit_code == 1
    assert "not as it was written" in result.output
    assert "! line" in result.output


def test_other_plugins_are_no_broken_chain(visit: Visit, tmp_path: Path) -> None:
    """A plugin whose files differ, or that is gone: the chain holds, and it cannot be re-derived here."""
    other = tmp_path / "tools"
    other.mkdir()
    gone = CliRunner().invoke(main, ["verify", str(visit.path)], obj=Settings(clock=visit.clock))
    said = one_line(gone)
    assert gone.exit_code == 0
    assert "whole:" in said
    assert "it cannot be re-derived with these plugins, though it is not broken by that" in said
    told = CliRunner().invoke(main, ["verify", str(visit.path), "--format", "json"]).output
    assert json.loads(told)["rederivable"] is False


# -- calc ----------------------------------------------------------------------------------------------------


def test_calc_answers_in_json_with_value_span_unit_working_and_sources() -> None:
    args = ["calc", "saturation_pressure", "refrigerant=R-410A", "temperature=75 °F", "--format", "json"]
    result = CliRunner().invoke(main, args)
    told = json.loads(result.output)
    assert result.exit_code == 0
    assert told["format"] == "stillair.calculation/1"
    assert told["unit"] == "psia"
    assert told["low"] < told["high"]
    assert told["value"] is None and told["tolerance"] is None, "bubble or dew: a middle is neither"
    line = CliRunner().invoke(main, [*args, "line=bubble"])
    one = json.loads(line.output)
    assert one["value"] == one["low"] == one["high"] == told["high"] and one["tolerance"] == 0
    assert told["low"] == pytest.approx(232.62, abs=0.05)
    assert told["high"] == pytest.approx(233.36, abs=0.05)
    assert "line is not given: bubble and dew are both possible" in told["working"]
    assert any("ASHRAE" in source for source in told["sources"])


def test_calc_alone_lists_and_a_name_alone_documents(visit: Visit) -> None:
    listed = one_line(visit.run("calc"))
    assert "weight_pressure(liquid, depth)" in listed
    assert "share(base, height, shape, spare)" in listed
    said = one_line(visit.run("calc", "weight_pressure"))
    for words in (
        "formula: pressure = density x 9.80665 m/s2 x depth",
        "input: liquid: from the catalogue liquid",
        "valid: from 0 to 100 m",
        "rises with: depth",
        "source: Pascal's law",
        "example: stillair calc weight_pressure liquid=water depth='10 m'",
        "gives: 14.22 psig, within 0.01 psi",
    ):
        assert words in said
    told = json.loads(visit.run("calc", "weight_pressure", "--format", "json").output)
    assert (told["format"], told["output"]) == ("stillair.calculator/1", "gauge pressure")
    told = json.loads(visit.run("calc", "--format", "json").output)
    assert told["format"] == "stillair.calculators/1"


def test_calc_shows_what_was_typed_and_what_was_understood(visit: Visit) -> None:
    said = one_line(visit.run("calc", "weight_pressure", "liquid=Water", "depth=10m +/- 0.5"))
    assert "weight_pressure = 14.22 psig ± 0.71 psi" in said
    assert "- depth: 10.00 m ± 0.50 m (typed: 10m +/- 0.5)" in said


@pytest.mark.parametrize(
    ("args", "code", "said"),
    [
        (("weight_presure", "depth=1 m"), 2, "did you mean `weight_pressure`?"),
        (("weight_pressure", "depth"), 2, "is not INPUT=VALUE"),
        (("weight_pressure", "depth=1 m", "depth=2 m"), 2, "`depth` is given twice"),
        (("weight_pressure", "depth=1 m"), 2, "`liquid` is missing"),
        (("weight_pressure", "liquid=water", "depth=200 m"), 1, "no value: the depth is outside 0 to 100 m"),
    ],
)
def test_calc_says_what_is_wrong(visit: Visit, args: tuple[str, ...], code: int, said: str) -> None:
    result = visit.run("calc", *args)
    assert result.exit_code == code
    assert said in one_line(result)


# -- instruments, plugins, trail -----------------------------------------------------------------------------


def test_instruments_gives_serials_checks_and_readings(visit: Visit) -> None:
    visit.enter(
        "instrument",
        serial="G9",
        kind="gauge",
        offset=6894.757,
        repeat=0.0,
        resolution=None,
        checked="2025-01-01",
    )
    visit.note("bottom=21 psig", "--with", "G9")
    said = one_line(visit.ask("instruments"))
    assert "G9 (gauge) offset ±1 psi checked 2025-01-01, due again 2026-01-01; OVERDUE" in said
    assert "bottom read 21 psig" in said
    assert visit.told("instruments")["instruments"][0]["serial"] == "G9"


def test_an_instrument_past_its_check_is_told_with_its_readings(visit: Visit) -> None:
    visit.enter(
        "instrument", serial="G9", kind="gauge", offset=1.0, repeat=0.0, resolution=None, checked="2025-01-01"
    )
    visit.enter("instrument", serial="G8", kind="gauge", offset=1.0, repeat=0.0, resolution=None)
    visit.enter(
        "instrument", serial="G7", kind="gauge", offset=1.0, repeat=0.0, resolution=None, checked="2026-04-01"
    )
    noted = visit.ask("note", "bottom=21 psig", "--with", "G9")
    assert "CAUTION: G9 was due for its check by 2026-01-01" in one_line(noted)
    visit.note("later=21 psig", "--with", "G7")
    said = one_line(visit.ask("instruments"))
    assert "CAUTION: G9 was due for its check by 2026-01-01. Readings taken with it: bottom." in said
    assert "G8 has no check date; its kind is checked every 365 d. Readings taken with it: none." in said
    assert "CAUTION: G7" not in said
    trail = one_line(visit.ask("trail")).split("## Stops and cautions")[1].split("## Findings")[0]
    assert "**G9 was due for its check by 2026-01-01.** - Readings taken with it: - `bottom`, 09:00" in trail
    assert "**G8 has no check date; its kind is checked every 365 d.** - No reading rests on it." in trail
    assert "G7" not in trail


@pytest.mark.parametrize(
    ("checked", "said"),
    [
        ("2025-01-01", "CAUTION: G5 was due for its check by 2026-01-01. Readings taken with it: none yet."),
        ("", "CAUTION: G5 has no check date; its kind is checked every 365 d."),
        ("2026-04-01", None),
    ],
)
def test_an_instrument_chosen_in_the_guide_is_told_to_be_out_of_check(
    visit: Visit, checked: str, said: str | None
) -> None:
    typed = f"i\n1\nG5\n\n\n\n{checked}\n"
    args = ["--plugin-dir", str(TOOLS), "guide", str(visit.path)]
    output = one_line(CliRunner().invoke(main, args, input=typed, obj=Settings(clock=visit.clock)))
    assert "in use: Bottom gauge: G5" in output
    assert (said in output) if said else ("G5 was due" not in output and "no check date" not in output)


def test_plugins_says_where_each_is_and_what_it_gives(visit: Visit) -> None:
    said = visit.run("plugins").output
    assert "tank_gauging 0" in said
    assert "tank_gauging.py" in said
    assert "calculators: share, weight_pressure" in said
    told = json.loads(visit.run("plugins", "--format", "json").output)
    mine = next(each for each in told["plugins"] if each["plugin"] == "tank_gauging")
    assert mine["gives"]["views"] == ["tally"]


def test_the_trail_is_the_same_whenever_it_is_written(visit: Visit, tmp_path: Path) -> None:
    visit.note("smell=no")
    first = visit.ask("trail").output
    visit.minutes(600)
    assert visit.ask("trail").output == first
    assert first.startswith("# Trail\n")
    assert "## Tally of the plugin" in first
    out = tmp_path / "trail.md"
    assert visit.ask("trail", "--out", str(out)).exit_code == 0
    assert out.read_text(encoding="utf-8") == first
    assert visit.ask("trail", "--out", str(out)).exit_code == 2


def test_a_trail_that_cannot_be_written_whole_is_not_written(
    visit: Visit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: the beginning of a trail would look like a whole one, and the name would be taken."""

    def full(path: Path, text: str, **how: Any) -> int:
        path.write_bytes(text[:100].encode())
        raise OSError(errno.ENOSPC, "No space left on device", str(path))

    out = tmp_path / "trail.md"
    with monkeypatch.context() as patched:
        patched.setattr(Path, "write_text", full)
        assert visit.ask("trail", "--out", str(out)).exit_code == 1
    assert not out.exists()
    assert visit.ask("trail", "--out", str(out)).exit_code == 0


def test_the_trail_comes_as_a_page_as_text_and_as_json(visit: Visit) -> None:
    assert visit.ask("trail", "--format", "html").output.startswith("<!DOCTYPE html>")
    assert visit.ask("trail", "--format", "text").output.startswith("Trail\n=====\n")
    told = visit.told("trail")
    assert told["format"] == "stillair.trail/1"
    assert told["assessment"]["format"] == "stillair.assessment/1"


def test_the_trail_of_an_earlier_moment_knows_nothing_later(visit: Visit) -> None:
    visit.note("smell=no")
    visit.minutes(10)
    visit.note("lamp=good")
    early = visit.ask("trail", "--at", "9:05").output
    assert "`smell`: as read `no`" in early
    assert "`lamp`: as read" not in early
    assert "`lamp`: as read `good`" in visit.ask("trail").output


@pytest.mark.parametrize("verb", ["next", "trail", "instruments", "verify"])
def test_a_job_that_is_not_there_is_said_so(verb: str, tmp_path: Path) -> None:
    result = CliRunner().invoke(main, [verb, str(tmp_path / "none.job")])
    assert result.exit_code == 2
    assert "does not exist" in result.output
