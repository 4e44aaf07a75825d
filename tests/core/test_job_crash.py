"""A job survives being cut short anywhere, at any moment."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from stillair.job import Job, JobError, verify

NOW = 1717250602.0


def make(path: Path, lines: int) -> None:
    with Job.create(path, engine="e", title="t", packs={}, plugins={}, by="A", now=NOW, offset=0) as job:
        for n in range(2, lines + 1):
            job.append("note", {"text": f"é {n}"}, taken=NOW + n, entered=NOW + n, offset=0, by="A")


def resume(path: Path) -> Job:
    return Job.resume(path, writer="e", now=NOW + 100, offset=0)


def test_cut_at_every_byte_no_whole_line_is_lost_and_the_job_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # What counts here is the order of bytes, not when they reach the disk.
    monkeypatch.setattr(os, "fsync", lambda file: None)
    make(tmp_path / "whole.job", 30)
    data = (tmp_path / "whole.job").read_bytes()
    original = Job.open(tmp_path / "whole.job").lines
    first = data.index(b"\n")
    ends = {i for i in range(len(data)) if data[i : i + 1] == b"\n"}
    path = tmp_path / "cut.job"
    for size in range(len(data) + 1):
        path.write_bytes(data[:size])
        if size < first:
            with pytest.raises(JobError, match="no whole first line"):
                resume(path)
            assert path.read_bytes() == data[:size]
            continue
        whole = data[:size].count(b"\n") + (size in ends)
        torn = 0 if size in ends else size - (data[:size].rfind(b"\n") + 1)
        reader = Job.open(path)
        assert reader.lines == original[:whole]
        assert (reader.torn.data if reader.torn else b"") == data[size - torn : size]
        with resume(path) as job:
            assert job.lines[:whole] == original[:whole]
            assert [line.kind for line in job.lines[whole:]] == ["repaired"] * bool(torn)
            job.append("note", {"text": "on"}, taken=NOW + 100, entered=NOW + 100, offset=0, by="A")
        report = verify(path)
        assert report.ok and not report.remarks
        assert report.lines == whole + bool(torn) + 1
        if torn:
            kept = tmp_path / f"cut.job.torn-{whole + 1}"
            assert kept.read_bytes() == data[size - torn : size]
            assert report.kept == {kept.name: "present"}
            kept.unlink()


def test_a_torn_line_is_only_reported_to_a_reader(tmp_path: Path) -> None:
    make(tmp_path / "a.job", 3)
    data = (tmp_path / "a.job").read_bytes()[:-10]
    (tmp_path / "a.job").write_bytes(data)
    torn = Job.open(tmp_path / "a.job").torn
    assert torn is not None and torn.n == 3
    report = verify(tmp_path / "a.job")
    assert (report.ok, report.lines, report.intact, report.broken) == (False, 2, 2, None)
    assert "line 3 was torn off" in report.problems[0]
    assert (tmp_path / "a.job").read_bytes() == data
    assert os.listdir(tmp_path) == ["a.job"]


@pytest.mark.parametrize("rest", [b"\0" * 300, b"\xff\xfe garbage", b"not json\n", b'{"n":3}', b"\n"])
def test_whatever_a_crash_leaves_at_the_end_is_kept_aside(tmp_path: Path, rest: bytes) -> None:
    make(tmp_path / "a.job", 2)
    with (tmp_path / "a.job").open("ab") as file:
        file.write(rest)
    with resume(tmp_path / "a.job") as job:
        assert job.lines[2].body["bytes"] == len(rest)
    assert (tmp_path / "a.job.torn-3").read_bytes() == rest
    assert verify(tmp_path / "a.job").ok


def test_a_repair_that_was_itself_interrupted_is_finished(tmp_path: Path) -> None:
    path = tmp_path / "a.job"
    make(path, 3)
    data = path.read_bytes()
    path.write_bytes(data[:-10])
    resume(path).close()
    repaired = path.read_bytes()
    end = data[:-1].rfind(b"\n") + 1
    for size in range(end, len(repaired)):
        path.write_bytes(repaired[:size])
        with resume(path) as job:
            kept = {
                str(line.body["kept"]): line.body["bytes"] for line in job.lines if line.kind == "repaired"
            }
        assert kept["a.job.torn-3"] == len(data) - 10 - end
        assert verify(path).ok
        second = tmp_path / "a.job.torn-3.2"
        if size not in (end, len(repaired) - 1):
            assert second.read_bytes() == repaired[end:size]
            second.unlink()


def test_a_torn_line_never_hides_in_the_middle(tmp_path: Path) -> None:
    path = tmp_path / "a.job"
    make(path, 5)
    rows = path.read_bytes().split(b"\n")
    rows[2] = rows[2][:-7]
    path.write_bytes(b"\n".join(rows))
    for open_it in (Job.open, resume):
        with pytest.raises(JobError, match="the chain is broken") as caught:
            open_it(path)
        assert caught.value.line == 3
    assert os.listdir(tmp_path) == ["a.job"]


WRITER = """
import sys
from stillair.job import Job
path, start, personal = sys.argv[1], float(sys.argv[2]), frozenset(sys.argv[3:])
job = Job.resume(path, writer="e", now=start, offset=0)
print("ready", flush=True)
while True:
    n = len(job.lines) + 1
    job.append("note", {"text": f"text {n}"}, taken=start, entered=start, offset=0, by="A", personal=personal)
    sys.stdout.write(f"{n}\\n")
    sys.stdout.flush()
"""


def _killed_after(path: Path, start: float, delay: float, *personal: str) -> int:
    """Run the writer, kill it, and give the last line it acknowledged."""
    child = subprocess.Popen(
        [sys.executable, "-S", "-c", WRITER, str(path), str(start), *personal],
        stdout=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )
    assert child.stdout is not None
    assert child.stdout.readline() == b"ready\n"
    time.sleep(delay)
    child.kill()
    told = child.stdout.read().split(b"\n")
    child.stdout.close()
    child.wait()
    return int(told[-2]) if len(told) > 1 else 0


def _kill_again_and_again(path: Path, times: int, seed: int) -> int:
    """Kill one job's writers `times` times, checking after each; the number of lines they acknowledged."""
    rng = random.Random(seed)
    make(path, 1)
    acknowledged, least = 0, 1
    for turn in range(times):
        personal = ["text"] if turn % 2 else []
        last = _killed_after(path, NOW + turn, rng.uniform(0, 0.06), *personal)
        acknowledged += max(0, last - least)
        lines = Job.open(path).lines
        assert len(lines) >= max(last, least)
        assert all(line.kind == "repaired" or line.body["text"] == f"text {line.n}" for line in lines[1:])
        least = len(lines)
    with resume(path) as job:
        job.append("note", {"text": "on"}, taken=NOW, entered=NOW + 300, offset=0, by="A")
    report = verify(path)
    assert report.ok, report.problems
    return acknowledged


def test_killed_at_two_hundred_random_moments_no_acknowledged_line_is_lost(tmp_path: Path) -> None:
    with ThreadPoolExecutor(2) as pool:
        told = pool.map(lambda seed: _kill_again_and_again(tmp_path / f"{seed}.job", 20, seed), range(10))
        assert sum(told) > 200
