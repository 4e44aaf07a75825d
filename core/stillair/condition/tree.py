"""The slow walk over a condition: its verdict, what keeps it open, and the tree a person reads."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from stillair.possible import Number, Options, judge_mask, judge_span
from stillair.verdict import Verdict

from .core import All, Condition, Either, Ref, Test, Truth, Within
from .merge import merged

__all__ = ["Branch", "grow", "judge", "judge_merged", "open_tests"]

Lookup = Callable[[Ref], Number | Options]


def judge(condition: Condition, lookup: Lookup) -> Verdict:
    """The verdict of a condition, tests on one fact judged together."""
    return _walk(merged(condition), lookup, [])


def judge_merged(flat: Condition, lookup: Lookup) -> Verdict:
    """The verdict of a condition that is merged already."""
    return _walk(flat, lookup, [])


def open_tests(flat: Condition, lookup: Lookup) -> list[Test | Within]:
    """The tests that keep an open merged condition open, in order; none where it is decided."""
    found: list[Test | Within] = []
    return found if _walk(flat, lookup, found) is Verdict.OPEN else []


def _walk(condition: Condition, lookup: Lookup, found: list[Test | Within]) -> Verdict:
    """The verdict of a merged condition; where it is open, the tests that keep it so are added to `found`."""
    if isinstance(condition, Test):
        options = lookup(condition.ref)
        assert isinstance(options, Options)
        verdict = judge_mask(options.mask, condition.sure, condition.never)
    elif isinstance(condition, Within):
        number = lookup(condition.ref)
        assert isinstance(number, Number)
        verdict = judge_span(*number.span(), condition.region)
    elif isinstance(condition, Truth):
        return Verdict.HOLDS if condition.value else Verdict.FAILS
    else:
        decided = Verdict.FAILS if isinstance(condition, All) else Verdict.HOLDS
        inner: list[Test | Within] = []
        verdict = Verdict.HOLDS if isinstance(condition, All) else Verdict.FAILS
        for part in condition.parts:
            each = _walk(part, lookup, inner)
            if each is decided:
                return decided
            if each is Verdict.OPEN:
                verdict = each
        found.extend(inner)
        return verdict
    if verdict is Verdict.OPEN:
        found.append(condition)
    return verdict


class Branch(NamedTuple):
    """One part of a condition as judged: its text, its verdict, the test if it is one, and its parts."""

    text: str
    verdict: Verdict
    test: Test | Within | None
    parts: tuple[Branch, ...] = ()


def grow(condition: Condition, lookup: Lookup) -> Branch:
    """The whole tree of a condition with the verdict of every part."""
    verdict = judge(condition, lookup)
    if isinstance(condition, Test | Within):
        return Branch(condition.text, verdict, condition)
    if isinstance(condition, All | Either):
        return Branch(condition.text, verdict, None, tuple(grow(part, lookup) for part in condition.parts))
    return Branch(condition.text, verdict, None)
