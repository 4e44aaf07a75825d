"""What may stand in a job, and that it comes back as it was given."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stillair.job import KINDS, Job, JobError, Line, verify
from stillair.job.line import read_time, write_time

NOW = 1717250602.0
SHA = "0" * 63 + "f"
VERSIONS = {"leak": {"version": "1.2", "digest": SHA}}


@pytest.fixture
def job(tmp_path: Path) -> Iterator[Job]:
    with Job.create(
        tmp_path / "visit.job",
        engine="stillair 0.1.0",
        title="Upper floor",
        packs=VERSIONS,
        plugins={},
        by="A. Tech",
        now=NOW,
        offset=-240,
    ) as made:
        yield made


def add(job: Job, kind: str, body: Mapping[str, object], later: float = 1.0, **more: Any) -> Line:
    at = NOW + later
    given: dict[str, object] = {"taken": at, "entered": at, "offset": -240, "by": "A. Tech"} | more
    return job.append(kind, body, **given)  # type: ignore[arg-type]


BODIES: dict[str, dict[str, object]] = {
    "open": {"checklist": "leak-search"},
    "close": {"checklist": None, "outcome": "tight"},
    "observe": {"fact": "look", "of": "coil", "value": 1.5e6, "read": "217 psig", "unit": "psig"},
    "unavailable": {"fact": "nameplate", "reason": "cannot be read", "why": "painted over"},
    "event": {"event": "circuit_opened"},
    "member": {"list": "joints", "member": "j1", "label": "elbow at the drier"},
    "listed": {"list": "joints"},
    "correct": {"line": 2, "why": "wrong gauge", "body": {"text": "better"}},
    "instrument": {
        "serial": "A17", "kind": "gauge", "offset": 3450.0, "repeat": 0, "resolution": None,
        "checked": "2024-05-01",
    },
    "done": {"step": "let-it-pool"},
    "skip": {"step": "let-it-pool", "why": "no cabinet"},
    "handover": {"to": "B. Tech"},
    "note": {"text": "heading\n# not a heading \u2028 \U0001f527 é"},
    "emergency": {},
    "move": {"packs": VERSIONS, "plugins": VERSIONS, "why": "newer limits"},
}  # fmt: skip


def test_every_kind_a_person_enters_comes_back_as_given(job: Job) -> None:
    add(job, "note", {"text": "first"})
    written = [add(job, kind, body, later=2.25) for kind, body in BODIES.items()]
    assert set(BODIES) | {"job", "repaired"} == set(KINDS)
    read = Job.open(job.path)
    assert list(read.lines[2:]) == written
    assert [line.body for line in written] == list(BODIES.values())
    assert {(line.taken, line.offset, line.by, line.writer) for line in written} == {
        (NOW + 2.25, -240, "A. Tech", "stillair 0.1.0")
    }


def test_the_file_is_readable_json_lines_with_local_times(job: Job) -> None:
    add(job, "note", {"text": "naïve"}, later=0.5)
    rows = job.path.read_text(encoding="utf-8").splitlines()
    assert json.loads(rows[1])["entered"] == "2024-06-01T10:03:22.500-04:00"
    assert json.loads(rows[0])["taken"] == "2024-06-01T10:03:22-04:00"
    assert "naïve" in rows[1]


@pytest.mark.parametrize(
    ("kind", "body", "message"),
    [
        ("obzerve", {}, "`obzerve` is not a kind of line"),
        ("job", {}, "written by the job itself"),
        ("repaired", {}, "written by the job itself"),
        ("note", {}, "`text` is missing"),
        ("note", {"text": " "}, "`text` of a line of kind `note`"),
        ("note", {"text": "\ud800"}, "cannot be written"),
        ("note", {"text": "x", "txet": "y"}, "has no field `txet`"),
        ("note", {"text": {"personal": {"sha256": SHA}}}, "`text` of a line of kind `note`"),
        ("observe", {"fact": "f", "value": float("nan"), "read": "x"}, "`value`"),
        ("observe", {"fact": "f", "value": float("inf"), "read": "x"}, "`value`"),
        ("observe", {"fact": "f", "value": 10**20, "read": "x"}, "`value`"),
        ("observe", {"fact": "f", "value": None, "read": "x"}, "`value`"),
        ("observe", {"fact": "f", "value": True}, "`read` is missing"),
        ("emergency", {1: 2}, "has no field `1`"),
        ("instrument", BODIES["instrument"] | {"repeat": -1.0}, "`repeat`"),
        ("instrument", BODIES["instrument"] | {"checked": "1 May"}, "`checked`"),
        ("move", {"packs": {"a": {"version": "1", "digest": "abc"}}, "plugins": {}}, "`packs`"),
        ("correct", {"line": 3, "why": "x"}, "line 3 does not exist"),
        ("correct", {"line": 0, "why": "x"}, "`line`"),
        ("correct", {"line": True, "why": "x"}, "`line`"),
        ("correct", {"line": 1, "why": "x"}, "of kind `job`, which is never corrected"),
        ("correct", {"line": 2, "body": {"text": "x"}}, "a correction says why"),
        ("correct", {"line": 2, "why": "x", "body": {"txet": "x"}}, "has no field `txet`"),
        ("correct", {"line": 2, "undo": True, "body": {"text": "x"}}, "an undo gives no new content"),
    ],
)
def test_what_does_not_belong_in_a_line_is_refused_and_nothing_is_written(
    job: Job, kind: str, body: dict[str, object], message: str
) -> None:
    add(job, "note", {"text": "first"})
    before = job.path.read_bytes()
    with pytest.raises(JobError) as caught:
        add(job, kind, body)
    assert message in caught.value.message
    assert job.path.read_bytes() == before
    assert add(job, "note", {"text": "the job goes on"}).n == 3


def test_a_refusal_proposes_the_nearest_name(job: Job) -> None:
    with pytest.raises(JobError) as kind:
        add(job, "obzerve", {})
    assert kind.value.help == "did you mean `observe`?"
    with pytest.raises(JobError) as field:
        add(job, "note", {"text": "x", "txet": "y"})
    assert (field.value.help, field.value.line) == ("did you mean `text`?", 2)


def test_undo_needs_no_reason_for_a_minute_and_then_does(job: Job) -> None:
    add(job, "note", {"text": "slip"}, later=10)
    assert add(job, "correct", {"line": 2, "undo": True}, later=70).body == {"line": 2, "undo": True}
    with pytest.raises(JobError, match="more than a minute ago"):
        add(job, "correct", {"line": 2, "undo": True}, later=70.001)
    assert add(job, "correct", {"line": 2, "undo": True, "why": "wrong job"}, later=500).n == 4


def test_a_correction_may_be_withdrawn_but_not_given_another_body(job: Job) -> None:
    add(job, "note", {"text": "first"})
    add(job, "correct", {"line": 2, "why": "typing", "body": {"text": "second"}})
    with pytest.raises(JobError) as caught:
        add(job, "correct", {"line": 3, "why": "again", "body": {"line": 2, "why": "x"}})
    assert caught.value.help == "correct line 2 again"
    assert add(job, "correct", {"line": 3, "why": "first was right", "body": None}).n == 4


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"taken": NOW + 5, "entered": NOW + 4}, "after it was entered"),
        ({"taken": float("nan")}, "cannot be written"),
        ({"entered": 1e300}, "cannot be written"),
        ({"entered": 1e15}, "cannot be written"),
        ({"offset": 1440}, "an offset lies within a day"),
        ({"by": ""}, "`by` does not hold a name"),
    ],
)
def test_impossible_times_and_names_are_refused(job: Job, more: dict[str, Any], message: str) -> None:
    with pytest.raises(JobError, match=message):
        add(job, "note", {"text": "x"}, **more)
    assert len(Job.open(job.path).lines) == 1


@given(
    st.floats(min_value=-6.2e10, max_value=2.5e11),
    st.integers(min_value=-1439, max_value=1439),
)
def test_a_moment_survives_to_the_millisecond(time: float, offset: int) -> None:
    text = write_time(time, offset)
    back, zone = read_time(text)
    assert (round(time * 1000) / 1000, offset) == (back, zone)
    assert write_time(back, zone) == text


words = st.text(st.characters(codec="utf-8"), min_size=1).filter(lambda text: not text.isspace())
values = (
    words
    | st.booleans()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.integers(min_value=-(2**53), max_value=2**53)
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(
        st.tuples(words, values, words, st.none() | words, st.sets(st.sampled_from(["value", "read", "by"]))),
        max_size=8,
    )
)
def test_any_observations_come_back_equal_and_verify(
    tmp_path_factory: pytest.TempPathFactory, entries: list[tuple[str, object, str, str | None, set[str]]]
) -> None:
    path = tmp_path_factory.mktemp("jobs") / "visit.job"
    with Job.create(path, engine="e", title="t", packs={}, plugins={}, by=None, now=NOW, offset=0) as job:
        for fact, value, read, by, personal in entries:
            line = add(
                job,
                "observe",
                {"fact": fact, "value": value, "read": read},
                by=by,
                personal=frozenset(personal - ({"by"} if by is None else set())),
            )
            assert (line.body["value"], type(line.body["value"])) == (value, type(value))
            assert (line.body["read"], line.by) == (read, by)
        written = job.lines
    assert Job.open(path).lines == written
    assert verify(path).ok
