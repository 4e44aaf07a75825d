"""What a job amounts to: small packs in YAML, a few entries, and what a technician would be told."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta, timezone
from textwrap import dedent

import pytest
from stillair.assess import (
    Assessment,
    EntryError,
    May,
    NoSuch,
    Program,
    assess,
    compile_packs,
    follow,
    read_fact,
    read_value,
)
from stillair.calculator import Calculator, Example, Input, Source, calculator
from stillair.condition.core import Ref
from stillair.fault import StillairError
from stillair.job import Line
from stillair.pack import read_texts
from stillair.possible import Number, Options
from stillair.verdict import Verdict, Why

HOLDS, FAILS, OPEN = Verdict.HOLDS, Verdict.FAILS, Verdict.OPEN
PSI = 6894.757293168361
START = 1_780_000_000.0


@calculator(
    inputs={"x": Input("number")}, output="number", unit="1", formula="x squared", valid="everywhere",
    sources=(Source("made for this test"),), examples=(Example({"x": "2"}, "4", "0"),),
)  # fmt: skip
def squared(x: float) -> float:
    """The square."""
    return x * x


CALCULATORS: Mapping[str, Calculator] = {"squared": squared}


def program(text: str) -> Program:
    """The program of a pack with one checklist."""
    manifest = "pack: small\nversion: 1.0.0\ntitle: Small\nengine: '>=0.1'\nchecklists: [small.yaml]\n"
    texts = {"manifest.yaml": manifest, "small.yaml": "checklist: small\ntitle: Small\n" + dedent(text)}
    return compile_packs([read_texts(texts, plugins={}, label="small")], CALCULATORS, {})


class Visit:
    """A job as it goes: times in minutes since the start."""

    def __init__(self, text: str) -> None:
        self.program = program(text)
        self.lines: list[Line] = []
        self.minute = 0.0
        self.note(
            "job", format="stillair.job/1", engine="stillair 0.1.0", title="A visit", packs={}, plugins={}
        )

    def at(self, minute: float) -> Visit:
        self.minute = minute
        return self

    def note(self, kind: str, taken: float | None = None, /, **body: object) -> int:
        now = START + self.minute * 60
        line = Line(
            n=len(self.lines) + 1, kind=kind, taken=now if taken is None else START + taken * 60, entered=now,
            offset=0, by="A. Tech", body=body,  # type: ignore[arg-type]
        )  # fmt: skip
        self.lines.append(line)
        return line.n

    def see(self, taken: float | None = None, instrument: str | None = None, **values: object) -> int:
        """Observe facts: `see(blower="stopped")`, of a member `see(dead_of_indoor="yes")`."""
        n = 0
        for name, value in values.items():
            fact, _, member = name.partition("_of_")
            body: dict[str, object] = {"fact": fact, "value": value, "read": str(value)}
            if member:
                body["of"] = member
            if instrument:
                body["instrument"] = instrument
            n = self.note("observe", taken, **body)
        return n

    def happen(self, event: str, taken: float | None = None) -> int:
        return self.note("event", taken, event=event)

    def correct(self, line: int, **values: object) -> int:
        body = None
        for name, value in values.items():
            body = {"fact": name, "value": value, "read": str(value)}
        return self.note("correct", line=line, why="misread", body=body)

    def cannot(self, fact: str, why: str = "too dark") -> int:
        return self.note("unavailable", fact=fact, reason=why)

    def judge(self, known: float | None = None) -> Assessment:
        return assess(
            self.program, self.lines, START + self.minute * 60, None if known is None else START + known * 60
        )

    def rule(self, name: str, member: str | None = None, known: float | None = None) -> Verdict:
        return next(r for r in self.judge(known).rules if (r.rule, r.member) == (name, member)).verdict

    def whys(self, name: str) -> set[Why]:
        return {reason.why for r in self.judge().rules if r.rule == name for reason in r.reasons}

    def grade(self, name: str) -> str:
        return self.judge().finding(name).grade

    def next(self) -> tuple[str, str | None, list[str]]:
        action = self.judge().next
        return action.kind, action.step, [str(ref) for ref in action.facts]


# -- natures ------------------------------------------------------------------------------------------------

NATURES = """
    facts:
      plate: {ask: Nameplate, options: [old, new], nature: fixed}
      damper: {ask: Damper, options: [open, closed]}
      pressure: {ask: Pressure, quantity: gauge pressure, between: -15 psig .. 700 psig, nature: series}
    rules:
      - {rule: old, caution: Old, when: plate is old}
      - {rule: closed, caution: Closed, when: damper is closed}
      - {rule: high, caution: High, when: pressure > 100 psig}
      - {rule: steady, caution: Steady, when: spread of pressure over 10 min < 2 psi}
      - {rule: twice, caution: Twice, when: count of pressure >= 2}
"""


def test_what_cannot_change_disputes_where_entries_differ() -> None:
    """Two readings of a nameplate: neither wins, and the reason names both lines."""
    visit = Visit(NATURES)
    visit.see(plate="old")
    assert visit.rule("old") is HOLDS
    visit.at(5).see(plate="new")
    assert visit.rule("old") is OPEN
    assert visit.whys("old") == {Why.DISPUTED}
    assert "line 2" in str(visit.judge().view.value(Ref("plate")).reasons[0])
    visit.at(6).correct(2, plate="new")
    assert visit.rule("old") is FAILS


def test_of_a_state_the_newest_stands() -> None:
    """Open, then closed: closed. Entered late, but seen earlier: still closed."""
    visit = Visit(NATURES)
    visit.at(10).see(damper="closed")
    visit.at(12).see(damper="open", taken=5)
    assert visit.rule("closed") is HOLDS
    visit.at(13).see(damper="open")
    assert visit.rule("closed") is FAILS


def test_two_sayings_of_one_moment_dispute() -> None:
    """Nobody can say which was later, so both are possible."""
    visit = Visit(NATURES)
    visit.see(damper="closed")
    visit.see(damper="open")
    assert visit.rule("closed") is OPEN
    assert visit.whys("closed") == {Why.DISPUTED}


def test_of_a_series_all_stand() -> None:
    """The comparison takes the latest, spread and count take all."""
    visit = Visit(NATURES)
    assert visit.rule("steady") is OPEN
    visit.see(pressure=120 * PSI)
    assert visit.rule("twice") is FAILS
    assert visit.rule("steady") is OPEN  # one reading has no spread
    visit.at(1).see(pressure=120 * PSI)
    assert visit.rule("steady") is OPEN  # the readings do not go back ten minutes
    assert visit.whys("steady") == {Why.NOT_YET}
    visit.at(5).see(pressure=90 * PSI)
    assert [visit.rule(name) for name in ("high", "steady", "twice")] == [FAILS, FAILS, HOLDS]
    visit.at(12).see(pressure=91 * PSI)
    assert visit.rule("steady") is HOLDS  # the first reading lies outside the ten minutes


def test_what_cannot_be_had_is_not_an_answer() -> None:
    """Unknown is never yes: the set stays whole, with who said why, and a later look replaces it."""
    visit = Visit(NATURES)
    visit.see(damper="closed")
    visit.at(5).cannot("damper", "it is walled in")
    assert visit.rule("closed") is OPEN
    assert visit.whys("closed") == {Why.UNAVAILABLE}
    visit.at(6).see(damper="closed")
    assert visit.rule("closed") is HOLDS


# -- lists --------------------------------------------------------------------------------------------------

LISTS = """
    lists:
      source: {title: Sources, ask: Any other?, members: {indoor: Indoor, outdoor: Outdoor}, open: true}
      port: {title: Ports, members: {low: Low, high: High}}
    facts:
      dead: {ask: Dead?, kind: yes-no, per: source}
      amps: {ask: Amps, quantity: current, between: 0 A .. 99 A, per: source}
      capped: {ask: Capped?, kind: yes-no, per: port}
    rules:
      - {rule: all-dead, caution: c, when: every source has (dead is yes)}
      - {rule: one-live, caution: c, when: any source has (dead is no)}
      - {rule: two-dead, caution: c, when: count of source with (dead is yes) >= 2}
      - {rule: few, caution: c, when: count of source < 4}
      - {rule: low-sum, caution: c, when: sum of amps over source < 10 A}
      - {rule: high-sum, caution: c, when: sum of amps over source > 10 A}
      - {rule: capped, caution: c, when: every port has (capped is yes)}
      - {rule: this-dead, caution: c, when: dead is yes, per: source}
      - {rule: indoor-dead, caution: c, when: dead of indoor is yes}
