"""`jobs`: the jobs of a folder, with their running waits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

import click

from stillair.assess.waits import time_left
from stillair.job import JobError
from stillair.wording import Wording

from . import NO, Mistake
from .account_format import format_option, print_json
from .labels import step_said
from .screen import Screen
from .session import Session, Settings

__all__ = ["job_files", "jobs", "looks_like_job"]

_SCREENFUL = 4096
"""Bytes of a file looked at to see whether it is a job."""


@click.command()
@click.argument("folder", type=click.Path(), default=".")
@click.option("--all", "everything", is_flag=True, help="Closed jobs too.")
@format_option
@click.pass_obj
def jobs(settings: Settings, folder: str, everything: bool, as_json: bool) -> None:
    """List the open jobs of FOLDER with running waits and the time left. Damaged ones are shown too.

    Exit code 1: one of them is broken or cannot be read.
    """
    place = Path(folder)
    if not place.is_dir():
        raise Mistake(f"`{folder}` is not a folder", "name the folder the jobs are in")
    found = [_job(settings, path) for path in sorted(place.iterdir()) if looks_like_job(path)]
    shown = [each for each in found if everything or each["state"] != "closed"]
    if as_json:
        from stillair import account

        print_json({"format": account.JOBS, "folder": place.as_posix(), "jobs": shown})
    else:
        _say_jobs(Screen(), shown, len(found) - len(shown))
    if any(each["state"] in ("broken", "unreadable") for each in found):
        raise click.exceptions.Exit(NO)


def looks_like_job(path: Path) -> bool:
    """Whether a file begins as a job does, or is called one."""
    if not path.is_file():
        return False
    if path.suffix == ".job":
        return True
    try:
        with path.open("rb") as stream:
            start = stream.read(_SCREENFUL)
    except OSError:
        return False
    return start.startswith(b"{") and b'"format":"stillair.job/' in start.split(b"\n")[0]


def job_files(named: Iterable[str], *, deep: bool = False) -> Iterator[str]:
    """The jobs named, and those of the folders named; with `deep` of the folders within these too."""
    for name in named:
        place = Path(name)
        if place.is_dir():
            inside = place.rglob("*") if deep else place.iterdir()
            yield from (str(path) for path in sorted(inside) if looks_like_job(path))
        else:
            yield name


def _job(settings: Settings, path: Path) -> dict[str, object]:
    """One job: open, closed, torn, broken or unreadable, with its waits."""
    from stillair import account
    from stillair.fault import StillairError
    from stillair.job import verify

    told: dict[str, object] = {
        "file": path.name,
        "state": "unreadable",
        "title": None,
        "problems": [],
        "waits": [],
    }
    try:
        report = verify(path)
        if report.broken is not None:
            return told | {"state": "broken", "problems": list(report.problems)}
        with Session.reading(settings, path.as_posix()) as session:
            words = session.words()
            told["title"] = session.lines[0].body.get("title")
            told["last_entry"] = account.moment(words, session.last)
            told["differs"] = list(session.differs)
    except (JobError, StillairError, OSError) as error:
        return told | {"problems": [str(error)]}
    closed = "" in words.found.history.closed
    told["state"] = "torn" if report.torn is not None else "closed" if closed else "open"
    told["problems"] = list(report.problems)
    told["next"] = account.next_action(words) if not closed else None
    told["waits"] = [account.wait(words, state) for state in words.found.running()]
    told["said"] = _said(words)
    return told


def _said(words: Wording) -> str:
    action = words.found.next
    if action.kind == "finished":
        return "nothing left to do; not closed"
    title = step_said(words, action.step, action.member) if action.step is not None else "an entry in doubt"
    return f"stopped before: {title}" if action.kind == "stopped" else f"next: {title}"


def _say_jobs(screen: Screen, found: Sequence[Mapping[str, object]], closed: int) -> None:
    if not found:
        screen.say("no open job here" + (f"; {closed} closed, --all lists them" if closed else ""))
    for each in found:
        screen.say(f"{each['file']}: {each['state']}", bold=True)
        if each.get("title") and each["title"] != Path(str(each["file"])).stem:
            screen.say(str(each["title"]), "  ")
        problems = each["problems"]
        assert isinstance(problems, list)
        for problem in problems:
            screen.say(str(problem), "  ! ")
        differs = each.get("differs")
        for text in differs if isinstance(differs, list) else ():
            screen.say(str(text), "  ! ")
        if each.get("said"):
            screen.say(str(each["said"]), "  ")
        waits = each["waits"]
        assert isinstance(waits, list)
        for wait in waits:
            left = wait["left_s"]
            said = f"{time_left(left)} left" if isinstance(left, float) else "the time is up"
            if wait["required_s"] is None:
                said = "how long it lasts is not known"
            screen.say(f"{wait['title']}: {said}", "  wait: ")
