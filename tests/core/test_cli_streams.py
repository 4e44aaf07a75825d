"""What is shown where it cannot be shown, or where what was typed would fake it: streams, plugins, breaks."""

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
from stillair.cli.clock import Clock, FixedClock
from stillair.cli.screen import Leave, Screen
from stillair.cli.session import Session, Settings
from stillair.job import Job, verify

pytestmark = pytest.mark.usefixtures("own_cache")

KETTLE = Path(__file__).parent / "kettle"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
MINUTE = 60.0

posix = pytest.mark.skipif(os.name != "posix", reason="streams are closed by a POSIX shell")
full = pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a device that is always full")


class Kettle:
    """A job that has begun, and the verbs run on it by a shell, or in this process under a clock."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "visit.job"
        self.clock = FixedClock(NINE)
        Session.start(self.path, packs=[str(KETTLE)], by="A. Tech", clock=self.clock).close()

    def run(self, *args: str, typed: str = "") -> Result:
        return CliRunner().invoke(main, list(args), input=typed, obj=Settings(clock=self.clock))

    def shell(self, command: str) -> subprocess.CompletedProcess[str]:
        """`stillair …` with its redirections, as a shell runs it."""
        verb = f'"{sys.executable}" -c "from stillair.cli import main; main()"'
        return subprocess.run(
            ["sh", "-c", command.replace("stillair", verb, 1).replace("JOB", f'"{self.path}"')],
            capture_output=True, text=True, encoding="utf-8", timeout=60, stdin=subprocess.DEVNULL,
        )  # fmt: skip

    def facts(self) -> dict[str, object]:
        with Job.open(self.path) as job:
            return {str(x.body["fact"]): x.body["value"] for x in job.lines if x.kind == "observe"}


@pytest.fixture
def kettle(tmp_path: Path) -> Kettle:
    return Kettle(tmp_path)


def flat(text: str) -> str:
    return " ".join(text.split())


# -- streams that are closed or full -----------------------------------------------------------------------


@posix
@pytest.mark.parametrize(
    ("command", "shown"),
    [
        ("stillair guide JOB <&-", "Any smell of burning?"),
        ("stillair next JOB >&-", ""),
        ("stillair next JOB --format json >&-", ""),
        ("stillair next JOB <&-", "Look before you touch"),
        ("stillair next JOB >&- 2>&- <&-", ""),
    ],
)
def test_a_closed_stream_is_no_failure(kettle: Kettle, command: str, shown: str) -> None:
    done = kettle.shell(command)
    assert done.stderr == "" and shown in done.stdout
    assert done.returncode == 0


@posix
@pytest.mark.parametrize("streams", [">&-", ">&- 2>&-"])
def test_an_entry_is_kept_where_nothing_can_be_shown(kettle: Kettle, streams: str) -> None:
    done = kettle.shell(f"stillair note JOB lid=shut {streams}")
    assert (done.returncode, done.stderr, kettle.facts()) == (0, "", {"lid": "shut"})


@posix
@full
@pytest.mark.parametrize("errors", ["", "2>&-", "2>/dev/full"])
def test_an_entry_that_is_kept_is_no_failure_where_the_output_is_full(kettle: Kettle, errors: str) -> None:
    done = kettle.shell(f"stillair note JOB lid=shut >/dev/full {errors}")
    assert done.returncode == 0 and kettle.facts() == {"lid": "shut"}
    if not errors:
        assert done.stderr.startswith("stillair: it is kept; what follows from it cannot be shown: no space")
        assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr


@posix
@full
@pytest.mark.parametrize("verb", ["handover JOB --to B", "close JOB --outcome done"])
def test_a_handover_and_a_close_are_no_failure_where_the_output_is_full(kettle: Kettle, verb: str) -> None:
    kettle.run("note", str(kettle.path), "smell=no")
    done = kettle.shell(f"stillair {verb} >/dev/full")
    assert done.returncode == 0 and "it is kept" in done.stderr
    with Job.open(kettle.path) as job:
        assert job.lines[-1].kind == verb.split()[0]


@posix
@full
@pytest.mark.parametrize("form", ["", "--format json"])
def test_a_full_output_is_told_without_a_traceback(kettle: Kettle, form: str) -> None:
    done = kettle.shell(f"stillair next JOB {form} >/dev/full")
    assert done.returncode == 1
    assert done.stderr.startswith("stillair: the system: no space left on device\nhelp: free some space")
    assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr


# -- an interruption ---------------------------------------------------------------------------------------


BREAK = """
import builtins, sys
real, wanted = builtins.__import__, sys.argv.pop(1)
def importing(name, *args, **kwargs):
    if name == wanted:
        HOW
    return real(name, *args, **kwargs)
