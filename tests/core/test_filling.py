"""Scenarios that follow another one, and those that are made for what no scenario shows."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from stillair.assess import Program
from stillair.authoring.rehearse import Rehearsal, play
from stillair.authoring.scenario import ScenarioError, read_scenario, unread
from stillair.strict_yaml import plain, read_yaml

from .conftest import rehearse

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    return Path(shutil.copytree(HERE / "tank", tmp_path / "tank"))


def following(folder: Path, does: str, name: str = "after.yaml") -> Path:
    path = folder / "scenarios" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(f"scenario: After\nfollows: a-full-tank\ndoes:\n{does}", encoding="utf-8")
    return path


def played(program: Program, path: Path) -> Rehearsal:
    return play(program, read_scenario(path))


# -- what follows another ------------------------------------------------------------------------------------


def test_each_entry_is_taken_back_before_the_next(tank: Path, tank_program: Program) -> None:
    """Both go on from the first entry of the other scenario, where nothing was smelt yet."""
    does = (
        '  - {after: 1, note: {smell: "yes"}, expect: {rules: {fumes: holds}}}\n'
        '  - {after: 1, note: {smell: "no"}, expect: {rules: {fumes: fails}}}\n'
        "  - {after: 0, expect: {rules: {fumes: open}}}\n"
    )
    found = played(tank_program, following(tank, does))
    assert (found.checked, found.misses) == (3, [])
    turned = does.replace("{fumes: fails}", "{fumes: holds}")
    (miss,) = played(tank_program, following(tank, turned)).misses
    assert (miss.where, miss.expected, miss.found) == ("entry 2, rule fumes", "holds", "fails")


def test_a_fact_that_is_another_is_told_in_its_unit(tank: Path, tank_program: Program) -> None:
    does = "  - {after: 0, note: {depth: 30 in}, expect: {facts: {depth: 31 in}}}\n"
    (miss,) = played(tank_program, following(tank, does)).misses
    assert (miss.expected, miss.found) == ("31 in", "30 in")


def test_the_other_scenario_is_found_in_the_folder_above(tank: Path, tank_program: Program) -> None:
    """Also where the file has the name of the one it follows."""
    path = following(tank, "  - {after: 0, expect: {rules: {fumes: open}}}\n", "made/a-full-tank.yaml")
    assert played(tank_program, path).misses == []


@pytest.mark.parametrize(
    ("does", "says"),
    [
        ("  - {expect: {next: lock}}\n", "entry 1: it says `after` how many entries of the other scenario"),
        ("  - {after: 99, expect: {next: lock}}\n", "entry 1: there are 8 entries and not 99 to come after"),
        ("  - {after: -1, expect: {next: lock}}\n", "entry 1: there are 8 entries and not -1 to come after"),
        ("  - {after: 1, note: {smel: x}}\n", "entry 1: there is no fact `smel`"),
        ("  - {after: 1, note: {smell: x}}\n  - {after: 1}\n", "entry 1: `x` is not an answer"),
        ("  - {after: 1}\n", "nothing is expected"),
    ],
)
def test_what_is_wrong_with_it_is_said(tank: Path, tank_program: Program, does: str, says: str) -> None:
    with pytest.raises(ScenarioError) as error:
        played(tank_program, following(tank, does))
    assert says in str(error.value)


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        ("after", "it follows itself"),
        ("round", "`round` itself follows another one; follow that one"),
        ("a-ful-tank", "there is no scenario `a-ful-tank` to follow (did you mean `a-full-tank`?)"),
        (
            "a-full-tank.yaml",
            "there is no scenario `a-full-tank.yaml` to follow (did you mean `a-full-tank`?)",
        ),
        ("../scenarios/a-full-tank", "there is no scenario `../scenarios/a-full-tank` to follow"),
        ("a-full-tank/", "there is no scenario `a-full-tank/` to follow"),
        ("manifest", "there is no scenario `manifest` to follow"),
    ],
)
def test_it_follows_one_that_is_there_and_not_round_in_a_circle(tank: Path, wanted: str, says: str) -> None:
    """Said the same when it is played and when it is checked."""
    path = following(tank, "  - {after: 0, expect: {rules: {fumes: open}}}\n")
    circle = path.with_name("round.yaml")
    circle.write_text(path.read_text("utf-8").replace("a-full-tank", "after"), encoding="utf-8")
    path.write_text(path.read_text("utf-8").replace("a-full-tank", wanted), encoding="utf-8")
    with pytest.raises(ScenarioError) as error:
        read_scenario(path)
    assert says in str(error.value)
    (fault,) = unread(path)
    assert says in fault.message and fault.line == 2


def test_it_follows_a_scenario_that_stands_by_itself(tank: Path) -> None:
    path = following(tank, "  - {after: 0, expect: {next: lock}}\n")
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("a-full-tank", "empty"), encoding="utf-8")
    with pytest.raises(ScenarioError, match="there is no scenario `empty` to follow"):
        read_scenario(path)
    other = path.with_name("other.yaml")
    following(tank, "  - {after: 0, expect: {next: lock}}\n")
    other.write_text(text.replace("a-full-tank", "after"), encoding="utf-8")
    with pytest.raises(ScenarioError, match="`after` itself follows another one"):
        read_scenario(other)


def test_the_verdict_of_any_condition_can_be_expected(tank: Path, tank_program: Program) -> None:
    does = (
        '  - after: 1\n    note: {smell: "no", locked of inlet: "no"}\n    expect:\n      conditions:\n'
        "        stop fumes: fails\n        gate of activity filling: fails\n"
        "        rule drip of seam: open\n"
        "        inside every valve has (locked is yes) of inlet: fails\n"
        "        counts when of fact look of seam: not judged\n"
    )
    found = played(tank_program, following(tank, does))
    assert (found.checked, [str(miss) for miss in found.misses]) == (5, [])
    with pytest.raises(ScenarioError, match="there is no condition `gate of fill`"):
        played(tank_program, following(tank, does.replace("gate of activity filling", "gate of fill")))


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ("event: valve_shutt", "there is no event `valve_shutt` (did you mean `valve_shut`?)"),
        ('skip: {no-such-step: "no time"}', "there is no step `no-such-step`"),
        ("listed: valves", "there is no list `valves` (did you mean `valve`?)"),
        ("member: {valves: [third]}", "there is no list `valves` (did you mean `valve`?)"),
        ("note: {bottom: 13 psig}\n    with: {botom: G1}", "there is no entry of this `note` `botom`"),
        ("note: {bottom: 13 psig}\n    of: inlet", "`of` says nothing here (it stands beside `event`)"),
        ("note: {bottom: 13 psig}\n    why: wrong", "`why` says nothing here (it stands beside `correct`)"),
        ('at: "2026-04-15 11:00 +09:00"', "is not a time like `09:02`"),
    ],
)
def test_a_slip_in_a_scenario_is_told(tank_program: Program, entry: str, says: str) -> None:
    """What was passed over would be an entry that its author believes was made."""
    text = f"starts: 2026-04-15 09:00 -04:00\ndoes:\n  - {entry}\n  - expect: {{next: first-look}}\n"
    scenario = plain(read_yaml(text, "slip.yaml"))
    assert isinstance(scenario, dict)
    with pytest.raises(ScenarioError) as error:
        play(tank_program, scenario)
    assert says in str(error.value)


# -- what is made --------------------------------------------------------------------------------------------


def share(folder: Path, *options: str) -> dict[str, Any]:
    found = json.loads(rehearse(folder, *options, "--format", "json").stdout)
    assert isinstance(found, dict)
    return found


def test_what_no_scenario_shows_is_made_and_is_made_the_same_again(tank: Path) -> None:
    """One scenario by hand shows little; what is made beside it shows most, and notices most slips."""
    slips = ("--mutate", "--mutants", "999")
    before, noticed = share(tank, "--coverage"), share(tank, *slips)["percent"]
    assert before["guards_percent"] < 80 and noticed < 40
    assert "ways and slips are shown" in rehearse(tank, "--fill").output
    made = tank / "scenarios" / "generated" / "a-full-tank.yaml"
    told = rehearse(tank)
    assert told.exit_code == 0, told.output
    assert "2 scenarios (1 by hand, 1 generated)" in told.output
    after = share(tank, "--coverage")
    assert after["guards_percent"] == 100 and after["other_percent"] > before["other_percent"] + 20
    assert share(tank, *slips)["percent"] > 75
    # What was made leads to more, until nothing more is found; then nothing changes any more.
    texts = []
    for _ in range(4):
        rehearse(tank, "--fill")
        texts.append(made.read_text(encoding="utf-8"))
    assert texts[-1] == texts[-2]
    assert share(tank, "--coverage")["other_percent"] >= after["other_percent"]


def test_what_follows_by_hand_is_looked_at_as_well(tank: Path) -> None:
    """An entry that somebody wrote shows a way that then need not be looked for."""
    following(tank, '  - {after: 0, note: {smell: "yes"}, expect: {rules: {fumes: holds}}}\n')
    assert rehearse(tank, "--fill", "--tries", 0).exit_code == 0
    (made,) = (tank / "scenarios" / "generated").glob("*.yaml")
    text = made.read_text(encoding="utf-8")
    assert made.name == "a-full-tank.yaml" and "stop fumes: holds" in text and "after: 0" in text
    assert rehearse(tank).exit_code == 0
    assert rehearse(tank, "--fill", "--tries", 0).exit_code == 0
    assert made.read_text(encoding="utf-8") == text


def test_what_is_not_shown_is_counted_and_what_is_explained_is_not_wanted(tank: Path) -> None:
    """What the scenario by hand does not notice, and is explained, is not written for."""
    slips = ("--mutate", "--mutants", "999")
    before = share(tank, *slips)["survivors"]
    told = " ".join(rehearse(tank, "--fill").output.split())
    counted = re.search(
        r"(\d+) ways and (\d+) slips are not shown: --coverage tells .* (\d+) of (\d+) ways", told
    )
    assert counted is not None
    ways, left, shown, goals = map(int, counted.groups())
    assert left == len(share(tank, *slips)["survivors"]) and goals == shown + ways + left
    rest = {(s["use"], s["part"], s["instead"]) for s in share(tank, *slips)["survivors"]}
    made = next(s for s in before if (s["use"], s["part"], s["instead"]) not in rest)
    shutil.rmtree(tank / "scenarios" / "generated")
    entry = {"of": made["use"], "part": made["part"], "not noticed": made["instead"], "because": "a trial"}
    (tank / "scenarios" / "unshown.yaml").write_text(f"unshown: [{json.dumps(entry)}]\n", encoding="utf-8")
    told = " ".join(rehearse(tank, "--fill").output.split())
    assert f" of {goals - 1} ways and slips are shown" in told


def test_every_way_to_see_something_can_be_explained_and_is_then_not_wanted(tank: Path) -> None:
    """Whatever `--coverage` names: it and `--fill` have the same words for it."""
    counted = re.compile(r" of (\d+) ways and slips are shown")
    (before,) = counted.findall(" ".join(rehearse(tank, "--fill").output.split()))
    shutil.rmtree(tank / "scenarios" / "generated")
    missing = [
        {"of": each["uses"][0], "part": part["text"], "never seen": part["missing"], "because": "a trial"}
        for each in share(tank, "--coverage")["conditions"]
        for part in each["parts"]
        if part["missing"]
    ]
    ways = {(entry["of"], entry["part"], way) for entry in missing for way in entry["never seen"]}
    assert {way for *_, way in ways} > {"to hold", "to fail", "open", "to decide"}
    assert any(way.startswith("within ") for *_, way in ways)
    text = f"unshown: {json.dumps(missing)}\n"
    (tank / "scenarios" / "unshown.yaml").write_text(text, encoding="utf-8")
    (after,) = counted.findall(" ".join(rehearse(tank, "--fill").output.split()))
    assert int(after) == int(before) - len(ways)


def test_numbers_have_as_few_digits_as_still_show_what_they_are_for(tank: Path) -> None:
    rehearse(tank, "--fill")
    made = (tank / "scenarios" / "generated" / "a-full-tank.yaml").read_text(encoding="utf-8")
    numbers = re.findall(r": -?([\d.]+) (?:psig|in)\b", made)
    assert len(numbers) > 5
    assert all(len(number.replace(".", "")) <= 3 for number in numbers), numbers


def test_what_is_read_about_an_observation_is_brought_to_its_edge(tank: Path) -> None:
    """A number that only stands beside the observation that it makes count."""
    text = (tank / "tank.yaml").read_text(encoding="utf-8")
    asked = "is: lamp is good and rest is ready"
    assert text.count(asked) == 1
    read = "is: last depth before look within 10 min >= 5 ft"
    (tank / "tank.yaml").write_text(text.replace(asked, read), encoding="utf-8")
    look = tank / "scenarios" / "looked.yaml"
    look.write_text(
        "scenario: Looked\nstarts: 2026-04-15 09:00 -04:00\nby: A. Tech\ndoes:\n"
        "  - note: {depth: 20 ft}\n  - {at: '09:02', note: {look of seam: dry}}\n"
        "  - expect: {rules: {drip of seam: fails}}\n",
        encoding="utf-8",
    )
    assert rehearse(tank, "--fill").exit_code == 0
    conditions = share(tank, "--coverage")["conditions"]
    (counts,) = (each for each in conditions if "counts when of fact look" in each["uses"])
    (part,) = counts["parts"]
    assert [(edge["above"], edge["below"]) for edge in part["edges"]] == [(True, True)]


def test_what_was_made_notices_a_slip(tank: Path) -> None:
    """A limit moved by a step, a gate turned round, `or` for `and`."""
    rehearse(tank, "--fill")
    text = (tank / "tank.yaml").read_text(encoding="utf-8")
    for old, new in (
        ("when: bottom < least", "when: bottom <= 21 psig"),
        ("gate: lamp is good", "gate: lamp is weak"),
        ("smell is no and every valve has", "smell is no or every valve has"),
    ):
        assert text.count(old) == 1
        (tank / "tank.yaml").write_text(text.replace(old, new), encoding="utf-8")
        told = rehearse(tank)
        assert told.exit_code == 1 and "FAILED tank/a-full-tank: What else follows" in told.output
    (tank / "tank.yaml").write_text(text, encoding="utf-8")
    assert rehearse(tank).exit_code == 0


def test_the_entries_made_are_plain_yaml(tank: Path) -> None:
    """No anchors: it is read as strictly as what people write."""
    rehearse(tank, "--fill")
    made = tank / "scenarios" / "generated" / "a-full-tank.yaml"
    found = plain(read_yaml(made.read_text(encoding="utf-8"), made.name))
    assert isinstance(found, dict)
    assert (found["made"], found["follows"]) == ("generated", "a-full-tank")
    assert all(entry["expect"] for entry in found["does"])


def test_filling_and_json_do_not_go_together(tank: Path) -> None:
    told = rehearse(tank, "--fill", "--format", "json")
    assert told.exit_code == 2 and "--fill writes files" in told.output + told.stderr
    told = rehearse(tank, "--fill", "--mutate")
    assert told.exit_code == 2 and "one at a time" in told.output + told.stderr
    assert not (tank / "scenarios" / "generated").exists()


def test_what_is_made_is_the_same_with_one_process_and_with_several(tank: Path, tmp_path: Path) -> None:
    other = Path(shutil.copytree(tank, tmp_path / "other" / "tank"))
    rehearse(tank, "--fill", "--processes", "1", "--tries", "40")
    rehearse(other, "--fill", "--processes", "3", "--tries", "40")
    one, several = (p / "scenarios" / "generated" / "a-full-tank.yaml" for p in (tank, other))
    assert one.read_bytes() == several.read_bytes()


def test_after_a_change_that_is_meant_it_is_made_anew(tank: Path) -> None:
    """What was made and now fails does not stand in the way; what somebody wrote about it stays."""
    rehearse(tank, "--fill")
    made = tank / "scenarios" / "generated" / "a-full-tank.yaml"
    made.write_text(
        made.read_text(encoding="utf-8").replace("made: gen", "about: Looked at.\nmade: gen"),
        encoding="utf-8",
    )
    text = (tank / "tank.yaml").read_text(encoding="utf-8")
    (tank / "tank.yaml").write_text(text.replace("bottom < least", "bottom < 25 psig"), encoding="utf-8")
    assert rehearse(tank).exit_code == 1 and rehearse(tank, "--written").exit_code == 0
    assert rehearse(tank, "--fill").exit_code == 0
    told = rehearse(tank)
    assert told.exit_code == 0, told.output
    assert "about: Looked at." in made.read_text(encoding="utf-8")


def test_guards_and_the_rest_are_told_apart_of_slips_too(tank: Path) -> None:
    found = share(tank, "--mutate", "--mutants", "999")
    assert found["guards_percent"] != found["other_percent"]
    enough = min(100.0, max(found["guards_percent"], found["other_percent"]) + 1)
    for option in ("--at-least", "--guards-at-least"):
        assert rehearse(tank, "--mutate", "--mutants", "999", option, enough).exit_code == 1
    assert rehearse(tank, "--mutate", "--mutants", "999").exit_code == 0


def test_a_pack_without_scenarios_is_named(tank: Path, tmp_path: Path) -> None:
    bare = Path(shutil.copytree(tank, tmp_path / "bare"))
    shutil.rmtree(bare / "scenarios")
    told = rehearse(tank, bare)
    assert told.exit_code == 1 and "there are no scenarios in bare to play" in told.output + told.stderr


def test_the_example_of_the_guide(tank: Path, tank_program: Program) -> None:
    guide = (Path(__file__).parents[2] / "checklists" / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```yaml\n(.*?)```", guide, re.DOTALL)
    (example,) = (block for block in blocks if "\nfollows: " in block)
    path = tank / "scenarios" / "more.yaml"
    path.write_text(example, encoding="utf-8")
    found = played(tank_program, path)
    assert (found.checked, [str(miss) for miss in found.misses]) == (2, [])


def test_a_fault_of_the_pack_is_said_of_each_of_its_scenarios(tank: Path) -> None:
    """Also of the second one, which is played after the pack could not be made."""
    (tank / "scenarios" / "second.yaml").write_bytes((tank / "scenarios" / "a-full-tank.yaml").read_bytes())
    text = (tank / "tank.yaml").read_text(encoding="utf-8")
    (tank / "tank.yaml").write_text(text.replace("bottom < least", "botom < least"), encoding="utf-8")
    told = rehearse(tank)
    assert told.exit_code == 1 and told.output.count("`botom` is not defined") == 1, told.output
    assert told.output.count("FAILED tank/") == 2 and "the same faults" in told.output


def test_a_scenario_that_is_not_utf_8_is_named(tank: Path) -> None:
    (tank / "scenarios" / "cold.yaml").write_bytes("scenario: 5 °C\n".encode("latin-1"))
    told = rehearse(tank)
    assert told.exit_code == 1 and "cold.yaml: it is not UTF-8: byte 13" in " ".join(told.output.split())


def test_a_threshold_of_nothing_is_refused(tank: Path) -> None:
    told = rehearse(tank, "--at-least", "50")
    assert told.exit_code == 2 and "is of what --coverage or --mutate say" in told.output + told.stderr
    assert "too little: 99 % is wanted" in rehearse(tank, "--coverage", "--at-least", "99").output
