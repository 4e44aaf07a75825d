"""The texts of the packs a job used, beside it, so that it can be assessed years later."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from .disk import flush_folder, read_file, real_path, refusal, write_new
from .error import JobError, quoted
from .kind import KINDS
from .line import canonical, digest, parse

__all__ = ["PackStore", "pack_digest"]

_is_sha256 = KINDS["repaired"]["sha256"].content.is_right


def pack_digest(files: Mapping[str, bytes]) -> str:
    """The digest of a pack: SHA-256 of the canonical JSON list of its files with their SHA-256.

    `files` maps each path within the pack, written with `/`, to its bytes.

    >>> pack_digest({"pack.yaml": b"pack: demo"}) == pack_digest({"pack.yaml": b"pack: Demo"})
    False
    """
    return digest(_listing(files))


class PackStore:
    """The folder `<job>.packs` beside a job: texts by their SHA-256, written once, checked whenever read."""

    def __init__(self, job: Path) -> None:
        job = real_path(job)
        self.folder = job.with_name(job.name + ".packs")

    @contextmanager
    def begun(self) -> Iterator[PackStore]:
        """For the packs of a new job: where it does not come to be, what was put here meanwhile goes too."""
        was_there = self.folder.exists()
        before = set(self.folder.iterdir()) if was_there else set()
        try:
            yield self
        except BaseException:
            with suppress(OSError):
                for path in set(self.folder.iterdir()) - before:
                    path.unlink()
                if not was_there:
                    self.folder.rmdir()
            raise

    def keep(self, files: Mapping[str, bytes]) -> str:
        """Keep every file of a pack and return the digest that names it in the job; JobError if it cannot."""
        for name in files:
            _check_name(name)
        for text in files.values():
            self._put(text)
        return self._put(_listing(files))

    def read(self, pack: str) -> dict[str, bytes]:
        """The files of a pack by its digest; JobError if one is missing or was altered."""
        try:
            listing = parse(self._get(pack))
        except ValueError:
            listing = None
        if not isinstance(listing, Mapping) or listing.keys() != {"files"}:
            raise JobError(
                "is not the list of a pack", help="give the digest of a pack", path=self.folder / pack
            )
        files = listing["files"]
        if not isinstance(files, Mapping) or not all(isinstance(d, str) for d in files.values()):
            raise JobError(
                "is not the list of a pack", help="give the digest of a pack", path=self.folder / pack
            )
        for name in files:
            _check_name(name)
        return {name: self._get(str(text)) for name, text in files.items()}

    def state(self, pack: str) -> str:
        """`present`, `absent` or `altered`: whether a pack can be read back whole."""
        try:
            self.read(pack)
        except JobError as error:
            return "absent" if isinstance(error.__cause__, FileNotFoundError) else "altered"
        return "present"

    def _put(self, text: bytes) -> str:
        name = digest(text)
        if (self.folder / name).exists():
            self._get(name)
            return name
        try:
            if not self.folder.is_dir():
                self.folder.mkdir()
                flush_folder(self.folder.parent)
        except FileExistsError:
            pass
        except OSError as error:
            raise refusal(self.folder, error, "written") from error
        write_new(self.folder / name, text)
        return name

    def _get(self, name: str) -> bytes:
        if not _is_sha256(name):
            raise JobError(f"{quoted(name)} is not a digest", help="give a SHA-256 in lower-case hexadecimal")
        text = read_file(self.folder / name)
        if digest(text) != name:
            raise JobError(
                "this text of a pack was altered after it was kept",
                help="put the pack of that version back from where it came",
                path=self.folder / name,
            )
        return text


def _listing(files: Mapping[str, bytes]) -> bytes:
    return canonical({"files": {name: digest(text) for name, text in files.items()}})


def _check_name(name: str) -> None:
    parts = name.split("/")
    if "\\" in name or ":" in name or "\0" in name or any(part in ("", ".", "..") for part in parts):
        raise JobError(
            f"{quoted(name)} does not name a file within a pack",
            help="write the path from the folder of the pack, with `/`",
        )
