"""`rehearse`: scenarios played by the verb and by pytest, and jobs recorded as scenarios."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner, Result
from stillair.assess import Program, read_fact, read_value
from stillair.authoring.record import recorded
from stillair.authoring.rehearse import play
from stillair.authoring.scenario import ScenarioError, read_scenario
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Session
from stillair.hooks import Plugins
from stillair.pack import read_pack

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
TOOLS = HERE / "tank_tools"
FULL = HERE / "tank" / "scenarios" / "a-full-tank.yaml"
ZONE = timezone(timedelta(hours=-4))


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    """A copy of the pack, so that its scenarios may be changed."""
    return Path(shutil.copytree(HERE / "tank", tmp_path / "tank"))


def rehearse(*args: object) -> Result:
    return CliRunner().invoke(main, ["--plugin-dir", str(TOOLS), "rehearse", *map(str, args)])


def changed(tank: Path, old: str, new: str) -> None:
    path = tank / "scenarios" / "a-full-tank.yaml"
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_scenarios_that_come_true(tank: Path) -> None:
    result = rehearse(tank)
    assert result.exit_code == 0, result.output
    assert "tank: 1 scenario (1 by hand)" in result.output
    assert "1 scenario played, 8 expectations, none failed" in result.output


def test_one_that_fails_shows_the_tree_with_values_and_margins(tank: Path) -> None:
    changed(tank, "low: confirmed", "low: none")
    result = rehearse(tank)
    assert result.exit_code == 1
    said = " ".join(result.output.split())
    assert "FAILED tank/a-full-tank: A full tank" in said
    assert "finding low: expected none, found confirmed" in said
    assert "holds bottom < least" in said
    assert "bottom = 13.00 psig ± 0.54 psi" in said and "wholly below 20 psig, 6.46 psi to spare" in said
    assert "to spare" in said
    (told,) = json.loads(rehearse(tank, "--format", "json").stdout)["scenarios"]
    assert [m["where"] for m in told["misses"]] == ["entry 6, finding low"]
    assert told["passed"] is False and any("to spare" in line for line in told["misses"][0]["tree"])


def test_no_scenario_is_a_failure(tank: Path) -> None:
    assert rehearse(tank, "-k", "empty").exit_code == 1
    shutil.rmtree(tank / "scenarios")
    result = rehearse(tank)
    assert result.exit_code == 1
    assert "there are no scenarios in tank to play" in result.stderr


def test_a_pack_that_is_not_there(tank: Path) -> None:
    result = rehearse("tnk")
    assert result.exit_code == 2
    assert "there is no pack `tnk`" in result.stderr


def test_a_scenario_is_named_with_its_ending_too(tank: Path) -> None:
    assert "1 scenario played" in rehearse(tank, "-k", "a-full-tank.yaml").output


def test_faults_of_the_pack_are_printed_as_they_stand_with_their_path_and_once(tank: Path) -> None:
    (tank / "scenarios" / "b.yaml").write_text(FULL.read_text(encoding="utf-8"), encoding="utf-8")
    text = (tank / "tank.yaml").read_text(encoding="utf-8")
    (tank / "tank.yaml").write_text(
        text.replace("when: bottom < least", "when: botom < least"), encoding="utf-8"
    )
    result = rehearse(tank, "--coverage")
    assert result.exit_code == 1
    fault, source, caret, help = result.output.split("\n")[1:5]
    assert fault == f"{tank.as_posix()}/tank.yaml:53:44: `botom` is not defined [SA301]"
    assert source[caret.index("^") : caret.rindex("^") + 1] == "botom"
    assert help == "help: did you mean `bottom`?"
    assert result.output.count("botom` is not") == 1 and "the same faults" in result.output


@pytest.mark.parametrize("what", ["--coverage", "--mutate", "--fill"])
def test_with_one_that_failed_nothing_is_counted_and_that_is_said(tank: Path, what: str) -> None:
    changed(tank, "low: confirmed", "low: none")
    result = rehearse(tank, what)
    assert result.exit_code == 1
    assert re.search(r"nothing was (counted|written): first let every scenario come true", result.output)


@pytest.mark.parametrize("what", ["--coverage", "--mutate"])
def test_of_nothing_there_is_no_share_and_no_threshold_is_met(tank: Path, what: str) -> None:
    own = tank.with_name("own")
    (own / "scenarios").mkdir(parents=True)
    digest = read_pack(tank, plugins=Plugins.load([TOOLS]).versions()).digest
    (own / "manifest.yaml").write_text(
        "pack: own\nversion: 1.0.0\ntitle: Own\nengine: '>=0.1,<1'\njoins: tank\nchecklists: []\n"
        f"adjusts:\n  pack: tank\n  digest: {digest}\n  limits: {{least: 25 psig}}\n",
        encoding="utf-8",
    )
    text = FULL.read_text(encoding="utf-8").replace("pack: tank", f"pack: {tank.as_posix()}")
    (own / "scenarios" / "a.yaml").write_text(text, encoding="utf-8")
    result = rehearse(own, what)
    assert result.exit_code == 0 and "%" not in result.output, result.output
    for threshold in ("--at-least", "--guards-at-least"):
        assert rehearse(own, what, threshold, "1").exit_code == 1
        assert rehearse(tank, what, threshold, "1").exit_code == 0
    told = json.loads(rehearse(own, what, "--format", "json").stdout)
    assert told["guards_percent"] is None and told["other_percent"] is None


WRONG = [
    (
        'note: {smell: "yes"}',
        'noet: {smell: "yes"}',
        "entry 7: `noet` is not known here (did you mean `note`?)",
    ),
    ("stopped: [filling]", "stopt: [filling]", "entry 8: `expect`: `stopt` is not known here"),
    ("stopped: [filling]", "stopped: [filing]", "entry 8: there is no activity `filing` (did you mean"),
    ("low: confirmed", "lwo: confirmed", "entry 6: there is no finding `lwo`"),
    ("stopped: [filling]", "next: lokc", "entry 8: there is no step `lokc` (did you mean `lock`?)"),
    ("stopped: [filling]", "rules: {fumes: hold}", "entry 8: `hold` is no verdict: it is "),
    ("depth: 30 ft", "depth: 90 ft", "entry 5: depth: 90 ft is outside 0 in .. 40 ft"),
    ('at: "09:05:30"', "at: nine", "entry 5: `nine` is not a time like `09:02`"),
    ('at: "09:05:30"', 'at: "08:59"', "entry 5: `08:59` is before 2026-04-15 09:0"),
    ("starts: 2026-04-15 09:00 -04:00", "starts: today", "`starts` is a moment like"),
    ("by: A. Tech", "made: by magic", "`made` is by hand, recorded or generated"),
]


SHAPES = [
    *(
        (f"expect: {{{key}: {said}}}", f"`{key}` of `expect` is ")
        for key, said in (
            ("may", ""),
            ("may", "3"),
            ("may", "[fill]"),
            ("findings", "low"),
            ("rules", "{fumes: }"),
            ("because", "{fill: []}"),
            ("stopped", ""),
            ("stopped", "{filling: yes}"),
            ("stopped", "[[filling]]"),
            ("allowed", "[]"),
            ("next", "[lock]"),
            ("asks", "true"),
            ("not asked", "[]"),
            ("awaits", ""),
            ("facts", "[]"),
            ("calculations", "{}"),
            ("voided", "{}"),
            ("suspects", ""),
            ("refuses", "depth"),
            ("trail says", '""'),
            ("trail does not say", '[a, ""]'),
            ("places", ""),
            ("conditions", "[a]"),
        )
    ),
    ("expect: []", "`expect` is a mapping of: findings, "),
    ("note: ", "`note` is a mapping like `{FACT: VALUE}`"),
    ("note: [a]", "`note` is a mapping like"),
    ("note: 3", "`note` is a mapping like"),
    ("note: {smell: }", "`smell` of `note` is one text"),
    ("skip: 3", "`skip` is a mapping like"),
    ("cannot: [smell]", "`cannot` is a mapping like"),
    ("member: 3", "`member` is a mapping like"),
    ("member: {valve: }", "`valve` of `member` is a text, or a list"),
    ("correct: smell", "`correct` is a mapping like"),
    ("instrument: G", "`instrument` is a mapping of: serial, "),
    ("instrument: {serial: G, kind: gauge, checked: never}", "`checked` of `instrument` is a date like"),
    ("instrument: {serial: G, kind: gauge, ofset: 1 psi}", "`instrument`: `ofset` is not known here"),
    ("handover: ", "`handover` is one text"),
    ("emergency: 3", "`emergency` is `true`"),
    ("event: [a]", "`event` is one text"),
    ("at: {a: b}", "`at` is one text"),
]


@pytest.mark.parametrize(("entry", "said"), SHAPES)
def test_a_value_of_another_shape_is_told_with_its_key_by_whatever_reads_it(
    tank: Path, entry: str, said: str
) -> None:
    said = said.replace("`rules`", "`fumes` of `rules`") if "fumes: }" in entry else said
    said = said.replace("`because`", "`fill` of `because`") if "because" in entry else said
    changed(tank, "  - listed: valve\n", f"  - {entry}\n")
    (told,) = json.loads(rehearse(tank, "--format", "json").stdout)["scenarios"]
    assert told["error"].startswith(f"a-full-tank.yaml: entry 3: {said}")
    args = ["--plugin-dir", str(TOOLS), "lint", "--profile", "draft", str(tank)]
    linted = CliRunner().invoke(main, args)
    assert linted.exit_code == 1
    assert "scenarios/a-full-tank.yaml:11:" in linted.output and f"entry 3: {said}" in linted.output


REFUSED = [
    ("instrument: {serial: G, kind: gauge, offset: 3 lb}", "entry 3: "),
    ("expect: {not asked: [nothing_such]}", "entry 3: there is no fact `nothing_such`"),
    (
        "expect: {not asked: [locked]}",
        "entry 3: `locked` is no fact as it is asked (write `locked of MEMBER`)",
    ),
    ("expect: {rules: {drip: open}}", "entry 3: there is no rule `drip` (one of: `drip of seam`, `drip of"),
    ("expect: {findings: {drip: none}}", "entry 3: there is no finding `drip` (one of: `drip of seam`"),
    ("expect: {rules: {fume: open}}", "entry 3: there is no rule `fume` (did you mean `fumes`?)"),
    ("expect: {because: {fume: smell}}", "entry 3: nothing is called `fume` (did you mean `fumes`?)"),
    ("expect: {because: {drip of lid: x}}", "entry 3: `lid` is not in the list "),
    ("expect: {because: {drip: x}}", "entry 3: there is no rule `drip` (one of: `drip of seam`"),
]


@pytest.mark.parametrize(("entry", "said"), REFUSED)
def test_what_does_not_fit_the_pack_is_refused(tank: Path, entry: str, said: str) -> None:
    changed(tank, "  - listed: valve\n", f"  - {entry}\n")
    (told,) = json.loads(rehearse(tank, "--format", "json").stdout)["scenarios"]
    assert told["error"].startswith(said)


def test_an_empty_list_of_what_is_stopped_or_asked_says_that_nothing_is(tank_program: Program) -> None:
    def misses(smell: str, expect: dict[str, object]) -> list[str]:
        does = [{"note": {"smell": smell}, "expect": {"rules": {"fumes": "holds"}, **expect}}]
        found = play(tank_program, {"starts": "2026-04-15 09:00 -04:00", "does": does})
        assert found.checked == 2
        return [f"{m.where}: {m.found}" for m in found.misses]

    assert misses("yes", {"stopped": []}) == ["entry 1, stopped: filling"]
    assert "entry 1, rule fumes: fails" in misses("no", {"stopped": []})
    assert not any("stopped" in each for each in misses("no", {"stopped": []}))
    assert any(each.startswith("entry 1, asks: ") for each in misses("no", {"asks": []}))


@pytest.mark.parametrize("option", ["--mutants", "--tries"])
def test_an_option_of_what_is_not_asked_for_is_a_mistake(tank: Path, option: str) -> None:
    result = rehearse(tank, option, "5")
    assert result.exit_code == 2 and f"{option} is of what --" in result.output


def test_a_folder_named_by_a_dot_has_its_name(tank: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tank)
    assert "\ntank: 1 scenario (1 by hand)\n" in "\n" + rehearse(Path(".")).output


def test_a_number_is_as_good_as_its_text(tank: Path) -> None:
    """Also as the serial number of an instrument, and in a list of one."""
    changed(tank, "serial: G1", "serial: 7")
    changed(tank, "with: {bottom: G1}", "with: {bottom: 7}")
    changed(tank, "trail says: The gauge shows the liquid and nothing else", "trail says: 13")
    assert rehearse(tank).exit_code == 0


@pytest.mark.parametrize(("old", "new", "said"), WRONG)
def test_what_cannot_be_played_says_where(tank: Path, old: str, new: str, said: str) -> None:
    changed(tank, old, new)
    result = rehearse(tank, "--format", "json")
    assert result.exit_code == 1
    (told,) = json.loads(result.stdout)["scenarios"]
    assert said in told["error"]


def test_scenarios_are_counted_by_how_they_were_made(tank: Path) -> None:
    for name, made in (("b", "recorded"), ("c", "generated")):
        text = FULL.read_text(encoding="utf-8").replace("by: A. Tech", f"made: {made}")
        (tank / "scenarios" / f"{name}.yaml").write_text(text, encoding="utf-8")
    result = rehearse(tank)
    assert "tank: 3 scenarios (1 by hand, 1 recorded, 1 generated)" in result.output
    assert json.loads(rehearse(tank, "--format", "json").stdout)["made"] == {
        "by hand": 1,
        "recorded": 1,
        "generated": 1,
    }


def test_played_by_several_processes_they_come_in_order(tank: Path) -> None:
    text = FULL.read_text(encoding="utf-8")
    for number in range(12):
        grade = "none" if number == 7 else "confirmed"
        (tank / "scenarios" / f"x{number:02}.yaml").write_text(
            text.replace("low: confirmed", f"low: {grade}"), encoding="utf-8"
        )
    result = rehearse(tank, "--processes", "2", "--format", "json")
    told = json.loads(result.stdout)["scenarios"]
    assert [each["scenario"] for each in told] == ["a-full-tank", *(f"x{n:02}" for n in range(12))]
    assert [each["scenario"] for each in told if not each["passed"]] == ["x07"]


# -- interrupted ---------------------------------------------------------------------------------------------

HANGING = """

