"""`whatif`: what would follow if facts were so, or if time passed. Nothing is kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import click

from stillair.assess import Entry, assess, split
from stillair.job import Line
from stillair.quantity import QuantityError
from stillair.wording import Wording

from . import Mistake
from .account_format import format_option, print_json
from .entering import check_part, observe, taken_as
from .naming import fact_named
from .next_action import say_next
from .screen import Screen
from .session import Session, Settings

__all__ = ["whatif"]


@click.command()
@click.argument("job", type=click.Path())
@click.argument("said", nargs=-1, metavar="[FACT=VALUE]...")
@click.option("--in", "later", metavar="DURATION", help="So much later than now, such as '10 min'.")
@format_option
@click.pass_obj
def whatif(settings: Settings, job: str, said: tuple[str, ...], later: str | None, as_json: bool) -> None:
    """Say what would change in JOB if this were observed now, or if so much time passed. Nothing is kept."""
    if not said and later is None:
        raise Mistake("nothing is supposed", "give FACT=VALUE, or --in '10 min'")
    with Session.reading(settings, job) as session:
        before = session.words()
        at = session.now() + (_seconds(later) if later is not None else 0.0)
        try:
            before.clock(at)
        except QuantityError:
            raise Mistake(f"`{later}` later is beyond the calendar", "suppose a shorter time") from None
        supposed = list(_supposed(session, before, said, at))
        lines = [*session.lines, *_lines(session, supposed, at)]
        after = Wording(assess(session.program, lines, at), before.zone)
    changed = list(_changed(before, after))
    if as_json:
        from stillair import account

        print_json(
            {
                "format": account.WHATIF,
                "supposed": list(said),
                "at": account.moment(before, at),
                "changes": [
                    {"what": what, "name": name, "was": was, "would_be": now}
                    for what, name, was, now in changed
                ],
                "next": account.next_action(after),
            }
        )
        return
    screen = Screen()
    screen.say("Nothing is kept. If this were so:")
    for text, entry in zip(said, supposed, strict=True):
        taken = f", taken as {entry.understood}" if taken_as(session.program, entry) else ""
        screen.say(f"{text}{taken}", "  ")
    if later is not None:
        screen.say(f"{later} later, at {after.clock(at)}", "  ")
    if not changed:
        screen.say("no verdict, finding or permission would change", "- ")
    for what, name, was, now in changed:
        screen.say(f"{what} {name}: {was} -> {now}", "- ")
    screen.say()
    screen.say("Next would be:")
    say_next(screen, after)


def _seconds(text: str) -> float:
    from stillair import quantity

    try:
        found = quantity.read(text, quantity.DIMENSIONS["duration"]).value
    except quantity.QuantityError as error:
        raise Mistake(str(error), error.help) from None
    if found < 0:
        raise Mistake(f"`{text}` lies in the past", "what is past is asked with `stillair why --at`")
    return found


def _supposed(session: Session, words: Wording, said: Sequence[str], at: float) -> Iterator[Entry]:
    """What is said, read as an entry is."""
    members = session.members(words.found)
    for text in said:
        name, value = split(text)
        ref = fact_named(session.program, name, members)
        entry = observe(session, words.found, ref, value, taken=at)
        check_part(session.program, entry)
        yield entry


def _lines(session: Session, entries: Sequence[Entry], at: float) -> Iterator[Line]:
    """Entries as they would stand in the job; a later one of the same fact counts."""
    for number, entry in enumerate(entries, len(session.lines) + 1):
        yield Line(
            n=number,
            kind=entry.kind,
            taken=at,
            entered=at,
            offset=session.lines[0].offset,
            by=session.by,
            body=entry.body,
        )


def _changed(before: Wording, after: Wording) -> Iterator[tuple[str, str, str, str]]:
    """(what, name, was, would be) of findings, rules, waits, places, activities and steps that change."""
    for what, state in (
        ("finding", _grades),
        ("stop", _stops),
        ("caution", _cautions),
        ("rule", _rules),
        ("wait", _waits),
        ("place", _places),
        ("activity", _activities),
        ("step", _steps),
    ):
        was, now = state(before), state(after)
        for name in dict.fromkeys([*was, *now]):
            old, new = was.get(name, "not in the list"), now.get(name, "not in the list")
            if old != new:
                yield what, name, old, new


def _of(name: str, member: str | None) -> str:
    return f"{name} of {member}" if member is not None else name


def _grades(words: Wording) -> Mapping[str, str]:
    return {_of(f.name, f.member): f.grade.replace("_", " ") for f in words.found.findings}


def _verdicts(words: Wording, kind: str) -> dict[str, str]:
    found = {}
    for state in words.found.rules:
        spec = words.program.rules[state.rule].spec
        gives = "stop" if spec.stop else "caution" if spec.caution is not None else "finding"
        if gives == kind:
            found[_of(state.rule, state.member)] = state.verdict.word
    return found


def _stops(words: Wording) -> Mapping[str, str]:
    return _verdicts(words, "stop")


def _cautions(words: Wording) -> Mapping[str, str]:
    return _verdicts(words, "caution")


def _rules(words: Wording) -> Mapping[str, str]:
    return _verdicts(words, "finding")


def _waits(words: Wording) -> Mapping[str, str]:
    found = {}
    for name, state in words.found.waits.items():
        word = "ready" if state.options.mask == 1 else "not started" if state.started is None else "running"
        if word == "running" and state.ready_at is None:
            word = "running, and how long it lasts is not known"
        elif word == "running" and state.ready_at is not None and words.found.at >= state.ready_at:
            word = "the time is up, its question is open"
        found[name] = word
    return found


def _places(words: Wording) -> Mapping[str, str]:
    return {p.place: p.status for p in words.found.places}


def _activities(words: Wording) -> Mapping[str, str]:
    return {name: words.found.activity(name).may.value for name in words.program.activities}


def _steps(words: Wording) -> Mapping[str, str]:
    return {_of(s.step, s.member): s.status for s in words.found.steps}
