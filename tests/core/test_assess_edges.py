"""Cases at the edges: instruments, proofs, waits over lists, checks that follow, questions without end."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from stillair.assess import May, assess, follow
from stillair.fault import StillairError
from stillair.verdict import Verdict

sys.path.insert(0, str(Path(__file__).parent))
from test_assess import START, Visit

FAILS, HOLDS, OPEN = Verdict.FAILS, Verdict.HOLDS, Verdict.OPEN


# -- instruments --------------------------------------------------------------------------------------------

WEIGHED = """
    instruments:
      scale: {title: Scale, quantity: mass, offset: 1 kg, repeat: 0 kg, resolution: 0 kg}
      thermometer: {title: Thermometer, quantity: temperature, offset: 0.01 °F, repeat: 0 °F}
    facts:
      m: {ask: M, quantity: mass, unit: kg, between: 0 kg .. 100 kg, read with: scale}
      n: {ask: N, quantity: mass, unit: kg, between: 0 kg .. 100 kg, read with: scale}
    rules:
      - {rule: heavy, caution: c, when: m > 20 kg}
      - {rule: both, caution: c, when: m + n > 20 kg}
      - {rule: more, caution: c, when: m - n > 1.2 kg}
"""


def declared(visit: Visit, serial: str, kind: str, offset: float) -> None:
    visit.note("instrument", serial=serial, kind=kind, offset=offset, repeat=0.0, resolution=0.0)


def test_an_instrument_of_another_kind_lends_no_tolerance() -> None:
    """A thermometer does not make a weight sure to a gram."""
    visit = Visit(WEIGHED)
    declared(visit, "T1", "thermometer", 0.01)
    visit.see(instrument="T1", m=20.5)
    assert visit.rule("heavy") is OPEN


def test_a_reading_keeps_the_tolerance_its_instrument_had_then() -> None:
    """Declared again later, the instrument is better for what is read from then on."""
    visit = Visit(WEIGHED)
    declared(visit, "S", "scale", 1.0)
    visit.at(1).see(instrument="S", m=20.5)
    assert visit.rule("heavy") is OPEN
    visit.at(2)
    declared(visit, "S", "scale", 0.1)
    assert visit.rule("heavy") is OPEN
    visit.at(3).see(instrument="S", m=20.5)
    assert visit.rule("heavy") is HOLDS


def test_without_serials_two_readings_may_share_an_offset_or_not() -> None:
    """A sum takes it as shared and a difference as not: the less is known, the less is sure."""
    visit = Visit(WEIGHED)
    visit.see(m=10.8, n=10.8)
    assert visit.rule("both") is OPEN  # 21.6 kg, and 2 kg off if one scale read both
    visit.at(1).see(m=12.2, n=10.8)
    assert visit.rule("more") is OPEN  # 1.4 kg, and 1.4 kg off if two scales did


# -- activities ---------------------------------------------------------------------------------------------


def test_an_activity_is_not_answered_by_what_is_never_done() -> None:
    """Asked of an activity, the steps that could be done answer, and not one that is there to be refused."""
    visit = Visit("""
    facts: {full: {ask: F, kind: yes-no}}
    activities: {pouring: {title: Pouring}}
    steps:
      - {step: splash, title: S, activity: pouring, never: It burns.}
      - {step: pour, title: P, activity: pouring, when: full is no, do: Pour.}
""")
    visit.see(full="yes")
    found = visit.judge().any_step("pouring")
    assert (found.may, [each.say for each in found.blocked if each.say == "It burns."]) == (May.NO, [])
    visit.at(1).see(full="no")
    assert visit.judge().any_step("pouring").may is May.YES


# -- powered states and waits -------------------------------------------------------------------------------


def test_a_proof_that_does_not_count_ends_no_powered_state() -> None:
    """Read dead with a tester that does not work is not read dead."""
    visit = Visit("""
    facts:
      tester: {ask: T, kind: yes-no}
      dead: {ask: D, kind: yes-no, good for: 30 min, counts when: {is: tester is yes, for: ["yes"]}}
      hand: {ask: H, kind: yes-no}
    activities: {reaching: {title: Reach in}}
    steps:
      - {step: prove, title: Prove, ask: [tester, dead], why: w}
      - {step: flush, title: Flush, do: Blow, why: w}
      - {step: reach-in, title: Reach in, activity: reaching, ask: [hand], why: w}
    powered:
      - {state: blow, title: Blowing, of: source, frees: [one], gate: always, at most: 5 min, steps: [flush],
         proof: [dead is yes]}
    lists: {source: {title: Sources, members: {one: One}}}
    rules: [{rule: r, caution: c, when: dead is yes}]
