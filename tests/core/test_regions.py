"""Sets of numbers against the independent interval library `portion`: unions, complements, verdicts."""

from __future__ import annotations

import math
from functools import reduce

import portion
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stillair.condition.compiled import code_of, functions
from stillair.condition.core import All, Condition, Either, Ref, Within
from stillair.condition.merge import merged
from stillair.possible import Region, judge_span
from stillair.quantity import DIMENSIONS
from stillair.verdict import Verdict

INF = math.inf
#: Few values, so that bounds meet often.
BOUNDS = st.sampled_from((-2.0, -1.0, 0.0, 0.5, 1.0, 2.0, 1e-300, 1e300))
OPERATORS = ("<", "<=", ">", ">=")
EVERYWHERE = portion.closed(-INF, INF)
NUMBER = DIMENSIONS["number"]
steadily = settings(derandomize=True, deadline=None, max_examples=120)


def _half(operator: str, bound: float) -> portion.Interval:
    """The same comparison in portion; infinities are numbers here, as the ends of what is not known."""
    match operator:
        case "<":
            return portion.closedopen(-INF, bound)
        case "<=":
            return portion.closed(-INF, bound)
        case ">":
            return portion.openclosed(bound, INF)
    return portion.closed(bound, INF)


class _Pair:
    """A region and the interval it must equal."""

    def __init__(self, region: Region, interval: portion.Interval) -> None:
        self.region, self.interval = region, interval

    def __repr__(self) -> str:
        return f"{self.region} / {self.interval}"


def _bounded(operators: tuple[str, str], a: float, b: float) -> _Pair:
    return _and(*(_compared(op, bound) for op, bound in zip(operators, (a, b), strict=True)))


def _compared(operator: str, bound: float) -> _Pair:
    return _Pair(Region.comparison(operator, bound), _half(operator, bound))


def _and(a: _Pair, b: _Pair) -> _Pair:
    return _Pair(a.region.intersection(b.region), a.interval & b.interval)


def _or(a: _Pair, b: _Pair) -> _Pair:
    return _Pair(a.region.union(b.region), a.interval | b.interval)


def _not(a: _Pair) -> _Pair:
    return _Pair(a.region.complement(), EVERYWHERE - a.interval)


def _between(a: float, b: float) -> _Pair:
    return _Pair(Region.within(a, b), portion.closed(a, b) if a <= b else portion.empty())


PAIRS = st.recursive(
    st.one_of(
        st.builds(_compared, st.sampled_from(OPERATORS), BOUNDS),
        st.builds(_between, BOUNDS, BOUNDS),
        st.builds(
            _bounded, st.tuples(st.sampled_from((">", ">=")), st.sampled_from(("<", "<="))), BOUNDS, BOUNDS
        ),
    ),
    lambda inner: st.one_of(
        st.builds(_and, inner, inner), st.builds(_or, inner, inner), st.builds(_not, inner)
    ),
    max_leaves=6,
)
SPANS = st.tuples(
    st.one_of(BOUNDS, st.floats(-3, 3), st.just(-INF)), st.one_of(BOUNDS, st.floats(-3, 3), st.just(INF))
).map(lambda ends: (min(ends), max(ends)))


def _pieces(interval: portion.Interval) -> tuple[tuple[float, bool, float, bool], ...]:
    return tuple(
        (piece.lower, piece.left is portion.CLOSED, piece.upper, piece.right is portion.CLOSED)
        for piece in interval
        if not piece.empty
    )


@given(PAIRS)
@steadily
def test_a_region_has_the_pieces_portion_gives(pair: _Pair) -> None:
    """And, or, not of comparisons: the same disjoint pieces with the same ends, rising."""
    assert pair.region.pieces == _pieces(pair.interval)


@given(PAIRS, st.one_of(BOUNDS, st.floats(-3, 3)))
@steadily
def test_membership(pair: _Pair, number: float) -> None:
    """A number lies in the region exactly if portion says so."""
    assert (number in pair.region) is (number in pair.interval)


