"""`instruments`: those of a job, with tolerances and readings; or of many, by when their check is due."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

import click

from stillair.carried import carried
from stillair.condition.core import Ref
from stillair.due import Instrument, Use, due_list, uses
from stillair.fault import StillairError
from stillair.job import JobError
from stillair.wording import Wording, counted

from . import NO, Answer, Mistake
from .account_format import format_option, print_json
from .jobs import job_files
from .screen import Screen
from .session import Session, Settings, job_zone

__all__ = ["instruments"]


@click.command()
@click.argument("jobs", nargs=-1, required=True, type=click.Path(), metavar="JOB...")
@click.option("--due", metavar="DATE", help="Which are due for their check on that day; by default today.")
@format_option
@click.pass_obj
def instruments(settings: Settings, jobs: tuple[str, ...], due: str | None, as_json: bool) -> None:
    """List the instruments of JOB: serial, tolerances, check dates, the readings taken with each.

    Of several jobs, of folders and what is in them, or with --due: each instrument with its newest check,
    overdue first. One whose check nobody knows is due. Exit code 1: a job cannot be read, or there is none.
    """
    if due is not None or len(jobs) > 1 or Path(jobs[0]).is_dir():
        _due(settings, jobs, _day(settings, due), as_json)
    else:
        _of_one(settings, jobs[0], as_json)


def _day(settings: Settings, text: str | None) -> date:
    if text is None:
        now = settings.clock.now()
        return datetime.fromtimestamp(now, settings.clock.zone(now)).date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Mistake(f"`{text}` is not a date", "write it like 2026-04-15") from None


# -- of many jobs --------------------------------------------------------------------------------------------


def _due(settings: Settings, jobs: Sequence[str], day: date, as_json: bool) -> None:
    found: list[Use] = []
    problems: list[tuple[str, str]] = []
    every: dict[str, str] = {}
    for name in jobs:
        inside = list(job_files([name], deep=True))
        if not inside:
            problems.append((name, "no job is there"))
        for path in inside:
            every.setdefault(os.path.realpath(path), path)
    paths = list(every.values())
    if not paths:
        raise click.ClickException(f"there is no job in {', '.join(jobs)}")
    for path in paths:
        try:
            with Session.reading(settings, path) as session:
                found += uses(path, session.words())
        except JobError as error:
            problems.append((path, error.message))
        except StillairError as error:
            problems.append((path, error.faults[0].message))
    listed = due_list(found, day)
    if as_json:
        from stillair import account

        print_json(account.due(listed, day, len(paths), problems))
    else:
        _say_due(Screen(), listed, day, len(paths), problems)
    if problems:
        raise Answer(NO)


def _say_due(
    screen: Screen, listed: Sequence[Instrument], day: date, jobs: int, problems: Sequence[tuple[str, str]]
) -> None:
    for path, problem in problems:
        screen.say(f"{path}: {problem}", "! ")
    for each in listed:
        kind = f" ({each.kind})" if each.kind is not None else ""
        head = f"{each.serial}{kind}" if each.serial is not None else f"{each.title}{kind}, no serial given"
        state = each.state.upper() if each.is_due else each.state
        until = f", due by {each.due}" if each.due is not None else ""
        screen.say(f"{head}: {state}{until}", bold=each.is_due)
        if each.checked is not None:
            screen.say(f"checked {each.checked}, as {each.checked_in} has it", "  ")
        for text in each.doubted:
            screen.say(text, "  not believed: checked ")
        if each.rests_on is not None:
            screen.say(each.rests_on, "  by: ")
        last = each.last
        by = f" by {last.by}" if last.by is not None else ""
        used = f"last used {last.taken:%Y-%m-%d}{by}" if last.carried.lines else "declared, not used"
        screen.say(f"{used}, in {last.job}", "  ")
    due = sum(each.is_due for each in listed)
    said = f"{counted(jobs, 'job')}, {counted(len(listed), 'instrument')}"
    screen.say(f"{said}, {due} due on {day.isoformat()}", bold=True)


# -- of one job ----------------------------------------------------------------------------------------------


def _of_one(settings: Settings, job: str, as_json: bool) -> None:
    with Session.load(job, settings.plugin_dirs, clock=settings.clock) as session:
        words = Wording(session.assess(), job_zone(session.lines))
        now = session.now()
    if as_json:
        from stillair import account

        print_json(account.instruments(words, now))
        return
    screen = Screen()
    found = carried(words)
    if not found:
        screen.say("no instrument is declared, and no reading was taken with one")
    for each in found:
        kind = f" ({each.kind})" if each.kind is not None else ""
        head = each.serial if each.serial is not None else f"{each.title}, no serial given"
        screen.say(f"{head}{kind}", bold=True)
        assumed = "" if each.declared else ", as assumed for its kind"
        screen.say(f"{each.tolerances}{assumed}", "  ")
        if each.checked is not None:
            due = each.due()
            late = "; OVERDUE" if each.overdue(now, words.zone) else ""
            screen.say(f"checked {each.checked}" + (f", due again {due}{late}" if due else ""), "  ")
        elif each.doubted is not None:
            screen.say(f"checked {each.doubted}: later than it was entered, not believed", "  ")
        elif each.serial is not None:
            screen.say("no check date given", "  ")
        caution = each.caution(now, words.zone)
        if caution is not None:
            doubtful = ", ".join(words.name(Ref(o.fact, o.member)) for o in each.doubtful(words))
            screen.say(f"{caution}. Readings taken with it: {doubtful or 'none'}.", "  CAUTION: ")
        if each.lines:
            for line in each.lines:
                observation = words.observation_of(line)
                if observation is not None:
                    at = words.moment(observation.taken, words.found.at)
                    screen.say(f"line {line}, {at}: {observation.fact} read {observation.read}", "  ")
        else:
            screen.say("no reading taken with it", "  ")
