"""What `lint` finds: seeded packs with the whole of what is said, and each check where it must keep still."""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from stillair.authoring.lint import PROFILES
from stillair.authoring.lint.report import _FROM
from stillair.cli import lint as verb
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings
from stillair.fault import CODES
from stillair.hooks import Plugins
from stillair.pack import read_pack
from stillair.seal import SEAL

HERE = Path(__file__).parent
BROKEN = HERE / "broken"
SEEDED = sorted(path.name for path in BROKEN.iterdir())
TODAY = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
MANIFEST = (
    'pack: example\nversion: 1.0.0\ntitle: An example\nengine: ">=0.1,<1"\nchecklists: [example.yaml]\n'
)
HEAD = """\
checklist: example
title: An example
facts:
  hum: {ask: Does it hum?, kind: yes-no}
  level: {ask: Level of the oil, quantity: length, between: 0 in .. 10 in}
  mode: {ask: Which mode?, options: [idle, low, high]}
  shut: {ask: Is the valve shut?, kind: yes-no, safety: true}
"""


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    yield


def run(*args: str) -> Result:
    return CliRunner().invoke(
        main, ["lint", *args], obj=Settings(clock=FixedClock(TODAY)), catch_exceptions=False
    )


def example(folder: Path, text: str, manifest: str = "") -> str:
    """A pack with one checklist: the common facts, and `text` after them."""
    place = folder / "example"
    place.mkdir(exist_ok=True)
    (place / "manifest.yaml").write_text(MANIFEST + manifest, encoding="utf-8")
    (place / "example.yaml").write_text(HEAD + text, encoding="utf-8")
    return str(place)


def faults(folder: Path, text: str, *args: str, manifest: str = "") -> list[tuple[str, str]]:
    """Code and message of each fault, by the profile `field` unless another is given."""
    told = json.loads(run(example(folder, text, manifest), "--format", "json", *args).stdout)
    return [(fault["code"], fault["message"]) for fault in told["faults"]]


# -- seeded packs -------------------------------------------------------------------------------------------


def test_there_are_enough_of_them() -> None:
    """Forty at least, each code of a pack among them."""
    codes = {name[:5] for name in SEEDED}
    assert len(SEEDED) >= 60
    assert codes >= {code for code in CODES if not code.startswith("SA5")} - {"SA612"}


def _sealed(folder: Path) -> dict[str, Any]:
    file = folder / SEAL
    told: dict[str, Any] = json.loads(file.read_text("utf-8")) if file.is_file() else {}
    return told


