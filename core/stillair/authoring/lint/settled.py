"""Conditions that the declared ranges settle: they can never hold, or always do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from stillair.checklist import Text
from stillair.condition.core import All, Condition, Either, Test, Truth
from stillair.condition.worlds import Space, Want
from stillair.fault import Fault

from .sites import Site, Subject

__all__ = ["settled"]

_BOTH = frozenset({Want.HOLDS, Want.NOT_HOLDS})


def settled(subject: Subject) -> Iterator[Fault]:
    """A fault for the smallest part of each condition that is settled before anybody answers."""
    known: dict[str, _Seen] = {}
    for site in subject.sites:
        if not isinstance(site.condition, Truth):
            found: list[Fault] = []
            space = subject.space([site.condition], lacking=True)
            _look(subject, site, site.condition, space, found, known, frozenset())
            yield from found


class _Seen(NamedTuple):
    """What a condition can do, and whether it or a part of it is settled."""

    can: frozenset[Want]
    told: bool


def _look(
    subject: Subject,
    site: Site,
    condition: Condition,
    space: Space,
    found: list[Fault],
    known: dict[str, _Seen],
    can: frozenset[Want],
) -> _Seen:
    """Look at a condition and its parts; what is written here and settled is added to `found`.

    `known` is what was seen of conditions that have a name: they are the same wherever they stand. `can` is
    what is known of it by what it is a part of.
    """
    if isinstance(condition, Truth):
        return _Seen(frozenset({Want.HOLDS if condition.value else Want.NOT_HOLDS}), False)
    if not isinstance(condition, All | Either):
        can |= {want for want in _BOTH - can if space.find((condition, want)) is not None}
    else:
        if condition.name is not None and condition is not site.condition:
            name = condition.name
            if name not in known:
                known[name] = _look(subject, site, condition._replace(name=None), space, found, known, can)
            # Turned round by `not` it can do other things, and is settled or not as it was seen first.
            told = known.setdefault(f"{name.removeprefix('not ')}, settled", known[name]).told
            return known[name]._replace(told=told)
        # What it takes every part to do, each part can if it can; the other is up to any one of them.
        every, any_ = Want.HOLDS, Want.NOT_HOLDS
        if isinstance(condition, Either):
            every, any_ = any_, every
        if every in can or space.find((condition, every)) is not None:
            can |= {every}
        parts = [_look(subject, site, part, space, found, known, can & {every}) for part in condition.parts]
        if any(any_ in part.can for part in parts):
            can |= {any_}
        if any(part.told for part in parts):
            return _Seen(can, True)
    if can == _BOTH or condition.text.startswith("not ("):
        return _Seen(can, False)  # a part as `not` turned it round: the whole of it is looked at next
    where = site.part(condition.text)
    if where is not None:  # else it is a condition with a name, and told of where it is written
        found.append(_fault(subject, site, condition, Want.HOLDS not in can, where))
    return _Seen(can, True)


def _fault(subject: Subject, site: Site, condition: Condition, never: bool, where: Text) -> Fault:
    said = " ".join(where.text.split())
    if isinstance(condition, Test) and condition.ref.name in subject.program.findings and never:
        rules = subject.program.findings[condition.ref.name]
        given = sorted({subject.program.rules[rule].spec.grade for rule in rules})
        listed = ", ".join(f"`{grade}`" for grade in given)
        help = f"its rules give {listed}"
        return where.fault("SA605", f"no rule gives the grade that `{said}` asks for", help=help)
    if never:
        help = "look at the ranges of its facts, or remove it"
        return where.fault("SA602", f"`{said}` can never hold, in {site.role}", help=help)
    help = "look at the ranges of its facts; write `always` where that is meant"
    return where.fault("SA603", f"`{said}` always holds, in {site.role}", help=help)
