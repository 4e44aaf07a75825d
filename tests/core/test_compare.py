"""Two versions of a pack compared by what follows from them."""

from __future__ import annotations

import json
import random
import re
import shutil
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from click.testing import CliRunner
from stillair.assess import Program, assess, compile_packs, read_fact, read_value
from stillair.authoring.compare import Outcome, compared
from stillair.authoring.rehearse import play
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Session
from stillair.hooks import Plugins
from stillair.pack import Pack, read_pack, read_texts

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
TOOLS = HERE / "tank_tools"


VAT = """
checklist: vat
title: Vat
lists: {side: {title: Sides, members: {north: North, south: South}}}
facts:
  lid: {ask: Lid?, options: {shut: Shut, open: Open, off: Off}}
  bottom: {ask: Gauge, quantity: gauge pressure, unit: psig, between: 0 psig .. 100 psig}
  air: {ask: Is the air clean?, kind: yes-no, safety: true, void after: [turned]}
  worn: {ask: Worn?, kind: yes-no}
  seen: {ask: Seen?, kind: yes-no, good for: 30 min, counts when: {is: lid is open, because: b}}
events: {shaken: {say: Shaken}, turned: {say: Turned}}
limits:
  most: {is: 50 psig, between: 20 psig .. 80 psig, safer: lower, source: common practice}
  pause: {is: 10 min, between: 5 min .. 60 min, safer: longer, source: common practice}
activities:
  filling: {title: Filling, gate: bottom < most and rest is ready}
  other: {title: Other}
waits:
  rest: {title: Rest, for: pause, since: [shaken], restarted by: [turned], witness: Was it turned?}
steps:
  - {step: look, title: Look, ask: [lid, bottom, seen], marks: [shaken]}
  - {step: fill, title: Fill, activity: filling, do: Fill.}
  - {step: turn, title: Turn, gate: lid is shut, do: Turn.}
  - {step: smoke, title: Smoke, never: It burns}
powered:
  - {state: stir, title: Stir, frees: [north], of: side, gate: lid is shut,
     steps: [turn], at most: 60 s, proof: [air is yes, seen]}
rules:
  - {rule: high, stop: [filling], when: bottom > most or lid is off, say: High, lifted by: L}
  - {rule: low, finding: low, when: bottom < 10 psig and lid is shut, say: Low, source: s}
"""


def vat(*changes: tuple[str, str]) -> Program:
    text = VAT
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return compile_packs([of_vat(text)], {}, {})


def of_vat(text: str) -> Pack:
    manifest = "pack: vat\nversion: 1.0.0\ntitle: V\nengine: '>=0.1,<1'\nchecklists: [vat.yaml]\n"
    return read_texts({"manifest.yaml": manifest, "vat.yaml": text}, plugins={}, label="vat")


def changed(*changes: tuple[str, str]) -> dict[str, Outcome]:
    """What does not come out the same."""
    return {f"{o.kind} {o.name}": o for o in compared(vat(), vat(*changes)) if o.outcome != "same"}


def test_the_same_in_other_words_is_the_same() -> None:
    assert (
        changed(("bottom < 10 psig and lid is shut", "not (bottom >= 10 psig or lid is open or lid is off)"))
        == {}
    )


def test_a_limit_has_its_outcome_wherever_it_stands() -> None:
    found = changed(("most: {is: 50 psig", "most: {is: 60 psig"))
    assert {name: (o.outcome, o.edits) for name, o in found.items()} == {
        "stop high": ("looser", ("limit most: 50 psig → 60 psig",)),
        "gate of activity filling": ("looser", ("limit most: 50 psig → 60 psig",)),
    }
    assert found["stop high"].witness == "with bottom at 55 psig" and found["stop high"].guards


CHANGES = [
    ("bottom > most or lid is off", "bottom > most", "stop high", "looser"),
    ("bottom > most or lid is off", "bottom > most or lid is not shut", "stop high", "stricter"),
    ("bottom < 10 psig and lid is shut", "bottom < 10 psig", "rule low", "looser"),
    ("bottom < 10 psig and lid is shut", "bottom < 10 psig and lid is open", "rule low", "different"),
    ("bottom < 10 psig and lid is shut", "bottom < 8 psig and lid is shut", "rule low", "stricter"),
    ("{is: lid is open,", "{is: lid is not off,", "counts when of fact seen", "looser"),
    ("pause: {is: 10 min", "pause: {is: 20 min", "wait rest", "stricter"),
    ("good for: 30 min", "good for: 1 h", "good for of fact seen", "looser"),
    ("rule: low,", "rule: lower,", "rule low", "gone"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "name", "outcome"), CHANGES)