"""


def test_over_an_open_list_every_is_at_best_open_and_any_may_hold() -> None:
    """All known sources are dead; only 'that is all' makes it every source, and a new one undoes it."""
    visit = Visit(LISTS)
    visit.see(dead_of_indoor="yes", dead_of_outdoor="yes", amps_of_indoor=2.0, amps_of_outdoor=3.0)
    assert visit.rule("all-dead") is OPEN
    assert visit.whys("all-dead") == {Why.OPEN_LIST}
    assert visit.rule("one-live") is OPEN
    assert visit.rule("two-dead") is HOLDS
    assert visit.rule("few") is OPEN
    assert visit.rule("low-sum") is OPEN
    visit.at(1).note("listed", list="source")
    for name, verdict in (("all-dead", HOLDS), ("one-live", FAILS), ("few", HOLDS), ("low-sum", HOLDS)):
        assert visit.rule(name) is verdict, name
    visit.at(2).note("member", list="source", member="garage", label="Garage panel")
    assert visit.rule("all-dead") is OPEN
    assert visit.rule("this-dead", "garage") is OPEN
    visit.see(dead_of_garage="no")
    assert visit.rule("all-dead") is FAILS
    assert visit.rule("one-live") is HOLDS
    assert visit.rule("this-dead", "garage") is FAILS
    assert visit.rule("this-dead", "indoor") is HOLDS


def test_one_bad_member_decides_an_open_list() -> None:
    """Whoever else is there, not every source is dead."""
    visit = Visit(LISTS)
    visit.see(dead_of_outdoor="no")
    assert visit.rule("all-dead") is FAILS
    visit.see(amps_of_indoor=8.0, amps_of_outdoor=8.0)
    assert visit.rule("high-sum") is HOLDS
    assert visit.rule("low-sum") is FAILS


def test_a_closed_list_needs_no_saying() -> None:
    """Both ports capped is all ports capped; one not asked keeps it open and is what is missing."""
    visit = Visit(LISTS)
    visit.see(capped_of_low="yes")
    assert visit.rule("capped") is OPEN
    rule = visit.program.rules["capped"]
    assert visit.judge().view.missing(rule.when) == (Ref("capped", "high"),)
    visit.see(capped_of_high="yes")
    assert visit.rule("capped") is HOLDS


def test_an_empty_list_that_is_closed_has_nothing_to_show() -> None:
    """`every` of nothing fails, `any` of nothing fails; before it is closed both are open."""
    text = """
        lists: {joint: {title: Joints, ask: Any other?, members: {}, open: true}}
        facts: {tight: {ask: Tight?, kind: yes-no, per: joint}}
        rules:
          - {rule: all, caution: c, when: every joint has (tight is yes)}
          - {rule: some, caution: c, when: any joint has (tight is yes)}
          - {rule: none, caution: c, when: count of joint < 1}
    """
    visit = Visit(text)
    assert [visit.rule(name) for name in ("all", "some", "none")] == [OPEN, OPEN, OPEN]
    visit.note("listed", list="joint")
    assert [visit.rule(name) for name in ("all", "some", "none")] == [FAILS, FAILS, HOLDS]


NESTED = """
    lists:
      joint: {title: Joints, members: {one: One, two: Two}}
      port: {title: Ports, members: {one: One, two: Two}}
    facts:
      tight: {ask: Tight?, kind: yes-no, per: joint}
      capped: {ask: Capped?, kind: yes-no, per: port}
    rules:
      - {rule: pair, caution: c, when: any joint has (any port has (tight is yes and capped is no))}
      - {rule: all, caution: c, when: every joint has (any port has (tight is yes and capped is yes))}
"""


def test_in_a_list_inside_a_list_each_fact_keeps_its_own_member() -> None:
    """Members of two lists may have the same names."""
    visit = Visit(NESTED)
    visit.see(tight_of_one="yes", tight_of_two="yes", capped_of_one="yes", capped_of_two="no")
    assert visit.rule("pair") is HOLDS
    assert visit.rule("all") is HOLDS
    visit.at(1).see(tight_of_two="no")
    assert visit.rule("pair") is HOLDS  # the first joint with the second port
    assert visit.rule("all") is FAILS


# -- events and expiry --------------------------------------------------------------------------------------

EXPIRY = """
    lists: {source: {title: Sources, members: {indoor: Indoor, outdoor: Outdoor}}}
    facts:
      blower: {ask: Blower, options: [stopped, running], void after: [blower_ran, handover]}
      door: {ask: Door, options: [open, shut], good for: 30 min, void after: [blower becomes running]}
      sealed: {ask: Sealed?, kind: yes-no, per: source, void after: [seal_broken]}
    events: {blower_ran: {say: The blower ran}, seal_broken: {say: A seal was broken, per: source}}
    rules:
      - {rule: still, caution: c, when: blower is stopped}
      - {rule: shut, caution: c, when: door is shut}
      - {rule: ran, caution: c, when: since blower_ran < 10 min}
      - {rule: sealed, caution: c, when: sealed is yes, per: source}
