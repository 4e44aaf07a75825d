"""Bring together tests on the same fact, so that the common cases are judged exactly."""

from __future__ import annotations

from .core import All, Condition, Either, Test, Truth, Within

__all__ = ["merged"]

#: Conditions merged before, by their identity (their hash would walk all of them), which keeps them alive.
_MERGED: dict[int, tuple[Condition, Condition]] = {}
MOST_MERGED = 16_384
"""Those remembered before they are forgotten together (judgement: the parts of a few programs)."""


def merged(condition: Condition) -> Condition:
    """The same condition with nested joins flattened and tests on one fact joined into one test.

    `x < 5 or x >= 5` becomes one test on x that any value passes. Never less decided than the original.
    """
    if not isinstance(condition, All | Either):
        return condition
    held = _MERGED.get(id(condition))
    if held is None:
        if len(_MERGED) >= MOST_MERGED:
            _MERGED.clear()
        held = _MERGED[id(condition)] = (condition, _merge(condition))
    return held[1]


def _merge(condition: All | Either) -> Condition:
    kind = type(condition)
    flat: list[Condition] = []
    for part in condition.parts:
        inner = merged(part)
        flat.extend(inner.parts if isinstance(inner, kind) else (inner,))
    joined: dict[object, Condition] = {}
    for part in flat:
        if isinstance(part, Truth):
            if part.value is (kind is Either):
                return Truth(part.value, condition.text)
            continue
        key: object = part
        if isinstance(part, Test | Within):
            key = part.ref
        held = joined.get(key)
        joined[key] = part if held is None else _join(held, part, kind)
    if not joined:
        return Truth(kind is All, condition.text)
    parts = tuple(joined.values())
    return parts[0] if len(parts) == 1 else kind(parts, condition.text)


def _join(first: Condition, second: Condition, kind: type[All] | type[Either]) -> Condition:
    word = " and " if kind is All else " or "
    if isinstance(first, Test) and isinstance(second, Test):
        if kind is All:
            sure, never = first.sure & second.sure, first.never | second.never
        else:
            sure, never = first.sure | second.sure, first.never & second.never
        return Test(first.ref, sure, never, first.domain, first.text + word + second.text)
    if isinstance(first, Within) and isinstance(second, Within):
        if kind is All:
            region = first.region.intersection(second.region)
        else:
            region = first.region.union(second.region)
        text, bounds = first.text + word + second.text, first.bounds + second.bounds
        return Within(first.ref, region, first.dimension, text, bounds)
    return first
