"""One line of a job: its times, its content, and the one way it is written as bytes."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeAlias

__all__ = [
    "JSON",
    "Line",
    "canonical",
    "digest",
    "first_value_ends",
    "parse",
    "read_time",
    "to_milliseconds",
    "write_time",
]

JSON: TypeAlias = "bool | int | float | str | Sequence[JSON] | Mapping[str, JSON] | None"

_EPOCH = datetime(1970, 1, 1)
_MILLISECOND = timedelta(milliseconds=1)
_DAY = 24 * 60
_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?!\.000)(?:\.[0-9]{3})?"
    r"(?!-00:00)[+-](?:[01][0-9]|2[0-3]):[0-5][0-9]"
)


def _as_plain(value: object) -> object:
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} has no place in a line")


_ENCODER = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"), default=_as_plain
)


@dataclass(frozen=True, slots=True)
class Line:
    """One entry of a job.

    `n` is its number and its place in the file, from 1. `taken` and `entered` are seconds since 1970 UTC,
    exact to the millisecond; `offset` is the zone of both in minutes east of UTC. `by` is who said it,
    `writer` the program and version that wrote it.

    `personal` names what the chain holds only as a salted hash: keys of `body`, or `by`. `left_out` names
    those of them that the companion file does not vouch for: they are absent from `body` (or None in `by`).
    """

    n: int
    kind: str
    taken: float
    entered: float
    offset: int
    by: str | None
    body: Mapping[str, JSON]
    writer: str = ""
    personal: frozenset[str] = frozenset()
    left_out: frozenset[str] = frozenset()


_DECODER = json.JSONDecoder()


def canonical(value: JSON) -> bytes:
    """The value as JSON in UTF-8: keys sorted, no spaces, shortest numbers. ValueError if it cannot be."""
    return _ENCODER.encode(value).encode("utf-8")


def parse(data: bytes) -> JSON:
    """The value of canonical JSON; ValueError for anything else, however hostile.

    >>> parse(b'{"n":1}')
    {'n': 1}
    """
    try:
        text = data.decode("utf-8")
        value: JSON
        value, end = _DECODER.raw_decode(text)
    except RecursionError:
        raise ValueError("nested too deeply") from None
    if end != len(text):
        raise ValueError("more than one value")
    return value


def first_value_ends(data: bytes) -> int:
    """How many bytes the first JSON value takes, whatever follows it; 0 if there is none.

    >>> first_value_ends(b'{"n":1}{"n":2}')
    7
    """
    try:
        # One character for each byte, so that the place found is one in the bytes.
        return _DECODER.raw_decode(data.decode("latin-1"))[1]
    except (ValueError, RecursionError):
        return 0


def digest(data: bytes) -> str:
    """SHA-256 in lower-case hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def to_milliseconds(time: float) -> float:
    """The moment as a job file can hold it.

    >>> to_milliseconds(0.1234)
    0.123
    """
    return round(time * 1000) / 1000


def write_time(time: float, offset: int) -> str:
    """ISO 8601 with offset, in seconds or milliseconds; ValueError outside the years 1 to 9999.

    >>> write_time(1717250602.5, -240)
    '2024-06-01T10:03:22.500-04:00'
    """
    if not -_DAY < offset < _DAY:
        raise ValueError("an offset lies within a day")
    try:
        milliseconds = round(time * 1000)
        local = _EPOCH + timedelta(milliseconds=milliseconds, minutes=offset)
    except OverflowError:
        raise ValueError("a moment lies in the years 1 to 9999") from None
    hours, minutes = divmod(abs(offset), 60)
    text = local.isoformat(timespec="milliseconds" if milliseconds % 1000 else "seconds")
    return f"{text}{'-' if offset < 0 else '+'}{hours:02}:{minutes:02}"


def read_time(text: str) -> tuple[float, int]:
    """Seconds since 1970 UTC and the offset in minutes; ValueError unless written as `write_time` writes.

    >>> read_time('2024-06-01T10:03:22.500-04:00')
    (1717250602.5, -240)
    """
    if _TIME.fullmatch(text) is None:
        raise ValueError("a moment is written as YYYY-MM-DDThh:mm:ss, milliseconds if any, and the offset")
    offset = int(text[-5:-3]) * 60 + int(text[-2:])
    if text[-6] == "-":
        offset = -offset
    return ((datetime.fromisoformat(text[:-6]) - _EPOCH) // _MILLISECOND - offset * 60_000) / 1000, offset