"""


def test_an_observation_is_good_for_its_time_and_no_longer() -> None:
    """Thirty minutes are in, a second more is out."""
    visit = Visit(EXPIRY)
    visit.see(door="shut")
    assert visit.at(30).rule("shut") is HOLDS
    assert visit.at(30 + 1 / 60).rule("shut") is OPEN
    assert visit.whys("shut") == {Why.STALE}


def test_an_event_voids_what_was_seen_before_it() -> None:
    """Also one entered late but taken after the look; not one that came before."""
    visit = Visit(EXPIRY)
    visit.happen("blower_ran")
    visit.at(1).see(blower="stopped")
    assert visit.at(5).rule("still") is HOLDS
    visit.happen("blower_ran", taken=3)
    assert visit.rule("still") is OPEN
    assert visit.whys("still") == {Why.STALE}
    assert visit.rule("still", known=2) is HOLDS  # by what was known then
    visit.at(6).see(blower="stopped")
    assert visit.rule("still") is HOLDS
    visit.at(7).note("handover", to="B. Tech")
    assert visit.rule("still") is OPEN


def test_a_fact_that_changes_voids_another() -> None:
    """The blower seen running is an event for the door."""
    visit = Visit(EXPIRY)
    visit.see(door="shut", blower="stopped")
    assert visit.rule("shut") is HOLDS
    visit.at(1).see(blower="running")
    assert visit.rule("shut") is OPEN


def test_an_event_of_one_member_voids_only_its_own() -> None:
    """A broken seal says nothing of the other."""
    visit = Visit(EXPIRY)
    visit.see(sealed_of_indoor="yes", sealed_of_outdoor="yes")
    visit.at(1).note("event", event="seal_broken", of="indoor")
    assert visit.rule("sealed", "indoor") is OPEN
    assert visit.rule("sealed", "outdoor") is HOLDS


def test_an_event_of_any_member_voids_what_is_kept_for_all() -> None:
    """What any member's event voids must not outlive that event; or the pack is refused."""
    text = """
        lists: {source: {title: Sources, members: {indoor: Indoor}}}
        facts: {air: {ask: Air, options: [still, moving], void after: [opened]}}
        events: {opened: {say: It was opened, per: source}}
        rules: [{rule: still, caution: c, when: air is still}]
    """
    try:
        visit = Visit(text)
    except StillairError as error:
        assert "opened" in str(error)
        return
    visit.see(air="still")
    visit.at(1).note("event", event="opened", of="indoor")
    assert visit.rule("still") is OPEN


def test_an_event_that_nobody_noted_has_no_time() -> None:
    """Absent events are not evidence: time since is open, not long ago."""
    visit = Visit(EXPIRY)
    assert visit.rule("ran") is OPEN
    visit.happen("blower_ran")
    assert visit.at(9).rule("ran") is HOLDS
    assert visit.at(11).rule("ran") is FAILS


# -- waits --------------------------------------------------------------------------------------------------

WAITS = """
    facts:
      blower: {ask: Blower, options: [stopped, running], void after: [blower_ran]}
    events: {cabinet_shut: {say: Shut}, blower_ran: {say: Ran}}
    waits:
      pool: {title: Pooling, for: 15 min, since: [cabinet_shut], restarted by: [blower_ran],
             witness: Has anything run since then?}
      rest: {title: Rest, for: 15 min, since: [blower is stopped]}
    rules:
      - {rule: ready, caution: c, when: pool is ready}
      - {rule: rested, caution: c, when: rest is ready}
"""


def test_a_wait_is_ready_only_when_a_witness_says_so() -> None:
    """The clock alone is not enough: no to the question, after the time is up."""
    visit = Visit(WAITS)
    assert visit.rule("ready") is FAILS
    visit.happen("cabinet_shut")
    assert visit.at(14).rule("ready") is FAILS
    visit.see(pool_witness="no")  # too early to vouch for the whole wait
    assert visit.at(15).rule("ready") is OPEN
    assert visit.judge().waits["pool"].ready_at == START + 15 * 60
    visit.at(16).see(pool_witness="no")
    assert visit.rule("ready") is HOLDS


def test_yes_begins_a_wait_again_and_nobody_watching_leaves_it_open() -> None:
    """Something ran: another fifteen minutes. Did not watch: open, with that as the reason."""
    visit = Visit(WAITS)
    visit.happen("cabinet_shut")
    visit.at(16).see(pool_witness="yes")
    assert visit.rule("ready") is FAILS
    assert visit.judge().waits["pool"].ready_at == START + 31 * 60
    visit.at(32).cannot("pool_witness", "was in the van")
    assert visit.rule("ready") is OPEN
    assert visit.whys("ready") == {Why.UNWATCHED}


def test_an_event_begins_a_wait_again_also_after_it_was_ready() -> None:
    """Ready is undone by what restarts it; a correction of that event gives it back."""
    visit = Visit(WAITS)
    visit.happen("cabinet_shut")
    visit.at(16).see(pool_witness="no")
    ran = visit.at(20).happen("blower_ran")
    assert visit.rule("ready") is FAILS
    assert visit.judge().waits["pool"].restarted_by == "blower ran"
    visit.at(21).correct(ran)
    assert visit.rule("ready") is HOLDS


def test_a_wait_that_starts_with_a_fact_runs_from_the_unbroken_run() -> None:
    """Seen stopped twice counts from the first look; what voids the look in between breaks the run."""
    visit = Visit(WAITS)
    visit.see(blower="stopped")
    visit.at(10).see(blower="stopped")
    assert visit.at(15).rule("rested") is HOLDS
    broken = Visit(WAITS)
    broken.at(1).see(blower="stopped")
    broken.at(10).happen("blower_ran")
    broken.at(11).see(blower="stopped")
    assert broken.at(20).rule("rested") is FAILS
    assert broken.at(26).rule("rested") is HOLDS


def test_whether_a_wait_has_begun_may_be_unknown() -> None:
    """A blower that nobody looked at may have stood still for an hour: open, so learning flips nothing."""
    visit = Visit(WAITS)
    assert visit.at(60).rule("rested") is OPEN
    visit.see(blower="stopped", taken=1)
    assert visit.rule("rested") is HOLDS


# -- evidence -----------------------------------------------------------------------------------------------

EVIDENCE = """
    facts:
      air: {ask: Air, options: [still, moving]}
      reference: {ask: Does the detector answer?, options: [answered, silent], nature: series}
      look:
        ask: What did it say?
        options: [none, faint, strong]
        counts when:
          is: >-
            air is still and last reference before look within 30 min is answered
            and first reference after look is answered
          for: [none]
          because: the search rests on still air and a detector that answers
    rules:
      - {rule: clean, caution: c, when: look is none}
      - {rule: leak, caution: c, when: look is strong}
      - {rule: not-strong, caution: c, when: look is not strong}
"""


def _searched(look: str = "none") -> Visit:
    visit = Visit(EVIDENCE)
    visit.see(air="still", reference="answered")
    visit.at(5).see(look=look)
    return visit


def test_a_negative_is_open_until_the_later_check_is_made() -> None:
    """Then it is good; and void if the check fails."""
    visit = _searched()
    assert visit.rule("clean") is OPEN
    assert visit.whys("clean") == {Why.LATER}
    assert [str(ref) for ref in visit.judge().view.missing(visit.program.rules["clean"].when)] == [
        "reference"
    ]
    visit.at(8).see(reference="answered")
    assert visit.rule("clean") is HOLDS
    failed = _searched()
    failed.at(8).see(reference="silent")
    assert failed.rule("clean") is OPEN
    assert failed.whys("clean") == {Why.VOID}


