"""The guided session, as a technician meets it: typed lines in, plain text and a job file out."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings
from stillair.cli.typed import pairs
from stillair.job import Job, Line, verify

pytestmark = pytest.mark.usefixtures("own_cache")

KETTLE = Path(__file__).parent / "kettle"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
MINUTE = 60.0
UNPLUGGED = ("n 1", "y", "n")
"""No smell, the lid shut; the wall plug is out; there is no other plug."""


class Kettle:
    """A job file in an empty folder, with a clock that stands until it is moved."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "visit.job"
        self.clock = FixedClock(NINE)

    def run(self, *args: str, typed: str = "") -> Result:
        return CliRunner().invoke(main, list(args), input=typed, obj=Settings(clock=self.clock))

    def guide(self, *typed: str, by: str | None = "A. Tech") -> Result:
        new = [] if self.path.exists() else ["--pack", str(KETTLE)]
        who = ["--by", by] if by else []
        return self.run(*who, "guide", str(self.path), *new, typed="".join(f"{line}\n" for line in typed))

    def lines(self) -> list[Line]:
        with Job.open(self.path) as job:
            return list(job.lines)

    def entries(self) -> list[tuple[str, dict[str, object]]]:
        """Kind and body of every line after the opening of the checklists."""
        return [(line.kind, dict(line.body)) for line in self.lines() if line.kind not in ("job", "open")]


def flat(text: str) -> str:
    """Without the line breaks of wrapping."""
    return " ".join(text.split())


@pytest.fixture
def kettle(tmp_path: Path) -> Kettle:
    return Kettle(tmp_path)


# -- one question at a time ------------------------------------------------------------------------------


def test_a_new_job_shows_one_step_and_one_question(kettle: Kettle) -> None:
    result = kettle.guide()
    assert result.exit_code == 0
    assert "== Look before you touch" in result.output
    assert "why: Two answers decide" in result.output
    assert "Any smell of burning?" in result.output
    assert "y yes   n no" in result.output
    assert "How is the lid?" not in result.output
    assert "then: lid" in result.output
    assert [line.kind for line in kettle.lines()] == ["job", "open"]


def test_an_answer_is_one_key_and_the_next_question_follows(kettle: Kettle) -> None:
    result = kettle.guide("n", "2")
    assert kettle.entries() == [
        ("observe", {"fact": "smell", "value": "no", "read": "n"}),
        ("observe", {"fact": "lid", "value": "ajar", "read": "ajar"}),
    ]
    assert "kept 09:00 lid: It stands ajar" in result.output
    assert result.output.count("== Look before you touch") == 1
    assert "== Pull the plug: Wall plug" in result.output


@pytest.mark.parametrize("typed", ["n 2", "n,2", "no ; ajar", "lid=ajar smell=no", "n lid"])
def test_several_answers_on_one_line(kettle: Kettle, typed: str) -> None:
    result = kettle.guide(typed)
    found = {body["fact"]: body["value"] for _, body in kettle.entries()}
    if typed == "n lid":
        assert found == {"smell": "no"}
        assert "lid: `lid` is not an answer to `lid`; kept before it: smell" in flat(result.output)
        assert result.output.index("kept before it") < result.output.index("How is the lid?")
    else:
        assert found == {"smell": "no", "lid": "ajar"}


def test_a_wrong_answer_is_named_and_nothing_is_kept(kettle: Kettle) -> None:
    result = kettle.guide("maybe", "7", "y n n")
    assert "`maybe` is not an answer to `smell`" in result.output
    assert "`7` is none of the choices" in result.output
    assert "3 answers to 2 questions; nothing is kept" in result.output
    assert kettle.entries() == []
    assert result.exit_code == 0


def test_a_bare_number_has_the_unit_of_the_fact_and_is_shown_as_understood(kettle: Kettle) -> None:
    result = kettle.guide(*UNPLUGGED, "72", "22 C")
    assert "kept 09:00 water: 72 °F (typed 72)" in result.output
    assert "kept 09:00 room: 22 °C (typed 22 C)" in result.output
    water = kettle.entries()[-2][1]
    assert (water["read"], water["unit"]) == ("72", "°F")


