"""The letter to the owner, what went in and out, and what is left open: made from the assessment alone."""

from __future__ import annotations

import sys
from datetime import UTC
from pathlib import Path

import pytest
from stillair.fault import StillairError
from stillair.trail import letter, markdown, write
from stillair.trail.letter import DOUBTS
from stillair.verdict import Why

sys.path.insert(0, str(Path(__file__).parent))
from test_assess import START, Visit

DAY = 86_400.0
TEXT = """
    lists:
      drum: {title: Drums, members: {one: One, two: Two}}
    facts:
      poured: {ask: Poured in?, quantity: mass, unit: kg, between: 0 kg .. 100 kg, tolerance: 0.1 kg}
      drawn: {ask: Drawn off?, quantity: mass, unit: kg, between: 0 kg .. 100 kg, tolerance: 0.2 kg}
      of_drum: {ask: Of this drum?, quantity: mass, unit: kg, between: 0 kg .. 100 kg, per: drum}
      tight: {ask: Tight?, kind: yes-no}
      danger: {ask: Danger?, kind: yes-no, safety: true}
      again_on:
        ask: When again?
        quantity: moment
        between: 2000-01-01 00:00 +00:00 .. 2100-01-01 00:00 +00:00
        due: true
      undone: {ask: What is left?, kind: text, personal: false, left open: true}
      who: {ask: Who?, kind: text, personal: true}
    activities:
      working: {title: Working}
    calculate:
      drums: sum of of_drum over drum
    balances:
      - {balance: water, title: Water in and out, in: {poured: Poured}, out: {drawn: Drawn, drums: In drums}}
    steps:
      - {step: look, activity: working, ask: [poured, drawn, of_drum, tight, danger, again_on, undone, who]}
    rules:
      - rule: is-tight
        finding: held
        when: tight is yes
        source: made up
        owner: {part: done, say: "It holds {poured} now.", open: "whether it holds"}
      - rule: leaks
        finding: leak
        grade: suspected
        when: tight is no
        source: made up
        owner: {part: found, say: "It may leak."}
      - rule: leaks-surely
        finding: leak
        when: tight is no and poured > 5 kg
        source: made up
        owner: {part: found, say: "It leaks."}
      - rule: stay-out
        stop: [working]
        say: Stay out of it
        lifted by: The danger is over.
        when: danger is yes
        source: made up
"""


def told(visit: Visit) -> str:
    return write(letter(visit.judge(), visit.lines, UTC))


def test_every_reason_of_doubt_has_its_own_plain_phrase() -> None:
    assert set(DOUBTS) == set(Why)
    assert len(set(DOUBTS.values())) == len(Why)
    assert not any(
        word in " ".join(DOUBTS.values()) for word in ("verdict", "fact", "span", "stale", "disputed")
    )


def test_what_holds_is_said_with_its_numbers() -> None:
    visit = Visit(TEXT)
    visit.see(poured=4.0, tight="yes")
    said = told(visit)
    assert "## What we did\n\n- It holds about 4 kg now." in said
    assert "cannot say" not in said


def test_what_is_open_is_said_in_plain_words() -> None:
    visit = Visit(TEXT)
    assert "We cannot say yet whether it holds: nobody has looked yet." in told(visit)
    visit.cannot("tight")
    assert "We cannot say yet whether it holds: it could not be found out." in told(visit)


def test_a_number_that_is_not_known_is_not_made_up() -> None:
    visit = Visit(TEXT)
    visit.see(tight="yes")
    assert "It holds 0 kg to 100 kg now." in told(visit)


def test_the_same_is_told_once_with_the_most_certainty() -> None:
    visit = Visit(TEXT)
    visit.see(tight="no")
    assert "It may leak." in told(visit)
    visit.see(poured=8.0)
    assert "It leaks." in told(visit)
    assert "It may leak." not in told(visit)


def test_the_day_and_what_is_left_stand_in_both() -> None:
    visit = Visit(TEXT)
    visit.see(again_on=START + 30 * DAY)
    visit.note("observe", fact="undone", value=True, read="the far *valve*")
    said, record = told(visit), markdown(visit.judge(), visit.lines, UTC)
    assert "Still to be done: the far \\*valve\\*" in said
    assert "We look at it again on " in said
    assert "**Left open:** the far \\*valve\\*" in record
    assert "**To be looked at again:**" in record


def test_a_stop_of_safety_is_told_and_the_last_word_always() -> None:
    visit = Visit(TEXT)
    said = told(visit)
    assert "## For your safety" not in said
    for text in ("no certificate", "authority having jurisdiction", "call the emergency number"):
        assert text in said
    visit.see(danger="yes")
    assert "Not to be done now: Stay out of it" in told(visit)


def test_nothing_personal_is_repeated() -> None:
    visit = Visit(TEXT)
    visit.see(tight="yes", poured=1.0)
    visit.note("observe", fact="who", value=True, read="a name nobody should read")
    assert "a name nobody should read" not in told(visit)


def test_the_same_job_gives_the_same_letter() -> None:
    visit = Visit(TEXT)
    visit.see(tight="yes", poured=1.0)
    assert told(visit) == told(visit)


# -- in and out ---------------------------------------------------------------------------------------------


def test_a_balance_adds_up_with_its_tolerance() -> None:
    """8 kg less 3 and less 1 + 2: the tolerances of 0.1 and 0.2 kg make 0.22 (root of the sum of squares)."""
    visit = Visit(TEXT)
    visit.see(poured=8.0, drawn=3.0, of_drum_of_one=1.0, of_drum_of_two=2.0)
    record = markdown(visit.judge(), visit.lines, UTC)
    assert "## Water in and out" in record
    assert "| In drums | out | 3 kg |" in record
    assert "| **all out** |  | **6.00 kg ± 0.20 kg** |" in record
    assert "| **in less out** |  | **2.00 kg ± 0.22 kg** |" in record


def test_what_is_not_known_is_not_nothing() -> None:
    visit = Visit(TEXT)
    visit.see(poured=8.0)
    record = markdown(visit.judge(), visit.lines, UTC)
    assert "drawn is not settled" in record.replace("`", "")
    assert "| **in less out** |  | **-" in record, "as little as all that may have been drawn leaves"


def test_of_what_nothing_was_entered_nothing_is_told() -> None:
    visit = Visit(TEXT)
    visit.see(tight="yes")
    assert "Water in and out" not in markdown(visit.judge(), visit.lines, UTC)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("{poured: Poured}", "{pored: Poured}", "there is no number `pored`"),
        ("{poured: Poured}", "{tight: Poured}", "`tight` is not a number"),
        ("{poured: Poured}", "{of_drum: Poured}", "`of_drum` is kept per drum"),
        ("{poured: Poured}", "{again_on: Again}", "`again_on` is a moment"),
        ("{drawn: Drawn, drums: In drums}", "{}", "has nothing under `out`"),
        ("It holds {poured} now.", "It holds {pored} now.", "there is no number `pored`"),
        ("left open: true", "due: true", "`due` belongs to a fact with `quantity: moment`"),
        (
            "        due: true\n",
            "        left open: true\n",
            "`left open` belongs to a fact with `kind: text`",
        ),
    ],
)
def test_a_slip_is_told_with_its_place(old: str, new: str, said: str) -> None:
    assert old in TEXT
    with pytest.raises(StillairError, match=said):
        Visit(TEXT.replace(old, new))
