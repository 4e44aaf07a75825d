"""The trail of a walk along a pipe: what silence rests on, one place told once, who did it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from markdown_it import MarkdownIt
from stillair.assess import Program, assess, compile_packs, read_fact, read_value
from stillair.job import Line
from stillair.pack import read_pack
from stillair.trail import as_of, markdown

MANIFEST = """
pack: pipe
version: 1.0.0
title: Walk a pipe
engine: ">=0.1,<1"
checklists: [pipe.yaml]
"""
CHECKLIST = """
checklist: pipe
title: Walk a pipe
instruments:
  gauge:
    {title: Line gauge, quantity: gauge pressure, offset: 2 psi, repeat: 1 psi, check every: 365 d, source: x}
facts:
  nose: {ask: Which nose?, options: {good: "Fit for this, in date", bad: Unfit}}
  drip:
    ask: Does the nose answer the known drip?
    options: {answered: It answers and clears, silent: It stays silent}
    nature: series
    safety: true
    good for: 30 min
  pressure:
    ask: Line gauge
    quantity: gauge pressure
    unit: psig
    between: -15 psig .. 100 psig
    nature: series
    read with: gauge
    good for: 2 h
  wind: {ask: Wind outdoors?, options: {calm: Calm or shielded, windy: Strong}}
  look:
    ask: Nose at this place
    options: {none: Silent, some: It answers}
    per: place
    nature: fixed
    counts when:
      is: >-
        (nose is good or card is no) and last drip before look is answered
        and first drip after look is answered
      for: [none]
      because: silence counts only between two proofs
  foam: {ask: Does foam grow here?, options: {grows: Foam grows, none: Nothing}, per: place}
  spot: {ask: Where exactly, kind: text, per: place}
  card: {ask: "Card of the trade seen?", kind: yes-no, safety: true, void after: [handover]}
  signed: {ask: Sign here, kind: signature}
  owner: {ask: Whose pipe is it?, kind: text, personal: true}
events:
  cellar_shut: {say: The cellar was shut}
  cellar_opened: {say: The cellar was opened}
activities:
  sniffing: {title: Sniffing}
waits:
  gathering:
    title: Gas gathering in the cellar
    for: 10 min
    since: [cellar_shut]
    restarted by: [cellar_opened]
    witness: Was it opened meanwhile?
steps:
  - {step: walk, title: Walk along it, ask: [look]}
rules:
  - {rule: dead-nose, stop: [sniffing], when: drip is silent, say: The nose is dead.,
     lifted by: It answers again.}
  - {rule: no-card, stop: [sniffing], when: card is no, say: Somebody with a card is needed.,
     lifted by: A card is seen.}
  - {rule: one-sign, finding: weeps, grade: suspected, per: place, when: look is some,
     say: Something comes out here}
  - {rule: two-signs, finding: weeps, per: place, when: look is some and foam is grows, say: It weeps here,
     why: Two methods agree at one place.}
  - {rule: foam-alone, finding: foams, grade: probable, per: place, when: foam is grows,
     say: Foam says it weeps}
  - {rule: quiet, finding: weeps, grade: not found, per: place, when: look is none,
     say: Nothing under these limits, while: true}
  - {rule: fit, finding: fit, when: nose is good, say: The nose is fit}
  - {rule: steady, finding: steady, when: wind is calm or nose is bad, say: It is steady}
  - {rule: above, finding: above, when: pressure > 5 psig, say: The gauge stands above zero}
  - {rule: pressed, finding: pressed, when: above is confirmed and pressure > 20 psig,
     say: The line is under pressure}
  - {rule: slack, finding: slack, when: pressure < 20 psig, say: The line is slack}
  - {rule: cold, caution: "Low pressure: do not trust silence.", when: pressure < 50 psig}
places:
  - {place: tap, title: Garden tap, belief: 0.4, minutes: 5, counts when: wind is calm}
  - {place: cellar, title: Cellar run, belief: 0.3, minutes: 5, counts when: gathering is ready}
  - {place: attic, title: Attic run, belief: 0.3, minutes: 5}
