"""What is said when a job is opened: torn entries, texts that are gone, a clock that was set back."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings
from stillair.job import Job, Line, verify

pytestmark = pytest.mark.usefixtures("own_cache")

KETTLE = Path(__file__).parent / "kettle"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
MINUTE = 60.0
PLUGIN = """
from pathlib import Path
from stillair.hooks import hookimpl
@hookimpl
def stillair_packs():
    return [Path(__file__).parent / "kettle"]
"""


class Kettle:
    """A job of the kettle that has begun, under a clock that stands until it is moved."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / "visit.job"
        self.clock = FixedClock(NINE)
        self.run("--by", "A. Tech", "guide", str(self.path), "--pack", str(KETTLE))
        self.packs = folder / "visit.job.packs"

    def run(self, *args: str, typed: str = "") -> Result:
        return CliRunner().invoke(main, list(args), input=typed, obj=Settings(clock=self.clock))

    def ask(self, verb: str, *args: str, typed: str = "") -> Result:
        return self.run(verb, str(self.path), *args, typed=typed)

    def tear(self) -> None:
        with self.path.open("ab") as file:
            file.write(b'{"body":{"fact":"unplu')

    def lines(self) -> list[Line]:
        with Job.open(self.path) as job:
            return [line for line in job.lines if line.kind not in ("job", "open")]


def flat(result: Result) -> str:
    return " ".join(result.output.split())


@pytest.fixture
def kettle(tmp_path: Path) -> Kettle:
    return Kettle(tmp_path)


# -- torn entries ----------------------------------------------------------------------------------------


def test_next_tells_what_was_torn_off_and_leaves_it(kettle: Kettle) -> None:
    assert "torn off" not in kettle.ask("next").output
    kettle.tear()
    before = kettle.path.read_bytes()
    said = flat(kettle.ask("next"))
    assert 'An interrupted entry was torn off the end of the job: {"body":{"fact":"unplu' in said
    assert "What was torn off may have been acknowledged." in said
    told = json.loads(kettle.ask("next", "--format", "json").output)
    assert told["torn_off"] == '{"body":{"fact":"unplu'
    assert kettle.path.read_bytes() == before


def test_note_tells_what_was_torn_off_and_where_it_is_now(kettle: Kettle) -> None:
    kettle.tear()
    said = flat(kettle.ask("note", "smell=no"))
    aside = next(kettle.folder.glob("visit.job.torn-*"))
    assert f'torn off the end of the job, now in {aside.name}: {{"body":{{"fact":"unplu' in said
    assert "What was torn off may have been acknowledged." in said
    assert "torn off" not in kettle.ask("note", "lid=shut").output
    assert verify(kettle.path).ok


# -- a clock that was set back ---------------------------------------------------------------------------


def test_note_tells_that_the_clock_was_set_back(kettle: Kettle) -> None:
    kettle.ask("note", "smell=no")
    kettle.clock.at -= 60 * MINUTE
    said = flat(kettle.ask("note", "lid=shut"))
    assert "The clock of this device stands 1 h before the last entry. Set it right: waits go by it." in said
    assert [line.kind for line in kettle.lines()] == ["observe", "observe", "note"]
    assert "times do not go back" in str(kettle.lines()[-1].body["text"])
    assert verify(kettle.path).clock_went_back == ()
    refused = kettle.ask("note", "lid=sideways")
    assert refused.exit_code == 2
    assert len(kettle.lines()) == 3


ENDS = [("handover", "--to", "B. Next"), ("close", "--outcome", "sent away")]


@pytest.mark.parametrize("verb", ENDS, ids=["handover", "close"])
def test_who_hands_over_or_closes_is_told_what_was_torn_off(kettle: Kettle, verb: tuple[str, ...]) -> None:
    kettle.tear()
    said = flat(kettle.ask(*verb))
    aside = next(kettle.folder.glob("visit.job.torn-*"))
    assert f'torn off the end of the job, now in {aside.name}: {{"body":{{"fact":"unplu' in said
    assert [line.kind for line in kettle.lines()] == ["repaired", verb[0]]


