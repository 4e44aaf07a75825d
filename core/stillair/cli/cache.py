"""Compiled programs, kept in the user's private folder so that a checklist starts at once.

What is kept is Python code and data, so it is loaded only from a folder and a file that belong to this
user and that nobody else may write. Anything else means: compile again.
"""

from __future__ import annotations

import hashlib
import marshal
import os
import pickle
import stat
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from stillair.digest import digest_of_files, files_in
from stillair.job import pack_digest
from stillair.version import engine_version

if TYPE_CHECKING:
    from stillair.assess import Program
    from stillair.hooks import Plugins

__all__ = ["Texts", "cache_folder", "key_of", "load_program"]

Texts = Mapping[str, str]
"""The files of one pack by name."""

_KEPT = 24
"""Programs kept; older ones are removed (judgement: some packs in some versions)."""
_UNCHANGING = ("authoring", "cli", "job", "trail")
"""Parts of the engine whose source has no effect on a compiled program."""
_DIGEST = 32


def load_program(packs: Sequence[Texts], plugins: Plugins) -> Program:
    """The program of these packs, from the cache if it is there and can be trusted.

    StillairError with every fault of the packs.
    """
    key = key_of(packs, plugins)
    folder = cache_folder()
    program = None if folder is None else _read(folder, key)
    if program is not None:
        return program.bind(plugins.calculators, plugins.catalogues)
    from stillair.assess.compiler import compile_packs
    from stillair.pack import read_texts

    read = [read_texts(texts, plugins=plugins.versions(), label="pack") for texts in packs]
    program = compile_packs(read, plugins.calculators, plugins.catalogues)
    if folder is not None:
        _write(folder, key, program)
    return program


def key_of(packs: Sequence[Texts], plugins: Plugins) -> str:
    """What a compiled program depends on, as one SHA-256: packs, plugins, engine, interpreter."""
    digest = hashlib.sha256()
    parts = [pack_digest({name: text.encode() for name, text in texts.items()}) for texts in packs]
    parts += [f"{p.name} {p.version} {p.digest}" for p in plugins.plugins]
    parts += [engine_version(), _engine_digest(), sys.version, sys.byteorder]
    for part in parts:
        data = part.encode()
        digest.update(len(data).to_bytes(8, "big"))
        digest.update(data)
    return digest.hexdigest()


@cache
def _engine_digest() -> str:
    """SHA-256 over the sources of the engine that compile and judge."""
    import stillair

    root = os.path.dirname(stillair.__file__)
    return digest_of_files(root, files_in(root, (".py",), _UNCHANGING))


def cache_folder() -> Path | None:
    """The private folder of this user; None where there is no place that is theirs alone."""
    home = os.path.expanduser("~")
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or os.path.join(home, "AppData", "Local")
    elif sys.platform == "darwin":
        base = os.path.join(home, "Library", "Caches")
    else:
        base = os.environ.get("XDG_CACHE_HOME") or ""
        if not os.path.isabs(base):
            base = os.path.join(home, ".cache")
    if not os.path.isabs(base):
        return None
    folder = Path(base, "stillair")
    try:
        os.makedirs(base, mode=0o700, exist_ok=True)
        with suppress(FileExistsError):
            os.mkdir(folder, 0o700)
        found = os.lstat(folder)
    except OSError:
        return None
    return folder if stat.S_ISDIR(found.st_mode) and _is_mine(found) else None


def _is_mine(found: os.stat_result) -> bool:
    """Whether it belongs to this user and nobody else may write it."""
    if sys.platform == "win32":
        # The profile folder is private by its access list, which the mode bits do not show.
        return True
    return found.st_uid == os.geteuid() and not found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def _read(folder: Path, key: str) -> Program | None:
    """The kept program, or None if there is none, or none that can be trusted."""
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    try:
        file = os.open(folder / key, flags)
    except OSError:
        return None
    with open(file, "rb") as stream:
        found = os.fstat(file)
        if not stat.S_ISREG(found.st_mode) or not _is_mine(found):
            return None
        data = stream.read()
    # Checked first: `marshal` may crash on bytes that a failing disk has changed.
    if hashlib.sha256(data[_DIGEST:]).digest() != data[:_DIGEST]:
        return None
    from stillair.assess.program import Program

    try:
        program = pickle.loads(memoryview(data)[_DIGEST:])
        # A missing judge would only show when its condition is first judged.
        marshal.loads(program.code)
    except Exception:
        return None
    return program if isinstance(program, Program) else None


def _write(folder: Path, key: str, program: Program) -> None:
    """Keep a program; one that cannot be kept is compiled again next time."""
    # Without what `bind` puts there again.
    bare = replace(program, judges=[], batch=None, calculators={}, catalogues={})
    try:
        data = pickle.dumps(bare, protocol=5)
    except Exception:
        return
    unfinished = folder / f".{key}.{os.getpid()}.unfinished"
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    with suppress(OSError):
        file = os.open(unfinished, flags, 0o600)
        with open(file, "wb") as stream:
            stream.write(hashlib.sha256(data).digest())
            stream.write(data)
        os.replace(unfinished, folder / key)
        _tidy(folder)
    with suppress(OSError):
        unfinished.unlink(missing_ok=True)


def _tidy(folder: Path) -> None:
    kept = [entry for entry in os.scandir(folder) if entry.is_file(follow_symlinks=False)]
    kept.sort(key=lambda entry: entry.stat(follow_symlinks=False).st_mtime, reverse=True)
    for entry in kept[_KEPT:]:
        os.unlink(entry.path)
