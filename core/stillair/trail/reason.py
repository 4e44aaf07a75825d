"""Why a rule is as it is, and how observations are quoted: what all parts of a trail say in one way."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from stillair.assess import Observation, RuleState
from stillair.assess.program import bound
from stillair.because import reading_used
from stillair.job import Line as Entry
from stillair.margin import Judgement, deciders, deciders_of_rule, judgement, judgement_of_rule
from stillair.verdict import Verdict
from stillair.wording import Wording

from .aged import when_last_read
from .document import Code, Item, line
from .prose import prose

__all__ = [
    "LEFT_OUT",
    "because",
    "items",
    "judged",
    "judged_deciders",
    "label",
    "lines_said",
    "quoted",
    "rule_name",
    "seen",
    "telling",
    "tests",
]

LEFT_OUT = "left out of this copy"


def items(found: Iterable[Item]) -> tuple[Item, ...]:
    return tuple(found)


def quoted(text: str) -> str:
    """Words of a person in quotation marks, which they cannot close."""
    return "“" + text.replace("“", '"').replace("”", '"') + "”"


def lines_said(numbers: Sequence[int]) -> str:
    """`line 4`, `lines 4, 9`."""
    return f"{'line' if len(numbers) == 1 else 'lines'} {', '.join(map(str, numbers))}"


def rule_name(state: RuleState) -> str:
    return f"{state.rule} of {state.member}" if state.member else state.rule


def label(wording: Wording, state: RuleState) -> str:
    """The member a rule is about, with a colon; empty where it is about none."""
    found = wording.member(wording.program.rules[state.rule].per, state.member)
    return f"{found}: " if found else ""


def seen(wording: Wording, entries: Sequence[Entry], observation: Observation) -> str:
    """What was observed, with the instrument, the time and the line: `Faint, with D1, 13:17, line 26`."""
    entry = entries[observation.line - 1]
    fact = wording.program.facts.get(observation.fact)
    if {"value", "read", "body"} & entry.left_out:
        said = LEFT_OUT
    elif observation.value == "present" and fact is not None and fact.spec.kind in ("text", "signature"):
        said = quoted(observation.read)
    else:
        said = reading_used(wording, observation)
    serial = f", with {observation.instrument}" if observation.instrument is not None else ""
    return f"{said}{serial}, {wording.clock(observation.taken)}, line {observation.line}"


def because(wording: Wording, state: RuleState) -> tuple[Item, ...]:
    """Why a rule is as it is: its reason, every test that decides it with its margin, and its source."""
    spec = wording.program.rules[state.rule].spec
    under: list[Item] = []
    if spec.why:
        under.append(Item(line("Why: ", prose(spec.why))))
    tree = judged(wording, state.rule, state.member)
    under += tests(tree)
    shown = {n for each in telling(tree) for n in _lines_in(each.says)}
    if set(tree.lines) - shown:
        under.append(Item(line(f"Rests on {lines_said(tree.lines)}.")))
    if spec.source:
        under.append(Item(line("Source: ", prose(spec.source))))
    return tuple(under)


def judged(wording: Wording, rule: str, member: str | None) -> Judgement:
    """The judged tests of a rule; of one that has only grown old, as of when it was last read."""
    verdict, view = when_last_read(wording, rule, member)
    if view is wording.found.view or verdict is Verdict.OPEN:
        return judgement_of_rule(wording, rule, member, deepest=0)
    compiled = wording.program.rules[rule]
    return judgement(wording, view, compiled.when, bound(compiled, member), deepest=0)


def judged_deciders(wording: Wording, rule: str, member: str | None) -> Iterator[Judgement]:
    """What `telling` gives of the judged tests of a rule; none is read before it is asked for."""
    verdict, view = when_last_read(wording, rule, member)
    if view is wording.found.view or verdict is Verdict.OPEN:
        return deciders_of_rule(wording, rule, member)
    compiled = wording.program.rules[rule]
    return deciders(wording, view, compiled.when, bound(compiled, member))


def _lines_in(says: str) -> Iterator[int]:
    """The numbers of the entries that a test names itself."""
    for found in re.findall(r"\blines? ([0-9]+(?:, [0-9]+)*)(?=[,)])", says):
        yield from map(int, found.split(", "))


def telling(tree: Judgement) -> Iterator[Judgement]:
    """The tests that decide a condition, without those of the findings and lists it refers to.

    Where one of several is enough, those that hold; where one of all is wanting, those that fail.
    """
    if tree.says:
        yield tree
        return
    parts: Sequence[Judgement] = tree.parts
    decides = Verdict.HOLDS if tree.join == "any of" else Verdict.FAILS
    if tree.verdict is decides:
        parts = [part for part in parts if part.verdict is decides]
    for part in parts:
        yield from telling(part)


def tests(tree: Judgement) -> list[Item]:
    """Each test with its value, margin and verdict, and how its number came about, said once."""
    found = []
    said: set[str] = set()
    for each in telling(tree):
        under = [Item(line(Code(step))) for step in each.working if step not in said]
        if each.doubt and each.doubt not in said:
            under.append(Item(line(Code(each.doubt), " at 95 %")))
        if each.settles:
            under.append(Item(line(each.settles)))
        said |= {*each.working, each.doubt}
        says = Code(f"{each.says}: {each.verdict.word}")
        found.append(Item(line(Code(each.text), " – ", says), tuple(under)))
    return found
