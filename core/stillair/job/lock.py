"""One writer at a time. The system frees the lock when its holder ends, however it ends."""

from __future__ import annotations

import errno
import json
import os
import sys
from contextlib import suppress
from pathlib import Path

from .disk import refusal
from .error import JobError, quoted

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

__all__ = ["Lock"]

_LOCKED_BYTE = 1 << 30
"""Where Windows locks: a locked byte cannot be read there, so it lies far behind the text."""

_BUSY = (errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK)


class Lock:
    """The right to write a job, held from construction until `release`.

    A file `<job>.lock` beside the job names the holder; what counts is the lock on it, not that it exists.
    """

    def __init__(self, job: Path) -> None:
        """Take the lock, or JobError naming the holder."""
        self.path = job.with_name(job.name + ".lock")
        while True:
            try:
                self._file = os.open(self.path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
            except OSError as error:
                named = job if isinstance(error, FileNotFoundError) else self.path
                raise refusal(named, error, "written") from error
            try:
                _take(self._file)
                if self._is_current():
                    break
            except OSError as error:
                holder = _holder(self._file)
                os.close(self._file)
                if error.errno in _BUSY:
                    raise JobError(
                        f"is being written by {holder}",
                        help="finish there first, or end that process: the lock then frees itself; "
                        "reading is possible meanwhile",
                        path=job,
                    ) from error
                raise JobError(
                    f"its folder cannot lock files: {error.strerror}",
                    help="work on a disk of this machine, then copy the job",
                    path=job,
                ) from error
            os.close(self._file)
        # Only told to others; a full disk must not leave the lock taken and nobody holding it.
        with suppress(OSError):
            os.ftruncate(self._file, 0)
            os.write(self._file, json.dumps({"pid": os.getpid(), "host": _host()}).encode("utf-8"))

    def release(self) -> None:
        """Let the next writer in and remove the lock file."""
        if sys.platform == "win32":
            # An open file cannot be removed there; if the next writer has opened it meanwhile, it stays.
            os.close(self._file)
            with suppress(OSError):
                self.path.unlink()
        else:
            with suppress(OSError):
                self.path.unlink()
            os.close(self._file)

    def _is_current(self) -> bool:
        # The last holder may have removed the file between our opening and locking it.
        try:
            return os.path.samestat(os.fstat(self._file), os.stat(self.path))
        except FileNotFoundError:
            return False


def _take(file: int) -> None:
    if sys.platform == "win32":
        os.lseek(file, _LOCKED_BYTE, os.SEEK_SET)
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        os.lseek(file, 0, os.SEEK_SET)
    else:
        # Not lockf: its locks belong to the process, which could then open the same job twice.
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _holder(file: int) -> str:
    try:
        os.lseek(file, 0, os.SEEK_SET)
        told = json.loads(os.read(file, 4096))
        return f"process {int(told['pid'])} on {quoted(told['host'])}"
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return "another process"


def _host() -> str:
    if sys.platform == "win32":
        import platform

        return platform.node()
    return os.uname().nodename
