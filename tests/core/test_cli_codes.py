"""Exit codes as the README gives them, and errors where JSON was asked for."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings

pytestmark = pytest.mark.usefixtures("own_cache")

KETTLE = Path(__file__).parent / "kettle"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
MINUTE = 60.0


class Kettle:
    """A job of the kettle that has begun, under a clock that stands until it is moved."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "visit.job"
        self.clock = FixedClock(NINE)
        self.run("--by", "A. Tech", "guide", str(self.path), "--pack", str(KETTLE))

    def run(self, *args: str, typed: str = "") -> Result:
        return CliRunner().invoke(main, list(args), input=typed, obj=Settings(clock=self.clock))

    def ask(self, verb: str, *args: str, typed: str = "") -> Result:
        return self.run(verb, str(self.path), *args, typed=typed)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def kettle(tmp_path: Path) -> Kettle:
    return Kettle(tmp_path)


# -- a safety stop ---------------------------------------------------------------------------------------


def test_three_while_a_safety_stop_stands_whatever_else_may_go_on(kettle: Kettle) -> None:
    assert kettle.ask("next").exit_code == 0
    noted = kettle.ask("note", "smell=yes", "lid=shut")
    assert (noted.exit_code, "STOP: Leave the kitchen." in noted.output) == (0, True)
    after = kettle.ask("next")
    assert after.exit_code == 3
    assert "STOP: Leave the kitchen." in after.output and "Pull the plug" in after.output
    assert kettle.ask("next", "--format", "json").exit_code == 3
    left = kettle.ask("guide", typed="y\n")
    assert left.exit_code == 3
    assert "STOP stands: Leave the kitchen. Left." in flat(left.output)
    again = kettle.ask("note", "water=72")
    assert again.exit_code == 0
    assert "STOP still stands: Leave the kitchen." in again.output


def test_may_is_yes_or_three_while_a_safety_stop_stands(kettle: Kettle) -> None:
    kettle.ask("note", "smell=yes", "lid=shut")
    assert kettle.ask("may", "pour").exit_code == 3
    polish = kettle.ask("may", "polish")
    assert polish.exit_code == 0
    assert "yes: Polish it" in polish.output
    assert "STOP stands elsewhere: Leave the kitchen." in polish.output
    inspect = kettle.ask("may", "inspect")
    assert inspect.exit_code == 3
    assert "not yet: Look inside" in inspect.output and "STOP stands elsewhere" in inspect.output
    kettle.clock.at += MINUTE
    kettle.ask("note", "smell=no")
    inspect = kettle.ask("may", "inspect")
    assert inspect.exit_code == 1 and "STOP" not in inspect.output
    assert kettle.ask("next").exit_code == 0
    left = kettle.ask("guide")
    assert left.exit_code == 0 and "STOP stands" not in left.output


def test_three_while_something_has_run_over_its_time(kettle: Kettle) -> None:
    kettle.ask("note", "smell=no", "--event", "boil_begun")
    assert kettle.ask("next").exit_code == 0
    kettle.clock.at += 2 * MINUTE
    left = kettle.ask("guide")
    assert left.exit_code == 3 and "ITS TIME IS UP" in left.output
    assert kettle.ask("next").exit_code == 3


# -- files that are not there, or are no jobs --------------------------------------------------------------

READING = (("next",), ("may", "pour"), ("why", "smell"), ("whatif", "smell=no"), ("instruments",), ("trail",))
WRITING = (("note", "smell=no"), ("handover", "--to", "B. Next"), ("close", "--outcome", "gone away"))


@pytest.mark.parametrize("args", [*READING, *WRITING, ("verify",)], ids=lambda args: args[0])
def test_a_job_that_is_not_there_is_wrong_usage(kettle: Kettle, args: tuple[str, ...]) -> None:
    kettle.path = kettle.path.with_name("none.job")
    verb, *rest = args
    result = kettle.ask(verb, *rest)
    assert result.exit_code == 2
    assert "none.job" in result.output and "does not exist" in result.output
    assert not kettle.path.exists()


@pytest.mark.parametrize("args", [*READING, *WRITING, ("guide",), ("verify",)], ids=lambda args: args[0])
@pytest.mark.parametrize("text", [b"", b"no job\n", b"\x00\xff\xfe" * 40, b'{"format":"other/1"}\n'])
def test_a_file_that_is_no_job_cannot_be_used(kettle: Kettle, args: tuple[str, ...], text: bytes) -> None:
    kettle.path.write_bytes(text)
    verb, *rest = args
    result = kettle.ask(verb, *rest)
    assert result.exit_code == 1
    assert "visit.job" in result.output or verb == "verify"
    assert result.output.strip() and "Traceback" not in result.output
    assert kettle.path.read_bytes() == text


