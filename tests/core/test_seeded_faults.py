"""Would the suite notice? Each fault a tired person might write is put into the engine, and must be found.

A fault is found if the brute-force reference of `test_soundness` disagrees with the engine where it did not
before, or if a named test fails that passes without it.
"""

from __future__ import annotations

import dataclasses
import sys
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from stillair import calculator as calculators
from stillair.assess import assessment as assessment_module
from stillair.assess import derived, end_of, formula, grades, standing, waits
from stillair.assess.program import Wait
from stillair.assess.stretches import Stretches
from stillair.assess.view import View
from stillair.condition import check, compiled, core, merge, tree
from stillair.condition.check import Checker
from stillair.condition.syntax import ConditionError
from stillair.possible import Number, Options, Region
from stillair.verdict import Verdict, Why

sys.path.insert(0, str(Path(__file__).parent))
import test_assess
import test_assess_edges as edges
import test_conditions
import test_over_members as over
import test_soundness as soundness
import test_tolerance
from oracle import World

Patch = pytest.MonkeyPatch
#: Worlds tried for each fault, until it is found.
SEEDS = range(5000, 5060)


# -- faults -------------------------------------------------------------------------------------------------


def strict_for_not_strict(patch: Patch) -> None:
    """`<` judged as `<=` and the other way round, in the generated source."""
    written = compiled.Spans.number_within

    def swapped(self: compiled.Spans, name: str, region: Region) -> str:
        return written(
            self, name, Region(tuple((a, not a_in, b, not b_in) for a, a_in, b, b_in in region.pieces))
        )

    patch.setattr(compiled.Spans, "number_within", swapped)


def low_and_high_swapped(patch: Patch) -> None:
    """The lowest value is tested where the highest should be, in the generated source."""
    written = compiled.Spans.number_within
    table = str.maketrans("lh", "hl")
    patch.setattr(
        compiled.Spans, "number_within",
        lambda self, name, region: written(self, name, region).translate(table).replace("Fahse", "False"),
    )  # fmt: skip


def no_de_morgan(patch: Patch) -> None:
    """`not (a and b)` becomes `not a and not b`."""
    negated = Checker._negated

    def kept(self: Checker, condition: core.Condition, text: str) -> core.Condition:
        if isinstance(condition, core.All | core.Either):
            return type(condition)(tuple(self._negated(p, p.text) for p in condition.parts), text)
        return negated(self, condition, text)

    patch.setattr(Checker, "_negated", kept)


def not_forgotten(patch: Patch) -> None:
    """`not x is a` read as `x is a`."""
    patch.setattr(Checker, "_negated", lambda self, condition, text: condition)


def masks_swapped(patch: Patch) -> None:
    """What the test is true of, and what it is false of."""
    tested = Checker._is

    def swapped(self: Checker, node: Any) -> core.Test:
        found = tested(self, node)
        assert isinstance(found, core.Test)
        return dataclasses.replace(found, sure=found.never, never=found.sure)

    patch.setattr(Checker, "_is", swapped)


def unknown_attribute_is_no(patch: Patch) -> None:
    """An attribute that is not known counts as another value than the one asked for."""
    tested = Checker._is

    def closed(self: Checker, node: Any) -> core.Test:
        found = tested(self, node)
        assert isinstance(found, core.Test)
        return dataclasses.replace(found, never=found.domain.whole & ~found.sure)

    patch.setattr(Checker, "_is", closed)


def some_is_enough(patch: Patch) -> None:
    """A condition holds if one possible option passes."""
    patch.setattr(compiled.Spans, "options_within", compiled.Spans.options_meet)


def nan_decides(patch: Patch) -> None:
    """A comparison that is not true of a number that does not exist is taken as false of it."""
    patch.setattr(compiled.Spans, "number_meets", compiled.Spans.number_within)


def undefined_is_zero(patch: Patch) -> None:
    """A number that does not exist is 0."""
    span = Number.span
    patch.setattr(Number, "span", lambda self: (0.0, 0.0) if self.undefined else span(self))


def merged_as_or(patch: Patch) -> None:
    """Tests on one fact joined by `and` are brought together as if by `or`."""
    joined = merge._join
    patch.setattr(merge, "_join", lambda a, b, kind: joined(a, b, core.Either))


def open_list_closed(patch: Patch) -> None:
    """A list that nobody has called complete counts as complete."""
    members = View.members
    patch.setattr(View, "members", lambda self, name: (members(self, name)[0], True))


