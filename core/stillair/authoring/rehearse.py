"""Play a scenario against a pack and say where it comes out differently from what its author expects.

A scenario is YAML: `does` lists in order what is entered and, as `expect`, what must follow. It is played
in memory through the same entries, lines and assessment as a job.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from copy import copy
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from functools import partial
from typing import Any

from stillair import quantity
from stillair.assess import Assessment, EntryError, Program, assess, follow, read_fact, read_value, view_of
from stillair.because import because, explained
from stillair.condition.core import Ref
from stillair.fault import did_you_mean
from stillair.job import Line
from stillair.wording import Wording

from .expectations import Check, Expectations, TrailMaker, conditions
from .scenario import ScenarioError, only, read_scenario, start_of
from .shapes import ENTRY, listed

__all__ = ["Miss", "Player", "Rehearsal", "ScenarioError", "TrailMaker", "play", "read_scenario"]

Watcher = Callable[[Assessment, Mapping[str, Any]], object]


@dataclass(frozen=True, slots=True)
class Miss:
    """One expectation that did not come true, and the judged tree of what it is about, line by line."""

    where: str
    expected: str
    found: str
    tree: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.where}: expected {self.expected}, found {self.found}"


@dataclass(slots=True)
class Rehearsal:
    """A scenario as played: its lines, what was asserted, and every miss."""

    title: str
    lines: list[Line] = field(default_factory=list)
    misses: list[Miss] = field(default_factory=list)
    checked: int = 0


def play(
    program: Program,
    scenario: Mapping[str, Any],
    trail: TrailMaker | None = None,
    watch: Watcher | None = None,
    hasty: bool = False,
) -> Rehearsal:
    """Play a scenario. ScenarioError where an entry is refused, or nothing is expected.

    Without `trail`, what is expected of the trail is passed over. `watch` is shown the assessment and what
    is expected at every expectation, and the one at the end; `hasty` leaves off at the first miss.
    """
    player = Player(program, scenario, trail, watch)
    for number, turn in _turns(player, scenario):
        turn(number)
        if hasty and player.result.misses:
            return player.result
    of_trail = any("trail" in key for part in scenario["does"] for key in part.get("expect", ()))
    if not player.result.checked and (trail is not None or not of_trail):
        raise ScenarioError(f"{player.result.title}: nothing is expected")
    if watch is not None:
        watch(player.found(), {})
    return player.result


def _turns(player: Player, scenario: Mapping[str, Any]) -> Iterator[tuple[int, Callable[[int], None]]]:
    """Each entry with its number and what plays it.

    One of a scenario that follows another is played `after` so many entries of that one, and then taken back;
    what it `does` first, a second after another.
    """
    does = scenario["does"]
    if "base" not in scenario:
        yield from ((number, partial(player.turn, part=part)) for number, part in enumerate(does, 1))
        return
    base = scenario["base"]["does"]
    after: dict[int, list[tuple[int, dict[str, Any]]]] = {}
    for number, part in enumerate(does, 1):
        try:
            place = int(part["after"])
        except (KeyError, TypeError, ValueError):
            raise ScenarioError(
                f"entry {number}: it says `after` how many entries of the other scenario"
            ) from None
        if not 0 <= place <= len(base):
            raise ScenarioError(
                f"entry {number}: there are {len(base)} entries and not {place} to come after"
            )
        after.setdefault(place, []).append((number, {k: v for k, v in part.items() if k != "after"}))
    for place in range(max(after, default=0) + 1):
        if place:
            player.turn(place, {k: v for k, v in base[place - 1].items() if k != "expect"})
        for number, part in after.get(place, ()):
            fork = player.fork()
            for each in part.pop("does", ()):
                fork.turn(number, each)
                fork.later()
            yield number, partial(fork.turn, part=part)


class Player:
    """Plays a scenario entry by entry, in memory."""

    def __init__(
        self,
        program: Program,
        scenario: Mapping[str, Any],
        trail: TrailMaker | None,
        watch: Watcher | None,
    ) -> None:
        self.program = program
        self.trail = trail
        self.watch = watch
        self.result = Rehearsal(str(scenario.get("scenario", "")))
        self.lines = self.result.lines
        self.by = str(scenario.get("by", "A. Tech"))
        start = start_of(scenario)
        self.zone = start.zone
        self.day = start.moment
        self.now = start.moment.timestamp()
        self.members = {name: [m.name for m in spec.members] for name, spec in program.lists.items()}
        self._last: Assessment | None = None
        versions = {name: {"version": v, "digest": d} for name, (v, d) in program.packs.items()}
        self._add(
            "job",
            {
                "format": "stillair.job/1",
                "engine": "stillair",
                "title": self.result.title,
                "packs": versions,
                "plugins": {},
            },
        )
        for name in program.checklists:
            self._add("open", {"checklist": name})

    def _add(self, kind: str, body: Mapping[str, Any]) -> None:
        offset = self.zone.utcoffset(None) or timedelta(0)
        self.lines.append(
            Line(
                n=len(self.lines) + 1,
                kind=kind,
                taken=self.now,
                entered=self.now,
                offset=int(offset.total_seconds() // 60),
                by=self.by,
                body=dict(body),
            )
        )

    def fork(self) -> Player:
        """Another player that goes on from here a second later, while this one stays where it is."""
        other = copy(self)
        other.later()
        other.lines = list(self.lines)
        other.members = {name: list(members) for name, members in self.members.items()}
        return other

    def later(self) -> None:
        """Let a second go by."""
        self.day += timedelta(seconds=1)
        self.now += 1

    def found(self) -> Assessment:
        """What follows now, from where it was last looked at."""
        if self._last is None:
            self._last = assess(self.program, self.lines, self.now)
        else:
            self._last = follow(self._last, self.lines, self.now)
        return self._last

    def turn(self, number: int, part: Mapping[str, Any]) -> None:
        if not isinstance(part, Mapping):
            raise ScenarioError(f"entry {number}: it is not a mapping such as `note: {{FACT: VALUE}}`")
        only(part, tuple(ENTRY), f"entry {number}")
        if "at" in part:
            self._at(number, str(part["at"]))
        try:
            self._enter(part)
        except (EntryError, quantity.QuantityError) as error:
            raise _refused(number, error) from None
        if "expect" in part:
            self._expect(number, part["expect"])

    def _at(self, number: int, text: str) -> None:
        """`09:02` of the day, or a whole moment; seconds may follow."""
        try:
            if "-" in text:
                read = datetime.fromisoformat(text)
            else:
                read = datetime.combine(self.day.date(), time.fromisoformat(text))
            if read.tzinfo is not None:
                raise ValueError
        except ValueError:
            message = f"entry {number}: `{text}` is not a time like `09:02` or `2026-07-14 09:02`"
            raise ScenarioError(message) from None
        read = read.replace(tzinfo=self.zone)
        if read < self.day.replace(second=0, microsecond=0):
            before = f"{self.day:%Y-%m-%d %H:%M}"
            raise ScenarioError(
                f"entry {number}: `{text}` is before {before}, where it is by now (write out another day)"
            )
        self.day = read
        self.now = read.timestamp()

    def _expect(self, number: int, wanted: Mapping[str, Any]) -> None:
        try:
            for check in self._checks(wanted):
                self.result.checked += 1
                if check.expected != check.found:
                    where, tree = f"entry {number}, {check.what}", self._tree(check.name)
                    self.result.misses.append(Miss(where, _said(check.expected), _said(check.found), tree))
        except ScenarioError as error:
            raise ScenarioError(f"entry {number}: {error}") from None
        except (EntryError, quantity.QuantityError) as error:
            raise _refused(number, error) from None

    def _checks(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        if self.watch is None and list(wanted) == ["conditions"]:
            # Nothing but the facts is needed for these.
            view, _ = view_of(self.program, self.lines, self.now)
            return conditions(view, wanted["conditions"])
        found = self.found()
        if self.watch is not None:
            self.watch(found, wanted)
        return Expectations(found, self.lines, self.members, self.zone, self.trail).checks(wanted)

    def _tree(self, name: str) -> tuple[str, ...]:
        """Why what an expectation is about is as it is; nothing where it has no name of its own."""
        if not name:
            return ()
        try:
            told = because(Wording(self.found(), self.zone), name)
        except EntryError:
            return ()
        return tuple(f"{lead}{text}" for lead, text in explained(told))

    def _enter(self, part: Mapping[str, Any]) -> None:
        if "instrument" in part:
            self._instrument(part["instrument"])
        serials = part.get("with", {})
        note = part.get("note", {})
        declared = [str(line.body["serial"]) for line in self.lines if line.kind == "instrument"]
        for name, serial in serials.items():
            _known(name, note, "entry of this `note`")
            if str(serial) not in declared:
                near = did_you_mean(str(serial), declared)
                help = near or f"`instrument: {{serial: {serial}, kind: …}}` in an earlier entry, or here"
                raise EntryError(f"the instrument `{serial}` is not declared", help)
        for name, value in note.items():
            self._observe(name, str(value), str(serials[name]) if name in serials else None)
        for key, beside in (("of", "event"), ("why", "correct")):
            if key in part and beside not in part:
                raise EntryError(f"`{key}` says nothing here", f"it stands beside `{beside}`")
        if "event" in part:
            _known(str(part["event"]), self.program.events, "event")
            body = {"event": str(part["event"])}
            if "of" in part:
                body["of"] = str(part["of"])
            self._add("event", body)
        if "did" in part:
            step, _, member = str(part["did"]).partition(" of ")
            known = self.program.steps.get(step)
            if known is None or (known.per is None) is bool(member):
                raise EntryError(
                    f"there is no step `{part['did']}`", "name the member if it is kept per a list"
                )
            self._add("done", {"step": step, "of": member} if member else {"step": step})
        for step, why in part.get("skip", {}).items():
            name, _, member = str(step).partition(" of ")
            _known(name, self.program.steps, "step")
            body = {"step": name, "why": str(why)}
            self._add("skip", body | ({"of": member} if member else {}))
        for name, why in part.get("cannot", {}).items():
            ref = read_fact(self.program, name, self.members)
            body = {"fact": ref.name, "reason": "cannot be had", "why": str(why)}
            self._add("unavailable", body | ({"of": ref.member} if ref.member else {}))
        for name, members in part.get("member", {}).items():
            _known(name, self.members, "list")
            for member in listed(members):
                self._add("member", {"list": name, "member": member, "label": member})
                held = self.members[name]
                if member not in held:
                    held.append(member)
        if "listed" in part:
            _known(str(part["listed"]), self.members, "list")
            self._add("listed", {"list": str(part["listed"])})
        if "correct" in part:
            self._correct(part["correct"])
        if "handover" in part:
            self._add("handover", {"to": str(part["handover"])})
            self.by = str(part["handover"])
        if "emergency" in part:
            self._add("emergency", {})

    def _instrument(self, given: Mapping[str, Any]) -> None:
        kind = self.program.kinds.get(str(given.get("kind")))
        if kind is None or "serial" not in given:
            known = f"one of: {', '.join(self.program.kinds)}"
            raise EntryError("an instrument has a `serial` and a `kind` that is declared", known)
        dimension = quantity.DIMENSIONS[kind.dimension]
        if dimension.point is not None:
            dimension = quantity.difference_of(dimension)
        body: dict[str, Any] = {"serial": str(given["serial"]), "kind": kind.name}
        for name in ("offset", "repeat", "resolution"):
            if name in given:
                body[name] = quantity.read(str(given[name]), dimension).value
            else:
                body[name] = getattr(kind, name)
        if kind.of_reading or "of reading" in given:
            fraction = quantity.DIMENSIONS["fraction"]
            said = given.get("of reading")
            body["of_reading"] = quantity.read(str(said), fraction).value if said else kind.of_reading
        if "checked" in given:
            body["checked"] = str(given["checked"])
        self._add("instrument", body)

    def _observe(self, name: str, value: str, serial: str | None) -> None:
        ref = read_fact(self.program, name, self.members)
        entry = read_value(self.program, ref, value, instrument=serial, now=self.now, zone=self.zone)
        self._add(entry.kind, entry.body)

    def _correct(self, given: Mapping[str, Any]) -> None:
        why = str(given.get("why", "entered wrongly"))
        for name, value in given.items():
            if name == "why":
                continue
            ref = read_fact(self.program, name, self.members)
            entry = read_value(self.program, ref, str(value), now=self.now, zone=self.zone)
            corrected = {line.body["line"] for line in self.lines if line.kind == "correct"}
            wrong = (n.n for n in reversed(self.lines) if n.n not in corrected and self._is_of(n, ref))
            target = next(wrong, None)
            if target is None:
                raise EntryError(f"`{ref}` was not entered, and cannot be corrected", "note it")
            self._add("correct", {"line": target, "why": why, "body": dict(entry.body)})

    @staticmethod
    def _is_of(line: Line, ref: Ref) -> bool:
        body: Any = line.body.get("body") if line.kind == "correct" else line.body
        if line.kind not in ("observe", "unavailable", "correct") or not isinstance(body, Mapping):
            return False
        return body.get("fact") == ref.name and body.get("of") == ref.member


def _said(value: object) -> str:
    """What was expected or found, as people write it: a list by its items."""
    return (", ".join(map(str, value)) or "nothing") if isinstance(value, list) else str(value)


def _refused(number: int, error: EntryError | quantity.QuantityError) -> ScenarioError:
    return ScenarioError(f"entry {number}: {error}" + (f" ({error.help})" if error.help else ""))


def _known(name: str, names: Iterable[str], kind: str) -> None:
    """EntryError where a name is none of these."""
    if name not in names:
        near = did_you_mean(name, names)
        raise EntryError(f"there is no {kind} `{name}`", near or "look how it is declared")
