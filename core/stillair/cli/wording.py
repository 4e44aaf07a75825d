"""Names and values as a person reads them: labels of members, entries as kept, findings, steps."""

from __future__ import annotations

from stillair import quantity
from stillair.assess import Assessment, Finding, Observation, Program
from stillair.condition.core import NumberDomain, OptionDomain, Ref

__all__ = ["asked", "finding_said", "fits", "member_said", "numbered", "observed", "step_said"]

_MOST_KEYS = 12
"""Options up to which each has a number to type; a longer list is answered by name (judgement)."""


def member_said(assessment: Assessment, per: str | None, member: str | None) -> str:
    """What a member of a list is called."""
    if member is None:
        return ""
    program = assessment.program
    if per == "place":
        return program.places[member].spec.title if member in program.places else member
    if per in program.lists:
        for each in program.lists[per].members:
            if each.name == member:
                return each.label
        added = assessment.history.members.get(per, {}).get(member)
        if added is not None:
            return added[1]
    return member


def step_said(assessment: Assessment, step: str, member: str | None) -> str:
    """The title of a step, with the member it is done for."""
    found = assessment.program.steps[step]
    title = found.spec.title or step
    said = member_said(assessment, found.per, member)
    return f"{title}: {said}" if said else title


def asked(assessment: Assessment, ref: Ref) -> str:
    """The question of a fact, with the member it is about."""
    fact = assessment.program.facts[ref.name]
    said = member_said(assessment, fact.per, ref.member)
    return f"{said}: {fact.spec.ask}" if said else fact.spec.ask


def numbered(program: Program, ref: Ref) -> tuple[str, ...]:
    """The options that have a number to type: none for numbers, texts and long lists.

    Options that are numbers themselves are typed as they are: `2` cannot be both the second and 2.
    """
    fact = program.facts[ref.name]
    domain = fact.domain
    if not isinstance(domain, OptionDomain) or fact.spec.kind in ("text", "photo", "signature"):
        return ()
    if len(domain.names) > _MOST_KEYS or any(name.isdigit() for name in domain.names):
        return ()
    return domain.names


def fits(program: Program, ref: Ref) -> str:
    """What can be typed for a fact without numbered options."""
    fact = program.facts[ref.name]
    domain = fact.domain
    if isinstance(domain, NumberDomain):
        unit = fact.unit.symbol if fact.unit is not None else ""
        between = fact.spec.between
        span = f", {between[0]} .. {between[1]}" if between is not None else ""
        if domain.dimension.name == "moment":
            return "a time such as 9:40"
        return f"a number in {unit}{span}" if unit not in ("", "1") else f"a number{span}"
    if fact.spec.kind in ("text", "photo", "signature"):
        return {"text": "a few words", "photo": "the name of the photo", "signature": "who signed"}[fact.spec.kind]
    if len(domain.names) > _MOST_KEYS:
        return f"one of {len(domain.names)} names, or a part of one; ? lists them"
    return "one of: " + ", ".join(domain.names)


def observed(program: Program, observation: Observation) -> str:
    """An entry as read: `static_pressure 217 psig`, `dead of indoor: yes`."""
    ref = Ref(observation.fact, observation.member)
    fact = program.facts.get(observation.fact)
    if observation.value is None:
        return f"{ref}: cannot be had ({observation.why})"
    if isinstance(observation.value, float) and fact is not None and fact.unit is not None:
        unit = fact.unit
        if observation.unit is not None:
            unit = quantity.find_unit(observation.unit, fact.unit.dimension)
        return f"{ref}: {quantity.show(observation.value, unit)}"
    return f"{ref}: {observation.read or observation.value}"


def finding_said(assessment: Assessment, finding: Finding) -> str:
    """A finding with its grade: what the rule that decided it says, else its name."""
    said = finding.name.replace("_", " ")
    if finding.rule is not None:
        rule = assessment.program.rules[finding.rule]
        said = rule.spec.say or said
        where = member_said(assessment, rule.per, finding.member)
        said = f"{where}: {said}" if where else said
    elif finding.member is not None:
        said = f"{said} of {finding.member}"
    return f"{said} ({finding.grade.replace('_', ' ')})"
