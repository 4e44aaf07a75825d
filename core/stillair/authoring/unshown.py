"""Why no scenario shows some of what a pack says, as its author explains it in `scenarios/unshown.yaml`.

    unshown:
      - of: stop no-lockout
        part: count of lockout >= 1
        never seen: open
        because: what was entered is counted, so nothing about the number can be open

The words are those in which `rehearse --coverage` and `--mutate` name a condition, its part, in what way it
was never seen, and what stood `instead` in a slip that nothing noticed. `of`, `part`, `never seen` and
`not noticed` are one text or a list of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from stillair.fault import Fault, did_you_mean
from stillair.strict_yaml import Node, at, plain, read_yaml

from .scenario import UNSHOWN, ScenarioError
from .shapes import (
    Flaw,
    Place,
    keyed,
    listed,
    located,
    one_text,
    read_utf8,
    texts,
    unknown,
    unread_by,
)

__all__ = ["SEEN", "SLIP", "Explained", "Way", "explained_in", "unread_unshown"]

SEEN, SLIP = "never seen", "not noticed"
"""Of which kind a way is: one to see a condition, or a slip in it."""

_SHAPES = {"of": texts, "part": texts, SEEN: texts, SLIP: texts, "because": one_text}


class Way(NamedTuple):
    """One thing to be shown of a condition: its use, the part, and the way or what stands instead."""

    kind: str
    of: str
    part: str
    way: str


@dataclass
class Explained:
    """The reasons given, by what they are about; `where` says in which file an entry stands."""

    because: dict[Way, str] = field(default_factory=dict)
    where: dict[Way, str] = field(default_factory=dict)

    def why(self, kind: str, of: Iterable[str], part: str, way: str) -> str | None:
        """Why nothing shows this of a condition, by any of its uses; None where nobody says."""
        found = (self.because.get(Way(kind, name, part, way)) for name in of)
        return next((reason for reason in found if reason is not None), None)

    def check(self, kind: str, known: Iterable[Way], shown: Iterable[Way]) -> None:
        """ScenarioError for what is said of nothing there is, or of what is shown after all."""
        names, shown = set(known), set(shown)
        for each in self.because:
            if each.kind == kind and each in shown:
                text = f"`{each.part}` of the {each.of} is shown after all: {each.way}"
                raise ScenarioError(f"{self.where[each]}: {text}")
            if each.kind == kind and each not in names:
                raise ScenarioError(f"{self.where[each]}: {_unknown(each, names)}")


def _unknown(each: Way, names: set[Way]) -> str:
    """What there is not, with what there is instead."""
    for place, what in ((1, "condition"), (2, "part"), (3, "way")):
        near = {way[place] for way in names if way[1:place] == each[1:place]}
        if each[place] not in near:
            hint = did_you_mean(each[place], near) or f"one of: {'; '.join(sorted(near)[:8])}"
            of = f" of the {each.of}" if place > 1 else ""
            return f"there is no {what} `{each[place]}`{of} ({hint})"
    raise AssertionError("it is known")


def explained_in(folders: Iterable[Path]) -> Explained:
    """What the authors of packs explain. ScenarioError where a file is not such a list."""
    found = Explained()
    for folder in folders:
        path = folder / "scenarios" / UNSHOWN
        if path.exists():
            text = read_utf8(path)
            if isinstance(text, Flaw):
                raise ScenarioError(f"{path.as_posix()}: {text.message}", text.code)
            root = read_yaml(text, path.as_posix())
            for flaw in _flaws(plain(root)):
                raise ScenarioError(f"{_stands(root, flaw.place, path)}: {located(flaw)}", flaw.code)
            for number, entry in enumerate(plain(root)["unshown"]):  # type: ignore[index]
                where = f"{_stands(root, ('unshown', number), path)}: entry {number + 1}"
                for way, because in _ways(entry):
                    if way in found.where:
                        raise ScenarioError(f"{where}: {_twice(way)}")
                    found.because[way], found.where[way] = because, where
    return found


def unread_unshown(folder: Path) -> Iterator[Fault]:
    """What of the explanations of a pack cannot be read, with its place."""
    path = folder / "scenarios" / UNSHOWN
    if path.exists():
        yield from unread_by(path, _flaws)


def _stands(root: Node, place: Place, path: Path) -> str:
    """The file, and the line of something in it."""
    return f"{path.as_posix()}:{at(root, place).start[0] + 1}"


def _flaws(found: Any) -> Iterator[Flaw]:
    """What is wrong with the file, by itself."""
    if not isinstance(found, Mapping) or not isinstance(found.get("unshown"), list):
        yield Flaw(("unshown",), "it has `unshown`, a list of what is explained")
        return
    yield from (Flaw((key,), unknown(key, ["unshown"]), "SA201") for key in found if key != "unshown")
    said: set[Way] = set()
    for number, entry in enumerate(found["unshown"]):
        wrong = list(_flaws_of(entry, ("unshown", number)))
        yield from wrong
        for way, _ in () if wrong else _ways(entry):
            if way in said:
                yield Flaw(("unshown", number), _twice(way))
            said.add(way)


def _flaws_of(entry: Any, place: Place) -> Iterator[Flaw]:
    if not isinstance(entry, Mapping):
        yield Flaw(place, f"an entry has `of`, `part`, `{SEEN}` or `{SLIP}`, and `because`")
        return
    yield from keyed(_SHAPES)(entry, place)
    if "because" not in entry:
        yield Flaw(place, "it says no `because`")
    if not (entry.keys() & {SEEN, SLIP} and entry.keys() >= {"of", "part"}):
        yield Flaw(place, f"it names `of`, `part`, and `{SEEN}` or `{SLIP}`")


def _twice(way: Way) -> str:
    return f"`{way.part}` of {way.of}, {way.way}: is said twice"


def _ways(entry: Mapping[str, Any]) -> Iterator[tuple[Way, str]]:
    because = str(entry["because"]).strip()
    for kind in (SEEN, SLIP):
        for of in _tidied(entry["of"]):
            for part in _tidied(entry["part"]):
                for way in _tidied(entry.get(kind, [])):
                    yield Way(kind, of, part, way), because


def _tidied(said: object) -> list[str]:
    return [" ".join(item.split()) for item in listed(said)]
