"""A checklist on paper: all that keeps a person safe is on it, and the bytes never change by themselves."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from markdown_it import MarkdownIt
from stillair.assess import Program, compile_packs
from stillair.cli import main
from stillair.hooks import Plugins
from stillair.pack import Pack, read_pack

HERE = Path(__file__).parent


def run(*args: str) -> Result:
    tools = ["--plugin-dir", str(HERE / "tank_tools")]
    return CliRunner().invoke(main, [*tools, "print", *args], catch_exceptions=False)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def leak() -> tuple[Program, dict[str, Pack]]:
    plugins = Plugins.load()
    packs = [read_pack(folder, plugins=plugins.versions()) for folder in plugins.packs]
    return compile_packs(packs, plugins.calculators, plugins.catalogues), {pack.name: pack for pack in packs}


@pytest.fixture(scope="module")
def sheets() -> dict[str, str]:
    return {kind: run("leak", "--as", kind).stdout for kind in ("sheet", "storyboard")}


def test_every_step_and_question_is_on_the_sheet(
    sheets: dict[str, str], leak: tuple[Program, dict[str, Pack]]
) -> None:
    """With every caution, what must never be done, every stop and every limit."""
    program, packs = leak
    sheet = flat(sheets["sheet"])
    for checklist in packs["leak"].checklists:
        for step in checklist.steps:
            said = (step.do, step.why, step.caution) if step.never is None else (step.never,)
            for text in (step.title, *said):
                assert text is None or flat(text) in sheet, step.name
            for name in step.ask:
                assert flat(program.facts[name.text].spec.ask) in sheet
                assert flat(program.facts[name.text].spec.caution or "") in sheet
        for state in checklist.powered:
            assert f"at most {flat(state.at_most.text)}" in sheet and flat(state.caution or "") in sheet
        for rule in checklist.rules:
            assert not rule.stop or (flat(rule.say or "") in sheet and flat(rule.lifted_by or "") in sheet)
        for limit in checklist.limits:
            assert flat(limit.source) in sheet and flat(limit.value.text) in sheet
    assert "### Powered: " in run("run").stdout and "- Only inside *" in run("perform").stdout
    for checklist in program.checklists.values():
        for text in (*checklist.cautions, *checklist.defers):
            assert flat(text) in sheet


def test_a_part_brings_the_stops_and_cautions_of_the_whole() -> None:
    """Who works by one sheet is stopped by what another checklist says."""
    sheet = run("lockout").stdout
    assert "Leave. Do not" in sheet or "alarm_signs is yes" in sheet
    assert "Ask the authority having jurisdiction" in sheet and "**CAUTION**" in sheet
    assert "`proved_dead`" in sheet.split("What the words in conditions mean")[1]
    assert "Find the leak" not in sheet.split("## Stops")[0].split("## Lock out")[1]


def test_the_places_say_what_they_are_looked_at_with() -> None:
    sheet = run("places").stdout.split("### Places")[1]
    for said in (
        "- Sniffing: Leak detector",
        "- Sniffing the trace: Hydrogen detector",
        "- Bubbles: Bubble solution",
    ):
        assert said in sheet
    assert "check `sniffing`" in run("detector", "--as", "storyboard").stdout


def test_not_knowing_is_offered_with_every_question(sheets: dict[str, str]) -> None:
    """And never as one of the answers alone: the reason is asked with it."""
    questions = [
        line for line in sheets["sheet"].splitlines() if "☐" in line and line.lstrip().startswith("- ")
    ]
    assert len(questions) > 200
    assert all("cannot tell, because" in line for line in questions)


def test_the_storyboard_says_what_rests_on_each_answer(
    sheets: dict[str, str], leak: tuple[Program, dict[str, Pack]]
) -> None:
    story = sheets["storyboard"]
    for name in leak[1]["leak"].checklists:
        assert all(f"(`{step.name}`)" in story for step in name.steps)
        assert all(f"| {rule.name} |" in story for rule in name.rules)
    asks = re.search(r"^- Asks `alarm_signs`: (.+)$", story, re.MULTILINE)
    assert asks is not None and "`leave`" in asks[1] and "the gate of `at_disconnect`" in asks[1]
    # Where nearly all rules rest on one fact, some of them are named, and how many more there are.
    lines = re.findall(r"^- Asks `.+$", story, re.MULTILINE)
    assert any(re.search(r"`, \d+ more rules", line) for line in lines)
    assert max(map(len, lines)) < 1500
    record = re.search(r"^- Asks `oil_note`: (.+)$", story, re.MULTILINE)
    assert record is not None and record[1] == "for the record"


def test_the_storyboard_has_what_a_company_adjusts_by(
    sheets: dict[str, str], leak: tuple[Program, dict[str, Pack]]
) -> None:
    """The whole digest, and each limit by its name with its bounds."""
    pack, story = leak[1]["leak"], sheets["storyboard"]
    assert f"`digest: {pack.written}`" in story and len(pack.written) == 64
    for limit in (limit for checklist in pack.checklists for limit in checklist.limits):
        row = next(line for line in story.splitlines() if line.startswith(f"| `{limit.name}` |"))
        bounds = "" if limit.between is None else f"{limit.between[0]} to {limit.between[1]}"
        assert [cell.strip() for cell in row.split("|")[2:-1]] == [limit.value.text, bounds, limit.safer]


@pytest.mark.parametrize("kind", ["sheet", "storyboard"])
def test_it_is_well_formed_markdown(sheets: dict[str, str], kind: str) -> None:
    """Every row of a table has as many cells as its head."""
    tokens = MarkdownIt("commonmark").enable("table").parse(sheets[kind])
    heads = cells = 0
    for token in tokens:
        if token.type == "thead_open":
            heads = 0
        elif token.type == "th_open":
            heads += 1
        elif token.type == "tr_open":
            cells = 0
        elif token.type == "td_open":
            cells += 1
        elif token.type == "tr_close" and cells:
            assert cells == heads
    assert sum(token.type == "table_open" for token in tokens) > 2
    assert not any(token.type == "html_block" for token in tokens)


@pytest.mark.parametrize("kind", ["sheet", "storyboard"])
@pytest.mark.parametrize("form", ["markdown", "html"])
def test_the_same_pack_gives_the_same_bytes(kind: str, form: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the folder, the hash seed of the run or the day."""
    args = (str(HERE / "tank"), "--as", kind, "--format", form)
    first = run(*args).stdout
    monkeypatch.chdir(HERE.parent)
    assert run("core/tank", *args[1:]).stdout == first
    assert not re.search(r"/tmp/|/home/|\b20[23]\d-\d\d-\d\d", first)
    assert "\r" not in first and first.endswith("\n")


