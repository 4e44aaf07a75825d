"""Findings: first place by place with the evidence of each, then the others, then what is not so."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice

from stillair.assess import Finding, RuleState
from stillair.condition.core import Ref
from stillair.job import Line as Entry
from stillair.margin import Judgement, deciders_of_rule
from stillair.verdict import Verdict
from stillair.wording import Wording

from .aged import is_closed, only_aged
from .document import Block, Code, Item, Part, Strong, line
from .prose import prose
from .reason import because, items, judged_deciders, rule_name, seen, tests

__all__ = ["about_places", "finding_said", "finding_title", "findings", "ranked"]

_RANKS = ("confirmed", "probable", "suspected", "not_found", "ruled_out")
"""The order findings are told in: what is surest first, what is not so last."""
_SHOWN = ("confirmed", "probable", "suspected")
"""The grades of what there is, against what there is not."""


def ranked(found: Iterable[Finding]) -> list[Finding]:
    """Findings with a grade that says something: the surest first, within a grade by time."""
    known = [f for f in found if f.grade in _RANKS and f.rule is not None]
    return sorted(known, key=lambda f: (_RANKS.index(f.grade), f.decided if f.decided is not None else 0.0))


def about_places(wording: Wording) -> dict[str, list[Finding]]:
    """What was found at each place, the surest first; the places by what is surest there."""
    found: dict[str, list[Finding]] = {}
    for finding in ranked(wording.found.findings):
        if finding.grade in _SHOWN and _at_place(wording, finding):
            found.setdefault(finding.member or "", []).append(finding)
    return found


def finding_said(wording: Wording, finding: Finding) -> str:
    """What the rule that gave a finding says."""
    said = wording.program.rules[finding.rule].spec.say if finding.rule is not None else None
    return prose(said) or finding.name.replace("_", " ")


def finding_title(wording: Wording, finding: Finding) -> str:
    """The same, with the member it is about."""
    label = wording.member(_list_of(wording, finding), finding.member)
    said = finding_said(wording, finding)
    return f"{label}: {said}" if label else said


def findings(wording: Wording, entries: Sequence[Entry]) -> Part:
    """Findings that stand, with grade, time and reason; then what was looked for and is not so."""
    places = about_places(wording)
    told = [finding for group in places.values() for finding in group]
    rest = [f for f in ranked(wording.found.findings) if f not in told]
    silent = [f for f in rest if f.grade == "not_found" and _at_place(wording, f)]
    blocks: list[Block] = []
    if places:
        blocks.append(items(_at(wording, entries, group) for group in places.values()))
    others = items(_finding(wording, f) for f in rest if f not in silent)
    if others:
        blocks.append(line(Strong("Not about one place:")))
        blocks.append(others)
    if silent:
        blocks.append(line(Strong("Looked for at places, and not found:")))
        blocks.append(items(_silent(wording, silent)))
    if not blocks:
        blocks.append(line("Nothing has been found yet."))
    absent = items(_absent(wording))
    if absent:
        blocks.append(line(Strong("Looked for, and not so:")))
        blocks.append(absent)
    return Part("Findings", tuple(blocks))


def _list_of(wording: Wording, finding: Finding) -> str | None:
    return wording.program.rules[wording.program.findings[finding.name][0]].per


def _at_place(wording: Wording, finding: Finding) -> bool:
    return _list_of(wording, finding) == "place"


def _state(wording: Wording, finding: Finding) -> RuleState:
    return next(s for s in wording.found.rules if (s.rule, s.member) == (finding.rule, finding.member))


def _graded(wording: Wording, finding: Finding) -> str:
    when = f", {wording.moment(finding.decided)}" if finding.decided is not None else ""
    return f" – {finding.grade.replace('_', ' ')}{when}"


def _stronger(finding: Finding) -> Iterator[Item]:
    stronger = [g.replace("_", " ") for g in finding.grades if g not in (finding.grade, "none")]
    if stronger:
        yield Item(line("What is still open may make it: ", " or ".join(stronger), "."))


# -- at one place --------------------------------------------------------------------------------------------


def _at(wording: Wording, entries: Sequence[Entry], group: Sequence[Finding]) -> Item:
    """One place: its surest finding, all that was observed there, then what else that shows."""
    first = group[0]
    evidence, lines = _evidence(wording, entries, first.member)
    under = list(evidence)
    for finding in group:
        state = _state(wording, finding)
        spec = wording.program.rules[state.rule].spec
        if finding is not first:
            under.append(
                Item(
                    line("Also: ", finding_said(wording, finding), _graded(wording, finding)),
                    items(_rested(wording, state, finding, lines)),
                )
            )
            continue
        if spec.why:
            under.append(Item(line("Why: ", prose(spec.why))))
        under += _rested(wording, state, finding, lines)
        under += _stronger(finding)
    return Item(
        line(Strong(finding_title(wording, first)), _graded(wording, first)),
        tuple(under),
    )


def _rested(wording: Wording, state: RuleState, finding: Finding, told: set[int]) -> Iterator[Item]:
    """The rule that gave a finding of a place, and the tests that rest on more than was observed there."""
    rule = wording.program.rules[state.rule]
    deciding = deciders_of_rule(wording, state.rule, state.member)
    more = [each for each in deciding if not each.lines or not set(each.lines) <= told]
    name, condition = Code(state.rule), Code(rule.when.text)
    yield Item(
        line("Rule ", name, ", finding ", Code(finding.name), ": ", condition),
        tuple(item for each in more for item in tests(each)),
    )
    if rule.spec.source:
        yield Item(line("Source: ", prose(rule.spec.source)))


def _evidence(
    wording: Wording, entries: Sequence[Entry], place: str | None
) -> tuple[tuple[Item, ...], set[int]]:
    """Everything observed at a place in the order it was taken, and the lines of it."""
    found = wording.found
    observed = [
        (o, fact)
        for name, fact in wording.program.facts.items()
        if fact.per == "place"
        for o in found.history.before((name, place), found.view.moment)
    ]
    under = []
    for observation, fact in sorted(observed, key=lambda each: each[0].moment):
        asked = prose(fact.spec.ask)
        joint = " " if asked.endswith("?") else ": "
        doubt = None
        if observation.value is not None:
            doubt = found.view.doubt(fact, Ref(fact.name, place), observation)
        void = f" – does not count: {doubt.text or doubt.why.value}" if doubt is not None else ""
        under.append(Item(line(asked, joint, seen(wording, entries, observation), void, ".")))
    return tuple(under), {o.line for o, _ in observed}


# -- not about one place, and what is not there --------------------------------------------------------------


def _finding(wording: Wording, finding: Finding) -> Item:
    state = _state(wording, finding)
    under = [*because(wording, state), *_stronger(finding)]
    under.append(Item(line("Rule ", Code(rule_name(state)), ", finding ", Code(finding.name), ".")))
    return Item(line(Strong(finding_title(wording, finding)), _graded(wording, finding)), tuple(under))


def _silent(wording: Wording, found: Sequence[Finding]) -> Iterator[Item]:
    """What was not found, once for all places a rule says it of; what each rests on is told by the places."""
    groups: dict[tuple[str, str | None, tuple[str, ...]], list[Finding]] = {}
    for finding in found:
        groups.setdefault((finding.name, finding.rule, finding.grades), []).append(finding)
    for group in groups.values():
        first = group[0]
        spec = wording.program.rules[first.rule or ""].spec
        under = [Item(line("At: ", "; ".join(wording.member("place", f.member) for f in group)))]
        under.append(Item(line("What each of them rests on is told under Places.")))
        if spec.why:
            under.append(Item(line("Why: ", prose(spec.why))))
        if spec.source:
            under.append(Item(line("Source: ", prose(spec.source))))
        under += _stronger(first)
        under.append(
            Item(
                line(
                    "Rule ",
                    Code(spec.name),
                    ", finding ",
                    Code(first.name),
                    ": ",
                    Code(wording.program.rules[spec.name].when.text),
                )
            )
        )
        yield Item(line(Strong(finding_said(wording, first)), " – not found"), tuple(under))


def _absent(wording: Wording) -> Iterator[Item]:
    """By its name alone: the words of a finding that is not so are too easily read as one that is."""
    closed = is_closed(wording)
    groups: dict[tuple[str, tuple[str, ...]], list[Finding]] = {}
    for finding in wording.found.findings:
        if finding.grade == "none" or (closed and only_aged(wording, finding)):
            failing = tuple(f"{each.says}: {each.verdict.word}" for each in _failing(wording, finding))
            groups.setdefault((finding.name, failing), []).append(finding)
    for (name, failing), group in groups.items():
        pieces = [piece for each in failing for piece in ("; ", Code(each))][1:]
        where = [wording.member(_list_of(wording, f), f.member) for f in group if f.member]
        at = Item(line("At: ", "; ".join(where)))
        yield Item(line(Code(name), " – ", *pieces), (at,) if where else ())


def _failing(wording: Wording, finding: Finding) -> Iterator[Judgement]:
    """The tests that fail, at most two of each rule."""
    for name in wording.program.findings[finding.name]:
        failing = (e for e in judged_deciders(wording, name, finding.member) if e.verdict is Verdict.FAILS)
        yield from islice(failing, 2)
