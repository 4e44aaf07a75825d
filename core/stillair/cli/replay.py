"""`replay`: old jobs assessed with other rules."""

from __future__ import annotations

import csv
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from stillair import account
from stillair.assess import Program
from stillair.authoring.replay import Change, replayed
from stillair.fault import StillairError
from stillair.hooks import Plugins
from stillair.job import Job, JobError
from stillair.wording import counted

from . import NO, Mistake
from .account_format import format_option, print_json
from .cache import Texts, load_program
from .jobs import job_files
from .packs import choose, other_packs, recorded_in, texts_of
from .screen import Screen
from .session import Settings
from .workers import workers

__all__ = ["Replayed", "Replayer", "replay"]

COLUMNS = ("job", "lines", "last_hash", "kind", "name", "of", "was", "now", "problem")
_FEW = 8
"""Jobs up to which they are replayed one after another (judgement: a process takes a second to start)."""


@dataclass(frozen=True, slots=True)
class Replayed:
    """One job: what comes out otherwise, or why it could not be replayed, or is passed over."""

    path: str
    lines: int = 0
    last_hash: str | None = None
    changes: tuple[Change, ...] = ()
    problem: str | None = None
    passed_over: str | None = None

    def rows(self) -> Iterator[tuple[object, ...]]:
        """One row for each change, or one that says that nothing has changed or what the problem is."""
        head = (self.path, self.lines, self.last_hash)
        if not self.changes:
            why = f"passed over: {self.passed_over}" if self.passed_over is not None else None
            yield (*head, None, None, None, None, None, self.problem or why)
        for each in self.changes:
            yield (*head, *each, None)


class Replayer:
    """Replays jobs with other packs. Each program is made once."""

    def __init__(self, plugin_dirs: Sequence[Path], named: Sequence[str]) -> None:
        self.plugins = Plugins.load(plugin_dirs)
        self.new = load_program(
            [texts for _, texts in sorted(choose(self.plugins, named).items())], self.plugins
        )
        self._old: dict[tuple[str, ...], Program] = {}

    def replay(self, path: str) -> Replayed:
        """One job; its chain is checked as it is read."""
        try:
            job = Job.open(path)
            try:
                lines = job.lines
                other = other_packs(lines, self.new.packs)
                if other is not None:
                    return Replayed(path, len(lines), job.last_hash, passed_over=other)
                packs, _ = recorded_in(lines)
                digests = tuple(entry["digest"] for _, entry in sorted(packs.items()))
                old = self._old.get(digests)
                if old is None:
                    texts: list[Texts] = [texts_of(job.packs, digest) for digest in digests]
                    old = self._old[digests] = load_program(texts, self.plugins)
                changes = tuple(replayed(lines, old, self.new))
                return Replayed(path, len(lines), job.last_hash, changes)
            finally:
                job.close()
        except (JobError, StillairError) as error:
            message = error.message if isinstance(error, JobError) else error.faults[0].message
            return Replayed(path, problem=message)


