"""Conditions that the declared ranges settle: they can never hold, or always do."""

from __future__ import annotations

from collections.abc import Iterator

from stillair.checklist import Text
from stillair.condition.core import All, Condition, Either, Test, Truth
from stillair.condition.worlds import Space, Want
from stillair.fault import Fault

from .sites import Site, Subject

__all__ = ["settled"]

_BOTH = frozenset({Want.HOLDS, Want.NOT_HOLDS})


def settled(subject: Subject) -> Iterator[Fault]:
    """A fault for the smallest part of each condition that is settled before anybody answers."""
    known: dict[str, bool] = {}
    for site in subject.sites:
        if not isinstance(site.condition, Truth):
            found: list[Fault] = []
            space = subject.space([site.condition], lacking=True)
            _look(subject, site, site.condition, space, found, known, frozenset())
            yield from found


def _look(
    subject: Subject,
    site: Site,
    condition: Condition,
    space: Space,
    found: list[Fault],
    known: dict[str, bool],
    can: frozenset[Want],
) -> bool:
    """Whether the condition, or a part of it, is settled; what is written here is added to `found`.

    `known` is what was seen of conditions that have a name: they are the same wherever they stand. `can` is
    what is known of it by what it is a part of.
    """
    if isinstance(condition, Truth):
        return False
    if isinstance(condition, All | Either) and condition.name is not None and condition is not site.condition:
        name = condition.name.removeprefix("not ")
        if name not in known:
            known[name] = _look(subject, site, condition._replace(name=None), space, found, known, can)
        return known[name]
    can |= {want for want in _BOTH - can if space.find((condition, want)) is not None}
    if isinstance(condition, All | Either):
        # Where all of it holds, so does each part; where none of it does, no part does.
        of_each = can & {Want.HOLDS if isinstance(condition, All) else Want.NOT_HOLDS}
        told = [_look(subject, site, part, space, found, known, of_each) for part in condition.parts]
        if any(told):
            return True
    if can == _BOTH:
        return False
    never = Want.HOLDS not in can
    if condition.text.startswith("not ("):
        return False  # a part as `not` turned it round: the whole of it is looked at next
    where = site.part(condition.text)
    if where is not None:  # else it is a condition with a name, and told of where it is written
        found.append(_fault(subject, site, condition, never, where))
    return True


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