@pytest.mark.parametrize("name", SEEDED)
def test_a_broken_pack_gives_one_message(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The whole of it is compared: place, message, source line, caret, help and scenario.

    A seal names the plugins of now beside its own.
    """
    monkeypatch.chdir(BROKEN)
    if "plugins" in (told := _sealed(BROKEN / name)):
        monkeypatch.chdir(tmp_path)
        shutil.copytree(BROKEN / name, name)
        now = {p.name: {"version": p.version, "digest": p.digest} for p in Plugins.load().plugins}
        Path(name, SEAL).write_text(json.dumps({**told, "plugins": {**now, **told["plugins"]}}), "utf-8")
    result = run(name, "--profile", "published")
    expected = (BROKEN / name / "expected.txt").read_text(encoding="utf-8")
    assert result.stdout == expected
    assert result.exit_code == 1
    assert result.stdout.count(f"[{name[:5]}]") == 1
    assert "\n1 fault for the profile published\n" in expected


# -- the bundled packs --------------------------------------------------------------------------------------


def test_the_bundled_packs_pass() -> None:
    told = json.loads(run("--profile", "published", "--format", "json").stdout)
    assert {(Path(fault["path"]).name, fault["code"]) for fault in told["faults"]} == set()
    assert told["accepted"] == []


def test_the_bundled_packs_are_soon_looked_through() -> None:
    """In less than two seconds on a machine that is not slow; here only that it does not grow out of hand."""
    begun = time.process_time()
    run("--profile", "published")
    assert time.process_time() - begun < 10.0


# -- scenarios ----------------------------------------------------------------------------------------------

SCENARIO = "scenario: S\npack: example\nstarts: 2026-04-15 09:00 -04:00\ndoes: []\n"
UNREAD = [
    (SCENARIO.replace("does: []", "does: [a"), "SA101", 4),
    (SCENARIO.replace("pack:", "packs:"), "SA201", 2),
    (SCENARIO.replace("2026-04-15", "soon"), "SA203", 3),
    (SCENARIO.replace("does: []", "made: well\ndoes: []"), "SA203", 4),
    (SCENARIO.replace("does: []", ""), "SA203", 1),
    ("scenario: S\nfollows: another\ndoes: []\n", "SA402", 2),
    ("", "SA106", 0),
]


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize(("text", "code", "line"), UNREAD)
def test_a_scenario_that_cannot_be_read_is_told(
    tmp_path: Path, text: str, code: str, line: int, profile: str
) -> None:
    place = Path(example(tmp_path, "")) / "scenarios"
    place.mkdir()
    (place / "good.yaml").write_text(SCENARIO, encoding="utf-8")
    (place / "bad.yaml").write_text(text, encoding="utf-8")
    told = json.loads(run(str(place.parent), "--profile", profile, "--format", "json").stdout)
    found = [fault for fault in told["faults"] if "scenarios" in fault["path"]]
    assert [(fault["code"], fault["line"]) for fault in found] == [(code, line)]
    assert found[0]["path"].endswith("scenarios/bad.yaml")
    assert run(str(place.parent), "--play").exit_code == 1


def test_a_scenario_in_other_bytes_is_told(tmp_path: Path) -> None:
    place = Path(example(tmp_path, "")) / "scenarios"
    place.mkdir()
    (place / "bad.yaml").write_bytes(b"scenario: \xff\n")
    assert "scenarios/bad.yaml: it is not UTF-8" in run(str(place.parent)).stdout


def test_a_scenario_is_read_before_its_pack_is_listed(tmp_path: Path) -> None:
    """So that those which are as listed need not be read again; one changed since is."""
    folder = Path(example(tmp_path, ""))
    (folder / "scenarios").mkdir()
    bad = folder / "scenarios" / "bad.yaml"
    bad.write_text(SCENARIO.replace("pack:", "packs:"), encoding="utf-8")
    result = CliRunner().invoke(main, ["seal", str(folder)])
    assert result.exit_code != 0 and "bad.yaml:2:1" in result.stderr
    assert not (folder / "files.sha256").exists()
    bad.write_text(SCENARIO, encoding="utf-8")
    assert CliRunner().invoke(main, ["seal", str(folder)]).exit_code == 0
    bad.write_text(SCENARIO.replace("pack:", "packs:"), encoding="utf-8")
    told = run(str(folder)).stdout
    assert "[SA201]" in told and "[SA409]" in told


# -- paths, profiles and formats ----------------------------------------------------------------------------


def test_a_file_of_a_pack_is_looked_at_alone(tmp_path: Path) -> None:
    """The pack is read as a whole, and what is said is about that file."""
    place = example(tmp_path, "conditions: {c: humm is yes}\n", "plugins: {none: '>=1'}\n")
    assert "[SA301]" not in run(place).stdout  # the manifest is at fault first: the pack cannot be read
    shutil.rmtree(place)
    place = example(tmp_path, "conditions: {c: humm is yes}\n")
    assert "[SA301]" in run(f"{place}/example.yaml").stdout
    Path(place, "other.yaml").write_text("checklist: other\ntitle: Other\n")
    listed = MANIFEST.replace("[example.yaml]", "[example.yaml, other.yaml]")
    Path(place, "manifest.yaml").write_text(listed)
    assert run(f"{place}/other.yaml").stdout == "no fault for the profile field\n"
    # What is wrong with a manifest may show anywhere; what is no file of the pack is not called faultless.
    assert "[SA301]" in run(f"{place}/manifest.yaml").stdout
    Path(place, "README.md").write_text("About it.\n")
    assert "README.md: this is no file of a pack [SA401]" in run(f"{place}/README.md").stdout


def test_a_folder_of_packs_is_all_of_them(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        example(tmp_path / name, "conditions: {c: humm is yes}\n")
        shutil.move(tmp_path / name / "example", tmp_path / "packs" / name)
    assert "2 faults" in run(str(tmp_path / "packs")).stdout


def test_a_pack_that_joins_is_checked_with_what_it_joins(tmp_path: Path) -> None:
    """It may name what the other declares; the fault is in the file that is at fault."""
    example(tmp_path, "")
    place = tmp_path / "more"
    place.mkdir()
    manifest = MANIFEST.replace("pack: example", "pack: more").replace("example.yaml", "more.yaml")
    (place / "manifest.yaml").write_text(manifest + "joins: example\n")
    (place / "more.yaml").write_text(
        "checklist: more\ntitle: More\nconditions: {c: hum is yes, d: hum is loud}\n"
    )
    said = run(str(tmp_path / "example"), str(place)).stdout
    assert "more.yaml:3:" in said and "`loud` is not an option of `hum`" in said and "1 fault for" in said


def test_the_work_a_pack_joins_may_be_installed(tmp_path: Path) -> None:
    """A company's own pack is checked with the bundled ones, and only its own faults are told."""
    place = tmp_path / "ours"
    place.mkdir()
    manifest = MANIFEST.replace("pack: example", "pack: ours").replace("example.yaml", "ours.yaml")
    (place / "manifest.yaml").write_text(manifest + "joins: leak\n")
    (place / "ours.yaml").write_text(
        "checklist: ours\ntitle: Ours\nconditions: {our_gas: refrigerant is R-411}\n"
    )
    said = run(str(place)).stdout
    assert "`R-411` is not an option of `refrigerant`" in said and "1 fault for" in said


def test_a_pack_that_joins_what_is_not_there_is_told(tmp_path: Path) -> None:
    """Also with the nearest name: without the other pack nothing it says of that can be checked."""
    place = tmp_path / "ours"
    place.mkdir()
    manifest = MANIFEST.replace("pack: example", "pack: ours").replace("example.yaml", "ours.yaml")
    (place / "manifest.yaml").write_text(manifest + "joins: laek\n")
    (place / "ours.yaml").write_text("checklist: ours\ntitle: Ours\n")
    said = run(str(place)).stdout
    line = manifest.count("\n") + 1
    assert f"manifest.yaml:{line}:8: the pack `laek` is not installed [SA401]" in said
    assert "  joins: laek\n         ^^^^\nhelp: did you mean `leak`?" in said and "1 fault for" in said


def test_a_limit_of_another_kind_than_its_bounds_is_told_once_where_it_stands(tmp_path: Path) -> None:
    place = example(
        tmp_path,
        "limits: {most: {is: 9 kg, between: 1 in .. 9 in, safer: lower, source: s}}\n"
        "rules:\n- {rule: r, finding: f, when: level > most, source: s}\n"
        "- {rule: q, finding: g, when: level < most, source: s}\n",
    )
    said = run(place, "--profile", "draft").stdout
    assert "`9 kg` is a mass, and its bounds are each a length [SA303]" in said and "1 fault for" in said
    source, caret, help = said.split("\n")[1:4]
    assert source[caret.index("^") : caret.rindex("^") + 1] == "9 kg"
    assert help == "help: write all three in units of one kind"


def test_a_profile_tells_what_the_one_before_tells_and_more(tmp_path: Path) -> None:
    """Being written, carried on jobs, handed to others."""
    place = example(
        tmp_path,
        "limits: {most: {is: 9 in, safer: lower, source: s}}\n"
        "rules: [{rule: r, finding: f, when: level > 12 in, source: s}]\n",
    )
    told = [
        {
            fault["code"]
            for fault in json.loads(run(place, "--format", "json", "--profile", p).stdout)["faults"]
        }
        for p in PROFILES
    ]
    assert told == [set(), {"SA602"}, {"SA602", "SA601"}]
    assert verb._PROFILES == PROFILES and set(_FROM.values()) == set(PROFILES) - {"draft"}


def test_json_has_the_place_of_each_fault(tmp_path: Path) -> None:
    place = example(tmp_path, "conditions: {c: humm is yes}\n")
    told: dict[str, Any] = json.loads(run(place, "--format", "json").stdout)
    (fault,) = told.pop("faults")
    assert told == {"format": "stillair.lint/1", "profile": "field", "ok": False, "accepted": []}
    assert (fault["code"], fault["line"], fault["column"], fault["length"]) == ("SA301", 8, 17, 4)
    assert fault["source_line"] == "conditions: {c: humm is yes}" and fault["help"] == "did you mean `hum`?"


def test_sarif_is_as_the_standard_asks(tmp_path: Path) -> None:
    """SARIF 2.1.0 (OASIS Standard, 27 March 2020): 3.13, 3.14, 3.27, 3.28 to 3.30, 3.35."""
    place = example(
        tmp_path,
        "rules: [{rule: r, finding: f, when: level > 12 in, source: s}]\n"
        "limits: {m: {is: 1 in, safer: lower, source: s}}\n",
        "accepts: [{code: SA601, of: m, because: It comes next week, until: 2026-05-01}]\n",
    )
    log = json.loads(run(place, "--profile", "published", "--format", "sarif").stdout)
    assert log["version"] == "2.1.0" and log["$schema"].endswith("sarif-schema-2.1.0.json")
    (ran,) = log["runs"]
    driver = ran["tool"]["driver"]
    assert driver["name"] == "stillair" and [rule["id"] for rule in driver["rules"]] == ["SA601", "SA602"]
    seen = set()
    for result in ran["results"]:
        assert driver["rules"][result["ruleIndex"]]["id"] == result["ruleId"]
        assert result["level"] in ("none", "note", "warning", "error") and result["message"]["text"]
        (found,) = result["locations"]
        region = found["physicalLocation"]["region"]
        line = (tmp_path / "example" / "example.yaml").read_text().splitlines()[region["startLine"] - 1]
        said = line[region["startColumn"] - 1 : region["endColumn"] - 1]
        seen.add((result["ruleId"], said))
        assert "\\" not in found["physicalLocation"]["artifactLocation"]["uri"]
    assert seen >= {("SA602", "level > 12 in"), ("SA601", "m")}
    (held,) = [result["suppressions"] for result in ran["results"] if "suppressions" in result]
    assert held == [
        {"kind": "inSource", "status": "accepted", "justification": "It comes next week (until 2026-05-01)"}
    ]


# -- what is accepted ---------------------------------------------------------------------------------------

RULE = "rules: [{rule: r, finding: f, when: level > 12 in, source: s}]\n"


def accepting(until: str, of: str = "level > 12 in") -> str:
    return f"accepts: [{{code: SA602, of: '{of}', because: The range is widened soon, until: {until}}}]\n"


def test_a_fault_is_accepted_until_its_last_day(tmp_path: Path) -> None:
    assert faults(tmp_path, RULE, manifest=accepting("2026-04-15")) == []
    assert "1 accepted" in run(str(tmp_path / "example")).stdout
    ((code, message),) = faults(tmp_path, RULE, manifest=accepting("2026-04-14"))
    assert code == "SA602" and message.endswith("; accepted only until 2026-04-14")


def test_an_acceptance_needs_a_reason_a_day_and_a_fault(tmp_path: Path) -> None:
    stale = accepting("2099-01-01", of="humm")
    assert "SA614" in dict(faults(tmp_path, "", "--profile", "published", manifest=stale))
    for left_out, code in (("because", "SA202"), ("until", "SA202")):
        short = (
            ", ".join(p for p in accepting("2099-01-01").split(", ") if left_out not in p).rstrip("]}\n")
            + "}]\n"
        )
        assert [c for c, _ in faults(tmp_path, RULE, manifest=short)] == [code]
    assert [c for c, _ in faults(tmp_path, RULE, manifest=accepting("soon"))] == ["SA203"]


def test_what_cannot_be_read_cannot_be_accepted(tmp_path: Path) -> None:
    """Only what a pack says taken together; else a pack would pass that nobody can run."""
    manifest = "accepts: [{code: SA301, of: x, because: Later, until: 2099-01-01}]\n"
    ((code, message),) = faults(tmp_path, "", manifest=manifest)
    assert code == "SA209" and "cannot be `SA301`" in message
    ((code, message),) = faults(tmp_path, "", manifest=manifest.replace("SA301", "SA702"))
    assert code == "SA209" and "cannot be `SA702`" in message


# -- what a company adjusts ---------------------------------------------------------------------------------


def adjusting(folder: Path, adjusts: str, text: str = "", digest: str | None = None) -> tuple[str, str]:
    """A pack, and one that adjusts it: their folders."""
    limit = "limits: {least: {is: 2 in, between: 1 in .. 4 in, safer: higher, source: s}}\n"
    base = example(folder, limit + text)
    place = folder / "acme"
    place.mkdir(exist_ok=True)
    digest = digest or read_pack(Path(base), plugins={}).digest
    (place / "manifest.yaml").write_text(
        MANIFEST.replace("pack: example", "pack: acme\njoins: example").replace("[example.yaml]", "[]")
        + f"adjusts:\n  pack: example\n  digest: {digest}\n  {adjusts}\n",
        encoding="utf-8",
    )
    return base, str(place)


def told(*args: str) -> list[tuple[str, str]]:
    found = json.loads(run(*args, "--format", "json").stdout)["faults"]
    return [(Path(fault["path"]).parent.name, fault["code"]) for fault in found]


def test_packs_are_looked_at_as_adjusted(tmp_path: Path) -> None:
    """What only an adjustment makes impossible is told, and what only it makes possible is not."""
    text = "rules: [{rule: r, finding: f, when: level < least and level > 3 in}]\n"
    base, ours = adjusting(tmp_path, "limits: {least: 4 in}", text)
    assert told(base) == [("example", "SA602")]
    assert told(base, ours) == []
    text = "rules: [{rule: r, finding: f, when: level > least and level < 3 in}]\n"
    base, ours = adjusting(tmp_path, "limits: {least: 4 in}", text)
    assert told(base) == []
    assert told(base, ours) == [("example", "SA602")]


def test_what_may_not_be_adjusted_hides_nothing_of_the_pack(tmp_path: Path) -> None:
    base, ours = adjusting(tmp_path, "limits: {least: 9 in}", RULE)
    assert told(base, ours) == [("acme", "SA704"), ("example", "SA602")]
    base, ours = adjusting(tmp_path, "limits: {least: 3 in}", "conditions: {c: humm is yes}\n", digest="aa")
    assert told(base, ours) == [("acme", "SA701"), ("example", "SA301")]
    assert told(base) == [("example", "SA301")]


def test_a_photo_stands_where_it_is_wanted(tmp_path: Path) -> None:
    """A name that is there already is told in the manifest of the company, and not nowhere."""
    text = "steps: [{step: look, ask: [hum]}, {step: look-photo, do: Go.}]\n"
    base, ours = adjusting(tmp_path, "photos: {look: The lid}", text)
    ((where, code),) = told(base, ours)
    assert (where, code) == ("acme", "SA205")


# -- one fault, one message ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "  bad: {ask: B?, quantity: lenght, between: 0 in .. 1 in}\n"
        "conditions: {c: bad > 1 in, d: bad < 2 in}\n",
        "  bad: {ask: B?, catalogue: none}\nsteps: [{step: s, ask: [bad]}]\nconditions: {c: bad is x}\n",
        "limits: {bad: {is: 2 inn, safer: lower, source: s}}\nconditions: {c: level > bad, d: level < bad}\n",
        "calculate: {bad: level + 1 lb, worse: bad * 2}\nconditions: {c: bad > 1 in, d: worse > 1 in}\n",
        "conditions: {bad: humm is yes, c: bad and hum is yes, d: not bad}\n",
        "calculate: {p: q + level, q: p + level}\nconditions: {c: p > 1 in}\n",
    ],
)
def test_what_follows_from_a_fault_is_not_told(tmp_path: Path, text: str) -> None:
    """A name whose declaration is at fault is told there, and not again wherever it is used."""
    assert len(faults(tmp_path, text, "--profile", "published")) == 1


