"""A job told as a scenario: what stands entered, in order, and what follows from it at the end.

Names of people, serial numbers, what members were called and whatever else is personal are left out. A
correction stands in the place of what it corrects, and what was withdrawn is not there: the scenario says
what the job now says. That it was closed is left out, so that what was open then is still told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import yaml

from stillair import quantity
from stillair.assess import Assessment, May, Program, assess
from stillair.assess.history import corrections
from stillair.assess.program import Fact
from stillair.condition.core import NumberDomain
from stillair.job import Line

__all__ = ["recorded"]

_FIRST, _NEXT = "A. Tech", "B. Tech"
_LEFT_OUT = "left out"
_WIDTH = 110


def recorded(program: Program, lines: Sequence[Line]) -> str:
    """The scenario of a job, as YAML."""
    offset = timezone(timedelta(minutes=lines[0].offset))
    start = datetime.fromtimestamp(lines[0].taken, offset).replace(second=0, microsecond=0)
    teller = _Teller(program, lines)
    parts = list(teller.parts(start))
    going_on = [line for line in lines if line.kind != "close"]
    found = assess(program, going_on, max(line.entered for line in lines))
    parts.append({"at": _when(found.at, start)})
    parts.append({"expect": _follows(found, teller)})
    packs = sorted(program.packs)
    scenario = {
        "scenario": "A job as it was recorded",
        "about": "Say here what this job must never get wrong, and keep of `expect` what shows it.",
        "pack": packs[0] if len(packs) == 1 else packs,
        "starts": start.strftime("%Y-%m-%d %H:%M ") + _zone(lines[0].offset),
        "by": _FIRST,
        "made": "recorded",
        "does": parts,
    }
    return yaml.safe_dump(
        scenario, sort_keys=False, allow_unicode=True, width=_WIDTH, default_flow_style=None
    )


def _zone(minutes: int) -> str:
    sign, minutes = ("-", -minutes) if minutes < 0 else ("+", minutes)
    return f"{sign}{minutes // 60:02}:{minutes % 60:02}"


def _when(at: float, start: datetime) -> str:
    """A moment of the job to the millisecond, as `at` takes it."""
    moment = datetime.fromtimestamp(at, start.tzinfo)
    return moment.replace(tzinfo=None).isoformat(" ", "milliseconds" if moment.microsecond else "seconds")


class _Teller:
    """Tells lines one by one; serials and members that were added get plain names."""

    def __init__(self, program: Program, lines: Sequence[Line]) -> None:
        self.program = program
        self.lines = lines
        self.serials: dict[str, str] = {}
        self.declared: set[str] = set()
        """The serials of which an instrument was told."""
        self.members: dict[tuple[str, str], str] = {}

    def parts(self, start: datetime) -> Iterator[dict[str, Any]]:
        """One entry after another, each with its time where that is another one."""
        standing = corrections(self.lines)
        at = start.timestamp()
        for line in self.lines:
            kind, body = line.kind, line.body
            correction = standing.get(line.n)
            if correction is not None:
                new = correction.body.get("body")
                if not isinstance(new, Mapping):
                    continue  # withdrawn
                kind = "observe" if kind == "unavailable" and "value" in new else kind
                body = new
            part = self._part(kind, body)
            if part is None:
                continue
            if line.taken != at:
                at = line.taken
                yield {"at": _when(at, start)}
            yield part

    def named(self, per: str | None, member: str) -> str:
        """A member as the scenario calls it."""
        return member if per is None else self.members.get((per, member), member)

    def _of(self, name: str, per: str | None, body: Mapping[str, Any]) -> str:
        member = body.get("of")
        return name if member is None else f"{name} of {self.named(per, str(member))}"

    def _serial(self, body: Mapping[str, Any], key: str) -> str:
        return self.serials.setdefault(str(body[key]), f"T{len(self.serials) + 1}")

    def _part(self, kind: str, body: Mapping[str, Any]) -> dict[str, Any] | None:
        """What one line of a job is in a scenario; None where it has no effect on what follows."""
        program = self.program
        match kind:
            case "observe" | "unavailable":
                fact = program.facts.get(str(body["fact"]))
                if fact is None:
                    return None  # the job was moved since, to rules without it
                about = self._of(fact.name, fact.per, body)
                if kind == "unavailable":
                    return {"cannot": {about: _LEFT_OUT}}
                found: dict[str, Any] = {"note": {about: _value(program, fact, body)}}
                kind_read = fact.spec.read_with
                if body.get("instrument") is not None and kind_read is not None:
                    serial = self._serial(body, "instrument")
                    if serial not in self.declared:
                        # What is usual for its kind was assumed, and a scenario says so.
                        found = {"instrument": {"serial": serial, "kind": kind_read.text}, **found}
                        self.declared.add(serial)
                    found["with"] = {about: serial}
                return found
            case "event":
                name, member = str(body["event"]), body.get("of")
                if name not in program.symbols:
                    return None
                per = program.symbols[name].per
                return {"event": name} | ({} if member is None else {"of": self.named(per, str(member))})
            case "done" | "skip":
                step = program.steps.get(str(body["step"]))
                if step is None:
                    return None
                about = self._of(step.spec.name, step.per, body)
                return {"did": about} if kind == "done" else {"skip": {about: _LEFT_OUT}}
            case "member":
                per, member = str(body["list"]), str(body["member"])
                if per not in program.lists:
                    return None
                count = sum(known == per for known, _ in self.members)
                name = self.members.setdefault((per, member), f"{per}_{count + 1}")
                return {"member": {per: [name]}}
            case "listed":
                return {"listed": str(body["list"])} if str(body["list"]) in program.lists else None
            case "handover":
                return {"handover": _NEXT}
            case "emergency":
                return {"emergency": True}
            case "instrument":
                self.declared.add(self._serial(body, "serial"))
                return {"instrument": self._instrument(body)}
        return None

    def _instrument(self, body: Mapping[str, Any]) -> dict[str, Any]:
        kind = self.program.kinds[str(body["kind"])]
        dimension = quantity.DIMENSIONS[kind.dimension]
        if dimension.point is not None:
            dimension = quantity.difference_of(dimension)
        unit = quantity.canonical_unit(dimension).symbol
        found: dict[str, Any] = {"serial": self._serial(body, "serial"), "kind": kind.name}
        for name in ("offset", "repeat", "resolution"):
            if body.get(name) is not None:
                found[name] = f"{body[name]!r} {unit}"
        if body.get("of_reading") is not None:
            found["of reading"] = f"{100 * body['of_reading']!r} %"
        if "checked" in body:
            found["checked"] = str(body["checked"])
        return found


def _value(program: Program, fact: Fact, body: Mapping[str, Any]) -> str:
    """What was entered, so that it is read as the same value again; words of a person are left out."""
    value, domain = body.get("value"), fact.domain
    if not isinstance(domain, NumberDomain):
        return _LEFT_OUT if value in (True, "present") else str(value)
    assert isinstance(value, int | float)
    if domain.dimension.name == "moment":
        return datetime.fromtimestamp(value, UTC).isoformat(" ", "seconds").replace("+00:00", " +00:00")
    read = str(body.get("read") or "")
    try:
        if read and quantity.read(read, domain.dimension, default=fact.unit).value == value:
            return read
    except quantity.QuantityError:
        pass
    return f"{value!r} {quantity.canonical_unit(domain.dimension).symbol}"


def _follows(found: Assessment, teller: _Teller) -> dict[str, Any]:
    """What follows at the end: findings, stopped activities, the next action, the waits that run."""
    expect: dict[str, Any] = {}
    program = found.program
    findings = {
        _called(teller, f.name, program.rules[program.findings[f.name][0]].per, f.member): f.grade
        for f in found.findings
        if f.grade not in ("none", "open")
    }
    if findings:
        expect["findings"] = findings
    answers = {name: found.activity(name).may for name in found.program.activities}
    for key, wanted in (("stopped", May.NO), ("allowed", May.YES)):
        names = [name for name, may in answers.items() if may is wanted]
        if names:
            expect[key] = names
    running = sorted(wait.name for wait in found.running())
    expect["awaits"] = running
    action = found.next
    name = action.step or action.kind
    per = program.steps[action.step].per if action.step is not None else None
    expect["next"] = _called(teller, name, per, action.member)
    return expect


def _called(teller: _Teller, name: str, per: str | None, member: str | None) -> str:
    return name if member is None else f"{name} of {teller.named(per, member)}"