def empty_every_holds(patch: Patch) -> None:
    """`every` over a closed list without members holds."""
    every = derived._each

    def vacuous(view: View, each: core.Each, ref: core.Ref) -> Options:
        if each.quantifier == "every" and view.members(each.list) == ([], True):
            return Options(1)
        return every(view, each, ref)

    patch.setattr(derived, "_each", vacuous)


def outer_member_everywhere(patch: Patch) -> None:
    """Inside a list in a list, the member in hand of the outer list stands for both."""
    hand = derived.in_hand

    def first(self: View, ref: core.Ref, list_name: str, member: str) -> Any:
        found = dict(hand(self, ref, list_name, member))
        if ref.member is not None and len(found) > 1:
            found[list_name] = ref.member
        return found

    patch.setattr(derived, "in_hand", first)


def never_stale(patch: Patch) -> None:
    """`good for` and `void after` both forgotten."""
    patch.setattr(standing, "stale", lambda view, fact, ref, observation: None)


def age_ignored(patch: Patch) -> None:
    """`good for` forgotten."""
    stale = standing.stale
    patch.setattr(
        standing, "stale", lambda view, fact, *rest: stale(view, fact._replace(good_for=None), *rest)
    )


def events_ignored(patch: Patch) -> None:
    """`void after` forgotten."""
    stale = standing.stale
    patch.setattr(
        standing, "stale", lambda view, fact, *rest: stale(view, fact._replace(void_after=()), *rest)
    )


def newest_wins_a_dispute(patch: Patch) -> None:
    """Of entries that differ, the last is taken."""

    def newest(gather: Any) -> Any:
        def gathered(self: View, *given: Any) -> Any:
            return gather(self, *(each[:1] if isinstance(each, list) else each for each in given))

        return gathered

    patch.setattr(standing, "chosen", newest(standing.chosen))
    patch.setattr(standing, "among", newest(standing.among))


def later_check_taken_as_made(patch: Patch) -> None:
    """A negative counts although what must follow has not been shown."""
    doubt = standing.doubt

    def trusting(self: View, fact: Any, ref: core.Ref, observation: Any) -> Any:
        found = doubt(self, fact, ref, observation)
        return None if found is not None and found.why is Why.LATER else found

    patch.setattr(standing, "doubt", trusting)


def void_counts(patch: Patch) -> None:
    """`counts when` is not looked at."""
    patch.setattr(standing, "doubt", lambda view, fact, ref, observation: None)


def counts_as_of_now(patch: Patch) -> None:
    """Evidence is judged by how things are now, not by how they were when it was taken."""
    as_of = View.as_of

    def today(self: View, at: float, judged: Any = None) -> View:
        return as_of(self, end_of(self.now) if judged is not None else at, judged)

    patch.setattr(View, "as_of", today)


def whole_second_counts(patch: Patch) -> None:
    """What is entered for one second counts as entered at once."""
    as_of = View.as_of
    patch.setattr(View, "as_of", lambda self, at, judged=None: as_of(self, end_of(at[0]), judged))


def one_stretch(patch: Patch) -> None:
    """Whatever happens between two looks, what holds for one is taken to hold for the other."""
    begun = Stretches.begun
    patch.setattr(
        Stretches,
        "begun",
        lambda self, names, moment: None if begun(self, names, moment) is None else (0.0, 0.0),
    )


def lapse_begins_no_stretch(patch: Patch) -> None:
    """A look after a check has grown stale is taken to rest on the same as one before."""
    patch.setattr(Stretches, "_lapses", lambda self, name: iter(()))


def check_need_not_count(patch: Patch) -> None:
    """The check before or after is taken whether it counts or not."""
    patch.setattr(derived, "doubt", lambda view, fact, ref, observation: None)


def first_member_starts_a_wait(patch: Patch) -> None:
    """What a wait waits for in every member of a list is enough in one."""
    members = waits._members

    def one(view: View, trigger: Any) -> Any:
        found, _ = members(view, trigger)
        return list(found)[:1], True

    patch.setattr(waits, "_members", one)


def _folding(change: Callable[[Any, Any, float], tuple[Any, Any, float]], patch: Patch) -> None:
    fold = assessment_module.fold
    patch.setattr(
        assessment_module, "fold", lambda lines, program, known: fold(*change(lines, program, known))
    )


def corrections_ignored(patch: Patch) -> None:
    """Lines that correct others are left out."""
    _folding(lambda lines, program, known: ([x for x in lines if x.kind != "correct"], program, known), patch)


def known_clock_ignored(patch: Patch) -> None:
    """Everything in the file is used, also what was entered later."""
    _folding(lambda lines, program, known: (lines, program, float("inf")), patch)