def test_the_shortest_circle_is_shown(tmp_path: Path) -> None:
    """Of a longer one and a shorter one through the same names, the shorter; apart from it, another."""
    text = "calculate: {a: b + level, b: c + a, c: d + level, d: a + level, x: y + level, y: x + level}\n"
    told = [message for code, message in faults(tmp_path, text) if code == "SA307"]
    assert told == ["`a` depends on itself: a → b → a", "`x` depends on itself: x → y → x"]


# -- where a check must keep still --------------------------------------------------------------------------

STILL = [
    ("conditions: {c: since handover >= 0 min}\n", "an event that may never happen"),
    ("conditions: {c: count of level >= 1 and level < 1 in}\n", "a question not yet asked"),
    ("conditions: {c: level / level > -1}\n", "a quotient that may not exist"),
    ("conditions: {c: always, d: never}\n", "what is meant to be settled"),
    ("rules:\n  - {rule: r, finding: f, grade: suspected, when: level < 2 in}\n"
     "  - {rule: q, finding: f, when: level < 1 in}\n", "a rule that raises the grade"),
    ("rules:\n  - {rule: r, finding: f, when: level < 2 in, say: Low}\n"
     "  - {rule: q, finding: f, when: level < 1 in, say: Very low}\n", "a rule that says another thing"),
    ("activities: {go: {title: Go, gate: shut is yes}}\n"
     "steps: [{step: a, ask: [shut]}, {step: b, activity: go, do: Go., when: mode is low}]\n", "a way in"),
    ("steps:\n  - {step: b, do: Go., when: count of hum < 1 or hum is yes}\n"
     "  - {step: a, ask: [hum], gate: mode is low}\n",
     "a gate with another way round"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "why"), STILL)
