"""`demo`: a scenario played into a job file and a trail, with the clock of the scenario."""

from __future__ import annotations

import shutil
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.job import Job, verify

pytestmark = pytest.mark.usefixtures("own_cache")

KETTLE = Path(__file__).parent / "kettle"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=timezone(timedelta(hours=-5))).timestamp()

SCENARIO = """
scenario: A kettle with a second plug
pack: kettle
starts: 2026-04-15 09:00 -05:00
by: M. Brew
does:
  - note: {smell: "no", lid: ajar}
  - at: "09:02"
    instrument: {serial: T1, kind: thermometer, offset: 0.2 °F}
    note: {water: 72 °F}
    with: {water: T1}
  - cannot: {room: the thermometer fell in}
  - correct: {lid: shut, why: looked again}
  - member: {plug: Second plug}
  - note: {unplugged of wall: "yes", unplugged of second_plug: "yes"}
  - listed: plug
  - at: "09:05"
    did: pour
  - at: "09:16"
    note: {soak_witness: "no", scale: clean}
  - skip: {polish: no cloth}
  - event: boil_begun
  - event: boil_ended
  - expect:
      findings: {descaled: confirmed}
  - handover: N. Next
  - emergency: true
"""


@pytest.fixture
def plugins(tmp_path: Path) -> Path:
    """A folder with a plugin that brings the kettle and its demonstration."""
    folder = tmp_path / "plugins"
    shutil.copytree(KETTLE, folder / "kettle")
    (folder / "kettle" / "scenarios").mkdir()
    (folder / "kettle" / "scenarios" / "demo.yaml").write_text(SCENARIO, encoding="utf-8")
    name = f"kettle_{tmp_path.name.replace('-', '_')}"
    (folder / f"{name}.py").write_text(
        "from pathlib import Path\n"
        "from stillair.hooks import hookimpl\n"
        "@hookimpl\n"
        "def stillair_packs():\n"
        "    return [Path(__file__).parent / 'kettle']\n",
        encoding="utf-8",
    )
    return folder


def play(plugins: Path, into: Path) -> Result:
    args = ["--plugin-dir", str(plugins), "demo", "--pack", "kettle", "--into", str(into)]
    return CliRunner().invoke(main, args)


def test_the_scenario_becomes_a_job_with_its_own_times(plugins: Path, tmp_path: Path) -> None:
    into = tmp_path / "out"
    result = play(plugins, into)
    assert result.exit_code == 0, result.output
    assert "FOUND: The kettle is clean (confirmed)" in result.output
    assert "demo.job" in result.output and "demo.md" in result.output
    assert verify(into / "demo.job").ok
    with Job.open(into / "demo.job") as job:
        lines = job.lines
    assert (lines[0].entered, lines[0].offset, lines[0].by) == (NINE, -300, "M. Brew")
    poured = next(line for line in lines if line.kind == "done")
    assert poured.entered == NINE + 5 * 60
    kinds = {line.kind for line in lines}
    assert kinds >= {"observe", "instrument", "unavailable", "correct", "member", "listed", "skip", "event"}
    assert [line.kind for line in lines][-2:] == ["handover", "emergency"]
    assert lines[-1].by == "N. Next"
    trail = (into / "demo.md").read_text(encoding="utf-8")
    assert "The kettle is clean" in trail and "the thermometer fell in" in trail


def test_the_same_demonstration_gives_the_same_trail(plugins: Path, tmp_path: Path) -> None:
    trails = []
    for name in ("one", "two"):
        assert play(plugins, tmp_path / name).exit_code == 0
        text = (tmp_path / name / "demo.md").read_text(encoding="utf-8")
        # The title is personal and salted, so the hashes of the chain differ each time.
        trails.append([line for line in text.splitlines() if "hash" not in line.casefold()])
    assert trails[0] == trails[1]


def test_what_is_there_is_never_overwritten(plugins: Path, tmp_path: Path) -> None:
    play(plugins, tmp_path)
    before = (tmp_path / "demo.job").read_bytes()
    result = play(plugins, tmp_path)
    assert result.exit_code == 2 and "is there already" in result.output
    assert (tmp_path / "demo.job").read_bytes() == before


def test_the_bundled_demonstration_plays(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["demo", "--into", str(tmp_path / "out")])
    assert result.exit_code == 0, result.output
    assert verify(tmp_path / "out" / "demo.job").ok
    assert (tmp_path / "out" / "demo.md").read_text(encoding="utf-8").startswith("# ")
