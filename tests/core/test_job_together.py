"""Lines appended together: all of them are on the disk, or none."""

from __future__ import annotations

from pathlib import Path

import pytest
from stillair.job import Job, JobError, verify

NOW = 1_717_250_602.0


def begun(path: Path) -> Job:
    return Job.create(
        path, engine="stillair 0.1.0", title="x", packs={}, plugins={}, by="A", now=NOW, offset=0
    )


def note(job: Job, text: str, *personal: str) -> int:
    line = job.append(
        "note", {"text": text}, taken=NOW, entered=NOW, offset=0, by="A", personal=frozenset(personal)
    )
    return line.n


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def test_lines_are_seen_at_once_and_on_the_disk_at_the_end(tmp_path: Path) -> None:
    path = tmp_path / "visit.job"
    with begun(path) as job:
        before = path.read_bytes()
        with job.together():
            assert [note(job, "one"), note(job, "two", "by")] == [2, 3]
            assert [line.n for line in job.lines] == [1, 2, 3]
            assert path.read_bytes() == before
        assert note(job, "three") == 4
    with Job.open(path) as job:
        assert [line.body.get("text") for line in job.lines[1:]] == ["one", "two", "three"]
        assert job.lines[2].by == "A" and job.lines[2].personal == {"by"}
    assert verify(path).ok


def test_where_something_is_raised_none_is_kept_and_the_next_line_follows(tmp_path: Path) -> None:
    path = tmp_path / "visit.job"
    with begun(path) as job:
        before = files(tmp_path)
        with pytest.raises(JobError, match="is not given"), job.together():
            note(job, "one", "by")
            note(job, "two", "kind")
        assert [line.n for line in job.lines] == [1]
        assert files(tmp_path) == before
        assert note(job, "three") == 2
    assert verify(path).ok


def test_nothing_together_writes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "visit.job"
    with begun(path) as job:
        before = path.read_bytes()
        with job.together():
            pass
        assert path.read_bytes() == before
