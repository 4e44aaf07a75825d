"""The transcript in the README is what the program says; every command it shows is one that exists."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings
from stillair.hooks import Plugins

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
BEGIN = datetime.fromisoformat("2026-07-21T08:02:00-05:00")


def shown() -> str:
    """The transcript as printed."""
    found = re.search(r"<!-- transcript -->\n\n```\n(.*?)```", README, re.DOTALL)
    assert found is not None
    return found.group(1)


def played(transcript: str, folder: Path) -> str:
    """The same commands run again: `$` begins one, `> ` is what is typed; other programs run as they are."""
    clock = FixedClock(BEGIN.timestamp(), BEGIN.tzinfo)  # type: ignore[arg-type]
    said: list[str] = []
    parts = re.split(r"(?m)^(?=\$ )", transcript)
    for part in parts:
        if not part.startswith("$ "):
            continue
        command = part.splitlines()[0]
        if not command.startswith("$ stillair "):
            subprocess.run(shlex.split(command[2:]), cwd=folder, check=True)
            said.append(f"{command}\n")
            continue
        typed = "".join(f"{line[2:]}\n" for line in part.splitlines() if line.startswith("> "))
        result = CliRunner().invoke(
            main, shlex.split(command[2:])[1:], input=typed, obj=Settings(clock=clock), catch_exceptions=False
        )
        said.append(f"{command}\n{result.output.rstrip()}\n")
        clock.at += 60
    return "\n".join(said)


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, str(tmp_path / "home"))
        patch.chdir(tmp_path)
        yield


def test_the_transcript_is_what_the_program_says(tmp_path: Path) -> None:
    assert shown() == played(shown(), tmp_path)


@pytest.mark.skipif(sys.platform != "linux", reason="the example is for a shell of Linux")
def test_the_example_of_a_company_is_what_the_program_says(tmp_path: Path) -> None:
    guide = (ROOT / "checklists" / "README.md").read_text(encoding="utf-8")
    example = guide.split("<!-- transcript: company -->\n\n```\n")[1].split("```")[0]
    digests = r"\b(?:[0-9a-f]{64}|(?<=text )[0-9a-f]{12})\b"
    assert example == re.sub(digests, "…", played(example, tmp_path))


def test_the_two_commands_stand_at_the_top() -> None:
    """One line that plays the demo, one that passes the tests, before anything else is told."""
    commands = [line.strip() for line in README.splitlines() if line.startswith("    python3 -m venv")]
    assert len(commands) == 2
    assert commands[0].endswith("stillair demo")
    assert commands[1].endswith("-m pytest")
    assert README.index(commands[1]) < README.index("## What it does")


def test_every_verb_shown_is_there() -> None:
    for verb in re.findall(r"`([a-z]+) (?:JOB|FOLDER|NAME)", README):
        result = CliRunner().invoke(main, [verb, "--help"])
        assert result.exit_code == 0, verb


def test_every_calculator_has_its_row_in_the_guide_of_the_plugins() -> None:
    guide = (ROOT / "plugins" / "README.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"(?m)^\| `([a-z0-9_]+)` \| (.*) \|$", guide.split("## The calculators")[1]))
    bundled = {name: each.about for name, each in Plugins.load().calculators.items()}
    assert rows == bundled
