"""`handover` and `close`: what ends a person's part in a job, or the job."""

from __future__ import annotations

import click

from stillair.assess import Assessment, EntryError
from stillair.fault import did_you_mean
from stillair.job import Line
from stillair.wording import Wording

from . import STOPPED, Answer, Mistake
from .entering import check_reason
from .labels import finding_said, is_found, rule_said, standing, step_said
from .opening import keep_set_back, say_opening
from .permitting import in_charge_only, is_closed, open_only, safety_stops
from .screen import Screen, after_keeping
from .session import Session, Settings
from .stops import say_stood

__all__ = ["close", "handover", "reopen"]


@click.command()
@click.argument("job", type=click.Path())
@click.option("--to", "to", required=True, metavar="NAME", help="Who takes the job over.")
@click.option("--still-on", "why_on", metavar="WHY", help="Though something switched on is not proved off.")
@click.pass_obj
def handover(settings: Settings, job: str, to: str, why_on: str | None) -> None:
    """Hand JOB over to another person. Locks and proofs of the one who leaves no longer count.

    Exit code 3: not handed over, as something that was switched on is not proved off.
    """
    screen = Screen()
    if not to.strip():
        raise Mistake("nobody is named", "handover JOB --to NAME")
    if why_on is not None:
        why_on = check_reason(why_on)
    with Session.load(job, settings.plugin_dirs, write=True, by=settings.by, clock=settings.clock) as session:
        say_opening(session, screen)
        before = session.assess()
        open_only(session, before, job)
        in_charge_only(session, job, "it is handed over")
        on = before.not_proved_off()
        for text in on:
            screen.say(text, "STOP: ", bold=True)
        if on and why_on is None:
            screen.say("not handed over: prove first that it is off and locked")
            screen.say("if it cannot be, and the next one knows: --still-on WHY", "help: ")
            raise Answer(STOPPED)
        words = Wording(before, session.zone())
        stops = [s for s in standing(before) if s in before.stops]
        said = [rule_said(words, state)[1] for state in stops] + say_stood(session, words)
        keep_set_back(session, screen)
        with session.together():
            for text in on:
                session.write("note", {"text": f"Handed over all the same, {why_on}: {text}"})
            line = session.write("handover", {"to": to.strip()})
        with after_keeping():
            screen.say(f"handed over to {to.strip()}", f"kept {session.said(line.taken)} ")
            for text in said:
                screen.say(text, "STOP stands: ", bold=True)
            if said:
                screen.say(f"Tell {to.strip()} now. It stands until it is answered anew.", "  ")
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
@click.option("--stop-stands", "why_stop", metavar="WHY", help="Though a safety stop stands, and why.")
@click.pass_obj
def close(settings: Settings, job: str, checklist: str | None, outcome: str, why_stop: str | None) -> None:
    """Close JOB, or one checklist of it. What was not decided is named; it stays open in the trail.

    Exit code 3: not closed, as a safety stop stands or something is not proved off.
    """
    screen = Screen()
    if why_stop is not None:
        why_stop = check_reason(why_stop)
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
        on = found.not_proved_off()
        if on:
            for text in on:
                screen.say(text, "STOP: ")
            screen.say("not closed: prove again first that it is off and locked")
            raise Answer(STOPPED)
        words = Wording(found, session.zone())
        stops = [rule_said(words, state)[1] for state in safety_stops(found)] + say_stood(session, words)
        for text in stops:
            screen.say(text, "STOP stands: ", bold=True)
        if stops and why_stop is None:
            screen.say("not closed: a safety stop stands")
            screen.say("if the job ends with it: --stop-stands WHY", "help: ")
            raise Answer(STOPPED)
        undone = _undone(words, checklist)
        keep_set_back(session, screen)
        with session.together():
            for text in stops:
                session.write("note", {"text": f"Closed while a safety stop stands, {why_stop}: {text}"})
            line = session.write("close", {"checklist": checklist, "outcome": outcome.strip()})
        with after_keeping():
            screen.say(f"closed: {outcome.strip()}", f"kept {session.said(line.taken)} ")
            for text in undone:
                screen.say(text, "NOT DONE: ", bold=True)
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


def _undone(words: Wording, checklist: str | None) -> list[str]:
    """The steps wanted and not done; those done place by place are told apart."""
    said: dict[str, None] = {}
    for state in words.found.steps:
        step = words.program.steps[state.step]
        left = state.status in ("ready", "waiting", "held", "not yet", "stopped")
        if left and step.per != "place" and not step.spec.optional and checklist in (None, step.checklist):
            said[step_said(words, state.step, state.member)] = None
    return list(said)


def _tell_waits(session: Session, found: Assessment, screen: Screen) -> None:
    for wait in found.running():
        title = session.program.waits[wait.name].spec.title
        ready = "how long it lasts is not known"
        if wait.ready_at is not None:
            ready = f"ready at {session.said(wait.ready_at)}"
        screen.say(f"{title}: {ready}", "still running: ")
