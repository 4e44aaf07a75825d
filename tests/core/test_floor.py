"""What may never be weakened: ways past a gate, or past the evidence, that must stay shut."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from stillair.assess import May, follow
from stillair.calculator import Calculator, Example, Input, Source
from stillair.condition.core import Ref
from stillair.fault import StillairError

sys.path.insert(0, str(Path(__file__).parent))
from test_assess import CALCULATORS, FAILS, HOLDS, OPEN, PSI, START, Visit

POWERED = """
    lists: {source: {title: Sources, members: {indoor: In, outdoor: Out}}}
    facts:
      locked: {ask: L, kind: yes-no, per: source, safety: true}
      smell: {ask: S, kind: yes-no, safety: true}
    activities: {blowing: {title: Blowing}, working: {title: Working}}
    steps:
      - {step: flush, activity: blowing, do: Blow}
      - {step: run, activity: blowing, do: Run}
      - {step: work, activity: working, do: Work}
    powered:
      - {state: on, title: Flush, frees: [indoor], of: source, gate: smell is no and locked of outdoor is yes,
         steps: [flush], at most: 60 s, proof: [locked is yes]}
      - {state: on2, title: Run, frees: [outdoor], of: source, gate: smell is no, steps: [run], at most: 60 s,
         proof: [locked is yes]}
"""


def may(visit: Visit, step: str) -> May:
    return visit.judge().permission(step).may


def begun() -> Visit:
    visit = Visit(POWERED)
    visit.see(smell="no", locked_of_indoor="yes", locked_of_outdoor="yes")
    assert may(visit, "flush") is May.YES
    visit.at(1).happen("on_begun")
    return visit


def test_a_powered_state_keeps_its_gate_while_it_lasts() -> None:
    visit = begun()
    assert may(visit, "flush") is May.YES
    visit.see(smell="yes")
    assert may(visit, "flush") is May.NO
    assert visit.judge().next.step != "flush"


def test_what_a_powered_state_frees_counts_as_before_also_inside_every() -> None:
    """The freed source is on by design; any other must be locked, also one found meanwhile."""
    visit = Visit(POWERED.replace("locked of outdoor is yes", "every source has (locked is yes)"))
    visit.see(smell="no", locked_of_indoor="yes", locked_of_outdoor="yes")
    assert may(visit, "flush") is May.YES
    visit.at(1).happen("on_begun")
    visit.see(locked_of_indoor="no")
    assert may(visit, "flush") is May.YES
    visit.see(locked_of_outdoor="no")
    assert may(visit, "flush") is May.NO


def test_a_powered_state_ends_with_its_time() -> None:
    visit = begun()
    visit.at(3)
    assert may(visit, "flush") is May.NO
    assert "run over" in visit.judge().permission("flush").blocked[0].say


def test_only_the_proof_itself_ends_a_powered_state() -> None:
    """That it cannot be told, or that it is not locked, proves nothing."""
    visit = begun()
    visit.note("unavailable", fact="locked", of="indoor", reason="cannot tell")
    assert may(visit, "work") is May.NOT_YET
    visit.see(locked_of_indoor="no")
    assert may(visit, "work") is May.NOT_YET
    visit.at(2).see(locked_of_indoor="yes")
    assert may(visit, "work") is May.YES


def test_no_second_powered_state_before_the_first_is_proved_off() -> None:
    assert may(begun(), "run") is May.NOT_YET


def test_a_stale_safety_fact_is_not_kept_alive_by_a_finding() -> None:
    visit = Visit("""
    facts:
      monitor: {ask: M, options: [quiet, alarm], safety: true, good for: 30 min}
    activities: {work: {title: W, gate: not (danger is confirmed)}}
    steps: [{step: work, activity: work, do: W}]
    rules: [{rule: danger, finding: danger, when: monitor is alarm}]
""")
    visit.see(monitor="quiet")
    assert may(visit, "work") is May.YES
    visit.at(600)
    assert may(visit, "work") is May.NOT_YET


@pytest.mark.parametrize("members", ["members: {a: A}, ", ""])
def test_a_stop_kept_per_an_open_list_is_not_passed_before_the_list_is_complete(members: str) -> None:
    visit = Visit(f"""
    facts: {{smell: {{ask: S, kind: yes-no, per: tank, safety: true}}}}
    lists: {{tank: {{title: T, ask: More?, {members}open: true}}}}
    activities: {{work: {{title: W}}}}
    steps: [{{step: work, activity: work, do: W}}]
    rules: [{{rule: leave, stop: [work], per: tank, when: smell is yes, say: Go, lifted by: x}}]
""")
    if members:
        visit.see(smell_of_a="no")
    assert may(visit, "work") is May.NOT_YET
    visit.at(1).note("listed", list="tank")
    assert may(visit, "work") is May.YES


def test_a_step_that_is_not_wanted_may_not_be_done() -> None:
    visit = Visit("""
    facts: {damper: {ask: D, options: [a, b], safety: true}}
    steps: [{step: plain, do: P, when: damper is a}]