def entered_for_taken(patch: Patch) -> None:
    """The time something was typed stands for the time it was seen."""
    _folding(
        lambda lines, program, known: (
            [dataclasses.replace(x, taken=x.entered) for x in lines],
            program,
            known,
        ),
        patch,
    )


def not_had_is_passed_over(patch: Patch) -> None:
    """`cannot tell` leaves the older answer standing."""
    _folding(
        lambda lines, program, known: ([x for x in lines if x.kind != "unavailable"], program, known), patch
    )


def witness_not_needed(patch: Patch) -> None:
    """A wait is ready by the clock alone."""
    patch.setattr(Wait, "witness", property(lambda self: None))


def restart_ignored(patch: Patch) -> None:
    """What begins a wait again is forgotten."""
    wait = waits.wait_state

    def steady(self: View, name: str) -> Any:
        kept = self.program.waits
        self.program.waits = {**kept, name: kept[name]._replace(restarted_by=())}
        try:
            return wait(self, name)
        finally:
            self.program.waits = kept

    patch.setattr(waits, "wait_state", steady)


def undone_by_age(patch: Patch) -> None:
    """A finding goes when its readings grow old."""
    patch.setattr(grades, "_moments", lambda view, cond, member: iter(()))


def no_window(patch: Patch) -> None:
    """`within 30 min` of a check before or after is not looked at."""
    near = derived._near
    patch.setattr(derived, "_near", lambda view, n, ref: near(view, n._replace(window=None), ref))


def before_is_after(patch: Patch) -> None:
    """The last check before is taken as the first after."""
    near = derived._near
    turned = {"last": "first", "first": "last"}
    patch.setattr(derived, "_near", lambda view, n, ref: near(view, n._replace(kind=turned[n.kind]), ref))


def spread_over_all(patch: Patch) -> None:
    """A spread takes every reading ever made."""
    spread = derived._spread
    patch.setattr(derived, "_spread", lambda view, s, ref: spread(view, s._replace(window=1e12), ref))


def open_member_counts(patch: Patch) -> None:
    """A member whose condition is open is summed as if it held, and may be the highest as surely."""
    lot_of = derived.lot_of

    def sure(view: View, derivation: Any, ref: core.Ref) -> derived.Lot:
        lot = lot_of(view, derivation, ref)
        return lot._replace(picked=[each._replace(sure=True) for each in lot.picked])

    patch.setattr(derived, "lot_of", sure)


def open_member_left_out(patch: Patch) -> None:
    """A member whose condition is open is left out, as if it failed."""
    lot_of = derived.lot_of

    def without(view: View, derivation: Any, ref: core.Ref) -> derived.Lot:
        lot = lot_of(view, derivation, ref)
        return lot._replace(picked=[each for each in lot.picked if each.sure])

    patch.setattr(derived, "lot_of", without)


def sign_of_an_open_member_forgotten(patch: Patch) -> None:
    """What may be nothing only ever raises a sum."""
    lot_of = derived.lot_of

    def raising(view: View, derivation: Any, ref: core.Ref) -> derived.Lot:
        lot = lot_of(view, derivation, ref)
        return lot._replace(
            picked=[
                each
                if each.sure or not isinstance(derivation, core.Sum)
                else each._replace(number=each.number._replace(low=max(0.0, each.number.low)))
                for each in lot.picked
            ]
        )

    patch.setattr(derived, "lot_of", raising)


def highest_of_none_is_zero(patch: Patch) -> None:
    """Over no member the highest is 0, as the sum is."""
    extreme = derived._extreme

    def zero(view: View, each: core.Extreme, ref: core.Ref) -> Number:
        return extreme(view, each, ref) if derived.lot_of(view, each, ref).picked else Number(0.0, 0.0)

    patch.setattr(derived, "_extreme", zero)


def lowest_is_highest(patch: Patch) -> None:
    """`lowest` read as `highest`."""
    extreme = derived._extreme
    patch.setattr(
        derived, "_extreme", lambda view, each, ref: extreme(view, each._replace(kind="highest"), ref)
    )


def highest_forgets_whose_error(patch: Patch) -> None:
    """The highest has a tolerance of its own, not that of the member it is."""
    extreme = derived._extreme

    def apart(view: View, each: core.Extreme, ref: core.Ref) -> Number:
        found = extreme(view, each, ref)
        return found._replace(effects={("stated", each.text): found.tolerance})

    patch.setattr(derived, "_extreme", apart)


