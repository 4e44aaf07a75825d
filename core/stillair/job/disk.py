"""Bytes that are on the disk when the call returns."""

from __future__ import annotations

import errno
import os
import stat
import sys
from contextlib import suppress
from pathlib import Path

from .error import JobError

if sys.platform == "darwin":
    import fcntl

__all__ = ["AppendFile", "flush_folder", "read_file", "real_path", "refusal", "write_new"]

_BINARY = getattr(os, "O_BINARY", 0)


class AppendFile:
    """A file that only grows, by whole pieces: `append` leaves all of a piece, on the disk, or none of it."""

    def __init__(self, path: Path, *, new: bool = False) -> None:
        """Open the file; with `new` it must not exist. JobError says what stands in the way."""
        flags = os.O_RDWR | os.O_APPEND | _BINARY
        try:
            self._file = os.open(path, flags | os.O_CREAT | os.O_EXCL if new else flags, 0o666)
        except OSError as error:
            raise refusal(path, error, "written") from error
        self.path = path
        self._size = os.fstat(self._file).st_size
        self._sound = True

    def append(self, data: bytes) -> None:
        """Write at the end and flush; after a JobError the file is as before, or takes no more."""
        if not self._sound:
            raise JobError(
                "an earlier line could not be written, so it is not certain what the disk holds",
                help="close the job and open it again: what was not finished is then set aside",
                path=self.path,
            )
        self._check_untouched()
        self._sound = False
        try:
            rest = memoryview(data)
            while rest:
                rest = rest[os.write(self._file, rest) :]
            _flush(self._file)
        except OSError as error:
            with suppress(OSError):
                os.ftruncate(self._file, self._size)
                _flush(self._file)
                self._sound = True
            raise refusal(self.path, error, "written") from error
        self._size += len(data)
        self._sound = True

    def cut(self, size: int) -> None:
        """Drop everything after the first `size` bytes."""
        try:
            os.ftruncate(self._file, size)
            _flush(self._file)
        except OSError as error:
            raise refusal(self.path, error, "written") from error
        self._size = size

    def close(self) -> None:
        """Close the file; nothing is pending."""
        os.close(self._file)

    def _check_untouched(self) -> None:
        # A file replaced or removed under an open handle would swallow every further line without a word.
        mine = os.fstat(self._file)
        try:
            named = os.stat(self.path)
        except FileNotFoundError:
            named = None
        if named is None or not os.path.samestat(mine, named):
            raise JobError(
                "was removed or replaced while it was open",
                help="put the file back, then open it again; this line was not recorded",
                path=self.path,
            )
        if mine.st_size != self._size:
            raise JobError(
                "was changed by another program while it was open",
                help="close the job and open it again; this line was not recorded",
                path=self.path,
            )


def real_path(path: str | os.PathLike[str]) -> Path:
    """The path through all links, so that two names of one file meet the same lock."""
    try:
        return Path(os.path.realpath(path))
    except (OSError, ValueError) as error:
        raise JobError(f"is not a path: {error}", help="check the name", path=Path(path)) from error


def read_file(path: Path) -> bytes:
    """All bytes of an ordinary file, or JobError."""
    try:
        mode = os.stat(path).st_mode
        if stat.S_ISDIR(mode):
            raise JobError("is a folder, not a file", help="name the file itself", path=path)
        if not stat.S_ISREG(mode):
            raise JobError("is not an ordinary file", help="name a file on a disk", path=path)
        return path.read_bytes()
    except (OSError, ValueError) as error:
        raise refusal(path, error, "read") from error


def write_new(path: Path, data: bytes) -> None:
    """Write a whole file so that it is there with all its bytes or not at all.

    An older one is replaced, and those who might read and write it still may.
    """
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.unfinished")
    mode = _mode(path)
    try:
        file = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | _BINARY, mode or 0o666)
        try:
            if mode is not None and sys.platform != "win32":
                os.fchmod(file, mode)
            rest = memoryview(data)
            while rest:
                rest = rest[os.write(file, rest) :]
            _flush(file)
        finally:
            os.close(file)
        os.replace(unfinished, path)
        flush_folder(path.parent)
    except OSError as error:
        with suppress(OSError):
            unfinished.unlink()
        raise refusal(path, error, "written") from error


def _mode(path: Path) -> int | None:
    """Who may do what with a file; None where there is none."""
    try:
        return os.stat(path).st_mode & 0o777
    except OSError:
        return None


def flush_folder(folder: Path) -> None:
    """Make the names in a folder lasting. Windows has no such call and writes them through by itself."""
    if sys.platform != "win32":
        try:
            file = os.open(folder, os.O_RDONLY)
            try:
                os.fsync(file)
            finally:
                os.close(file)
        except OSError as error:
            # Some network and removable file systems do not know this request.
            if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF):
                raise refusal(folder, error, "written") from error


def refusal(path: Path, error: OSError | ValueError, done: str) -> JobError:
    """The error of the operating system in words, with the way out; `done` is `read` or `written`."""
    number = error.errno if isinstance(error, OSError) else errno.EINVAL
    if isinstance(error, FileNotFoundError):
        if not os.path.isdir(path.parent):
            return JobError("its folder does not exist", help=f"create {path.parent} first", path=path)
        return JobError("does not exist", help="check the name, or start a new job", path=path)
    if isinstance(error, NotADirectoryError):
        return JobError("lies in something that is not a folder", help="check the path", path=path)
    if isinstance(error, FileExistsError):
        return JobError("exists already", help="continue it, or choose another name", path=path)
    if os.path.isdir(path) and isinstance(error, IsADirectoryError | PermissionError):
        return JobError("is a folder, not a file", help="name the file itself", path=path)
    if isinstance(error, PermissionError) or number == errno.EROFS:
        return JobError(
            f"may not be {done} by this user",
            help="ask for the permission, or work in another folder",
            path=path,
        )
    if number in (errno.ENOSPC, errno.EDQUOT):
        return JobError(
            "the disk is full: nothing was recorded", help="free some space, then enter it again", path=path
        )
    words = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return JobError(f"cannot be {done}: {words}", help="check the disk and the name", path=path)


def _flush(file: int) -> None:
    if sys.platform == "darwin":
        # Here fsync stops at the cache of the drive (fsync(2) of that system); this request does not.
        try:
            fcntl.fcntl(file, fcntl.F_FULLFSYNC)
            return
        except OSError:
            pass
    os.fsync(file)