def test_an_impossible_value_is_refused_with_the_way_out(kettle: Kettle) -> None:
    result = kettle.guide(*UNPLUGGED, "900")
    assert "is outside -40 °F .. 212 °F" in result.output
    assert all(body.get("fact") != "water" for _, body in kettle.entries())


def test_an_unknown_fact_by_name_keeps_nothing_of_the_line(kettle: Kettle) -> None:
    result = kettle.guide("smell=no lidd=shut")
    assert "there is no fact `lidd`" in result.output
    assert "did you mean `lid`?" in result.output
    assert kettle.entries() == []


def test_names_and_values_on_one_line_are_taken_apart() -> None:
    assert pairs("water=72 F, dead of wall=yes  spot.wall=left side") == [
        ("water", "72 F"), ("dead of wall", "yes"), ("spot.wall", "left side"),
    ]  # fmt: skip
    assert pairs("72 = what") == []


# -- the keys --------------------------------------------------------------------------------------------


def test_cannot_tell_takes_a_reason_by_number_or_in_words(kettle: Kettle) -> None:
    result = kettle.guide("u", "", "n", "u", "5", "y", "n", "u", "the probe is flat")
    kinds = [(kind, body.get("fact"), body.get("reason")) for kind, body in kettle.entries()]
    assert kinds == [
        ("observe", "smell", None),
        ("unavailable", "lid", "cannot tell from what is there"),
        ("observe", "unplugged", None),
        ("listed", None, None),
        ("unavailable", "water", "the probe is flat"),
    ]
    assert "it stays open" in result.output


def test_cannot_tell_of_a_safety_fact_never_allows_the_step(kettle: Kettle) -> None:
    kettle.guide("n 1", "u", "3", "72 72")
    result = kettle.run("note", str(kettle.path), "--did", "pour")
    assert result.exit_code == kettle.run("may", str(kettle.path), "pour").exit_code == 1
    assert "unplugged of wall" in result.output
    assert all(kind != "done" for kind, _ in kettle.entries())


def test_undo_takes_back_the_last_entry_only(kettle: Kettle) -> None:
    result = kettle.guide("n 2", "z", "1")
    entries = kettle.entries()
    assert entries[2] == ("correct", {"line": 4, "undo": True})
    assert entries[3][1]["value"] == "shut"
    assert "taken back: lid: ajar" in result.output
    assert "How is the lid?" in result.output


def test_undo_after_a_minute_asks_why(kettle: Kettle) -> None:
    kettle.guide("n 2")
    kettle.clock.at += 5 * MINUTE
    result = kettle.guide("z", "", "z", "1")
    assert "more than a minute ago" in result.output
    assert kettle.entries()[-1] == ("correct", {"line": 4, "why": "typed wrongly"})
    assert len(kettle.entries()) == 3


def test_undo_again_goes_further_back_and_stops_at_the_start(kettle: Kettle) -> None:
    result = kettle.guide("n 2", "z", "z", "z")
    assert "taken back: lid: ajar" in result.output
    assert "taken back: smell: n" in result.output
    assert "there is no entry to take back" in result.output


def test_undo_of_a_correction_puts_the_first_entry_in_force(kettle: Kettle) -> None:
    kettle.guide(*UNPLUGGED, "24 72", "1")
    result = kettle.guide("z")
    assert "taken back: the correction" in result.output
    assert "24 does not fit; 24 °C would" in result.output


def test_skip_needs_a_step_that_allows_it(kettle: Kettle) -> None:
    result = kettle.guide("s", *UNPLUGGED, "72 72", "y", "s", "the cloth is gone")
    assert "`Look before you touch` cannot be skipped" in result.output
    assert kettle.entries()[-1] == ("skip", {"step": "polish", "why": "the cloth is gone"})


def test_an_event_is_logged_by_number_with_its_time(kettle: Kettle) -> None:
    kettle.guide("n 1")
    kettle.clock.at += 20 * MINUTE
    result = kettle.guide("e", "1 9:05", "e", "9", "e", "")
    assert "The lid was opened" in result.output
    line = kettle.lines()[-1]
    assert (line.kind, line.body["event"], line.taken) == ("event", "lid_opened", NINE + 5 * MINUTE)
    assert "`9` is none of the choices" in result.output


