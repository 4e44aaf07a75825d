"""Personal data can be left out of a copy; what is left can still be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
from stillair.job import JSON, Job, JobError, Line, verify

NOW = 1717250602.0


def add(job: Job, kind: str, body: Mapping[str, JSON], *personal: str) -> Line:
    return job.append(
        kind, body, taken=NOW, entered=NOW, offset=0, by="Bo Technician", personal=frozenset(personal)
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "visit.job"
    with Job.create(
        path, engine="e", title="12 Long Lane", packs={}, plugins={}, by="Bo Technician",
        now=NOW, offset=0, personal=frozenset({"title", "by"}),
    ) as job:  # fmt: skip
        add(job, "observe", {"fact": "owner", "value": "C. Owner", "read": "C. Owner"}, "value", "read", "by")
        add(job, "note", {"text": "nothing personal"}, "by")
        body: dict[str, JSON] = {"fact": "owner", "value": "D. Owner", "read": "D. Owner"}
        add(job, "correct", {"line": 2, "why": "typing", "body": body}, "body", "by")
    return path


def companion(path: Path) -> Path:
    return path.with_name(path.name + ".personal.jsonl")


def test_with_the_companion_everything_reads_as_entered(path: Path) -> None:
    job = Job.open(path)
    assert job.lines[0].body["title"] == "12 Long Lane"
    assert job.lines[1].body == {"fact": "owner", "value": "C. Owner", "read": "C. Owner"}
    assert job.lines[3].body["body"] == {"fact": "owner", "value": "D. Owner", "read": "D. Owner"}
    assert {line.by for line in job.lines} == {"Bo Technician"}
    assert not any(line.left_out for line in job.lines)
    assert verify(path).companion.state == "whole"


def test_the_job_itself_holds_no_personal_text(path: Path) -> None:
    data = path.read_bytes()
    assert not [text for text in (b"Owner", b"Lane", b"Bo") if text in data]


def test_a_copy_without_the_companion_reads_with_the_fields_left_out_and_goes_on(path: Path) -> None:
    companion(path).unlink()
    job = Job.open(path)
    assert job.lines[1].body == {"fact": "owner"}
    assert job.lines[1].left_out == job.lines[1].personal == {"value", "read", "by"}
    assert job.lines[0].left_out == {"title", "by"}
    assert "body" not in job.lines[3].body and "body" in job.lines[3].left_out
    assert job.lines[2].by is None
    report = verify(path)
    assert report.ok and report.companion.state == "left out"
    assert report.remarks == ("8 personal values are left out of this copy",)
    with Job.resume(path, writer="e", now=NOW, offset=0) as copy:
        add(copy, "note", {"text": "new and personal"}, "text")
    assert Job.open(path).lines[4].body["text"] == "new and personal"
    assert verify(path).ok


def test_a_change_of_any_byte_of_the_companion_is_found_and_never_believed(path: Path) -> None:
    data = companion(path).read_bytes()
    honest = Job.open(path).lines
    for place in range(len(data)):
        companion(path).write_bytes(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])
        report = verify(path)
        assert report.companion.state == "altered" and not report.ok, place
        for line, true in zip(Job.open(path).lines, honest, strict=True):
            assert line.by in (true.by, None)
            assert all(true.body[key] == value for key, value in line.body.items())


def test_values_swapped_between_lines_are_found(path: Path) -> None:
    data = companion(path).read_bytes()
    companion(path).write_bytes(data.replace(b'"n":2', b'"n":9').replace(b'"n":4', b'"n":2'))
    assert verify(path).companion.state == "altered"
    assert Job.open(path).altered == ((2, "by"),)


def test_the_same_text_twice_has_two_hashes(path: Path) -> None:
    hashes = [row.split(b'"by":')[1][:90] for row in path.read_bytes().splitlines()]
    assert len(set(hashes)) == 4


def test_what_an_interruption_leaves_in_the_companion_harms_nothing(path: Path) -> None:
    whole = companion(path).read_bytes()
    orphan = whole.splitlines(keepends=True)[-1].replace(b'"n":4', b'"n":5')
    for size in range(len(orphan) + 1):
        companion(path).write_bytes(whole + orphan[:size])
        report = verify(path)
        assert report.ok and report.companion.state == "whole"
        assert bool(report.remarks) == (size > 0)
    companion(path).write_bytes(whole + orphan[:20])
    with Job.resume(path, writer="e", now=NOW, offset=0) as job:
        add(job, "note", {"text": "after it"}, "text")
    assert Job.open(path).lines[4].body["text"] == "after it"
    assert verify(path).ok and verify(path).companion.unreadable == 1


@pytest.mark.parametrize(
    "rubbish",
    [
        b"\xff\n",
        b"[" * 100_000 + b"\n",
        b'{"n":1}\n',
        b"[]\n",
        b"\n\n",
        b'{"field":1,"n":[],"salt":0,"value":NaN}\n',
    ],
)
def test_hostile_lines_of_the_companion_are_passed_over(path: Path, rubbish: bytes) -> None:
    companion(path).write_bytes(rubbish + companion(path).read_bytes())
    assert Job.open(path).lines[1].body["value"] == "C. Owner"
    assert verify(path).ok


def test_a_companion_that_is_a_folder_is_named(path: Path) -> None:
    companion(path).unlink()
    companion(path).mkdir()
    with pytest.raises(JobError, match="is a folder") as caught:
        Job.open(path)
    assert caught.value.path == companion(path)


@pytest.mark.parametrize(
    ("kind", "body", "personal", "message"),
    [
        ("observe", {"fact": "f", "value": 1, "read": "1"}, "fact", "cannot be personal"),
        ("observe", {"fact": "f", "value": 1, "read": "1"}, "of", "is not given"),
        ("note", {"text": ""}, "text", "`text`"),
        ("correct", {"line": 2, "why": "x", "body": {"fact": "owner", "value": "E", "read": "E"}}, "why",
         "must keep `body` personal"),
        ("correct", {"line": 2, "why": "x", "body": {"fakt": "owner"}}, "body", "has no field `fakt`"),
    ],
)  # fmt: skip
def test_what_cannot_be_personal_is_refused_before_anything_is_written(
    path: Path, kind: str, body: dict[str, JSON], personal: str, message: str
) -> None:
    before = path.read_bytes(), companion(path).read_bytes()
    with (
        Job.resume(path, writer="e", now=NOW, offset=0) as job,
        pytest.raises(JobError, match=message) as caught,
    ):
        add(job, kind, body, personal)
    assert caught.value.line == 5
    assert (path.read_bytes(), companion(path).read_bytes()) == before
