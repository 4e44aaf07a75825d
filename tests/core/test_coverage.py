"""What scenarios have seen of the conditions: each part to hold, to fail, open and to decide, each edge."""

from __future__ import annotations

import itertools
import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from stillair.assess import Program
from stillair.assess.uses import asked
from stillair.authoring.able import able, deciding
from stillair.authoring.coverage import Coverage, Seer, coverage, edges_of, share
from stillair.authoring.parts import Parts
from stillair.authoring.rehearse import play
from stillair.authoring.scenario import read_scenario
from stillair.condition import core
from stillair.possible import Region
from stillair.quantity import DIMENSIONS
from stillair.verdict import Verdict

from .conftest import rehearse

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
FULL = read_scenario(HERE / "tank" / "scenarios" / "a-full-tank.yaml")


def seen(program: Program, *does: dict[str, Any]) -> dict[str, Coverage]:
    """Coverage by use after entries a minute apart, each of them followed by an expectation."""
    seer = Seer(program)
    expect = {"may": {"smoke": "no"}}
    steps = [{"at": f"09:{n:02}", **each, "expect": expect} for n, each in enumerate(does)]
    play(program, {"starts": "2026-04-15 09:00 -04:00", "does": steps}, None, seer)
    return {str(use): each for each in coverage(program, seer.seen) for use in each.uses}


def note(**facts: str) -> dict[str, Any]:
    return {"note": {name.replace("_of_", " of "): value for name, value in facts.items()}}


def test_a_condition_is_seen_to_hold_to_fail_and_open(tank_program: Program) -> None:
    (fumes,) = seen(tank_program, {}, note(smell="no"))["stop fumes"].parts
    assert (fumes.holds, fumes.fails, fumes.open, fumes.decides) == (False, True, True, None)
    assert fumes.missing == ("to hold",)
    (fumes,) = seen(tank_program, {}, note(smell="no"), note(smell="yes"))["stop fumes"].parts
    assert fumes.missing == ()


def test_a_part_decides_where_the_whole_turns_with_it(tank_program: Program) -> None:
    gate = "gate of activity filling"
    locked = note(locked_of_inlet="yes", locked_of_outlet="yes")
    whole, smell, valves = seen(tank_program, note(smell="yes"), locked, {"listed": "valve"})[gate].parts
    assert (whole.text, whole.fails, whole.holds) == (
        "smell is no and every valve has (locked is yes)",
        True,
        False,
    )
    # The smell alone stands against it once the valves are locked; the valves never did alone.
    assert (smell.decides, valves.decides) == (True, False)
    after = seen(tank_program, note(smell="no"), locked, {"listed": "valve"}, note(locked_of_inlet="no"))
    assert [part.decides for part in after[gate].parts] == [None, True, True]


def test_an_edge_is_seen_within_one_step_on_either_side(tank_program: Program) -> None:
    gauge = {"instrument": {"serial": "G", "kind": "gauge", "offset": "0.1 psi", "repeat": "0 psi"}}

    def edges(*readings: str) -> tuple[bool, bool]:
        does = [gauge | note(bottom=value) | {"with": {"bottom": "G"}} for value in readings]
        (part,) = seen(tank_program, *does)["rule too-little"].parts
        (edge,) = part.edges
        assert (edge.bound, edge.step) == ("least", "1 psi")
        return edge.below, edge.above

    assert edges("19 psig") == (True, False)
    assert edges("18.8 psig", "21.2 psig") == (False, False)
    assert edges("20.2 psig", "19.8 psig") == (True, True)
    # One that is too close to call was seen on neither side.
    assert edges("20.05 psig") == (False, False)


def test_a_band_has_two_edges(tank_program: Program) -> None:
    (part,) = seen(tank_program, {})["rule full-weight"].parts
    assert [edge.bound for edge in part.edges] == ["-band", "+band"]
    assert len(part.missing) == 2 + 4


def test_what_can_never_be_open_is_not_asked_for(tank_program: Program) -> None:
    found = seen(tank_program, {})
    asked = {use: [part.open for part in each.parts] for use, each in found.items()}
    assert asked["stop fumes"] == [True]
    assert asked["counts when of fact look"] == [False, False, False]


def test_evidence_is_judged_as_of_when_it_was_seen(tank_program: Program) -> None:
    found = seen(tank_program, note(look_of_seam="dry"), note(lamp="good"))
    whole, lamp, rest = found["counts when of fact look"].parts
    # The lamp was looked at only afterwards, so that it was not known then.
    assert (lamp.holds, lamp.open, rest.fails) == (False, True, True)
    assert whole.fails


def pair(*names: str, kind: type[core.All] | type[core.Either] = core.All) -> Parts:
    """`a and b`, say; a name that begins with ! is the other way round."""
    domain = core.OptionDomain(("yes", "no"))
    found = tuple(
        core.Test(core.Ref(name.lstrip("!")), *((2, 1) if name[0] == "!" else (1, 2)), domain, name)
        for name in names
    )
    return Parts.of(kind(found, " ".join(names)))


def test_every_way_of_deciding_is_that_of_a_table() -> None:
    """Of two parts joined by `and`, and of two by `or`, all nine pairs of verdicts."""
    fails, holds, open_ = 0, 1, 2
    for a, b in itertools.product((fails, holds, open_), repeat=2):
        assert pair("a", "b").decides((a, b), 0) is (a != open_ and b == holds)
        assert pair("a", "b", kind=core.Either).decides((a, b), 0) is (a != open_ and b == fails)


