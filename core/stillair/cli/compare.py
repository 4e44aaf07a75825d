"""`compare`: two versions of a pack, by what follows from them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import click

from stillair import account
from stillair.assess import Program
from stillair.authoring.compare import Outcome, compared, fall_in
from stillair.hooks import Plugins
from stillair.job import Job, JobError

from . import Mistake
from .account_format import format_option, print_json
from .cache import load_program
from .jobs import looks_like_job
from .packs import choose
from .screen import Screen
from .session import Settings

__all__ = ["compare"]


@click.command()
@click.argument("old")
@click.argument("new")
@click.option(
    "--jobs", metavar="FOLDER", type=click.Path(), help="Count the recorded jobs that fall in each."
)
@format_option
@click.pass_obj
def compare(settings: Settings, old: str, new: str, jobs: str | None, as_json: bool) -> None:
    """Say how each condition of the pack NEW comes out beside that of OLD: names or folders of packs.

    Same, stricter, looser or different, with facts that show it and the edit that caused it.
    """
    plugins = Plugins.load(settings.plugin_dirs)
    before, after = (_program(plugins, name) for name in (old, new))
    found = list(compared(before, after))
    counts, read = _counted(jobs, before, after) if jobs is not None else (None, 0)
    if as_json:
        print_json(_account(found, counts, read))
    else:
        _say(Screen(), found, counts, read)


def _program(plugins: Plugins, name: str) -> Program:
    wanted = str(Path(name).absolute()) if Path(name).is_dir() else name
    return load_program([texts for _, texts in sorted(choose(plugins, [wanted]).items())], plugins)


def _counted(folder: str, old: Program, new: Program) -> tuple[Counter[tuple[str, str]], int]:
    """How many recorded jobs judge each condition otherwise, and how many were read."""
    if not Path(folder).is_dir():
        raise Mistake(f"`{folder}` is not a folder", "name the folder the jobs are in")
    counts: Counter[tuple[str, str]] = Counter()
    read = 0
    for path in sorted(Path(folder).iterdir()):
        if not looks_like_job(path):
            continue
        try:
            job = Job.open(path)
        except JobError:
            continue
        with job:
            counts.update(fall_in(job.lines, old, new))
            read += 1
    return counts, read


def _say(
    screen: Screen, found: Sequence[Outcome], counts: Counter[tuple[str, str]] | None, read: int
) -> None:
    for each in found:
        if each.outcome == "same":
            continue
        guard = ", a guard" if each.guards else ""
        screen.say(f"{each.kind} {each.name}: {each.outcome}{guard}", bold=True)
        for edit in each.edits:
            screen.say(edit, "  edit: ")
        if each.witness is not None:
            screen.say(each.witness, "  ")
        if counts is not None:
            screen.say(f"{counts[each.kind, each.name]} of {read} recorded jobs", "  ")
    summed = Counter(each.outcome for each in found)
    order = ("same", "stricter", "looser", "different", "new", "gone", "not told")
    screen.say(", ".join(f"{summed[word]} {word}" for word in order if summed[word]), bold=True)


def _account(
    found: Sequence[Outcome], counts: Counter[tuple[str, str]] | None, read: int
) -> dict[str, object]:
    return {
        "format": account.COMPARISON,
        "jobs": read,
        "outcomes": [
            {
                **each._asdict(),
                "edits": list(each.edits),
                "jobs": None if counts is None else counts[each.kind, each.name],
            }
            for each in found
        ],
    }