@click.command()
@click.argument("jobs", nargs=-1, required=True, type=click.Path(exists=True))
@click.option(
    "--pack", "packs", multiple=True, required=True, metavar="NEW", help="A pack, by name or folder."
)
@click.option(
    "--csv", "table", type=click.Path(), metavar="FILE", help="Write every change into a new CSV file."
)
@click.option(
    "--parquet", type=click.Path(), metavar="FILE", help="The same as Parquet; needs stillair[parquet]."
)
@click.option(
    "--processes", type=click.IntRange(1), help="How many replay at once; by default all processors."
)
@format_option
@click.pass_obj
def replay(
    settings: Settings,
    jobs: tuple[str, ...],
    packs: tuple[str, ...],
    table: str | None,
    parquet: str | None,
    processes: int | None,
    as_json: bool,
) -> None:
    """Assess each of JOBS, files or folders of them, with the packs given beside those it was done with.

    What the new rules ask and a job never told stays open. Nothing is changed. A job that goes by none of
    these packs is named and passed over. Exit code 1: a job is broken or cannot be replayed, or all are
    passed over.
    """
    for place in (table, parquet):
        if place is not None and Path(place).exists():
            raise Mistake(f"`{place}` is there already", "name a new file")
    if parquet is not None:
        _arrow()
    paths = list(job_files(jobs))
    if not paths:
        raise click.ClickException("there are no jobs to replay")
    found = list(replay_all(settings.plugin_dirs, packs, paths, processes or os.cpu_count() or 1))
    rows = [row for each in found for row in each.rows()]
    if table is not None:
        with open(table, "w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows([COLUMNS, *rows])
    if parquet is not None:
        _write_parquet(parquet, rows)
    if as_json:
        print_json(_account(found))
    else:
        _say(Screen(), found)
    if any(e.problem is not None for e in found) or all(e.passed_over is not None for e in found):
        raise click.exceptions.Exit(NO)


_replayer: Replayer | None = None


def _begin(plugin_dirs: Sequence[Path], packs: Sequence[str]) -> None:
    global _replayer
    _replayer = Replayer(plugin_dirs, packs)


def _replay(path: str) -> Replayed:
    assert _replayer is not None
    return _replayer.replay(path)


def replay_all(
    plugin_dirs: Sequence[Path], packs: Sequence[str], paths: Sequence[str], processes: int
) -> Iterator[Replayed]:
    """Each job, in the order given."""
    _begin(plugin_dirs, packs)
    processes = min(processes, len(paths) // _FEW + 1)
    if processes == 1:
        yield from map(_replay, paths)
        return
    with workers(processes, _begin, plugin_dirs, packs) as spread:
        yield from spread(_replay, paths, chunksize=8)


def _arrow() -> Any:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise Mistake("Parquet needs pyarrow, which is not installed", "install stillair[parquet]") from None
    return pyarrow


def _write_parquet(place: str, rows: Sequence[tuple[object, ...]]) -> None:
    arrow = _arrow()
    kinds = {"lines": arrow.int64()}
    schema = arrow.schema([(name, kinds.get(name, arrow.string())) for name in COLUMNS])
    columns = {name: [row[place] for row in rows] for place, name in enumerate(COLUMNS)}
    arrow.parquet.write_table(arrow.table(columns, schema=schema), place)


def _say(screen: Screen, found: Sequence[Replayed]) -> None:
    counts = Counter((c.kind, c.name, c.was, c.now) for each in found for c in each.changes)
    for each in found:
        if each.problem is not None:
            screen.say(f"{each.path}: {each.problem}", "! ")
        if each.passed_over is not None:
            screen.say(f"{each.path}: {each.passed_over}", "passed over: ")
        for c in each.changes if len(found) <= _FEW else ():
            of = f" of {c.of}" if c.of is not None else ""
            screen.say(f"{each.path}: {c.kind} {c.name}{of}: was {c.was}, now {c.now}")
    for (kind, name, was, now), number in counts.most_common() if len(found) > _FEW else ():
        screen.say(f"{kind} {name}: was {was}, now {now}: {number} times")
    changed = sum(bool(each.changes) for each in found)
    broken = sum(each.problem is not None for each in found)
    end = f", {broken} not replayed" if broken else ""
    over = sum(each.passed_over is not None for each in found)
    end += f"; {over} passed over" if over else ""
    screen.say(f"{counted(len(found) - over, 'job')}, {changed} come out otherwise{end}", bold=True)


def _account(found: Sequence[Replayed]) -> dict[str, object]:
    return {
        "format": account.REPLAY,
        "replayed": sum(each.problem is None and each.passed_over is None for each in found),
        "changed": sum(bool(each.changes) for each in found),
        "jobs": [
            {
                "job": each.path,
                "lines": each.lines,
                "last_hash": each.last_hash,
                "problem": each.problem,
                "passed_over": each.passed_over,
                "changes": [change._asdict() for change in each.changes],
            }
            for each in found
        ],
    }