def test_a_folder_is_no_job(kettle: Kettle) -> None:
    for verb, *rest in (*READING, *WRITING, ("guide",), ("verify",), ("move",)):
        if verb == "instruments":
            continue  # of a folder it lists those of all its jobs
        result = kettle.run(verb, str(kettle.path.parent), *rest)
        assert (result.exit_code, "Traceback" in result.output) == (1, False), verb
        assert result.output.strip()


def test_jobs_of_an_empty_folder_a_garbage_one_and_none(kettle: Kettle, tmp_path: Path) -> None:
    empty, garbage = tmp_path / "empty", tmp_path / "garbage"
    empty.mkdir()
    garbage.mkdir()
    (garbage / "a.job").write_bytes(b"\x00\x01no job")
    (garbage / "b.txt").write_bytes(b"\x00\x01no job")
    found = kettle.run("jobs", str(empty))
    assert (found.exit_code, found.output) == (0, "no open job here\n")
    found = kettle.run("jobs", str(garbage))
    assert found.exit_code == 1
    assert "a.job: unreadable" in found.output and "b.txt" not in found.output
    found = kettle.run("jobs", str(tmp_path / "none"))
    assert found.exit_code == 2 and "is not a folder" in found.output


# -- errors in JSON --------------------------------------------------------------------------------------


def told(result: Result) -> Any:
    """The one object on the standard output, which must be nothing else."""
    return json.loads(result.stdout)


@pytest.mark.parametrize(
    ("args", "code", "kind", "message"),
    [
        (("next", "none.job"), 2, "missing", "does not exist"),
        (("may", "JOB", "poor"), 2, "entry", "`poor`"),
        (("why", "JOB", "smel"), 2, "entry", "`smel`"),
        (("whatif", "JOB"), 2, "usage", "nothing is supposed"),
        (("whatif", "JOB", "water=900"), 2, "entry", "is outside"),
        (("jobs", "none"), 2, "usage", "is not a folder"),
        (("instruments", "none.job"), 2, "missing", "does not exist"),
        (("trail", "none.job"), 2, "missing", "does not exist"),
        (("verify", "none.job"), 2, "missing", "does not exist"),
        (("calc", "nothing"), 2, "usage", "there is no calculator"),
        (("next", "GARBAGE"), 1, "job", ""),
        (("nxt", "JOB"), 2, "usage", "there is no verb"),
        (("next",), 2, "usage", "missing argument"),
        (("plugins", "more"), 2, "usage", "unexpected extra argument"),
    ],
)
@pytest.mark.parametrize("form", [("--format", "json"), ("--format=json",)])
def test_an_error_is_one_object_where_json_was_asked_for(
    kettle: Kettle, args: tuple[str, ...], code: int, kind: str, message: str, form: tuple[str, ...]
) -> None:
    garbage = kettle.path.with_name("garbage.job")
    garbage.write_bytes(b"no job\n")
    named = {"JOB": str(kettle.path), "GARBAGE": str(garbage)}
    plain = kettle.run(*(named.get(arg, arg) for arg in args))
    result = kettle.run(*(named.get(arg, arg) for arg in args), *form)
    assert result.exit_code == plain.exit_code == code
    error = told(result)
    assert list(error) == ["format", "code", "message", "place", "help"]
    assert (error["format"], error["code"]) == ("stillair.error/1", kind)
    assert message in error["message"]
    assert result.stderr == plain.stderr
    assert result.stderr.startswith("stillair: ") and error["message"] in flat(result.stderr)
    assert plain.stdout == ""


def test_a_fault_of_a_plugin_gives_its_code_and_place(kettle: Kettle, tmp_path: Path) -> None:
    folder = tmp_path / "plugins"
    folder.mkdir()
    (folder / "leaky.py").write_text("import no_such_thing_at_all\n", encoding="utf-8")
    result = kettle.run("--plugin-dir", str(folder), "next", str(kettle.path), "--format", "json")
    assert result.exit_code == 3
    error = told(result)
    assert error["code"] == "SA501"
    assert error["place"].endswith("leaky.py:1:1")


def test_a_broken_line_is_a_place(kettle: Kettle) -> None:
    kettle.ask("note", "smell=no")
    kettle.ask("note", "lid=shut")
    kettle.path.write_bytes(kettle.path.read_bytes().replace(b'"value":"no"', b'"value":"yes"'))
    error = told(kettle.ask("next", "--format", "json"))
    assert error["code"] == "job"
    assert error["place"].startswith(str(kettle.path))
