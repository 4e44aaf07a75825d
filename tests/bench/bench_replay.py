"""How many recorded jobs are replayed in a second, and whether that stays so as they become more.

    python tests/bench/bench_replay.py [JOBS]

The demo job is varied: each job begins at a time of its own, each date in it lies up to ten days off and each
number up to a hundredth, so that no two jobs have a result in common to be remembered. Each chain is made
anew. They are replayed with the bundled packs in a newer text. Wall time of everything: start, chain, both
assessments. Not part of the suite.
"""

from __future__ import annotations

import json
import random
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import stillair_checklists
from click.testing import CliRunner
from stillair.cli import main
from stillair.cli.replay import replay_all
from stillair.job import Job
from stillair.job.line import canonical, digest, read_time, write_time
from stillair.quantity import find_unit

LEAK = Path(stillair_checklists.__file__).parent / "leak"
LEAST = 80
DATE = "%Y-%m-%d %H:%M %z"
OFF = 0.01
"""By which share of itself a number is varied at most (judgement)."""
DAYS = 10.0
"""By how many days a date is varied at most (judgement)."""
APART = 11 * 60.0
"""s between the beginnings of two jobs (judgement)."""


def varied(first: Path, number: int) -> bytes:
    """The job with other times and readings, and the chain that goes with them."""
    draw = random.Random(number).uniform
    rows, last = [], None
    for row in first.read_bytes().splitlines():
        record: dict[str, Any] = json.loads(row)
        for key in ("taken", "entered"):
            moment, offset = read_time(record[key])
            record[key] = write_time(moment + number * APART, offset)
        body = record["body"]
        simple = re.fullmatch(r"(-?[0-9.]+) (\S+)", str(body.get("read", "")))
        if body.get("unit") == "UTC":
            later = timedelta(minutes=round(draw(-DAYS, DAYS) * 24 * 60))
            body["value"] += later.total_seconds()
            body["read"] = f"{datetime.strptime(body['read'], DATE) + later:{DATE}}"
        elif simple is not None and simple[2] == body["unit"]:
            read = round(float(simple[1]) * (1 + draw(-OFF, OFF)), 3)
            body["value"] += (read - float(simple[1])) * float(find_unit(body["unit"]).factor)
            body["read"] = f"{read} {body['unit']}"
        record["prev"] = last
        rows.append(canonical(record) + b"\n")
        last = digest(rows[-1])
    return b"".join(rows)


def jobs(folder: Path, number: int) -> Iterator[str]:
    """So many jobs, no two alike."""
    made = CliRunner().invoke(main, ["demo", "--into", str(folder / "first")])
    assert made.exit_code == 0, made.output
    first = folder / "first" / "demo.job"
    assert len(Job.open(first).lines) >= LEAST
    for n in range(number):
        path = folder / f"{n:05}.job"
        path.write_bytes(varied(first, n))
        for beside in first.parent.iterdir():
            if beside.name.startswith("demo.job."):
                path.with_name(beside.name.replace("demo.job", path.name, 1)).symlink_to(beside)
        yield str(path)


def run(number: int) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        newer = Path(shutil.copytree(LEAK, folder / "leak"))
        text = (newer / "manifest.yaml").read_text(encoding="utf-8")
        (newer / "manifest.yaml").write_text(text + "# newer\n", encoding="utf-8")
        paths = list(jobs(folder, number))
        lines = len(Job.open(paths[0]).lines)
        begun = time.perf_counter()
        for count, each in enumerate(replay_all((), [str(newer)], paths, 2), 1):
            assert each.problem is None, each.problem
            if count * 4 % number == 0:
                took = time.perf_counter() - begun
                print(
                    f"{count} jobs of {lines} lines: {took:.1f} s, {count / took:.1f} jobs per second",
                    flush=True,
                )


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
