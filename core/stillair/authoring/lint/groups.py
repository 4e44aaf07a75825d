"""Rules that belong together: gaps, overlaps, and rules that add nothing to another one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from stillair.assess.program import STRENGTH
from stillair.checklist import GroupSpec
from stillair.condition.core import Condition, refs_of
from stillair.condition.worlds import Goal, Space, Want
from stillair.fault import Fault

from .sites import Subject
from .witness import scenario

__all__ = ["gap", "grouped", "masked", "overlap"]


def grouped(subject: Subject) -> Iterator[Fault]:
    """A fault for each gap in a group that is to be complete, and each overlap in one that is exclusive."""
    for spec, _ in _groups(subject):
        if "complete" in spec.are:
            yield from gap(subject, spec)
        if "exclusive" in spec.are:
            yield from overlap(subject, spec)
    yield from masked(subject)


def _groups(subject: Subject) -> Iterator[tuple[GroupSpec, str]]:
    for checklist in subject.checklists:
        for spec in checklist.groups:
            yield spec, checklist.name


def gap(subject: Subject, spec: GroupSpec) -> Iterator[Fault]:
    """A world in which none of the rules holds, although one must."""
    rules = {text.text: subject.program.rules[text.text] for text in spec.rules}
    within = subject.compiler.groups[spec.name][1]
    conditions = [rule.when.checked for rule in rules.values()]
    goals: list[Goal] = [(condition, Want.NOT_HOLDS) for condition in conditions]
    if within is not None:
        conditions.append(within.checked)
        goals.append((within.checked, Want.HOLDS))
    space = _space(subject, conditions)
    world = space.find(*_possible(subject, goals), *goals)
    if world is None:
        return
    message = f"no rule of the group `{spec.name}` holds where it must be complete"
    shown = scenario(subject, space, world, f"A gap in {spec.name}", rules)
    help = "add a rule for it, or say with `within` where the group is meant"
    yield replace(spec.where.fault("SA607", message, help=help), scenario=shown)


def overlap(subject: Subject, spec: GroupSpec) -> Iterator[Fault]:
    """For each pair of rules a world in which both hold."""
    rules = {text.text: subject.program.rules[text.text] for text in spec.rules}
    space = _space(subject, [rule.when.checked for rule in rules.values()])
    for one, other in combinations(rules, 2):
        goals: list[Goal] = [(rules[name].when.checked, Want.HOLDS) for name in (one, other)]
        world = space.find(*_possible(subject, goals), *goals)
        if world is None:
            continue
        text = next(text for text in spec.rules if text.text == other)
        message = f"`{one}` and `{other}` hold at once, and the group `{spec.name}` says they never do"
        shown = scenario(
            subject, space, world, f"An overlap in {spec.name}", {n: rules[n] for n in (one, other)}
        )
        yield replace(text.fault("SA608", message, help="narrow one of them"), scenario=shown)


def masked(subject: Subject) -> Iterator[Fault]:
    """A fault for each rule that holds only where another gives the same finding as strongly, or stronger."""
    places = {rule.name: rule.where for checklist in subject.checklists for rule in checklist.rules}
    order = list(subject.program.rules)
    for names in subject.program.findings.values():
        rules = [subject.program.rules[name] for name in sorted(names, key=order.index)]
        for weak in rules:
            for strong in rules:
                if strong is weak or strong.spec.owner != weak.spec.owner:
                    continue
                if STRENGTH.index(strong.spec.grade) < STRENGTH.index(weak.spec.grade):
                    continue
                if strong.spec.grade == weak.spec.grade and strong.spec.say != weak.spec.say:
                    continue  # it says another thing of the same finding
                space = subject.space([weak.when.checked, strong.when.checked], lacking=True)
                if space.find((weak.when.checked, Want.HOLDS)) is None:
                    continue  # told of its condition
                beside = space.find((weak.when.checked, Want.HOLDS), (strong.when.checked, Want.NOT_HOLDS))
                back = space.find((strong.when.checked, Want.HOLDS), (weak.when.checked, Want.NOT_HOLDS))
                same = back is None and strong.spec.grade == weak.spec.grade
                if beside is None and not (
                    same and order.index(weak.spec.name) < order.index(strong.spec.name)
                ):
                    name = strong.spec.name
                    message = (
                        f"`{weak.spec.name}` adds nothing: wherever it holds, `{name}` holds and says as much"
                    )
                    where = places[weak.spec.name]
                    yield where.fault("SA609", message, help="remove it, or give it a finding of its own")
                    break


def _possible(subject: Subject, goals: Sequence[Goal]) -> list[Goal]:
    """Of what the packs say can never be, that which shares a name with the goals: it does not hold."""
    names = {subject.spans.key(ref).ref for condition, _ in goals for ref in refs_of(condition)}
    left = [
        (each.when.flat, {subject.spans.key(ref).ref for ref, _ in each.when.slots})
        for each in subject.program.impossible
    ]
    found: list[Goal] = []
    while near := [each for each in left if each[1] & names]:
        left = [each for each in left if not each[1] & names]
        for condition, others in near:
            names |= others
            found.append((condition, Want.NOT_HOLDS))
    return found


def _space(subject: Subject, conditions: Iterable[Condition]) -> Space:
    return subject.space([*conditions, *(each.when.flat for each in subject.program.impossible)])