def test_what_is_missing_is_listed_and_can_be_answered_out_of_turn(kettle: Kettle) -> None:
    result = kettle.guide("n", "w", "2", "y")
    assert "not yet: Pour the acid in" in result.output
    assert "Wall plug: Is it pulled out?" in result.output
    assert kettle.entries()[-1][1]["fact"] in ("unplugged", "lid")


def test_why_and_how_are_told_with_the_keys(kettle: Kettle) -> None:
    result = kettle.guide("?")
    for text in ("A fire comes first.", "Smell at the door.", "void after: handover", "take back"):
        assert text in result.output


def test_another_instrument_is_declared_and_used(kettle: Kettle) -> None:
    result = kettle.guide(*UNPLUGGED, "i", "1", "T7", "0.2 F", "", "", "72")
    instrument, reading = kettle.entries()[-2:]
    assert instrument[0] == "instrument" and instrument[1]["serial"] == "T7"
    assert instrument[1]["offset"] == pytest.approx(0.2 / 1.8)
    assert instrument[1]["repeat"] == pytest.approx(0.5 / 1.8)
    assert reading[1]["instrument"] == "T7"
    assert "read with T7" in result.output


# -- emergency -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("before", [(), ("u",), ("e",), ("w",)])
def test_emergency_from_any_prompt(kettle: Kettle, before: tuple[str, ...]) -> None:
    kettle.guide("n 1")
    kettle.clock.at += 3 * MINUTE
    result = kettle.guide(*before, "!", "n")
    assert result.exit_code == 3
    said = result.output
    assert said.index("LEAVE NOW.") < said.index("Do not switch") < said.index("from outside")
    assert "The time is kept: 09:03" in said
    assert kettle.lines()[-1].kind == "emergency"
    assert "Any smell of burning?" in kettle.guide().output


# -- what does not fit -----------------------------------------------------------------------------------


def test_a_unit_slip_is_asked_about_and_corrected_never_converted_silently(kettle: Kettle) -> None:
    kettle.guide(*UNPLUGGED, "24 72")
    observed = [body for kind, body in kettle.entries() if body.get("fact") == "water"]
    assert observed[0]["read"] == "24" and observed[0]["unit"] == "°F"
    result = kettle.guide("1")
    assert "24 does not fit; 24 °C would. Which was read?" in result.output
    kind, body = kettle.entries()[-1]
    assert kind == "correct" and body["why"] == "unit slip: 24 °C was read"
    assert "== Pour the acid in" in result.output


def test_a_suspected_slip_can_be_confirmed_as_read(kettle: Kettle) -> None:
    result = kettle.guide(*UNPLUGGED, "24 72", "2")
    waters = [body for kind, body in kettle.entries() if body.get("fact") == "water"]
    assert [body["read"] for body in waters] == ["24", "24"]
    assert "== Pour the acid in" in result.output


def test_what_cannot_be_is_settled_by_the_right_value(kettle: Kettle) -> None:
    result = kettle.guide(*UNPLUGGED, "130 125", "124", "room=102")
    assert result.output.count("Nobody stands in such a room") == 2
    assert "corrected room: 124 °F" in result.output
    assert "corrected room: 102 °F" in result.output
    assert "== Pour the acid in" in result.output


# -- lists, waits, stops, powered states -----------------------------------------------------------------


def test_an_open_list_grows_until_someone_says_that_is_all(kettle: Kettle) -> None:
    result = kettle.guide("n 1", "y", "y", "That is all", "Second plug!", "n", "y")
    assert "Any other plug?" in result.output
    assert "`y` is no name" in result.output
    assert "`That is all` is no name" in result.output
    assert "Second plug!: Is it pulled out?" in result.output
    kinds = [kind for kind, _ in kettle.entries()]
    assert kinds[-3:] == ["member", "listed", "observe"]
    assert "Water temperature" in result.output