cautions: [Wear gloves.]
defers: ["Permits are ruled locally. Ask the authority having jurisdiction."]
"""
NINE = datetime(2026, 4, 15, 13, 0, tzinfo=UTC).timestamp()
ZONE = timezone(timedelta(hours=-4))


def written(folder: Path) -> Path:
    """The pack in a folder of its own."""
    folder.mkdir()
    (folder / "manifest.yaml").write_text(MANIFEST, encoding="utf-8")
    (folder / "pipe.yaml").write_text(CHECKLIST, encoding="utf-8")
    return folder


def compiled(folder: Path) -> Program:
    return compile_packs([read_pack(folder, plugins={})], {}, {})


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Program:
    return compiled(written(tmp_path_factory.mktemp("packs") / "pipe"))


class Walk:
    """A job in memory; times in minutes after nine."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.lines: list[Line] = []
        self.at = NINE
        self.by: str | None = "A. Tech"
        self.add("job", format="stillair.job/1", engine="stillair 0.1.0", title="Pipe", packs={}, plugins={})
        self.add("open", checklist="pipe")

    def add(self, kind: str, /, **body: Any) -> Line:
        line = Line(len(self.lines) + 1, kind, self.at, self.at, -240, self.by, body, "stillair 0.1.0")
        self.lines.append(line)
        return line

    def minutes(self, after_nine: float) -> Walk:
        self.at = NINE + 60 * after_nine
        return self

    def note(self, with_: str | None = None, /, **facts: str) -> int:
        """Enter facts, `look__tap` for `look of tap`; the number of the last line."""
        for name, value in facts.items():
            ref = read_fact(self.program, name.replace("__", " of "), {"place": ["tap", "cellar", "attic"]})
            entry = read_value(self.program, ref, value, now=self.at, zone=ZONE)
            serial = {"instrument": with_} if with_ is not None else {}
            self.add(entry.kind, **entry.body, **serial)
        return len(self.lines)

    def trail(self, at: float | None = None) -> str:
        at = as_of(self.lines) if at is None else at
        return markdown(assess(self.program, self.lines, at), self.lines, ZONE)

    def part(self, title: str) -> str:
        return self.trail().split(f"\n## {title}\n")[1].split("\n## ")[0]


@pytest.fixture
def walk(program: Program) -> Walk:
    return Walk(program)


@pytest.fixture
def new_walk(program: Program) -> Callable[[], Walk]:
    return lambda: Walk(program)


def walked(walk: Walk) -> Walk:
    """Two silent places that count, one that weeps by two methods, everything proved before and after."""
    walk.add(
        "instrument",
        serial="G1",
        kind="gauge",
        offset=13789.5,
        repeat=0.0,
        resolution=0.0,
        checked="2026-01-05",
    )
    walk.note(card="yes", nose="good", wind="calm", drip="answered")
    walk.add("event", event="cellar_shut")
    walk.note("G1", pressure="60 psig")
    walk.minutes(5).note("D7", look__tap="none")
    walk.minutes(12).note(gathering_witness="no", look__cellar="none", look__attic="some")
    walk.note(foam__attic="grows", spot__attic="second elbow, north side")
    walk.minutes(20).note(drip="answered")
    return walk


def tables(trail: str) -> list[list[list[str]]]:
    """The tables as a Markdown reader finds them: rows of cells, the heading first."""
    found: list[list[list[str]]] = []
    tokens = MarkdownIt("commonmark").enable("table").parse(trail)
    for index, token in enumerate(tokens):
        if token.type == "table_open":
            found.append([])
        elif token.type == "tr_open":
            found[-1].append([])
        elif token.type in ("td_open", "th_open"):
            cell = tokens[index + 1]
            found[-1][-1].append("".join(child.content for child in cell.children or ()))
    return found


# -- what silence rests on -----------------------------------------------------------------------------------


def test_each_silent_place_shows_the_checks_it_rests_on_with_their_lines(walk: Walk) -> None:
    part = walked(walk).part("Places")
    said = part.split("**Looked at, and it counts.")[1]
    assert "All of them rest on:\n\n- nose: Fit for this, in date (line 5, 09:00)\n\n| Place" in said
    [(heading, tap, cellar)] = tables(part)
    assert heading == ["Place", "Seen", "Proved before", "Proved after", "Needed there"]
    before, after = (
        "drip: It answers and clears (line 7, 09:00)",
        "drip: It answers and clears (line 16, 09:20)",
    )
    assert tap == [
        "Garden tap",
        "Silent, with D7, 09:05, line 10",
        before,
        after,
        "wind: Calm or shielded (line 6, 09:00)",
    ]
    gathered = "Gas gathering in the cellar: ready 09:12"
    assert cellar == ["Cellar run", "Silent, 09:12, line 12", before, after, gathered]


