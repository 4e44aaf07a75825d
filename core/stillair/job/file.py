"""The job file: lines are added at its end, and none is ever rewritten."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType

from .chain import Chain, Torn, read_line, scan
from .disk import AppendFile, flush_folder, read_file, real_path, write_new
from .error import JobError, quoted
from .kind import FORMAT, KINDS, check_body, check_kind, may_be_personal
from .line import JSON, Line, canonical, digest, parse, to_milliseconds, write_time
from .lock import Lock
from .pack_store import PackStore
from .personal import Companion, Entry, companion_path, hidden

__all__ = ["Job"]


class Job:
    """A job, opened for reading or, by one process at a time, for writing.

    Made by `Job.create`, `Job.open` and `Job.resume`; used in a `with` statement, or closed by `close`.
    The file is JSON Lines in UTF-8. Each line holds the SHA-256 of the line before it, line end included.
    """

    def __init__(self, path: Path, writer: str | None, lock: Lock | None) -> None:
        self.path = path
        self.packs = PackStore(path)
        self._writer = writer
        self._lock = lock
        self._file: AppendFile | None = None
        self._companion = Companion(path)
        self._lines: list[Line] = []
        self._last: str | None = None
        self._torn: Torn | None = None
        self._held: list[tuple[list[Entry], bytes]] | None = None
        """Rows not yet on the disk, each with its personal values, while lines are appended together."""

    @classmethod
    def create(
        cls,
        path: str | os.PathLike[str],
        *,
        engine: str,
        title: str,
        packs: Mapping[str, Mapping[str, str]],
        plugins: Mapping[str, Mapping[str, str]],
        by: str | None,
        now: float,
        offset: int,
        personal: frozenset[str] = frozenset(),
    ) -> Job:
        """Start a job in a new file, open for writing; its first line is on the disk.

        `engine` names this program and its version. `packs` and `plugins` give for each name its `version`
        and `digest` (SHA-256, lower-case hexadecimal; of a pack as `PackStore.keep` returns it). `now` is in
        seconds since 1970 UTC, `offset` the zone in minutes. `personal` may name `title` and `by`.
        JobError if the file exists or cannot be made.
        """
        place = real_path(path)
        if os.path.lexists(place):
            raise JobError("exists already", help="continue it, or choose another name", path=place)
        job = cls(place, engine, Lock(place))
        try:
            job._refuse_leftovers()
            job._file = AppendFile(place, new=True)
            try:
                body: dict[str, JSON] = {"format": FORMAT, "engine": engine, "title": title}
                body |= {"packs": packs, "plugins": plugins}
                job._append("job", body, now, now, offset, by, personal)
                flush_folder(place.parent)
            except BaseException:
                # No line was acknowledged, so nothing is lost with the file.
                job._file.close()
                job._file = None
                with suppress(OSError):
                    place.unlink()
                raise
        except BaseException:
            job.close()
            raise
        return job

    @classmethod
    def open(cls, path: str | os.PathLike[str]) -> Job:
        """Read a job; nothing on the disk is touched, and a writer is not disturbed.

        JobError if the file cannot be read, is no job, or its chain is broken. A torn last line is reported
        by `torn`.
        """
        job = cls(real_path(path), None, None)
        job._read()
        return job

    @classmethod
    def resume(cls, path: str | os.PathLike[str], *, writer: str, now: float, offset: int) -> Job:
        """Open a job for writing; `writer` names this program and its version.

        A torn last line is first copied to `<job>.torn-<number>` beside the file, then cut, and a line of
        kind `repaired`, entered at `now`, says so; it is then the last of `lines`. A last line that lacks
        only its line end is completed. JobError as for `open`, or if another process is writing.
        """
        place = real_path(path)
        read_file(place)
        job = cls(place, writer, Lock(place))
        try:
            chain = job._read()
            job._file = AppendFile(place)
            if chain.unended:
                job._file.append(b"\n")
            job._repair(chain, now, offset)
        except BaseException:
            job.close()
            raise
        return job

    @property
    def lines(self) -> tuple[Line, ...]:
        """Every whole line, in order; the first is of kind `job`."""
        return tuple(self._lines)

    @property
    def torn(self) -> Torn | None:
        """What an interruption left behind the last whole line, if the job was opened for reading."""
        return self._torn

    @property
    def altered(self) -> tuple[tuple[int, str], ...]:
        """Line number and field of personal values whose text is not the one the line vouches for."""
        return tuple(self._companion.altered)

    @property
    def last_hash(self) -> str:
        """The hash of the last line. Kept elsewhere, it shows later whether the whole file was rewritten."""
        assert self._last is not None
        return self._last

    def append(
        self,
        kind: str,
        body: Mapping[str, JSON],
        *,
        taken: float,
        entered: float,
        offset: int,
        by: str | None,
        personal: frozenset[str] = frozenset(),
    ) -> Line:
        """Add a line and return it as it stands on the disk, now or after `together`.

        See `KINDS` for kinds and bodies.

        `taken` and `entered` are in seconds since 1970 UTC and are kept to the millisecond, `offset` is the
        zone in minutes. The fields named in `personal` (keys of the body, or `by`) go to the companion file.
        JobError if the line is refused or could not be written; the job is then as before.
        """
        check_kind(kind)
        if kind in ("job", "repaired"):
            raise JobError(f"a line of kind `{kind}` is written by the job itself", path=self.path)
        return self._append(kind, body, taken, entered, offset, by, personal)

    @contextmanager
    def together(self) -> Iterator[None]:
        """The lines appended within go to the disk at its end in one write; where it raises, none of them."""
        before, last = len(self._lines), self._last
        held: list[tuple[list[Entry], bytes]] = []
        self._held = held
        try:
            yield
            self._held = None
            if held:
                self._put(
                    [entry for entries, _ in held for entry in entries], b"".join(row for _, row in held)
                )
        except BaseException:
            del self._lines[before:]
            self._last = last
            raise
        finally:
            self._held = None

    def close(self) -> None:
        """Close the files and let the next writer in; closing twice does nothing."""
        if self._file is not None:
            self._file.close()
            self._file = None
        self._companion.close()
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def __enter__(self) -> Job:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _refuse_leftovers(self) -> None:
        # They would be taken for what belongs to the new job.
        companion, torn = companion_path(self.path).name, f"{self.path.name}.torn-"
        for name in sorted(os.listdir(self.path.parent)):
            if name == companion or name.startswith(torn):
                raise JobError(
                    "is left from another job of the same name",
                    help="move it to its job, or choose another name",
                    path=self.path.with_name(name),
                )

    def _read(self) -> Chain:
        chain = scan(read_file(self.path), self.path)
        if chain.fault is not None:
            raise chain.fault
        self._companion.read()
        for record in chain.rows:
            self._lines.append(read_line(record, self._companion.find, self._lines, self.path))
        self._last = chain.hashes[-1]
        self._torn = chain.torn
        return chain

    def _append(
        self,
        kind: str,
        body: Mapping[str, JSON],
        taken: float,
        entered: float,
        offset: int,
        by: str | None,
        personal: Iterable[str],
    ) -> Line:
        if self._file is None:
            raise JobError("is not open for writing", help="open it for writing first", path=self.path)
        n = len(self._lines) + 1
        try:
            check_body(kind, body)
            # Through JSON at once, so that what is returned is what will be read back.
            values = dict(_through(body))
            staged: dict[str, Entry] = {}
            for key in sorted(personal):
                if key not in values and not (key == "by" and by is not None):
                    raise JobError(f"{quoted(key)} is to be personal, but is not given")
                if not may_be_personal(kind, key):
                    can = [k for k in (*KINDS[kind], "by") if may_be_personal(kind, k)]
                    raise JobError(
                        f"{quoted(key)} of a line of kind `{kind}` cannot be personal",
                        help=f"can be: {', '.join(can)}",
                    )
                staged[key] = Entry.make(n, key, by if key == "by" else values[key])
            shown: JSON = by
            for key, entry in staged.items():
                if key == "by":
                    shown = hidden(entry)
                else:
                    values[key] = hidden(entry)
            record: dict[str, JSON] = {
                "body": values,
                "by": shown,
                "entered": write_time(to_milliseconds(entered), offset),
                "kind": kind,
                "n": n,
                "prev": self._last,
                "taken": write_time(to_milliseconds(taken), offset),
                "writer": self._writer,
            }
            row = canonical(record) + b"\n"
            line = read_line(record, lambda _, key, sha256: staged[key], self._lines, self.path)
        except JobError as error:
            raise JobError(error.message, help=error.help, path=self.path, line=n) from error
        except (ValueError, TypeError, OverflowError, RecursionError) as error:
            raise JobError(
                f"cannot be written as a line: {error}",
                help="give text, finite numbers, and times as seconds since 1970",
                path=self.path,
                line=n,
            ) from error
        if self._held is None:
            self._put(list(staged.values()), row)
        else:
            self._held.append((list(staged.values()), row))
        self._lines.append(line)
        self._last = digest(row)
        return line

    def _put(self, entries: list[Entry], rows: bytes) -> None:
        """Put rows and their personal values on the disk."""
        assert self._file is not None
        if entries:
            # First the text, then the line: an interruption never leaves a line without its text.
            self._companion.append(entries)
        self._file.append(rows)

    def _repair(self, chain: Chain, now: float, offset: int) -> None:
        """Set a torn tail aside and record it, and what an interrupted repair had set aside before."""
        assert self._file is not None
        n = len(self._lines) + 1
        kept: list[Path] = []
        while (place := self._kept_path(n, len(kept))).exists():
            kept.append(place)
        if chain.torn is not None:
            if chain.torn.data not in [read_file(one) for one in kept]:
                write_new(place, chain.torn.data)
                kept.append(place)
            self._file.cut(chain.end)
            self._torn = None
        for one in kept:
            data = read_file(one)
            body: dict[str, JSON] = {"kept": one.name, "bytes": len(data), "sha256": digest(data)}
            self._append("repaired", body, now, now, offset, None, ())

    def _kept_path(self, n: int, already: int) -> Path:
        return self.path.with_name(f"{self.path.name}.torn-{n}" + (f".{already + 1}" if already else ""))


def _through(body: Mapping[str, JSON]) -> Mapping[str, JSON]:
    told = parse(canonical(body))
    assert isinstance(told, Mapping)
    return told
