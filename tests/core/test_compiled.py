"""Compiled conditions give the verdict of the slow walk over the tree, for whatever the facts may be."""

import marshal
import math
import random
import runpy
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from stillair.condition.batch import Batch, Narrowing
from stillair.condition.batch_source import batch_code, batch_slots
from stillair.condition.check import Checker, Scope, Symbol
from stillair.condition.compiled import code_of, functions, slots_of
from stillair.condition.core import (
    All,
    Condition,
    Either,
    NumberDomain,
    OptionDomain,
    Ref,
    Test,
    Truth,
    Within,
)
from stillair.condition.merge import merged
from stillair.condition.syntax import DEEPEST, ConditionError
from stillair.condition.tree import judge
from stillair.possible import Number, Options, Region
from stillair.quantity import DIMENSIONS

BENCH = Path(__file__).parents[1] / "bench" / "bench_conditions.py"
INF, NAN = math.inf, math.nan
NUMBER = DIMENSIONS["number"]
NUMBERS = tuple(Ref(f"x{i}") for i in range(3))
DOMAINS = {
    Ref("yes_no"): OptionDomain(("yes", "no")),
    Ref("colour"): OptionDomain(("red", "green", "blue", "grey")),
    Ref("one"): OptionDomain(("only",)),
}

#: Few values, so that spans often end exactly on a bound.
ENDS = st.sampled_from((-INF, -1.5, 0.0, 1.0, 2.0, 2.5, INF))
Spans = dict[Ref, tuple[float, float]]
Masks = dict[Ref, int]


def _regions() -> st.SearchStrategy[Region]:
    compared = st.builds(Region.comparison, st.sampled_from(("<", "<=", ">", ">=")), ENDS)
    between = st.builds(lambda a, b: Region.within(min(a, b), max(a, b)), ENDS, ENDS)
    return st.recursive(
        compared | between,
        lambda inner: st.one_of(
            st.builds(Region.union, inner, inner),
            st.builds(Region.intersection, inner, inner),
            st.builds(Region.complement, inner),
        ),
        max_leaves=3,
    )


@st.composite
def _option_tests(draw: st.DrawFn) -> Test:
    """A test, possibly one that says nothing about some of the options."""
    ref = draw(st.sampled_from(list(DOMAINS)))
    whole = DOMAINS[ref].whole
    sure = draw(st.integers(0, whole))
    never = whole & ~sure
    if draw(st.integers(0, 3)) == 0:
        never &= draw(st.integers(0, whole))
    return Test(ref, sure, never, DOMAINS[ref], "options")


CONDITIONS: st.SearchStrategy[Condition] = st.recursive(
    st.one_of(
        st.builds(Within, st.sampled_from(NUMBERS), _regions(), st.just(NUMBER), st.just("number")),
        _option_tests(),
        st.builds(Truth, st.booleans(), st.just("truth")),
    ),
    lambda inner: st.builds(
        lambda kind, parts: kind(tuple(parts), "joined"),
        st.sampled_from((All, Either)),
        st.lists(inner, min_size=2, max_size=4),
    ),
    max_leaves=8,
)
POINTS = ENDS.map(lambda x: (x, x))
SPANS = st.one_of(
    POINTS,
    st.tuples(ENDS, ENDS).map(lambda pair: (min(pair), max(pair))),
    st.just((-INF, INF)),
    st.just((NAN, NAN)),
)
FACTS = st.tuples(
    st.fixed_dictionaries(dict.fromkeys(NUMBERS, SPANS)),
    st.fixed_dictionaries({ref: st.integers(1, domain.whole) for ref, domain in DOMAINS.items()}),
)
COMPLETE = st.tuples(
    st.fixed_dictionaries(dict.fromkeys(NUMBERS, POINTS)),
    st.fixed_dictionaries(
        {
            ref: st.integers(0, len(domain.names) - 1).map(lambda bit: 1 << bit)
            for ref, domain in DOMAINS.items()
        }
    ),
)


def walked(conditions: list[Condition], spans: Spans, masks: Masks) -> list[int]:
    """What the slow walk says."""

    def lookup(ref: Ref) -> Number | Options:
        if ref in masks:
            return Options(masks[ref])
        low, high = spans[ref]
        return Number.nothing() if low != low else Number(low, high, shape=(low, high))

    return [int(judge(condition, lookup)) for condition in conditions]


