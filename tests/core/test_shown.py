"""What conditions can show and what scenarios are said to have shown, held against the engine."""

from __future__ import annotations

import pytest
from stillair.assess.uses import asked, each_view, uses
from stillair.authoring.able import able, deciding
from stillair.authoring.coverage import Seer
from stillair.authoring.expectations import conditions
from stillair.authoring.mutants import apart
from stillair.authoring.mutation import Watcher, all_mutants, in_place
from stillair.authoring.parts import Parts
from stillair.condition import core
from stillair.condition.tree import judge
from stillair.possible import Options
from stillair.verdict import Verdict

from .test_assess import Visit, program
from .test_soundness import cases, judged


@pytest.mark.parametrize("seed", range(40))
def test_no_verdict_is_seen_that_cannot_be(seed: int) -> None:
    """In random packs and random worlds, whatever the engine says is among what is said to be possible."""
    pack, worlds = cases(seed)
    found = [judged(pack, world) for world in worlds]
    for each in asked(pack):
        tests = Parts.of(each.condition)
        can, turning = [able(pack, part) for part in tests.parts], deciding(pack, tests)
        whole = able(pack, each.condition)
        refs = dict.fromkeys(core.refs_of(each.condition))
        for assessment in found:
            for use in each.judged_by:
                for view, binding in each_view(assessment.view, use):
                    values = {ref: view.value(ref.bound(binding)) for ref in refs}
                    verdicts = [judge(part, values.__getitem__) for part in tests.parts]
                    assert judge(each.condition, values.__getitem__) in whole, each.text
                    for place, verdict in enumerate(verdicts):
                        assert verdict in can[place], (each.text, place)
                        if len(verdicts) > 1 and tests.decides([int(v) for v in verdicts], place):
                            assert turning[place], (each.text, place)


LISTS = (
    "lists:\n  spot: {title: Spots, members: {a: A, b: B}}\n"
    "  jug: {title: Jugs, open: true, ask: Which jugs?}\n"
)


def test_what_never_happened_is_tried_as_well() -> None:
    """Without the event the condition is open: leaving that part out is no slip that changes nothing."""
    pack = program(
        "facts:\n  shut: {ask: S?, kind: yes-no}\nevents:\n  pumped: {say: P}\n"
        "rules:\n  - {rule: r, caution: c, when: shut is yes and since pumped >= 0 min}\n"
    )
    slips = {(m.part, m.instead): apart(pack, m) for m in all_mutants(pack)}
    case = slips["since pumped >= 0 min", "left out"]
    assert isinstance(case, dict) and None in case.values()


def test_nothing_counted_of_one_member_says_nothing_of_another() -> None:
    text = LISTS + (
        "facts:\n  look: {ask: L?, kind: yes-no, per: spot, nature: series}\n"
        "rules:\n  - {rule: r, per: spot, caution: c, when: count of look < 1 and look of b is yes}\n"
    )
    pack = program(text)
    slips = {(m.part, m.instead): m for m in all_mutants(pack)}
    turned = slips["look of b is yes", "the other way round"]
    assert isinstance(apart(pack, turned), dict)
    visit = Visit(text)
    visit.see(look_of_b="yes")
    assert visit.rule("r", "a") is Verdict.HOLDS


def test_a_name_that_stands_only_negated_says_what_it_says() -> None:
    text = (
        "conditions:\n  busy: x is yes and y is yes\n"
        "facts:\n  x: {ask: X?, kind: yes-no}\n  y: {ask: Y?, kind: yes-no}\n"
        "rules:\n  - {rule: r, caution: c, when: not busy}\n"
    )
    visit = Visit(text)
    visit.see(x="yes", y="yes")
    (check,) = conditions(visit.judge().view, {"condition busy": "holds"})
    assert check.found == "holds"
    pack = program(text)
    (busy,) = [each for each in asked(pack) if each.named == "busy"]
    left_out = next(m for m in all_mutants(pack) if m.asked is busy and m.instead == "left out")
    cond = next(use.cond for use in uses(pack) if use.name == "r")
    with in_place(pack, left_out):
        for mask in range(4):
            values = {core.Ref(n): Options(1 << (mask >> k & 1)) for k, n in enumerate("xy")}
            now = judge(cond.checked, values.__getitem__)
            assert now is not judge(left_out.changed, values.__getitem__)


