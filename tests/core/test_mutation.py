"""Slips in the conditions: which are made, which change nothing, and which the scenarios notice."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from stillair.assess import Program, compile_packs
from stillair.assess.uses import asked
from stillair.authoring.mutants import Mutant, apart, mutants
from stillair.authoring.mutation import (
    Reorder,
    Watcher,
    all_mutants,
    in_place,
    misses_order,
    notices,
    order_survivor,
    reorders,
    survivor,
)
from stillair.authoring.rehearse import play
from stillair.cli import main
from stillair.pack import read_texts
from stillair.strict_yaml import plain, read_yaml
from stillair.trail import passages

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
TOOLS = HERE / "tank_tools"
START = "2026-04-15 09:00 -04:00"


def vat(*rules: str, more: str = "") -> Program:
    """A vat with these conditions, each that of a rule `r0`, `r1`, …"""
    text = (
        "checklist: vat\ntitle: Vat\nfacts:\n"
        "  lid: {ask: Lid?, options: {shut: Shut, open: Open, off: Off}}\n"
        "  bottom: {ask: Gauge, quantity: gauge pressure, unit: psig, between: 0 psig .. 100 psig}\n"
        "  top: {ask: Gauge, quantity: gauge pressure, unit: psig, between: 0 psig .. 100 psig, "
        "nature: series}\n"
        "limits:\n  most: {is: 50 psig, between: 20 psig .. 80 psig, safer: lower, source: common practice}\n"
        "rules:\n"
    )
    text += "".join(
        f"  - {{rule: r{n}, finding: f{n}, when: {when!r}, say: S{n}, source: s}}\n"
        for n, when in enumerate(rules)
    )
    manifest = "pack: vat\nversion: 1.0.0\ntitle: V\nengine: '>=0.1,<1'\nchecklists: [vat.yaml]\n"
    pack = read_texts({"manifest.yaml": manifest, "vat.yaml": text + more}, plugins={}, label="vat")
    return compile_packs([pack], {}, {})


def of(program: Program, rule: str = "r0") -> dict[tuple[str, str], Mutant]:
    return {(m.part, m.instead): m for m in of_rule(program, rule)}


def of_rule(program: Program, rule: str) -> list[Mutant]:
    each = next(each for each in asked(program) if f"rule {rule}" in map(str, each.uses))
    return list(mutants(program, each))


def scenario(*does: dict[str, Any]) -> dict[str, Any]:
    return {"starts": START, "does": list(does)}


def test_the_slips_of_a_condition() -> None:
    program = vat("bottom < most and lid is not open")
    assert list(of(program)) == [
        ("bottom < most", "the other way round"),
        ("bottom < most", "1 psi more at its edge"),
        ("bottom < most", "1 psi less at its edge"),
        ("bottom < most", "50 kPag for 50 psig"),
        ("lid is not open", "the other way round"),
        ("bottom < most", "left out"),
        ("lid is not open", "left out"),
        ("bottom < most and lid is not open", "`or` for `and`"),
    ]


@pytest.mark.parametrize(
    ("when", "part", "instead"),
    [
        ("lid is open and lid is not shut", "lid is not shut", "left out"),
        ("bottom > 60 psig and bottom > most", "bottom > most", "left out"),
        ("bottom > 60 psig and bottom > most", "bottom > most", "1 psi more at its edge"),
        ("bottom >= 0 psig or lid is open", "bottom >= 0 psig", "1 psi less at its edge"),
        ("count of top >= 0 or lid is open", "count of top >= 0", "1 less at its edge"),
        ("lid is open or (lid is open and bottom > most)", "lid is open and bottom > most", "left out"),
    ],
)
def test_what_no_facts_can_tell_apart_is_equivalent(when: str, part: str, instead: str) -> None:
    assert apart(vat(when), of(vat(when))[part, instead]) is False


def test_what_differs_has_facts_that_show_it() -> None:
    """Every mutant that is not equivalent is told apart by the facts given, played as a scenario."""
    program = vat("(bottom < most or lid is off) and lid is not open")
    found = 0
    for mutant in of_rule(program, "r0"):
        case = apart(program, mutant)
        if not isinstance(case, dict):
            continue
        found += 1
        left = survivor(program, mutant)
        assert left is not None and not any(line.startswith("#") for line in left.settles)
        does = plain(read_yaml("\n".join(left.settles), "settles"))
        told = scenario(*does)
        assert play(program, told).misses == [], left
        assert notices(program, mutant, [told], None), left
    assert found >= 9


def test_a_fact_of_which_nothing_counts_is_not_known() -> None:
    """`count of top >= 1` guards what follows: without an entry the rest is open, whatever it says."""
    program = vat("count of top >= 1 and top > most")
    case = apart(program, of(program)["count of top >= 1", "left out"])
    assert isinstance(case, dict)
    assert next(value for ref, value in case.items() if ref.name != "top") == 0


def test_the_program_is_as_it_was_afterwards() -> None:
    program = vat("bottom < most and lid is not open", "lid is open")
    told = scenario({"note": {"bottom": "40 psig", "lid": "shut"}}, {"expect": {"rules": {"r0": "holds"}}})
    mutant = of(program)["bottom < most", "the other way round"]
    for _ in range(2):
        assert play(program, told).misses == []
        with in_place(program, mutant):
            assert [miss.found for miss in play(program, told).misses] == ["fails"]
    assert play(program, told).misses == []


def test_a_scenario_on_both_sides_of_the_edge_notices_a_step() -> None:
    program = vat("bottom < most")
    far = [scenario({"note": {"bottom": "10 psig"}}, {"expect": {"findings": {"f0": "confirmed"}}})]
    near = [
        scenario({"note": {"bottom": "49.5 psig"}}, {"expect": {"findings": {"f0": "confirmed"}}}),
        scenario({"note": {"bottom": "50.5 psig"}}, {"expect": {"findings": {"f0": "none"}}}),
    ]
    more, less = (of(program)["bottom < most", f"1 psi {word} at its edge"] for word in ("more", "less"))
    assert [notices(program, m, far, None) for m in (more, less)] == [False, False]
    assert [notices(program, m, near, None) for m in (more, less)] == [True, True]


def test_where_a_mutant_never_differs_no_scenario_is_played() -> None:
    program = vat("bottom < most")
    made = all_mutants(program)
    watcher = Watcher(program, made)
    play(
        program,
        scenario({"note": {"bottom": "5 psig"}}, {"expect": {"findings": {"f0": "confirmed"}}}),
        None,
        watcher,
    )
    differ = {made[number].instead for number in watcher.differ}
    assert differ == {"the other way round"}


def test_a_slip_in_a_condition_with_a_name_is_made_wherever_it_stands() -> None:
    """Once for the condition, and in both rules; where it stands it is one part."""
    more = "conditions:\n  low: bottom < most and lid is not open\n"
    program = vat("low", "not low and lid is off", more=more)
    (low,) = [each for each in asked(program) if each.named == "low"]
    slips = {(m.part, m.instead): m for m in mutants(program, low)}
    assert ("bottom < most", "1 psi more at its edge") in slips
    assert list(of(program)) == [("low", "the other way round")]
    parts = ["not low", "lid is off", "not low", "lid is off", "not low and lid is off"]
    assert [part for part, _ in of(program, "r1")] == parts
    just = {"note": {"bottom": "50.5 psig", "lid": "shut"}}
    verdicts = {"r0": "fails", "r1": "fails"}
    told = scenario(just, {"expect": {"rules": verdicts, "conditions": {"condition low": "fails"}}})
    assert play(program, told).misses == []
    with in_place(program, slips["bottom < most", "1 psi more at its edge"]):
        missed = {miss.where.split(", ")[1]: miss.found for miss in play(program, told).misses}
    assert missed == {"rule r0": "holds", "condition low": "holds"}
    off = scenario({"note": {"bottom": "60 psig", "lid": "off"}}, {"expect": {"rules": {"r1": "holds"}}})
    assert play(program, off).misses == []
    with in_place(program, slips["bottom < most", "the other way round"]):
        assert [miss.found for miss in play(program, off).misses] == ["fails"]
    assert play(program, off).misses == [] and play(program, told).misses == []


# -- by the verb ---------------------------------------------------------------------------------------------


def rehearse(*args: object) -> Result:
    return CliRunner().invoke(main, ["--plugin-dir", str(TOOLS), "rehearse", *map(str, args)])


def test_a_survivor_is_a_question_with_the_scenario_that_settles_it(tmp_path: Path) -> None:
    tank = Path(shutil.copytree(HERE / "tank", tmp_path / "tank"))
    told = json.loads(rehearse(tank, "--mutate", "--format", "json").stdout)
    assert (
        told["looked_at"] == told["mutants"] == told["noticed"] + told["equivalent"] + len(told["survivors"])
    )
    left = next(
        s
        for s in told["survivors"]
        if s["use"] == "rule too-little" and s["instead"].startswith("1 psi less")
    )
    assert left["question"] == (
        "would it matter to the rule too-little if `bottom < least` were 1 psi less at its edge?"
    )
    nothing = "offset: 0 psi, repeat: 0 psi, resolution: 0 psi, of reading: 0 %"
    assert left["settles"] == [
        f"- instrument: {{serial: exact gauge, kind: gauge, {nothing}}}",
        "- note: {bottom: 19 psig}",
        "  with: {bottom: exact gauge}",
        "- expect: {rules: {too-little: holds}}",
    ]
    text = "\n".join(f"  {line}" for line in left["settles"])
    (tank / "scenarios" / "settles.yaml").write_text(
        f"scenario: S\npack: tank\nstarts: {START}\ndoes:\n{text}\n", encoding="utf-8"
    )
    after = json.loads(rehearse(tank, "--mutate", "--format", "json").stdout)
    assert after["percent"] > told["percent"]
    assert left["question"] not in [each["question"] for each in after["survivors"]]


def test_what_settles_a_slip_names_the_member_it_is_judged_for(tank_program: Program) -> None:
    """Of a list that has no members from the start, one is entered first."""
    found = 0
    for program in (tank_program, hatched()):
        for mutant in all_mutants(program):
            use = mutant.asked.uses[0]
            left = survivor(program, mutant) if use.kind == "rule" and use.per else None
            if left is None or not left.settles or any(line.startswith("#") for line in left.settles):
                continue
            found += 1
            does = plain(read_yaml("\n".join(left.settles), "settles"))
            told = scenario(*does)
            misses = play(program, told).misses
            if program is not tank_program:  # there a look counts only with light and after a rest
                assert misses == [] and notices(program, mutant, [told], None), left
    assert found >= 4


def hatched() -> Program:
    """A vat with hatches that are named on the spot, each judged by itself."""
    text = (
        "checklist: vat\ntitle: Vat\nlists:\n  hatch: {title: Hatches, ask: Which?, open: true}\nfacts:\n"
        "  current: {ask: Current?, quantity: current, unit: A, between: 0 A .. 20 A, per: hatch}\n"
        "rules:\n  - {rule: worn, per: hatch, finding: worn, when: current > 8 A, say: Worn, source: s}\n"
    )
    manifest = "pack: vat\nversion: 1.0.0\ntitle: V\nengine: '>=0.1,<1'\nchecklists: [vat.yaml]\n"
    pack = read_texts({"manifest.yaml": manifest, "vat.yaml": text}, plugins={}, label="vat")
    return compile_packs([pack], {}, {})


def test_a_threshold_and_a_sample() -> None:
    tank = HERE / "tank"
    assert rehearse(tank, "--mutate", "--at-least", 100).exit_code == 1
    assert rehearse(tank, "--mutate", "--at-least", 1).exit_code == 0
    assert json.loads(rehearse(tank, "--mutate", "--mutants", 5, "--format", "json").stdout)["looked_at"] <= 5


def test_what_is_expected_of_the_trail_alone_may_be_passed_over() -> None:
    program = vat("bottom < most")
    told = scenario({"note": {"bottom": "10 psig"}}, {"expect": {"trail says": ["S0"]}})
    assert play(program, told).checked == 0
    mutant = of(program)["bottom < most", "the other way round"]
    assert not notices(program, mutant, [told], None)
    assert notices(program, mutant, [told], passages)


def test_two_steps_the_other_way_round_are_noticed_where_the_next_is_expected() -> None:
    steps = "steps:\n  - {step: a, title: A, ask: [lid]}\n  - {step: b, title: B, ask: [bottom]}\n"
    steps += "  - {step: c, title: C, do: C, when: lid is open}\n"
    steps += "  - {step: d, title: D, do: D, when: lid is shut}\n"
    program = vat("bottom < most", more=steps)
    first, middle, last = reorders(program)
    assert (first, last) == (Reorder("a", "b"), Reorder("c", "d"))
    told = scenario({"note": {"top": "3 psig"}}, {"expect": {"next": "a"}})
    assert misses_order(program, first, [told])
    assert list(program.steps) == ["a", "b", "c", "d"]
    other = scenario({"note": {"top": "3 psig"}}, {"expect": {"rules": {"r0": "open"}}})
    assert not misses_order(program, first, [other])
    left = order_survivor(program, middle)
    assert left is not None and left.question == "would it matter if `b` came after `c`?"
    # They are never both to be done.
    assert order_survivor(program, last) is None
