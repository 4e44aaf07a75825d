"""A session starts at once: nothing heavy is imported on the way to the first question."""

from __future__ import annotations

import gc
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from stillair.cli import main
from stillair.cli.clock import Clock
from stillair.cli.session import Settings

KETTLE = Path(__file__).parent / "kettle"
HEAVY = ("CoolProp", "pydantic", "lark", "yaml", "numpy", "markdown_it", "pint")

LATER = (
    *("difflib", "traceback"),
    *("stillair.because", "stillair.margin", "stillair.working", "stillair.carried", "stillair.pack"),
    *("stillair.cli.keys", "stillair.cli.answers", "stillair.cli.journal", "stillair.cli.typed"),
)
"""What is first needed after the first question, or never."""

PROBE = """
import sys
from stillair.cli import main
code = main(sys.argv[1:], standalone_mode=False)
sys.stderr.write("\\n".join(sorted(sys.modules)))
sys.exit(code or 0)
"""


def run(*args: str, home: Path, typed: str = "") -> tuple[str, set[str], int]:
    """What is shown, the modules imported, the exit code."""
    env = dict(os.environ, PYTHONIOENCODING="utf-8")
    for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
        env[name] = str(home)
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *args],
        input=typed, capture_output=True, text=True, encoding="utf-8", env=env,
    )  # fmt: skip
    return done.stdout, set(done.stderr.split("\n")), done.returncode


def heavy(modules: set[str]) -> set[str]:
    return {name for name in modules if name.split(".")[0] in HEAVY}


@pytest.mark.parametrize("pack", [[], ["--pack", str(KETTLE)]], ids=["bundled", "given"])
def test_no_heavy_module_is_imported_before_the_first_question(tmp_path: Path, pack: list[str]) -> None:
    by = ["--by", "A. Tech", "guide"]
    _, cold, code = run(*by, str(tmp_path / "1.job"), *pack, home=tmp_path)
    assert code == 0
    assert heavy(cold), "the first compilation reads YAML: if not, this test looks in the wrong place"
    for args in ([str(tmp_path / "2.job"), *pack], [str(tmp_path / "1.job")]):
        shown, modules, code = run(*by, *args, home=tmp_path, typed="?\n")
        assert code == 0
        assert "\n> ?" in shown
        assert heavy(modules) == set()


def test_what_is_needed_later_is_imported_later(tmp_path: Path) -> None:
    args = ("--by", "A. Tech", "guide", str(tmp_path / "1.job"))
    run(*args, home=tmp_path)
    shown, modules, _ = run(*args, home=tmp_path)
    assert "== Ask whether anybody is in danger" in shown and shown.count("\n> ") == 1
    assert modules.isdisjoint(LATER)
    _, modules, _ = run(*args, home=tmp_path, typed="n\n?\n")
    assert {"stillair.cli.answers", "stillair.cli.keys"} <= modules


@pytest.mark.parametrize("first", [700, 1_000_000])
def test_garbage_is_looked_for_as_before_when_a_verb_has_ended(first: int) -> None:
    """And meanwhile no more often than whoever calls it has it."""
    of_the_tests, during = gc.get_threshold(), []
    before = (first, *of_the_tests[1:])

    class Curious(Settings):
        @property
        def clock(self) -> Clock:
            during.append(gc.get_threshold()[0])
            return Clock()

        @clock.setter
        def clock(self, clock: Clock) -> None:
            pass

    gc.set_threshold(*before)
    try:
        CliRunner().invoke(main, ["next", "no such job"], obj=Curious())
        after = gc.get_threshold()
    finally:
        gc.set_threshold(*of_the_tests)
    assert min(during) >= max(first, 50_000)
    assert after == before


def test_help_imports_no_verb(tmp_path: Path) -> None:
    shown, modules, _ = run("--help", home=tmp_path)
    assert "guide" in shown and "note" in shown
    assert {m for m in modules if m.startswith("stillair")} <= {"stillair", "stillair.cli"}
