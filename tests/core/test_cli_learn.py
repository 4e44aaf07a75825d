"""`learn`: what confirmed faults of closed jobs say, and a new job that goes by it."""

from __future__ import annotations

import json
import re
import sys
from datetime import UTC, datetime
from operator import mul
from pathlib import Path
from textwrap import dedent

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Session, Settings
from stillair.fault import StillairError
from stillair.pack import BELIEFS, gather, read_texts

sys.path.insert(0, str(Path(__file__).parent))
from test_search_job import ROOF

pytestmark = pytest.mark.usefixtures("own_cache")

NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
MANIFEST = """
pack: roof
version: 1.0.0
title: Find where the roof leaks
engine: ">=0.1,<1"
checklists: [roof.yaml]
"""
BANDS = "    bands: {age: {old: planned is yes, young: planned is no}}\n    places:\n"


class Company:
    """A folder of jobs, and the pack they go by."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.pack = folder / "roof"
        self.pack.mkdir()
        text = ROOF.replace("    places:\n", BANDS)
        (self.pack / "roof.yaml").write_text(
            "checklist: roof\ntitle: Roof\n" + dedent(text), encoding="utf-8"
        )
        (self.pack / "manifest.yaml").write_text(MANIFEST.lstrip(), encoding="utf-8")
        self.beliefs = folder / "learned.yaml"
        self.clock = FixedClock(NINE)
        self.jobs: list[str] = []

    def job(
        self,
        *faults: str,
        old: bool | None = None,
        ladder: bool = False,
        closed: bool = True,
        proved: bool = True,
    ) -> str:
        path = str(self.folder / f"{len(self.jobs)}.job")
        self.clock.at += 60
        with Session.start(path, packs=[str(self.pack)], by="A. Tech", clock=self.clock) as session:

            def see(fact: str, value: str, of: str | None = None) -> None:
                more = {} if of is None else {"of": of}
                session.write("observe", {"fact": fact, "value": value, "read": value, **more})

            see("hose", "runs")
            if old is not None:
                see("planned", "yes" if old else "no")
            if ladder:
                see("ladder", "yes")
            for place in faults:
                see("wet", "drip", place)
                if proved:
                    see("dye", "yes", place)
            if closed:
                session.write("close", {"checklist": None, "outcome": "told"})
        self.jobs.append(path)
        return path

    def run(self, *args: str, typed: str = "") -> Result:
        return CliRunner().invoke(main, list(args), input=typed, obj=Settings(clock=self.clock))

    def learn(self, *more: str) -> Result:
        result = self.run("learn", *self.jobs, "-o", str(self.beliefs), "--pack", str(self.pack), *more)
        assert result.exit_code == 0, result.output
        return result

    def learned(self, place: str, text: str | None = None) -> float:
        """The first belief of a place in the file."""
        found = re.search(rf"{place}: {{belief: ([0-9.]+)", text or self.beliefs.read_text(encoding="utf-8"))
        assert found is not None
        return float(found[1])


@pytest.fixture
def company(tmp_path: Path) -> Company:
    return Company(tmp_path)


def test_confirmed_leaks_move_the_beliefs_by_their_number(company: Company) -> None:
    for _ in range(6):
        company.job("valley")
    company.job("gutter", "skylight")
    said = company.learn().output
    assert "Learned from 7 jobs with 8 confirmed faults" in said
    # A prior of 20 faults with 0.1 at the valley, and 6 of 8 more: 8 of 28.
    assert company.learned("valley") == pytest.approx(8 / 28, abs=1e-6)
    assert company.learned("gutter") == pytest.approx(9 / 28, abs=1e-6)
    text = company.beliefs.read_text(encoding="utf-8")
    assert re.search(r"valley: \{belief: [0-9.]+, faults: 6, between:", text)
    assert "jobs: 7\nfaults: 8\n" in text


@pytest.mark.parametrize("strength", ["nan", "inf", "1e-320", "0.5", "1e9", "-20"])
def test_a_strength_that_is_no_number_of_faults_is_refused_and_nothing_is_written(
    company: Company, strength: str
) -> None:
    company.job("valley")
    refused = company.run(
        "learn",
        *company.jobs,
        "-o",
        str(company.beliefs),
        "--pack",
        str(company.pack),
        f"--strength={strength}",
    )
    assert refused.exit_code == 2
    assert "--strength is from 1 to 100000" in refused.output
    assert not company.beliefs.exists()


def test_the_strength_given_is_what_the_shipped_beliefs_are_worth(company: Company) -> None:
    """A prior of 4 faults with 0.1 at the valley, and 6 more: 6.4 of 10. Of 20: 8 of 26."""
    for _ in range(6):
        company.job("valley")
    company.learn("--strength", "4")
    assert company.learned("valley") == pytest.approx(0.64, abs=1e-6)
    assert "\nstrength: 4\n" in company.beliefs.read_text(encoding="utf-8")


def test_with_nothing_confirmed_the_shipped_beliefs_come_out_unchanged(company: Company) -> None:
    company.job()
    said = " ".join(company.learn().output.split())
    assert "nothing is confirmed" in said
    assert "unchanged" in said
    shipped = {"gutter": 0.4, "chimney": 0.2, "skylight": 0.3, "valley": 0.1}
    assert {place: company.learned(place) for place in shipped} == shipped


def test_nothing_but_beliefs_is_written_over(company: Company) -> None:
    """`-o` with the name of a job, as a shell's `*` would give it, would have ended the record."""
    victim = company.folder / company.job("chimney")
    before = victim.read_bytes()
    call = ["learn", company.jobs[0], "-o", str(victim), "--pack", str(company.pack)]
    told = CliRunner().invoke(main, call, obj=Settings(clock=company.clock))
    assert told.exit_code == 2 and "is there already and holds no beliefs" in told.stderr
    assert victim.read_bytes() == before
    for _ in range(2):
        company.learn()
    assert company.beliefs.read_text(encoding="utf-8").count("beliefs:") == 1


