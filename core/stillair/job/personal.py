"""The companion file: what is personal, apart from the job, so that a copy can leave it out.

The line of the job holds only the SHA-256 of a random salt and the value; `<job>.personal.jsonl` holds both.
Without the salt nobody can find the value by guessing; with it nobody can put another value in its place.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from .disk import AppendFile, flush_folder, read_file
from .line import JSON, canonical, digest, parse

__all__ = ["Companion", "Entry", "companion_path", "hash_in", "hidden"]

_SALT = 16
"""Bytes of salt: 128 bits, more than can be searched (NIST SP 800-132, section 5.1, asks for no fewer)."""


class Entry(NamedTuple):
    """One line of the companion file: a personal value of line `n`, with its salt."""

    n: int
    field: str
    salt: str
    value: JSON

    @property
    def sha256(self) -> str:
        """The hash that stands in the job."""
        return digest(canonical([self.salt, self.value]))

    @classmethod
    def make(cls, n: int, field: str, value: JSON) -> Entry:
        """An entry with a fresh salt."""
        return cls(n, field, os.urandom(_SALT).hex(), value)

    def encode(self) -> bytes:
        """The line as written, with its end."""
        return canonical({"field": self.field, "n": self.n, "salt": self.salt, "value": self.value}) + b"\n"


def companion_path(job: Path) -> Path:
    """Where the personal values of a job are."""
    return job.with_name(job.name + ".personal.jsonl")


def hidden(entry: Entry) -> JSON:
    """What a line of the job holds in place of a personal value."""
    return {"personal": {"sha256": entry.sha256}}


def hash_in(value: JSON) -> str | None:
    """The hash of a personal value, if that is what stands here."""
    if isinstance(value, dict) and value.keys() == {"personal"}:
        inner = value["personal"]
        if isinstance(inner, dict) and inner.keys() == {"sha256"} and isinstance(inner["sha256"], str):
            return inner["sha256"]
    return None


class Companion:
    """The personal values beside a job. What is missing or altered in it is counted, and stops nothing.

    `missing` and `altered` list line number and field; `unreadable` counts lines that are no entry.
    """

    def __init__(self, job: Path) -> None:
        self.path = companion_path(job)
        self.exists = False
        self.unreadable = 0
        self.missing: list[tuple[int, str]] = []
        self.altered: list[tuple[int, str]] = []
        self._entries: dict[tuple[int, str], list[Entry]] = {}
        self._found = 0
        self._count = 0
        self._file: AppendFile | None = None
        self._ends_whole = True

    def read(self) -> None:
        """Read what the file holds, if it exists."""
        self.exists = os.path.lexists(self.path)
        data = read_file(self.path) if self.exists else b""
        self._ends_whole = data == b"" or data.endswith(b"\n")
        for row in data.split(b"\n"):
            if row:
                entry = _read(row)
                if entry is None:
                    self.unreadable += 1
                else:
                    self._count += 1
                    self._entries.setdefault((entry.n, entry.field), []).append(entry)

    @property
    def unused(self) -> int:
        """Entries that no line of the job names: a line that was never finished, or an alteration."""
        return self._count - self._found

    def find(self, n: int, field: str, sha256: str) -> Entry | None:
        """The entry a line names, or None, which is then counted as missing or as altered."""
        there = self._entries.get((n, field), ())
        for entry in there:
            if entry.sha256 == sha256:
                self._found += 1
                return entry
        (self.altered if there else self.missing).append((n, field))
        return None

    def append(self, entries: list[Entry]) -> None:
        """Put entries on the disk. A piece left by an interruption is closed off, never removed."""
        if self._file is None:
            new = not os.path.lexists(self.path)
            self._file = AppendFile(self.path, new=new)
            if new:
                flush_folder(self.path.parent)
        data = b"".join(entry.encode() for entry in entries)
        self._file.append(data if self._ends_whole else b"\n" + data)
        self._ends_whole = True

    def close(self) -> None:
        """Close the file, if it was written."""
        if self._file is not None:
            self._file.close()
            self._file = None


def _read(row: bytes) -> Entry | None:
    try:
        told = parse(row)
    except ValueError:
        return None
    if not isinstance(told, Mapping) or told.keys() != {"n", "field", "salt", "value"}:
        return None
    n, field, salt = told["n"], told["field"], told["salt"]
    if not isinstance(n, int) or not isinstance(field, str) or not isinstance(salt, str):
        return None
    entry = Entry(n, field, salt, told["value"])
    try:
        return entry if entry.encode() == row + b"\n" else None
    except (ValueError, RecursionError):
        return None