def test_a_positive_stands_without_support() -> None:
    """What answered was there."""
    assert _searched("strong").rule("leak") is HOLDS


def test_evidence_is_judged_as_of_its_moment() -> None:
    """Air that moves later does not undo the look; air that moved then does, also if that is said later."""
    visit = _searched()
    visit.at(8).see(reference="answered")
    visit.at(10).see(air="moving")
    assert visit.rule("clean") is HOLDS
    visit.at(11).see(air="moving", taken=4)
    assert visit.rule("clean") is OPEN
    assert visit.whys("clean") == {Why.VOID}


def test_a_check_too_long_before_does_not_count() -> None:
    """Within 30 minutes means within 30 minutes."""
    visit = Visit(EVIDENCE)
    visit.see(air="still", reference="answered")
    visit.at(31).see(look="none")
    visit.at(32).see(reference="answered")
    assert visit.rule("clean") is OPEN


def test_what_is_entered_later_in_the_same_second_is_no_support() -> None:
    """Of one second, a look knows the lines before its own."""
    visit = Visit(EVIDENCE)
    visit.see(reference="answered")
    visit.at(5).see(look="none", air="still")
    visit.at(6).see(reference="answered")
    assert visit.rule("clean") is OPEN
    earlier = Visit(EVIDENCE)
    earlier.see(reference="answered")
    earlier.at(5).see(air="still", look="none")
    earlier.at(6).see(reference="answered")
    assert earlier.rule("clean") is HOLDS


def test_a_look_without_its_support_is_to_be_made_again() -> None:
    """No later check can help where what it rests on was not shown before it."""
    visit = Visit(
        EVIDENCE
        + """
    steps:
      - {step: prepare, title: Prepare, ask: [air, reference], why: w}
      - {step: search, title: Search, ask: [look], why: w}
"""
    )
    visit.see(look="none")
    visit.at(1).see(air="still", reference="answered")
    assert visit.rule("clean") is OPEN
    assert Why.LATER not in visit.whys("clean")
    assert visit.next() == ("ask", "search", ["look"])


WALK = """
    lists:
      spot:
        title: Spots
        ask: Any other?
        members: {here: Here, there: There, near: Near, beyond: Beyond}
        open: false
    facts:
      air: {ask: Air, options: [still, moving]}
      reference: {ask: Does the detector answer?, options: [answered, silent], nature: series}
      look:
        ask: What did it say?
        options: [none, strong]
        per: spot
        counts when: {is: air is still and last reference before look within 30 min is answered, for: [none]}
    rules:
      - {rule: clean, caution: c, per: spot, when: look is none}
"""


def test_two_looks_rest_on_what_was_so_at_each() -> None:
    """One before the air moved and one after it; one after the last check was too old."""
    visit = Visit(WALK)
    visit.see(air="still", reference="answered")
    visit.at(5).see(look_of_here="none")
    visit.at(6).see(air="moving")
    visit.at(7).see(look_of_there="none")
    visit.at(8).see(air="still")
    visit.at(29).see(look_of_near="none")
    visit.at(31).see(look_of_beyond="none")
    spots = ("here", "there", "near", "beyond")
    assert [visit.rule("clean", spot) for spot in spots] == [HOLDS, OPEN, HOLDS, OPEN]
    visit.at(32).see(reference="answered", look_of_beyond="none")
    assert visit.rule("clean", "beyond") is HOLDS


def test_an_open_negative_does_not_leave_the_older_look_decided() -> None:
    """Strong, then nothing with its check to come: it may be none by now, so neither is decided."""
    visit = _searched("strong")
    visit.at(6).see(look="none")
    assert visit.rule("leak") is OPEN
    assert visit.rule("not-strong") is OPEN


# -- corrections and the two clocks --------------------------------------------------------------------------

FINDINGS = """
    facts:
      pressure: {ask: Pressure, quantity: gauge pressure, between: -15 psig .. 700 psig, good for: 30 min}
      valve: {ask: Valve, options: [open, shut], good for: 30 min}
      smell: {ask: Smell, kind: yes-no}
    rules:
      - {rule: flat, finding: flat, when: pressure < 2 psig and valve is open, why: w}
      - {rule: flat-perhaps, finding: flat, grade: suspected, when: pressure < 20 psig}
      - {rule: now-flat, finding: flat_now, when: pressure < 2 psig, while: true}
      - {rule: so-what, caution: c, when: flat is at least probable and smell is yes}
"""


def test_a_correction_reopens_everything_derived() -> None:
    """Finding, grade, and what rests on the finding."""
    visit = Visit(FINDINGS)
    line = visit.see(pressure=1 * PSI)
    visit.see(valve="open", smell="yes")
    assert visit.grade("flat") == "confirmed"
    assert visit.rule("so-what") is HOLDS
    visit.at(1).correct(line, pressure=11 * PSI)
    assert visit.grade("flat") == "suspected"
    assert visit.rule("so-what") is FAILS
    visit.at(2).correct(visit.lines[-1].n)  # the correction is withdrawn: the first reading again, or none
    assert visit.grade("flat") != "suspected"


def test_a_withdrawn_line_is_as_if_it_had_not_been_said() -> None:
    """Back to not asked."""
    visit = Visit(FINDINGS)
    line = visit.see(pressure=1 * PSI)
    visit.at(1).correct(line)
    assert visit.grade("flat") == "open"
    assert visit.whys("flat-perhaps") == {Why.NOT_ASKED}


def test_a_corrected_line_keeps_its_moment() -> None:
    """What voided it still voids it, even when both were noted in the same minute."""
    visit = Visit(EXPIRY)
    line = visit.see(blower="running")
    visit.happen("blower_ran")
    visit.at(1).correct(line, blower="stopped")
    assert visit.rule("still") is OPEN


def test_two_clocks() -> None:
    """As of then by what is known now, and as of now by what was known then."""
    visit = Visit(FINDINGS)
    line = visit.see(pressure=1 * PSI, valve="open")
    assert line
    visit.at(10).correct(2, pressure=50 * PSI)
    visit.at(11).see(smell="yes", taken=5)
    assert visit.grade("flat") == "none"
    assert visit.judge(known=9).finding("flat").grade == "confirmed"
    visit.at(4)
    assert visit.judge().view.value(Ref("smell")).reasons
    visit.at(5)
    assert not visit.judge().view.value(Ref("smell")).reasons
    assert visit.judge(known=10.5).view.value(Ref("smell")).reasons


def test_a_finding_is_dated_and_not_undone_by_age() -> None:
    """Hours on, the reading is stale and the finding stands as of its moment; `while` says otherwise."""
    visit = Visit(FINDINGS)
    visit.at(3).see(pressure=1 * PSI)
    visit.at(5).see(valve="open")
    for minute in (5, 36, 200):
        found = visit.at(minute).judge().finding("flat")
        assert (found.grade, found.decided) == ("confirmed", START + 5 * 60)
    assert visit.at(5).grade("flat_now") == "confirmed"
    assert visit.at(200).grade("flat_now") == "open"