def test_a_test_written_twice_is_one_test() -> None:
    """Written the other way round as well: neither place could ever decide without the other."""
    twice = pair("a", "!a", "b", kind=core.Either)
    assert [part.text for part in twice.parts] == ["a", "b"]
    assert twice.places == [(0, False), (0, True), (1, False)]
    assert not any(twice.decides((a, b), 1) for a, b in itertools.product((0, 1), repeat=2))
    assert pair("a", "a", "b").decides((1, 1), 0)


def test_the_time_since_something_is_never_seen_below_nothing(tank_program: Program) -> None:
    """What no reading can bring about is not asked of the scenarios."""
    tank_program = replace(tank_program, derived=dict(tank_program.derived))
    tank_program.derived["since lamp"] = core.SinceEvent(core.Ref("lamp"), "since lamp")
    for bound, edges in ((0.0, []), (60.0, [60.0])):
        region = Region.comparison(">=", bound)
        part = core.Within(core.Ref("since lamp"), region, DIMENSIONS["duration"], "t", (f"{bound:g} s",))
        below = part._replace(region=Region.comparison("<", 0))
        assert able(tank_program, part) == {Verdict.HOLDS, Verdict.OPEN} | (
            {Verdict.FAILS} if edges else set()
        )
        assert able(tank_program, below) == {Verdict.FAILS, Verdict.OPEN}
        assert [at for _, at in edges_of(tank_program, part)] == edges


def test_what_is_seen_is_what_can_be(tank_program: Program) -> None:
    """Whatever a scenario shows is among the verdicts that its condition can have, and so is what decides."""
    seer = Seer(tank_program)
    play(tank_program, FULL, None, seer)
    judged = 0
    for each in asked(tank_program):
        tests = Parts.of(each.condition)
        turning = deciding(tank_program, tests)
        for verdicts in seer.seen.verdicts.get(each.number, ()):
            for place, part in enumerate(tests.parts):
                assert verdicts[place] in able(tank_program, part), part.text
                assert turning[place] or not tests.decides(verdicts[:-1], place), part.text
                judged += 1
            assert verdicts[-1] in able(tank_program, each.condition), each.text
    assert judged > 20


def test_a_part_that_nothing_beside_it_lets_decide(tank_program: Program) -> None:
    """`since lamp >= 0` never fails, so beside it in an `or` nothing else decides, and none fails."""
    program = replace(tank_program, derived=dict(tank_program.derived))
    program.derived["since lamp"] = core.SinceEvent(core.Ref("lamp"), "since lamp")
    since = core.Within(core.Ref("since lamp"), Region.comparison(">=", 0), DIMENSIONS["duration"], "t")
    smell = core.Test(core.Ref("smell"), 1, 2, core.OptionDomain(("yes", "no")), "smell is yes")
    both = core.Either((since, smell), "t or smell is yes")
    assert able(program, both) == {Verdict.HOLDS, Verdict.OPEN}
    assert deciding(program, Parts.of(both)) == [True, False]
    joined = core.All((since, smell), "t and smell is yes")
    assert able(program, joined) == set(Verdict)
    assert deciding(program, Parts.of(joined)) == [True, True]


def test_the_share_counts_every_way(tank_program: Program) -> None:
    assert share([]) == 100
    nothing, some = seen(tank_program, {}), seen(tank_program, {}, note(smell="no"), note(smell="yes"))
    only = "stop fumes"
    assert share([nothing[only]]) == pytest.approx(100 / 3)
    assert share([some[only]]) == 100


# -- by the verb ---------------------------------------------------------------------------------------------


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    return Path(shutil.copytree(HERE / "tank", tmp_path / "tank"))


def test_what_was_not_seen_stands_under_the_text_of_the_pack(tank: Path) -> None:
    lines = rehearse(tank, "--coverage").output.splitlines()
    at = next(n for n, line in enumerate(lines) if line.endswith(": rule losing"))
    where, shown, carets, never = lines[at : at + 4]
    path, line, column, *_ = where.rsplit(":", 3)
    text = Path(path).read_text(encoding="utf-8").splitlines()[int(line) - 1]
    assert text[int(column) - 1 :].startswith("bottom - later > 3 psi")
    assert shown[carets.index("^") : carets.rindex("^") + 1] == "bottom - later > 3 psi"
    assert never == "  never seen to hold, to fail, within 1 psi below 3 psi, within 1 psi above 3 psi"
    assert lines[-2].startswith("gates, stops and safety facts: ")


def test_a_threshold_fails_the_verb(tank: Path) -> None:
    told = json.loads(rehearse(tank, "--coverage", "--format", "json").stdout)
    guards, other = told["guards_percent"], told["other_percent"]
    assert 0 < other < 100 and 0 < guards < 100
    for option, value in (("--at-least", other), ("--guards-at-least", guards)):
        assert rehearse(tank, "--coverage", option, value - 0.1).exit_code == 0
        assert rehearse(tank, "--coverage", option, value + 0.1).exit_code == 1


def test_the_parts_are_told_as_json(tank: Path) -> None:
    told = json.loads(rehearse(tank, "--coverage", "--format", "json").stdout)["conditions"]
    fumes = next(each for each in told if each["uses"] == ["stop fumes"])
    assert fumes["guards"] is True and fumes["file"].endswith("tank.yaml")
    (part,) = fumes["parts"]
    assert (part["holds"], part["fails"], part["open"], part["missing"]) == (True, True, False, ["open"])
