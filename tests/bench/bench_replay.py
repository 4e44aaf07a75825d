"""How many recorded jobs are replayed in a second, and whether that stays so as they become more.

    python tests/bench/bench_replay.py [JOBS]

Copies of the demo job, each with its chain, are replayed with the bundled packs in a newer text. Wall time of
everything: start, chain, both assessments. Not part of the suite.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

import stillair_checklists
from click.testing import CliRunner
from stillair.cli import main
from stillair.cli.replay import replay_all
from stillair.job import Job

LEAK = Path(stillair_checklists.__file__).parent / "leak"
LEAST = 80


def jobs(folder: Path, number: int) -> list[str]:
    """So many copies of the demo job."""
    made = CliRunner().invoke(main, ["demo", "--into", str(folder / "first")])
    assert made.exit_code == 0, made.output
    first = folder / "first" / "demo.job"
    assert len(Job.open(first).lines) >= LEAST
    names = []
    for n in range(number):
        path = folder / f"{n:05}.job"
        shutil.copy(first, path)
        for beside in first.parent.iterdir():
            if beside.name.startswith("demo.job."):
                target = path.with_name(beside.name.replace("demo.job", path.name, 1))
                (shutil.copytree if beside.is_dir() else shutil.copy)(beside, target)
        names.append(str(path))
    return names


def run(number: int) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        newer = Path(shutil.copytree(LEAK, folder / "leak"))
        text = (newer / "manifest.yaml").read_text(encoding="utf-8")
        (newer / "manifest.yaml").write_text(text + "# newer\n", encoding="utf-8")
        paths = jobs(folder, number)
        lines = len(Job.open(paths[0]).lines)
        for part in (number // 4, number // 2, number):
            begun = time.perf_counter()
            found = list(replay_all((), [str(newer)], paths[:part], 2))
            took = time.perf_counter() - begun
            assert all(each.problem is None for each in found), found[0].problem
            print(f"{part} jobs of {lines} lines: {took:.1f} s, {part / took:.1f} jobs per second")


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