def alone(conditions: list[Condition], spans: Spans, masks: Masks) -> list[int]:
    """What the function of each single condition says."""
    found = []
    judges = functions(marshal.loads(marshal.dumps(code_of(conditions))), len(conditions))
    for condition, function in zip(conditions, judges, strict=True):
        flat: list[float] = []
        for ref, is_number in slots_of(merged(condition)):
            flat += spans[ref] if is_number else (masks[ref],)
        found.append(function(flat))
    return found


def lists(
    conditions: list[Condition], spans: Spans, masks: Masks
) -> tuple[list[float], list[float], list[int]]:
    slots = batch_slots(conditions)
    lows, highs = ([spans[ref][end] for ref in slots.numbers] for end in (0, 1))
    return lows, highs, [masks[ref] for ref in slots.options]


def together(conditions: list[Condition], spans: Spans, masks: Masks) -> list[int]:
    """What the one function of all conditions says."""
    return Batch(batch_code(conditions)).judge(*lists(conditions, spans, masks))


def within(ref: Ref, region: Region) -> Within:
    return Within(ref, region, NUMBER, "number")


@given(st.lists(CONDITIONS, min_size=1, max_size=8), FACTS)
@example([within(NUMBERS[0], Region.comparison("<", INF))], (dict.fromkeys(NUMBERS, (0.0, INF)), {}))
@example([within(NUMBERS[0], Region.comparison(">", -INF))], (dict.fromkeys(NUMBERS, (-INF, 0.0)), {}))
@example([within(NUMBERS[0], Region.comparison("<", -1e300))], (dict.fromkeys(NUMBERS, (NAN, NAN)), {}))
def test_compiled_conditions_agree_with_the_slow_walk(
    conditions: list[Condition], facts: tuple[Spans, Masks]
) -> None:
    expected = walked(conditions, *facts)
    assert alone(conditions, *facts) == expected
    assert together(conditions, *facts) == expected


@given(st.lists(CONDITIONS, min_size=1, max_size=6), COMPLETE)
def test_the_simpler_function_for_complete_facts_agrees(
    conditions: list[Condition], facts: tuple[Spans, Masks]
) -> None:
    # So many that the simpler function is made.
    conditions = conditions * 12
    assert together(conditions, *facts) == walked(conditions, *facts)


@given(st.lists(CONDITIONS, min_size=1, max_size=3), COMPLETE)
def test_a_number_that_does_not_exist_is_never_taken_for_a_complete_fact(
    conditions: list[Condition], facts: tuple[Spans, Masks]
) -> None:
    conditions = conditions * 12
    spans: Spans = dict.fromkeys(NUMBERS, (NAN, NAN))
    assert together(conditions, spans, facts[1]) == walked(conditions, spans, facts[1])


@given(
    st.lists(CONDITIONS, min_size=1, max_size=8),
    FACTS,
    st.lists(
        st.one_of(
            st.tuples(st.sampled_from(NUMBERS), SPANS),
            *(st.tuples(st.just(ref), st.integers(1, domain.whole)) for ref, domain in DOMAINS.items()),
        ),
        max_size=12,
    ),
)
def test_verdicts_kept_up_to_date_agree_after_every_fact(
    conditions: list[Condition],
    facts: tuple[Spans, Masks],
    learnt: list[tuple[Ref, tuple[float, float] | int]],
) -> None:
    """Narrower and wider values, options taken back, numbers that come and go."""
    spans, masks = dict(facts[0]), dict(facts[1])
    slots = batch_slots(conditions)
    narrowing = Narrowing(Batch(batch_code(conditions)), *lists(conditions, spans, masks))
    for ref, value in learnt:
        if isinstance(value, int):
            masks[ref] = value
            if ref in slots.options:
                narrowing.options(slots.options[ref], value)
        else:
            spans[ref] = value
            if ref in slots.numbers:
                narrowing.number(slots.numbers[ref], *value)
        assert narrowing.verdicts == walked(conditions, spans, masks)


@given(st.lists(CONDITIONS, min_size=1, max_size=8), COMPLETE, st.permutations([*NUMBERS, *DOMAINS]))
def test_learning_every_fact_from_nothing_ends_where_judging_all_at_once_does(
    conditions: list[Condition], facts: tuple[Spans, Masks], order: list[Ref]
) -> None:
    slots = batch_slots(conditions)
    nothing: Spans = dict.fromkeys(NUMBERS, (-INF, INF))
    unknown = {ref: domain.whole for ref, domain in DOMAINS.items()}
    narrowing = Narrowing(Batch(batch_code(conditions)), *lists(conditions, nothing, unknown))
    for ref in order:
        before = list(narrowing.verdicts)
        if ref in slots.options:
            narrowing.options(slots.options[ref], facts[1][ref])
        elif ref in slots.numbers:
            narrowing.number(slots.numbers[ref], *facts[0][ref])
        flipped = [b for b, a in zip(before, narrowing.verdicts, strict=True) if b != 2 and a != b]
        assert not flipped
    assert narrowing.verdicts == walked(conditions, *facts)