def test_nothing_is_said_of(tmp_path: Path, text: str, why: str) -> None:
    assert faults(tmp_path, text) == [], why


def test_a_difference_written_the_other_way_round_is_the_same_one(tmp_path: Path) -> None:
    """`level > depth` and `depth >= level` leave no gap and do not overlap."""
    text = (
        "  depth: {ask: Depth, quantity: length, between: 0 in .. 10 in}\n"
        "rules:\n  - {rule: r, finding: f, when: level > depth}\n"
        "  - {rule: q, finding: g, when: depth >= level}\n"
        "groups: [{group: h, rules: [r, q], are: [exclusive, complete]}]\n"
    )
    assert faults(tmp_path, text) == []
    told = faults(tmp_path, text.replace("depth >= level", "depth > level"))
    assert [code for code, _ in told] == ["SA607"]


def test_a_formula_reaches_as_far_as_its_parts(tmp_path: Path) -> None:
    assert faults(tmp_path, "conditions: {c: level + level > 19 in}\n") == []
    (((code, message),)) = faults(tmp_path, "conditions: {c: level + level > 21 in}\n")
    assert code == "SA602" and message == "`level + level > 21 in` can never hold, in the condition `c`"


def test_a_circle_of_gates_is_shown_and_what_waits_behind_it_is_not(tmp_path: Path) -> None:
    text = (
        "steps:\n  - {step: a, ask: [hum], gate: mode is low}\n  - {step: b, ask: [mode], gate: hum is yes}\n"
        "  - {step: c, do: Go., gate: mode is low and hum is yes}\n"
    )
    assert faults(tmp_path, text) == [("SA613", "`a` needs `mode`, which is asked only behind it: a → b → a")]