def test_a_contradiction_reopens_a_finding() -> None:
    """A later reading that does not fit, at any age of the first."""
    visit = Visit(FINDINGS)
    visit.see(pressure=1 * PSI, valve="open")
    visit.at(10).see(pressure=50 * PSI)
    assert visit.grade("flat") == "none"
    assert visit.at(15).grade("flat") == "none"


def test_what_was_reopened_does_not_come_back_by_age() -> None:
    """Said to be unseen at 10: open at 20, and still open when everything else has gone stale too."""
    visit = Visit(FINDINGS)
    visit.see(pressure=1 * PSI, valve="open")
    visit.at(10).cannot("valve", "not to be seen after all")
    assert visit.at(20).judge().finding("flat").grade == "suspected"
    assert visit.at(60).judge().finding("flat").grade != "confirmed"


def test_what_never_mattered_does_not_reopen_a_finding() -> None:
    """One of two was enough; that the other cannot be had, said when both are old, changes nothing."""
    text = """
        facts:
          low: {ask: Low side flat?, kind: yes-no, good for: 30 min}
          high: {ask: High side flat?, kind: yes-no, good for: 30 min}
        rules: [{rule: flat, finding: flat, when: low is yes or high is yes}]
    """
    visit = Visit(text)
    visit.see(low="yes")
    assert visit.at(40).grade("flat") == "confirmed"
    visit.cannot("high")
    assert visit.grade("flat") == "confirmed"
    assert visit.at(41).grade("flat") == "confirmed"


def test_a_grade_may_rise() -> None:
    """A suspicion that one more answer may prove says so."""
    visit = Visit(FINDINGS)
    visit.see(pressure=1 * PSI)
    found = visit.judge().finding("flat")
    assert found.grade == "suspected"
    assert set(found.grades) == {"suspected", "confirmed"}
    visit.see(smell="yes")
    assert visit.rule("so-what") is OPEN


# -- permission: not yet, and no ----------------------------------------------------------------------------

GATES = """
    lists:
      source: {title: Sources, ask: Any other?, members: {indoor: Indoor, outdoor: Outdoor}, open: true}
    facts:
      dead: {ask: Dead?, kind: yes-no, per: source, safety: true}
      gas: {ask: Smell of gas?, kind: yes-no, safety: true}
      blower: {ask: Blower, options: [stopped, running], safety: true}
      photo: {ask: Photo, kind: photo}
      look: {ask: Look, options: [none, seen]}
      lock_again: {ask: Locked again?, kind: yes-no}
    activities:
      sniffing: {title: Sniffing, gate: blower is stopped}
      energising: {title: Energising}
    steps:
      - {step: safe, title: Make safe, ask: [gas, dead]}
      - {step: picture, title: Take a picture, ask: [photo]}
      - {step: sniff, title: Sniff, activity: sniffing, ask: [look], gate: every source has (dead is yes)}
      - {step: flush, title: Flush, do: Run the blower, activity: energising}
      - {step: bypass, title: Bypass, never: A safety device is never bridged}
    powered:
      - {state: blowing, title: Blower flush, frees: [indoor], of: source, gate: gas is no, steps: [flush],
         at most: 60 s, proof: [lock_again]}
    rules:
      - {rule: gas-smell, stop: [sniffing, energising], say: Leave and call, lifted by: the gas company,
         when: gas is yes}
      - {rule: seen, finding: leak, when: look is seen}
"""


def test_not_yet_is_not_stopped() -> None:
    """Not known yet: its facts are missing. Known to be wrong: what stands against it and what lifts it."""
    visit = Visit(GATES)
    permission = visit.judge().activity("energising")
    assert permission.may is May.NOT_YET
    assert Ref("gas") in permission.missing
    visit.see(gas="no")
    assert visit.judge().activity("energising").may is May.YES
    visit.at(1).see(gas="yes")
    permission = visit.judge().activity("energising")
    assert permission.may is May.NO
    assert [(b.say, b.lifted_by, b.safety) for b in permission.blocked] == [
        ("Leave and call", "the gas company", True)
    ]
    assert permission.blocked[0].lines


def test_an_open_gate_names_what_is_missing_and_a_failing_one_what_fails() -> None:
    """The smallest part, not the whole gate."""
    visit = Visit(GATES)
    visit.see(gas="no", blower="stopped", dead_of_indoor="yes")
    permission = visit.judge().permission("sniff")
    assert permission.may is May.NOT_YET
    assert Ref("dead", "outdoor") in permission.missing
    visit.see(dead_of_outdoor="yes")
    permission = visit.judge().permission("sniff")
    assert permission.may is May.NOT_YET
    assert {reason.why for reason in permission.reasons} == {Why.OPEN_LIST}
    visit.at(1).note("listed", list="source")
    assert visit.judge().permission("sniff").may is May.YES
    visit.at(2).see(blower="running")
    permission = visit.judge().permission("sniff")
    assert permission.may is May.NO
    assert "blower is stopped" in permission.blocked[0].say


def test_what_must_never_be_done_is_answered_with_the_reason() -> None:
    """Whatever is known."""
    permission = Visit(GATES).judge().permission("bypass")
    assert permission.may is May.NO
    assert permission.blocked[0].say == "A safety device is never bridged"


def test_a_powered_state_is_begun_ended_by_proof_and_holds_other_work_meanwhile() -> None:
    """Begun: its step is offered, sniffing waits for the proof; the proof ends it; older proof does not."""
    visit = Visit(GATES)
    visit.see(
        gas="no", blower="stopped", dead_of_indoor="yes", dead_of_outdoor="yes", photo="present", look="none"
    )
    visit.see(lock_again="yes")
    visit.note("listed", list="source")
    assert visit.next()[:2] == ("begin", "flush")
    visit.at(1).happen("blowing_begun")
    assert visit.next()[:2] == ("do", "flush")
    permission = visit.judge().permission("sniff")
    assert permission.may is May.NOT_YET
    assert permission.missing == (Ref("lock_again"),)
    visit.at(2).note("done", step="flush")
    visit.see(lock_again="yes")
    assert visit.judge().permission("sniff").may is May.YES


def test_a_stop_does_not_hold_what_it_does_not_name() -> None:
    """With gas in the air the picture is still asked for; what is stopped is not offered."""
    visit = Visit(GATES)
    visit.see(gas="yes", dead_of_indoor="yes", dead_of_outdoor="yes")
    visit.note("listed", list="source")
    assert visit.next() == ("ask", "picture", ["photo"])
    visit.see(photo="present", blower="stopped")
    action = visit.judge().next
    assert action.kind == "stopped"
    assert action.permission.blocked[0].say == "Leave and call"


# -- the next action ----------------------------------------------------------------------------------------