builtins.__import__ = importing
from stillair.cli import main
main()
"""


@pytest.mark.parametrize("module", ["click", "typing", "session"])
@pytest.mark.parametrize("how", ["raise KeyboardInterrupt", "raise RuntimeError from KeyboardInterrupt()"])
def test_a_break_while_the_program_starts_is_one_word(tmp_path: Path, module: str, how: str) -> None:
    """A break while a class is made reaches the program as the cause of a RuntimeError."""
    if module != "session" and "RuntimeError" in how:
        pytest.skip("only what is made later is a class of this program")
    args = [sys.executable, "-c", BREAK.replace("HOW", how), module, "next", str(tmp_path / "none.job")]
    done = subprocess.run(args, capture_output=True, text=True, encoding="utf-8", timeout=60)
    assert (done.returncode, done.stdout) == (130, "")
    assert done.stderr.strip() == "stillair: interrupted"


def test_a_break_while_no_job_was_begun_claims_nothing(
    kettle: Kettle, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Session, "reading", broken)
    told = kettle.run("next", str(kettle.path))
    assert told.exit_code == 130 and told.stderr.strip() == "stillair: interrupted"
    monkeypatch.setattr("stillair.cli.note._follow", broken)
    told = kettle.run("note", str(kettle.path), "lid=shut")
    assert "stillair: interrupted\nhelp: what was entered is kept" in told.stderr
    assert kettle.facts() == {"lid": "shut"}


# -- what was typed ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("turn", ["\n", "\r\n", "\r", "\x1b[2J\n", "\u2028", "\x0b"])
def test_what_was_typed_never_makes_a_line_of_its_own(kettle: Kettle, turn: str) -> None:
    fake = f"me{turn}STOP stands: Leave now"
    named = f"A.{turn}STOP stands: Leave now"
    for said in (
        kettle.run("note", str(kettle.path), f"owner={fake}"),
        kettle.run("note", str(kettle.path), f"lid={fake}"),
        kettle.run("note", str(kettle.path), f"{fake}=1"),
        kettle.run("why", str(kettle.path), fake),
        kettle.run("--by", named, "note", str(kettle.path), "lid=shut", "--event", fake),
        kettle.run("handover", str(kettle.path), "--to", named),
        kettle.run("guide", str(kettle.path)),
        kettle.run("note", str(kettle.path.with_name(f"x{turn}STOP stands: Leave now"))),
        kettle.run("next", str(kettle.path.with_name(f"x{turn}STOP stands: Leave now"))),
    ):
        assert "\x1b" not in said.output and "\r" not in said.output
        lines = said.output.replace("\u2028", "\n").split("\n")
        assert not [line for line in lines if line.startswith("STOP")], said.output


def test_no_word_is_broken_on_the_narrowest_screen(capsys: pytest.CaptureFixture[str]) -> None:
    screen = Screen()
    screen.width = 20
    text = "Isolate it at the disconnect from a dry place"
    screen.say(text, "STOP still stands: ")
    screen.say(text, "kept 09:00 ")
    screen.say("refrigerant_certificate: Yes", "kept 09:00 ")
    shown = capsys.readouterr().out
    for word in (*text.split(), "refrigerant_certificate:"):
        assert word in shown.split()
    assert all(
        len(line) <= 20 for line in shown.split("\n") if "certificate" not in line and "still" not in line
    )


# -- plugins -----------------------------------------------------------------------------------------------

LOUD = """
print("loud at import")
from stillair.calculator import Example, Input, Source, calculator
from stillair.hooks import hookimpl

@calculator(inputs={"depth": Input("length")}, output="length", unit="ft", formula="depth",
            sources=(Source("computed"),), valid="always", rises_with=("depth",),
            examples=(Example({"depth": "1 ft"}, "1 ft", "0.1 ft"),))
def twice(depth):
    BODY

@hookimpl
def stillair_calculators():
    print("loud in a hook")
    return [twice]