def test_what_is_not_confirmed_or_not_closed_is_left_out_and_named(company: Company) -> None:
    suspected = company.job("valley", proved=False)
    running = company.job("valley", closed=False)
    twice = company.job("valley")
    broken = company.job("valley")
    with open(broken, "r+b") as stream:
        data = stream.read()
        stream.seek(0)
        stream.write(data.replace(b'"drip"', b'"dbip"', 1))
    company.jobs.append(twice)
    said = "".join(company.learn().output.split())  # long paths are broken over lines
    for path, why in (
        (suspected, "nothing is confirmed, only suspected"),
        (running, "it is not closed"),
        (broken, "its chain is broken"),
        (twice, f"the same job as {twice}"),
    ):
        assert f"{path}: {why}".replace(" ", "") in said
    assert "Learnedfrom1jobs" in said


def test_a_kind_of_jobs_has_beliefs_of_its_own_where_there_are_enough(company: Company) -> None:
    for _ in range(20):
        company.job("chimney", old=True)
    for _ in range(19):
        company.job("gutter", old=False)
    said = company.learn().output
    assert "age old: beliefs of its own, from 20 jobs with 20 faults" in " ".join(said.split())
    text = company.beliefs.read_text(encoding="utf-8")
    assert "young" not in text
    # The others make a prior of 20 with 4 of 39 at the chimney, and 20 of 20 more.
    assert company.learned("chimney", text.split("old:")[1]) == pytest.approx(
        (20 * 4 / 39 + 20) / 40, abs=1e-6
    )
    assert company.learned("chimney") == pytest.approx(24 / 59, abs=1e-6)


def test_a_kind_that_every_job_is_of_says_what_all_say(company: Company) -> None:
    """Its own jobs are no prior for it: the 20 leaks would count twice."""
    for place in ("chimney", "valley"):
        for _ in range(10):
            company.job(place, old=True)
    company.learn()
    every, own = company.beliefs.read_text(encoding="utf-8").split("bands:")
    rows = re.compile(r"(\w+): \{belief: (\S+), faults: \d+, between: (.*)\}")
    assert len(rows.findall(every)) == 4
    assert rows.findall(own) == rows.findall(every)


def test_a_new_job_goes_by_the_file_and_keeps_it(company: Company) -> None:
    for _ in range(30):
        company.job("valley", old=True)
    for _ in range(10):
        company.job("gutter", old=False)
    company.learn()
    path = str(company.folder / "new.job")
    begun = company.run(
        "--by", "A. Tech", "guide", path, "--pack", str(company.pack), "--beliefs", str(company.beliefs)
    )
    assert begun.exit_code == 0, begun.output
    company.beliefs.unlink()
    with Session.load(path, clock=company.clock) as session:
        found = session.assess()
        # 2 of 20 and 30 of 40 more: 32 of 60; the band is not known yet.
        assert found.beliefs["valley"].first == pytest.approx(32 / 60, abs=1e-5)
        told = company.run("trail", path).output
        assert "learned from 40 closed jobs with 40 confirmed faults" in " ".join(told.split())
    with Session.load(path, write=True, by="A. Tech", clock=company.clock) as session:
        session.write("observe", {"fact": "planned", "value": "yes", "read": "yes"})
        # The others make a prior of 20 with 2 of 30 at the valley, and 30 of 30 more: just that.
        first = session.assess().beliefs["valley"].first
        assert first == pytest.approx((20 * 2 / 30 + 30) / 50, abs=1e-5)