ORDER = """
    facts:
      a: {ask: A, kind: yes-no}
      b: {ask: B, kind: yes-no}
      c: {ask: C, kind: yes-no}
      key: {ask: Key, kind: yes-no}
      photo: {ask: Photo, kind: photo}
    events: {shut: {say: Shut}, opened: {say: Opened}}
    waits:
      pool: {title: Pooling, for: 15 min, since: [shut], restarted by: [opened], witness: Opened?}
    steps:
      - {step: questions, title: Questions, ask: [a, b]}
      - {step: shut-it, title: Shut it, do: Shut the door, marks: [shut]}
      - {step: let-it-pool, title: Wait, wait: pool}
      - {step: read, title: Read, ask: [c], gate: pool is ready and key is yes}
      - {step: open-it, title: Open it, do: Open the door, marks: [opened]}
      - {step: picture, title: Take a picture, ask: [photo]}
      - {step: only-if, title: Only if, do: Do it, when: a is no}
    rules:
      - {rule: both, caution: c, when: a is yes and b is yes}
      - {rule: see, caution: c, when: c is yes}
"""


def test_the_next_action_is_in_order_and_offers_work_during_a_wait() -> None:
    """Ask, do, then the best step that disturbs no wait; its question when the time is up; then on."""
    visit = Visit(ORDER)
    assert visit.next() == ("ask", "questions", ["a", "b"])
    visit.see(a="yes")
    assert visit.next() == ("ask", "questions", ["b"])
    visit.see(b="yes")
    assert visit.next()[:2] == ("do", "shut-it")
    visit.at(1).note("done", step="shut-it")
    assert visit.next() == ("ask", "picture", ["photo"])  # not the opening, which would begin the wait again
    visit.see(photo="present")
    assert visit.next() == ("ask", None, ["key"])  # needed by a later gate, and no step asks it
    visit.see(key="yes")
    assert visit.next()[:2] == ("wait", "let-it-pool")
    assert visit.at(16).next() == ("ask", "let-it-pool", ["pool_witness"])
    visit.see(pool_witness="no")
    assert visit.next() == ("ask", "read", ["c"])
    visit.see(c="yes")
    assert visit.next()[:2] == ("do", "open-it")
    visit.note("done", step="open-it")
    assert {s.step: s.status for s in visit.judge().steps}["only-if"] == "passed over"


def test_only_what_still_matters_is_asked() -> None:
    """A no to the first makes the second pointless; what no rule mentions belongs to the record."""
    text = """
        facts:
          a: {ask: A, kind: yes-no}
          b: {ask: B, kind: yes-no}
          name: {ask: Name, kind: text}
        steps: [{step: questions, title: Questions, ask: [a, b, name]}]
        rules: [{rule: both, finding: both, when: a is yes and b is yes}]
    """
    visit = Visit(text)
    assert visit.next() == ("ask", "questions", ["a", "b", "name"])
    visit.see(a="no")
    assert visit.next() == ("ask", "questions", ["name"])
    visit.see(name="present")
    assert visit.next()[0] == "finished"


def test_what_cannot_be_had_is_not_asked_again() -> None:
    """The work goes on with it open."""
    visit = Visit(ORDER)
    visit.cannot("a")
    visit.see(b="yes")
    assert visit.next()[:2] == ("do", "shut-it")


SUPPORTED = """
    facts:
      lamp: {ask: Does the lamp burn?, kind: yes-no}
      look:
        ask: What is there?
        options: [none, drop]
        counts when: {is: lamp is yes, for: [none], because: in the dark nothing is seen}
    steps:
      - {step: light, title: Light, ask: [lamp], why: w}
      - {step: search, title: Search, ask: [look], why: w}
    rules:
      - {rule: wet, caution: c, when: look is drop}
      - {rule: dry, caution: c, when: look is none}
"""


def test_what_a_look_rests_on_and_cannot_be_had_is_not_asked_for_ever() -> None:
    """A drop would count all the same, so the look is offered; silence then is not, and not asked again."""
    visit = Visit(SUPPORTED)
    visit.cannot("lamp", "no lamp")
    assert visit.next() == ("ask", "search", ["look"])
    visit.at(1).see(look="none")
    assert visit.rule("dry") is OPEN
    assert visit.next()[0] == "finished"
    other = Visit(SUPPORTED)
    other.cannot("lamp", "no lamp")
    other.at(1).see(look="drop")
    assert other.rule("wet") is HOLDS


def test_a_wait_that_nobody_watched_is_not_asked_about_for_ever() -> None:
    """The rest of the work goes on, and at the end it is said what stands open."""
    visit = Visit("""
    facts:
      lid: {ask: L, options: [open, shut]}
      look: {ask: L, options: [dry, drop], counts when: {is: still is ready, for: [dry]}}
      colour: {ask: C, options: [red, blue]}
    waits:
      still: {title: Still, for: 10 min, since: [lid becomes shut], restarted by: [], witness: Was it opened?}
    steps:
      - {step: shut-it, title: Shut it, ask: [lid], why: w}
      - {step: wait-for-it, title: Wait, wait: still, why: w}
      - {step: search, title: Search, ask: [look], why: w}
      - {step: paint, title: Paint, ask: [colour], why: w}
    rules: [{rule: dry, caution: c, when: look is dry}]
""")
    visit.see(lid="shut")
    visit.at(11)
    assert visit.next() == ("ask", "wait-for-it", ["still_witness"])
    visit.cannot("still_witness", "nobody was there")
    assert visit.next() == ("ask", "paint", ["colour"])
    visit.see(colour="red")
    assert visit.next() == ("ask", "search", ["look"])
    visit.at(12).see(look="dry")
    assert visit.rule("dry") is OPEN
    assert visit.next()[0] == "stopped"


def test_an_order_of_work_may_rest_on_what_was_entered_and_does_not_count() -> None:
    """First read, then go on: whether the reading is evidence is another matter."""
    visit = Visit("""
    facts:
      lamp: {ask: L, options: [on, off]}
      look: {ask: L, options: [dry, drop], per: place, counts when: {is: lamp is on, for: [dry]}}
    places:
      - {place: cellar, title: Cellar, how: h, unit: u, belief: 0.5, minutes: 3}
      - {place: attic, title: Attic, how: h, unit: u, belief: 0.5, minutes: 3}
    rules:
      - {rule: read-it, caution: c, when: entries of look of cellar < 1}
      - {rule: counted, caution: c, when: any place has (count of look >= 1)}
      - {rule: once-on, caution: c, when: entries of lamp as on >= 1}
""")
    visit.see(lamp="off")
    assert visit.rule("once-on") is FAILS
    assert visit.rule("read-it") is HOLDS
    visit.at(1).see(look_of_attic="dry")
    assert visit.rule("read-it") is HOLDS
    visit.at(2).see(look_of_cellar="dry")
    assert visit.rule("read-it") is FAILS
    assert visit.rule("counted") is FAILS
    line = visit.at(3).see(lamp="on")
    visit.at(4).see(lamp="off")
    assert visit.rule("once-on") is HOLDS
    visit.at(5).correct(line, lamp="off")
    assert visit.rule("once-on") is FAILS


