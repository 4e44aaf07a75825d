"""How doubt passes through arithmetic and calculators: checked by drawing errors, not by the formula.

JCGM 100:2008 (GUM) and JCGM 101:2008 (its Monte Carlo supplement): a tolerance is the half-width that holds
the value in 95 % of cases. Each test draws true values around the readings and counts what the span holds.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stillair.calculator import Example, Input, OutOfRange, Source, calculator, propagate
from stillair.condition.compiled import code_of, functions
from stillair.condition.core import Condition, Ref, Within
from stillair.possible import Number, Options, Region, judge_span
from stillair.quantity import DIMENSIONS
from stillair.verdict import Reason, Verdict, Why

#: Draws for each coverage; the standard error of a share of 95 % is then 0.11 %.
DRAWS = 40_000
#: Standard deviations in a 95 % half-width of a normal distribution.
Z95 = 1.959964
Given = Callable[[Sequence[float]], float]


def _reading(value: float, **effects: float) -> Number:
    """A reading with its sources of error: `_reading(217, offset=3.5, own=0.5)`."""
    return Number(
        value, value, {("offset" if name[0] != "r" else "repeat", name): e for name, e in effects.items()}
    )


def _through(function: Given, *values: Number, monotone: bool = True) -> Number:
    return propagate(
        function,  # type: ignore[arg-type]
        values, [None] * len(values), [monotone] * len(values), "result",
    )  # fmt: skip


def _draws(function: Given, values: Sequence[Number], seed: int = 1) -> list[float]:
    """True results: each source of error is drawn once and shifts every reading that shares it."""
    gauss = random.Random(seed).gauss
    sources = sorted({source for value in values for source in value.effects})
    found = []
    for _ in range(DRAWS):
        errors = {source: gauss(0.0, 1 / Z95) for source in sources}
        found.append(
            function([v.low + sum(errors[s] * effect for s, effect in v.effects.items()) for v in values])
        )
    return found


def _coverage(span: tuple[float, float], results: Sequence[float]) -> float:
    return sum(span[0] <= each <= span[1] for each in results) / len(results)


A, B = _reading(217.0, r1=3.5), _reading(18.0, r2=1.4)
SHARED = (_reading(217.0, offset=3.5, r1=0.5), _reading(215.0, offset=3.5, r2=0.5))


@pytest.mark.parametrize(
    ("function", "values"),
    [
        (lambda v: v[0] + v[1], (A, B)),
        (lambda v: v[0] - v[1], (A, B)),
        (lambda v: v[0] - 3.48 * v[1], (A, B)),
        (lambda v: v[0] - v[1], SHARED),
        (lambda v: v[0] + v[1], SHARED),
        (lambda v: v[0] * v[1], (A, B)),
        (lambda v: v[0] / v[1], (A, B)),
        (lambda v: (v[0] + v[1]) / 2 - v[2], (*SHARED, _reading(200.0, r3=2.0))),
        (lambda v: v[0] - v[0] / 2, (A,)),
    ],
    ids=[
        "sum",
        "difference",
        "scaled",
        "shared-difference",
        "shared-sum",
        "product",
        "quotient",
        "mean",
        "twice",
    ],
)
def test_arithmetic_covers_95_percent(function: Given, values: tuple[Number, ...]) -> None:
    """Sums, differences, products and quotients: the span holds 95 % ± 1 % of what the truth may be."""
    span = _through(function, *values).span()
    assert _coverage(span, _draws(function, values)) == pytest.approx(0.95, abs=0.01)


@pytest.mark.parametrize(
    ("function", "values"),
    [
        (lambda v: v[0] ** 2, (_reading(0.0, r1=1.0),)),
        (lambda v: v[0] ** 2, (_reading(1.0, r1=1.5),)),
        (lambda v: math.exp(v[0]), (_reading(2.0, r1=1.0),)),
        (lambda v: v[0] * v[1], (_reading(0.0, r1=1.0), _reading(0.0, r2=2.0))),
        (lambda v: v[0] * v[1], (_reading(1.0, r1=2.0), _reading(-0.5, r2=2.0))),
        (lambda v: max(v[0], v[1]), (_reading(10.0, r1=1.0), _reading(10.0, r2=1.0))),
        (lambda v: abs(v[0] - v[1]), (_reading(10.0, r1=1.0), _reading(10.2, r2=1.0))),
        (lambda v: math.exp(-v[0] * v[1]), (_reading(1.0, r1=0.8), _reading(1.0, r2=0.8))),
        (lambda v: v[0] ** 2 - v[0], (_reading(0.5, r1=0.8),)),
    ],
    ids=[
        "square-at-0",
        "square",
        "exponential",
        "product-at-0",
        "product",
        "maximum",
        "distance",
        "decay",
        "even",
    ],
)
def test_a_curved_function_covers_95_percent(function: Given, values: tuple[Number, ...]) -> None:
    """Where a straight line would be off by more than a tenth, the span is that of a simulation."""
    found = _through(function, *values)
    assert found.shape is not None
    assert _coverage(found.span(), _draws(function, values, seed=7)) == pytest.approx(0.95, abs=0.01)


@pytest.mark.parametrize("curved", [lambda x: x * x, lambda x: math.exp(x), lambda x: abs(x)])
@pytest.mark.parametrize("middle", [0.0, 0.4, 1.5])
def test_what_is_computed_from_a_curved_number_still_covers(
    curved: Callable[[float], float], middle: float
) -> None:
    """A calculation inside a comparison: the second step may say too much doubt, never too little."""
    x, y = _reading(middle, r1=1.0), _reading(0.5, r2=0.3)
    first = _through(lambda v: curved(v[0]), x)
    second = _through(lambda v: v[0] - v[1], first, y)
    truth = _draws(lambda v: curved(v[0]) - v[1], (x, y), seed=3)
    assert _coverage(second.span(), truth) >= 0.94
    width = second.span()[1] - second.span()[0]
    assert width < 4 * (sorted(truth)[int(0.975 * DRAWS)] - sorted(truth)[int(0.025 * DRAWS)])


def test_the_same_result_used_twice_cancels() -> None:
    """A curved calculation less itself is zero, and of two different ones the doubts add."""
    x, y = _reading(0.0, r1=1.0), _reading(0.0, r2=1.0)
    x, y = Number(0.0, 0.0, x.effects, lines=(1,)), Number(0.0, 0.0, y.effects, lines=(2,))
    one, two = _through(lambda v: v[0] ** 2, x), _through(lambda v: v[0] ** 2, y)
    assert _through(lambda v: v[0] - v[1], one, one).span() == (0.0, 0.0)
    low, high = _through(lambda v: v[0] - v[1], one, two).span()
    assert low < -1
    assert high > 1


def test_one_instrument_two_readings_the_offset_cancels() -> None:
    """A hold test: two readings by the same gauge differ by their repeat tolerance only."""
    first, second = SHARED
    other = _reading(215.0, offset_of_another=3.5, r2=0.5)
    same = _through(lambda v: v[0] - v[1], first, second)
    assert same.tolerance == pytest.approx(math.hypot(0.5, 0.5))
    assert judge_span(*same.span(), Region.comparison(">", 1.0)) is Verdict.HOLDS
    apart = _through(lambda v: v[0] - v[1], first, other)
    assert apart.tolerance == pytest.approx(math.hypot(3.5, 3.5, 0.5, 0.5))
    assert judge_span(*apart.span(), Region.comparison(">", 1.0)) is Verdict.OPEN
    assert _through(lambda v: v[0] + v[1], first, second).tolerance == pytest.approx(
        math.hypot(7.0, 0.5, 0.5)
    )


def test_a_worked_example_by_hand() -> None:
    """±3.5 psi and ±1.4 °F at 3.48 psi per °F: √(3.5² + (3.48 × 1.4)²) = 6.0 psi (JCGM 100:2008, 5.1.2)."""
    found = _through(lambda v: v[0] - 3.48 * v[1], _reading(217.0, r1=3.5), _reading(75.0, r2=1.4))
    assert found.tolerance == pytest.approx(6.0, abs=0.05)


NUMBERS = st.integers(-5, 5).map(float)
SPREADS = st.sampled_from((0.0, 0.1, 1.0, 3.0))


@given(NUMBERS, NUMBERS, SPREADS, SPREADS, NUMBERS)
@settings(derandomize=True, deadline=None, max_examples=150)
def test_a_better_instrument_only_helps(
    a: float, b: float, coarse: float, other: float, bound: float
) -> None:
    """Halving a tolerance decides more and flips nothing, whatever the comparison."""
    for operator in ("<", "<=", ">", ">="):
        region = Region.comparison(operator, bound)
        verdicts = []
        for own in (coarse, coarse / 2, 0.0):
            found = _through(lambda v: v[0] - v[1], _reading(a, r1=own), _reading(b, r2=other))
            verdicts.append(judge_span(*found.span(), region))
        for worse, better in pairwise(verdicts):
            assert worse is Verdict.OPEN or better is worse


@given(NUMBERS, st.integers(0, 4).map(float), SPREADS, NUMBERS, SPREADS)
@settings(derandomize=True, deadline=None, max_examples=100)
def test_ignorance_is_worst_case_over_tolerance(
    low: float, wide: float, own: float, other: float, tolerance: float
) -> None:
    """A disputed reading covers what each of its values alone would."""
    disputed = Number(low, low + wide, {("repeat", "r1"): own})
    second = _reading(other, r2=tolerance)
    whole = _through(lambda v: v[0] * 2 - v[1], disputed, second).span()
    for step in range(5):
        value = low + wide * step / 4
        alone = _through(lambda v: v[0] * 2 - v[1], _reading(value, r1=own), second).span()
        assert whole[0] <= alone[0] + 1e-9
        assert alone[1] <= whole[1] + 1e-9


# -- what does not exist ------------------------------------------------------------------------------------

NOT_ASKED = (Reason(Why.NOT_ASKED, "x"),)


ENDLESS = Number(2.0, math.inf, reasons=(Reason(Why.OPEN_LIST, "list"),))
_TWO_HALVES = (_reading(0.5, r1=0.4), _reading(0.5, r2=0.6))


def _root(v: Sequence[float]) -> float:
    if v[0] < 0:
        raise OutOfRange("below 0")
    return math.sqrt(v[0])


@pytest.mark.parametrize(
    ("found", "why"),
    [
        (_through(lambda v: v[0] + 1, Number.nothing(*NOT_ASKED)), Why.NOT_ASKED),
        (_through(lambda v: v[0] + 1, Number(-math.inf, math.inf, reasons=NOT_ASKED)), Why.NOT_ASKED),
        (
            _through(lambda v: v[0] + 1, Number(0, math.inf, reasons=NOT_ASKED), monotone=False),
            Why.NOT_ASKED,
        ),
        (_through(lambda v: v[0] - v[1], ENDLESS, ENDLESS), Why.OPEN_LIST),
        (_through(lambda v: v[0] * v[1], ENDLESS, Number(-1.0, 1.0)), Why.OPEN_LIST),
        (_through(lambda v: v[0] * v[1], ENDLESS, _reading(0.5, r1=1.0)), Why.OPEN_LIST),
        (_through(lambda v: v[0] * v[1] * v[2], ENDLESS, *_TWO_HALVES), Why.OPEN_LIST),
        (_through(lambda v: v[0] ** 2, Number(-1.0, 1.0, reasons=NOT_ASKED), monotone=False), Why.NOT_ASKED),
        (_through(_root, _reading(-1.0, r1=0.1)), Why.OUTSIDE),
        (_through(_root, Number(-1.0, 4.0, reasons=NOT_ASKED)), Why.NOT_ASKED),
        (_through(_root, _reading(0.5, r1=1.0)), Why.OUTSIDE),
        (_through(lambda v: math.inf, A), Why.OUTSIDE),
        (_through(lambda v: math.nan, A), Why.OUTSIDE),
    ],
    ids=[
        "undefined",
        "unbounded",
        "half-bounded-not-monotone",
        "pulled-apart",
        "either-sign",
        "either-sign-within-tolerance",
        "either-sign-of-both-within-tolerance",
        "not-monotone",
        "outside",
        "end-outside",
        "tolerance-outside",
        "infinite",
        "nan",
    ],
)
def test_a_number_that_does_not_exist_is_open_everywhere_with_its_reason(found: Number, why: Why) -> None:
    """Never a nan that passes a test: every comparison is open, and what follows from it is undefined too."""
    assert found.undefined
    assert any(reason.why is why for reason in found.reasons)
    assert all(math.isnan(end) for end in found.span())
    conditions: list[Condition] = []
    for operator in ("<", "<=", ">", ">="):
        region = Region.comparison(operator, 0.0)
        assert judge_span(*found.span(), region) is Verdict.OPEN
        for each in (region, region.complement(), region.union(region.complement())):
            conditions.append(Within(Ref("x"), each, DIMENSIONS["number"], "x"))
    for judge in functions(code_of(conditions), len(conditions)):
        assert Verdict(judge(list(found.span()))) is Verdict.OPEN
    assert _through(lambda v: v[0] * 0, found).undefined


@pytest.mark.parametrize(
    ("function", "others", "span"),
    [
        (lambda v: v[0] + v[1], (_reading(3.0, r1=0.5),), (4.5, math.inf)),
        (lambda v: v[1] - v[0], (_reading(3.0, r1=0.5),), (-math.inf, 1.5)),
        (lambda v: v[0] * v[1], (_reading(3.0, r1=0.5),), (5.0, math.inf)),
        (lambda v: v[0] * v[1], (_reading(-3.0, r1=0.5),), (-math.inf, -5.0)),
        (lambda v: v[0] / v[1], (Number(1.0, 4.0),), (0.5, math.inf)),
        (lambda v: v[1] / v[0], (Number(1.0, 4.0),), (0.0, 2.0)),
        (lambda v: v[1] / v[0], (Number(-1.0, 4.0),), (-0.5, 2.0)),
        # An error that counts at one end only is traced by half: the other end is wider than it need be.
        (lambda v: min(v[0], v[1]), (_reading(3.0, r1=0.5),), (1.5, 3.5)),
        (lambda v: max(5.0 - v[0], v[1]), (_reading(3.5, r1=0.5),), None),
    ],
    ids=["sum", "less", "times", "times-negative", "over", "under", "under-either", "least", "most"],
)
def test_a_number_without_an_end_bounds_what_is_worked_out_from_it(
    function: Given, others: tuple[Number, ...], span: tuple[float, float] | None
) -> None:
    """At least 2: the tolerance of the rest counts at the end that there is, and no value lies outside."""
    found = _through(function, ENDLESS, *others)
    assert not found.undefined
    low, high = found.span()
    if span is not None:
        assert (low, high) == pytest.approx(span, abs=0.04)
    for far in (2.0, 2.5, 7.0, 1e3, 1e9):
        for each in others:
            for at in {each.low, each.high}:
                other = Number(at, at, each.effects)
                drawn = _draws(lambda v, far=far: function([far, *v]), [other])
                assert _coverage((low, high), drawn) >= 0.945


@pytest.mark.parametrize(
    ("rises", "falls", "given", "bound"),
    [
        (("x",), (), (math.inf, 1.0), math.inf),
        ((), ("x",), (math.inf, 1.0), -math.inf),
        ((), ("x",), (-math.inf, 1.0), math.inf),
        (("x",), ("y",), (math.inf, -math.inf), math.inf),
        (("x",), ("y",), (math.inf, math.inf), None),
        (("y",), (), (math.inf, 1.0), None),
    ],
)
def test_a_calculator_says_its_bound_by_the_way_it_runs(
    rises: tuple[str, ...], falls: tuple[str, ...], given: tuple[float, float], bound: float | None
) -> None:
    """What is declared to rise has no upper end where its input has none; two that pull apart say nothing."""
    made = calculator(
        inputs={"x": Input("number"), "y": Input("number")}, output="number", unit="1", formula="made up",
        sources=(Source("made for this test"),), valid="everywhere", rises_with=rises, falls_with=falls,
        examples=(Example({}, "0", "0"),),
    )(lambda x, y: 0.0)  # fmt: skip
    if bound is None:
        with pytest.raises(OutOfRange):
            made.limit(given)
    else:
        assert made.limit(given) == bound


@pytest.mark.parametrize("function", [math.exp, lambda x: _root([5 - x])], ids=["broken", "ends"])
def test_a_calculator_that_does_not_reach_so_far_has_no_bound(function: Callable[[float], float]) -> None:
    """Its valid range ends, or it cannot be worked out there: open, and no fault of the plugin."""
    made = calculator(
        inputs={"x": Input("number")}, output="number", unit="1", formula="made up", valid="up to 5",
        sources=(Source("made for this test"),), rises_with=("x",), examples=(Example({}, "0", "0"),),
    )(function)  # fmt: skip
    with pytest.raises(OutOfRange):
        made.limit([math.inf])


def test_what_is_divided_by_is_kept_from_zero() -> None:
    """12 over 2 to 4 is 3 to 6. Over -1 to 4, or where the tolerance reaches zero, it is no number."""
    twelve = _reading(12.0)
    divisors = [(lambda v: v[1], frozenset({1}))]

    def over(divisor: Number) -> Number:
        return propagate(
            lambda v: v[0] / v[1],  # type: ignore[operator]
            [twelve, divisor], [None, None], [True, True], "result", divisors,  # type: ignore[arg-type]
        )  # fmt: skip

    assert over(Number(2.0, 4.0)).span() == (3.0, 6.0)
    assert over(Number(-4.0, -2.0)).span() == (-6.0, -3.0)
    for divisor in (Number(-1.0, 4.0), Number(0.5, 4.0, {("repeat", "1"): 0.6}), Number(-1.0, math.inf)):
        assert over(divisor).undefined
    assert not over(_reading(0.5, r1=0.4)).undefined, "what is known is as before"


def test_unknown_options_are_tried_one_by_one() -> None:
    """A calculator given a fact with two possible options gives the span over both."""

    def table(v: Sequence[object]) -> float:
        return {"low": 1.0, "middle": 2.0, "high": 8.0}[str(v[0])]

    found = propagate(table, [Options(0b101)], [("low", "middle", "high")], [True], "table")
    assert found.span() == (1.0, 8.0)
    assert propagate(table, [Options(0b010)], [("low", "middle", "high")], [True], "table").span() == (
        2.0,
        2.0,
    )


def test_simulation_repeats() -> None:
    """The same inputs give the same span: a trail can be made again byte for byte."""
    values = (_reading(0.3, r1=1.0), _reading(0.2, r2=1.0))
    spans = {_through(lambda v: v[0] * v[1], *values).span() for _ in range(3)}
    assert len(spans) == 1


SHAPES: dict[str, tuple[Callable[[Sequence[float]], float], list[float], list[dict[int, float]]]] = {
    "a product at zero": (lambda v: v[0] * v[1], [0.0, 0.0], [{0: 1.0}, {1: 1.0}]),
    "a square": (lambda v: v[0] ** 2, [0.5], [{0: 1.0}]),
    "an error that enters twice": (
        lambda v: v[0] * v[2] / v[1],
        [2.0, 2.0, 1.0],
        [{0: 0.4}, {0: 0.3, 1: 0.5}, {2: 0.2}],
    ),
    "the least of five": (min, [0.0] * 5, [{i: 1.0} for i in range(5)]),
    "a product of six": (lambda v: math.exp(sum(v)), [0.0] * 6, [{i: 0.4} for i in range(6)]),
    "a length of nine": (lambda v: math.hypot(*v), [0.1] * 9, [{i: 0.4} for i in range(9)]),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_a_simulated_span_is_that_of_errors_drawn_at_random(shape: str) -> None:
    """Against 200,000 random draws, whose own ends are uncertain by some 0.5 % of the half-width."""
    function, middle, sources = SHAPES[shape]
    gauss = random.Random(1).gauss
    found = []
    for _ in range(200_000):
        v = list(middle)
        for shifts in sources:
            z = gauss(0.0, 1 / 1.959963984540054)
            for index, effect in shifts.items():
                v[index] += z * effect
        found.append(function(v))
    found.sort()
    low, high = found[5_000], found[-5_001]
    values = [
        _reading(m, **{f"e{n}": shifts[i] for n, shifts in enumerate(sources) if i in shifts})
        for i, m in enumerate(middle)
    ]
    span = _through(function, *values).span()
    half = (high - low) / 2
    assert span == pytest.approx((low, high), abs=0.03 * half)


def test_draws_outside_the_valid_range_are_left_out_where_they_are_few() -> None:
    """One draw in a thousand may fall outside; what more would be is no number."""

    def until(end: float) -> Given:
        def rate(v: Sequence[float]) -> float:
            if v[1] > end:
                raise OutOfRange("too long ago")
            return v[0] / v[1]

        return rate

    values = (_reading(2.0, own=0.4), _reading(2.0, shared=0.5))
    # 0.5 in 95 % of cases: the range ends 3.3, and 2.9, standard deviations above the middle.
    few, many = 2.0 + 3.3 * 0.5 / 1.96, 2.0 + 2.9 * 0.5 / 1.96
    whole = _through(until(math.inf), *values).span()
    # What is left out, 0.05 %, lies below: the lower end moves up by some 0.008 standard deviations.
    assert _through(until(few), *values).span() == pytest.approx(whole, rel=0.002)
    assert _through(until(many), *values).undefined


def test_a_span_is_taken_again_only_while_no_draw_reaches_its_cap() -> None:
    """Of a day long past it is all one what today is; of one that may be today it is not."""

    def rate(v: Sequence[object]) -> float:
        return 1.0 / min(float(v[0]), float(v[1]))  # type: ignore[arg-type]

    def span(now: float, *caps: tuple[int, int, float]) -> tuple[float, float]:
        values = (_reading(2.0, own=1.0), _reading(now))
        return propagate(rate, values, [None, None], [True, True], "rate", (), caps).span()

    capped = (1, 0, 1.0)
    assert span(100.0, capped) == span(200.0, capped) == span(300.0)
    assert span(2.2, capped) == span(2.2) != span(100.0, capped)
