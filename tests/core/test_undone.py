"""Events that are undone by others, and steps that ask again while something goes on."""

from __future__ import annotations

import sys
from datetime import UTC
from pathlib import Path

import pytest
from stillair.assess import May, follow
from stillair.because import because
from stillair.fault import StillairError
from stillair.verdict import Verdict, Why
from stillair.wording import Wording

sys.path.insert(0, str(Path(__file__).parent))
from test_assess import START, Visit, program

HOLDS, OPEN = Verdict.HOLDS, Verdict.OPEN
POT = """
    facts:
      lid: {ask: Lid, options: [shut, lifted]}
      taste: {ask: Taste, options: [good, raw], counts when: {is: boil is ready, because: it has not boiled}}
      heat:
        ask: Heat
        quantity: temperature
        between: 0 °C .. 200 °C
        nature: series
    events:
      lit: {say: The flame was lit, undone by: [put_out]}
      put_out: {say: The flame was put out}
      covered: {say: The pot was covered, undone by: [lid becomes lifted, put_out]}
    waits:
      boil: {title: Boiling, for: 10 min, since: [lit, covered]}
    steps:
      - {step: light, title: Light it, do: Light the flame., when: boil is not_started, marks: [lit]}
      - {step: cover, do: Put the lid on., when: since lit >= 0 min, marks: [covered], wait: boil}
      - {step: watch, title: Watch it, when: boil is running, ask: [heat], ask every: 3 min}
      - {step: try, title: Try it, gate: boil is ready, ask: [taste]}
    rules:
      - {rule: warm, caution: Warm, when: since lit >= 0 min}
      - {rule: hot, caution: Hot, when: heat > 90 °C}
      - {rule: tasted, caution: Tasted, when: taste is good}
      - {rule: done, finding: cooked, when: boil is ready and taste is good}
"""


def cooking() -> Visit:
    """Lit and covered at minute 0."""
    visit = Visit(POT)
    visit.note("done", step="light")
    visit.note("done", step="cover")
    visit.see(heat=330.0)
    return visit


def test_what_is_undone_has_not_happened() -> None:
    visit = cooking()
    assert visit.rule("warm") is HOLDS
    visit.at(2).happen("put_out")
    assert visit.rule("warm") is OPEN
    assert visit.whys("warm") == {Why.NOT_YET}
    assert any("undone by: put out" in str(r) for r in visit.judge().rules[0].reasons)
    visit.at(3).happen("lit")
    assert visit.rule("warm") is HOLDS


@pytest.mark.parametrize("undoing", ["event", "fact"])
def test_a_wait_has_not_started_where_its_start_is_undone(undoing: str) -> None:
    """However much time goes by: it must begin again, and lasts its whole time from there."""
    visit = cooking()
    visit.at(4)
    if undoing == "event":
        visit.happen("put_out")
        visit.at(5).happen("lit")
    else:
        visit.see(lid="lifted")
    visit.at(60)
    assert visit.judge().waits["boil"].started is None
    assert visit.judge().permission("try").may is May.NOT_YET
    visit.happen("covered")
    visit.at(69)
    assert visit.judge().waits["boil"].options.mask == 2
    assert visit.judge().waits["boil"].started == START + 3600
    assert visit.judge().permission("try").may is May.NOT_YET
    assert visit.at(70).judge().permission("try").may is May.YES


def test_what_counted_before_it_was_undone_counts_still() -> None:
    """Evidence is of its own moment; a rule that names the wait is of now."""
    visit = cooking()
    visit.at(11).see(taste="good")
    assert visit.grade("cooked") == "confirmed"
    visit.at(12).happen("put_out")
    assert visit.rule("tasted") is HOLDS
    assert visit.grade("cooked") == "none"


def test_a_step_is_to_be_done_again_once_what_it_marks_is_undone() -> None:
    visit = cooking()
    assert visit.next()[0] == "wait"
    visit.at(1).happen("put_out")
    assert visit.next() == ("do", "light", [])
    visit.note("done", step="light")
    assert visit.next() == ("do", "cover", [])


def test_line_by_line_it_is_the_same_as_from_the_beginning() -> None:
    """What is followed after each line equals what is worked out anew: the steps too."""
    visit = cooking()
    before = visit.judge()
    for minute, entry in enumerate(("put_out", "lit", "covered", "lifted", "covered", "put_out"), 1):
        visit.at(minute)
        visit.see(lid="lifted") if entry == "lifted" else visit.happen(entry)
        anew = visit.judge()
        before = follow(before, visit.lines, START + 60 * minute)
        assert before.steps == anew.steps
        assert before.next == anew.next
        assert [r.verdict for r in before.rules] == [r.verdict for r in anew.rules]


def test_the_reason_names_what_undid_it() -> None:
    visit = cooking()
    visit.at(1).happen("put_out")
    told = because(Wording(visit.judge(), UTC), "lit")
    assert told.state == "happened once, and has been undone since"
    assert told.says[-1] == "undone by: put out"
    assert because(Wording(visit.judge(), UTC), "put_out").state == "happened once"


def test_a_step_asks_again_what_has_grown_old_while_it_is_wanted() -> None:
    """Every 3 min as long as the wait runs, and no more once it is over."""
    visit = cooking()
    assert visit.at(2).next()[0] == "wait"
    assert visit.at(3).next() == ("ask", "watch", ["heat"])
    visit.see(heat=350.0)
    assert visit.at(5.9).next()[0] == "wait"
    assert visit.at(6).next() == ("ask", "watch", ["heat"])
    visit.cannot("heat")
    assert visit.at(9.5).next()[0] == "wait"
    assert visit.at(10).next() == ("ask", "try", ["taste"])


def test_followed_in_time_it_asks_again_too() -> None:
    visit = cooking()
    before = visit.judge()
    visit.at(1)
    visit.see(lid="shut")
    before = follow(before, visit.lines, START + 60)
    assert before.next.kind == "wait"
    visit.at(4).see(lid="shut")
    before = follow(before, visit.lines, START + 240)
    assert (before.next.kind, before.next.step) == ("ask", "watch")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("undone by: [put_out]", "undone by: [put_of]", "`put_of` is not defined"),
        ("undone by: [put_out]", "undone by: [boil]", "`boil` is not an event"),
        ("ask every: 3 min", "ask every: 3 psi", "psi"),
        ("lid becomes lifted, put_out", "taste becomes raw", "depends on itself"),
        ("ask: [heat], ask every", "do: Look., ask every", "asks nothing again"),
    ],
)
def test_faults_are_named(old: str, new: str, message: str) -> None:
    with pytest.raises(StillairError) as raised:
        program(POT.replace(old, new))
    assert any(message in fault.message for fault in raised.value.faults)
