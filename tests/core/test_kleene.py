"""The three-valued connectives: tables, laws, and that a whole never says more than its parts allow."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stillair.condition.check import Checker, Scope, Symbol
from stillair.condition.compiled import code_of, functions, slots_of
from stillair.condition.core import All, Condition, Either, OptionDomain, Ref, Test, Truth
from stillair.condition.merge import merged
from stillair.condition.tree import judge
from stillair.possible import Options, judge_mask
from stillair.verdict import Verdict, all_of, any_of

FAILS, HOLDS, OPEN = Verdict.FAILS, Verdict.HOLDS, Verdict.OPEN
VERDICTS = (FAILS, HOLDS, OPEN)
#: The truths that each verdict stands for.
TRUTHS = {FAILS: {False}, HOLDS: {True}, OPEN: {False, True}}


def _verdict(truths: set[bool]) -> Verdict:
    return OPEN if len(truths) == 2 else HOLDS if True in truths else FAILS


@pytest.mark.parametrize(("a", "b"), list(product(VERDICTS, repeat=2)))
def test_and_and_or_are_what_all_truths_of_two_parts_give(a: Verdict, b: Verdict) -> None:
    """Kleene's strong tables, from the truths behind each verdict."""
    pairs = list(product(TRUTHS[a], TRUTHS[b]))
    assert all_of([a, b]) is _verdict({x and y for x, y in pairs})
    assert any_of([a, b]) is _verdict({x or y for x, y in pairs})


@given(st.lists(st.sampled_from(VERDICTS), max_size=6), st.randoms(use_true_random=False))
@settings(derandomize=True, deadline=None, max_examples=200)
def test_the_laws_of_many_parts(parts: list[Verdict], shuffler: random.Random) -> None:
    """Any order, any grouping; of nothing `and` holds and `or` fails."""
    shuffled = list(parts)
    shuffler.shuffle(shuffled)
    assert all_of(shuffled) is all_of(parts)
    assert any_of(shuffled) is any_of(parts)
    for cut in range(len(parts) + 1):
        assert all_of([all_of(parts[:cut]), all_of(parts[cut:])]) is all_of(parts)
        assert any_of([any_of(parts[:cut]), any_of(parts[cut:])]) is any_of(parts)
    assert all_of([]) is HOLDS
    assert any_of([]) is FAILS


@given(st.lists(st.sampled_from(VERDICTS), min_size=1, max_size=5), st.data())
@settings(derandomize=True, deadline=None, max_examples=200)
def test_deciding_a_part_never_flips_the_whole(parts: list[Verdict], data: st.DataObject) -> None:
    """An open part may turn out either way: what was decided without it stays."""
    later = [part if part is not OPEN else data.draw(st.sampled_from(VERDICTS)) for part in parts]
    for join in (all_of, any_of):
        if join(parts) is not OPEN:
            assert join(later) is join(parts)


def test_reading_stops_where_the_rest_cannot_matter() -> None:
    """A decided `and` or `or` asks no further part, so an unneeded calculator is not run."""

    def parts(first: Verdict) -> object:
        yield first
        raise AssertionError("asked for nothing")

    assert all_of(parts(FAILS)) is FAILS  # type: ignore[arg-type]
    assert any_of(parts(HOLDS)) is HOLDS  # type: ignore[arg-type]


# -- conditions over options, by every set of options -------------------------------------------------------

DOMAIN = OptionDomain(("a", "b", "c"))
REFS = (Ref("x"), Ref("y"))
MASKS = range(1, 8)


@st.composite
def _tests(draw: st.DrawFn) -> Condition:
    """A test on one of two facts; options in neither mask are those whose attribute is not known."""
    sure = draw(st.integers(0, 7))
    never = draw(st.integers(0, 7)) & ~sure
    return Test(draw(st.sampled_from(REFS)), sure, never, DOMAIN, f"test {sure} {never}")


CONDITIONS = st.recursive(
    st.one_of(_tests(), st.builds(Truth, st.booleans(), st.just("constant"))),
    lambda parts: st.builds(
        lambda kind, inner: kind(tuple(inner), "joined"),
        st.sampled_from((All, Either)),
        st.lists(parts, min_size=1, max_size=3),
    ),
    max_leaves=6,
)


def _truths(condition: Condition, chosen: dict[Ref, int]) -> set[bool]:
    """What the condition may be when each fact has one option; several where an attribute is not known."""
    match condition:
        case Truth():
            return {condition.value}
        case Test():
            bit = 1 << chosen[condition.ref]
            return {True} if condition.sure & bit else {False} if condition.never & bit else {True, False}
        case All():
            return {all(each) for each in product(*(_truths(part, chosen) for part in condition.parts))}
        case Either():
            return {any(each) for each in product(*(_truths(part, chosen) for part in condition.parts))}
    raise AssertionError(condition)


def _exact(condition: Condition, masks: Sequence[int]) -> set[bool]:
    found: set[bool] = set()
    for x, y in product(range(3), repeat=2):
        if masks[0] >> x & 1 and masks[1] >> y & 1:
            found |= _truths(condition, {REFS[0]: x, REFS[1]: y})
    return found


@given(CONDITIONS)
@settings(derandomize=True, deadline=None, max_examples=120)
def test_three_ways_of_judging_agree_and_are_sound(condition: Condition) -> None:
    """Compiled, walked, and walked after merging: one verdict, decided only where all options agree."""
    compiled = functions(code_of([condition]), 1)[0]
    slots = slots_of(merged(condition))
    for masks in product(MASKS, repeat=2):
        given_masks = dict(zip(REFS, masks, strict=True))
        verdict = Verdict(compiled([given_masks[ref] for ref, _ in slots]))
        values = {ref: Options(mask) for ref, mask in given_masks.items()}
        assert judge(condition, values.__getitem__) is verdict
        assert judge(merged(condition), values.__getitem__) is verdict
        exact = _exact(condition, masks)
        if verdict is not OPEN:
            assert exact == TRUTHS[verdict], (condition, masks)
        elif len(slots) == 1:
            assert exact == {True, False}, f"one fact is judged exactly: {condition} {masks}"


@pytest.mark.parametrize("mask", MASKS)
@pytest.mark.parametrize("sure", range(8))
def test_a_set_of_options_is_judged_by_its_members(mask: int, sure: int) -> None:
    """Holds if all possible options pass, fails if none does; an attribute not known decides nothing."""
    for never in range(8):
        if never & sure:
            continue
        truths: set[bool] = set()
        for bit in range(3):
            if mask >> bit & 1:
                truths |= {True} if sure >> bit & 1 else {False} if never >> bit & 1 else {True, False}
        assert judge_mask(mask, sure, never) is _verdict(truths)


WORDS = ("x is a", "x is a or y is b", "x is a and y is not b", "x is one of a, c and (y is b or x is c)")


@pytest.mark.parametrize("words", WORDS)
def test_not_is_the_truths_turned_round(words: str) -> None:
    """For every set of options, with unknown staying unknown and `and` and `or` changing places."""
    checker = Checker(Scope({ref.name: Symbol(ref.name, "fact", DOMAIN) for ref in REFS}))
    said, denied = checker.condition(words), checker.condition(f"not ({words})")
    for masks in product(MASKS, repeat=2):
        values = dict(zip(REFS, map(Options, masks), strict=True))
        truths = TRUTHS[judge(said, values.__getitem__)]
        assert judge(denied, values.__getitem__) is _verdict({not truth for truth in truths})
