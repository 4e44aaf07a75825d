"""Opening and writing a job: what stands in the way is named, and nothing acknowledged is lost."""

from __future__ import annotations

import contextlib
import errno
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from stillair.job import JSON, Job, JobError, verify
from stillair.job.line import canonical

NOW = 1717250602.0


def make(path: Path, notes: int = 0) -> Job:
    job = Job.create(path, engine="e 1", title="t", packs={}, plugins={}, by="A", now=NOW, offset=0)
    for n in range(notes):
        note(job, f"note {n}")
    return job


def note(job: Job, text: str) -> None:
    job.append("note", {"text": text}, taken=NOW, entered=NOW, offset=0, by="A")


def resume(path: Path) -> Job:
    return Job.resume(path, writer="e 2", now=NOW + 60, offset=0)


def test_a_resumed_job_goes_on_where_it_was_and_says_who_writes(tmp_path: Path) -> None:
    make(tmp_path / "a.job", notes=2).close()
    with resume(tmp_path / "a.job") as job:
        note(job, "later")
    assert [(line.n, line.writer) for line in Job.open(tmp_path / "a.job").lines] == [
        (1, "e 1"), (2, "e 1"), (3, "e 1"), (4, "e 2"),
    ]  # fmt: skip


def test_a_job_opened_for_reading_or_closed_takes_no_line(tmp_path: Path) -> None:
    job = make(tmp_path / "a.job")
    job.close()
    job.close()
    for closed in (job, Job.open(tmp_path / "a.job")):
        with pytest.raises(JobError, match="is not open for writing"):
            note(closed, "x")


def test_closing_leaves_only_the_job(tmp_path: Path) -> None:
    make(tmp_path / "a.job", notes=1).close()
    assert os.listdir(tmp_path) == ["a.job"]


@pytest.mark.parametrize("open_it", [Job.open, resume, verify])
def test_what_is_no_job_is_named(tmp_path: Path, open_it: object) -> None:
    assert callable(open_it)
    (tmp_path / "text").write_text("hello\n")
    (tmp_path / "json").write_text('{"a":1}\n')
    (tmp_path / "list").write_text("[1]\n[2]\n")
    for name, message in [
        ("none.job", "does not exist"),
        ("none/none.job", "its folder does not exist"),
        ("text/a.job", "folder"),
        ("", "is a folder"),
        ("json", "is not a job"),
        ("text", "has no whole first line"),
        ("a\0b", "is not a path"),
    ]:
        with pytest.raises(JobError, match=message) as caught:
            open_it(tmp_path / name)
        assert caught.value.help
    if open_it is not verify:
        with pytest.raises(JobError, match="not a line of a job"):
            open_it(tmp_path / "list")
    assert sorted(os.listdir(tmp_path)) == ["json", "list", "text"]


def test_creating_never_touches_what_is_there(tmp_path: Path) -> None:
    make(tmp_path / "a.job").close()
    before = (tmp_path / "a.job").read_bytes()
    with pytest.raises(JobError, match="exists already"):
        make(tmp_path / "a.job")
    with pytest.raises(JobError, match="its folder does not exist") as caught:
        make(tmp_path / "none" / "a.job")
    assert caught.value.path == tmp_path / "none" / "a.job"
    assert (tmp_path / "a.job").read_bytes() == before
    for leftover in ("b.job.personal.jsonl", "c.job.torn-2"):
        (tmp_path / leftover).write_text("x")
        with pytest.raises(JobError, match="left from another job"):
            make(tmp_path / leftover[:5])
    with pytest.raises(JobError, match="`title`"):
        Job.create(tmp_path / "d.job", engine="e", title="", packs={}, plugins={}, by=None, now=NOW, offset=0)
    assert sorted(os.listdir(tmp_path)) == ["a.job", "b.job.personal.jsonl", "c.job.torn-2"]