def pour(kettle: Kettle) -> Result:
    """The acid goes in at nine; what else there is to do has been done."""
    kettle.guide(*UNPLUGGED, "72 72")
    for step in ("pour", "polish", "boil-once"):
        kettle.run("note", str(kettle.path), "owner=me", "--did", step)
    kettle.run("note", str(kettle.path), "unplugged of wall=yes")
    return kettle.guide()


def test_a_wait_shows_clock_time_time_left_and_a_bar(kettle: Kettle) -> None:
    result = pour(kettle)
    assert "Soak: ready at 09:10, 10 min left" in result.output
    assert "[....................]" in result.output
    kettle.clock.at += 5 * MINUTE
    again = kettle.guide("")
    assert "Soak: ready at 09:10, 5 min left" in again.output
    assert "[##########..........]" in again.output


def test_while_a_wait_runs_its_witness_is_not_asked(kettle: Kettle) -> None:
    pour(kettle)
    kettle.clock.at += 5 * MINUTE
    result = kettle.guide("hello", "")
    assert "Was the lid opened meanwhile?" not in result.output
    assert "Nothing else can be done meanwhile. Enter checks again." in result.output
    assert "`hello` answers nothing here" in result.output


def test_what_was_switched_on_is_used_before_it_is_locked_again(kettle: Kettle) -> None:
    kettle.guide(*UNPLUGGED, "72 72", "y", "y", "mine")
    kettle.guide("y")
    assert "== Boil once" in kettle.guide().output


def test_a_wait_goes_on_while_the_program_is_shut_and_then_asks_its_witness(kettle: Kettle) -> None:
    pour(kettle)
    kettle.clock.at += 11 * MINUTE
    result = kettle.guide("n", "1")
    assert "Soak: time is up since 09:10" in result.output
    assert "Was the lid opened meanwhile?" in result.output
    assert "FOUND: The kettle is clean (confirmed)" in result.output


def test_a_stop_names_what_lifts_it_and_a_new_answer_lifts_it(kettle: Kettle) -> None:
    pour(kettle)
    kettle.clock.at += 1 * MINUTE
    result = kettle.guide("smell=yes")
    assert "STOP: Leave the kitchen." in result.output
    assert "lifted when: The smell is gone and you answer again." in result.output
    kettle.clock.at += 1 * MINUTE
    assert "lifted: Leave the kitchen." in kettle.guide("smell=no").output


def test_a_caution_is_shown_when_it_begins_to_hold(kettle: Kettle) -> None:
    assert "CAUTION: The water is hot." in kettle.guide(*UNPLUGGED, "150 140").output


def test_a_powered_state_shows_its_limit_and_that_it_is_over(kettle: Kettle) -> None:
    kettle.guide(*UNPLUGGED, "72 72", "y", "y", "mine")
    result = kettle.guide("y")
    assert "CAUTION: Keep away from the steam." in result.output
    assert "This switches on: One boil, at most 60 s." in result.output
    assert kettle.entries()[-1] == ("event", {"event": "boil_begun"})
    assert "1 min left" in result.output
    kettle.clock.at += 2 * MINUTE
    assert "ITS TIME IS UP" in kettle.guide().output
    closed = kettle.run("close", str(kettle.path), "--outcome", "done")
    assert closed.exit_code == 3
    assert "lock out again and prove it" in flat(closed.output)


# -- people, times, files --------------------------------------------------------------------------------


def test_entries_made_afterwards_keep_the_time_they_were_seen(kettle: Kettle) -> None:
    kettle.clock.at += 12 * 60 * MINUTE
    result = kettle.guide("@9:05", "y", "n 1", "@9:20", "y", "@23:00", "@")
    taken = [(line.body["fact"], line.taken) for line in kettle.lines() if line.kind == "observe"]
    assert taken == [
        ("smell", NINE + 5 * MINUTE), ("lid", NINE + 5 * MINUTE), ("unplugged", NINE + 20 * MINUTE),
    ]  # fmt: skip
    assert "`23:00` is later than now, 21:00" in result.output
    assert "Entering what was seen at 09:20" in result.output


