"""The files of a folder, and a digest of them."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Collection, Iterable

__all__ = ["digest_of_files", "files_in"]


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