def first_of_those_that_may_be_highest(patch: Patch) -> None:
    """Of several that may be the highest, the one that reads highest is taken to be it."""
    contending = derived.contending

    def one(each: Any, lot: derived.Lot) -> list[derived.Picked]:
        found = contending(each, lot)
        return found if isinstance(each, core.Sum) else [max(found, key=lambda p: (p.sure, p.number.low))]

    patch.setattr(derived, "contending", one)


def range_has_no_end(patch: Patch) -> None:
    """A calculator is taken to be valid however far its input goes."""
    patch.setattr(calculators, "FAR", 0.0)


def divided_by_nothing(patch: Patch) -> None:
    """What is divided by may pass through zero between its ends."""
    patch.setattr(calculators, "_keep_from_zero", lambda *given: None)


def always_monotone(patch: Patch) -> None:
    """A function that rises and falls is tried at its ends only."""
    patch.setattr(formula, "_monotone", lambda program, node, ref: True)
    patch.setattr(formula, "_MADE", {})


def offset_never_cancels(patch: Patch) -> None:
    """Each reading of one gauge has an offset of its own."""
    reading = standing.reading

    def apart(self: View, fact: Any, observation: Any) -> Number:
        found = reading(self, fact, observation)
        effects = {(kind, f"{who} {observation.line}"): e for (kind, who), e in found.effects.items()}
        return found._replace(effects=effects)

    patch.setattr(standing, "reading", apart)


def tolerance_forgotten(patch: Patch) -> None:
    """A reading is taken as exact."""
    reading = standing.reading
    patch.setattr(
        standing, "reading",
        lambda self, fact, observation: reading(self, fact, observation)._replace(effects={}),
    )  # fmt: skip


def tree_forgets_or(patch: Patch) -> None:
    """What explains an `or` walks it as an `and`."""
    walk = tree._walk

    def wrong(condition: core.Condition, lookup: Any, found: Any) -> Verdict:
        if isinstance(condition, core.Either):
            condition = core.All(condition.parts, condition.text)
        return walk(condition, lookup, found)

    patch.setattr(tree, "_walk", wrong)


def grade_not_strongest(patch: Patch) -> None:
    """A finding has the grade of the weakest rule that holds."""
    rules = grades.rules_of
    patch.setattr(grades, "rules_of", lambda view, name: list(reversed(rules(view, name))))


def doubtful_entries_stand(patch: Patch) -> None:
    """An entry that cannot be is used until it is settled."""
    patch.setattr(assessment_module, "suspicions", lambda program, history, view: [])


def equal_allowed(patch: Patch) -> None:
    """A gauge pressure is compared with an absolute one."""
    patch.setattr(check, "_difference", lambda dimension: dimension)
    matched = Checker._matched

    def loose(self: Checker, left: Any, right: Any, whole: Any) -> Any:
        try:
            return matched(self, left, right, whole)
        except ConditionError:
            return self._typings(left)[0], self._typings(right)[0]

    patch.setattr(Checker, "_matched", loose)


class Seeded(NamedTuple):
    """A fault and who must find it: the reference, or a named test."""

    put_in: Callable[[Patch], None]
    found_by: Callable[[], None] | None = None

    def __str__(self) -> str:
        return self.put_in.__name__


def _understood() -> None:
    for text, expected in test_conditions.UNDERSTOOD:
        test_conditions.test_understood(text, expected)


def _refused() -> None:
    for row in test_conditions.REFUSED:
        test_conditions.test_refused_with_the_smallest_span(*row)