""")
    visit.see(tester="yes", dead="yes")
    visit.at(1).happen("blow_begun")
    visit.at(2).note("done", step="flush")
    visit.at(3).see(tester="no", dead="yes")
    assert visit.judge().permission("reach-in").may is May.NOT_YET
    visit.at(4).see(tester="yes", dead="yes")
    assert visit.judge().permission("reach-in").may is May.YES
    # Once ended, it stays so though the proof grows old.
    assert visit.at(90).judge().permission("reach-in").may is May.YES


def test_a_wait_runs_from_the_first_look_that_counts() -> None:
    """Seen stopped in the dark at first, and again with the lamp on: the second begins it."""
    visit = Visit("""
    facts:
      lamp: {ask: L, kind: yes-no}
      blower: {ask: B, options: [stopped, runs], counts when: {is: lamp is yes, for: [stopped]}}
    waits: {pool: {title: P, for: 15 min, since: [blower is stopped]}}
    rules: [{rule: ready, caution: c, when: pool is ready}]
""")
    visit.see(lamp="no")
    visit.at(1).see(blower="stopped")
    visit.at(11).see(lamp="yes", blower="stopped")
    assert (visit.at(17).rule("ready"), visit.at(27).rule("ready")) == (FAILS, HOLDS)


MANY = """
    lists:
      valve: {{title: Valves, ask: Any other?, members: {{a: A, b: B}}, open: {open}}}
    events:
      shut: {{say: It was shut, per: valve}}
    facts:
      shown: {{ask: S, options: [open, shut], per: valve}}
    waits:
      by_event: {{title: W, for: 10 min, since: [shut]}}
      by_any: {{title: W, for: 10 min, since: [any shut]}}
      by_fact: {{title: W, for: 10 min, since: [shown becomes shut]}}
    rules:
      - {{rule: event, caution: c, when: by_event is ready}}
      - {{rule: whichever, caution: c, when: by_any is ready}}
      - {{rule: fact, caution: c, when: by_fact is ready}}
"""


def test_a_wait_since_something_kept_per_a_list_wants_it_of_all() -> None:
    """Of both valves, from the later one on; `any` takes the latest of those that happened."""
    visit = Visit(MANY.format(open="false"))
    visit.note("event", event="shut", of="a")
    visit.see(shown_of_a="shut")
    visit.at(11)
    assert [visit.rule(r) for r in ("event", "whichever", "fact")] == [FAILS, HOLDS, OPEN]
    visit.note("event", event="shut", of="b")
    visit.see(shown_of_b="shut")
    visit.at(20)
    assert [visit.rule(r) for r in ("event", "whichever", "fact")] == [FAILS, FAILS, FAILS]
    visit.at(22)
    assert [visit.rule(r) for r in ("event", "whichever", "fact")] == [HOLDS, HOLDS, HOLDS]


def test_a_wait_over_an_open_list_is_not_shown_to_have_started() -> None:
    """A third valve may be found."""
    visit = Visit(MANY.format(open="true"))
    for valve in ("a", "b"):
        visit.note("event", event="shut", of=valve)
    visit.at(11)
    assert visit.rule("event") is OPEN
    visit.note("listed", list="valve")
    assert visit.rule("event") is HOLDS


def test_a_wait_that_a_rule_or_a_gate_needs_is_not_passed_over() -> None:
    """A rule for a finding, the `when` of a later step, and the gate of a powered state."""
    base = """
    facts:
      lid: {{ask: L, options: [open, shut]}}
      k: {{ask: K, kind: yes-no}}
    waits:
      still: {{title: Still, for: 10 min, since: [lid becomes shut]}}
    steps:
      - {{step: shut-it, title: Shut it, ask: [lid], why: w}}
      - {{step: wait-for-it, title: Wait, wait: still, why: w}}
      {more}
"""
    for more in (
        "\n    rules: [{rule: r, finding: f, when: still is ready and k is yes}]",
        "- {step: then, title: Then, when: still is ready, ask: [k], why: w}",
        "- {step: flush, title: Flush, do: Blow, why: w}\n"
        "    lists: {source: {title: Sources, members: {one: One}}}\n"
        "    powered:\n"
        "      - {state: blow, title: B, of: source, frees: [one], gate: still is ready, at most: 5 min,\n"
        "         steps: [flush], proof: [lid]}",
    ):
        visit = Visit(base.format(more=more))
        visit.see(lid="shut")
        visit.see(k="yes")
        assert visit.at(1).next()[:2] == ("wait", "wait-for-it"), more


# -- series, checks, findings -------------------------------------------------------------------------------

CHECKED = """
    facts:
      clean: {ask: C, kind: yes-no}
      check: {ask: R, options: [good, bad], nature: series, counts when: {is: clean is yes, for: [good]}}
      look: {ask: L, options: [dry, drop], counts when: {is: first check after look is good, for: [dry]}}
    rules: [{rule: dry, caution: c, when: look is dry}]
