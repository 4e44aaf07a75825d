"""Versions and version ranges: `1.2.0`, `>=0.1,<1`."""

from __future__ import annotations

import operator
import re
from collections.abc import Callable
from functools import cache
from importlib import metadata

__all__ = ["VersionError", "engine_version", "read_range", "read_version", "satisfies"]

_VERSION = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,9}){0,5}")
_PART = re.compile(r"(>=|<=|==|!=|>|<)\s*(\S+)")
_MEANS: dict[str, Callable[[tuple[int, ...], tuple[int, ...]], bool]] = {
    ">=": operator.ge,
    "<=": operator.le,
    "==": operator.eq,
    "!=": operator.ne,
    ">": operator.gt,
    "<": operator.lt,
}


class VersionError(ValueError):
    """A version or a range that is not written as versions are."""


def read_version(text: str) -> tuple[int, ...]:
    """The numbers of a version; trailing noughts do not count, so 1.0 and 1 are the same.

    >>> read_version("1.20.0")
    (1, 20)
    """
    if not _VERSION.fullmatch(text):
        raise VersionError(f"`{text}` is not a version")
    numbers = [int(part) for part in text.split(".")]
    while numbers and numbers[-1] == 0:
        numbers.pop()
    return tuple(numbers)


def read_range(text: str) -> tuple[tuple[str, str], ...]:
    """The parts of a range as (comparison, version)."""
    parts = []
    for part in text.split(","):
        found = _PART.fullmatch(part.strip())
        if not found or not _VERSION.fullmatch(found[2]):
            raise VersionError(f"`{part.strip()}` is not a version range")
        parts.append((found[1], found[2]))
    return tuple(parts)


def satisfies(version: str, wanted: str) -> bool:
    """True when the version lies in the range.

    What follows the numbers of an installed version (`1.0.dev3`, `1.0+local`) is left out.

    >>> satisfies("0.9.1", ">=0.1,<1"), satisfies("1.0", ">=0.1,<1")
    (True, False)
    """
    found = _VERSION.match(version)
    if not found:
        raise VersionError(f"`{version}` is not a version")
    numbers = read_version(found[0])
    return all(_MEANS[sign](numbers, read_version(other)) for sign, other in read_range(wanted))


@cache
def engine_version() -> str:
    """The version of the installed engine."""
    return metadata.version("stillair")