def test_a_void_silence_says_which_check_failed(walk: Walk) -> None:
    walked(walk)
    walk.minutes(21).note(look__tap="none", wind="windy")
    walk.lines = [each for each in walk.lines if each.body.get("read") != "calm"]
    walk.lines = [replace(each, n=number) for number, each in enumerate(walk.lines, 1)]
    walk.minutes(25).note(drip="silent")
    part = walk.part("Places")
    assert "**Looked at, but void: it proves nothing.**" in part
    assert "Why: silence counts only between two proofs." in part
    void = next(rows for rows in tables(part) if any("not so:" in cell for row in rows for cell in row))
    assert void[1][0] == "Garden tap"
    assert "**No result yet:** Garden tap (void)" in walk.part("In short")
    assert void[1][3] == f"not so: drip: It stays silent (line {len(walk.lines)}, 09:25)"


def test_a_silence_whose_closing_check_is_missing_waits(walk: Walk) -> None:
    walked(walk)
    walk.lines.pop()
    part = walk.part("Places")
    assert "**Looked at, and waiting for what must follow before it counts:**" in part
    waiting = tables(part)[-1]
    assert waiting[1][3] == "open: drip: not known, the check that must follow has not been made"


def test_what_was_not_found_is_said_once_with_all_its_places(walk: Walk) -> None:
    said = walked(walk).part("Findings")
    assert "**Nothing under these limits** – not found\n  - At: Garden tap; Cellar run\n" in said
    assert said.count("Nothing under these limits") == 1


# -- one place, once -----------------------------------------------------------------------------------------


def test_one_place_shown_by_two_methods_is_one_finding_with_its_evidence(walk: Walk) -> None:
    said = walked(walk).part("Findings")
    heads = re.findall(r"^- \*\*(.*)\*\* – (\w+)", said, re.MULTILINE)
    assert heads[0] == ("Attic run: It weeps here", "confirmed")
    assert sum("Attic run" in title for title, _ in heads) == 1
    attic = said.split("\n- ")[1]
    assert "Nose at this place: It answers, 09:12, line 13." in attic
    assert "Does foam grow here? Foam grows, 09:12, line 14." in attic
    assert "Where exactly: “second elbow, north side”, 09:12, line 15." in attic
    assert "Also: Foam says it weeps – probable" in attic


def test_a_finding_tells_the_tests_that_decided_it_and_no_others(walk: Walk) -> None:
    said = walked(walk).part("Findings").split("**It is steady**")[1].split("\n- ")[0]
    assert "`wind is calm`" in said
    assert "nose is bad" not in said


def test_in_short_ranks_places_then_pressure_and_leaves_properties_to_the_findings(walk: Walk) -> None:
    said = [each.removeprefix("- ") for each in walked(walk).part("In short").strip().splitlines()]
    assert said[0] == "No stop is in force, and every stop that rests on safety is ruled out."
    assert said[1] == "**Attic run:** It weeps here – confirmed."
    assert said[2].startswith("**The line is under pressure** – confirmed: `pressure = 60.0 psig ± 2.0 psi,")
    assert said[2].endswith("38 psi to spare` at 95 %.")
    assert not any("nose is fit" in each or "above zero" in each for each in said)
    assert "The nose is fit" in walk.part("Findings")


def test_in_short_tells_confirmed_before_probable_before_suspected(walk: Walk) -> None:
    walked(walk)
    walk.note(foam__tap="grows", look__cellar="some")
    walk.add("correct", line=12, why="misread", undo=None)
    said = walk.part("In short")
    order = [said.index(each) for each in ("It weeps here", "Foam says it weeps", "Something comes out here")]
    assert order == sorted(order)


# -- who, with what ------------------------------------------------------------------------------------------


