"""What no scenario can show, as its author explains it; conditions with a name are one part."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from stillair.assess import Program, compile_packs
from stillair.assess.uses import asked, named_in, uses
from stillair.authoring.coverage import Seen, coverage
from stillair.authoring.rehearse import play
from stillair.authoring.scenario import ScenarioError
from stillair.authoring.unshown import SEEN, Way, explained_in
from stillair.cli import main
from stillair.hooks import Plugins
from stillair.pack import read_pack

from .conftest import rehearse

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
TOOLS = HERE / "tank_tools"


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    return Path(shutil.copytree(HERE / "tank", tmp_path / "tank"))


def explain(tank: Path, entries: str) -> Path:
    path = tank / "scenarios" / "unshown.yaml"
    path.write_text(f"unshown:\n{entries}", encoding="utf-8")
    return path


OPEN = "  - {of: stop fumes, part: smell is yes, never seen: open, because: it is asked before all else}\n"


def covered(tank: Path) -> dict[str, Any]:
    found = json.loads(rehearse(tank, "--coverage", "--format", "json").stdout)
    assert isinstance(found, dict)
    return found


def test_what_is_explained_counts_apart_from_what_is_seen(tank: Path) -> None:
    before = covered(tank)
    assert before["guards_explained_percent"] == before["guards_percent"]
    explain(tank, OPEN)
    after = covered(tank)
    assert after["guards_percent"] == before["guards_percent"]
    assert after["guards_explained_percent"] > after["guards_percent"]
    fumes = next(each for each in after["conditions"] if each["uses"] == ["stop fumes"])
    assert fumes["parts"][0]["explained"] == {"open": "it is asked before all else"}
    told = rehearse(tank, "--coverage").output
    assert ": stop fumes" not in told
    assert re.search(r"% seen or explained", told)
    # A threshold is met by what is seen or explained.
    wanted = (after["guards_percent"] + after["guards_explained_percent"]) / 2
    assert rehearse(tank, "--coverage", "--guards-at-least", wanted).exit_code == 0


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        (OPEN.replace("open", "to hold"), "`smell is yes` of the stop fumes is shown after all: to hold"),
        (OPEN.replace("stop fumes", "stop fume"), "there is no condition `stop fume` (did you mean"),
        (OPEN.replace("smell is yes", "smell is no"), "there is no part `smell is no` of the stop fumes"),
        (OPEN.replace("seen: open", "seen: opened"), "there is no way `opened` of the stop fumes"),
        (OPEN.replace(", because: it is asked before all else", ""), "it says no `because`"),
        (OPEN.replace("never seen: open, ", ""), "it names `of`, `part`, and `never seen` or `not noticed`"),
        (OPEN.replace("because", "becuase"), "`becuase` is not known here (did you mean `because`"),
        (OPEN + OPEN, "is said twice"),
        ("  - fumes\n", "an entry has `of`, `part`"),
        (
            OPEN.replace("seen: open", "seen: []"),
            "`never seen` is a text, or a list of them, that is not empty",
        ),
        (OPEN.replace("stop fumes", "{a: b}"), "`of` is a text, or a list of them, that is not empty"),
    ],
)
def test_an_explanation_is_of_something_that_is_not_shown(tank: Path, entry: str, says: str) -> None:
    path = explain(tank, entry)
    found = rehearse(tank, "--coverage")
    assert found.exit_code == 2
    told = " ".join(found.output.split())
    assert says in told
    assert f"{path.name}:{entry.count(chr(10)) + 1}: entry" in told


@pytest.mark.parametrize("verb", ["rehearse", "lint", "seal"])
def test_explanations_that_cannot_be_read_are_told(tank: Path, verb: str) -> None:
    """As those of scenarios are, by whatever reads them."""
    path = tank / "scenarios" / "unshown.yaml"

    def told() -> str:
        args = ["--plugin-dir", str(TOOLS), verb, str(tank)]
        found = CliRunner().invoke(main, args)
        assert found.exit_code != 0
        assert not isinstance(found.exception, OSError | ValueError), found.exception
        return " ".join(found.output.split())

    path.write_bytes(b"unshown: \xff\n")
    assert "unshown.yaml: it is not UTF-8: byte 10" in told()
    path.write_text("unshown: [\n", encoding="utf-8")
    assert "unshown.yaml:2:1: a value is missing here" in told()
    explain(tank, OPEN + OPEN.replace("seen: open", "seen: []"))
    assert re.search(r"unshown.yaml:3:?\d*: entry 2: `never seen` is a text, or a list", told())
    explain(tank, OPEN + OPEN)
    assert re.search(r"unshown.yaml:3:?\d*: entry 2: .*is said twice", told())
    path.unlink()
    path.mkdir()
    assert "unshown.yaml: it is a folder and not a file" in told()


def test_a_slip_that_is_explained_is_no_survivor_to_settle(tank: Path) -> None:
    before = json.loads(rehearse(tank, "--mutate", "--mutants", 9999, "--format", "json").stdout)
    one = before["survivors"][0]
    entry = {"of": one["use"], "part": one["part"], "not noticed": one["instead"], "because": "it is a trial"}
    explain(tank, f"  - {json.dumps(entry)}\n")
    after = json.loads(rehearse(tank, "--mutate", "--mutants", 9999, "--format", "json").stdout)
    same = [s for s in after["survivors"] if (s["use"], s["part"], s["instead"]) == tuple(entry.values())[:3]]
    assert same and all(each["because"] == "it is a trial" for each in same)
    assert after["explained"] == len(same)
    assert after["percent"] == before["percent"]
    told = rehearse(tank, "--mutate", "--mutants", 9999).output
    assert one["question"] not in " ".join(told.split())


def test_the_example_of_the_guide_explains(tank: Path) -> None:
    guide = (HERE.parents[1] / "checklists" / "README.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```yaml\nunshown:\n(.*?)```", guide, re.DOTALL)
    explain(tank, example)
    assert ": stop fumes" not in rehearse(tank, "--coverage").output


def test_the_file_is_no_scenario(tank: Path) -> None:
    explain(tank, OPEN)
    assert rehearse(tank).exit_code == 0
    found = explained_in([tank])
    reason = found.why(SEEN, ["rule other", "stop fumes"], "smell is yes", "open")
    assert reason == "it is asked before all else"
    assert list(found.because) == [Way(SEEN, "stop fumes", "smell is yes", "open")]


# -- conditions with a name ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def leak_program() -> Program:
    plugins = Plugins.load()
    packs = [read_pack(folder, plugins=plugins.versions()) for folder in plugins.packs]
    return compile_packs(packs, plugins.calculators, plugins.catalogues)


def test_a_condition_with_a_name_is_one_part_and_is_seen_by_itself(leak_program: Program) -> None:
    """Of two rules that rest on one named condition, neither asks for its parts again."""
    stands: dict[str, int] = {}
    for use in uses(leak_program):
        for each in {str(found.name).removeprefix("not ") for found in named_in(use.cond.checked)}:
            stands[each] = stands.get(each, 0) + 1
    often = max(stands, key=lambda name: stands[name])
    assert stands[often] > 2
    own = [each for each in asked(leak_program) if each.number < 0 and each.uses[0].name == often]
    assert own and all(str(each.uses[0]) == f"condition {often}" for each in own)
    assert len({each.number for each in asked(leak_program)}) == len(asked(leak_program))
    found = coverage(leak_program, Seen())
    named = next(each for each in found if str(each.uses[0]) == f"condition {often}")
    assert len(named.parts) > 1
    for each in found:
        words = [part.text for part in each.parts]
        if often in words:
            # Where it stands, its own tests are not asked for.
            assert not {part.text for part in named.parts[1:]} & set(words)
            break
    else:
        raise AssertionError(f"{often} is nowhere a part")


def test_a_condition_with_a_name_can_be_expected(leak_program: Program) -> None:
    start = {"starts": "2026-04-15 09:00 -04:00"}
    fit = {"cylinder_rating": "yes", "cylinder_date": "yes", "cylinder_scale": "yes", "cylinder_room": "yes"}

    def misses(**facts: str) -> list[tuple[str, object, object]]:
        expect = {"conditions": {"condition cylinder_fit": "holds"}}
        does = [{"note": {**fit, **facts}, "expect": expect}]
        return [(m.where, m.expected, m.found) for m in play(leak_program, {**start, "does": does}).misses]

    assert misses() == []
    ((where, *told),) = misses(cylinder_room="no")
    assert where.endswith(", condition cylinder_fit") and told == ["holds", "fails"]
    wrong = {"conditions": {"condition cylinder_fits": "holds"}}
    with pytest.raises(ScenarioError, match=r"no condition .*did you mean `condition cylinder_fit`"):
        play(leak_program, {**start, "does": [{"note": fit, "expect": wrong}]})