"""


def test_the_check_that_follows_must_itself_count() -> None:
    """One that does not is as if it had not been made; the next that does decides."""
    for later, verdict in (("good", HOLDS), ("bad", OPEN)):
        visit = Visit(CHECKED)
        visit.see(clean="no")
        visit.at(1).see(look="dry")
        visit.at(2).see(check="good")
        assert visit.rule("dry") is OPEN
        visit.at(3).see(clean="yes", check=later)
        assert visit.rule("dry") is verdict


def test_an_old_reading_that_waits_for_its_check_does_not_undo_a_spread() -> None:
    """What is older than the window is in no spread."""
    visit = Visit("""
    facts:
      k: {ask: K, kind: yes-no, nature: series}
      n: {ask: N, quantity: number, between: 0 .. 9, nature: series,
          counts when: {is: first k after n is yes}}
    rules: [{rule: steady, caution: c, when: spread of n over 10 min < 2}]
""")
    visit.see(n=1.0)
    visit.at(1).see(k="yes")
    visit.at(5).see(n=9.0)  # no check follows it within the window
    for minute in (16, 18):
        visit.at(minute).see(n=1.0)
    visit.at(19).see(k="yes")
    assert visit.rule("steady") is HOLDS


def test_a_finding_does_not_outlive_what_undoes_a_safety_fact() -> None:
    """Power was seen: what was found safe is no longer."""
    visit = Visit("""
    facts:
      dead: {ask: D, kind: yes-no, safety: true, void after: [power_seen]}
    events: {power_seen: {say: Power was seen}}
    activities: {reaching: {title: Reach in, gate: safe is confirmed}}
    rules: [{rule: safe, finding: safe, when: dead is yes}]
""")
    visit.see(dead="yes")
    assert visit.judge().activity("reaching").may is May.YES
    visit.at(1).happen("power_seen")
    assert visit.judge().activity("reaching").may is May.NOT_YET


def test_doubting_a_fact_kept_per_a_list_is_refused() -> None:
    """Which member's entry would be in doubt is not said."""
    with pytest.raises(StillairError) as caught:
        Visit("""
    lists: {pipe: {title: Pipes, members: {a: A, b: B}}}
    facts: {t: {ask: T, quantity: temperature, between: 0 °C .. 200 °C, per: pipe}}
    rules: [{rule: r, caution: c, per: pipe, when: t > 5 °C}]
    impossible: [{when: any pipe has (t > 100 °C), slip: too hot, facts: [t]}]
""")
    assert "kept per pipe" in str(caught.value)


# -- one question for ever ----------------------------------------------------------------------------------


def test_a_check_too_close_to_call_is_not_asked_for_ever() -> None:
    """Read once more it would be as close."""
    visit = Visit("""
    facts:
      n: {ask: N, quantity: number, between: 0 .. 100, tolerance: 5, nature: series}
      look: {ask: L, options: [dry, drop], counts when: {is: last n before look < 10, for: [dry]}}
      k: {ask: K, kind: yes-no}
    steps:
      - {step: measure, title: M, ask: [n], why: w}
      - {step: search, title: S, ask: [look], why: w}
      - {step: then, title: T, ask: [k], why: w}
    rules: [{rule: dry, caution: c, when: look is dry}]
""")
    visit.see(n=9.0)
    assert visit.next() == ("ask", "then", ["k"])
    visit.see(k="yes")
    assert visit.next() == ("ask", "search", ["look"])


def test_a_check_that_must_follow_is_not_asked_before_what_it_follows() -> None:
    """The check before cannot be had: nothing is asked again and again, the work goes on."""
    visit = Visit("""
    facts:
      early: {ask: B, kind: yes-no, nature: series}
      late: {ask: A, kind: yes-no, nature: series}
      look: {ask: L, options: [dry, drop], counts when: {is: last early before look is yes
             and first late after look is yes, for: [dry, drop]}}
      k: {ask: K, kind: yes-no}
    steps:
      - {step: test, title: F, ask: [early], why: w}
      - {step: search, title: S, ask: [look, late], why: w}
      - {step: go-on, title: T, ask: [k], why: w}
    rules: [{rule: dry, caution: c, when: look is dry}]
""")
    visit.cannot("early")
    asked = []
    for minute in range(1, 6):
        kind, _, facts = visit.at(minute).next()
        if kind != "ask":
            break
        asked.append(facts[0])
        visit.see(**{facts[0]: "dry" if facts[0] == "look" else "yes"})
    assert len(asked) == len(set(asked))
    assert "k" in asked