def test_over_nobody_every_one_does_not_hold() -> None:
    pack = program(
        LISTS + "facts:\n  seen: {ask: S?, kind: yes-no, per: jug}\n"
        "rules:\n  - {rule: r, caution: c, when: every jug has (seen is yes)}\n"
    )
    (each,) = [each for each in asked(pack) if str(each.uses[0]) == "caution r"]
    assert able(pack, each.condition) == set(Verdict)


def test_what_stands_inside_evidence_is_judged_as_of_the_entry() -> None:
    visit = Visit(
        LISTS + "facts:\n  seen: {ask: S?, kind: yes-no, per: spot}\n  chk: {ask: C?, options: [good, bad]}\n"
        "  look:\n    ask: L?\n    options: [wet, dry]\n    counts when: {is: any spot has (seen is yes and "
        "last chk before look is good), for: [dry], because: no check}\n"
        "rules:\n  - {rule: r, caution: c, when: look is dry}\n"
    )
    visit.see(chk="good", seen_of_a="yes")
    visit.at(1).see(look="dry")
    visit.at(2).see(seen_of_a="no")
    seer = Seer(visit.program)
    seer(visit.judge())
    inner = next(each for each in asked(visit.program) if each.uses[0].kind == "inside")
    assert inner.uses[0].judged == "look"
    assert (int(Verdict.HOLDS),) * 3 in seer.seen.verdicts[inner.number]


def test_a_slip_is_noticed_only_by_what_is_judged() -> None:
    """Of a condition for several members an expectation of one says nothing of the others."""
    text = LISTS + (
        "facts:\n  seen: {ask: S?, kind: yes-no, per: spot}\n"
        "rules:\n  - {rule: r, per: spot, caution: c, when: seen is yes}\n"
    )
    visit = Visit(text)
    visit.see(seen_of_a="yes")
    made = all_mutants(visit.program)
    watcher = Watcher(visit.program, made)
    watcher(visit.judge(), {"conditions": {"caution r of b": "open"}})
    assert watcher.differ and not watcher.noticed
    watcher(visit.judge(), {"conditions": {"caution r of a": "holds"}})
    assert watcher.noticed


def test_and_for_or_in_a_condition_with_a_name_is_noticed() -> None:
    text = (
        "conditions:\n  ready: x is yes and y is yes\n"
        "facts:\n  x: {ask: X?, kind: yes-no}\n  y: {ask: Y?, kind: yes-no}\n"
        "rules:\n  - {rule: r, caution: c, when: ready}\n"
    )
    pack = program(text)
    (slip,) = [m for m in all_mutants(pack) if m.instead == "`or` for `and`"]
    visit = Visit(text)
    visit.see(x="no", y="yes")
    with in_place(visit.program, next(m for m in all_mutants(visit.program) if m.instead == slip.instead)):
        assert visit.rule("r") is Verdict.HOLDS
    assert visit.rule("r") is Verdict.FAILS


def test_what_says_that_an_entry_cannot_be_is_judged_before_it_is_in_doubt() -> None:
    """Afterwards the entry counts no more, and it would be open whether the slip is there or not."""
    visit = Visit(
        "facts:\n  lid: {ask: L?, options: [shut, open]}\n  lamp: {ask: M?, options: [lit, dark]}\n"
        "rules:\n  - {rule: r, caution: c, when: lid is shut}\n"
        "impossible:\n  - {when: lid is shut and lamp is lit, slip: It cannot be., facts: [lid]}\n"
    )
    visit.see(lid="shut", lamp="lit")
    found = visit.judge()
    assert [s.slip for s in found.suspicions] == ["It cannot be."] and visit.rule("r") is Verdict.OPEN
    (check,) = conditions(found.view, {"impossible 1": "holds"})
    assert check.found == "holds"
    seer, watcher = Seer(visit.program), Watcher(visit.program, made := all_mutants(visit.program))
    seer(found)
    watcher(found, {"conditions": {"impossible 1": "holds"}})
    (each,) = [each for each in asked(visit.program) if each.uses[0].kind == "impossible"]
    assert (int(Verdict.HOLDS),) * 3 in seer.seen.verdicts[each.number]
    slip = next(n for n, m in enumerate(made) if m.part == "lamp is lit" and "way round" in m.instead)
    assert slip in watcher.noticed