def test_each_change_has_its_outcome(old: str, new: str, name: str, outcome: str) -> None:
    assert changed((old, new))[name].outcome == outcome


@pytest.mark.parametrize("name", ["lid", "bottom", "air", "worn", "seen", "rest", "low"])
def test_what_is_renamed_is_one_gone_and_one_new(name: str) -> None:
    """Whatever rests on it."""
    program = compile_packs([of_vat(re.sub(rf"\b{name}\b", "renamed", VAT))], {}, {})
    kind = {"rest": "wait", "low": "rule"}.get(name, "fact")
    for old, new, was, now in ((vat(), program, name, "renamed"), (program, vat(), "renamed", name)):
        found = {(o.kind, o.name): o.outcome for o in compared(old, new)}
        assert found[kind, was] == "gone" and found[kind, now] == "new"


def test_packs_that_have_nothing_in_common_are_compared() -> None:
    tools = Plugins.load([TOOLS])
    for name in ("tank", "kettle"):
        pack = read_pack(HERE / name, plugins=tools.versions())
        other = compile_packs([pack], tools.calculators, tools.catalogues)
        for old, new in ((vat(), other), (other, vat())):
            found = {(o.kind, o.name): o.outcome for o in compared(old, new)}
            assert {found["fact", fact] for fact in old.facts.keys() - new.facts.keys()} == {"gone"}
            assert {found["fact", fact] for fact in new.facts.keys() - old.facts.keys()} == {"new"}


def test_another_number_against_the_same_limit_is_not_the_same() -> None:
    """A gate that asks another gauge, or the same one less a constant."""
    other = ("  worn:", "  top: {ask: T, quantity: gauge pressure, between: 0 psig .. 100 psig}\n  worn:")
    for said in ("top < most", "bottom - 5 psi < most"):
        gate = ("gate: bottom < most", f"gate: {said}")
        assert changed(gate, other)["gate of activity filling"].outcome == "different"
    moved = [vat(("bottom < 10 psig", f"bottom - {apart} psi < 10 psig")) for apart in (2, 4)]
    found = {o.name: (o.outcome, o.witness) for o in compared(*moved) if o.kind == "rule"}
    assert found["low"][0] == "looser" and found["low"][1] is not None


BESIDE = [
    ("stop: [filling]", "stop: [other]", "stopped by high", "different", "filling → other"),
    ("stop: [filling]", "stop: [filling, other]", "stopped by high", "stricter", "filling → filling, other"),
    ("activity: filling, do", "do", "activity of step fill", "looser", "filling → nothing"),
    ("activity: filling, do", "activity: other, do", "activity of step fill", "different", "filling → other"),
    ("since: [shaken]", "since: [turned]", "since of wait rest", "different", "shaken → turned"),
    ("since: [shaken]", "since: [shaken, turned]", "since of wait rest", "stricter",
     "shaken → shaken, turned"),
    ("restarted by: [turned]", "restarted by: []", "restarted by of wait rest", "looser",
     "turned → nothing"),
    ("Was it turned?", "Has it lain still?", "question of fact rest_witness", "different",
     "worded otherwise: Was it turned? → Has it lain still?"),
    (", marks: [shaken]", "", "marks of step look", "different", "shaken → nothing"),
    ("[lid, bottom, seen]", "[lid, bottom]", "asked by step look", "looser",
     "bottom, lid, seen → bottom, lid"),
    ("[lid, bottom, seen]", "[lid, bottom, seen, air]", "asked by step look", "stricter",
     "bottom, lid, seen → air, bottom, lid, seen"),
    ("  - {step: fill, title: Fill, activity: filling, do: Fill.}\n", "", "step fill", "gone",
     "left out: Fill"),
    ("finding: low", "finding: little", "finding of rule low", "different", "low → little"),
    ("source: s}", "grade: suspected, source: s}", "grade of rule low", "different", "confirmed → suspected"),
    (", safety: true", "", "safety of fact air", "looser", "safety → nothing"),
    ("{ask: Lid?,", "{ask: Lid?, safety: true,", "safety of fact lid", "stricter", "nothing → safety"),
    ("ask: Lid?", "ask: Lid off?", "question of fact lid", "different", "worded otherwise: Lid? → Lid off?"),
    ("shut: Shut, open: Open", "shut: Open, open: Shut", "answer of fact lid: shut", "different",
     "worded otherwise: Shut → Open"),
    ("void after: [turned]", "void after: []", "void after of fact air", "looser", "turned → nothing"),
    ("good for: 30 min", "good for: 20 min", "good for of fact seen", "stricter", "30 min → 20 min"),
    (", gate: lid is shut, do", ", do", "gate of step turn", "looser", "left out: lid is shut"),
    ("title: Fill, activity", "title: Fill, gate: lid is shut, activity", "gate of step fill", "stricter",
     "added: lid is shut"),
    ("never: It burns", "do: Go on", "never of step smoke", "looser", "It burns → nothing"),
    ("proof: [air is yes, seen]", "proof: [seen]", "proof of powered state stir", "looser",
     "air is yes, seen is yes → seen is yes"),
    ("frees: [north]", "frees: [north, south]", "freed by powered state stir", "looser",
     "north → north, south"),
    ("at most: 60 s", "at most: 90 s", "time of powered state stir", "looser", "60 s → 90 s"),
    ("steps: [turn]", "steps: [turn, look]", "powered state of step look", "different", "nothing → stir"),
    ("  - {rule: high, stop: [filling], when: bottom > most or lid is off, say: High, lifted by: L}\n", "",
     "stop high", "looser", "left out: bottom > most or lid is off"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "name", "outcome", "edit"), BESIDE)