def test_a_place_that_is_not_to_be_entered_may_not_be_worked_at() -> None:
    """Its `when` stands before the step, also where only a safety fact is not known."""
    visit = Visit("""
    facts:
      water: {ask: W, options: [dry, wet], safety: true}
      look: {ask: L, options: [dry, drop], per: place, counts when: {is: always, for: [dry]}}
    steps: [{step: search, title: Search, ask: [look], why: w}]
    places:
      - {place: cellar, title: Cellar, how: h, unit: u, belief: 0.5, minutes: 3, when: water is dry}
    rules: [{rule: leak, caution: c, per: place, when: look is drop}]
""")
    assert visit.judge().permission("search", "cellar").may is May.NOT_YET
    visit.see(water="wet")
    assert visit.judge().permission("search", "cellar").may is May.NO
    visit.at(1).see(water="dry")
    assert visit.judge().permission("search", "cellar").may is May.YES


def test_skipped_steps_and_closed_checklists_are_left_alone() -> None:
    """With the reason in the job."""
    visit = Visit(ORDER)
    visit.note("skip", step="questions", why="the office knows")
    assert visit.next()[:2] == ("do", "shut-it")
    visit.note("close", checklist=None, outcome="sent home")
    assert visit.next()[0] == "finished"


# -- doubtful entries ---------------------------------------------------------------------------------------

DOUBT = """
    facts:
      wet: {ask: Wet bulb, quantity: temperature, between: -40 °F .. 200 °F, unit: °F}
      dry: {ask: Dry bulb, quantity: temperature, between: -40 °F .. 200 °F, unit: °F}
      room: {ask: Room, quantity: temperature, between: -40 °F .. 200 °F, unit: °F}
    events: {left: {say: Left}}
    impossible: [{when: wet > dry, slip: The two may be swapped, facts: [wet, dry]}]
    suspect: [{facts: [room], expects: room agrees with dry within 20 K}]
    rules:
      - {rule: warm, caution: c, when: dry > 60 °F}
      - {rule: humid, caution: c, when: wet > 60 °F}
      - {rule: earlier, caution: c, when: last wet before left > 60 °F}
"""


def _fahrenheit(value: float) -> float:
    return (value - 32) / 1.8 + 273.15


def test_what_cannot_be_puts_both_entries_in_doubt() -> None:
    """Nothing rests on either until one is corrected."""
    visit = Visit(DOUBT)
    visit.see(wet=_fahrenheit(75), dry=_fahrenheit(65))
    assessment = visit.judge()
    assert {s.ref.name for s in assessment.suspicions} == {"wet", "dry"}
    assert assessment.next.kind == "settle"
    assert assessment.next.why == "The two may be swapped"
    assert visit.rule("warm") is OPEN
    assert visit.rule("humid") is OPEN
    visit.at(1).correct(2, wet=_fahrenheit(62))
    assert visit.judge().suspicions == []
    assert visit.rule("humid") is HOLDS


def test_nothing_rests_on_a_doubtful_entry_by_another_way() -> None:
    """A check named as the last before an event is the same entry."""
    visit = Visit(DOUBT)
    visit.see(wet=_fahrenheit(75), dry=_fahrenheit(65))
    visit.at(1).happen("left")
    assert visit.rule("earlier") is OPEN


def test_a_suspect_unit_asks_and_never_converts() -> None:
    """24 entered as °F beside 75 °F fits only as °C: it asks; said again, it stands as it was said."""
    visit = Visit(DOUBT)
    visit.see(dry=_fahrenheit(75))
    visit.note("observe", fact="room", value=_fahrenheit(24), read="24 °F", unit="°F")
    suspicion = visit.judge().suspicions[0]
    assert suspicion.ref == Ref("room")
    assert suspicion.other == "24 °C"
    assert visit.judge().next.kind == "settle"
    room = visit.judge().view.value(Ref("room"))
    assert isinstance(room, Number)
    assert room.reasons
    visit.at(1).note("observe", fact="room", value=_fahrenheit(24), read="24 °F", unit="°F")
    assert visit.judge().suspicions == []
    room = visit.judge().view.value(Ref("room"))
    assert isinstance(room, Number)
    assert room.low == pytest.approx(_fahrenheit(24))


def test_an_entry_outside_the_domain_is_refused_in_words() -> None:
    """With the unit it may have been; a wrong name with the nearest."""
    found = Visit(DOUBT).program
    with pytest.raises(EntryError) as raised:
        read_value(found, Ref("room"), "300 °F")
    assert "outside" in raised.value.message
    with pytest.raises(EntryError) as raised:
        read_fact(found, "rom")
    assert raised.value.help is not None
    assert "room" in raised.value.help
    entry = read_value(found, Ref("room"), "75")
    assert entry.body["value"] == pytest.approx(_fahrenheit(75))
    assert entry.body["read"] == "75"


# -- tolerance through the whole ----------------------------------------------------------------------------

GAUGES = """
    instruments: {gauge: {title: Gauge, quantity: gauge pressure, offset: 3.5 psi, repeat: 0.5 psi}}
    facts:
      earlier: {ask: A, quantity: gauge pressure, between: 0 psig .. 700 psig, read with: gauge,
                nature: fixed}
      later: {ask: B, quantity: gauge pressure, between: 0 psig .. 700 psig, read with: gauge,
              nature: fixed}
      x: {ask: X, quantity: number, between: -9 .. 9, tolerance: "1"}
      y: {ask: Y, quantity: number, between: 0 .. 90}
    calculate: {square: squared(x)}
    rules:
      - {rule: far, caution: c, when: squared(y - 45) > 2000}
      - {rule: fell, caution: c, when: earlier - later > 1 psi}
      - {rule: high, caution: c, when: earlier > 100 psig}
      - {rule: below, caution: c, when: square < y}
"""


def test_one_gauge_two_readings() -> None:
    """By one serial the offset cancels; by two it does not; near the bound it is too close to call."""
    visit = Visit(GAUGES)
    for serial in ("G1", "G2"):
        visit.note(
            "instrument", serial=serial, kind="gauge", offset=3.5 * PSI, repeat=0.5 * PSI, resolution=None
        )
    visit.see(earlier=120 * PSI, instrument="G1")
    line = visit.see(later=118 * PSI, instrument="G1")
    assert visit.rule("fell") is HOLDS
    visit.correct(line)
    visit.see(later=118 * PSI, instrument="G2")
    assert visit.rule("fell") is OPEN
    assert visit.whys("fell") == {Why.CLOSE}
    assert visit.rule("high") is HOLDS


def test_an_offset_cancels_only_against_the_same_gauge_also_in_a_dispute() -> None:
    """Two gauges gave the first pressure: with either of them the fall must be sure."""
    visit = Visit(GAUGES)
    for serial, offset in (("G1", 5.0), ("G2", 4.0)):
        visit.note(
            "instrument", serial=serial, kind="gauge", offset=offset * PSI, repeat=0.1 * PSI, resolution=None
        )
    visit.see(earlier=120 * PSI, instrument="G1")
    visit.see(earlier=120.5 * PSI, instrument="G2")
    visit.see(later=118 * PSI, instrument="G1")
    assert visit.rule("fell") is OPEN


