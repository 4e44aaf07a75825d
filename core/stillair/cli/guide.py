"""`guide`: one next action at a time, answered with one key or a few."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import cached_property
from typing import TYPE_CHECKING

import click

from stillair.assess import Assessment, EntryError
from stillair.job import JobError
from stillair.wording import Wording

from . import DONE, STOPPED, Answer, Mistake
from .asking import Asking
from .labels import changes, finding_said, is_found, standing
from .opening import keep_set_back, say_opening
from .permitting import code_of, open_only
from .screen import Emergency, Leave, Screen
from .session import Session, Settings
from .stops import say_stood, why_stopped

if TYPE_CHECKING:
    from .answers import Answers
    from .keys import Keys

__all__ = ["Guide", "guide"]

LEAVE_NOW = (
    "LEAVE NOW.",
    "Take everyone out with you.",
    "Do not switch anything on or off.",
    "Call for help from outside.",
)

_SHUT = 60.0
"""Seconds without an entry from which it is said that a wait ran on unseen (judgement)."""


@click.command()
@click.argument("job", type=click.Path())
@click.option("--pack", "packs", multiple=True, metavar="NAME", help="New job: a pack, by name or folder.")
@click.option("--beliefs", type=click.Path(), help="New job: beliefs learned by `learn`.")
@click.option("--title", metavar="TEXT", help="New job: what it is called. Kept apart, as personal.")
@click.option("--reopen", "again", is_flag=True, help="Open a closed job again, on the record.")
@click.pass_obj
def guide(
    settings: Settings,
    job: str,
    packs: tuple[str, ...],
    beliefs: str | None,
    title: str | None,
    again: bool,
) -> None:
    """Start or resume JOB: one next action at a time.

    Exit code 3: a safety stop stands, or an emergency was called.

    Lines may also come from a file: `stillair guide JOB < lines`.
    """
    screen = Screen()
    new = not os.path.lexists(job)
    begun = Mistake("the job has begun: --pack, --beliefs and --title are for a new one", "leave them out")
    if not new and (title or beliefs):
        raise begun
    if new and again:
        raise Mistake("there is no job to open again", "leave --reopen out, or name a job that is there")
    dirs, by, clock = settings.plugin_dirs, settings.by, settings.clock
    try:
        if new:
            by = by or _name(screen)
            session = Session.start(
                job,
                dirs,
                packs=packs,
                beliefs=beliefs,
                title=title,
                by=by,
                clock=clock,
                sealed=settings.sealed,
            )
        else:
            session = Session.load(job, dirs, write=True, by=by, clock=clock, packs=packs)
    except Leave:
        raise Mistake("nobody is named, so no job was begun", "stillair --by NAME guide JOB") from None
    except Emergency:
        _leave_now(screen)
        raise Answer(STOPPED) from None
    with session:
        if packs and not new and not session.restored:
            raise begun
        if by is not None and session.in_charge is not None and by != session.in_charge:
            raise Mistake(
                f"the job is with {session.in_charge}",
                f"hand it over first: stillair handover {job} --to '{by}'",
            )
        for text in session.unlike:
            screen.say(text, "CAUTION: ", bold=True)
        found = session.assess()
        if again:
            from .journal import reopen

            for line in reopen(session, found):
                screen.say("opened again", f"kept {session.said(line.taken)} ")
        else:
            open_only(session, found, job)
        code = Guide(session, screen, job).run(new)
    raise Answer(code)


def _leave_now(screen: Screen) -> None:
    for text in LEAVE_NOW:
        screen.say(text, "!! ", bold=True)


def _name(screen: Screen) -> str:
    while True:
        name = screen.ask("Your name: ")
        if name:
            return name


class Guide:
    """A guided session: shows the next action, takes what is typed, until the person leaves."""

    def __init__(self, session: Session, screen: Screen, path: str) -> None:
        self.session = session
        self.screen = screen
        self._path = path
        self.asking = Asking(session, screen)
        self._before: Assessment | None = None
        self._behind = False

    # What is not needed for the first question is imported after it, so that a session starts at once.

    @cached_property
    def answers(self) -> Answers:
        """What takes the answers."""
        from .answers import Answers

        return Answers(self.asking)

    @cached_property
    def keys(self) -> Keys:
        """What the keys do, other than to answer."""
        from .keys import Keys

        return Keys(self.answers)

    def run(self, new: bool) -> int:
        """Until the person leaves. The exit code: 3 after an emergency or under a safety stop, else 0."""
        try:
            self._greet(new)
            while True:
                self._clock()
                assessment = self._look()
                self.asking.show(assessment)
                typed = self.screen.ask()
                try:
                    self._take(assessment, typed)
                except EntryError as error:
                    self.screen.error(error.message, error.help)
                except JobError as error:
                    self.screen.error(f"not kept: {error.message}", error.help)
        except Leave:
            return self._left()
        except Emergency:
            return self._emergency()

    def _left(self) -> int:
        found = self.session.assess()
        words = self._words(found)
        for text in [*why_stopped(words), *say_stood(self.session, words)]:
            self.screen.say(text, "STOP stands: ", bold=True)
        self.screen.say(f"Left. Everything entered is kept. Resume: stillair guide {self._path}")
        return STOPPED if code_of(found) == STOPPED else DONE

    def _greet(self, new: bool) -> None:
        session, screen = self.session, self.screen
        title = session.lines[0].body.get("title", "")
        if new:
            screen.say(f"New job {title}, kept in {self._path}.")
            screen.say("? explains, ! is for an emergency, q leaves.")
        else:
            last = session.lines[-1]
            screen.say(f"Job {title}: {len(session.lines)} lines, the last at {session.said(last.entered)}.")
            say_opening(session, screen)
        screen.say(f"Entries are by {session.by or 'nobody named'}.")
        if not new and session.now() - session.last > _SHUT and session.assess().running():
            screen.say("Waits ran on by the clock alone while nothing was entered here.", "CAUTION: ")
        self._clock()

    def _clock(self) -> None:
        """Say, once, that the clock stands before the last entry, and keep that in the job."""
        behind = self.session.behind() > 0
        if behind and not self._behind:
            keep_set_back(self.session, self.screen)
        self._behind = behind

    def _words(self, found: Assessment) -> Wording:
        return Wording(found, self.session.zone())

    def _look(self) -> Assessment:
        """Assess, and say what has changed since the last look."""
        found = self.session.assess(self.asking.moment())
        before, self._before = self._before, found
        words = self._words(found)
        self.asking.fresh = set()
        if before is None:
            for finding in found.findings:
                if is_found(finding):
                    self.screen.say(finding_said(words, finding), "found: ")
            return found
        known = {(s.rule, s.member) for s in standing(before)}
        self.asking.fresh = {(s.rule, s.member) for s in standing(found)} - known
        for mark, text in changes(self._words(before), words):
            self.screen.say(text, mark, bold=mark == "STOP: ")
        return found

    def _take(self, found: Assessment, typed: str) -> None:
        from .open_facts import ask_open
        from .typed import pairs

        commands: dict[str, Callable[[Assessment], None]] = {
            "?": self.asking.explain,
            "u": self.keys.unknown,
            "z": self.keys.undo,
            "s": self.keys.skip,
            "e": self.keys.event,
            "i": self.keys.instrument,
            "w": lambda found: ask_open(self.answers, found),
        }
        if not typed:
            self.asking.anew()
        elif typed.lower() in commands:
            commands[typed.lower()](found)
        elif typed.startswith("@"):
            self.keys.set_time(typed[1:].strip())
        elif named := pairs(typed):
            self.answers.named(found, named)
        else:
            self.answers.take(found, typed)

    def _emergency(self) -> int:
        # Said before anything is written: a full disk must not stand between a person and the door.
        _leave_now(self.screen)
        try:
            line = self.session.write("emergency", {})
        except (JobError, OSError) as error:
            self.screen.say(f"The time could not be kept: {error}")
        else:
            self.screen.say(f"The time is kept: {self.session.said(line.taken)}.")
        self.screen.say(f"When those in charge say that it is safe: stillair guide {self._path}")
        return STOPPED
