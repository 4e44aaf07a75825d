"""A tank, its plugin and its jobs, for the tests of what is reported."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from stillair.assess import Assessment, Program, assess, compile_packs, read_fact, read_value
from stillair.cli import main
from stillair.hooks import Plugins
from stillair.job import Line
from stillair.pack import read_pack
from stillair.wording import Wording

HERE = Path(__file__).parent
NINE = datetime(2026, 4, 15, 13, 0, tzinfo=UTC).timestamp()
"""Nine o'clock in the zone of the job, four hours west of UTC."""


@pytest.fixture(scope="module")
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A home of its own for the tests of a module: no program cached elsewhere is used."""
    home = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, str(home))
        yield


def rehearse(*args: object) -> Result:
    """`rehearse` with the plugin of the tank."""
    return CliRunner().invoke(main, ["--plugin-dir", str(HERE / "tank_tools"), "rehearse", *map(str, args)])


@pytest.fixture(scope="session")
def tank_plugins() -> Plugins:
    return Plugins.load([HERE / "tank_tools"])


@pytest.fixture(scope="session")
def tank_program(tank_plugins: Plugins) -> Program:
    pack = read_pack(HERE / "tank", plugins=tank_plugins.versions())
    return compile_packs([pack], tank_plugins.calculators, tank_plugins.catalogues)


class Tank:
    """A job of the tank in memory: entries under a clock that the test moves, in minutes after nine."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.zone = timezone(timedelta(hours=-4))
        self.lines: list[Line] = []
        self.at = NINE
        self.by: str | None = "A. Tech"
        packs = {name: {"version": v, "digest": d} for name, (v, d) in program.packs.items()}
        job: dict[str, Any] = {"format": "stillair.job/1", "engine": "stillair 0.1.0", "title": "Tank 7"}
        self.add("job", **job, packs=packs, plugins={})
        self.add("open", checklist="tank")

    def add(self, kind: str, /, *, taken: float | None = None, **body: Any) -> Line:
        taken = self.at if taken is None else taken
        line = Line(len(self.lines) + 1, kind, taken, self.at, -240, self.by, body, "stillair 0.1.0")
        self.lines.append(line)
        return line

    def minutes(self, after_nine: float) -> None:
        self.at = NINE + 60 * after_nine

    def note(self, name: str, value: str, instrument: str | None = None) -> Line:
        found = self.assess()
        members = {each: found.view.members(each)[0] for each in (*self.program.lists, "place")}
        ref = read_fact(self.program, name, members)
        entry = read_value(self.program, ref, value, instrument=instrument, now=self.at, zone=self.zone)
        return self.add(entry.kind, **entry.body)

    def gauge(self, serial: str, offset: float, repeat: float, checked: str | None = None) -> None:
        """Declare a gauge with tolerances in psi."""
        psi = 6894.757293168361
        dated = {"checked": checked} if checked else {}
        body = {"offset": offset * psi, "repeat": repeat * psi, "resolution": 0.0}
        self.add("instrument", serial=serial, kind="gauge", **body, **dated)

    def assess(self) -> Assessment:
        return assess(self.program, self.lines, self.at)

    @property
    def words(self) -> Wording:
        return Wording(self.assess(), self.zone)


@pytest.fixture
def tank(tank_program: Program) -> Tank:
    return Tank(tank_program)


@pytest.fixture
def new_tank(tank_program: Program) -> Callable[[], Tank]:
    """Makes tanks, for tests that need one for each example."""
    return lambda: Tank(tank_program)