def test_nobody_works_under_another_name_without_a_handover(kettle: Kettle) -> None:
    kettle.guide("n 1", "y")
    refused = kettle.guide("72", by="B. Other")
    assert refused.exit_code == 2
    assert "the job is with A. Tech" in refused.output
    assert "handover" in refused.output
    done = kettle.run("handover", str(kettle.path), "--to", "B. Other")
    assert "to be seen again: unplugged of wall" in done.output
    result = kettle.guide("n", by=None)
    assert "Entries are by B. Other." in result.output
    assert "Any smell of burning?" in result.output
    assert kettle.lines()[-1].by == "B. Other"


def test_an_emergency_at_the_very_first_prompt(kettle: Kettle) -> None:
    result = kettle.guide("!", by=None)
    assert result.exit_code == 3
    assert "LEAVE NOW." in result.output
    assert not kettle.path.exists()


def test_a_closed_job_says_so(kettle: Kettle) -> None:
    kettle.guide("n 1")
    kettle.run("close", str(kettle.path), "--outcome", "sent away")
    refused = kettle.guide()
    assert refused.exit_code == 1
    assert "the job was closed at 09:00: sent away" in flat(refused.output)
    assert f"`stillair guide {kettle.path} --reopen`" in refused.output


def test_an_event_against_permission_is_kept_only_with_the_reason(kettle: Kettle) -> None:
    kettle.guide("n 1")
    refused = kettle.guide("e", "2", "", "e", "2", "nobody looked")
    assert refused.output.count("not kept: Pour the acid in may not be done") == 2
    events = [body for kind, body in kettle.entries() if kind == "event"]
    assert events == [{"event": "acid_poured", "why": "nobody looked"}]


def test_a_wait_that_ran_while_nothing_was_entered_is_by_the_clock_alone(kettle: Kettle) -> None:
    assert "by the clock alone" not in pour(kettle).output
    kettle.clock.at += 11 * MINUTE
    assert "Waits ran on by the clock alone while nothing was entered here." in flat(kettle.guide().output)
    assert "time is up since 09:10, by the clock alone" in flat(kettle.guide().output)


def test_a_new_job_asks_for_a_name_and_is_not_begun_without(kettle: Kettle) -> None:
    assert kettle.guide(by=None).exit_code == 2
    assert not kettle.path.exists()
    kettle.guide("", "C. Third", "n", by=None)
    assert {line.by for line in kettle.lines()} == {"C. Third"}


def test_a_clock_that_was_set_back_is_told_and_times_do_not_go_back(kettle: Kettle) -> None:
    kettle.guide("n 1")
    kettle.clock.at -= 60 * MINUTE
    result = kettle.guide("y")
    assert "stands 1 h before the last entry" in flat(result.output)
    assert kettle.lines()[-1].entered == NINE
    assert verify(kettle.path).clock_went_back == ()


def test_control_characters_are_never_shown_raw(kettle: Kettle) -> None:
    result = kettle.guide("\x1b[31mno\x07", "n \x9b2J", "n 1", "y", "\x1b]0;x\x07")
    shown = {c for c in result.output if ord(c) < 32 or 127 <= ord(c) < 160}
    assert shown <= {"\n"}


def test_it_is_readable_at_sixty_columns_without_colour(kettle: Kettle) -> None:
    result = pour(kettle)
    kettle.clock.at += 11 * MINUTE
    for text in (result.output, kettle.guide("?", "w", "", "e", "", "n").output):
        assert max(len(line) for line in text.splitlines() if not line.startswith("/")) <= 60
        assert "\x1b" not in text


def test_personal_text_is_kept_apart_from_the_job(kettle: Kettle) -> None:
    kettle.guide(*UNPLUGGED, "72 72", "y", "y", "the Queen of Sheba")
    assert "the Queen of Sheba" not in kettle.path.read_text(encoding="utf-8")
    assert any(line.body.get("read") == "the Queen of Sheba" for line in kettle.lines())


def test_the_job_is_assessed_with_the_texts_kept_beside_it(kettle: Kettle, tmp_path: Path) -> None:
    pack = tmp_path / "kettle"
    pack.mkdir()
    for file in KETTLE.iterdir():
        (pack / file.name).write_bytes(file.read_bytes())
    kettle.run("--by", "A. Tech", "guide", str(kettle.path), "--pack", str(pack))
    (pack / "kettle.yaml").write_text("checklist: nonsense", encoding="utf-8")
    result = kettle.guide()
    assert result.exit_code == 0
    assert "Any smell of burning?" in result.output


