"""`verify`: whether a job is as it was written, and whether it can be re-derived here."""

from __future__ import annotations

import re

import click

from stillair.job import JobError, Report
from stillair.job import verify as check

from . import NO, Mistake
from .account_format import format_option, print_json
from .screen import Screen
from .session import Session, Settings

__all__ = ["verify"]


@click.command()
@click.argument("file", type=click.Path())
@click.option("--expect", metavar="HASH", help="A last hash kept elsewhere: it must be that of a line.")
@format_option
@click.pass_obj
def verify(settings: Settings, file: str, expect: str | None, as_json: bool) -> None:
    """Check that the job FILE is as it was written. Nothing is changed.

    Plugins or packs that differ from those recorded are said, and are no broken chain. Exit code 1: broken.
    """
    if expect is not None and re.fullmatch(r"[0-9a-f]{64}", expect) is None:
        raise Mistake(
            f"`{expect}` is no hash", "it has 64 digits of 0-9 and a-f; `verify` shows it at its end"
        )
    report = check(file, expect_last=expect)
    differs = _differs(settings, file) if report.broken is None else []
    if as_json:
        from stillair import account

        print_json(account.verification(report, differs))
    else:
        _say(Screen(), report, differs)
    if not report.ok:
        raise click.exceptions.Exit(NO)


def _differs(settings: Settings, file: str) -> list[str]:
    """Why the job cannot be re-derived with what is installed here; empty where it can."""
    from stillair.fault import StillairError

    try:
        with Session.load(file, settings.plugin_dirs, clock=settings.clock) as session:
            return list(session.differs)
    except JobError as error:
        return [error.message]
    except StillairError as error:
        return [fault.message for fault in error.faults]


def _say(screen: Screen, report: Report, differs: list[str]) -> None:
    if report.ok:
        screen.say(f"whole: {report.lines} lines hold together", bold=True)
    else:
        screen.say(f"not as it was written: {report.intact} of {report.lines} lines hold together", bold=True)
    for problem in report.problems:
        screen.say(problem, "! ")
    for remark in report.remarks:
        screen.say(remark, "- ")
    if differs:
        screen.say(
            "it cannot be re-derived with these plugins, though it is not broken by that:"
            if report.ok
            else "it cannot be re-derived with these plugins:"
        )
    for text in differs:
        screen.say(text, "- ")
    if report.last_hash is not None:
        # Never wrapped, so that it can be copied in one piece.
        click.echo(f"last hash: {report.last_hash}")
    screen.say("Keep the last hash elsewhere: only it shows that a whole file was rewritten.")
