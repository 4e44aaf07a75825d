"""`compare`: two versions of a pack, by what follows from them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import click

from stillair import account
from stillair.assess import Program
from stillair.authoring.compare import Outcome, compared, fall_in, in_both
from stillair.hooks import Plugins
from stillair.job import Job, JobError

from . import NO, Mistake
from .account_format import format_option, print_json
from .cache import load_program
from .jobs import job_files
from .packs import choose, other_packs
from .screen import Screen
from .session import Settings

__all__ = ["compare"]


@click.command()
@click.argument("old")
@click.argument("new")
@click.option(
    "--jobs", metavar="FOLDER", type=click.Path(), help="Count the recorded jobs that fall in each."
)
@click.option(
    "--pack",
    "packs",
    multiple=True,
    metavar="FOLDER",
    help="A pack that both work with, where it is not installed. May be given again.",
)
@format_option
@click.pass_obj
def compare(
    settings: Settings, old: str, new: str, jobs: str | None, packs: tuple[str, ...], as_json: bool
) -> None:
    """Say how each condition of the pack NEW comes out beside that of OLD: names or folders of packs.

    Same, stricter, looser or different, with facts that show it and the edit that caused it; then what is
    declared otherwise beside the conditions. Exit code 1: one of the jobs is broken.
    """
    plugins = Plugins.load(settings.plugin_dirs)
    before, after = (_program(plugins, [name, *packs]) for name in (old, new))
    found = list(compared(before, after))
    counted = _counted(jobs, before, after) if jobs is not None else None
    if as_json:
        print_json(_account(found, counted))
    else:
        _say(Screen(), found, counted)
    if counted is not None and counted.broken:
        raise click.exceptions.Exit(NO)


def _program(plugins: Plugins, names: Sequence[str]) -> Program:
    wanted = [str(Path(name).absolute()) if Path(name).is_dir() else name for name in names]
    return load_program([texts for _, texts in sorted(choose(plugins, wanted).items())], plugins)


@dataclass(slots=True)
class _Counted:
    """How many recorded jobs judge each condition otherwise, of how many; and those that are not counted."""

    conditions: set[tuple[str, str]]
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    read: int = 0
    broken: dict[str, str] = field(default_factory=dict)
    passed_over: dict[str, str] = field(default_factory=dict)

    def of(self, each: Outcome) -> int | None:
        """In how many jobs a condition comes out otherwise; None for what no job judges in both."""
        key = (each.kind, each.name)
        return self.counts[key] if key in self.conditions else None


def _counted(folder: str, old: Program, new: Program) -> _Counted:
    if not Path(folder).is_dir():
        raise Mistake(f"`{folder}` is not a folder", "name the folder the jobs are in")
    found = _Counted(in_both(old, new))
    for path in job_files([folder]):
        try:
            job = Job.open(path)
        except JobError as error:
            found.broken[path] = error.message
            continue
        with job:
            other = other_packs(job.lines, {*old.packs, *new.packs})
            if other is not None:
                found.passed_over[path] = other
                continue
            found.counts.update(fall_in(job.lines, old, new))
            found.read += 1
    return found


def _say(screen: Screen, found: Sequence[Outcome], counted: _Counted | None) -> None:
    for each in found:
        if each.outcome == "same":
            continue
        guard = ", a guard" if each.guards else ""
        screen.say(f"{each.kind} {each.name}: {each.outcome}{guard}", bold=True)
        for edit in each.edits:
            screen.say(edit, "  edit: ")
        if each.witness is not None:
            screen.say(each.witness, "  ")
        number = counted.of(each) if counted is not None else None
        if counted is not None and number is not None:
            screen.say(f"{number} of {counted.read} recorded jobs", "  ")
    if counted is not None:
        for path, why in counted.broken.items():
            screen.say(f"{path}: {why}", "! ")
        for path, why in counted.passed_over.items():
            screen.say(f"{path}: {why}", "passed over: ")
    summed = Counter(each.outcome for each in found)
    order = ("same", "stricter", "looser", "different", "new", "gone", "not told")
    screen.say(", ".join(f"{summed[word]} {word}" for word in order if summed[word]), bold=True)


def _account(found: Sequence[Outcome], counted: _Counted | None) -> dict[str, object]:
    none: dict[str, str] = {}
    broken, passed_over = (counted.broken, counted.passed_over) if counted is not None else (none, none)
    return {
        "format": account.COMPARISON,
        "jobs": counted.read if counted is not None else 0,
        "broken": [{"job": job, "problem": why} for job, why in broken.items()],
        "passed_over": [{"job": job, "because": why} for job, why in passed_over.items()],
        "outcomes": [
            {
                **each._asdict(),
                "edits": list(each.edits),
                "jobs": counted.of(each) if counted is not None else None,
            }
            for each in found
        ],
    }
