"""The journal of a job: an append-only file of lines, chained by hash, one writer at a time.

This part writes and reads lines, and says whether they are as they were written. What they mean together is
worked out elsewhere. Nothing here reads a clock: every time is given by the caller.

>>> import tempfile, pathlib
>>> with tempfile.TemporaryDirectory() as folder:
...     path = pathlib.Path(folder, "visit.job")
...     with Job.create(path, engine="stillair 0.1.0", title="Upper floor", packs={}, plugins={},
...                     by="A. Tech", now=1717250602.0, offset=-240) as job:
...         line = job.append("note", {"text": "coil cabinet shut"}, taken=1717250640.0,
...                           entered=1717250642.5, offset=-240, by="A. Tech")
...     line.n, verify(path).ok
(2, True)
"""

from typing import TYPE_CHECKING, Any

from .chain import Torn
from .error import JobError
from .file import Job
from .kind import FORMAT, KINDS, UNDO_WITHIN
from .line import JSON, Line
from .pack_store import PackStore, pack_digest

if TYPE_CHECKING:
    from .report import Broken, CompanionState, Report, verify

__all__ = [
    "FORMAT",
    "JSON",
    "KINDS",
    "UNDO_WITHIN",
    "Broken",
    "CompanionState",
    "Job",
    "JobError",
    "Line",
    "PackStore",
    "Report",
    "Torn",
    "pack_digest",
    "verify",
]


def __getattr__(name: str) -> Any:
    """The report only when it is wanted: a job is read and written without it."""
    if name in ("Broken", "CompanionState", "Report", "verify"):
        from . import report

        return getattr(report, name)
    raise AttributeError(name)