def test_no_permission_is_said_plainly(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make(tmp_path / "a.job").close()
    open_really = os.open

    def refuse(path: str, flags: int, mode: int = 0o777) -> int:
        if flags & (os.O_RDWR | os.O_WRONLY):
            raise PermissionError(errno.EACCES, "denied", str(path))
        return open_really(path, flags, mode)

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(JobError, match="may not be written by this user"):
        resume(tmp_path / "a.job")
    assert len(Job.open(tmp_path / "a.job").lines) == 1


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything"
)
def test_an_unreadable_file_is_said_plainly(tmp_path: Path) -> None:
    make(tmp_path / "a.job").close()
    (tmp_path / "a.job").chmod(0)
    with pytest.raises(JobError, match="may not be read by this user"):
        Job.open(tmp_path / "a.job")


def test_a_full_disk_leaves_the_job_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = make(tmp_path / "a.job", notes=1)
    before = job.path.read_bytes()
    write_really = os.write

    def fill(file: int, data: bytes) -> int:
        if len(data) < 20:
            raise OSError(errno.ENOSPC, "full")
        return write_really(file, data[: len(data) // 2])

    monkeypatch.setattr(os, "write", fill)
    with pytest.raises(JobError, match="the disk is full"):
        note(job, "lost")
    monkeypatch.undo()
    assert job.path.read_bytes() == before
    note(job, "kept")
    assert [line.body.get("text") for line in Job.open(job.path).lines[1:]] == ["note 0", "kept"]


def test_after_a_failing_disk_nothing_is_acknowledged_until_reopened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = make(tmp_path / "a.job")

    def fail(file: int) -> None:
        raise OSError(errno.EIO, "input/output error")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(JobError, match="cannot be written"):
        note(job, "lost")
    monkeypatch.undo()
    with pytest.raises(JobError, match="not certain what the disk holds"):
        note(job, "lost too")
    job.close()
    with resume(job.path) as again:
        note(again, "kept")
    assert verify(job.path).ok


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be removed there")
def test_a_file_removed_replaced_or_changed_while_open_takes_no_line(tmp_path: Path) -> None:
    for deed in ("remove", "replace", "change"):
        job = make(tmp_path / f"{deed}.job")
        data = job.path.read_bytes()
        if deed != "change":
            job.path.unlink()
        if deed == "replace":
            job.path.write_bytes(data)
        if deed == "change":
            with job.path.open("ab") as other:
                other.write(b"x")
        with pytest.raises(JobError, match=r"removed or replaced|changed by another program"):
            note(job, "lost")
        job.close()


def _hostile() -> dict[str, bytes]:
    head = {"body": {"format": "stillair.job/1", "engine": "e", "title": "t", "packs": {}, "plugins": {}},
            "by": None, "entered": "2024-06-01T10:03:22+00:00", "kind": "job", "n": 1, "prev": None,
            "taken": "2024-06-01T10:03:22+00:00", "writer": "e"}  # fmt: skip

    def with_(**more: object) -> bytes:
        return canonical(head | more) + b"\n"  # type: ignore[arg-type]

    deep = b'{"body":' + b"[" * 100_000 + b"]" * 100_000 + b"}\n"
    return {
        "not utf-8": b"\xff\xfe\n",
        "utf-16": '{"a":1}\n'.encode("utf-16"),
        "mark at the start": b"\xef\xbb\xbf" + with_(),
        "deep": deep + deep,
        "deep body": with_(body=0).replace(b'"body":0', b'"body":' + b"[" * 900 + b"]" * 900) * 2,
        "huge whole number": with_().replace(b'"n":1', b'"n":' + b"9" * 10_000) * 2,
        "huge number": with_().replace(b'"n":1', b'"n":1e999') * 2,
        "nan": with_().replace(b'"n":1', b'"n":NaN') * 2,
        "truth as number": with_(n=True),
        "half a pair": with_().replace(b'"t"', b'"\\ud800"') * 2,
        "key twice": with_().replace(b'"n":1', b'"n":1,"n":1') * 2,
        "empty": b"",
        "only line ends": b"\n\n\n",
        "nulls": b"\0" * 5000,
        "body a list": with_(body=[]),
        "body null": with_(body=None),
        "kind a list": with_(kind=[]),
        "no year": with_(entered="0000-06-01T10:03:22+00:00"),
        "time a number": with_(entered=5),
        "time odd": with_(entered="२०२४-06-01T10:03:22+00:00"),
        "time short": with_(entered="+"),
        "zones differ": with_(entered="2024-06-01T10:03:22+01:00"),
        "no writer": with_(writer=None),
        "by a list": with_(by=["A"]),
        "by a forged hash": with_(by={"personal": {"sha256": [1]}}),
        "packs a list": with_(body=head["body"] | {"packs": [1]}),  # type: ignore[operator]
        "packs hidden": with_(body=head["body"] | {"packs": {"personal": {"sha256": "0"}}}),  # type: ignore[operator]
        "first of another kind": with_(kind="note", body={"text": "x", "format": "stillair.job/1"}),
        "carriage returns": with_().replace(b"\n", b"\r\n") * 2,
    }


@pytest.mark.parametrize("name", list(_hostile()))
def test_a_hostile_file_gives_a_job_error_and_no_other(tmp_path: Path, name: str) -> None:
    path = tmp_path / "a.job"
    path.write_bytes(_hostile()[name])
    for open_it in (Job.open, resume):
        with pytest.raises(JobError):
            open_it(path)
    with contextlib.suppress(JobError):
        assert not verify(path).ok
    assert path.read_bytes() == _hostile()[name]
    assert os.listdir(tmp_path) == ["a.job"]


def test_a_newer_format_and_a_newer_kind_name_their_version(tmp_path: Path) -> None:
    make(tmp_path / "a.job").close()
    row = (tmp_path / "a.job").read_bytes()
    (tmp_path / "b.job").write_bytes(
        row.replace(b"stillair.job/1", b"stillair.job/2").replace(b"e 1", b"e 9")
    )
    for open_it in (Job.open, resume, verify):
        with pytest.raises(JobError, match=r"`stillair.job/2`; this program reads stillair.job/1") as caught:
            open_it(tmp_path / "b.job")
        assert "`e 9`" in (caught.value.help or "")
    with resume(tmp_path / "a.job") as job:
        note(job, "x")
    altered = (
        (tmp_path / "a.job").read_bytes().replace(b'"kind":"note"', b'"kind":"dream"').replace(b"e 2", b"e 9")
    )
    (tmp_path / "a.job").write_bytes(altered)
    with pytest.raises(JobError, match=r"kind `dream` are not part of format stillair.job/1; `e 9`") as newer:
        Job.open(tmp_path / "a.job")
    assert newer.value.line == 2


def test_two_hundred_lines_open_before_anyone_notices(tmp_path: Path) -> None:
    job = make(tmp_path / "a.job")
    for n in range(199):
        body: dict[str, JSON] = {
            "fact": "static_pressure",
            "value": 1.5e6 + n,
            "read": f"{n} psig",
            "unit": "psig",
        }
        job.append("observe", body, taken=NOW + n, entered=NOW + n + 0.25, offset=-240, by="A. Tech")
    job.close()
    best = float("inf")
    for _ in range(40):
        start = time.perf_counter()
        Job.open(job.path)
        best = min(best, time.perf_counter() - start)
    # Five milliseconds on a quiet machine; the margin is for a busy one.
    assert best < 0.015


def test_importing_the_journal_brings_in_nothing_installed(tmp_path: Path) -> None:
    code = (
        "import __future__, dataclasses, datetime, hashlib, json, pathlib, sys, typing\n"
        "before = set(sys.modules)\n"
        "import stillair.job\n"
        "print(*sorted(m for m in set(sys.modules) - before if not m.startswith('stillair')))\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert set(ran.stdout.split()) <= {"fcntl", "msvcrt", "_strptime"}
