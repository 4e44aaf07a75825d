"""What is installed here, read from the metadata folders on the path, and the digest of files.

The standard `importlib.metadata` answers the same, but brings a mail parser, archives and sockets with it,
and so would take a tenth of the time a session needs to start. It is asked where something else than plain
folders is on the path.
"""

from __future__ import annotations

import hashlib
import os
import re
import sys
from collections.abc import Collection, Iterable, Iterator
from importlib.machinery import PathFinder
from typing import NamedTuple

__all__ = ["EntryPoint", "digest_of_files", "entry_points", "files_in", "version_of"]


class EntryPoint(NamedTuple):
    """What a distribution names in a group, the module it means, and the version of the distribution."""

    name: str
    module: str
    version: str


def entry_points(group: str) -> list[EntryPoint]:
    """All entry points of a group, in the order of the path; of two distributions of one name the first."""
    if not _is_plain():
        from importlib import metadata

        return [
            EntryPoint(each.name, each.module, each.dist.version if each.dist else "0")
            for each in metadata.entry_points(group=group)
        ]
    found = []
    for name, folder in _distributions():
        text = _read(folder, "entry_points.txt")
        if text is not None and group in text:
            given = list(_section(text, group))
            version = _version_in(folder) or "0" if given else ""
            found += [EntryPoint(name, module, version) for name, module in given]
    return found


def version_of(distribution: str) -> str:
    """The version of an installed distribution; ModuleNotFoundError if it is not installed."""
    if _is_plain():
        wanted = _normal(distribution)
        for name, folder in _distributions():
            if name == wanted and (version := _version_in(folder)):
                return version
    from importlib import metadata

    return metadata.version(distribution)


def files_in(folder: str, suffixes: tuple[str, ...], without: Collection[str] = ()) -> list[str]:
    """The files under a folder that end so, as `sub/name.py`, sorted; folders named in `without` left out."""
    names = []
    for found, folders, files in os.walk(folder):
        folders[:] = [each for each in folders if each not in without]
        within = found[len(folder) :].replace(os.sep, "/").strip("/")
        names += [f"{within}/{name}".lstrip("/") for name in files if name.endswith(suffixes)]
    return sorted(names, key=lambda name: name.split("/"))


def digest_of_files(folder: str, names: Iterable[str]) -> str:
    """SHA-256 over the names and contents of files in a folder."""
    digest = hashlib.sha256()
    for name in names:
        with open(os.path.join(folder, name), "rb") as stream:
            contents = stream.read()
        for part in (name.encode(), contents):
            digest.update(len(part).to_bytes(8, "big"))
            digest.update(part)
    return digest.hexdigest()


def _is_plain() -> bool:
    """Whether distributions lie in plain folders only: no archives, no eggs, no finders of another kind."""
    if any(each is not PathFinder and hasattr(each, "find_distributions") for each in sys.meta_path):
        return False
    return not any(os.path.isfile(path) or path.endswith(".egg") for path in sys.path)


def _distributions() -> Iterator[tuple[str, str]]:
    """Name and metadata folder of each distribution, each name once: the first on the path counts."""
    seen = set()
    for path in sys.path:
        try:
            children = os.listdir(path or ".")
        except OSError:
            continue
        for child in children:
            if child.lower().endswith((".dist-info", ".egg-info")):
                name = _normal(child.rpartition(".")[0].partition("-")[0])
                if name not in seen:
                    seen.add(name)
                    yield name, os.path.join(path, child)


def _normal(name: str) -> str:
    return re.sub(r"[-_.]+", "_", name).lower()


def _read(folder: str, name: str) -> str | None:
    try:
        with open(os.path.join(folder, name), encoding="utf-8") as stream:
            return stream.read()
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError, PermissionError):
        return None


def _version_in(folder: str) -> str | None:
    text = _read(folder, "METADATA") or _read(folder, "PKG-INFO") or ""
    for line in text.split("\n"):
        if not line.strip():
            return None
        key, _, value = line.partition(":")
        if key.lower() == "version":
            return value.strip()
    return None


def _section(text: str, group: str) -> Iterator[tuple[str, str]]:
    """Name and module of each entry point of a group."""
    inside = False
    for line in map(str.strip, text.split("\n")):
        if line.startswith("[") and line.endswith("]"):
            inside = line[1:-1] == group
        elif inside and line and not line.startswith("#"):
            name, _, value = line.partition("=")
            yield name.strip(), value.partition(":")[0].partition("[")[0].strip()