def test_a_gate_may_rest_on_a_finding_or_a_wait_that_others_make(tmp_path: Path) -> None:
    text = (
        "events: {oiled: {say: It was oiled}}\n"
        "waits: {rest: {title: Rest, for: 5 min, since: [oiled]}}\n"
        "rules: [{rule: r, finding: f, when: hum is yes}]\n"
        "steps:\n  - {step: a, ask: [hum]}\n"
        "  - {step: b, do: Oil it., marks: [oiled], gate: f is confirmed}\n"
        "  - {step: c, do: Go., gate: rest is ready}\n"
    )
    assert faults(tmp_path, text) == []
    ((code, message),) = faults(tmp_path, text.replace("gate: f is", "gate: rest is ready and f is"))
    assert code == "SA613" and "needs `oiled`" in message


def test_a_stop_that_always_meets_a_step_keeps_it_for_ever(tmp_path: Path) -> None:
    text = (
        "activities: {go: {title: Go}}\n"
        "rules: [{rule: r, stop: [go], when: mode is not idle, say: No, lifted by: Set it to idle.}]\n"
        "steps: [{step: a, activity: go, do: Go., when: mode is high}]\n"
    )
    ((code, message),) = faults(tmp_path, text)
    assert code == "SA604"
    assert message == "the step `a` can never be done: `when` of `a` and the stop `r` exclude each other"
