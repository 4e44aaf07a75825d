"""The rows of a job file: each holds the hash of the row before it, and only the last can be torn."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple, TypeAlias

from .error import JobError, quoted
from .kind import FORMAT, KINDS, check_body, check_correction, may_be_personal
from .line import JSON, Line, canonical, digest, first_value_ends, parse, read_time
from .personal import Entry, hash_in

__all__ = ["Chain", "Find", "Torn", "read_line", "scan"]

_KEYS = frozenset({"n", "kind", "taken", "entered", "by", "body", "prev", "writer"})


Find: TypeAlias = Callable[[int, str, str], Entry | None]
"""The entry of the companion file for a line number, a field and the hash in the line."""


class Torn(NamedTuple):
    """What an interruption left of line `n`: bytes that are no line."""

    n: int
    data: bytes

    @property
    def sha256(self) -> str:
        """The hash a line of kind `repaired` gives for them."""
        return digest(self.data)


class Chain:
    """A job file taken apart.

    `rows` are the records whose chain holds, `hashes` the hash of each row with its line end, `end` the
    size of all whole rows. `unended` says that the last row is whole but for its line end. `fault` is what
    breaks the chain, `doubted` the first line that the rows after it do not vouch for.
    """

    def __init__(self) -> None:
        self.rows: list[Mapping[str, JSON]] = []
        self.hashes: list[str] = []
        self.end = 0
        self.unended = False
        self.torn: Torn | None = None
        self.fault: JobError | None = None
        self.doubted: int | None = None


def scan(data: bytes, path: Path) -> Chain:
    """Take the bytes of a job file apart. JobError if it is no job, or one of another format."""
    chain = _scan(data, path)
    if not chain.rows and chain.fault is None:
        raise JobError(
            "has no whole first line: its creation was interrupted, or it is no job",
            help="move the file away and start the job again",
            path=path,
        )
    return chain


def _scan(data: bytes, path: Path) -> Chain:
    chain = Chain()
    rows = data.split(b"\n")
    tail = rows.pop()
    if tail:
        rows.append(tail)
    for n, row in enumerate(rows, 1):
        last = n == len(rows)
        ended = not (last and tail)
        record, wrong = _read_row(row, n)
        if n == 1 and record is not None:
            _check_format(record, rows, path)
        if last and record is None and _runs_on(row):
            wrong = "its line end was changed or removed"
        elif last and (record is None or (wrong and not ended)):
            chain.torn = Torn(n, data[chain.end :])
            return chain
        before = chain.hashes[-1] if chain.hashes else None
        if wrong is None and record is not None and record["prev"] != before:
            wrong = (
                "it names a line before it, though it is the first: lines were removed"
                if before is None
                else f"it does not follow line {n - 1}: one of the two was altered after it was written"
            )
            chain.doubted = max(n - 1, 1)
        if wrong is not None or record is None:
            chain.fault = JobError(
                f"the chain is broken: {wrong}",
                help="put back a copy made before the damage; `verify` says how far the chain is whole",
                path=path,
                line=n,
            )
            chain.doubted = chain.doubted or n
            return chain
        chain.rows.append(record)
        chain.hashes.append(digest(row + b"\n"))
        chain.end += len(row) + ended
        chain.unended = not ended
    return chain


def read_line(record: Mapping[str, JSON], find: Find, before: Sequence[Line], path: Path) -> Line:
    """The line a record of the chain stands for, with its personal values as far as `find` has them.

    JobError if its kind, its times or its content are not those of the format.
    """
    try:
        return _read_line(record, find, before)
    except JobError as error:
        raise JobError(error.message, help=error.help, path=path, line=len(before) + 1) from error


def _read_line(record: Mapping[str, JSON], find: Find, before: Sequence[Line]) -> Line:
    n = len(before) + 1
    kind, by, content = record["kind"], record["by"], record["body"]
    writer, taken_text, entered_text = record["writer"], record["taken"], record["entered"]
    if not isinstance(writer, str) or not writer:
        raise JobError("it does not say which program wrote it")
    if not isinstance(kind, str) or kind not in KINDS:
        raise JobError(
            f"lines of kind {quoted(kind)} are not part of format {FORMAT}; {quoted(writer)} wrote this one",
            help="open the job with that version or a later one",
        )
    if (kind == "job") != (n == 1):
        raise JobError("a line of kind `job` opens the file, and stands nowhere else")
    if not isinstance(content, dict):
        raise JobError("its body is not a set of fields")
    try:
        if not isinstance(taken_text, str) or not isinstance(entered_text, str):
            raise ValueError
        taken, offset = read_time(taken_text)
        entered, same_offset = (taken, offset) if entered_text == taken_text else read_time(entered_text)
    except ValueError:
        raise JobError("its times are not written as a job writes them") from None
    if offset != same_offset:
        raise JobError("its two times are not in the same zone")
    if taken > entered:
        raise JobError(
            f"taken at {taken_text}, after it was entered at {entered_text}",
            help="check the time given, and the clock of the device",
        )
    body = dict(content)
    hashes = {key: sha256 for key, value in content.items() if (sha256 := hash_in(value)) is not None}
    if (sha256 := hash_in(by)) is not None:
        hashes["by"] = sha256
        by = None
    left_out = set()
    for key, sha256 in hashes.items():
        if not may_be_personal(kind, key):
            raise JobError(f"{quoted(key)} of a line of kind `{kind}` cannot be personal")
        body.pop(key, None)
        entry = find(n, key, sha256)
        if entry is None:
            left_out.add(key)
        elif key == "by":
            by = entry.value
        else:
            body[key] = entry.value
    if by is not None and not (isinstance(by, str) and by.strip()):
        raise JobError("`by` does not hold a name", help="give a name, or leave it out")
    check_body(kind, body, frozenset(left_out))
    line = Line(n, kind, taken, entered, offset, by, body, writer, frozenset(hashes), frozenset(left_out))
    if kind == "correct":
        check_correction(line, before)
    return line


def _read_row(row: bytes, n: int) -> tuple[Mapping[str, JSON] | None, str | None]:
    """The record and None; or the record, if the row is at least JSON, and what is wrong with it."""
    try:
        record = parse(row)
    except ValueError:
        if row.endswith(b"\r"):
            return None, "its line end was changed, as some editors and transfers do"
        return None, "it is not JSON in UTF-8"
    try:
        same = canonical(record) == row
    except (ValueError, RecursionError):
        same = False
    if not isinstance(record, dict) or record.keys() != _KEYS:
        return (record if isinstance(record, dict) else {}), "it is not a line of a job"
    if not same:
        if row.endswith(b"\r"):
            return record, "its line end was changed, as some editors and transfers do"
        return record, "it is not written as a job writes it"
    number = record["n"]
    if isinstance(number, bool) or number != n:
        return record, f"it is numbered {quoted(number)}: a line was added, removed or altered"
    return record, None


def _runs_on(row: bytes) -> bool:
    """Whether the row is a whole line with the next behind it: damage, for no interruption leaves that."""
    end = first_value_ends(row)
    return digest(row[:end] + b"\n").encode() in row[end:]


def _check_format(record: Mapping[str, JSON], rows: Sequence[bytes], path: Path) -> None:
    body = record.get("body")
    written = body.get("format") if isinstance(body, Mapping) else None
    if written == FORMAT:
        return
    if len(rows) > 1:
        # If the second row vouches for the first, it was written so; if not, the scan says it was altered.
        second, _ = _read_row(rows[1], 2)
        if second is None or second.get("prev") != digest(rows[0] + b"\n"):
            return
    if not isinstance(written, str) or not written.startswith("stillair.job/"):
        raise JobError("is not a job", help="name the file of a job", path=path)
    raise JobError(
        f"is written in format {quoted(written)}; this program reads {FORMAT}",
        help=f"open it with the version that wrote it ({quoted(record.get('writer'))}) or a later one",
        path=path,
        line=1,
    )