""")
    assert may(visit, "plain") is May.NOT_YET
    visit.see(damper="b")
    assert may(visit, "plain") is May.NO


def test_what_cannot_be_told_breaks_the_run_a_wait_counts_from() -> None:
    visit = Visit("""
    facts: {blower: {ask: B, options: [stopped, running]}}
    waits: {pool: {title: P, for: 15 min, since: [blower is stopped]}}
    rules: [{rule: ready, caution: C, when: pool is ready}]
""")
    visit.see(blower="stopped")
    visit.at(1).cannot("blower")
    visit.at(16).see(blower="stopped")
    assert visit.rule("ready") is FAILS


def test_looking_back_follows_the_rules_for_evidence() -> None:
    """A reading that does not count is in no spread, no count and no `since`."""
    visit = Visit("""
    facts:
      lamp: {ask: L, options: [good, bad]}
      p: {ask: P, quantity: gauge pressure, unit: psig, between: -15 psig .. 700 psig, nature: series,
          counts when: lamp is good}
    rules:
      - {rule: steady, caution: C, when: spread of p over 10 min < 2 psi}
      - {rule: two, caution: C, when: count of p >= 2}
      - {rule: recent, caution: C, when: since p < 5 min}
""")
    visit.see(lamp="bad")
    visit.see(p=100 * PSI)
    visit.at(1).see(p=100 * PSI)
    assert (visit.rule("steady"), visit.rule("two"), visit.rule("recent")) == (OPEN, FAILS, OPEN)


def test_a_check_that_could_no_longer_be_had_is_not_the_last_good_one() -> None:
    visit = Visit("""
    facts:
      ref: {ask: R, options: [answered, silent], nature: series}
      look: {ask: L, options: [dry, drop], counts when: {is: last ref before look is answered, for: [dry]}}
    rules: [{rule: dry, caution: C, when: look is dry}]
""")
    visit.see(ref="answered")
    visit.at(1).cannot("ref")
    visit.at(2).see(look="dry")
    assert visit.rule("dry") is OPEN


def test_a_check_after_what_voids_it_says_nothing_of_before() -> None:
    """The tip got wet between the look and the check that should have confirmed it."""
    visit = Visit("""
    facts:
      ref: {ask: R, options: [answered, silent], nature: series, void after: [tip_wet]}
      look: {ask: L, options: [dry, drop], counts when: {is: first ref after look is answered, for: [dry]}}
    events: {tip_wet: {say: The tip got wet}}
    rules: [{rule: dry, caution: C, when: look is dry}]
""")
    visit.see(look="dry")
    visit.at(1).happen("tip_wet")
    visit.at(2).see(ref="answered")
    assert visit.rule("dry") is OPEN


def test_saying_twice_that_a_list_is_complete_undoes_nothing() -> None:
    visit = Visit("""
    lists: {valve: {title: Valves, ask: More?, members: {a: A}, open: true}}
    facts:
      shut: {ask: S, kind: yes-no, per: valve}
      look: {ask: L, options: [dry, drop], counts when: {is: every valve has (shut is yes), for: [dry]}}
    rules: [{rule: dry, caution: C, when: look is dry}]
""")
    visit.see(shut_of_a="yes")
    visit.at(1).note("listed", list="valve")
    visit.at(2).see(look="dry")
    visit.at(5).note("listed", list="valve")
    assert visit.rule("dry") is HOLDS


def calculator(function: object, **inputs: Input) -> Calculator:
    return Calculator(
        name="made_up",
        function=function,
        inputs=inputs,
        output="number",
        unit="1",  # type: ignore[arg-type]
        formula="n = f(x)",
        sources=(Source("a test"),),
        valid="everywhere",
        examples=(Example({}, "1", "0"),),
        rises_with=("x",),
    )


def test_errors_that_depend_on_what_is_not_known_cancel_against_nothing() -> None:
    CALCULATORS["scaled_up"] = calculator(
        lambda x, way: x * {"one": 1, "three": 3}[way], x=Input("number"), way=Input(options=("one", "three"))
    )
    visit = Visit("""
    facts:
      way: {ask: W, options: [one, three]}
      x: {ask: X, quantity: number, unit: "1", between: 0 .. 1000, tolerance: 10}
    calculate: {n: "scaled_up(x, way)"}
    rules: [{rule: r, caution: C, when: n - 3 * x >= -210}]
""")
    visit.see(x=100.0)
    assert visit.rule("r") is OPEN


@pytest.mark.parametrize("given", ["text", None, True])
def test_a_calculator_that_gives_no_number_stops_the_job(given: object) -> None:
    broken = calculator(lambda x: given, x=Input("number"))
    with pytest.raises(StillairError, match="not a number"):
        broken(1.0)


def test_a_calculator_that_raises_is_named_with_its_file() -> None:
    def raising(x: float) -> float:
        raise ZeroDivisionError("oh")

    with pytest.raises(StillairError, match=r"test_floor\.py:\d+:1: .* raised ZeroDivisionError"):
        calculator(raising, x=Input("number"))(1.0)


def test_a_powered_state_begun_again_is_seen_by_following() -> None:
    visit = begun()
    visit.at(1.2).note("done", step="flush")
    visit.at(3).see(locked_of_indoor="yes")
    before = visit.judge()
    assert before.view.value(Ref("smell")).lines
    visit.at(5).happen("on_begun")
    now = START + 5 * 60
    assert follow(before, visit.lines, now).steps[0] == visit.judge().steps[0]
