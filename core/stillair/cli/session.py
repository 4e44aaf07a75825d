"""A job in use: its lines, the checklists it was begun with, the plugins, and the time."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta, timezone, tzinfo
from pathlib import Path
from types import TracebackType
from typing import ClassVar

from stillair.assess import Assessment, Entry, EntryError, Program, assess, follow
from stillair.fault import Fault, StillairError
from stillair.hooks import Plugins
from stillair.job import JSON, Job, JobError, Line, PackStore
from stillair.version import engine_version
from stillair.wording import Wording

from .cache import load_program
from .clock import Clock
from .packs import (
    choose,
    choose_sealed,
    differences,
    encoded,
    found_again,
    recorded_in,
    texts_of,
    unlike_installed,
)

__all__ = ["Session", "Settings", "in_time", "job_zone", "writer"]

_FELL_BACK = 5.0
"""Seconds a clock may be set back without a word (judgement: network time corrects by less)."""
_AHEAD = 120.0
"""Seconds by which a watch may be ahead of this device; such a time is taken as now (judgement)."""
_LONG_AGO = 86400.0
"""Seconds from which a time must be meant: more than a day back is often a slip (judgement)."""


class Settings:
    """What the options before the verb say; `clock` is replaced in tests."""

    def __init__(
        self, plugin_dirs: tuple[Path, ...] = (), by: str | None = None, clock: Clock | None = None
    ) -> None:
        self.plugin_dirs = plugin_dirs
        self.by = by
        self.clock = clock or Clock()
        self.sealed: Path | None = None
        """The folder that alone has the packs by which jobs begin."""


def job_zone(lines: Sequence[Line]) -> tzinfo:
    """The zone the job was begun in, so that it reads the same on every device."""
    return timezone(timedelta(minutes=lines[0].offset))


def writer() -> str:
    """What a job file names as its writer."""
    return f"stillair {engine_version()}"


class Session:
    """A job opened for reading or writing, with everything needed to assess it.

    Made by `Session.load` and `Session.start`; used in a `with` statement, or closed by `close`.
    The checklists are those kept beside the job, whatever is installed now.
    """

    has_written: ClassVar[bool] = False
    """Whether any line was written by this process, so that an interruption can say what is kept."""

    def __init__(self, job: Job, program: Program, plugins: Plugins, clock: Clock, by: str | None) -> None:
        self.job = job
        self.program = program
        self.plugins = plugins
        self.clock = clock
        self.in_charge = _in_charge(job.lines)
        self.by = by if by is not None else self.in_charge
        self._last: Assessment | None = None
        self._before: dict[tuple[int, int], Assessment] = {}
        self.differs: tuple[str, ...] = ()
        """What of the plugins is not as the job recorded it, one sentence each."""
        self.unlike: tuple[str, ...] = ()
        """What is to be known of packs that are called as installed ones, and are not those."""
        self.restored: tuple[str, ...] = ()
        """The packs whose texts were put back beside the job."""

    # -- opening -----------------------------------------------------------------------------------------

    @classmethod
    def load(
        cls,
        path: str | os.PathLike[str],
        plugin_dirs: Iterable[Path] = (),
        *,
        write: bool = False,
        by: str | None = None,
        clock: Clock | None = None,
        packs: Sequence[str] = (),
        known: float | None = None,
    ) -> Session:
        """Open a job. JobError or StillairError says what stands in the way.

        To be looked at as it was `known` at a moment, it goes by the packs it went by then.

        For writing, plugins that give calculators or catalogues must be those the job recorded. Texts of a
        pack that are gone are taken from the pack of that digest, if it is installed or in `packs`, the
        folders named; when writing they are put back beside the job.
        """
        clock = clock or Clock()
        if not os.path.exists(path):
            raise JobError("does not exist", help="`stillair guide` starts a job", path=Path(path))
        plugins = Plugins.load(plugin_dirs)
        if write:
            now = clock.now()
            job = Job.resume(path, writer=writer(), now=now, offset=clock.offset(now))
        else:
            job = Job.open(path)
        try:
            begun_with, recorded = recorded_in(job.lines, known)
            found: dict[str, dict[str, str]] = {}
            texts = []
            for name, entry in sorted(begun_with.items()):
                try:
                    texts.append(texts_of(job.packs, entry["digest"]))
                except JobError as error:
                    if not isinstance(error.__cause__, FileNotFoundError):
                        raise
                    found[name] = found_again(job, name, entry, plugins, packs)
                    texts.append(found[name])
            session = cls(job, load_program(texts, plugins), plugins, clock, by)
            session.differs = tuple(differences(recorded, plugins))
            if write:
                if session.differs:
                    raise JobError(
                        session.differs[0],
                        help="install what the job was begun with, or go over with `stillair move`",
                        path=job.path,
                    )
                for name, files in found.items():
                    job.packs.keep(encoded(files))
                    session.restored += (name,)
                session._finish_opening()
        except BaseException:
            job.close()
            raise
        return session

    @classmethod
    def reading(cls, settings: Settings, path: str) -> Session:
        """Open a job to be looked at, as the options before the verb say."""
        return cls.load(path, settings.plugin_dirs, by=settings.by, clock=settings.clock)

    @classmethod
    def start(
        cls,
        path: str | os.PathLike[str],
        plugin_dirs: Iterable[Path] = (),
        *,
        packs: Sequence[str] = (),
        beliefs: str | None = None,
        title: str | None = None,
        by: str | None = None,
        clock: Clock | None = None,
        sealed: Path | None = None,
    ) -> Session:
        """Begin a job with packs given by name or folder; by default the only one installed.

        `beliefs` is a file of learned beliefs, kept with the pack they are of. With `sealed`, a folder of
        packs, these must be as they were sealed, and the job goes by nothing else. The first lines record
        packs and plugins; the texts of the packs are kept beside the job. A title
        that is given may name a customer, and is kept apart as personal.
        """
        clock = clock or Clock()
        place = Path(path)
        if os.path.lexists(place):
            raise JobError("exists already", help="continue it, or choose another name", path=place)
        if not place.absolute().parent.is_dir():
            raise JobError("its folder does not exist", help="make the folder first", path=place)
        plugins = Plugins.load(plugin_dirs)
        if sealed is None:
            chosen = sorted(choose(plugins, packs, beliefs).items())
        else:
            chosen = sorted(choose_sealed(sealed, plugins, packs, beliefs).items())
        program = load_program([texts for _, texts in chosen], plugins)
        in_time(program, clock)
        unlike = tuple(unlike_installed(plugins, dict(chosen))) if packs and sealed is None else ()
        now = clock.now()
        with PackStore(place).begun() as store:
            kept = {
                name: {"version": version, "digest": store.keep(encoded(texts))}
                for (_, texts), (name, (version, _)) in zip(chosen, program.packs.items(), strict=True)
            }
            job = Job.create(
                place,
                engine=writer(),
                title=title or place.stem,
                packs=kept,
                plugins={p.name: {"version": p.version, "digest": p.digest} for p in plugins.plugins},
                by=by,
                now=now,
                offset=clock.offset(now),
                personal=frozenset({"title"} if title else ()),
            )
        try:
            session = cls(job, program, plugins, clock, by)
            session._finish_opening()
            for text in unlike:
                session.write("note", {"text": text})
            session.unlike = unlike
        except BaseException:
            job.close()
            raise
        return session

    def _finish_opening(self) -> None:
        """Open the checklists of a job in which nothing else was done yet."""
        if any(line.kind not in ("job", "open", "repaired") for line in self.job.lines):
            return
        opened = {line.body["checklist"] for line in self.job.lines if line.kind == "open"}
        for name in self.program.checklists:
            if name not in opened:
                self.write("open", {"checklist": name})

    def close(self) -> None:
        self.job.close()

    def __enter__(self) -> Session:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the job. What a plugin raised meanwhile is named: nothing goes on without it."""
        self.close()
        if isinstance(error, Exception) and not isinstance(error, StillairError):
            fault = self._plugin_fault(error)
            if fault is not None:
                raise StillairError(fault) from error

    # -- time --------------------------------------------------------------------------------------------

    def now(self) -> float:
        """The time of the job: that of the clock, but never before the last entry.

        An entry made under a clock that was set back would otherwise count as older than those before it.
        """
        return max(self.clock.now(), self.last)

    @property
    def last(self) -> float:
        """When the last line was entered."""
        return max(line.entered for line in self.job.lines)

    def behind(self) -> float:
        """Seconds by which the clock stands before the last entry; 0 if it does not, or hardly."""
        gap = self.last - self.clock.now()
        return gap if gap > _FELL_BACK else 0.0

    def zone(self) -> tzinfo:
        return self.clock.zone(self.now())

    def at(self, text: str) -> float:
        """A moment as people say it: `9:40`, `2026-07-14 09:40`. EntryError if it is none, or lies ahead."""
        from stillair import quantity

        now = self.now()
        try:
            found = quantity.read(text, quantity.DIMENSIONS["moment"], now=now, zone=self.zone()).value
        except quantity.QuantityError as error:
            raise EntryError(str(error), error.help) from None
        if now < found <= now + _AHEAD:
            return now
        if found > now:
            day_before = datetime.fromtimestamp(found - 86400, self.zone()).strftime("%Y-%m-%d %H:%M")
            raise EntryError(
                f"`{text}` is later than now, {self.said(now)}", f"for the day before write {day_before}"
            )
        return found

    def far_back(self, at: float) -> str | None:
        """Why the time of an entry may be a slip: `before the job began at 09:00`; None if it is not."""
        begun = self.lines[0].taken
        if at < begun:
            return f"before the job began at {self.said(begun)}"
        return "more than a day ago" if at < self.now() - _LONG_AGO else None

    def said(self, at: float) -> str:
        """A moment as clock time, with the date where it is not today: `09:40`, `07-14 09:40`."""
        zone = self.zone()
        moment = datetime.fromtimestamp(at, zone)
        today = datetime.fromtimestamp(self.now(), zone).date()
        return moment.strftime("%H:%M" if moment.date() == today else "%Y-%m-%d %H:%M")

    # -- reading and writing -----------------------------------------------------------------------------

    @property
    def lines(self) -> tuple[Line, ...]:
        return self.job.lines

    def assess(self, at: float | None = None, known: float | None = None) -> Assessment:
        """What follows from the job at a moment, by default now."""
        at = self.now() if at is None else at
        if known is not None:
            return assess(self.program, self.lines, at, known)
        last = self._last
        found = assess(self.program, self.lines, at) if last is None else follow(last, self.lines, at)
        if found.history.taken <= at:
            # What was taken after an earlier moment is not seen from it: nothing is followed from there.
            self._last = found
        return found

    def before(self, line: Line) -> Assessment:
        """How things stood just before a line was entered, later corrections taken in."""
        corrections = [each for each in self.lines[line.n :] if each.kind == "correct"]
        key = (line.n, len(corrections))
        if key not in self._before:
            earlier = [*self.lines[: line.n - 1], *corrections]
            self._before[key] = assess(self.program, earlier, line.taken)
        return self._before[key]

    def words(self, at: float | None = None) -> Wording:
        """What follows, ready to be said in the zone of the job."""
        return Wording(self.assess(at), job_zone(self.lines))

    def append(self, entry: Entry, *, taken: float | None = None) -> Line:
        """Put an entry on the disk; `taken` is when it was seen, by default now."""
        return self.write(entry.kind, entry.body, taken=taken, personal=entry.personal)

    def write(
        self,
        kind: str,
        body: Mapping[str, JSON],
        *,
        taken: float | None = None,
        personal: frozenset[str] = frozenset(),
    ) -> Line:
        """Put a line on the disk and return it."""
        now = self.now()
        Session.has_written = True
        return self.job.append(
            kind,
            body,
            taken=now if taken is None else taken,
            entered=now,
            offset=self.clock.offset(now),
            by=self.by,
            personal=personal,
        )

    @contextmanager
    def together(self) -> Iterator[None]:
        """What is entered within is kept at its end, or, where it raises, not at all."""
        try:
            with self.job.together():
                yield
        except BaseException:
            self._last = None
            raise

    def members(self, assessment: Assessment) -> dict[str, list[str]]:
        """The members of every list now, for `read_fact`."""
        found = {name: assessment.view.members(name)[0] for name in self.program.lists}
        return {**found, "place": assessment.view.members("place")[0]}

    def _plugin_fault(self, error: Exception) -> Fault | None:
        """A fault at the line of the plugin that raised, if one did."""
        homes = {p.file.removesuffix("/__init__.py"): p for p in self.plugins.plugins}
        trace = error.__traceback__
        found: Fault | None = None
        while trace is not None:
            file = Path(trace.tb_frame.f_code.co_filename).as_posix()
            for home, plugin in homes.items():
                if file == home or file.startswith(f"{home}/"):
                    message = f"the plugin `{plugin.name}` raised: {type(error).__name__}: {error}"
                    help = "mend or remove the plugin; no work goes on without it"
                    found = Fault("SA503", message, file, trace.tb_lineno, help=help)
            trace = trace.tb_next
        return found


def in_time(program: Program, clock: Clock) -> None:
    """No job is begun with a limit whose loosening has ended, or is to last for too long."""
    from stillair.assess.adjusting import untimely

    now = clock.now()
    faults = [*untimely(program, datetime.fromtimestamp(now, clock.zone(now)).date())]
    if faults:
        raise StillairError(*faults)


def _in_charge(lines: Sequence[Line]) -> str | None:
    """Whose job it is: whoever it was handed to last, else who began it."""
    for line in reversed(lines):
        if line.kind == "handover" and "to" in line.body:
            return str(line.body["to"])
    return next((line.by for line in lines if line.by is not None), None)
