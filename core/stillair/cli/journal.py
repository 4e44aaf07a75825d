"""`handover` and `close`: what ends a person's part in a job, or the job."""

from __future__ import annotations

import click

from stillair.assess import Assessment, EntryError
from stillair.fault import did_you_mean
from stillair.job import Line
from stillair.verdict import Why
from stillair.wording import Wording

from . import STOPPED, Answer, Mistake
from .labels import finding_said, is_found
from .opening import keep_set_back, say_opening
from .permitting import in_charge_only, is_closed, open_only
from .screen import Screen
from .session import Session, Settings

__all__ = ["close", "handover", "reopen"]


@click.command()
@click.argument("job", type=click.Path())
@click.option("--to", "to", required=True, metavar="NAME", help="Who takes the job over.")
@click.pass_obj
def handover(settings: Settings, job: str, to: str) -> None:
    """Hand JOB over to another person. Locks and proofs of the one who leaves no longer count."""
    screen = Screen()
    if not to.strip():
        raise Mistake("nobody is named", "handover JOB --to NAME")
    with Session.load(job, settings.plugin_dirs, write=True, by=settings.by, clock=settings.clock) as session:
        say_opening(session, screen)
        before = session.assess()
        open_only(session, before, job)
        in_charge_only(session, job, "it is handed over")
        keep_set_back(session, screen)
        line = session.write("handover", {"to": to.strip()})
        screen.say(f"handed over to {to.strip()}", f"kept {session.said(line.taken)} ")
        for text in _expired(session, before):
            screen.say(text, "to be seen again: ")
        _tell_waits(session, session.assess(), screen)


def _expired(session: Session, before: Assessment) -> list[str]:
    """The facts seen so far that a handover makes void."""
    found = []
    for (name, member), observations in before.history.observations.items():
        fact = session.program.facts.get(name)
        if fact is None or observations[-1].value is None:
            continue
        if any(t.name == "handover" for t in fact.void_after):
            found.append(f"{name} of {member}" if member else name)
    return sorted(found)


@click.command()
@click.argument("job", type=click.Path())
@click.option("--checklist", metavar="NAME", help="Close this checklist only.")
@click.option("--outcome", required=True, metavar="TEXT", help="How it ends, in a few words.")
@click.pass_obj
def close(settings: Settings, job: str, checklist: str | None, outcome: str) -> None:
    """Close JOB, or one checklist of it. What was not decided is named; it stays open in the trail."""
    screen = Screen()
    if not outcome.strip():
        raise Mistake("no outcome is given", "--outcome 'coil leaks, repair offered'")
    with Session.load(job, settings.plugin_dirs, write=True, by=settings.by, clock=settings.clock) as session:
        say_opening(session, screen)
        in_charge_only(session, job, "it is closed")
        found = session.assess()
        known = session.program.checklists
        if checklist is not None and checklist not in known:
            near = did_you_mean(checklist, known) or f"one of: {', '.join(known)}"
            raise EntryError(f"there is no checklist `{checklist}`", near)
        if "" in found.history.closed or checklist in found.history.closed:
            raise EntryError("it is closed already", "`stillair trail` writes what came of it")
        on = _still_on(found)
        if on:
            for text in on:
                screen.say(text, "STOP: ")
            screen.say("not closed: prove again first that it is off and locked")
            raise Answer(STOPPED)
        keep_set_back(session, screen)
        line = session.write("close", {"checklist": checklist, "outcome": outcome.strip()})
        screen.say(f"closed: {outcome.strip()}", f"kept {session.said(line.taken)} ")
        words = Wording(found, session.zone())
        for finding in found.findings:
            if is_found(finding):
                screen.say(finding_said(words, finding), "found: ")
        for place in found.places:
            if place.status in ("not looked", "not reached", "void", "waiting"):
                screen.say(words.member("place", place.place), f"{place.status}: ")
        _tell_waits(session, found, screen)


def reopen(session: Session, found: Assessment) -> list[Line]:
    """Open a closed job again, each closing undone by a line of its own. Mistake where it is not closed.

    The closing of the whole job is taken back; a checklist closed alone is opened again.
    """
    if not is_closed(found):
        raise Mistake("the job is not closed", "leave --reopen out")
    if "" in found.history.closed:
        corrected = found.history.corrected
        return [
            session.write("correct", {"line": line.n, "why": "the job is opened again"})
            for line in session.lines
            if line.kind == "close" and line.body.get("checklist") is None and line.n not in corrected
        ]
    return [session.write("open", {"checklist": name}) for name in found.history.closed]


def _still_on(found: Assessment) -> list[str]:
    """What each powered state that has begun and is not proved ended says."""
    said: dict[str, None] = {}
    for name in found.program.activities:
        for reason in found.activity(name).reasons:
            if reason.why is Why.LATER and reason.about in found.program.powered:
                said[reason.text] = None
    return list(said)


def _tell_waits(session: Session, found: Assessment, screen: Screen) -> None:
    for wait in found.running():
        assert wait.ready_at is not None
        title = session.program.waits[wait.name].spec.title
        screen.say(f"{title}: ready at {session.said(wait.ready_at)}", "still running: ")
