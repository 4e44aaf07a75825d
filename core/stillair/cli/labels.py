"""Entries, steps, findings and rules as the command line says them, and what has changed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from stillair import quantity
from stillair.assess import Assessment, Blocked, Finding, Observation, Program, RuleState
from stillair.condition.core import NumberDomain, OptionDomain, Ref
from stillair.verdict import Verdict
from stillair.wording import Wording

__all__ = [
    "changes",
    "choices",
    "finding_said",
    "fits",
    "in_order",
    "is_found",
    "numbered",
    "observed",
    "rule_said",
    "standing",
    "step_said",
]

_MOST_KEYS = 12
"""Options up to which each has a number to type; a longer list is answered by name (judgement)."""
_WORDS = {"text": "a few words", "photo": "the name of the photo", "signature": "who signed"}


def step_said(words: Wording, step: str, member: str | None) -> str:
    """The title of a step, with the member it is done for."""
    found = words.program.steps[step]
    title = found.spec.title or step
    label = words.member(found.per, member)
    return f"{title}: {label}" if label else title


def numbered(program: Program, ref: Ref) -> tuple[str, ...]:
    """The options that have a number to type: none for numbers, texts and long lists.

    Options that are numbers themselves are typed as they are: `2` cannot be both the second and 2.
    """
    fact = program.facts[ref.name]
    domain = fact.domain
    if not isinstance(domain, OptionDomain) or fact.spec.kind in _WORDS:
        return ()
    if len(domain.names) > _MOST_KEYS or any(name.isdigit() for name in domain.names):
        return ()
    return domain.names


def choices(program: Program, ref: Ref) -> str | None:
    """The keys of a fact with numbered options, and what each says; None for others."""
    options, domain = numbered(program, ref), program.facts[ref.name].domain
    if not options or not isinstance(domain, OptionDomain):
        return None
    if options == ("yes", "no"):
        return "y yes, n no, u cannot tell"
    said = [f"{number} {domain.labels.get(name, name)}" for number, name in enumerate(options, 1)]
    return ", ".join([*said, "u cannot tell"])


def fits(program: Program, ref: Ref) -> str:
    """What can be typed for a fact without numbered options."""
    fact = program.facts[ref.name]
    domain = fact.domain
    if isinstance(domain, NumberDomain):
        if domain.dimension.name == "moment":
            return "a date such as 2026-04-15, or a time today such as 9:40"
        unit = fact.unit.symbol if fact.unit is not None else "1"
        said = "a number" if unit == "1" else f"a number in {unit}"
        between = fact.spec.between
        return said if between is None else f"{said}, {between[0]} .. {between[1]}"
    if fact.spec.kind in _WORDS:
        return _WORDS[fact.spec.kind]
    if len(domain.names) > _MOST_KEYS:
        return f"one of {len(domain.names)} names, or a part of one; ? lists them"
    return "one of: " + ", ".join(domain.names)


def observed(program: Program, observation: Observation) -> str:
    """An entry as read: `static_pressure: 217 psig`, `dead of indoor: yes`."""
    ref = Ref(observation.fact, observation.member)
    fact = program.facts.get(observation.fact)
    if observation.value is None:
        return f"{ref}: cannot be had ({observation.why})"
    if isinstance(observation.value, float) and fact is not None and fact.unit is not None:
        unit = fact.unit
        if observation.unit is not None:
            unit = quantity.find_unit(observation.unit, unit.dimension)
        return f"{ref}: {quantity.show(observation.value, unit)}"
    return f"{ref}: {observation.read or observation.value}"


def is_found(finding: Finding) -> bool:
    """Whether a finding has a grade that says something."""
    return finding.grade not in ("open", "none")


def finding_said(words: Wording, finding: Finding) -> str:
    """A finding with its grade: what the rule that decided it says, else its name."""
    said = finding.name.replace("_", " ")
    if finding.rule is not None:
        rule = words.program.rules[finding.rule]
        label = words.member(rule.per, finding.member)
        said = rule.spec.say or said
        said = f"{label}: {said}" if label else said
    elif finding.member is not None:
        said = f"{said} of {finding.member}"
    return f"{said} ({finding.grade.replace('_', ' ')})"


def standing(found: Assessment) -> list[RuleState]:
    """The stops and cautions that hold: stops first, and of these the one that stops most."""
    stops = sorted(found.stops, key=lambda s: -stopped_by(found.program, s.rule))
    return [s for s in (*stops, *found.cautions) if s.verdict is Verdict.HOLDS]


def stopped_by(program: Program, rule: str | None) -> int:
    """How many activities a rule stops."""
    return len(program.rules[rule].spec.stop) if rule in program.rules else 0


def in_order(program: Program, blocked: Iterable[Blocked]) -> list[Blocked]:
    """What stands against a step: first the stop that stops most."""
    return sorted(blocked, key=lambda each: -stopped_by(program, each.rule))


def rule_said(words: Wording, state: RuleState) -> tuple[str, str]:
    """STOP or CAUTION, and what a rule says."""
    rule = words.program.rules[state.rule]
    label = words.member(rule.per, state.member)
    said = rule.spec.caution or rule.spec.say or rule.spec.name
    return ("CAUTION" if rule.spec.caution else "STOP"), f"{label}: {said}" if label else said


def changes(before: Wording, after: Wording) -> Iterator[tuple[str, str]]:
    """What an entry, or time, has changed: pairs of a mark and what it says."""
    was, now = standing(before.found), standing(after.found)
    known = {(s.rule, s.member) for s in was}
    for state in now:
        if (state.rule, state.member) not in known:
            word, said = rule_said(after, state)
            yield f"{word}: ", said
            lifted = after.program.rules[state.rule].spec.lifted_by
            if lifted:
                yield "  lifted when: ", lifted
    left = {(s.rule, s.member) for s in now}
    for state in was:
        if (state.rule, state.member) not in left:
            yield "lifted: ", rule_said(before, state)[1]
    earlier = {(f.name, f.member): f for f in before.found.findings}
    for finding in after.found.findings:
        old = earlier.get((finding.name, finding.member))
        if old is not None and old.grade == finding.grade:
            continue
        if is_found(finding):
            yield "FOUND: ", finding_said(after, finding)
        elif old is not None and is_found(old):
            reason = f" Now {finding.grade}"
            if finding.reasons:
                reason += f": {after.reason(finding.reasons[0])}"
            yield "no longer: ", f"{finding_said(before, old)}.{reason}"
