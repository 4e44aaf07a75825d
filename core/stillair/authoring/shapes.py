"""What may stand under each key of a scenario: one table, looked at once, when a scenario is read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from itertools import chain, takewhile
from pathlib import Path
from typing import Any, NamedTuple

from stillair.fault import Fault, StillairError, did_you_mean
from stillair.strict_yaml import Node, Table, at, plain, read_yaml

__all__ = [
    "ENTRY",
    "EXPECT",
    "Flaw",
    "Place",
    "flaws",
    "keyed",
    "listed",
    "located",
    "one_text",
    "read_utf8",
    "texts",
    "unknown",
    "unread_by",
]

Place = tuple[str | int, ...]
"""Keys, and indexes from 0, on the way to something in a file."""


class Flaw(NamedTuple):
    """What is wrong at a place of a file, and its code."""

    place: Place
    message: str
    code: str = "SA203"


Shape = Callable[[Any, Place], Iterator[Flaw]]
"""Tells what is wrong with what stands at a place."""


def unknown(key: object, known: Sequence[str]) -> str:
    """What is said of a key that is not known."""
    near = did_you_mean(str(key), known) or f"one of: {', '.join(known)}"
    return f"`{key}` is not known here ({near})"


def located(flaw: Flaw) -> str:
    """What is wrong, after the number of the entry it is in."""
    numbers = [part + 1 for part in flaw.place if isinstance(part, int)]
    said = zip(("entry", "`does`"), numbers, strict=False)
    return "".join(f"{word} {number}: " for word, number in said) + flaw.message


def _faulted(root: Node, flaw: Flaw) -> Fault:
    """The flaw under the key, or the item of a list, that it is about."""
    *way, last = flaw.place or ("",)
    about = at(root, way)
    if isinstance(about, Table) and last in about.keys:
        return about.keys[str(last)].fault(flaw.code, flaw.message)
    return at(root, flaw.place).fault(flaw.code, flaw.message)


def read_utf8(path: Path) -> str | Flaw:
    """The text of a file, or why it cannot be read."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        return Flaw((), f"it is not UTF-8: byte {error.start + 1}; save it as UTF-8", "SA110")
    except IsADirectoryError:
        return Flaw((), "it is a folder and not a file", "SA101")
    except OSError as error:
        return Flaw((), f"it cannot be read: {(error.strerror or str(error)).lower()}", "SA101")


def unread_by(path: Path, wrong: Callable[[Any], Iterable[Flaw]]) -> Iterator[Fault]:
    """What of a file cannot be read, and what is `wrong` with what it says, each with its place."""
    text = read_utf8(path)
    if isinstance(text, Flaw):
        yield Fault(text.code, text.message, path.as_posix())
        return
    try:
        root = read_yaml(text, path.as_posix())
    except StillairError as error:
        yield from error.faults
        return
    yield from (_faulted(root, flaw._replace(message=located(flaw))) for flaw in wrong(plain(root)))


# -- shapes --------------------------------------------------------------------------------------------------


def _is_text(said: object) -> bool:
    return isinstance(said, str | int | float) and not isinstance(said, bool) and bool(str(said).strip())


def _told(place: Place, wanted: str) -> Iterator[Flaw]:
    """What is wanted of the keys at the end of a place, the innermost first."""
    keys = takewhile(lambda part: isinstance(part, str), reversed(place))
    yield Flaw(place, f"{' of '.join(f'`{key}`' for key in keys)} is {wanted}")


def one_text(said: Any, place: Place) -> Iterator[Flaw]:
    """A text or a number."""
    if not _is_text(said):
        yield from _told(place, "one text that is not empty")


def texts(said: Any, place: Place) -> Iterator[Flaw]:
    """One text or number, or a list of at least one."""
    items = said if isinstance(said, list) else [said]
    if not items or not all(map(_is_text, items)):
        yield from _told(place, "a text, or a list of them, that is not empty")


def _any_texts(said: Any, place: Place) -> Iterator[Flaw]:
    """A list without anything means: none."""
    if said != []:
        yield from texts(said, place)


def listed(said: object) -> list[str]:
    """The texts of one text, or of a list of them."""
    return [str(item) for item in (said if isinstance(said, list) else [said])]


def _of(shape: Shape, like: str) -> Shape:
    def each(said: Any, place: Place) -> Iterator[Flaw]:
        if not isinstance(said, Mapping) or not said:
            yield from _told(place, f"a mapping like `{{{like}}}`")
            return
        for name, value in said.items():
            yield from shape(value, (*place, name))

    return each