@given(PAIRS, SPANS)
@steadily
def test_a_span_holds_inside_fails_outside_and_is_open_between(
    pair: _Pair, span: tuple[float, float]
) -> None:
    """The verdict is that of the closed span against the set."""
    closed = portion.closed(*span)
    inside = closed in pair.interval
    met = not (closed & pair.interval).empty
    assert pair.region.covers(*span) is inside
    assert pair.region.meets(*span) is met
    assert judge_span(*span, pair.region) is (
        Verdict.HOLDS if inside else Verdict.OPEN if met else Verdict.FAILS
    )


@given(PAIRS)
@steadily
def test_twice_the_complement_is_the_region(pair: _Pair) -> None:
    """Nothing is lost at the ends, which are in one of the two."""
    assert pair.region.complement().complement() == pair.region
    assert pair.region.union(pair.region.complement()).pieces == ((-INF, True, INF, True),)
    assert pair.region.intersection(pair.region.complement()).pieces == ()


@given(PAIRS)
@steadily
def test_edges_are_the_finite_ends(pair: _Pair) -> None:
    """Where verdicts change, rising: what a gap search splits at."""
    edges = list(pair.region.edges())
    assert edges == sorted(edges)
    assert set(edges) == {
        end for low, _, high, _ in pair.region.pieces for end in (low, high) if abs(end) < INF
    }


@given(st.lists(st.tuples(st.sampled_from(OPERATORS), BOUNDS), min_size=1, max_size=4), st.booleans(), SPANS)
@steadily
def test_tests_on_one_number_are_judged_as_one_set(
    comparisons: list[tuple[str, float]], joined_by_and: bool, span: tuple[float, float]
) -> None:
    """`x < 5 or x >= 5` holds for an unknown x: merged, compiled and judged as portion's set is."""
    ref = Ref("x")
    parts: tuple[Condition, ...] = tuple(
        Within(ref, Region.comparison(op, bound), NUMBER, f"x {op} {bound}") for op, bound in comparisons
    )
    whole: Condition = (All if joined_by_and else Either)(parts, "whole")
    halves = [_half(op, bound) for op, bound in comparisons]
    interval = reduce((lambda a, b: a & b) if joined_by_and else (lambda a, b: a | b), halves)
    closed = portion.closed(*span)
    expected = (
        Verdict.HOLDS if closed in interval else Verdict.FAILS if (closed & interval).empty else Verdict.OPEN
    )
    flat = merged(whole)
    assert isinstance(flat, Within)
    assert judge_span(*span, flat.region) is expected
    assert Verdict(functions(code_of([whole]), 1)[0](list(span))) is expected


@given(PAIRS)
@steadily
def test_a_number_that_does_not_exist_decides_nothing(pair: _Pair) -> None:
    """(nan, nan) is open for every region, also for those that every number or none lies in."""
    within = Within(Ref("x"), pair.region, NUMBER, "x")
    judge = functions(code_of([within]), 1)[0]
    for low, high in ((math.nan, math.nan), (math.nan, 1.0), (1.0, math.nan)):
        assert judge_span(low, high, pair.region) is Verdict.OPEN
    assert Verdict(judge([math.nan, math.nan])) is Verdict.OPEN


@pytest.mark.parametrize("operator", OPERATORS)
def test_a_reading_exactly_at_the_bound(operator: str) -> None:
    """`<=` and `>=` take the bound in, `<` and `>` leave it out."""
    expected = Verdict.HOLDS if "=" in operator else Verdict.FAILS
    assert judge_span(5.0, 5.0, Region.comparison(operator, 5.0)) is expected


def test_an_unknown_operator_is_refused() -> None:
    """Equality has no region."""
    with pytest.raises(ValueError, match="=="):
        Region.comparison("==", 1.0)
