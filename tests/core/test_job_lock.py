"""One writer at a time; readers are never held up; a dead writer holds nothing."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from stillair.job import Job, JobError

NOW = 1717250602.0

HOLDER = """
import sys
from stillair.job import Job, JobError
try:
    job = Job.resume(sys.argv[1], writer="e", now=0, offset=0)
except JobError as error:
    print(error.message, "/", error.help, flush=True)
else:
    print("holding", flush=True)
    sys.stdin.read()
    job.close()
"""


def holder(path: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "visit.job"
    Job.create(path, engine="e", title="t", packs={}, plugins={}, by=None, now=NOW, offset=0).close()
    return path


def resume(path: Path) -> Job:
    return Job.resume(path, writer="e", now=NOW, offset=0)


def test_a_second_writer_is_told_who_writes_and_how_to_go_on(path: Path) -> None:
    with resume(path) as job:
        told, _ = holder(path).communicate()
        assert f"is being written by process {os.getpid()} on `" in told
        assert "finish there first" in told
        job.append("note", {"text": "undisturbed"}, taken=NOW, entered=NOW, offset=0, by=None)
        assert len(Job.open(path).lines) == 2
    assert holder(path).communicate("")[0] == "holding\n"


def test_the_same_process_is_refused_a_second_time_also_under_another_name(
    path: Path, tmp_path: Path
) -> None:
    names = [path]
    if sys.platform != "win32":
        (tmp_path / "link.job").symlink_to(path)
        names.append(tmp_path / "link.job")
    with resume(path):
        for name in names:
            with pytest.raises(JobError, match=f"process {os.getpid()}"):
                resume(name)
    resume(path).close()


def test_a_killed_writer_holds_nothing(path: Path) -> None:
    child = holder(path)
    assert child.stdout is not None and child.stdin is not None
    assert child.stdout.readline() == "holding\n"
    with pytest.raises(JobError, match=f"process {child.pid} on"):
        resume(path)
    child.kill()
    child.communicate()
    assert path.with_name("visit.job.lock").exists()
    resume(path).close()
    assert os.listdir(path.parent) == ["visit.job"]


@pytest.mark.parametrize("rubbish", [b"", b"\xff", b"[1]", b'{"pid":"x","host":1}', b"[" * 4000])
def test_a_lock_file_that_cannot_be_read_still_gives_a_clear_refusal(path: Path, rubbish: bytes) -> None:
    with resume(path):
        with path.with_name("visit.job.lock").open("r+b") as file:
            file.truncate()
            file.write(rubbish)
        with pytest.raises(JobError, match="is being written by another process"):
            resume(path)


def test_many_writers_at_once_take_turns_and_lose_nothing(path: Path) -> None:
    code = """
import sys, time
from stillair.job import Job, JobError
done = 0
while done < 15:
    try:
        with Job.resume(sys.argv[1], writer="e", now=0, offset=0) as job:
            job.append("note", {"text": f"{sys.argv[2]}-{done}"}, taken=0, entered=0, offset=0, by=None)
        done += 1
    except JobError as error:
        assert "is being written by" in error.message, error
        time.sleep(0.001)
"""
    children = [subprocess.Popen([sys.executable, "-c", code, str(path), str(i)]) for i in range(4)]
    assert [child.wait() for child in children] == [0] * 4
    texts = sorted(str(line.body["text"]) for line in Job.open(path).lines[1:])
    assert texts == sorted(f"{i}-{n}" for i in range(4) for n in range(15))