def test_a_torn_line_is_set_aside_and_told(kettle: Kettle) -> None:
    kettle.guide("n 1")
    with kettle.path.open("ab") as file:
        file.write(b'{"body":{"fact":"unplu')
    result = kettle.guide("y")
    assert "An interrupted entry was torn off the end of the job" in flat(result.output)
    assert '{"body":{"fact":"unplu' in flat(result.output)
    assert "What was torn off may have been acknowledged." in flat(result.output)
    assert "Wall plug: Is it pulled out?" in result.output
    assert [kind for kind, _ in kettle.entries()][-2:] == ["repaired", "observe"]
    assert verify(kettle.path).ok


def test_a_broken_plugin_stops_with_its_name_and_file(kettle: Kettle, tmp_path: Path) -> None:
    kettle.guide("n 1")
    folder = tmp_path / "plugins"
    folder.mkdir()
    (folder / "leaky_kettle.py").write_text("import no_such_thing_at_all\n", encoding="utf-8")
    before = kettle.path.read_bytes()
    result = kettle.run("--plugin-dir", str(folder), "guide", str(kettle.path), typed="y\n")
    assert result.exit_code == 3
    assert "leaky_kettle" in result.output and "leaky_kettle.py:1" in result.output
    assert "Traceback" not in result.output
    assert kettle.path.read_bytes() == before


def test_a_plugin_that_raises_in_the_middle_stops_and_is_named(kettle: Kettle, tmp_path: Path) -> None:
    folder = tmp_path / "plugins"
    pack = folder / "weighing"
    pack.mkdir(parents=True)
    (folder / "bad_scales.py").write_text(
        "from stillair.calculator import Example, Input, Source, calculator\n"
        "from stillair.hooks import hookimpl\n"
        "@calculator(inputs={'x': Input('number')}, output='number', unit='1', formula='1 / x',\n"
        "            sources=(Source('arithmetic'),), valid='everywhere',\n"
        "            examples=(Example({'x': '2'}, '0.5', within='1'),))\n"
        "def inverse(x: float) -> float:\n"
        "    return {2.0: 0.5}[x]\n"
        "@hookimpl\n"
        "def stillair_calculators():\n"
        "    return [inverse]\n",
        encoding="utf-8",
    )
    (pack / "manifest.yaml").write_text(
        'pack: weighing\nversion: 1.0.0\ntitle: Weigh\nengine: ">=0.1"\nchecklists: [weigh.yaml]\n'
    )
    (pack / "weigh.yaml").write_text(
        "checklist: weigh\ntitle: Weigh\n"
        "facts: {load: {ask: Load, quantity: number, between: 0 .. 10}}\n"
        "steps: [{step: weigh, title: Weigh it, ask: [load]}]\n"
        "rules: [{rule: light, finding: light, when: inverse(load) > 0.4, source: test}]\n"
    )
    args = ["--plugin-dir", str(folder), "--by", "A. Tech", "guide", str(kettle.path)]
    result = kettle.run(*args, "--pack", str(pack), typed="3\n2\n")
    assert result.exit_code == 3
    assert "bad_scales.py:7:1: the calculator `inverse` raised KeyError" in result.output
    assert "Traceback" not in result.output


