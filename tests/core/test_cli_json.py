"""The formats of the JSON that the verbs print are those of the table in the README of the engine."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from stillair import account
from stillair.cli import ERROR, main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings
from stillair.pack import digest_of, gather

HERE = Path(__file__).parent
README = HERE.parents[1] / "core" / "README.md"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
ROW = re.compile(r"^\| (.+) \| `(stillair\.[a-z]+/[0-9]+)` \| (.+) \|$", re.MULTILINE)

TANK = str(HERE / "tank")
PRINTS = {
    "`next JOB`": ("next", "JOB"),
    "`may JOB STEP`": ("may", "JOB", "first-look"),
    "`may JOB ACTIVITY`": ("may", "JOB", "filling"),
    "`may JOB STEP`, of several members": ("may", "JOB", "lock"),
    "`why JOB NAME`": ("why", "JOB", "fumes"),
    "`whatif JOB FACT=VALUE`": ("whatif", "JOB", "smell=yes"),
    "`trail JOB`": ("trail", "JOB"),
    "`verify JOB`": ("verify", "JOB"),
    "`jobs FOLDER`": ("jobs", "FOLDER"),
    "`instruments JOB`": ("instruments", "JOB"),
    "`instruments JOBS --due DATE`": ("instruments", "FOLDER", "--due", "2026-04-15"),
    "`calc`": ("calc",),
    "`calc NAME`": ("calc", "weight_pressure"),
    "`calc NAME input=value`": ("calc", "weight_pressure", "liquid=water", "depth=1 ft"),
    "`plugins`": ("plugins",),
    "`adjust FOLDER`": ("adjust", "FOLDER/acme", "--pack", TANK),
    "`move JOB`": ("move", "JOB", "--pack", TANK),
    "`seal FOLDER`": ("seal", "FOLDER/acme"),
    "`replay JOBS --pack NEW`": ("replay", "FOLDER/tank.job", "--pack", TANK),
    "`compare OLD NEW`": ("compare", TANK, TANK),
    "`rehearse PACK`": ("rehearse", TANK),
    "`rehearse PACK --mutate`": ("rehearse", TANK, "--mutate", "--mutants", "5"),
    "`rehearse PACK --coverage`": ("rehearse", TANK, "--coverage"),
    "`lint PATH`": ("lint", "--profile", "published", str(HERE / "tank")),
    "`tidy PATH`": ("tidy", "--check", TANK),
    "`explain CODE`": ("explain", "SA201"),
    "an error": ("next", "FOLDER/none.job"),
}
INSIDE = "`assessment` of a trail"
PART = re.compile(r"^\| `([a-z_]+)` \| (.+) \|$", re.MULTILINE)


def documented() -> dict[str, tuple[str, list[str]]]:
    """For each row of the table the format and its fields."""
    rows = ROW.findall(README.read_text(encoding="utf-8"))
    return {printed: (format, re.findall("`([a-z_]+)`", fields)) for printed, format, fields in rows}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with one job of the tank."""
    place = tmp_path_factory.mktemp("jobs")
    with pytest.MonkeyPatch.context() as patch:
        for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, str(place / "home"))
        (place / "acme").mkdir()
        digest = digest_of(gather(HERE / "tank"))
        (place / "acme" / "manifest.yaml").write_text(
            "pack: acme\nversion: 1.0.0\ntitle: Acme\njoins: tank\nengine: '>=0.1,<1'\nchecklists: []\n"
            f"adjusts: {{pack: tank, digest: {digest}, limits: {{rest_time: 20 min}}}}\n",
            encoding="utf-8",
        )
        prints(place, "--by", "A. Tech", "guide", "JOB", "--pack", str(HERE / "tank"))
        yield place


def prints(folder: Path, *args: str) -> str:
    named = [arg.replace("FOLDER", str(folder)).replace("JOB", str(folder / "tank.job")) for arg in args]
    tools = ["--plugin-dir", str(HERE / "tank_tools")]
    return CliRunner().invoke(main, [*tools, *named], obj=Settings(clock=FixedClock(NINE))).stdout


def test_every_format_is_in_the_table_and_every_row_is_printed() -> None:
    formats = {value for name, value in vars(account).items() if name.isupper() and "/1" in str(value)}
    assert {format for format, _ in documented().values()} == {*formats, ERROR}
    assert documented().keys() == {*PRINTS, INSIDE}
    assert "fields are only added" in README.read_text(encoding="utf-8")


@pytest.mark.parametrize("printed", PRINTS)
def test_what_is_printed_has_the_fields_of_the_table(folder: Path, printed: str) -> None:
    told: dict[str, Any] = json.loads(prints(folder, *PRINTS[printed], "--format", "json"))
    assert (told["format"], list(told)[1:]) == documented()[printed]
    if printed == "`trail JOB`":
        inside = told["assessment"]
        assert (inside["format"], list(inside)[1:]) == documented()[INSIDE]


def test_the_parts_have_the_fields_of_the_second_table(folder: Path) -> None:
    inside = README.read_text(encoding="utf-8").split("Inside of them:")[1]
    parts = {name: re.findall("`([a-z_]+)`", fields) for name, fields in PART.findall(inside)}
    assert parts.keys() == {"places", "clues", "open_clues", "waits", "faults"}
    told: dict[str, Any] = json.loads(prints(folder, "trail", "JOB", "--format", "json"))["assessment"]
    told["faults"] = json.loads(prints(folder, *PRINTS["`lint PATH`"], "--format", "json"))["faults"]
    for name in ("places", "waits", "faults"):
        assert {tuple(each) for each in told[name]} == {tuple(parts[name])}