import multiprocessing, os, pathlib, time, traceback


def hang():
    names = {frame.name for frame in traceback.extract_stack()}
    if multiprocessing.parent_process() is not None and os.environ["HANG_IN"] in names:
        pathlib.Path(os.environ["HANG_MARKS"], str(os.getpid())).touch()
        time.sleep(60)
"""


def interrupted(tank: Path, tmp_path: Path, option: str, place: str, to_all: bool) -> tuple[int, str, str]:
    """The exit code and what is said where it is interrupted while something is done at a place."""
    tools = Path(shutil.copytree(TOOLS, tmp_path / "tools"))
    (plugin,) = tools.glob("*.py")
    text = plugin.read_text("utf-8")
    before = "    if not 0 <= depth <= 100:"
    assert before in text
    plugin.write_text(text.replace(before, f"    hang()\n{before}") + HANGING, encoding="utf-8")
    for number in range(19):
        shutil.copy(tank / "scenarios" / FULL.name, tank / "scenarios" / f"x{number:02}.yaml")
    marks = tmp_path / "marks"
    marks.mkdir()
    code = "import sys; from stillair.cli import main; main(sys.argv[1:])"
    args = ["--plugin-dir", str(tools), "rehearse", str(tank), option, "--processes", "2"]
    process = subprocess.Popen(
        [sys.executable, "-c", code, *args], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        start_new_session=True, env={**os.environ, "HANG_IN": place, "HANG_MARKS": str(marks)},
    )  # fmt: skip
    try:
        until = time.monotonic() + 60
        while not any(marks.iterdir()):
            assert process.poll() is None and time.monotonic() < until, process.communicate()
            time.sleep(0.05)
        (os.killpg if to_all else os.kill)(process.pid, signal.SIGINT)
        said = process.communicate(timeout=20)
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
    return process.returncode, said[0], said[1].strip()


@pytest.mark.skipif(os.name == "nt", reason="a group of processes is interrupted otherwise there")
@pytest.mark.parametrize("to_all", [True, False])
@pytest.mark.parametrize(
    ("option", "place"), [("--coverage", "_play"), ("--mutate", "_watch"), ("--fill", "_moments")]
)
def test_an_interruption_ends_all_processes_at_once_with_one_line(
    tank: Path, tmp_path: Path, option: str, place: str, to_all: bool
) -> None:
    """Whether all of the group are told of it, as by Ctrl-C, or the first alone."""
    told = interrupted(tank, tmp_path, option, place, to_all)
    assert told == (130, "", "stillair: interrupted")


@pytest.mark.skipif(os.name == "nt", reason="a group of processes is interrupted otherwise there")
@pytest.mark.parametrize("to_all", [True, False])
def test_what_was_found_before_an_interruption_is_written(tank: Path, tmp_path: Path, to_all: bool) -> None:
    """What a generated scenario shows already is found first; others that are there stay."""
    made = tank / "scenarios" / "generated"
    made.mkdir()
    entry = "{after: 1, note: {lamp: weak}, expect: {conditions: {gate of step walk of seam: open}}}"
    text = f"scenario: S\nmade: generated\nfollows: a-full-tank\ndoes:\n  - {entry}\n"
    (made / FULL.name).write_text(text, encoding="utf-8")
    code, out, error = interrupted(tank, tmp_path, "--fill", "_fill", to_all)
    assert (code, error) == (130, ""), out
    assert "interrupted: not everything was tried; what was found so far is written" in " ".join(out.split())
    assert "lamp: weak" in (made / FULL.name).read_text(encoding="utf-8")
    assert rehearse(tank).exit_code == 0


# -- recorded ------------------------------------------------------------------------------------------------


def job(tmp_path: Path) -> Path:
    """A job with names, a serial, a member of its own, a correction and something withdrawn."""
    path = tmp_path / "visit.job"
    clock = FixedClock(datetime(2026, 4, 15, 9, 0, 12, tzinfo=ZONE).timestamp(), ZONE)
    with Session.start(path, [TOOLS], packs=[str(HERE / "tank")], by="Ada Lovelace", clock=clock):
        pass

    with Session.load(path, [TOOLS], write=True, by="Ada Lovelace", clock=clock) as session:

        def note(name: str, value: str, serial: str | None = None) -> None:
            clock.at += 20.25
            ref = read_fact(session.program, name, session.members(session.assess()))
            session.append(read_value(session.program, ref, value, instrument=serial))

        note("smell", "no")
        session.write("member", {"list": "valve", "member": "hilbert_drain", "label": "Mr Hilbert"})
        for valve in ("inlet", "outlet", "hilbert_drain"):
            note(f"locked of {valve}", "yes")
        session.write("listed", {"list": "valve"})
        note("liquid", "water")
        note("depth", "30 ft")
        note("owner", "David Hilbert")
        tolerance = {"offset": 3447.378646584, "repeat": 1000.0, "resolution": 0.0}
        session.write("instrument", {"serial": "SN-4711", "kind": "gauge", **tolerance})
        note("bottom", "13 psig", "SN-4711")
        note("lamp", "good")
    return path


def test_a_job_becomes_a_scenario_that_comes_true(tmp_path: Path) -> None:
    path = job(tmp_path)
    with Session.load(path, [TOOLS]) as session:
        lines, program = session.lines, session.program
    text = recorded(program, lines)
    scenario = tmp_path / "recorded.yaml"
    scenario.write_text(text, encoding="utf-8")
    played = play(program, read_scenario(scenario))
    assert played.misses == []
    assert played.checked == 5
    values = [
        (line.body["fact"], line.body["value"], line.taken)
        for lines_ in (lines, played.lines)
        for line in lines_
        if line.kind == "observe" and line.body["fact"] in ("depth", "bottom", "smell")
    ]
    assert values[: len(values) // 2] == values[len(values) // 2 :]
    assert result_of_record(path) == text


def result_of_record(path: Path) -> str:
    result = rehearse("--record", path)
    assert result.exit_code == 0, result.output
    return result.stdout


def test_nobody_is_named_in_it(tmp_path: Path) -> None:
    text = result_of_record(job(tmp_path))
    for word in ("Ada", "Lovelace", "Hilbert", "4711"):
        assert word not in text
    assert "made: recorded" in text


def test_a_correction_stands_in_the_place_of_what_it_corrects(tank_program, new_tank) -> None:  # type: ignore[no-untyped-def]
    tank = new_tank()
    tank.note("smell", "no")
    wrong = tank.note("depth", "3 ft")
    gone = tank.note("liquid", "oil")
    tank.minutes(2)
    right = tank.note("depth", "30 ft")
    tank.lines.pop()
    tank.add("correct", line=wrong.n, body=dict(right.body), why="slip")
    tank.add("correct", line=gone.n, body=None, why="slip")
    text = recorded(tank_program, tank.lines)
    assert "depth: 30 ft" in text and "3 ft}" not in text.replace("30 ft}", "") and "oil" not in text


def test_what_was_open_is_told_though_the_job_was_closed(tank_program, new_tank) -> None:  # type: ignore[no-untyped-def]
    tank = new_tank()
    tank.note("smell", "no")
    tank.minutes(5)
    tank.add("handover", to="B. Tech")
    told = recorded(tank_program, tank.lines)
    tank.add("close", outcome="called away")
    closed = recorded(tank_program, tank.lines)
    assert closed == told and "next: finished" not in closed
    played = play(tank_program, yaml.safe_load(closed))
    assert played.misses == [] and played.checked


# -- by pytest -----------------------------------------------------------------------------------------------


def pytest_runs(folder: Path, *args: str) -> subprocess.CompletedProcess[str]:
    (folder / "pytest.ini").write_text(f"[pytest]\nstillair_plugin_dirs = {TOOLS}\n", encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-v", *args]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)


def test_pytest_collects_scenarios_and_says_what_was_missed(tank: Path) -> None:
    text = FULL.read_text(encoding="utf-8")
    other = tank / "scenarios" / "another.yaml"
    other.write_text(text.replace("low: confirmed", "low: none"), encoding="utf-8")
    ran = pytest_runs(tank.parent, "-n", "2")
    assert ran.returncode == 1
    assert "1 failed, 1 passed" in ran.stdout
    assert "finding low: expected none, found confirmed" in ran.stdout
    assert "Traceback" not in ran.stdout
    assert pytest_runs(tank.parent, "-k", "full").returncode == 0


def test_pytest_takes_what_is_explained_for_no_scenario(tank: Path) -> None:
    (tank / "scenarios" / "unshown.yaml").write_text("unshown: []\n", encoding="utf-8")
    assert "1 passed" in pytest_runs(tank.parent).stdout


def test_a_file_that_is_no_scenario_of_a_pack_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "scenarios").mkdir()
    (tmp_path / "scenarios" / "a.yaml").write_text("does: []\n", encoding="utf-8")
    assert pytest_runs(tmp_path).returncode == 5


def test_a_scenario_without_expectations_proves_nothing(tank_program) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ScenarioError, match="nothing is expected"):
        play(tank_program, {"scenario": "S", "starts": "2026-04-15 09:00 -04:00", "does": [{"at": "10:00"}]})


def test_the_trail_is_made_no_further_than_to_the_words_expected(tank_program: Program) -> None:
    """Words may stand across two parts; that some are not there is only known at the end."""
    made = []

    def trail(*given: object) -> Iterator[str]:
        for part in ("# Trail\n", "It is\nFULL", "of *water*\n", "Signed"):
            made.append(part)
            yield part

    def misses(**expect: str) -> list[str]:
        made.clear()
        does = [{"expect": {name.replace("_", " "): words for name, words in expect.items()}}]
        told = {"scenario": "S", "starts": "2026-04-15 09:00 -04:00", "does": does}
        return [miss.found for miss in play(tank_program, told, trail).misses]

    assert misses(trail_says="it is full of") == []
    assert made == ["# Trail\n", "It is\nFULL", "of *water*\n"]
    assert misses(trail_does_not_say="empty") == []
    assert made[-1] == "Signed"
    assert misses(trail_says="empty") == ["no such words"]
    assert misses(trail_does_not_say="is full") == ["is full"]