def test_many_bounds_on_one_number_are_all_judged() -> None:
    """More than one row of tests within tests, some on the very same bound, and joins that share them."""
    conditions: list[Condition] = []
    for k in range(150):
        below = within(NUMBERS[1], Region.comparison("<", k))
        for operator in ("<", ">", "<=", ">="):
            bound = within(NUMBERS[0], Region.comparison(operator, k // 2))
            conditions += [All((bound, below), "both"), Either((bound, below), "either")]
    batch = Batch(batch_code(conditions))
    for low, high in ((-1.0, -1.0), (20.2, 20.2), (3.0, 3.0), (3.0, 60.0), (-INF, INF), (1e9, 1e9)):
        for other in ((12.0, 12.0), (12.5, 40.0)):
            spans = {NUMBERS[0]: (low, high), NUMBERS[1]: other}
            assert batch.judge(*lists(conditions, spans, {})) == walked(conditions, spans, {})


def nested(depth: int) -> Condition:
    condition: Condition = within(NUMBERS[0], Region.comparison("<", 1.0))
    for level in range(depth):
        ref, kind = NUMBERS[level % 3], (All, Either)[level % 2]
        test: Condition = within(ref, Region.comparison("<>"[level % 2], float(level % 5)))
        if level % 7 == 0:
            test = Test(Ref("colour"), 1 << level % 4, 0b0111 & ~(1 << level % 4), DOMAINS[Ref("colour")], "")
        condition = kind((test, condition), f"level {level}")
    return condition


@pytest.mark.parametrize("depth", [5, DEEPEST])
def test_deep_nesting_is_judged_all_the_same(depth: int) -> None:
    conditions = [nested(depth), nested(depth - 1)]
    ends = (-INF, -0.5, 0.5, 1.0, 2.0, 3.5, 4.0, INF)
    dice, seen = random.Random(depth), set[int]()
    judges = functions(code_of(conditions), 2)
    # Often enough for the simpler function to be made as well.
    batch = Batch(batch_code(conditions * 5))
    for number in range(40):
        spans: Spans = {}
        for ref in NUMBERS:
            low, high = sorted(dice.choices(ends, k=2))
            spans[ref] = (low, low) if number % 2 else (low, high)
        masks: Masks = {Ref("colour"): 1 << dice.randrange(4) if number % 2 else dice.randint(1, 15)}
        expected = walked(conditions, spans, masks)
        seen.update(expected)
        for condition, function, verdict in zip(conditions, judges, expected, strict=True):
            flat: list[float] = []
            for ref, is_number in slots_of(merged(condition)):
                flat += spans[ref] if is_number else (masks[ref],)
            assert function(flat) == verdict
        assert batch.judge(*lists(conditions, spans, masks)) == expected * 5
    assert seen == {0, 1, 2}


def text_nested(depth: int) -> str:
    text = "x0 > 7"
    for level in range(depth):
        text = f"x{1 + level % 2} > {level} {'or' if level % 2 else 'and'} ({text})"
    return text


def checked(text: str) -> Condition:
    scope = Scope()
    for ref in NUMBERS:
        scope.symbols[ref.name] = Symbol(ref.name, "fact", NumberDomain(NUMBER))
    return Checker(scope).condition(text)


def test_the_deepest_part_of_a_condition_written_as_text_counts() -> None:
    condition = checked(text_nested(DEEPEST - 2))
    for value, verdict in (((8.0, 8.0), 1), ((6.0, 6.0), 0), ((6.0, 8.0), 2)):
        # x1 meets every `and`, x2 meets no `or`: all rests on x0.
        spans = {NUMBERS[0]: value, NUMBERS[1]: (1e6, 1e6), NUMBERS[2]: (-1.0, -1.0)}
        assert alone([condition], spans, {}) == together([condition], spans, {}) == [verdict]


@pytest.mark.parametrize("depth", [DEEPEST + 1, 300, 3000])
def test_text_too_deep_to_compile_is_refused_with_a_way_out(depth: int) -> None:
    with pytest.raises(ConditionError, match="nested too deeply") as caught:
        checked(text_nested(depth))
    assert caught.value.help


def test_the_functions_of_the_bench_written_by_hand_give_the_same_answers() -> None:
    assert runpy.run_path(str(BENCH))["smoke"]() > 5000