def test_of_two_kinds_of_the_same_jobs_one_counts_and_is_told(company: Company) -> None:
    """20 jobs with 21 leaks are old, the same 20 and one more are wood: the larger kind counts, by itself."""
    checklist = company.pack / "roof.yaml"
    text = checklist.read_text(encoding="utf-8")
    young = "young: planned is no}"
    assert young in text
    kinds = "{wood: planned is yes or ladder is yes, stone: planned is no}"
    checklist.write_text(text.replace(young, f"{young}, build: {kinds}"), encoding="utf-8")
    company.job("chimney", "valley", old=True)
    for _ in range(19):
        company.job("chimney", old=True)
    company.job("skylight", ladder=True)
    for _ in range(15):
        company.job("gutter", old=False)
    company.learn()
    text = company.beliefs.read_text(encoding="utf-8")
    assert "    old:\n      jobs: 20\n      faults: 21\n" in text
    assert "    wood:\n      jobs: 21\n      faults: 22\n" in text
    path = str(company.folder / "new.job")
    company.run(
        "--by", "A. Tech", "guide", path, "--pack", str(company.pack), "--beliefs", str(company.beliefs)
    )
    with Session.load(path, write=True, by="A. Tech", clock=company.clock) as session:
        assert session.assess().band is None
        session.write("observe", {"fact": "planned", "value": "yes", "read": "yes"})
        found = session.assess()
    for place in ("gutter", "chimney", "skylight", "valley"):
        wood = company.learned(place, text.split("wood:")[1])
        assert found.beliefs[place].first == pytest.approx(wood, abs=1e-5)
    told = json.loads(company.run("trail", path, "--format", "json").output)["assessment"]["learned"]
    assert told["band"] == {"group": "build", "band": "wood", "jobs": 21, "faults": 22}
    assert told["packs"] == [{"pack": "roof", "jobs": 36, "faults": 37, "strength": 20}]
    trail = " ".join(company.run("trail", path).output.split())
    assert "build wood: from 21 of these jobs, with 22 of these faults" in trail


def test_a_leak_where_clues_pointed_moves_the_belief_less(company: Company) -> None:
    """The same six leaks at the valley, with a clue there each time, and then with none known."""
    checklist = company.pack / "roof.yaml"
    text = checklist.read_text(encoding="utf-8")
    tenfold = "limits:\n  tenfold: {is: 10, between: 1 .. 90, safer: neither, source: judgement}\n"
    clue = "clues: [{clue: kept, when: planned is yes, weighs: {valley: tenfold}, why: It is old.}]\nrules:\n"
    changed = text.replace("limits:\n", tenfold, 1).replace("rules:\n", clue, 1)
    checklist.write_text(changed, encoding="utf-8")
    found = []
    for old in (True, None):
        for _ in range(6):
            company.job("valley", old=old)
        company.learn()
        for job in company.jobs:
            Path(job).unlink()
        company.jobs.clear()
        found.append(company.learned("valley"))
    pointed, plain = found
    assert plain == pytest.approx(8 / 26, abs=1e-6)
    # Over a fine grid: weight^1 (1 - weight)^17 (10 weight / (1 + 9 weight))^6.
    weight = [(i + 0.5) / 100_000 for i in range(100_000)]
    density = [w * (1 - w) ** 17 * (w / (1 + 9 * w)) ** 6 for w in weight]
    exact = sum(map(mul, weight, density)) / sum(density)
    assert exact < 0.2
    assert pointed == pytest.approx(exact, abs=0.005)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("digest: ", "digest: 0", "these beliefs are of `roof`"),
        ("beliefs: roof", "beliefs: attic", "these beliefs are of `attic`"),
        ("  valley:", "  cellar:", "the pack has no place `cellar`"),
        ("strength:", "stops: []\nstrength:", "stops"),
        ("jobs: 1\n", "jobs: 1\nlimits: {usual: 1}\n", "limits"),
        ("belief: 0.4", "belief: 1.4", "between 0 and 1"),
    ],
)
def test_a_file_that_is_not_of_this_pack_or_sets_anything_else_is_refused(
    company: Company, old: str, new: str, says: str
) -> None:
    company.job("gutter")
    company.learn()
    text = company.beliefs.read_text(encoding="utf-8")
    assert old in text
    changed = {**gather(company.pack), BELIEFS: text.replace(old, new, 1)}
    with pytest.raises(StillairError, match=says):
        read_texts(changed, plugins={}, label="roof")
    read_texts({**changed, BELIEFS: text}, plugins={}, label="roof")


def test_beliefs_of_another_text_of_the_pack_are_refused(company: Company) -> None:
    company.job("gutter")
    company.learn()
    checklist = company.pack / "roof.yaml"
    checklist.write_text(checklist.read_text(encoding="utf-8").replace("Valley", "Valleys"), encoding="utf-8")
    refused = company.run(
        "--by", "A. Tech", "guide", str(company.folder / "x.job"), "--pack", str(company.pack),
        "--beliefs", str(company.beliefs),
    )  # fmt: skip
    assert refused.exit_code == 1
    assert "learn them again for this pack" in refused.output


def test_beliefs_change_no_gate_stop_or_question(company: Company) -> None:
    """What is compiled differs in beliefs and nothing else."""
    company.job("valley")
    company.learn()
    plain = read_texts(gather(company.pack), plugins={}, label="roof")
    text = company.beliefs.read_text(encoding="utf-8")
    learned = read_texts({**gather(company.pack), BELIEFS: text}, plugins={}, label="roof")
    (before,), (after,) = plain.checklists, learned.checklists
    assert before != after
    assert after._replace(places=before.places) == before
    assert [p._replace(belief=0) for p in after.places] == [p._replace(belief=0) for p in before.places]
