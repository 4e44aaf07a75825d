"""Circles in a graph of names: the shortest ones, so that a person sees at once what to cut."""

from __future__ import annotations

from collections.abc import Collection, Mapping

__all__ = ["shortest_circles"]


def shortest_circles(depends: Mapping[str, Collection[str]]) -> list[list[str]]:
    """Circles that share no name, each the shortest that was left: `[a, b, a]`."""
    left = {name: [other for other in others if other in depends] for name, others in depends.items()}
    found: list[list[str]] = []
    while (circle := _shortest(left)) is not None:
        found.append(circle)
        for name in circle:
            left.pop(name, None)
    return found


def _shortest(depends: Mapping[str, Collection[str]]) -> list[str] | None:
    best: list[str] | None = None
    for start in depends:
        way = _back(start, depends, None if best is None else len(best) - 1)
        if way is not None:
            best = way
    return best


def _back(start: str, depends: Mapping[str, Collection[str]], below: int | None) -> list[str] | None:
    """The shortest way from a name back to itself, if it takes fewer steps than `below`."""
    came: dict[str, str] = {}
    edge, steps = [start], 0
    while edge and (below is None or steps + 1 < below):
        steps += 1
        following = []
        for name in edge:
            for other in depends.get(name, ()):
                if other == start:
                    way = [start, name]
                    while way[-1] != start:
                        way.append(came[way[-1]])
                    return way[::-1]
                if other not in came and other in depends:
                    came[other] = name
                    following.append(other)
        edge = following
    return None