def test_a_function_that_rises_and_falls_is_not_judged_by_its_ends() -> None:
    """At both ends of what y may be the square is large; in between it is not: open."""
    visit = Visit(GAUGES)
    assert visit.rule("far") is OPEN
    visit.see(y=90.0)
    assert visit.rule("far") is HOLDS


def test_a_curved_calculation_keeps_its_doubt_in_a_comparison() -> None:
    """The square of 0 ± 1 may well be above 0.5, whichever way it is compared."""
    visit = Visit(GAUGES)
    visit.see(x=0.0, y=0.5)
    assert visit.rule("below") is OPEN
    visit.at(1).see(y=5.0)
    assert visit.rule("below") is HOLDS


# -- places -------------------------------------------------------------------------------------------------

PLACES = """
    facts:
      air: {ask: Air, options: [still, moving]}
      look:
        ask: Look
        options: [none, seen]
        per: place
        counts when: {is: air is still, for: [none], because: so}
    activities: {looking: {title: Looking}}
    steps: [{step: search, title: Search, ask: [look], activity: looking}]
    places:
      - {place: coil, title: Coil, belief: 0.5, minutes: 10, order: {sinks: 2, level: 1, rises: 1}}
      - {place: pan, title: Pan, belief: 0.4, minutes: 5, order: {sinks: 1, level: 2, rises: 2}}
    rules:
      - {rule: clean, finding: clean, when: every place has (look is none)}
"""


def test_places_say_what_counts() -> None:
    """Looked at in their order; a negative in moving air is void; one not reached says so."""
    visit = Visit(PLACES)
    visit.see(air="still")
    assert visit.next() == ("ask", "search", ["look of pan"])
    visit.at(1).see(look_of_pan="none")
    assert visit.next() == ("ask", "search", ["look of coil"])
    visit.at(2).see(air="moving", look_of_coil="none")
    states = {p.place: p.status for p in visit.judge().places}
    assert states == {"coil": "void", "pan": "none"}
    assert visit.grade("clean") == "open"
    visit.note("unavailable", fact="look", of="coil", reason="behind the tile")
    assert {p.place: p.status for p in visit.judge().places}["coil"] == "not reached"


def test_options_and_numbers_of_a_fact_are_what_a_view_says() -> None:
    """A view gives sets, not answers: whole where nothing is known."""
    view = Visit(DOUBT).judge().view
    room = view.value(Ref("room"))
    assert isinstance(room, Number)
    assert (room.low, room.high) == (pytest.approx(_fahrenheit(-40)), pytest.approx(_fahrenheit(200)))
    air = Visit(PLACES).judge().view.value(Ref("air"))
    assert isinstance(air, Options)
    assert air.mask == 0b11


def test_y_and_n_answer_yes_or_no_and_nothing_else() -> None:
    """Typed one question too late, `n` would be kept as `none`: evidence by a slip."""
    text = (
        "checklist: kettle\ntitle: K\nfacts:\n"
        "  steam: {ask: Steam?, kind: yes-no}\n"
        "  drops: {ask: What shows?, options: {none: Nothing, few: A few, many: Many}}\n"
    )
    manifest = "pack: kettle\nversion: 1.0.0\ntitle: K\nengine: '>=0.1,<1'\nchecklists: [kettle.yaml]\n"
    pack = read_texts({"manifest.yaml": manifest, "kettle.yaml": text}, plugins={}, label="kettle")
    found = compile_packs([pack], {}, {})
    assert read_value(found, Ref("steam"), "n").body["value"] == "no"
    assert read_value(found, Ref("drops"), "f").body["value"] == "few"
    assert read_value(found, Ref("drops"), "no").body["value"] == "none"
    with pytest.raises(EntryError, match="`n` is not an answer to `drops`"):
        read_value(found, Ref("drops"), "n")


@pytest.mark.parametrize("hours", [2, 0, -4])
def test_a_day_is_said_as_it_was_typed(hours: int) -> None:
    """East of UTC its midnight falls on the day before; what is kept is the moment there."""
    text = (
        "checklist: kettle\ntitle: K\nfacts:\n  due: {ask: Which day?, quantity: moment, "
        "between: 2020-01-01 00:00 +00:00 .. 2060-01-01 00:00 +00:00}\n"
    )
    manifest = "pack: kettle\nversion: 1.0.0\ntitle: K\nengine: '>=0.1,<1'\nchecklists: [kettle.yaml]\n"
    pack = read_texts({"manifest.yaml": manifest, "kettle.yaml": text}, plugins={}, label="kettle")
    zone = timezone(timedelta(hours=hours))
    entry = read_value(compile_packs([pack], {}, {}), Ref("due"), "2026-09-30", zone=zone)
    assert entry.understood == "2026-09-30"
    assert entry.body["value"] == datetime(2026, 9, 30, tzinfo=zone).timestamp()


@pytest.mark.parametrize("recorded", [True, False])
def test_what_is_for_the_record_is_asked_though_its_rule_is_decided_without_it(recorded: bool) -> None:
    """`count of label < 1` is known before anybody answers, so the rule alone makes nobody ask."""
    said = ", for the record: true" if recorded else ""
    visit = Visit(f"""
        facts:
          lid: {{ask: Lid?, options: {{shut: S, open: O}}}}
          label: {{ask: Label?, options: {{red: R, blue: B}}{said}}}
        steps:
          - {{step: look, title: Look, do: Look., ask: [lid, label]}}
        rules:
          - {{rule: unlike, caution: C, when: count of label >= 1 and label is red, source: s}}
          - {{rule: left-open, caution: C, when: lid is open, source: s}}
    """)
    assert visit.next() == ("ask", "look", ["lid", "label"] if recorded else ["lid"])
    visit.see(lid="shut")
    assert visit.next()[2] == (["label"] if recorded else [])
    visit.at(1).see(label="blue")
    assert visit.next()[2] == []


def test_what_is_asked_of_an_earlier_assessment_changes_nothing_in_one_that_follows_it() -> None:
    """A stop that rests on a finding which age does not undo, in whatever order things are asked."""
    visit = Visit(
        """
        facts:
          pressure: {ask: Pressure, quantity: gauge pressure, between: 0 psig .. 700 psig, good for: 30 min}
          smell: {ask: Smell, kind: yes-no}
        activities: {work: {title: Work}}
        steps:
          - {step: look, title: Look, ask: [pressure, smell]}
          - {step: burn, title: Burn, activity: work, do: Burn.}
        rules:
          - {rule: flat, finding: flat, when: pressure < 2 psig, why: w}
          - {rule: halt, stop: [work], when: flat is confirmed, say: Halt., lifted by: It is filled.}
        """
    )
    visit.at(0).see(pressure=6894.757)
    before = assess(visit.program, visit.lines, START + 3600)
    after = follow(before, visit.lines, START + 3660)
    assert before.rule("flat").verdict is Verdict.HOLDS
    assert [state.verdict for state in after.stops] == [Verdict.HOLDS]
    assert after.permission("burn").may is May.NO
    with pytest.raises(NoSuch):
        after.rule("flt")
    with pytest.raises(NoSuch):
        after.finding("flat", "seam")
