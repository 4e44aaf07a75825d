"""For pytest: every file in `scenarios/` of a pack folder is a test.

So `-k`, parallel runs and the test panes of editors work on scenarios as on any test.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from stillair.cli.stage import Stage

__all__ = ["pytest_addoption", "pytest_collect_file"]


def pytest_addoption(parser: pytest.Parser) -> None:
    """`stillair_plugin_dirs` in the settings of pytest: folders with plugins that are not installed."""
    parser.addini("stillair_plugin_dirs", "folders with plugins that are not installed", "paths", [])


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """A YAML file in the folder `scenarios` beside a manifest, or in a folder of that one."""
    folders = [parent for parent in file_path.parents[:2] if parent.name == "scenarios"]
    if not folders or not (folders[0].parent / "manifest.yaml").is_file():
        return None
    from stillair.authoring.scenario import is_scenario

    if not is_scenario(file_path):
        return None
    return ScenarioFile.from_parent(parent, path=file_path)


@cache
def _stage(plugin_dirs: tuple[Path, ...]) -> Stage:
    from stillair.cli.stage import Stage
    from stillair.hooks import Plugins

    return Stage(Plugins.load(plugin_dirs))


class ScenarioFile(pytest.File):
    """One scenario file."""

    def collect(self) -> Iterator[pytest.Item]:
        yield ScenarioItem.from_parent(self, name=self.path.stem)


class Failed(Exception):
    """What came out otherwise than the author expects."""


class ScenarioItem(pytest.Item):
    """A scenario, played."""

    def runtest(self) -> None:
        played = _stage(tuple(self.config.getini("stillair_plugin_dirs"))).play(self.path)
        if not played.passed:
            raise Failed("\n".join(played.told()))

    def repr_failure(
        self, excinfo: pytest.ExceptionInfo[BaseException], style: object = None
    ) -> str | pytest.CodeRepr:  # type: ignore[name-defined]
        """The expectations that were missed with their trees, and no traceback."""
        if isinstance(excinfo.value, Failed):
            return str(excinfo.value)
        return super().repr_failure(excinfo)

    def reportinfo(self) -> tuple[Path, int, str]:
        return self.path, 0, f"scenario {self.name}"