"""


def plugin(folder: Path, body: str) -> Path:
    place = folder / "tools"
    place.mkdir(exist_ok=True)
    name = f"loud_{abs(hash((str(folder), body)))}"
    (place / f"{name}.py").write_text(LOUD.replace("BODY", body), encoding="utf-8")
    return place


def test_what_a_plugin_prints_does_not_stand_in_the_json(kettle: Kettle, tmp_path: Path) -> None:
    tools = plugin(tmp_path, "return depth")
    told = kettle.run("--plugin-dir", str(tools), "next", str(kettle.path), "--format", "json")
    assert json.loads(told.stdout)["format"].startswith("stillair.next")
    assert "loud at import" in told.stderr and "loud in a hook" in told.stderr


@pytest.mark.parametrize(
    ("body", "what"),
    [
        ("return 10**400", "gave a number too large"),
        ("raise SystemExit(0)", "raised SystemExit: 0"),
        ("import sys; sys.exit(0)", "raised SystemExit: 0"),
        ("raise GeneratorExit", "raised GeneratorExit"),
    ],
)
def test_a_calculator_that_fails_stops_with_its_name_and_file(
    kettle: Kettle, tmp_path: Path, body: str, what: str
) -> None:
    tools = plugin(tmp_path, body)
    told = kettle.run("--plugin-dir", str(tools), "calc", "twice", "depth=1 ft")
    assert told.exit_code == 3
    assert f"the calculator `twice` {what}" in told.stderr and "tools/loud_" in told.stderr
    assert "Traceback" not in told.output


# -- packs and the clock -----------------------------------------------------------------------------------

PACKED = """
from pathlib import Path
from stillair.hooks import hookimpl
@hookimpl
def stillair_packs():
    return [Path(__file__).parent / "kettle"]
