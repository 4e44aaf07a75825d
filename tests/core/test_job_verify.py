"""Whoever looks at a job later learns whether it is as it was written."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from stillair.job import Job, JobError, PackStore, pack_digest, verify

NOW = 1717250602.0


def make(path: Path, lines: int = 6, packs: dict[str, dict[str, str]] | None = None) -> Path:
    with Job.create(
        path, engine="e", title="t", packs=packs or {}, plugins={}, by="A", now=NOW, offset=0
    ) as job:
        for n in range(2, lines + 1):
            job.append("note", {"text": f"n {n}"}, taken=NOW + n, entered=NOW + n, offset=0, by="A")
    return path


def finds(path: Path, expect_last: str | None = None) -> bool:
    try:
        return not verify(path, expect_last=expect_last).ok
    except JobError:
        return True


def test_a_change_of_any_byte_before_the_last_line_is_found(tmp_path: Path) -> None:
    data = make(tmp_path / "a.job").read_bytes()
    last = data[:-1].rfind(b"\n") + 1
    path = tmp_path / "b.job"
    for place in range(last):
        for other in {data[place] ^ 1, data[place] ^ 0x20, ord("0"), ord("}")} - {data[place]}:
            path.write_bytes(data[:place] + bytes([other]) + data[place + 1 :])
            assert finds(path), (place, other)
            with pytest.raises(JobError):
                Job.open(path)


def test_with_the_last_hash_kept_elsewhere_no_byte_may_change_and_no_line_go(tmp_path: Path) -> None:
    path = make(tmp_path / "a.job")
    data = path.read_bytes()
    last = Job.open(path).last_hash
    assert verify(path, expect_last=last).expected_at == 6
    assert last == hashlib.sha256(data[data[:-1].rfind(b"\n") + 1 :]).hexdigest()
    for place in range(len(data)):
        path.write_bytes(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])
        assert finds(path, expect_last=last)
    rows = data.splitlines(keepends=True)
    for count in range(1, 6):
        path.write_bytes(b"".join(rows[:count]))
        assert verify(path).ok
        assert finds(path, expect_last=last)


def test_a_job_written_anew_as_a_whole_is_shown_only_by_a_hash_kept_elsewhere(tmp_path: Path) -> None:
    last = Job.open(make(tmp_path / "a.job", 6)).last_hash
    forged = make(tmp_path / "b.job", 7)
    forged.replace(tmp_path / "a.job")
    shorter = make(tmp_path / "c.job", 6)
    assert verify(tmp_path / "a.job").ok
    assert verify(tmp_path / "a.job", expect_last=last).expected_at == 6
    assert "later lines were added" in verify(tmp_path / "a.job", expect_last=last).remarks[0]
    shorter.write_bytes(shorter.read_bytes().replace(b'"n 6"', b'"n 9"'))
    assert verify(shorter).ok
    assert "file was rewritten" in verify(shorter, expect_last=last).problems[0]


@pytest.mark.parametrize(
    ("deed", "broken", "intact", "why"),
    [
        (lambda r: r[:2] + r[3:], 3, 2, "numbered `4`"),
        (lambda r: [*r[:2], r[3], r[2], *r[4:]], 3, 2, "numbered `4`"),
        (lambda r: r[1:], 1, 0, "numbered `2`"),
        (lambda r: [*r[:3], r[2], *r[3:]], 4, 3, "numbered `3`"),
        (lambda r: [*r[:2], r[2].replace(b"n 3", b"n 8"), *r[3:]], 4, 2, "does not follow line 3"),
        (lambda r: [*r[:4], r[4][:-1], r[5]], 5, 4, "line end was changed or removed"),
        (lambda r: [x.replace(b"\n", b"\r\n") for x in r], 1, 0, "line end was changed"),
    ],
)
def test_what_happened_to_a_broken_chain_is_said(
    tmp_path: Path, deed: object, broken: int, intact: int, why: str
) -> None:
    assert callable(deed)
    path = make(tmp_path / "a.job")
    path.write_bytes(b"".join(deed(path.read_bytes().splitlines(keepends=True))))
    if broken == 1 and intact == 0 and "2" in why:
        with pytest.raises(JobError, match="is not a job"):
            verify(path)
        return
    report = verify(path)
    assert report.broken is not None
    assert (report.broken.line, report.intact) == (broken, intact)
    assert why in report.broken.why


def test_a_clock_that_went_back_is_reported_and_stops_nothing(tmp_path: Path) -> None:
    path = make(tmp_path / "a.job", 3)
    with Job.resume(path, writer="e", now=NOW, offset=0) as job:
        job.append("note", {"text": "x"}, taken=NOW - 3600, entered=NOW - 3600, offset=60, by="A")
    report = verify(path)
    assert report.ok and report.clock_went_back == (4,)
    assert "the clock went back before line 4" in report.remarks[0]


def test_a_kept_torn_line_that_is_lost_or_altered_is_reported(tmp_path: Path) -> None:
    path = make(tmp_path / "a.job", 3)
    path.write_bytes(path.read_bytes()[:-5])
    Job.resume(path, writer="e", now=NOW + 9, offset=0).close()
    kept = tmp_path / "a.job.torn-3"
    assert verify(path).kept == {kept.name: "present"}
    kept.write_bytes(b"x")
    assert verify(path).kept == {kept.name: "altered"} and not verify(path).ok
    kept.unlink()
    assert verify(path).kept == {kept.name: "absent"} and verify(path).ok


def test_packs_are_kept_beside_the_job_and_read_back(tmp_path: Path) -> None:
    files = {
        "pack.yaml": b"pack: leak\n",
        "checklists/search.yaml": b"checklist: search\n",
        "copy": b"pack: leak\n",
    }
    store = PackStore(tmp_path / "a.job")
    named = store.keep(files)
    assert named == store.keep(dict(reversed(files.items()))) == pack_digest(files)
    assert store.read(named) == files
    assert all(hashlib.sha256(f.read_bytes()).hexdigest() == f.name for f in store.folder.iterdir())
    assert len(list(store.folder.iterdir())) == 3
    path = make(tmp_path / "a.job", packs={"leak": {"version": "1", "digest": named}})
    assert Job.open(path).packs.read(named) == files
    assert verify(path).packs == {named: "present"}


def test_a_missing_or_altered_text_of_a_pack_is_found(tmp_path: Path) -> None:
    files = {"pack.yaml": b"pack: leak\n"}
    store = PackStore(tmp_path / "a.job")
    named = store.keep(files)
    path = make(tmp_path / "a.job", packs={"leak": {"version": "1", "digest": named}})
    text = store.folder / hashlib.sha256(files["pack.yaml"]).hexdigest()
    for altered in (text, store.folder / named):
        before = altered.read_bytes()
        altered.write_bytes(before + b" ")
        assert verify(path).packs == {named: "altered"} and not verify(path).ok
        for act in (lambda: store.read(named), lambda: store.keep(files)):
            with pytest.raises(JobError, match="altered after it was kept"):
                act()
        altered.write_bytes(before)
    text.unlink()
    assert verify(path).packs == {named: "absent"} and verify(path).ok
    store.keep(files)
    assert verify(path).packs == {named: "present"}


@pytest.mark.parametrize("name", ["../x", "/x", "a//b", "a\\b", "C:x", "", ".", "a/../b", "a\0"])
def test_a_pack_cannot_name_a_file_outside_itself(tmp_path: Path, name: str) -> None:
    store = PackStore(tmp_path / "a.job")
    with pytest.raises(JobError, match="does not name a file within a pack"):
        store.keep({name: b""})
    assert not store.folder.exists()
    store.folder.mkdir()
    text = store.keep({"good": b"x"})
    hostile = (store.folder / text).read_bytes().replace(b"good", name.encode().replace(b"\\", b"\\\\"))
    if b"\0" not in hostile:
        digest = hashlib.sha256(hostile).hexdigest()
        (store.folder / digest).write_bytes(hostile)
        with pytest.raises(JobError, match="does not name a file within a pack"):
            store.read(digest)
    with pytest.raises(JobError, match="is not a digest"):
        store.read("../a.job")