def test_the_order_of_sets_changes_nothing() -> None:
    """Two runs of Python that hash names otherwise."""
    said = []
    for seed in ("1", "2"):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join(sys.path)}
        code = "from stillair.cli import main; main()"
        command = [sys.executable, "-c", code, "print", "lockout", "--as", "storyboard"]
        said.append(subprocess.run(command, env=environment, capture_output=True, check=True).stdout)
    assert said[0] == said[1] and b"Lock out" in said[0]


def test_html_is_one_page_without_anything_fetched() -> None:
    page = run(str(HERE / "tank"), "--format", "html").stdout
    assert page.startswith("<!DOCTYPE html>") and "<title>Look after a tank</title>" in page
    assert "<script" not in page and "http" not in page


def test_a_new_file_is_written_and_never_an_old_one(tmp_path: Path) -> None:
    place = tmp_path / "sheet.md"
    assert run(str(HERE / "tank"), "--out", str(place)).exit_code == 0
    assert place.read_text(encoding="utf-8") == run(str(HERE / "tank")).stdout
    result = run(str(HERE / "tank"), "--out", str(place))
    assert result.exit_code == 2 and "is there already" in result.stderr


ADJUSTS = """
  limits:
    rest_time: 20 min
    band: {is: 4 psi, who: B. Chief, why: a trial, until: 2027-03-31}
  notes: {smell: Two people smell.}
  good for: {smell: 10 min}
  photos: {first-look: The whole tank}
  wording: {depth: {ask: How deep is it?}}
"""
OWN = """
checklist: badges
title: Badges
before: tank
facts: {badge: {ask: Is the badge worn?, kind: yes-no}}
steps: [{step: show-badge, title: Show the badge, ask: [badge]}]
rules: [{rule: no-badge, stop: [filling], when: badge is no, say: No badge, lifted by: Wear it.}]
cautions: [Park backwards.]
"""