"""


def test_a_pack_called_as_the_installed_one_with_other_texts_is_told_and_kept(tmp_path: Path) -> None:
    import shutil

    tools, other = tmp_path / "plugins", tmp_path / "other"
    tools.mkdir()
    (tools / "kettle_packs.py").write_text(PACKED, encoding="utf-8")
    shutil.copytree(KETTLE, tools / "kettle", ignore=lambda *_: ["__init__.py"])
    shutil.copytree(KETTLE, other)
    clock = FixedClock(NINE)

    def guide(name: str, pack: Path) -> str:
        args = ["--plugin-dir", str(tools), "--by", "A. Tech", "guide", str(tmp_path / name)]
        return flat(CliRunner().invoke(main, [*args, "--pack", str(pack)], obj=Settings(clock=clock)).output)

    assert "CAUTION" not in guide("same.job", other)
    yaml = other / "kettle.yaml"
    yaml.write_text(yaml.read_text(encoding="utf-8").replace("Leave the kitchen", "Stay"), encoding="utf-8")
    said = guide("other.job", other)
    assert "CAUTION: The pack kettle 1.0.0 given here is not the installed text." in said
    with Job.open(tmp_path / "other.job") as job:
        (note,) = [line.body["text"] for line in job.lines if line.kind == "note"]
        digest = job.lines[0].body["packs"]["kettle"]["digest"]  # type: ignore[index,call-overload]
    with Job.open(tmp_path / "same.job") as job:
        usual = job.lines[0].body["packs"]["kettle"]["digest"]  # type: ignore[index,call-overload]
        assert [line.kind for line in job.lines] == ["job", "open"]
    assert digest != usual and str(digest) in str(note) and str(usual) in str(note)
    both = ["--by", "A. Tech", "guide", str(tmp_path / "x.job"), "--pack", str(KETTLE), "--pack", str(other)]
    told = CliRunner().invoke(main, both, obj=Settings(clock=clock))
    assert told.exit_code == 1 and "two packs of other texts are called `kettle`" in told.stderr


@pytest.mark.parametrize("where", ["pack", "job"])
def test_a_job_that_could_not_begin_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    written: list[Path] = []

    def fails(path: Path, data: bytes) -> None:
        written.append(path)
        if len(written) > 1:
            raise OSError(28, "No space left on device", str(path))
        path.write_bytes(data)

    if where == "pack":
        monkeypatch.setattr("stillair.job.pack_store.write_new", fails)
    else:
        monkeypatch.setattr(
            "stillair.job.file.flush_folder", lambda _: fails(tmp_path, b"") or fails(tmp_path, b"")
        )
        written.append(tmp_path)
    args = ["--by", "A. Tech", "guide", str(tmp_path / "new.job"), "--pack", str(KETTLE)]
    told = CliRunner().invoke(main, args, obj=Settings(clock=FixedClock(NINE)))
    assert told.exit_code == 1 and "no space left" in told.stderr.casefold()
    assert len(written) > 1 and list(tmp_path.iterdir()) == []


def test_a_clock_that_was_set_back_is_remarked_by_verify(kettle: Kettle) -> None:
    kettle.run("note", str(kettle.path), "smell=no")
    assert verify(kettle.path).remarks == ()
    kettle.clock.at -= 20 * MINUTE
    kettle.run("note", str(kettle.path), "lid=shut")
    told = kettle.run("verify", str(kettle.path))
    assert told.exit_code == 0
    assert "the clock stood before the last entry at line 5: times near it are in doubt" in flat(told.output)


def test_a_clock_set_back_while_a_session_runs_is_told_once_and_remarked(
    kettle: Kettle, monkeypatch: pytest.MonkeyPatch
) -> None:
    def types(self: Screen, prompt: str = "> ") -> str:
        kettle.clock.at -= 5 * MINUTE
        return typed.pop(0) if typed else leave()

    def leave() -> str:
        raise Leave

    typed = ["n", "1"]
    monkeypatch.setattr(Screen, "ask", types)
    said = flat(kettle.run("guide", str(kettle.path)).output)
    assert said.count("CAUTION: The clock of this device stands 5 min before the last entry") == 1
    assert kettle.facts() == {"smell": "no", "lid": "shut"}
    assert any("the clock stood before the last entry" in remark for remark in verify(kettle.path).remarks)


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of a process cannot be set here")
@pytest.mark.parametrize(
    ("now", "typed", "what"),
    [((2026, 3, 8, 18), "2:30", "is left out"), ((2026, 11, 1, 18), "1:30", "happens twice")],
)
def test_a_time_on_the_day_the_clocks_are_changed_is_not_guessed(
    kettle: Kettle, monkeypatch: pytest.MonkeyPatch, now: tuple[int, ...], typed: str, what: str
) -> None:
    monkeypatch.setenv("TZ", "America/New_York")
    time.tzset()
    try:

        class Stands(Clock):
            def now(self) -> float:
                return datetime(*now, tzinfo=UTC).timestamp()  # type: ignore[misc,arg-type]

        kettle.path = kettle.path.with_name("then.job")
        began = FixedClock(Stands().now() - 12 * 60 * MINUTE)
        Session.start(kettle.path, packs=[str(KETTLE)], by="A. Tech", clock=began).close()
        settings = Settings(clock=Stands())
        args = ["note", str(kettle.path), "lid=shut", "--at", typed]
        told = CliRunner().invoke(main, args, obj=settings)
        assert told.exit_code == 2 and kettle.facts() == {}
        assert f"`{typed}` {what} on that day: the clocks are changed" in flat(told.stderr)
        day = f"2026-{now[1]:02}-{now[2]:02} {typed.zfill(5)} -05:00"
        args = ["note", str(kettle.path), "lid=shut", "--at", day]
        assert CliRunner().invoke(main, args, obj=settings).exit_code == 0
        with Job.open(kettle.path) as job:
            taken = datetime.fromtimestamp(job.lines[-1].taken, UTC)
        hour, minute = typed.split(":")
        assert (taken.hour, taken.minute) == (int(hour) + 5, int(minute))
    finally:
        monkeypatch.undo()
        time.tzset()


# -- a closed job, and answers that do not fit -------------------------------------------------------------


def test_next_says_that_a_job_is_closed_when_and_how(kettle: Kettle) -> None:
    assert json.loads(kettle.run("next", str(kettle.path), "--format", "json").stdout)["closed"] is None
    kettle.run("close", str(kettle.path), "--outcome", "sent away")
    told = kettle.run("next", str(kettle.path))
    assert "The job was closed at 09:00: sent away" in told.output and "--reopen" in told.output
    assert "Look before you touch" not in told.output
    closed = json.loads(kettle.run("next", str(kettle.path), "--format", "json").stdout)["closed"]
    assert closed["outcome"] == "sent away" and "09:00" in str(closed["at"])


def test_a_key_that_is_no_option_is_answered_with_the_keys(kettle: Kettle) -> None:
    said = flat(kettle.run("guide", str(kettle.path), typed="n\ny\n").output)
    assert "?? `y` is not an answer to `lid` 1 It is shut, 2 It stands ajar, u cannot tell" in said


@pytest.mark.parametrize(
    ("name", "way_out"),
    [
        ("zzzzzz", "`stillair next` names what is asked"),
        ("descaled", "`descaled` is a finding, which the rules decide; `stillair why` explains it"),
        ("soak", "`soak` is worked out, not entered"),
    ],
)
def test_a_name_that_is_no_fact_has_a_way_out(kettle: Kettle, name: str, way_out: str) -> None:
    for told in (
        kettle.run("note", str(kettle.path), f"{name}=yes"),
        kettle.run("guide", str(kettle.path), typed=f"{name}=yes\n"),
        kettle.run("whatif", str(kettle.path), f"{name}=yes"),
    ):
        assert f"there is no fact `{name}`" in flat(told.output)
        assert way_out in flat(told.output)


def test_a_file_that_cannot_be_written_has_a_way_out(kettle: Kettle) -> None:
    out = str(kettle.path.with_name("none") / "trail.md")
    told = kettle.run("trail", str(kettle.path), "--out", out)
    assert "no such file or directory\nhelp: look how it is spelt" in told.stderr
