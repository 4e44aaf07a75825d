"""What a manifest says of itself at its head: name, version, what it joins. Read at every start, so quickly.

The YAML reader, which is slow to start, is asked only where a line might say more than it seems to.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from stillair.fault import StillairError

__all__ = ["heads"]

_HEADS = frozenset({"pack", "version", "joins", "one of", "beliefs"})
_SAID = re.compile(r"([a-z][a-z ]*): +([A-Za-z0-9][\w.-]*) *(?: #.*)?")
_OTHER = re.compile(r"(?:([a-z][a-z ]*):(?: .*)?|- .*|[]}] *|#.*)")
_BREAK = re.compile("[\r\x85\u2028\u2029]")
"""What ends a line for some readers; of a file that is read whole, the YAML reader refuses it."""
_OPENING = re.compile(r"""["'\[\]{}\\]""")
_SHUT = re.compile(
    r"""(?:[\w. -]*: +| *- +| *)(?:"[^"\\]*"|'[^']*'|\[[^]["'{}\\#]*\]|\{[^}["'{\]\\#]*\}) *(?: #.*)?"""
)
_EMPTY = frozenset({"null", "Null", "NULL"})


@lru_cache(maxsize=64)
def heads(text: str, path: str) -> Mapping[str, str]:
    """The words after `pack`, `version`, `joins`, `one of` and `beliefs`, as far as they stand there.

    StillairError where the text must be read as YAML and cannot be, or one of them is no single word.
    """
    found = _plain(text)
    return _strict(text, path) if found is None else found


def _plain(text: str) -> dict[str, str] | None:
    """The same from lines of the plain form alone; None where one of another form might say some of it."""
    if _BREAK.search(text):
        return None
    found: dict[str, str] = {}
    begun, shut, said = False, True, None
    for line in text.split("\n"):
        bare = line.lstrip(" ")
        if not bare or bare[0] == "#":
            continue
        if bare == line:
            other, said = _OTHER.fullmatch(line), None
            if other is None:
                return None
            key = (other[1] or "").strip()
            if key in _HEADS:
                said = _SAID.fullmatch(line)
                if said is None or said[1] != key or said[2] in _EMPTY or key in found or not shut:
                    return None
                found[key] = said[2]
            begun = begun or bool(key)
        elif said is not None or not begun:
            return None
        shut = shut and _is_shut(line)
    return found


def _is_shut(line: str) -> bool:
    """Whether no quote or bracket of a line can still be open at its end."""
    return not _OPENING.search(line.split(" #", 1)[0]) or _SHUT.fullmatch(line) is not None


def _strict(text: str, path: str) -> dict[str, str]:
    from stillair.strict_yaml import Scalar, Table, read_yaml

    root = read_yaml(text, path)
    found: dict[str, str] = {}
    for key, value in root.values.items() if isinstance(root, Table) else ():
        if key not in _HEADS:
            continue
        if not isinstance(value, Scalar):
            raise StillairError(value.fault("SA203", f"`{key}` is not a single word", help=f"{key}: NAME"))
        if value.kind != "null":
            found[key] = value.text.strip()
    return found