def company(folder: Path, adjusts: str = ADJUSTS) -> Pack:
    folder.mkdir()
    tank = read_pack(HERE / "tank", plugins=Plugins.load([HERE / "tank_tools"]).versions())
    (folder / "manifest.yaml").write_text(
        "pack: acme\nversion: 1.2.0\ntitle: Acme\njoins: tank\nengine: '>=0.1,<1'\nchecklists: [own.yaml]\n"
        f"adjusts:\n  pack: tank\n  digest: {tank.written}{adjusts}",
        encoding="utf-8",
    )
    (folder / "own.yaml").write_text(OWN, encoding="utf-8")
    return read_pack(folder, plugins={})


@pytest.mark.parametrize("kind", ["sheet", "storyboard"])
def test_what_a_company_adjusts_is_printed_as_a_job_goes_by_it(tmp_path: Path, kind: str) -> None:
    acme = company(tmp_path / "acme")
    tank = str(HERE / "tank")
    text = run(tank, "--pack", str(tmp_path / "acme"), "--as", kind).stdout
    assert run(str(tmp_path / "acme"), "--pack", tank, "--as", kind).stdout == text
    base = run(tank, "--as", kind).stdout
    assert text.startswith("# Look after a tank, as adjusted by Acme\n") and "Acme" not in base
    assert f"Adjusted by Acme · acme 1.2.0 · digest {acme.digest[:16]}" in text
    assert base.splitlines()[2] in text  # the digest of the pack itself
    assert "| 20 min (Acme, from 10 min) |" in text and "| 10 min |" not in text
    assert "| 4 psi (Acme, from 2 psi; looser, allowed by B. Chief until 2027-03-31: a trial) |" in text
    for said in (
        "*How:* Acme: Two people smell.",
        "Acme: good for 10 min",
        "Photo: Look first",
        "Show the badge",
    ):
        assert said in text and said not in base
    assert text.index("Show the badge") < text.index("Look first")  # its checklist comes before
    if kind == "sheet":
        assert "How deep is it?" in text and "The whole tank" in text
        assert "- **CAUTION** Park backwards." in text and "| `badge is no` | No badge | Wear it. |" in text
    else:
        assert "`first_look_photo`" in text and "STOP `filling`: No badge" in text


def test_one_checklist_is_printed_as_adjusted(tmp_path: Path) -> None:
    company(tmp_path / "acme")
    packs = ["--pack", str(HERE / "tank"), "--pack", str(tmp_path / "acme")]
    text = run("tank", *packs).stdout
    assert "| 20 min (Acme, from 10 min) |" in text and "Show the badge" not in text
    own = run("badges", *packs).stdout
    assert own.startswith("# Badges\n") and "Show the badge" in own
    assert run("tank", *packs, "--format", "html").stdout.count("as adjusted by Acme") == 2


def test_what_may_not_be_adjusted_is_not_printed(tmp_path: Path) -> None:
    company(tmp_path / "acme", "\n  limits: {rest_time: 90 min}\n")
    result = run(str(tmp_path / "acme"), "--pack", str(HERE / "tank"))
    assert result.exit_code == 1 and "[SA704]" in result.output and not result.stdout


def test_an_unknown_name_is_answered_with_the_nearest() -> None:
    result = run("lock-out")
    assert result.exit_code == 2 and "did you mean `lockout`" in result.stderr
