"""Stops in force or not ruled out, what was done all the same, instruments out of check, and cautions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from stillair.assess import RuleState
from stillair.carried import carried
from stillair.condition.core import Ref
from stillair.job import JSON
from stillair.job import Line as Entry
from stillair.verdict import Verdict
from stillair.wording import Wording

from .aged import is_closed, when_last_read
from .ahead import work_is_due
from .calculations import set_by_said
from .document import Block, Code, Item, Part, Strong, line
from .prose import prose
from .reason import LEFT_OUT, because, items, label, lines_said, quoted, rule_name

__all__ = ["cautions", "in_force", "not_ruled_out", "parted", "stop_said"]


def in_force(wording: Wording) -> list[RuleState]:
    return [s for s in wording.found.stops if s.verdict is Verdict.HOLDS]


def not_ruled_out(wording: Wording) -> list[RuleState]:
    """Safety stops that are open. Of a closed job not those ruled out before that have only grown old."""
    rules = wording.program.rules
    found = [s for s in wording.found.stops if s.verdict is Verdict.OPEN and rules[s.rule].when.safety]
    if not is_closed(wording):
        return found
    return [s for s in found if when_last_read(wording, s.rule, s.member)[0] is not Verdict.FAILS]


def parted(wording: Wording) -> tuple[list[RuleState], list[RuleState]]:
    """The stops not ruled out: those of work that is due, done or may still be, and those of none that is.

    Every stop is in one of the two.
    """
    rules, found = wording.program.rules, not_ruled_out(wording)
    stopped = {activity.text for s in found for activity in rules[s.rule].spec.stop}
    due = {activity for activity in stopped if work_is_due(wording, activity)}
    return (
        [s for s in found if due & {a.text for a in rules[s.rule].spec.stop}],
        [s for s in found if not due & {a.text for a in rules[s.rule].spec.stop}],
    )


def stop_said(wording: Wording, state: RuleState) -> str:
    """What a stop says, with the member it is about."""
    spec = wording.program.rules[state.rule].spec
    return label(wording, state) + (prose(spec.say) or state.rule)


def cautions(wording: Wording, entries: Sequence[Entry]) -> Part:
    """The part that is in every trail, partial or failed."""
    found = wording.found
    blocks: list[Block] = []
    holding, (unknown, later) = in_force(wording), parted(wording)
    if holding:
        blocks.append(line(Strong("Stops in force."), " What they name may not go on."))
        blocks.append(items(_stop(wording, s) for s in holding))
    else:
        blocks.append(line("No stop is in force at this time."))
    if unknown:
        blocks.append(line(Strong("Stops not ruled out."), " What they rest on is not known."))
        blocks.append(items(_unknown(wording, unknown)))
    if later:
        blocks.append(
            line(Strong("Not ruled out either, of work that is not due."), " Judged before that work begins.")
        )
        blocks.append(items(_later(wording, later)))
    emergencies = found.history.events.get(("emergency", None), [])
    if emergencies:
        blocks.append(line(Strong("Emergency shown:"), " leave, do not switch, call."))
        blocks.append(
            items(Item(line(wording.clock(at), f", line {n}")) for at, n in emergencies if at <= found.at)
        )
    anyway = items(_anyway(wording, entries))
    if anyway:
        blocks.append(line(Strong("Done though not permitted:")))
        blocks.append(anyway)
    unchecked = items(_unchecked(wording))
    if unchecked:
        blocks.append(line(Strong("Instruments whose check is overdue or not known:")))
        blocks.append(unchecked)
    set_by = [s for s in (limit.spec for limit in wording.program.limits.values()) if s.set_by is not None]
    loosened = items(
        Item(line(Code(s.name), ": ", *set_by_said(s))) for s in set_by if s.set_by and s.set_by.looser
    )
    if loosened:
        blocks.append(line(Strong("Limits that the company has loosened:")))
        blocks.append(loosened)
    blocks.append(line(Strong("Cautions.")))
    blocks.append(
        items(_cautions(wording))
        or items([Item(line("The checklists of this job give no caution of their own."))])
    )
    return Part("Stops and cautions", tuple(blocks))


def _stop(wording: Wording, state: RuleState) -> Item:
    spec = wording.program.rules[state.rule].spec
    stopped = [wording.program.activities[t.text].spec.title for t in spec.stop]
    under = [Item(line("Stopped: ", "; ".join(stopped)))]
    if spec.lifted_by:
        under.append(Item(line("Lifted by: ", prose(spec.lifted_by))))
    if wording.program.rules[state.rule].when.safety:
        under.append(Item(line("It rests on a safety fact: nothing overrides it.")))
    under += because(wording, state)
    return Item(line(Strong(stop_said(wording, state)), " (", Code(rule_name(state)), ")"), items(under))


def _unknown(wording: Wording, states: Sequence[RuleState]) -> Iterator[Item]:
    """Open stops under what keeps them open, by name: their words are easily read as if they held."""
    groups: dict[tuple[str, ...], list[RuleState]] = {}
    for state in states:
        groups.setdefault(tuple(wording.reason(r) for r in state.reasons), []).append(state)
    for reasons, group in groups.items():
        yield Item(
            line("Open, because ", "; ".join(reasons) or "it is too close to call", "."),
            items(
                Item(
                    line(Code(rule_name(s)), ", which if it held would say: ", quoted(stop_said(wording, s)))
                )
                for s in group
            ),
        )


def _later(wording: Wording, states: Sequence[RuleState]) -> Iterator[Item]:
    """By name alone, under the work they would stop."""
    groups: dict[str, list[str]] = {}
    for state in states:
        stopped = wording.program.rules[state.rule].spec.stop
        work = "; ".join(wording.program.activities[a.text].spec.title for a in stopped)
        groups.setdefault(work, []).append(rule_name(state))
    for work, names in groups.items():
        pieces = [piece for name in names for piece in (", ", Code(name))][1:]
        yield Item(line(f"{work}: ", *pieces))


def _anyway(wording: Wording, entries: Sequence[Entry]) -> Iterator[Item]:
    """Each step or event that was entered as done against permission, with the words why."""
    history = wording.found.history
    for entry in entries:
        if entry.kind not in ("event", "done"):
            continue
        if entry.entered > history.known or entry.taken > wording.found.at:
            continue
        stands, body = entry, entry.body
        if entry.n in history.corrected:
            stands = entries[history.corrected[entry.n] - 1]
            replaced = stands.body.get("body")
            if not isinstance(replaced, Mapping):
                continue
            body = replaced
        why = body.get("why")
        if why is None and "why" not in stands.left_out:
            continue
        said = LEFT_OUT if why is None else quoted(str(why))
        yield Item(
            line(
                Strong(_done_title(wording, entry.kind, body)),
                " was done though not permitted at that time: ",
                f"{said}. {wording.clock(entry.taken)}, line {stands.n}.",
            )
        )


def _done_title(wording: Wording, kind: str, body: Mapping[str, JSON]) -> str:
    program = wording.program
    of = f", {body['of']}" if body.get("of") else ""
    if kind == "done":
        step = program.steps.get(str(body["step"]))
        return (prose(step.spec.title) if step is not None else str(body["step"])) + of
    name = str(body["event"])
    powered = program.powered.get(name.removesuffix("_begun"))
    if powered is not None and name.endswith("_begun"):
        return prose(powered.spec.title)
    spec = program.events.get(name)
    return (prose(spec.say) if spec is not None else name.replace("_", " ")) + of


def _unchecked(wording: Wording) -> Iterator[Item]:
    """Each instrument past its check date, or without one where its kind is checked, and its readings."""
    for each in carried(wording):
        said = each.caution(wording.found.at, wording.zone)
        if said is None:
            continue
        read = items(
            Item(line(Code(wording.name(Ref(o.fact, o.member))), f", {at}, {lines_said([o.line])}"))
            for o in each.doubtful(wording)
            for at in (wording.clock(o.taken),)
        )
        under = [Item(line("Readings taken with it:" if read else "No reading rests on it."), read)]
        yield Item(line(Strong(f"{said}.")), tuple(under))


def _cautions(wording: Wording) -> Iterator[Item]:
    """Cautions that rules give, or gave when last read; then those that always stand."""
    program = wording.program
    for state in wording.found.cautions:
        verdict, _ = when_last_read(wording, state.rule, state.member)
        if verdict is Verdict.HOLDS:
            said = label(wording, state) + prose(program.rules[state.rule].spec.caution)
            yield Item(line(Strong(said)), because(wording, state))
    for text in dict.fromkeys(prose(t) for c in program.checklists.values() for t in c.cautions):
        yield Item(line(text))
