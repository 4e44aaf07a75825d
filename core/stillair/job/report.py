"""Whether a job is as it was written.

The chain shows accident and partial edits: a changed, added or removed line no longer fits its neighbours.
It cannot show that the whole file was written anew, hashes included, nor that its end was taken off. Only
a signature shows that, or a last hash kept elsewhere (on paper, in a message) and given to `verify`.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from .chain import Torn, read_line, scan
from .disk import read_file, real_path
from .error import JobError
from .line import JSON, Line, digest, write_time
from .pack_store import PackStore
from .personal import Companion

__all__ = ["Broken", "CompanionState", "Report", "verify"]


@dataclass(frozen=True, slots=True)
class Broken:
    """The first line that is not as it must be, and why."""

    line: int
    why: str


@dataclass(frozen=True, slots=True)
class CompanionState:
    """How the companion file stands to the lines of the job.

    `state` is `none needed`, `whole`, `left out` (values are missing, as in a copy without personal data),
    or `altered` (a value is not the one its line vouches for, or values are missing beside ones that cannot
    be read or that no line names). `missing` and `altered` give line number and field; `unreadable` and
    `unused` count what interruptions may leave behind.
    """

    state: str
    missing: tuple[tuple[int, str], ...]
    altered: tuple[tuple[int, str], ...]
    unreadable: int
    unused: int


@dataclass(frozen=True, slots=True)
class Report:
    """What `verify` found.

    `lines` is the number of whole lines, `intact` how many from the start hold together. `clock_went_back`
    lists lines entered earlier than the line before, `clock_was_behind` the notes that it would have been so,
    but for the time of the last entry written instead. `packs` gives for each digest named in the job, and
    `kept` for each file that holds a torn line, `present`, `absent` or `altered`. `last_hash` is that of the
    last whole line, None if there is none. `expected_at` is the line whose hash was expected, None if it is
    not there or none was given.
    """

    path: Path
    lines: int
    intact: int
    broken: Broken | None
    torn: Torn | None
    companion: CompanionState
    clock_went_back: tuple[int, ...]
    clock_was_behind: tuple[int, ...]
    packs: Mapping[str, str]
    kept: Mapping[str, str]
    last_hash: str | None
    expect_last: str | None
    expected_at: int | None
    moves: tuple[str, ...] = ()
    """From which line on the job goes by other versions: which, which before, by whom and why."""

    @property
    def problems(self) -> tuple[str, ...]:
        """What makes the job not as it was written, one sentence each."""
        found = []
        if self.broken is not None:
            found.append(f"line {self.broken.line}: {self.broken.why}")
        if self.torn is not None:
            found.append(
                f"line {self.torn.n} was torn off: {len(self.torn.data)} bytes that are no line; "
                "opening the job for writing sets them aside"
            )
        if self.companion.state == "altered":
            which = ", ".join(
                f"`{key}` of line {n}" for n, key in self.companion.altered + self.companion.missing
            )
            found.append(f"the companion file was altered or damaged: {which} cannot be trusted")
        found += [
            f"the text of pack {d} was altered" for d, state in self.packs.items() if state == "altered"
        ]
        found += [f"{name} was altered" for name, state in self.kept.items() if state == "altered"]
        if self.expect_last is not None and self.expected_at is None:
            found.append("the expected hash is not in the chain: the file was rewritten, or its end is gone")
        return tuple(found)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What a reader must know although nothing was altered, one sentence each."""
        found = list(self.moves)
        if self.companion.state == "left out":
            found.append(f"{len(self.companion.missing)} personal values are left out of this copy")
        if self.companion.state != "altered" and (self.companion.unreadable or self.companion.unused):
            left = self.companion.unreadable + self.companion.unused
            found.append(
                f"the companion file holds {left} entries that no line needs, left by an interruption"
            )
        found += [
            f"the clock went back before line {n}: times across it are in doubt" for n in self.clock_went_back
        ]
        found += [
            f"the clock stood before the last entry at line {n}: times near it are in doubt"
            for n in self.clock_was_behind
        ]
        found += [
            f"the text of pack {d} is not beside the job" for d, s in self.packs.items() if s == "absent"
        ]
        found += [f"{name} is not beside the job" for name, state in self.kept.items() if state == "absent"]
        if self.expected_at is not None and self.expected_at < self.lines:
            found.append(
                f"the expected hash is that of line {self.expected_at}: later lines were added since"
            )
        return tuple(found)

    @property
    def ok(self) -> bool:
        """Whether there are no problems. It says nothing about a file written anew as a whole."""
        return not self.problems