def test_people_instruments_and_certificates_are_told_with_a_place_to_sign(walk: Walk) -> None:
    walked(walk).add("handover", to="B. Tech")
    walk.by = "B. Tech"
    walk.note(owner="C. Owner", signed="C. Owner")
    said = walk.part("Who, with what")
    assert "- **A. Tech**: lines 1 to 17.\n- **B. Tech**: lines 18 to 19.\n" in said
    assert "Handed over to **B. Tech**, 09:20, line 17." in said
    assert "Card of the trade seen? Yes, 09:00, line 4." in said
    assert "Whose pipe is it? “C. Owner”, 09:20, line 18." in said
    assert "Sign here: “C. Owner”, 09:20, line 19." in said
    [(heading, gauge, nose)] = tables(said)
    assert heading == ["Serial", "Kind", "Tolerance", "Last checked", "Check due", "Readings"]
    assert gauge == ["G1", "Line gauge (gauge)", "offset ±2 psi", "2026-01-05", "2027-01-05", "line 9"]
    assert nose[0] == "D7 (not declared)"
    [(heading, *rows)] = tables(walk.part("Signatures"))
    assert heading[1:] == ["Name", "Licence or certificate number", "Date", "Signature"]
    assert all(row[1:] == ["", "", "", ""] for row in rows)
    assert walk.trail().rstrip().endswith("|")


def test_a_copy_without_names_names_nobody(walk: Walk) -> None:
    walked(walk).add("handover", to="B. Tech")
    walk.note(owner="C. Owner")
    gone = frozenset({"by"})
    walk.lines = [replace(each, by=None, left_out=gone) for each in walk.lines]
    walk.lines[-1] = replace(walk.lines[-1], body={"fact": "owner"}, left_out=gone | {"value", "read"})
    walk.lines[-2] = replace(walk.lines[-2], body={}, left_out=gone | {"to"})
    trail = walk.trail()
    assert not any(name in trail for name in ("A. Tech", "B. Tech", "C. Owner"))
    assert "**(left out of this copy)**: lines 1 to 18." in trail
    assert "Whose pipe is it? left out of this copy, 09:20, line 18." in trail


def test_who_made_an_entry_is_said_where_it_changes(walk: Walk) -> None:
    walk.note(nose="good", wind="calm")
    walk.by = "B. Tech"
    walk.note(drip="answered")
    said = walk.part("Every entry, in order")
    assert said.count("By A. Tech.") == 1
    assert "`drip`: as read `answered`, used as It answers and clears. By B. Tech." in said


# -- hostile words in the new cells --------------------------------------------------------------------------

HOSTILE = [
    "a | b",
    "| --- |",
    "`x | y`",
    "\\",
    "\\|",
    "|",
    "x\n\n# y",
    "<b>z</b>",
    "[a](http://b.example)",
    "**s**",
    "``",
]


@pytest.mark.parametrize("typed", HOSTILE)
def test_typed_words_stay_in_the_cell_they_were_typed_into(new_walk: Callable[[], Walk], typed: str) -> None:
    def hostile(words: str) -> str:
        walk = new_walk()
        walk.by = words
        walked(walk)
        walk.add(
            "instrument", serial=words, kind="gauge", offset=1.0, repeat=0.0, resolution=0.0, checked=None
        )
        walk.note(words, pressure="61 psig", look__cellar="none")
        walk.add("observe", fact="spot", of="attic", value="present", read=words)
        walk.add("observe", fact="owner", value="present", read=words)
        walk.add("handover", to=words)
        walk.minutes(23).note(drip="answered")
        walk.add("close", checklist=None, outcome=words)
        return walk.trail()

    trail = hostile(typed)
    plain = [[len(row) for row in rows] for rows in tables(hostile("plain"))]
    assert [[len(row) for row in rows] for rows in tables(trail)] == plain
    shown = " ".join(typed.split())
    cells = [cell for rows in tables(trail) for row in rows for cell in row]
    assert shown in cells
    assert f"Silent, with {shown}, 09:20, line 19" in cells


# -- nothing said twice --------------------------------------------------------------------------------------


def test_no_sentence_is_said_in_two_parts(walk: Walk) -> None:
    """The record aside, which is every entry as it was made."""
    where: dict[str, set[str]] = {}
    for part in walked(walk).trail().split("\n## ")[1:]:
        title, _, body = part.partition("\n")
        if title == "Every entry, in order":
            continue
        for sentence in re.split(r"(?<=[.:])\s|\n|\|", body):
            if len(sentence.split()) > 5:
                where.setdefault(sentence.strip(" -*"), set()).add(title)
    assert {sentence: parts for sentence, parts in where.items() if len(parts) > 1} == {}