@pytest.mark.parametrize("verb", ENDS, ids=["handover", "close"])
def test_who_hands_over_or_closes_is_told_that_the_clock_was_set_back(
    kettle: Kettle, verb: tuple[str, ...]
) -> None:
    kettle.ask("note", "smell=no")
    kettle.clock.at -= 60 * MINUTE
    said = flat(kettle.ask(*verb))
    assert "The clock of this device stands 1 h before the last entry. Set it right: waits go by it." in said
    assert [line.kind for line in kettle.lines()] == ["observe", "note", verb[0]]
    assert "times do not go back" in str(kettle.lines()[1].body["text"])


@pytest.mark.parametrize("verb", ENDS, ids=["handover", "close"])
def test_what_is_refused_keeps_no_word_of_the_clock(kettle: Kettle, verb: tuple[str, ...]) -> None:
    kettle.clock.at -= 60 * MINUTE
    refused = kettle.run("--by", "B. Other", verb[0], str(kettle.path), *verb[1:])
    assert refused.exit_code == 2 and "the job is with A. Tech" in flat(refused)
    assert kettle.lines() == []


# -- texts of the pack that are gone ---------------------------------------------------------------------


def installed(kettle: Kettle) -> Path:
    """A plugin that gives the kettle, in a folder of its own."""
    folder = kettle.folder / "plugins"
    folder.mkdir()
    # A module of that name is imported once in a process.
    name = "".join(c if c.isalnum() else "_" for c in kettle.folder.name)
    (folder / f"{name}.py").write_text(PLUGIN, encoding="utf-8")
    shutil.copytree(KETTLE, folder / "kettle")
    return folder


def test_texts_that_are_gone_come_back_from_the_installed_pack(kettle: Kettle) -> None:
    folder = installed(kettle)
    kept = {file.name: file.read_bytes() for file in kettle.packs.iterdir()}
    shutil.rmtree(kettle.packs)
    looked = kettle.run("--plugin-dir", str(folder), "next", str(kettle.path))
    assert looked.exit_code == 0 and "Any smell of burning?" in looked.output
    assert not kettle.packs.exists()
    noted = kettle.run("--plugin-dir", str(folder), "note", str(kettle.path), "smell=no")
    assert "The texts of the pack kettle were gone; put back from a pack of the same digest." in flat(noted)
    assert {file.name: file.read_bytes() for file in kettle.packs.iterdir()} == kept
    assert kettle.ask("next").exit_code == 0


def test_one_text_that_is_gone_comes_back_too(kettle: Kettle) -> None:
    folder = installed(kettle)
    gone = max(kettle.packs.iterdir(), key=lambda file: file.stat().st_size)
    text = gone.read_bytes()
    gone.unlink()
    assert "put back" in flat(kettle.run("--plugin-dir", str(folder), "note", str(kettle.path), "smell=no"))
    assert gone.read_bytes() == text


def test_another_version_never_takes_the_place_of_the_texts(kettle: Kettle) -> None:
    folder = installed(kettle)
    checklist = folder / "kettle" / "kettle.yaml"
    checklist.write_text(checklist.read_text("utf-8").replace("Stand back", "Go near"), encoding="utf-8")
    with Job.open(kettle.path) as job:
        packs = job.lines[0].body["packs"]
    assert isinstance(packs, dict)
    digest = packs["kettle"]["digest"]
    shutil.rmtree(kettle.packs)
    for verb, *rest in (("next",), ("note", "smell=no"), ("guide",)):
        result = kettle.run("--plugin-dir", str(folder), verb, str(kettle.path), *rest)
        assert result.exit_code == 1
        assert f"the texts of the pack `kettle` 1.0.0, digest {digest}, are gone" in flat(result)
        assert "put `visit.job.packs` back beside the job" in flat(result)
        assert "--pack FOLDER" in flat(result)
    assert kettle.lines() == []


def test_a_folder_named_puts_the_texts_back(kettle: Kettle) -> None:
    shutil.rmtree(kettle.packs)
    result = kettle.ask("guide", "--pack", str(KETTLE), typed="n\n")
    assert "put back from a pack of the same digest" in flat(result)
    assert kettle.lines()[-1].body["fact"] == "smell"
    again = kettle.ask("guide", "--pack", str(KETTLE))
    assert again.exit_code == 2
    assert "the job has begun: --pack, --beliefs and --title are for a new one" in again.output