def verify(path: str | os.PathLike[str], *, expect_last: str | None = None) -> Report:
    """Check a job and what lies beside it, without changing anything.

    `expect_last` is a last hash kept elsewhere: it must be that of a line of the job. JobError if the file
    cannot be read, is no job, or is of another format.
    """
    place = real_path(path)
    chain = scan(read_file(place), place)
    companion = Companion(place)
    companion.read()
    lines: list[Line] = []
    broken, intact = None, len(chain.rows)
    if chain.fault is not None and chain.fault.line is not None:
        broken, intact = Broken(chain.fault.line, chain.fault.message), (chain.doubted or 1) - 1
    for record in chain.rows:
        try:
            lines.append(read_line(record, companion.find, lines, place))
        except JobError as error:
            broken, intact = Broken(len(lines) + 1, error.message), min(intact, len(lines))
            break
    hashes = chain.hashes
    return Report(
        path=place,
        lines=len(chain.rows),
        intact=intact,
        broken=broken,
        torn=chain.torn,
        companion=_companion_state(companion, lines),
        clock_went_back=tuple(b.n for a, b in pairwise(lines) if b.entered < a.entered),
        clock_was_behind=tuple(line.n for line in lines if line.kind == "note" and "behind" in line.body),
        packs=_packs(PackStore(place), lines),
        kept=_kept(place.parent, lines),
        last_hash=hashes[-1] if hashes else None,
        expect_last=expect_last,
        expected_at=hashes.index(expect_last) + 1 if expect_last in hashes else None,
        moves=tuple(_moves(lines)),
    )


def _moves(lines: list[Line]) -> Iterator[str]:
    versions = [line for line in lines if line.kind in ("job", "move")]
    for before, line in pairwise(versions):
        was, now = _packs_in(before), _packs_in(line)
        ends = [
            f"{name} {_version(was.get(name))} before, {_version(now.get(name))} after"
            for name in sorted({*was, *now})
            if was.get(name) != now.get(name)
        ] or ["the same packs, other plugins"]
        by = f" by {line.by}" if line.by is not None else ""
        why = f", because: {line.body['why']}" if "why" in line.body else ""
        when = write_time(line.entered, line.offset)
        yield f"line {line.n} of {when} moves the job to other rules{by}: {'; '.join(ends)}{why}"


def _version(entry: Mapping[str, JSON] | None) -> str:
    return "none" if entry is None else f"{entry['version']}, text {str(entry['digest'])[:12]}"


def _packs_in(line: Line) -> dict[str, Mapping[str, JSON]]:
    packs = line.body.get("packs")
    assert isinstance(packs, Mapping)
    return {name: each for name, each in packs.items() if isinstance(each, Mapping)}


def _companion_state(companion: Companion, lines: list[Line]) -> CompanionState:
    if not any(line.personal for line in lines):
        state = "none needed"
    elif companion.altered or (companion.missing and (companion.unreadable or companion.unused)):
        state = "altered"
    else:
        state = "left out" if companion.missing else "whole"
    return CompanionState(
        state, tuple(companion.missing), tuple(companion.altered), companion.unreadable, companion.unused
    )


def _packs(store: PackStore, lines: list[Line]) -> dict[str, str]:
    found: dict[str, str] = {}
    for line in lines:
        packs = line.body.get("packs")
        if isinstance(packs, Mapping):
            for entry in packs.values():
                if isinstance(entry, Mapping):
                    name = str(entry["digest"])
                    found[name] = found.get(name) or store.state(name)
    return found


def _kept(folder: Path, lines: list[Line]) -> dict[str, str]:
    found = {}
    for line in lines:
        if line.kind == "repaired":
            name = str(line.body["kept"])
            try:
                whole = digest(read_file(folder / name)) == line.body["sha256"]
                found[name] = "present" if whole else "altered"
            except JobError as error:
                found[name] = "absent" if isinstance(error.__cause__, FileNotFoundError) else "altered"
    return found
