"""The verdict of a rule and the grade of a finding: the strongest that holds, and when it was decided."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from stillair.condition.core import Ref
from stillair.possible import Options
from stillair.verdict import Verdict

from .history import end_of
from .program import Binding, Cond, Rule, bound

if TYPE_CHECKING:
    from .view import View

__all__ = ["finding", "holding", "lines_of", "rule_verdict", "rules_of"]


def rule_verdict(view: View, rule: Rule, member: str | None) -> tuple[Verdict, float | None]:
    """A rule's verdict and the moment it was decided. A finding once decided is not undone by age."""
    binding = bound(rule, member)
    verdict = view.judge(rule.when, binding)
    if verdict is Verdict.HOLDS:
        return verdict, _rested_on(view, rule.when, binding)
    if rule.spec.finding is None or rule.spec.while_:
        return verdict, None
    if verdict is Verdict.FAILS or view.aged.isdisjoint(rule.when.mentions):
        return verdict, None
    # Age alone does not undo a finding: what was last said must still give it, and must once have done.
    ageless = view.without_age().judge(rule.when, binding)
    if ageless is Verdict.HOLDS:
        for moment in _moments(view, rule.when, member):
            earlier = view.as_of(end_of(moment)).judge(rule.when, binding)
            if earlier is not Verdict.OPEN:
                if earlier is Verdict.HOLDS:
                    return earlier, moment
                break
    return verdict, None


def _rested_on(view: View, cond: Cond, binding: Binding) -> float | None:
    latest: float | None = None
    for ref, _, per in cond.reads:
        taken = view.value(ref if per is None else Ref(ref.name, binding[per])).taken
        if taken is not None and (latest is None or taken > latest):
            latest = taken
    return latest


def _moments(view: View, cond: Cond, member: str | None) -> Iterator[float]:
    """The times at which what a condition rests on was observed, latest first."""
    times: set[float] = set()
    names = cond.mentions
    for (name, of), found in view.history.observations.items():
        if name in names and (member is None or of is None or of == member):
            times.update(o.taken for o in found if o.taken < view.at)
    yield from sorted(times, reverse=True)


def holding(view: View, name: str, member: str | None) -> tuple[Rule, float | None] | None:
    """The strongest rule that gives this finding now, and the moment it was decided."""
    for rule in rules_of(view, name):
        verdict, decided = view.rule(rule, member)
        if verdict is Verdict.HOLDS:
            return rule, decided
    return None


def rules_of(view: View, name: str) -> list[Rule]:
    """The rules that give a finding, the strongest grade first."""
    return [view.program.rules[each] for each in view.program.findings[name]]


def finding(view: View, ref: Ref) -> Options:
    """The grades a finding may have: that of the strongest rule that holds, and of any open one above."""
    mask = 0
    for rule in rules_of(view, ref.name):
        verdict, decided = view.rule(rule, ref.member)
        if verdict is Verdict.HOLDS:
            lines = lines_of(view, rule.when, bound(rule, ref.member))
            return Options(mask | rule.grade, (), lines, decided)
        if verdict is Verdict.OPEN:
            mask |= rule.grade
    return Options(mask | 1)


def lines_of(view: View, cond: Cond, binding: Binding) -> tuple[int, ...]:
    """The lines of the job that a condition rests on."""
    lines: set[int] = set()
    for ref, _, per in cond.reads:
        found = view.value(ref if per is None else Ref(ref.name, binding[per])).lines
        if found:
            lines.update(found)
    return tuple(sorted(lines))
