"""What scenarios have not seen, shown on the text of the packs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from stillair import account
from stillair.assess import Program
from stillair.assess.uses import inside, stands, written
from stillair.authoring.coverage import Coverage, Part, Seen, coverage, share
from stillair.authoring.scenario import MADE
from stillair.authoring.unshown import SEEN, Explained, Way
from stillair.checklist import Text
from stillair.fault import printable
from stillair.pack import read_pack

from .screen import Screen, percent
from .stage import Played, Stage

__all__ = ["Covered"]

_WIDEST = 90
"""Characters of a source line shown (judgement)."""


class _Found(NamedTuple):
    """How a condition was seen, and where it stands."""

    seen: Coverage
    where: Text


class Covered:
    """What the scenarios played have seen of the conditions of the packs in these folders."""

    def __init__(
        self,
        stage: Stage,
        folders: Sequence[Path],
        played: Sequence[Played],
        explained: Explained | None = None,
    ) -> None:
        """ScenarioError where what is explained is of nothing there is, or is shown after all."""
        self.stage = stage
        self.folders = folders
        self.played = played
        self.explained = explained or Explained()
        if self.explained.because:
            known = {way: seen for each in self.found for way, seen in _ways(each.seen)}
            self.explained.check(SEEN, known, (way for way, seen in known.items() if seen))

    @cached_property
    def written(self) -> Covered:
        """The same of the scenarios that were written by hand or recorded."""
        own = [each for each in self.played if each.made != MADE[-1]]
        return self if len(own) == len(self.played) else Covered(self.stage, self.folders, own)

    def _why(self, found: _Found, part: Part) -> dict[str, str]:
        """Each way in which a part was not seen and somebody says why."""
        of = [*map(str, found.seen.uses)]
        why = {way: self.explained.why(SEEN, of, part.text, way) for way in part.missing}
        return {way: because for way, because in why.items() if because is not None}

    @cached_property
    def _texts(self) -> Mapping[tuple[str, str], Text]:
        versions = self.stage.plugins.versions()
        checklists = [c for folder in self.folders for c in read_pack(folder, plugins=versions).checklists]
        order = {
            name: place for program, _ in self._programs for place, name in enumerate(program.checklists)
        }
        return written(sorted(checklists, key=lambda c: order[c.name]))

    @cached_property
    def _programs(self) -> list[tuple[Program, Seen]]:
        seen: dict[str, Seen] = {}
        for each in self.played:
            if each.seen is not None:
                seen.setdefault(each.program, Seen()).add(each.seen)
        return [(self.stage.made(key), found) for key, found in seen.items()]

    @cached_property
    def found(self) -> list[_Found]:
        """Every condition that stands in the packs asked for."""
        best: dict[tuple[object, ...], _Found] = {}
        for program, seen in self._programs:
            for each in coverage(program, seen):
                place = next((text for use in each.uses if (text := stands(use, self._texts))), None)
                if place is None or not each.parts:
                    continue
                use = each.uses[0]
                # A condition that has a name is the only one at its place.
                told = "" if use.kind == "condition" else use.cond.text
                key = place.path, place.line, place.column, use.per, use.judged, use.only, told
                held = best.get(key)
                if held is None or share([held.seen]) < share([each]):
                    best[key] = _Found(each, place)
        return sorted(best.values(), key=lambda f: (f.where.path, f.where.line, f.where.column))

    def share(self, guards: bool) -> float | None:
        """Per cent of all ways seen, of what guards or of everything else; None where there are none."""
        own = [f.seen for f in self.found if f.seen.guards is guards]
        return share(own) if own else None

    def accounted(self, guards: bool) -> float | None:
        """Per cent of all ways seen or explained; None where there are none."""
        own = [f for f in self.found if f.seen.guards is guards]
        wanted = sum(part.wanted for f in own for part in f.seen.parts)
        left = sum(len(part.missing) - len(self._why(f, part)) for f in own for part in f.seen.parts)
        return 100.0 * (wanted - left) / wanted if wanted else None

    def say(self, screen: Screen) -> None:
        for found in self.found:
            for part in found.seen.parts:
                missing = [way for way in part.missing if way not in self._why(found, part)]
                if missing:
                    for line in _shown(found, part, missing):
                        screen.exactly(line)
        for title, guards in (("gates, stops and safety facts", True), ("everything else", False)):
            number = sum(f.seen.guards is guards for f in self.found)
            alone = (
                ""
                if self.written is self
                else f"; without what is generated {percent(self.written.share(guards))}"
            )
            seen, both = self.share(guards), self.accounted(guards)
            told = f", {percent(both)} seen or explained" if both != seen else ""
            if number:
                text = f"{percent(seen)} seen of {number} conditions{told}{alone}"
            else:
                text = "there are none in these packs"
            screen.say(f"{title}: {text}", bold=True)

    def account(self) -> dict[str, object]:
        return {
            "format": account.COVERAGE,
            "guards_percent": self.share(True),
            "other_percent": self.share(False),
            "guards_explained_percent": self.accounted(True),
            "other_explained_percent": self.accounted(False),
            "written": {
                "guards_percent": self.written.share(True),
                "other_percent": self.written.share(False),
            },
            "conditions": [
                {
                    "uses": [str(use) for use in found.seen.uses],
                    "file": found.where.path,
                    "line": found.where.line,
                    "column": found.where.column,
                    "guards": found.seen.guards,
                    "parts": [_part(part, self._why(found, part)) for part in found.seen.parts],
                }
                for found in self.found
            ],
        }


def _ways(seen: Coverage) -> Iterator[tuple[Way, bool]]:
    """Each way in which a condition can be seen, by each of its uses, and whether it was."""
    for use in seen.uses:
        for part in seen.parts:
            yield from ((Way(SEEN, str(use), part.text, way), found) for way, found in part.ways.items())


def _part(part: Part, why: Mapping[str, str]) -> dict[str, object]:
    return {
        "text": part.text,
        "holds": part.holds,
        "fails": part.fails,
        "open": part.open,
        "decides": part.decides,
        "edges": [{"bound": e.bound, "step": e.step, "below": e.below, "above": e.above} for e in part.edges],
        "missing": list(part.missing),
        "explained": dict(why),
    }


def _shown(found: _Found, part: Part, missing: Sequence[str]) -> Iterator[str]:
    """A part that was not seen in every way, under its line of the file."""
    own = inside(found.where, part.text)
    where = own or found.where
    run = where.runs[0]
    more = f" (and {len(found.seen.uses) - 1} more)" if len(found.seen.uses) > 1 else ""
    yield f"{where.path}:{where.line}:{where.column}: {found.seen.uses[0]}{more}"
    skipped = max(0, run.column - 1 - _WIDEST // 2) if len(run.source_line) > _WIDEST else 0
    shown = printable(run.source_line[skipped : skipped + _WIDEST])
    at = run.column - 1 - skipped
    end = where.runs[1].offset if len(where.runs) > 1 else len(where.text)
    yield f"  {shown}"
    yield f"  {' ' * at}{'^' * max(1, min(end, len(shown) - at))}"
    # A part that a named condition brings in does not stand here in its own words.
    name = "" if own is not None else f": `{part.text}`"
    yield f"  never seen {', '.join(missing)}{name}"
