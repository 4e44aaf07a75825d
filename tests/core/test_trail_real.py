"""The trail of a real job: the demonstration of the bundled pack."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from stillair import account
from stillair.assess import Program, assess, compile_packs
from stillair.authoring.rehearse import Rehearsal, play, read_scenario
from stillair.hooks import Plugins
from stillair.pack import read_pack
from stillair.trail import make, markdown, to_json
from stillair.wording import Wording

LEAK = Path(__file__).parents[2] / "checklists" / "stillair_checklists" / "leak"


@pytest.fixture(scope="module")
def real() -> Program:
    plugins = Plugins.load()
    packs = [read_pack(folder, plugins=plugins.versions()) for folder in plugins.packs]
    return compile_packs(packs, plugins.calculators, plugins.catalogues)


@pytest.fixture(scope="module")
def leak(real: Program) -> tuple[Rehearsal, str]:
    """The demonstration of the bundled pack, played, and its trail."""
    scenario = read_scenario(LEAK / "scenarios" / "demo.yaml")
    played = play(real, scenario)
    zone = datetime.strptime(str(scenario["starts"]), "%Y-%m-%d %H:%M %z").tzinfo
    assert zone is not None
    found = assess(real, played.lines, played.lines[-1].entered)
    return played, markdown(found, played.lines, zone)


def test_a_real_trail_is_also_plain_data(leak: tuple[Rehearsal, str], real: Program) -> None:
    """A list without a member has no highest one: that is null, and never what no reader of JSON takes."""
    lines = leak[0].lines
    found = assess(real, lines, lines[-1].entered)
    told = account.assessment(Wording(found, UTC))
    text = json.dumps({**told, **to_json(make(found, lines, UTC))}, allow_nan=False)
    assert json.loads(text)["format"] == account.ASSESSMENT


def test_a_real_trail_has_every_part_and_every_line(leak: tuple[Rehearsal, str]) -> None:
    played, trail = leak
    parts = re.findall(r"^## (.*)$", trail, re.MULTILINE)
    assert (len(parts), parts[0], parts[-1]) == (14, "What this is, and what it is not", "Signatures")
    assert all(f"**Line {each.n}**" in trail for each in played.lines)
    assert "root of the sum of the squares" in trail


def test_no_sentence_has_more_than_thirty_words(leak: tuple[Rehearsal, str]) -> None:
    """Formulas and conditions aside, and the sources, which are titles."""
    long = []
    for each in leak[1].splitlines():
        words = re.sub(r"`+[^`]*`+", "x", each).strip("- *#")
        if words.startswith("Source:"):
            continue
        for sentence in re.split(r"(?<=[.!?;:])\**\s|\s\|\s", words):
            if len(sentence.split()) > 30:
                long.append(sentence)
    assert long == []


def test_every_number_of_a_reading_has_a_unit(leak: tuple[Rehearsal, str]) -> None:
    """Each value said with a tolerance names the unit on both sides of the ±; money aside."""
    said = "\n".join(
        each for each in leak[1].splitlines() if "cost_of" not in each and "owner_costs" not in each
    )
    pairs = re.findall(r"(-?[0-9.]+) ?([^\s0-9]\S*)? ± ([0-9.]+) ?([^\s0-9,;:`)]+)?", said)
    assert len(pairs) > 20
    assert [pair for pair in pairs if not pair[1] or not pair[3]] == []


def test_every_silent_place_of_a_real_trail_shows_the_detector_proved_before_and_after(
    leak: tuple[Rehearsal, str],
) -> None:
    said = leak[1].split("\n## Places\n")[1].split("\n## ")[0]
    counted = said.split("**Looked at, and it counts.")[1].split("\n**")[0]
    assert "- detector: Rated for this gas" in counted
    assert re.search(r"^- detector sensitivity: [0-9.]+ g/yr ± ", counted, re.MULTILINE)
    rows = [each for each in counted.splitlines() if each.startswith("| ")][2:]
    assert len(rows) > 3
    for row in rows:
        _, _, before, after, there = row.strip("| ").split(" | ")
        assert re.search(r"reference leak: .* \(line [0-9]+, [0-9:]+\)", before)
        assert re.search(r"reference leak: .* \(line [0-9]+, [0-9:]+\)", after)
        assert (
            "wind: " in there
            or "Gas gathering in the shut cabinet: ready" in there
            or "nothing more" in there
        )


def test_no_sentence_of_a_real_trail_is_said_in_two_parts(leak: tuple[Rehearsal, str]) -> None:
    """The record aside, which is every entry as it was made; and sources and questions, which name things."""
    where: dict[str, set[str]] = {}
    for each in leak[1].split("\n## ")[1:]:
        title, _, body = each.partition("\n")
        if title in ("Every entry, in order", "What could not be decided, and what would decide it"):
            continue
        for sentence in re.split(r"(?<=[.:])\s|\n|\|", body):
            if len(sentence.split()) > 7 and "Source: " not in sentence and "`" not in sentence:
                where.setdefault(sentence.strip(" -*"), set()).add(title)
    assert {sentence: parts for sentence, parts in where.items() if len(parts) > 1} == {}


def test_a_working_is_said_once_in_a_finding_and_a_formula_once_in_all(leak: tuple[Rehearsal, str]) -> None:
    findings = leak[1].split("\n## Findings\n")[1].split("\n## ")[0]
    for finding in findings.split("\n- "):
        workings = [each for each in finding.splitlines() if each.startswith("    - `")]
        assert len(workings) == len(set(workings))
    formulas = re.findall(r"^- Formula: (.*)$", leak[1], re.MULTILINE)
    assert len(formulas) > 2
    assert len(formulas) == len(set(formulas))


def test_the_margin_said_in_short_is_the_one_with_least_to_spare(leak: tuple[Rehearsal, str]) -> None:
    """Far from flat, and near to where liquid would no longer be shown: the second is what matters."""
    short = leak[1].split("## In short", 1)[1].split("\n## ", 1)[0]
    said = next(line for line in short.splitlines() if "Liquid refrigerant is present" in line)
    assert "°F to spare" in said
    assert "psi to spare" not in said