def test_what_stands_beside_the_conditions_has_its_outcome(
    old: str, new: str, name: str, outcome: str, edit: str
) -> None:
    told = changed((old, new))[name]
    assert (told.outcome, told.edits) == (outcome, (edit,))


def test_a_question_a_guard_rests_on_is_marked_as_such() -> None:
    """The gate of filling rests on the lid by way of no other fact; nothing that guards rests on `seen`."""
    assert changed(("ask: Lid?", "ask: Lid off?"))["question of fact lid"].guards
    assert not changed(("ask: Worn?", "ask: Worn out?"))["question of fact worn"].guards


def test_where_a_text_stands_and_how_it_is_broken_is_no_difference() -> None:
    assert (
        changed(
            ("\nsteps:\n", "\n\nsteps:\n"), ("do: Fill.", "do: 'Fill.'"), ("[lid, bottom", "[bottom, lid")
        )
        == {}
    )


def test_other_options_are_not_told() -> None:
    found = changed(("{shut: Shut, open: Open, off: Off}", "{open: Open, shut: Shut, off: Off}"))
    assert {o.outcome for o in found.values()} == {"not told"}
    assert {o.witness for o in found.values()} == {"an answer or a range is another one"}


def test_what_is_not_told_says_what_is_known_of_each_part() -> None:
    """Two edits to one gate: one has a witness, of the other nothing is shown."""
    found = changed(("most: {is: 50 psig", "most: {is: 60 psig"), ("since: [shaken]", "since: [turned]"))
    told = found["gate of activity filling"]
    assert (told.outcome, len(told.edits)) == ("not told", 1)
    assert told.witness is not None
    assert "`bottom < most`: with bottom at 55 psig it holds, and did not" in told.witness
    assert "`rest is ready`: the wait `rest` begins or lasts otherwise" in told.witness
    assert told.witness.count("the wait `rest`") == 1


def test_a_gate_written_otherwise_over_a_wait_that_is_another_says_both() -> None:
    found = changed(
        ("bottom < most and rest is ready", "bottom < most or rest is ready"),
        ("pause: {is: 10 min", "pause: {is: 6 min"),
    )
    told = found["gate of activity filling"]
    wait = "the wait `rest` begins or lasts otherwise"
    assert told.outcome == "not told"
    assert told.witness == f"`bottom < most and rest is ready`: it is written otherwise; {wait}"


@pytest.mark.parametrize("seed", range(30))
def test_outcomes_agree_with_every_fact_tried(seed: int) -> None:
    """Random conditions: stricter, looser, the same and different are what playing all facts shows."""
    draw = random.Random(seed)

    def condition() -> str:
        at = draw.choice([8, 10, 12, 50])
        tests = [
            f"bottom {draw.choice(['<', '>', '<=', '>='])} {at} psig",
            f"lid is {draw.choice(['', 'not '])}{draw.choice(['shut', 'open', 'off'])}",
        ]
        draw.shuffle(tests)
        return f" {draw.choice(['and', 'or'])} ".join(tests[: draw.choice([1, 2])])

    before, after = (vat(("bottom < 10 psig and lid is shut", condition())) for _ in range(2))
    told = next(o for o in compared(before, after) if (o.kind, o.name) == ("rule", "low"))
    gained = lost = False
    for lid in ("shut", "open", "off"):
        for bottom in (0, 7, 8, 9, 10, 11, 12, 13, 49, 50, 51, 100):
            scenario = {
                "starts": "2026-04-15 09:00 -04:00",
                "does": [
                    {"note": {"lid": lid, "bottom": f"{bottom} psig"}},
                    {"expect": {"may": {"fill": "no"}}},
                ],
            }
            was, now = (
                assess(program, lines, lines[-1].taken).finding("low").grade == "confirmed"
                for program in (before, after)
                for lines in (play(program, scenario).lines,)
            )
            gained |= now and not was
            lost |= was and not now
    expected = {(False, False): "same", (True, False): "looser", (False, True): "stricter"}
    assert told.outcome == expected.get((gained, lost), "different"), told