def keyed(shapes: Mapping[str, Shape]) -> Shape:
    """A mapping of these keys, each with its shape."""

    def each(said: Any, place: Place) -> Iterator[Flaw]:
        if not isinstance(said, Mapping) or not said:
            yield from _told(place, f"a mapping of: {', '.join(shapes)}")
            return
        for key, value in said.items():
            if key in shapes:
                yield from shapes[key](value, (*place, key))
            else:
                at = f"`{place[-1]}`: " if isinstance(place[-1], str) else ""
                yield Flaw((*place, key), at + unknown(key, [*shapes]), "SA201")

    return each


def _true(said: Any, place: Place) -> Iterator[Flaw]:
    if said is not True:
        yield from _told(place, "`true`")


def _day(said: Any, place: Place) -> Iterator[Flaw]:
    try:
        date.fromisoformat(str(said))
    except ValueError:
        yield from _told(place, "a date like `2026-04-15`")


def _place(said: Any, place: Place) -> Iterator[Flaw]:
    if isinstance(said, bool) or not isinstance(said, int):
        yield from _told(place, "the number of entries of the other scenario that come before")


_INSTRUMENT: Mapping[str, Shape] = {
    "serial": one_text,
    "kind": one_text,
    "offset": one_text,
    "repeat": one_text,
    "resolution": one_text,
    "of reading": one_text,
    "checked": _day,
}

_FOUND = _of(one_text, "NAME: WHAT IS FOUND")

EXPECT: Mapping[str, Shape] = {
    "findings": _FOUND,
    "rules": _FOUND,
    "conditions": _FOUND,
    "because": _of(texts, "NAME: WORDS"),
    "may": _FOUND,
    "stopped": _any_texts,
    "allowed": texts,
    "next": one_text,
    "asks": _any_texts,
    "not asked": texts,
    "awaits": _any_texts,
    "facts": _FOUND,
    "calculations": _FOUND,
    "voided": texts,
    "suspects": _any_texts,
    "refuses": _of(one_text, "FACT: VALUE"),
    "trail says": texts,
    "trail does not say": texts,
    "places": _FOUND,
}
"""What may be expected."""

ENTRY: Mapping[str, Shape] = {
    "at": one_text,
    "instrument": keyed(_INSTRUMENT),
    "note": _of(one_text, "FACT: VALUE"),
    "with": _of(one_text, "FACT: SERIAL"),
    "event": one_text,
    "of": one_text,
    "did": one_text,
    "skip": _of(one_text, "STEP: WHY"),
    "cannot": _of(one_text, "FACT: WHY"),
    "member": _of(texts, "LIST: MEMBER"),
    "listed": one_text,
    "correct": _of(one_text, "FACT: VALUE"),
    "why": one_text,
    "handover": one_text,
    "emergency": _true,
    "expect": keyed(EXPECT),
}
"""What may be entered, and `expect`."""

_HEAD: Mapping[str, Shape] = {
    "scenario": one_text,
    "about": one_text,
    "pack": texts,
    "by": one_text,
    "follows": one_text,
}


def flaws(scenario: Mapping[str, Any]) -> Iterator[Flaw]:
    """What of a scenario is not of the shape that its key asks for. `does` is a list."""
    for key, shape in _HEAD.items():
        if key in scenario:
            yield from shape(scenario[key], (key,))
    for number, part in enumerate(scenario["does"]):
        yield from _entry(part, ("does", number), follows="follows" in scenario)


def _entry(part: Any, place: Place, follows: bool = False) -> Iterator[Flaw]:
    if not isinstance(part, Mapping) or not part:
        yield Flaw(place, "it is not a mapping such as `note: {FACT: VALUE}`")
        return
    if not follows:
        yield from keyed(ENTRY)(part, place)
        return
    if "after" not in part:
        yield Flaw(place, "it says `after` how many entries of the other scenario")
    first = part.get("does", [])
    if not isinstance(first, list):
        yield Flaw((*place, "does"), "`does` is a list of what is entered before")
        first = []
    yield from chain.from_iterable(
        _entry(each, (*place, "does", number)) for number, each in enumerate(first)
    )
    yield from keyed({**ENTRY, "after": _place, "does": lambda said, place: iter(())})(part, place)
