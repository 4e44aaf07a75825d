"""Play a scenario against a pack and say where it comes out differently from what its author expects.

A scenario is YAML: `does` lists in order what is entered and, as `expect`, what must follow. It is played
in memory through the same entries, lines and assessment as a job.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

from stillair import quantity
from stillair.assess import Assessment, EntryError, May, Program, assess, read_fact, read_value
from stillair.condition.core import NumberDomain, Ref
from stillair.job import Line
from stillair.possible import Number, Options
from stillair.strict_yaml import plain, read_yaml

__all__ = ["Miss", "Rehearsal", "ScenarioError", "play", "read_scenario"]

_Check = Callable[[Assessment, Any], Iterable[tuple[str, Any, Any]]]
TrailMaker = Callable[[Assessment, Sequence[Line], tzinfo], str]


class ScenarioError(Exception):
    """A scenario that cannot be played: what is wrong, and where."""


@dataclass(frozen=True, slots=True)
class Miss:
    """One expectation that did not come true."""

    where: str
    expected: str
    found: str

    def __str__(self) -> str:
        return f"{self.where}: expected {self.expected}, found {self.found}"


@dataclass(slots=True)
class Rehearsal:
    """A scenario as played: its lines, what was asserted, and every miss."""

    title: str
    lines: list[Line] = field(default_factory=list)
    misses: list[Miss] = field(default_factory=list)
    checked: int = 0


def read_scenario(path: Path) -> Mapping[str, Any]:
    """The scenario in a file, as plain mappings, lists and texts. StillairError where it is not one."""
    found = plain(read_yaml(path.read_text(encoding="utf-8"), path.name))
    if not isinstance(found, Mapping) or "does" not in found:
        raise ScenarioError(f"{path.name}: a scenario has `does`")
    return found


def play(program: Program, scenario: Mapping[str, Any], trail: TrailMaker | None = None) -> Rehearsal:
    """Play a scenario. ScenarioError where an entry is refused, or nothing is expected."""
    player = _Player(program, scenario, trail)
    for number, part in enumerate(scenario["does"], 1):
        player.turn(number, part)
    if not player.result.checked:
        raise ScenarioError(f"{player.result.title}: nothing is expected")
    return player.result


class _Player:
    def __init__(self, program: Program, scenario: Mapping[str, Any], trail: TrailMaker | None) -> None:
        self.program = program
        self.trail = trail
        self.result = Rehearsal(str(scenario.get("scenario", "")))
        self.lines = self.result.lines
        self.by = str(scenario.get("by", "A. Tech"))
        start = datetime.strptime(str(scenario["starts"]), "%Y-%m-%d %H:%M %z")
        self.zone: tzinfo = start.tzinfo or UTC
        self.day = start
        self.now = start.timestamp()
        self.instruments: dict[str, str] = {}
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

    def _members(self) -> dict[str, list[str]]:
        view = assess(self.program, self.lines, self.now).view
        return {name: view.members(name)[0] for name in self.program.lists}

    def turn(self, number: int, part: Mapping[str, Any]) -> None:
        known = {
            "at",
            "instrument",
            "note",
            "with",
            "event",
            "of",
            "did",
            "skip",
            "cannot",
            "member",
            "listed",
            "correct",
            "why",
            "handover",
            "emergency",
            "expect",
        }
        strange = set(part) - known
        if strange:
            raise ScenarioError(f"entry {number}: {', '.join(sorted(strange))} is not known here")
        if "at" in part:
            self._at(str(part["at"]))
        try:
            self._enter(part)
        except EntryError as error:
            raise ScenarioError(f"entry {number}: {error.message} ({error.help})") from None
        if "expect" in part:
            self._expect(number, part["expect"])

    def _at(self, text: str) -> None:
        if len(text) <= 5:
            hour, minute = text.split(":")
            moment = self.day.replace(hour=int(hour), minute=int(minute))
        else:
            moment = datetime.strptime(text, "%Y-%m-%d %H:%M").replace(tzinfo=self.zone)
            self.day = moment
        self.now = moment.timestamp()

    def _enter(self, part: Mapping[str, Any]) -> None:
        if "instrument" in part:
            self._instrument(part["instrument"])
        serials = part.get("with", {})
        for name, value in part.get("note", {}).items():
            self._observe(name, str(value), serials.get(name))
        if "event" in part:
            body = {"event": part["event"]}
            if "of" in part:
                body["of"] = part["of"]
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
            body = {"step": name, "why": str(why)}
            self._add("skip", body | ({"of": member} if member else {}))
        for name, why in part.get("cannot", {}).items():
            ref = read_fact(self.program, name, self._members())
            body = {"fact": ref.name, "reason": "cannot be had", "why": str(why)}
            self._add("unavailable", body | ({"of": ref.member} if ref.member else {}))
        for name, members in part.get("member", {}).items():
            for member in members if isinstance(members, list) else [members]:
                self._add("member", {"list": name, "member": str(member), "label": str(member)})
        if "listed" in part:
            self._add("listed", {"list": part["listed"]})
        if "correct" in part:
            self._correct(part["correct"])
        if "handover" in part:
            self._add("handover", {"to": str(part["handover"])})
            self.by = str(part["handover"])
        if "emergency" in part:
            self._add("emergency", {})

    def _instrument(self, given: Mapping[str, Any]) -> None:
        kind = self.program.kinds[str(given["kind"])]
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
        ref = read_fact(self.program, name, self._members())
        entry = read_value(self.program, ref, value, instrument=serial, now=self.now, zone=self.zone)
        self._add(entry.kind, entry.body)

    def _correct(self, given: Mapping[str, Any]) -> None:
        why = str(given.get("why", "entered wrongly"))
        for name, value in given.items():
            if name == "why":
                continue
            ref = read_fact(self.program, name, self._members())
            entry = read_value(self.program, ref, str(value), now=self.now, zone=self.zone)
            corrected = {line.body["line"] for line in self.lines if line.kind == "correct"}
            target = next(
                line.n for line in reversed(self.lines) if line.n not in corrected and self._is_of(line, ref)
            )
            self._add("correct", {"line": target, "why": why, "body": dict(entry.body)})

    @staticmethod
    def _is_of(line: Line, ref: Ref) -> bool:
        body: Any = line.body.get("body") if line.kind == "correct" else line.body
        if line.kind not in ("observe", "unavailable", "correct") or not isinstance(body, Mapping):
            return False
        return body.get("fact") == ref.name and body.get("of") == ref.member

    # -- expectations ------------------------------------------------------------------------------------

    def _expect(self, number: int, wanted: Mapping[str, Any]) -> None:
        found = assess(self.program, self.lines, self.now)
        checks: dict[str, _Check] = {
            "findings": self._findings,
            "rules": self._rules,
            "because": self._because,
            "may": self._may,
            "stopped": self._stopped,
            "allowed": self._allowed,
            "next": self._next,
            "asks": self._asks,
            "not asked": self._not_asked,
            "awaits": self._awaits,
            "facts": self._facts,
            "calculations": self._calculations,
            "voided": self._voided,
            "suspects": self._suspects,
            "refuses": self._refuses,
            "trail says": self._trail_says,
            "trail does not say": self._trail_silent,
            "places": self._places,
        }
        for key, value in wanted.items():
            if key not in checks:
                raise ScenarioError(f"entry {number}: `expect` has no `{key}`")
            for what, expected, got in checks[key](found, value):
                self.result.checked += 1
                if expected != got:
                    self.result.misses.append(Miss(f"entry {number}, {what}", str(expected), str(got)))

    def _named(self, text: str) -> tuple[str, str | None]:
        name, _, member = str(text).partition(" of ")
        return name, member or None

    def _findings(self, found: Assessment, wanted: Mapping[str, Any]) -> Iterable[tuple[str, Any, Any]]:
        for text, grade in wanted.items():
            name, member = self._named(text)
            if name not in self.program.findings:
                raise ScenarioError(f"there is no finding `{name}`")
            yield f"finding {text}", str(grade).replace(" ", "_"), found.finding(name, member).grade

    def _rules(self, found: Assessment, wanted: Mapping[str, Any]) -> Iterable[tuple[str, Any, Any]]:
        for text, verdict in wanted.items():
            name, member = self._named(text)
            states = [s for s in found.rules if s.rule == name and s.member == member]
            if not states:
                raise ScenarioError(f"there is no rule `{text}`")
            yield f"rule {text}", verdict, states[0].verdict.word

    def _because(self, found: Assessment, wanted: Mapping[str, Any]) -> Iterable[tuple[str, Any, Any]]:
        for text, phrases in wanted.items():
            said = self._explanation(found, text)
            for phrase in phrases:
                got = phrase if str(phrase).casefold() in said.casefold() else said
                yield f"because {text}", phrase, got

    def _explanation(self, found: Assessment, text: str) -> str:
        name, member = self._named(text)
        parts: list[str] = []
        for state in found.rules:
            if state.rule == name and state.member == member:
                parts += [str(r) for r in state.reasons]
        if name in self.program.findings:
            parts += [str(r) for r in found.finding(name, member).reasons]
        if name in self.program.facts or name in self.program.calculations or name in self.program.waits:
            parts += [str(r) for r in found.view.value(Ref(name, member)).reasons]
        permission = None
        if name in self.program.steps:
            permission = found.permission(name, member)
        elif name in self.program.activities:
            permission = found.activity(name)
        if permission is not None:
            parts += [str(r) for r in permission.reasons]
            parts += [f"{b.say} {b.lifted_by or ''}" for b in permission.blocked]
            parts += [str(m) for m in permission.missing]
        return "; ".join(parts)

    def _may(self, found: Assessment, wanted: Mapping[str, Any]) -> Iterable[tuple[str, Any, Any]]:
        for text, answer in wanted.items():
            name, member = self._named(text)
            if name not in self.program.steps:
                raise ScenarioError(f"there is no step `{name}`")
            yield f"may {text}", str(answer), found.permission(name, member).may.value

    def _stopped(self, found: Assessment, wanted: Sequence[str]) -> Iterable[tuple[str, Any, Any]]:
        for name in wanted:
            yield f"activity {name}", May.NO.value, found.activity(name).may.value

    def _allowed(self, found: Assessment, wanted: Sequence[str]) -> Iterable[tuple[str, Any, Any]]:
        for name in wanted:
            permission = found.activity(name)
            got = permission.may.value
            if permission.may is not May.YES:
                got += ": " + "; ".join([*map(str, permission.reasons), *(b.say for b in permission.blocked)])
            yield f"activity {name}", May.YES.value, got

    def _next(self, found: Assessment, wanted: str) -> Iterable[tuple[str, Any, Any]]:
        member = self._named(wanted)[1]
        got = found.next.step or found.next.kind
        if member is not None:
            got = f"{got} of {found.next.member}"
        yield "next", str(wanted), got

    def _asks(self, found: Assessment, wanted: Sequence[str]) -> Iterable[tuple[str, Any, Any]]:
        asked = [str(r) for r in found.next.facts]
        for name in wanted:
            yield "asks", name, name if name in asked else asked

    def _not_asked(self, found: Assessment, wanted: Sequence[str]) -> Iterable[tuple[str, Any, Any]]:
        asked = {str(r) for s in found.steps if s.status == "ready" for r in s.asks} | {
            str(r) for r in found.next.facts
        }
        for name in wanted:
            yield f"not asked {name}", "not asked", "asked" if name in asked else "not asked"

    def _awaits(self, found: Assessment, wanted: Sequence[str]) -> Iterable[tuple[str, Any, Any]]:
        running = sorted(w.name for w in found.running())
        if not wanted:
            yield "awaits", [], running
        for name in wanted:
            yield f"awaits {name}", name, name if name in running else running

    def _facts(self, found: Assessment, wanted: Mapping[str, Any]) -> Iterable[tuple[str, Any, Any]]:
        for text, value in wanted.items():
            ref = read_fact(self.program, text, self._members())
            yield f"fact {text}", str(value), _shown(self.program, found, ref, str(value))

    def _calculations(self, found: Assessment, wanted: Mapping[str, Any]) -> Iterable[tuple[str, Any, Any]]:
        for text, value in wanted.items():
            name, _, member = str(text).partition(" of ")
            if name not in self.program.calculations:
                raise ScenarioError(f"there is no calculation `{name}`")
            number = found.view.value(Ref(name, member or None))
            domain = self.program.symbols[name].domain
            assert isinstance(number, Number) and isinstance(domain, NumberDomain)
            yield f"calculation {text}", str(value), _calculated(number, domain, str(value))

    def _voided(self, found: Assessment, wanted: Sequence[str]) -> Iterable[tuple[str, Any, Any]]:
        for text in wanted:
            ref = read_fact(self.program, text, self._members())
            fact = self.program.facts[ref.name]
            taken = [
                o
                for o in found.history.before((ref.name, ref.member), found.view.moment)
                if o.value is not None
            ]
            doubt = found.view.doubt(fact, ref, taken[-1]) if taken else None
            reasons = {r.why.name for r in found.view.value(ref).reasons}
            void = (doubt is not None and doubt.why.name == "VOID") or bool(reasons & {"VOID", "STALE"})
            yield f"voided {text}", "void", "void" if void else f"stands ({doubt})"

    def _suspects(self, found: Assessment, wanted: Sequence[str]) -> Iterable[tuple[str, Any, Any]]:
        yield "suspects", sorted(wanted), sorted({str(s.ref) for s in found.suspicions})

    def _refuses(self, found: Assessment, wanted: Mapping[str, Any]) -> Iterable[tuple[str, Any, Any]]:
        for name, value in wanted.items():
            try:
                ref = read_fact(self.program, name, self._members())
                read_value(self.program, ref, str(value), now=self.now, zone=self.zone)
                got = "taken"
            except EntryError:
                got = "refused"
            yield f"refuses {name}", "refused", got

    def _places(self, found: Assessment, wanted: Mapping[str, Any]) -> Iterable[tuple[str, Any, Any]]:
        states = {p.place: p.status for p in found.places}
        for name, status in wanted.items():
            yield f"place {name}", str(status), states.get(name, "unknown place")

    def _trail_says(self, found: Assessment, wanted: Sequence[str]) -> Iterable[tuple[str, Any, Any]]:
        if self.trail is None:
            return
        said = " ".join(self.trail(found, self.lines, self.zone).split()).casefold()
        for phrase in wanted:
            yield (
                "trail says",
                phrase,
                phrase if " ".join(phrase.split()).casefold() in said else "no such words",
            )

    def _trail_silent(self, found: Assessment, wanted: Sequence[str]) -> Iterable[tuple[str, Any, Any]]:
        if self.trail is None:
            return
        said = " ".join(self.trail(found, self.lines, self.zone).split()).casefold()
        for phrase in wanted:
            yield "trail does not say", "silence", phrase if phrase.casefold() in said else "silence"


def _shown(program: Program, found: Assessment, ref: Ref, wanted: str) -> str:
    """What a fact is now, in the words of the expectation where it is a number."""
    value = found.view.value(ref)
    domain = program.facts[ref.name].domain
    if isinstance(value, Options):
        names = domain.of_mask(value.mask)  # type: ignore[union-attr]
        return names[0] if len(names) == 1 else "open"
    if value.reasons or value.undefined:
        return "open"
    assert isinstance(domain, NumberDomain)
    if wanted == "open":
        return "known"
    read = quantity.read(wanted, domain.dimension, default=program.facts[ref.name].unit)
    return wanted if abs(read.value - value.low) <= 1e-9 * max(1.0, abs(value.low)) else str(value.low)


def _calculated(number: Number, domain: NumberDomain, wanted: str) -> str:
    """What a calculation gives, in the words of the expectation where it is that number, as far as written.

    `open` is no number at all; `at least 5 oz` and `at most 5 oz` are one end, the other one not known.
    """
    if number.undefined:
        return "open"
    end = next((word for word in ("at least ", "at most ") if wanted.startswith(word)), "")
    if wanted == "open":
        return "known"
    written = wanted.removeprefix(end)
    read = quantity.read(written, domain.dimension)
    digits = re.match(r"-?\d+(?:\.(\d+))?", written)
    assert digits is not None, written
    step = (
        quantity.read(
            re.sub(r"^-?[\d.]+", f"{10.0 ** -len(digits[1] or ''):.9f}", written), domain.dimension
        ).value
        - quantity.read(re.sub(r"^-?[\d.]+", "0", written), domain.dimension).value
    )
    if (number.low == -math.inf, number.high == math.inf) != (end == "at most ", end == "at least "):
        return f"{number.low} to {number.high}"
    ends = {"at least ": (number.low,), "at most ": (number.high,), "": (number.low, number.high)}[end]
    return wanted if all(abs(each - read.value) <= 0.5001 * step for each in ends) else str(ends)