def test_the_verb_counts_recorded_jobs(tmp_path: Path) -> None:
    newer = Path(shutil.copytree(HERE / "tank", tmp_path / "newer"))
    text = (newer / "tank.yaml").read_text(encoding="utf-8")
    (newer / "tank.yaml").write_text(
        text.replace("least: {is: 20 psig,", "least: {is: 10 psig,"), encoding="utf-8"
    )
    (tmp_path / "jobs").mkdir()
    zone = timezone(timedelta(hours=-4))
    for number, bottom in enumerate(("5 psig", "14 psig", "16 psig", "40 psig")):
        clock = FixedClock(datetime(2026, 4, 15, 9, 0, tzinfo=zone).timestamp(), zone)
        path = tmp_path / "jobs" / f"{number}.job"
        with Session.start(path, [TOOLS], packs=[str(HERE / "tank")], by="A. Tech", clock=clock) as session:
            clock.at += 60
            session.append(read_value(session.program, read_fact(session.program, "bottom"), bottom))
    clock = FixedClock(datetime(2026, 4, 15, 9, 0, tzinfo=zone).timestamp(), zone)
    kettle, path = str(HERE / "kettle"), tmp_path / "jobs" / "kettle.job"
    Session.start(path, [TOOLS], packs=[kettle], by="A. Tech", clock=clock).close()
    call = ["--plugin-dir", str(TOOLS), "compare", str(HERE / "tank"), str(newer), "--jobs"]
    result = CliRunner().invoke(main, [*call, str(tmp_path / "jobs")])
    assert result.exit_code == 0, result.output
    said = " ".join(result.output.split())
    assert "rule too-little: stricter" in said
    assert "edit: limit least: 20 psig → 10 psig" in said
    assert "2 of 4 recorded jobs" in said
    assert "it goes by kettle, not by tank" in said
    told = json.loads(CliRunner().invoke(main, [*call, str(tmp_path / "jobs"), "--format", "json"]).stdout)
    assert {o["name"]: o["jobs"] for o in told["outcomes"] if o["outcome"] != "same"} == {"too-little": 2}
    (tmp_path / "jobs" / "1.job").write_bytes(b"{}\n")
    broken = CliRunner().invoke(main, [*call, str(tmp_path / "jobs")])
    assert broken.exit_code == 1
    said = " ".join(broken.output.split())
    assert "1 of 3 recorded jobs" in said and "! " in said
    told = json.loads(CliRunner().invoke(main, [*call, str(tmp_path / "jobs"), "--format", "json"]).stdout)
    assert told["jobs"] == 3
    assert [Path(each["job"]).name for each in told["broken"]] == ["1.job"]
    assert [Path(each["job"]).name for each in told["passed_over"]] == ["kettle.job"]


def test_what_no_job_judges_has_no_number_of_jobs(tmp_path: Path) -> None:
    """A stop that stops less falls in with no recorded entry: `0 of 4` would say that it matters nowhere."""
    newer = Path(shutil.copytree(HERE / "tank", tmp_path / "newer"))
    text = (newer / "tank.yaml").read_text(encoding="utf-8")
    text = text.replace("stop: [filling]", "stop: [topping]")
    text = text.replace("activities:\n", "activities:\n  topping: {title: Topping up, gate: never}\n")
    (newer / "tank.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "jobs").mkdir()
    call = ["--plugin-dir", str(TOOLS), "compare", str(HERE / "tank"), str(newer)]
    told = CliRunner().invoke(main, [*call, "--jobs", str(tmp_path / "jobs"), "--format", "json"])
    outcomes = {f"{o['kind']} {o['name']}": o for o in json.loads(told.stdout)["outcomes"]}
    assert outcomes["stopped by fumes"]["outcome"] == "different"
    assert outcomes["stopped by fumes"]["jobs"] is None and outcomes["stop fumes"]["jobs"] == 0
