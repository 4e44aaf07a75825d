"""Old jobs assessed with other rules: what comes out otherwise, what stays open, what is broken."""

from __future__ import annotations

import csv
import json
import shutil
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stillair.assess import read_fact, read_value
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Session

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
TOOLS = HERE / "tank_tools"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=timezone(timedelta(hours=-4)))


def job(path: Path, pack: Path = HERE / "tank", **facts: str) -> None:
    clock = FixedClock(NINE.timestamp(), NINE.tzinfo)  # type: ignore[arg-type]
    with Session.start(path, [TOOLS], packs=[str(pack)], by="A. Tech", clock=clock) as session:
        for name, value in facts.items():
            clock.at += 30
            ref = read_fact(session.program, name, session.members(session.assess()))
            session.append(read_value(session.program, ref, value))


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Two jobs in a folder, and a newer tank in which less is already too little."""
    (tmp_path / "jobs").mkdir()
    job(tmp_path / "jobs" / "a.job", smell="no", bottom="14 psig")
    job(tmp_path / "jobs" / "b.job", smell="no", bottom="30 psig")
    tank = Path(shutil.copytree(HERE / "tank", tmp_path / "tank"))
    text = (tank / "tank.yaml").read_text(encoding="utf-8")
    text = text.replace("least: {is: 20 psig,", "least: {is: 10 psig,")
    text = text.replace(
        "rules:\n",
        "rules:\n  - {rule: dark, stop: [filling], when: hatch is shut, say: Dark, lifted by: Open it.}\n",
    ).replace("facts:\n", "facts:\n  hatch: {ask: Hatch?, options: {shut: Shut, open: Open}}\n")
    (tank / "tank.yaml").write_text(text, encoding="utf-8")
    return tmp_path


def replay(place: Path, *args: object, jobs: str = "jobs", pack: str = "tank") -> Result:
    call = ["replay", str(place / jobs), "--pack", str(place / pack), *map(str, args)]
    return CliRunner().invoke(main, ["--plugin-dir", str(TOOLS), *call])


def test_what_comes_out_otherwise(place: Path) -> None:
    told = json.loads(replay(place, "--format", "json").stdout)
    assert (told["replayed"], told["changed"]) == (2, 2)
    changes = {
        Path(each["job"]).name: [(c["kind"], c["name"], c["was"], c["now"]) for c in each["changes"]]
        for each in told["jobs"]
    }
    # What the new rules ask and the old jobs never told is open, and no yes.
    dark = ("stop", "dark", "not there", "open")
    assert changes == {
        "a.job": [("finding", "low", "confirmed", "none"), dark],
        "b.job": [dark],
    }


def test_an_answer_that_the_new_rules_do_not_know_says_nothing_there(place: Path) -> None:
    job(place / "jobs" / "a2.job", smell="no", lamp="weak")
    text = (place / "tank" / "tank.yaml").read_text(encoding="utf-8")
    (place / "tank" / "tank.yaml").write_text(text.replace("weak: It is weak", "dim: Dim"), encoding="utf-8")
    told = json.loads(replay(place, "--format", "json", jobs="jobs/a2.job").stdout)
    assert (told["replayed"], [c["name"] for c in told["jobs"][0]["changes"]]) == (1, ["dark"])


def test_with_the_same_rules_nothing_changes(place: Path) -> None:
    shutil.rmtree(place / "tank")
    shutil.copytree(HERE / "tank", place / "tank")
    result = replay(place)
    assert result.exit_code == 0
    assert "2 jobs, 0 come out otherwise" in result.output


def test_the_jobs_are_left_as_they_are(place: Path) -> None:
    before = {path: path.read_bytes() for path in (place / "jobs").rglob("*") if path.is_file()}
    replay(place)
    assert before == {path: path.read_bytes() for path in (place / "jobs").rglob("*") if path.is_file()}


def test_a_broken_chain_is_told_and_fails(place: Path) -> None:
    path = place / "jobs" / "a.job"
    path.write_bytes(path.read_bytes().replace(b'"read":"no"', b'"read":"No"'))
    result = replay(place)
    assert result.exit_code == 1
    assert "! " in result.output and "2 jobs, 1 come out otherwise, 1 not replayed" in result.output


def test_every_change_is_a_row(place: Path) -> None:
    assert replay(place, "--csv", place / "out.csv").exit_code == 0
    with (place / "out.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [(Path(r["job"]).name, r["name"], r["was"], r["now"]) for r in rows] == [
        ("a.job", "low", "confirmed", "none"),
        ("a.job", "dark", "not there", "open"),
        ("b.job", "dark", "not there", "open"),
    ]
    assert len({r["last_hash"] for r in rows}) == 2
    again = replay(place, "--csv", place / "out.csv")
    assert again.exit_code == 2 and "is there already" in again.stderr


def test_parquet_holds_what_csv_holds(place: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    assert replay(place, "--csv", place / "out.csv", "--parquet", place / "out.parquet").exit_code == 0
    with (place / "out.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    found = parquet.read_table(place / "out.parquet").to_pylist()
    assert [{k: "" if v is None else str(v) for k, v in row.items()} for row in found] == rows


def test_several_processes_keep_the_order(place: Path) -> None:
    for number in range(9):
        job(place / "jobs" / f"c{number}.job", smell="no", bottom=f"{8 + number} psig")
    told = json.loads(replay(place, "--processes", 2, "--format", "json").stdout)
    names = [Path(each["job"]).stem for each in told["jobs"]]
    assert names == ["a", "b", *(f"c{n}" for n in range(9))]
    low = [any(c["name"] == "low" and c["now"] != c["was"] for c in each["changes"]) for each in told["jobs"]]
    # From 10 psig on, give or take 2.2 psi, it is no longer too little, or too close to call.
    assert low == [True, False, *(n >= 0 for n in range(9))]


def test_a_job_of_another_pack_is_named_and_passed_over(place: Path) -> None:
    """It was not done by these rules: that they find otherwise there says nothing of them."""
    job(place / "jobs" / "c.job", HERE / "kettle", smell="no")
    result = replay(place, "--csv", place / "out.csv")
    said = " ".join(result.output.split())
    assert result.exit_code == 0
    assert "it goes by kettle, not by tank" in said and "2 jobs, 2 come out otherwise; 1 passed over" in said
    with (place / "out.csv").open(encoding="utf-8", newline="") as stream:
        (row,) = (r for r in csv.DictReader(stream) if r["job"].endswith("c.job"))
    assert (row["kind"], row["problem"]) == ("", "passed over: it goes by kettle, not by tank")
    told = json.loads(replay(place, "--format", "json").stdout)
    assert (told["replayed"], told["changed"]) == (2, 2)
    assert [each["passed_over"] for each in told["jobs"]] == [None, None, "it goes by kettle, not by tank"]
    alone = replay(place, jobs="jobs/c.job")
    assert alone.exit_code == 1 and "0 jobs, 0 come out otherwise; 1 passed over" in alone.output