FAULTS = [
    Seeded(strict_for_not_strict),
    Seeded(low_and_high_swapped),
    Seeded(no_de_morgan),
    Seeded(not_forgotten),
    Seeded(masks_swapped),
    Seeded(unknown_attribute_is_no),
    Seeded(some_is_enough),
    Seeded(nan_decides),
    Seeded(undefined_is_zero),
    Seeded(merged_as_or),
    Seeded(open_list_closed),
    Seeded(empty_every_holds, test_assess.test_an_empty_list_that_is_closed_has_nothing_to_show),
    Seeded(outer_member_everywhere, test_assess.test_in_a_list_inside_a_list_each_fact_keeps_its_own_member),
    Seeded(never_stale),
    Seeded(age_ignored),
    Seeded(events_ignored),
    Seeded(newest_wins_a_dispute),
    Seeded(later_check_taken_as_made),
    Seeded(void_counts),
    Seeded(counts_as_of_now, test_assess.test_evidence_is_judged_as_of_its_moment),
    Seeded(whole_second_counts, test_assess.test_what_is_entered_later_in_the_same_second_is_no_support),
    Seeded(one_stretch, test_assess.test_two_looks_rest_on_what_was_so_at_each),
    Seeded(lapse_begins_no_stretch, test_assess.test_two_looks_rest_on_what_was_so_at_each),
    Seeded(check_need_not_count, edges.test_the_check_that_follows_must_itself_count),
    Seeded(first_member_starts_a_wait, edges.test_a_wait_since_something_kept_per_a_list_wants_it_of_all),
    Seeded(corrections_ignored),
    Seeded(known_clock_ignored),
    Seeded(entered_for_taken),
    Seeded(not_had_is_passed_over),
    Seeded(witness_not_needed),
    Seeded(restart_ignored, test_assess.test_an_event_begins_a_wait_again_also_after_it_was_ready),
    Seeded(no_window, test_assess.test_a_check_too_long_before_does_not_count),
    Seeded(before_is_after),
    Seeded(spread_over_all, test_assess.test_of_a_series_all_stand),
    Seeded(open_member_counts),
    Seeded(open_member_left_out),
    Seeded(sign_of_an_open_member_forgotten),
    Seeded(highest_of_none_is_zero),
    Seeded(lowest_is_highest),
    Seeded(highest_forgets_whose_error, over.test_the_one_highest_is_not_below_itself),
    Seeded(first_of_those_that_may_be_highest, over.test_two_that_may_be_the_highest_are_both_in_doubt),
    Seeded(range_has_no_end, over.test_a_calculator_whose_range_ends_gives_no_bound),
    Seeded(divided_by_nothing, over.test_a_quotient_of_a_disputed_number),
    Seeded(always_monotone, test_assess.test_a_function_that_rises_and_falls_is_not_judged_by_its_ends),
    Seeded(grade_not_strongest, test_assess.test_a_grade_may_rise),
    Seeded(undone_by_age, test_assess.test_a_finding_is_dated_and_not_undone_by_age),
    Seeded(offset_never_cancels, test_assess.test_one_gauge_two_readings),
    Seeded(tolerance_forgotten, test_assess.test_one_gauge_two_readings),
    Seeded(doubtful_entries_stand, test_assess.test_what_cannot_be_puts_both_entries_in_doubt),
    Seeded(tree_forgets_or, soundness.test_the_compiled_judge_and_the_tree_walk_agree),
    Seeded(no_de_morgan, _understood),
    Seeded(equal_allowed, _refused),
]


# -- finding them -------------------------------------------------------------------------------------------

Wrong = set[tuple[int, int, str]]


def _wrong(seed: int) -> Wrong:
    """Where engine and reference disagree in the cases of one seed; a crash is no find."""
    world, cases = _cases(seed)
    program = soundness.program_of(world)
    return {
        (seed, number, found.rule.name)
        for number, case in enumerate(cases)
        for found in soundness.compare(program, case, Counter())
    }


@cache
def _cases(seed: int) -> tuple[World, list[soundness.Case]]:
    """The cases of a seed; made before any fault is in."""
    _, cases = soundness.cases(seed)
    return cases[0].world, cases[::2]


@cache
def _wrong_without_fault(seed: int) -> frozenset[tuple[int, int, str]]:
    return frozenset(_wrong(seed))


@pytest.fixture(scope="module", autouse=True)
def without_fault() -> None:
    """What the reference says of the engine as it is, before any fault is put in."""
    for seed in SEEDS:
        _wrong_without_fault(seed)


@pytest.mark.parametrize("fault", FAULTS, ids=str)
def test_a_seeded_fault_is_found(fault: Seeded) -> None:
    """Put in, it is noticed; taken out again, all is as before."""
    if fault.found_by is not None:
        fault.found_by()
        with pytest.MonkeyPatch.context() as patch:
            fault.put_in(patch)
            with pytest.raises((AssertionError, pytest.fail.Exception)):
                fault.found_by()
        return
    with pytest.MonkeyPatch.context() as patch:
        fault.put_in(patch)
        assert any(_wrong(seed) - _wrong_without_fault(seed) for seed in SEEDS), "nobody noticed"


def test_a_curved_span_that_forgets_its_curve_is_found(monkeypatch: Patch) -> None:
    """Linear spans where simulation is needed: the coverage test of a square fails."""
    from stillair import calculator

    square, values = (lambda v: v[0] ** 2), (test_tolerance._reading(1.0, r1=1.5),)
    test_tolerance.test_a_curved_function_covers_95_percent(square, values)
    monkeypatch.setattr(calculator, "MOST_CURVATURE", 1e9)
    with pytest.raises(AssertionError):
        test_tolerance.test_a_curved_function_covers_95_percent(square, values)
