"""What the job file says when something cannot be written or read."""

from __future__ import annotations

from pathlib import Path

__all__ = ["JobError", "quoted"]


class JobError(Exception):
    """A job, or one line of it, cannot be written or read.

    `message` stands alone in lower case, `help` is the way out, `path` the file meant, `line` the number
    of the line in it (from 1). Each of the last three may be None.
    """

    def __init__(
        self, message: str, *, help: str | None = None, path: Path | None = None, line: int | None = None
    ) -> None:
        super().__init__(message)
        self.message = message
        self.help = help
        self.path = path
        self.line = line

    def __str__(self) -> str:
        where = "" if self.path is None else f"{self.path}: "
        if self.line is not None:
            where = f"line {self.line}: " if self.path is None else f"{self.path}:{self.line}: "
        return where + self.message


def quoted(text: object) -> str:
    """What a person or a file wrote, in back quotes, short and unable to steer a terminal."""
    from ..fault import printable

    shown = str(text)
    return f"`{printable(shown if len(shown) <= 60 else shown[:59] + '…')}`"
