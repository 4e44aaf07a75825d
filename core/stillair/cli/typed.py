"""What is typed at the prompt of a guided session, taken apart before it is read."""

from __future__ import annotations

import re

from stillair import quantity
from stillair.assess import EntryError

__all__ = ["is_number", "number_of", "pairs", "parts"]

_NAMED = re.compile(r"(?:^|[\s,;])([a-z][a-z0-9_]*(?: of [A-Za-z0-9_-]+|\.[A-Za-z0-9_-]+)?)\s*=")
_NUMBER = re.compile(r"[+−-]?(?:[0-9][0-9.,/]*|\.[0-9]+)")
_TOLERANCE = ("±", "+/-", "+-")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_CLOCK = re.compile(r"[0-9]{1,2}:[0-9]{2}")
_WORDS_OF_A_UNIT = 3
_ANSWERS = ("y", "n", "u")
"""Answers even where they could be units: `y` is yes before it is years."""


def pairs(text: str) -> list[tuple[str, str]]:
    """`NAME=VALUE NAME2=VALUE2` taken apart; empty where it does not begin with a name and `=`.

    >>> pairs("static_pressure=217 psig, dead of indoor=yes")
    [('static_pressure', '217 psig'), ('dead of indoor', 'yes')]
    """
    found = list(_NAMED.finditer(text))
    if not found or found[0].start(1) != 0:
        return []
    ends = [match.start() for match in found[1:]] + [len(text)]
    return [(m[1], text[m.end() : end].strip(" \t,;")) for m, end in zip(found, ends, strict=True)]


def parts(text: str) -> list[str]:
    """Several answers on one line, each with its unit: between commas or semicolons, else between spaces.

    >>> parts("y 217 psia n"), parts("-3 in w.c. 72"), parts("y, n")
    (['y', '217 psia', 'n'], ['-3 in w.c.', '72'], ['y', 'n'])
    """
    if re.search("[,;]", text):
        return [part for part in re.split(r"\s*[,;]\s*", text) if part]
    words = text.split()
    found = []
    while words:
        size = _size(words)
        found.append(" ".join(words[:size]))
        words = words[size:]
    return found


def _size(words: list[str]) -> int:
    """How many words the first answer takes: a number its unit and tolerance, a date its clock time."""
    if _DATE.fullmatch(words[0]):
        return 2 if words[1:] and _CLOCK.fullmatch(words[1]) else 1
    if not is_number(words[0]):
        return 1
    size = 1 + _unit(words[1:])
    if words[size : size + 1] and words[size] in _TOLERANCE:
        size += 1 + bool(words[size + 1 :])
        size += _unit(words[size:])
    return size


def _unit(words: list[str]) -> int:
    """How many of these words are one unit; 0 if none is."""
    if not words or words[0].lower() in _ANSWERS:
        return 0
    for size in range(min(len(words), _WORDS_OF_A_UNIT), 0, -1):
        try:
            quantity.read_literal(f"1 {' '.join(words[:size])}")
        except quantity.QuantityError:
            continue
        return 0 if any(c.isdigit() for c in words[0]) else size
    return 0


def is_number(text: str) -> bool:
    """Whether it is a number alone, whose unit may be the next word.

    >>> is_number("-3.5"), is_number("3psi"), is_number("y")
    (True, False, False)
    """
    return _NUMBER.fullmatch(text) is not None


def number_of(typed: str, most: int) -> int:
    """A number typed for one of `most` choices."""
    if not (typed.isascii() and typed.isdigit() and 1 <= int(typed[:4]) <= most):
        known = f"a number from 1 to {most}" if most else "? shows the keys"
        raise EntryError(f"`{typed}` is none of the choices", known)
    return int(typed)
