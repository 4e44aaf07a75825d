"""A checklist on paper: the field sheet to work by, and the storyboard to discuss it by. Both are Markdown.

The same packs give the same bytes: nothing here knows a clock, a path or a machine.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from stillair.assess.program import Program
from stillair.checklist import Checklist, FactSpec, LimitSpec, PoweredSpec, RuleSpec, StepSpec, Text
from stillair.pack import Pack

__all__ = ["field_sheet", "storyboard", "title"]

_CODE = re.compile(r"`([^`]*)`")
_WORD = re.compile(r"[a-z][a-z0-9_]*")
_BOX = "☐"
_LINE = "\\_" * 10
_CANNOT = f"{_BOX} cannot tell, because {_LINE}"


def field_sheet(
    program: Program, pack: Pack, checklists: Sequence[Checklist], by: Sequence[Pack] = ()
) -> str:
    """What is done and asked, with room to write; every caution where it is needed.

    `by` are the packs that adjust it; pack and checklists are as adjusted.
    """
    facts = {fact.name: fact for checklist in program.checklists.values() for fact in checklist.facts}
    lines = [*_heading(pack, checklists, "Field sheet", by), *_warnings(program)]
    lines += [f"Job {_LINE} Date {_LINE} By {_LINE}", ""]
    lines += ["What is not known stays empty, with the reason. Empty is never a yes.", ""]
    for checklist in checklists:
        lines += [f"## {_said(checklist.title)}", "", *_paragraph(checklist.about)]
        for step in checklist.steps:
            if step.never is None:
                lines += _sheet_step(program, facts, step, by)
        lines += _powered(program, checklist)
        lines += _sheet_places(program, checklist)
        lines += _never(checklist)
    lines += _stops(program, checklists)
    lines += _limits(checklists)
    return _joined([*lines, *_meanings(program, lines)])


def storyboard(program: Program, pack: Pack, checklists: Sequence[Checklist], by: Sequence[Pack] = ()) -> str:
    """In which case each step comes, what it asks, and what follows from the answers; `by` as above."""
    lines = _heading(pack, checklists, "Storyboard", by)
    lines += [f"A company that adjusts it names the texts by `digest: {pack.written}`.", ""]
    rules = [rule for checklist in program.checklists.values() for rule in checklist.rules]
    for checklist in checklists:
        lines += [f"## {_said(checklist.title)}", "", *_paragraph(checklist.about)]
        for number, step in enumerate(checklist.steps, 1):
            lines += _scene(program, rules, number, step, by)
        if checklist.rules:
            lines += ["### What follows", "", "| Rule | When | Then | Source |", "|---|---|---|---|"]
            lines += [_row(r.name, _code(r.when), _outcome(r), _said(r.source)) for r in checklist.rules]
            lines.append("")
        if checklist.waits:
            lines += ["### Waits", "", "| Wait | For | Since | Begun again by |", "|---|---|---|---|"]
            for wait in checklist.waits:
                since, again = _listed(wait.since), _listed(wait.restarted_by)
                lines.append(_row(_said(wait.title), _code(wait.duration), since, again))
            lines.append("")
        if checklist.limits:
            lines += ["### Limits", "", "| Limit | Is | May be set | Safer |", "|---|---|---|---|"]
            for limit in checklist.limits:
                lines.append(_row(f"`{limit.name}`", _set(limit), _span(limit), limit.safer))
            lines.append("")
    return _joined([*lines, *_meanings(program, lines)])


# -- the head -----------------------------------------------------------------------------------------------


def title(pack: Pack, checklists: Sequence[Checklist], by: Sequence[Pack] = ()) -> str:
    """What is printed, and which companies adjust it."""
    own = checklists[0].title if len(checklists) == 1 else pack.title
    others = [each.title for each in by if each is not pack]
    return f"{own}, as adjusted by {' and '.join(others)}" if others else own


def _heading(pack: Pack, checklists: Sequence[Checklist], kind: str, by: Sequence[Pack]) -> list[str]:
    lines = [f"# {_said(title(pack, checklists, by))}", "", f"{kind} · {_version(pack)}", ""]
    for each in (each for each in by if each is not pack):
        lines += [f"Adjusted by {_said(each.title)} · {_version(each)}", ""]
    return lines


def _version(pack: Pack) -> str:
    return f"{pack.name} {pack.version} · digest {pack.digest[:16]}"


def _warnings(program: Program) -> Iterator[str]:
    """What stands over every job, whichever of its checklists is printed."""
    every = program.checklists.values()
    for text in dict.fromkeys(text for checklist in every for text in checklist.cautions):
        yield f"- **CAUTION** {_said(text)}"
    for text in dict.fromkeys(text for checklist in every for text in checklist.defers):
        yield f"- {_said(text)}"
    yield ""


# -- the field sheet ----------------------------------------------------------------------------------------


def _sheet_step(
    program: Program, facts: dict[str, FactSpec], step: StepSpec, by: Sequence[Pack]
) -> Iterator[str]:
    yield f"### {_BOX} {_said(step.title)}" + (" (may be left out)" if step.optional else "")
    yield ""
    for text in dict.fromkeys(_cautions(program, facts, step)):
        yield f"- **CAUTION** {_said(text)}"
    gates = (("Only when", step.when), ("Not before", step.gate), ("Not before", _gate(program, step)))
    for word, gate in gates:
        if gate is not None:
            yield f"- {word}: {_code(gate)}"
    yield from _inside(program, step)
    if step.do is not None:
        yield f"- {_said(step.do)}"
    if step.why is not None:
        yield f"- *Why:* {_said(step.why)}"
    for name in step.ask:
        fact = facts.get(name.text)
        if fact is not None:
            yield from _question(program, fact)
            yield from _adjusted(fact, by)
    if step.wait is not None:
        wait = program.waits[step.wait.text].spec
        begun = f"Begun at {_LINE} ready at {_LINE}"
        yield f"- **Wait:** {_said(wait.title)}, for {_code(wait.duration)}. {begun}"
        if wait.witness is not None:
            yield f"- At its end: {_said(wait.witness)} {_BOX} Yes {_BOX} No {_CANNOT}"
    yield ""


def _inside(program: Program, step: StepSpec) -> Iterator[str]:
    """The powered state a step belongs to: when it may begin, how long it lasts, and what ends it."""
    name = program.steps[step.name].powered
    if name is not None:
        yield from _bounds(
            program.powered[name].spec, f"Only inside *{_said(program.powered[name].spec.title)}*:"
        )


def _bounds(state: PoweredSpec, word: str) -> Iterator[str]:
    if state.caution is not None:
        yield f"- **CAUTION** {_said(state.caution)}"
    begun = f"not before {_code(state.gate)}, at most {_said(state.at_most.text)}"
    yield f"- {word} {begun}. Ended by: {_listed(state.proof)}"


def _powered(program: Program, checklist: Checklist) -> Iterator[str]:
    """The powered states a checklist declares, with the steps that belong to them."""
    for state in checklist.powered:
        yield from (f"### Powered: {_said(state.title)}", "")
        yield from _bounds(state, f"Switched on are {_listed(state.frees)}:")
        yield from (f"- {_said(program.steps[text.text].spec.title)}" for text in state.steps)
        yield f"- Begun at {_LINE} ended at {_LINE}"
        yield ""


def _gate(program: Program, step: StepSpec) -> Text | None:
    return None if step.activity is None else program.activities[step.activity.text].spec.gate


def _cautions(program: Program, facts: dict[str, FactSpec], step: StepSpec) -> Iterator[str]:
    activity = None if step.activity is None else program.activities[step.activity.text].spec
    found = [step.caution, None if activity is None else activity.caution]
    found += [facts[name.text].caution for name in step.ask if name.text in facts]
    yield from (text for text in found if text is not None)


def _question(program: Program, fact: FactSpec) -> Iterator[str]:
    """A question with room for its answer; one line for each member of its list."""
    mark = " **(safety)**" if fact.safety else ""
    answer = _answer(fact)
    if fact.per is None:
        yield f"- {_said(fact.ask)}{mark} {answer}"
        return
    yield f"- {_said(fact.ask)}{mark}"
    titles = [place.spec.title for place in program.places.values()]
    if fact.per.text != "place":
        titles = [member.label for member in program.lists[fact.per.text].members]
        titles += [_LINE] if program.lists[fact.per.text].open else []
    for title in titles:
        yield f"    - {title if title == _LINE else _said(title)}: {answer}"


def _adjusted(fact: FactSpec, by: Sequence[Pack]) -> Iterator[str]:
    """What companies add to a question: their notes, words and shorter lives."""
    for each in by:
        assert each.adjusts is not None
        ours = each.adjusts
        worded = {key.text for name, said in ours.wording for key, _ in said if name.text == fact.name}
        if "how" in worded or fact.name in {name.text for name, _ in ours.notes}:
            yield f"    - *How:* {_said(fact.how)}"
        if "why" in worded:
            yield f"    - *Why:* {_said(fact.why)}"
        yield from (
            f"    - {_said(each.title)}: good for {_said(life.text)}"
            for name, life in ours.good_for
            if name.text == fact.name
        )


def _answer(fact: FactSpec) -> str:
    if fact.options:
        return " ".join([*(f"{_BOX} {_said(option.label)}" for option in fact.options), _CANNOT])
    if fact.kind == "quantity":
        span = (
            ""
            if fact.between is None
            else f" ({_said(fact.between[0].text)} to {_said(fact.between[1].text)})"
        )
        unit = "" if fact.unit is None else f" {_said(fact.unit.text)}"
        return f"{_LINE}{unit}{span} at {_LINE} {_CANNOT}"
    return f"{_LINE} {_CANNOT}"


def _sheet_places(program: Program, checklist: Checklist) -> Iterator[str]:
    if not checklist.places:
        return
    fact = program.facts[program.look].spec if program.look is not None else None
    found = "" if fact is None else " ".join(f"{_BOX} {_said(option.label)}" for option in fact.options)
    yield from ("### Places", "")
    checks = [c.spec for c in program.checks.values() if c.tool is not None]
    yield from (f"- {_said(c.title)}: {_said(program.checks[c.name].tool)}" for c in checks)
    if checks:
        yield ""
    yield from ("| Place | How | Minutes | Found |", "|---|---|---|---|")
    for place in checklist.places:
        yield _row(_said(place.title), _said(place.how), f"{place.minutes:g}", found)
    yield ""


def _never(checklist: Checklist) -> Iterator[str]:
    acts = [step for step in checklist.steps if step.never is not None]
    if acts:
        yield from ("### Never", "")
        yield from (f"- **{_said(step.title)}:** {_said(step.never)}" for step in acts)
        yield ""


def _stops(program: Program, checklists: Sequence[Checklist]) -> Iterator[str]:
    """Every stop of what is done here, in whatever checklist it is declared."""
    done = {step.activity.text for checklist in checklists for step in checklist.steps if step.activity}
    done |= {activity.name for checklist in checklists for activity in checklist.activities}
    every = [rule for checklist in program.checklists.values() for rule in checklist.rules]
    rules = [rule for rule in every if done & {text.text for text in rule.stop}]
    if rules:
        yield from ("## Stops", "", "| When | Then | Lifted by |", "|---|---|---|")
        yield from (_row(_code(rule.when), _said(rule.say), _said(rule.lifted_by)) for rule in rules)
        yield ""


def _limits(checklists: Iterable[Checklist]) -> Iterator[str]:
    limits = [limit for checklist in checklists for limit in checklist.limits]
    if limits:
        yield from ("## Limits", "", "| Limit | Is | May be set | Source |", "|---|---|---|---|")
        for limit in limits:
            yield _row(
                _said(limit.about) or f"`{limit.name}`",
                _set(limit),
                _span(limit),
                _said(limit.source),
            )
        yield ""


def _set(limit: LimitSpec) -> str:
    """What a limit is, and who set it so, from what."""
    by = limit.set_by
    if by is None:
        return _said(limit.value.text)
    looser = f"; looser, allowed by {by.who} until {by.until}: {by.why}" if by.looser else ""
    return _said(f"{limit.value} ({by.company}, from {by.was}{looser})")


def _span(limit: LimitSpec) -> str:
    return "" if limit.between is None else _said(f"{limit.between[0]} to {limit.between[1]}")


def _meanings(program: Program, lines: Iterable[str]) -> Iterator[str]:
    """What the conditions with a name mean that are printed."""
    said = {
        name.text: text for checklist in program.checklists.values() for name, text in checklist.conditions
    }
    found: set[str] = set()
    waiting = [code for line in lines for code in _CODE.findall(line)]
    while waiting:
        new = {word for word in _WORD.findall(waiting.pop()) if word in said} - found
        found |= new
        waiting += [said[word].text for word in new]
    if found:
        yield from ("## What the words in conditions mean", "", "| Word | Means |", "|---|---|")
        yield from (_row(f"`{name}`", _code(said[name])) for name in said if name in found)


# -- the storyboard -----------------------------------------------------------------------------------------


def _scene(
    program: Program, rules: Sequence[RuleSpec], number: int, step: StepSpec, by: Sequence[Pack]
) -> Iterator[str]:
    yield f"### {number}. {_said(step.title)} (`{step.name}`)"
    yield ""
    if step.never is not None:
        yield f"- Never: {_said(step.never)}"
    if step.when is not None:
        yield f"- Comes when {_code(step.when)}"
    if step.gate is not None:
        yield f"- Not before {_code(step.gate)}"
    if step.activity is not None:
        activity = program.activities[step.activity.text].spec
        gate = "" if activity.gate is None else f", not before {_code(activity.gate)}"
        yield f"- Is `{activity.name}`{gate}"
        stops = [rule.name for rule in rules if activity.name in {text.text for text in rule.stop}]
        if stops:
            yield f"- Stopped by {', '.join(f'`{name}`' for name in stops)}"
    for name in step.ask:
        yield f"- Asks `{name}`: {_rests_on(program, name.text)}"
        if name.text in program.facts:
            yield from _adjusted(program.facts[name.text].spec, by)
    if step.marks:
        yield f"- Marks {_listed(step.marks)}"
    if step.wait is not None:
        yield f"- Waits for `{step.wait}`"
    if step.optional:
        yield "- May be left out"
    yield ""


_NAMED = 12
"""Rules and steps named of those that rest on a fact (judgement: on some rest two hundred)."""


def _rests_on(program: Program, name: str) -> str:
    """What rests on a fact, by name: rules, gates and steps, in their order."""
    found = _few(
        "rules", [f"`{rule.spec.name}`" for rule in program.rules.values() if name in rule.when.mentions]
    )
    found += [
        f"the gate of `{a.spec.name}`"
        for a in program.activities.values()
        if a.gate and name in a.gate.mentions
    ]
    steps = [
        f"step `{step.spec.name}`"
        for step in program.steps.values()
        if any(cond is not None and name in cond.mentions for cond in (step.when, step.gate))
    ]
    found += _few("steps", steps)
    found += [
        f"check `{c.spec.name}`" for c in program.checks.values() if c.at_hand and name in c.at_hand.mentions
    ]
    return ", ".join(found) or "for the record"


def _few(what: str, named: list[str]) -> list[str]:
    more = len(named) - _NAMED
    return [*named[:_NAMED], f"{more} more {what}"] if more > 1 else named


def _outcome(rule: RuleSpec) -> str:
    if rule.finding is not None:
        said = f": {_said(rule.say)}" if rule.say else ""
        return f"`{rule.finding}` {rule.grade}{said}"
    if rule.caution is not None:
        return f"CAUTION {_said(rule.caution)}"
    return f"STOP {_listed(rule.stop)}: {_said(rule.say)}"


# -- small things -------------------------------------------------------------------------------------------


def _said(text: str | None) -> str:
    """A text of a pack in one line; what would end a cell of a table is written so that it does not."""
    return " ".join((text or "").split()).replace("|", "\\|")


def _code(text: Text) -> str:
    return f"`{_said(text.text)}`"


def _listed(texts: Iterable[Text]) -> str:
    return ", ".join(f"`{_said(text.text)}`" for text in texts)


def _paragraph(text: str | None) -> Iterator[str]:
    if text is not None:
        yield from (_said(text), "")


def _row(*cells: str) -> str:
    return "| " + " | ".join(cells) + " |"


def _joined(lines: Iterable[str]) -> str:
    return "\n".join(lines).rstrip("\n") + "\n"
