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

from stillair.fault import did_you_mean
from stillair.strict_yaml import plain, read_yaml

from .scenario import UNSHOWN, ScenarioError, only

__all__ = ["SEEN", "SLIP", "Explained", "Way", "explained_in"]

SEEN, SLIP = "never seen", "not noticed"
"""Of which kind a way is: one to see a condition, or a slip in it."""

_KEYS = ("of", "part", SEEN, SLIP, "because")


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
        if path.is_file():
            for number, entry in enumerate(_entries(path), 1):
                where = f"{path.as_posix()}, entry {number}"
                for way, because in _ways(entry, where):
                    if found.because.setdefault(way, because) != because or way in found.where:
                        raise ScenarioError(f"{where}: `{way.part}` of {way.of}, {way.way}: is said twice")
                    found.where[way] = where
    return found


def _entries(path: Path) -> list[Any]:
    found = plain(read_yaml(path.read_text(encoding="utf-8"), path.as_posix()))
    if not isinstance(found, Mapping) or not isinstance(found.get("unshown"), list):
        raise ScenarioError(f"{path.as_posix()}: it has `unshown`, a list of what is explained")
    only(found, ("unshown",), path.as_posix())
    return list(found["unshown"])


def _ways(entry: Any, where: str) -> Iterator[tuple[Way, str]]:
    if not isinstance(entry, Mapping):
        raise ScenarioError(f"{where}: an entry has `of`, `part`, `{SEEN}` or `{SLIP}`, and `because`")
    only(entry, _KEYS, where)
    because = str(entry.get("because") or "").strip()
    if not because:
        raise ScenarioError(f"{where}: it says no `because`")
    if not (entry.keys() & {SEEN, SLIP} and entry.keys() >= {"of", "part"}):
        raise ScenarioError(f"{where}: it names `of`, `part`, and `{SEEN}` or `{SLIP}`")
    for kind in (SEEN, SLIP):
        for of in _listed(entry["of"]):
            for part in _listed(entry["part"]):
                for way in _listed(entry.get(kind, [])):
                    yield Way(kind, of, part, way), because


def _listed(said: object) -> list[str]:
    items = said if isinstance(said, list) else [said]
    return [" ".join(str(item).split()) for item in items]