def test_two_entries_that_cannot_both_be_are_asked_for_in_turn() -> None:
    """The first said again is confirmed; then the other is asked, and then the work goes on."""
    visit = Visit("""
    facts:
      a: {ask: A, quantity: number, between: 0 .. 100}
      b: {ask: B, quantity: number, between: 0 .. 100}
      k: {ask: K, kind: yes-no}
    steps: [{step: s, title: S, ask: [a, b, k], why: w}]
    rules: [{rule: r, caution: c, when: a < b}]
    impossible: [{when: a > b, slip: a is never more, facts: [a, b]}]
""")
    visit.see(a=20.0, b=10.0)
    assert visit.next()[2] == ["a"]
    visit.at(1).see(a=20.0)
    assert visit.next() == ("settle", None, ["b"])
    visit.at(2).see(b=10.0)
    assert visit.next()[0] != "settle"
    assert visit.rule("r") is OPEN


def test_with_everything_stopped_nothing_is_to_be_settled() -> None:
    """Leave first: a slip of the pen can wait."""
    visit = Visit("""
    facts:
      smell: {ask: S, kind: yes-no, safety: true}
      a: {ask: A, quantity: number, between: 0 .. 100}
      b: {ask: B, quantity: number, between: 0 .. 100}
    activities: {working: {title: Working}}
    steps: [{step: s, title: S, activity: working, ask: [a, b], why: w}]
    rules: [{rule: leave, stop: [working], when: smell is yes, say: Leave, lifted by: Clear air}]
    impossible: [{when: a > b, slip: a is never more, facts: [a, b]}]
""")
    visit.see(smell="no", a=20.0, b=10.0)
    assert visit.next()[0] == "settle"
    visit.at(1).see(smell="yes")
    assert visit.next()[0] == "stopped"


def test_what_cannot_change_and_is_entered_twice_is_settled_not_asked_again() -> None:
    """Another entry of it would only be one more."""
    visit = Visit("""
    facts: {plate: {ask: P, options: [old, new], nature: fixed}}
    steps: [{step: s, title: S, ask: [plate], why: w}]
    rules: [{rule: r, caution: c, when: plate is old}]
""")
    visit.see(plate="old")
    line = visit.at(1).see(plate="new")
    action = visit.judge().next
    assert (action.kind, action.facts[0].name) == ("settle", "plate")
    assert "line 2" in action.why and "line 3" in action.why
    visit.at(2).correct(line, plate="old")
    assert visit.rule("r") is HOLDS
    assert visit.next()[0] == "finished"


def test_a_look_that_waits_for_its_check_is_not_asked_again_over_an_older_one() -> None:
    """The older one went stale; the newest needs only the check."""
    visit = Visit("""
    facts:
      dead: {ask: D, kind: yes-no, void after: [power_seen],
             counts when: {is: first proof after dead is yes, for: ["yes"]}}
      proof: {ask: P, kind: yes-no, nature: series, void after: [power_seen]}
    events: {power_seen: {say: Power was seen}}
    steps: [{step: s, title: S, ask: [dead, proof], why: w}]
    rules: [{rule: safe, caution: c, when: dead is yes}]
""")
    visit.see(dead="yes", proof="yes")
    visit.at(1).happen("power_seen")
    assert visit.next()[2] == ["dead"]
    visit.at(2).see(dead="yes")
    assert visit.next()[2] == ["proof"]
    visit.at(3).see(proof="yes")
    assert visit.rule("safe") is HOLDS


# -- following ----------------------------------------------------------------------------------------------


def test_following_sees_what_a_later_check_makes_of_an_older_reading() -> None:
    """The newest stands as it was; how many count has changed."""
    visit = Visit("""
    facts:
      n2: {ask: N, options: [a, b], nature: series}
      k: {ask: K, options: [a, b], nature: series}
      n: {ask: N, quantity: number, between: 0 .. 9, nature: series,
          counts when: {is: first k after n is a or n2 is a}}
    rules: [{rule: two, caution: c, when: count of n > 1}]
""")
    visit.see(n=1.0)
    visit.at(1).see(n2="a")
    visit.at(2).see(n=7.0)
    before = visit.judge()
    assert before.rules[0].verdict is OPEN
    visit.at(3).see(k="a")
    at = START + 3 * 60
    assert (
        follow(before, visit.lines, at).rules[0].verdict
        is assess(visit.program, visit.lines, at).rules[0].verdict
    )
    assert visit.rule("two") is HOLDS


def test_following_two_lines_out_of_order_is_as_assessing() -> None:
    """The one entered last was taken first."""
    visit = Visit("""
    facts: {n: {ask: N, quantity: number, between: 0 .. 99}}
    rules: [{rule: high, caution: c, when: n > 50}]
""")
    visit.see(n=1.0)
    before = visit.judge()
    visit.at(10).see(n=90.0)
    visit.see(5, n=10.0)
    assert follow(before, visit.lines, START + 600).rules[0].verdict is HOLDS
    assert visit.rule("high") is HOLDS
