"""What could not be decided: entries in doubt, open findings, waits nobody watched, and what would decide."""

from __future__ import annotations

from collections.abc import Sequence

from stillair.assess import Finding
from stillair.because import deciding
from stillair.condition.core import Ref
from stillair.margin import deciders_of_rule, wait_says
from stillair.verdict import Why
from stillair.wording import Wording

from .aged import open_findings
from .document import Block, Code, Item, Part, Strong, line
from .prose import prose
from .reason import items

__all__ = ["undecided"]

_MOST = 6
"""Reasons said in words before the rest is counted (judgement: more is not read)."""


def undecided(wording: Wording) -> Part:
    """Open findings, grouped where they are open for the same reasons, and entries that are in doubt."""
    found = wording.found
    blocks: list[Block] = []
    if found.suspicions:
        blocks.append(line(Strong("Entries in doubt."), " Nothing rests on them until they are settled."))
        blocks.append(
            items(
                Item(line(Code(wording.name(s.ref)), f", line {s.observation.line}: ", prose(s.slip)))
                for s in found.suspicions
            )
        )
    groups: dict[tuple[str, tuple[str, ...]], list[Finding]] = {}
    for finding in open_findings(wording):
        groups.setdefault((finding.name, _reasons(wording, finding)), []).append(finding)
    if groups:
        blocks.append(items(_open(wording, group, reasons) for (_, reasons), group in groups.items()))
    unwatched = [
        Item(line(Code(wait_says(wording, found.view, name))))
        for name, state in found.waits.items()
        if state.started is not None and any(r.why is Why.UNWATCHED for r in state.options.reasons)
    ]
    if unwatched:
        blocks.append(line(Strong("Waits nobody watched:")))
        blocks.append(items(unwatched))
    if not blocks:
        blocks.append(line("Every finding of the open checklists is decided."))
    return Part("What could not be decided, and what would decide it", tuple(blocks))


def _reasons(wording: Wording, finding: Finding) -> tuple[str, ...]:
    """Why a finding is open; what was merely not asked is told by its question."""
    told = [r for r in finding.reasons if r.why is not Why.NOT_ASKED] or finding.reasons
    of = f" of {finding.member}"
    return tuple(dict.fromkeys(wording.reason(r).replace(of, "") for r in told))


def _open(wording: Wording, group: Sequence[Finding], reasons: Sequence[str]) -> Item:
    first = group[0]
    rules = wording.program.findings[first.name]
    per = wording.program.rules[rules[0]].per
    may = " or ".join("not so" if g == "none" else g.replace("_", " ") for g in first.grades)
    under = []
    if per is not None:
        where = "; ".join(wording.member(per, f.member) for f in group)
        under.append(Item(line("Open at: ", Strong(where))))
    under += [Item(line(reason)) for reason in reasons[:_MOST]]
    if len(reasons) > _MOST:
        under.append(Item(line(f"and {len(reasons) - _MOST} more reasons")))
    missing: dict[Ref, None] = {}
    settled: dict[str, None] = {}
    for name in rules:
        rule = wording.program.rules[name]
        binding = {rule.per: first.member} if rule.per and first.member else {}
        missing.update(dict.fromkeys(wording.found.view.missing(rule.when, binding)))
        if len(group) == 1:
            tests = deciders_of_rule(wording, name, first.member)
            settled.update(dict.fromkeys(each.settles for each in tests if each.settles))
    if missing:
        # The members are named above: the questions stand alone.
        asked = [Ref(ref.name) for ref in missing] if per is not None else list(missing)
        questions = deciding(wording, asked)
        under.append(
            Item(line("What would decide it:"), items(Item(line(question)) for question in questions))
        )
    if settled:
        under.append(Item(line("Too close to call:"), items(Item(line(text)) for text in settled)))
    return Item(line(Code(first.name), f" – may still be {may}"), tuple(under))