def test_a_plugin_that_changed_stops_the_writing_not_the_reading(kettle: Kettle, tmp_path: Path) -> None:
    folder = tmp_path / "plugins"
    folder.mkdir()
    plugin = folder / "weigher.py"
    source = (
        "from stillair.calculator import Example, Input, Source, calculator\n"
        "from stillair.hooks import hookimpl\n"
        "@hookimpl\n"
        "def stillair_calculators():\n"
        "    return [twice]\n"
        "@calculator(inputs={'x': Input('number')}, output='number', unit='1', formula='2 x',\n"
        "            sources=(Source('arithmetic'),), valid='everywhere',\n"
        "            examples=(Example({'x': '2'}, '4', within='1'),))\n"
        "def twice(x: float) -> float:\n"
        "    return 2 * x\n"
    )
    plugin.write_text(source, encoding="utf-8")
    code = (
        "import sys; from stillair.cli import main; "
        "main(['--by', 'A. Tech', '--plugin-dir', sys.argv[1], 'guide', sys.argv[2], *sys.argv[3:]])"
    )

    def run(*more: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-c", code, str(folder), str(kettle.path), *more]
        return subprocess.run(command, input="n\n", capture_output=True, text=True, encoding="utf-8")

    assert run("--pack", str(KETTLE)).returncode == 0
    plugin.write_text(source.replace("2 * x", "3 * x"), encoding="utf-8")
    stopped = run()
    assert stopped.returncode == 1
    assert "`weigher`" in stopped.stderr and "stillair move" in stopped.stderr


@pytest.mark.parametrize(
    ("args", "code", "said"),
    [
        (["guide", "no/such/folder/x.job", "--pack", str(KETTLE)], 1, "its folder does not exist"),
        (["note", "nothing.job", "a=b"], 2, "does not exist"),
        (["gide", "x.job"], 2, "did you mean `guide`?"),
        (["guide"], 2, "missing argument"),
        (["guide", "x.job", "--pack", "kettel"], 1, "stillair: there is no pack `kettel`"),
    ],
)
def test_mistakes_are_told_without_a_traceback(kettle: Kettle, args: list[str], code: int, said: str) -> None:
    result = kettle.run("--by", "A. Tech", *args)
    assert result.exit_code == code
    assert said in result.output
    assert result.output.startswith("stillair: ") and "help: " in result.output
    assert "Traceback" not in result.output


# -- interruption ----------------------------------------------------------------------------------------


def session_process(kettle: Kettle) -> subprocess.Popen[str]:
    code = "import sys; from stillair.cli import main; main(sys.argv[1:])"
    args = ["--by", "A. Tech", "guide", str(kettle.path)]
    new = [] if kettle.path.exists() else ["--pack", str(KETTLE)]
    return subprocess.Popen(
        [sys.executable, "-u", "-c", code, *args, *new],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip


def type_and_wait(process: subprocess.Popen[str], typed: str, until: str) -> None:
    assert process.stdin is not None and process.stdout is not None
    process.stdin.write(typed + "\n")
    process.stdin.flush()
    for shown in process.stdout:
        if until in shown:
            return
    raise AssertionError(f"`{until}` was never shown")


def end(process: subprocess.Popen[str]) -> None:
    """As by a flat battery: no handler of the program runs."""
    process.kill()
    process.wait()
    for stream in (process.stdin, process.stdout):
        assert stream is not None
        stream.close()


def test_what_was_acknowledged_survives_a_kill_and_the_session_resumes_exactly(kettle: Kettle) -> None:
    process = session_process(kettle)
    try:
        type_and_wait(process, "n 2", "lid: It stands ajar")
        # On the screen means on the disk, whatever happens next.
        on_disk = kettle.path.read_text(encoding="utf-8").splitlines()
        assert [json.loads(line)["body"].get("fact") for line in on_disk[2:]] == ["smell", "lid"]
        type_and_wait(process, "y", "unplugged of wall: Yes")
    finally:
        end(process)
    assert verify(kettle.path).ok
    kettle.clock.at = time.time()
    result = kettle.guide()
    assert "Any other plug?" in result.output
    assert "Any smell of burning?" not in result.output
    facts = [body.get("fact") for kind, body in kettle.entries() if kind == "observe"]
    assert facts == ["smell", "lid", "unplugged"]


def test_a_second_writer_is_refused_while_the_first_works(kettle: Kettle) -> None:
    process = session_process(kettle)
    try:
        type_and_wait(process, "n", "smell: No")
        kettle.clock.at = time.time()
        for args in (["guide", str(kettle.path)], ["note", str(kettle.path), "lid=shut"]):
            result = kettle.run(*args)
            assert result.exit_code == 1
            assert "is being written by process" in result.output
        type_and_wait(process, "2", "lid: It stands ajar")
    finally:
        end(process)
    assert [body["value"] for _, body in kettle.entries()] == ["no", "ajar"]
