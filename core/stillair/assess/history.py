"""A job file folded: what was observed, what happened and who is in the lists, as known at one time."""

from __future__ import annotations

import copy
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from stillair.job import JSON, Line

from .program import Program, Step

__all__ = ["History", "Instrument", "Moment", "Observation", "corrections", "end_of", "events_of", "fold"]

#: A time and the line it stands in: of what is entered for one time, a line knows only those before it.
Moment = tuple[float, float]


def end_of(time: float) -> Moment:
    """The moment after everything entered for a time."""
    return time, float("inf")


class Observation(NamedTuple):
    """One standing entry. `value` is a canonical number, an option, or None where it cannot be had."""

    line: int
    taken: float
    entered: float
    by: str | None
    fact: str
    member: str | None
    value: float | str | None
    read: str
    unit: str | None = None
    instrument: str | None = None
    why: str = ""
    corrects: int | None = None

    @property
    def moment(self) -> tuple[float, int]:
        """When it was taken, and where it stands among the lines of that time; a correction keeps both."""
        return self.taken, self.line if self.corrects is None else self.corrects


class Instrument(NamedTuple):
    """Tolerances canonical: `offset`, and `of_reading` as a share, are common to all its readings.

    `repeat` belongs to each.
    """

    serial: str
    kind: str
    offset: float
    repeat: float
    resolution: float
    checked: str | None
    line: int
    declared: Moment
    of_reading: float = 0.0


Key = tuple[str, str | None]


@dataclass(slots=True)
class History:
    """What the lines entered up to `known` say; times rising, later lines after earlier ones."""

    known: float
    observations: dict[Key, list[Observation]] = field(default_factory=dict)
    events: dict[Key, list[tuple[float, int]]] = field(default_factory=dict)
    members: dict[str, dict[str, tuple[float, str]]] = field(default_factory=dict)
    listed: dict[str, list[tuple[float, int]]] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    """By serial, as declared last."""
    declared: dict[str, list[Instrument]] = field(default_factory=dict)
    done: dict[Key, list[tuple[float, int]]] = field(default_factory=dict)
    skipped: dict[Key, tuple[float, str, int]] = field(default_factory=dict)
    opened: dict[str, float] = field(default_factory=dict)
    closed: dict[str, tuple[float, str]] = field(default_factory=dict)
    corrected: dict[int, int] = field(default_factory=dict)
    """Line corrected → the line that corrects it."""
    doubted: dict[int, str] = field(default_factory=dict)
    """Lines that nothing may rest on until they are settled, and why."""
    start: float = 0.0
    last: float = 0.0
    taken: float = 0.0
    """The latest time at which anything was taken."""

    def before(self, key: Key, moment: Moment) -> list[Observation]:
        """The observations of a fact up to a moment, oldest first."""
        found = self.observations.get(key)
        if not found:
            return []
        if found[-1].moment <= moment:
            return found
        return found[: bisect_right(found, moment, key=_moment_of)]

    def latest_event(self, key: Key, moment: Moment) -> tuple[float, int] | None:
        """The last such event up to a moment, as (time, line)."""
        found = self.events.get(key)
        if not found:
            return None
        index = bisect_right(found, moment)
        return found[index - 1] if index else None

    def on_since(self, state: str, moment: Moment) -> tuple[float, int] | None:
        """When a powered state last began, as (time, line), if it was not said to have ended since."""
        begun = self.latest_event((f"{state}_begun", None), moment)
        ended = self.latest_event((f"{state}_ended", None), moment)
        return begun if begun is not None and (ended is None or ended < begun) else None

    def instrument(self, serial: str | None, moment: Moment) -> Instrument | None:
        """An instrument as it was declared when a reading was taken, or, if it was declared later, first."""
        found = self.declared.get(serial or "")
        if not found:
            return None
        return next((each for each in reversed(found) if each.declared <= moment), found[0])

    def extended(self, lines: Iterable[Line], program: Program) -> History:
        """This history with a few plain lines more, all taken after what it holds; it is itself unchanged."""
        longer = copy.copy(self)
        longer.observations = dict(self.observations)
        longer.events = dict(self.events)
        longer.done = dict(self.done)
        for line in lines:
            step = program.steps.get(str(line.body.get("step"))) if line.kind == "done" else None
            of = line.body.get("of")
            member = str(of) if of is not None else None
            marks = events_of(step) if step is not None else ()
            _own(longer.observations, line.body.get("fact"), member)
            _own(longer.done, line.body.get("step"), member)
            for event in (line.body.get("event"), *marks):
                _own(longer.events, event, member)
                _own(longer.events, event, None)
            _take(longer, program, line, line.kind, line.body, line.taken, None)
            longer.last = max(longer.last, line.entered)
            longer.taken = max(longer.taken, line.taken)
        return longer


def _own(table: dict[Key, Any], name: object, member: str | None) -> None:
    """Give a copied table its own list for one key, before that is added to."""
    key = (str(name), member)
    if key in table:
        table[key] = list(table[key])


def fold(lines: Iterable[Line], program: Program, known: float) -> History:
    """Fold the lines entered up to `known`. A corrected line gives way to its correction.

    A correction of a value keeps the time the observation was taken; undoing removes it.
    """
    history = History(known)
    kept = [line for line in lines if line.entered <= known]
    standing = _corrections(kept, history)
    for line in kept:
        if line.kind == "job":
            history.start = line.taken
        history.last = max(history.last, line.entered)
        history.taken = max(history.taken, line.taken)
        if line.kind == "correct":
            continue
        correction = standing.get(line.n)
        if correction is None:
            _take(history, program, line, line.kind, line.body, line.taken, None)
            continue
        body = correction.body.get("body")
        if isinstance(body, Mapping):
            kind = "observe" if line.kind == "unavailable" and "value" in body else line.kind
            _take(history, program, correction, kind, body, line.taken, line.n)
    for found in history.observations.values():
        found.sort(key=lambda o: o.moment)
    for times in (*history.events.values(), *history.done.values()):
        times.sort()
    return history


def corrections(lines: Sequence[Line]) -> dict[int, Line]:
    """The correction in force for each line that has one; it withdraws the line if it has no body."""
    return _corrections(lines, History(float("inf")))


def _corrections(lines: Sequence[Line], history: History) -> dict[int, Line]:
    """The correction in force for each line; withdrawing one brings back what it replaced."""
    roots: dict[int, int] = {}
    stacks: dict[int, list[Line]] = {}
    for line in lines:
        if line.kind != "correct":
            continue
        target = int(_number(line.body["line"]))
        root = roots.get(target, target)
        roots[line.n] = root
        stack = stacks.setdefault(root, [])
        history.corrected[target] = line.n
        if target != root and line.body.get("body") is None:
            stack[:] = [each for each in stack if each.n != target]
        else:
            stack.append(line)
    for root, stack in stacks.items():
        if stack:
            history.corrected[root] = stack[-1].n
        else:
            history.corrected.pop(root, None)
    return {root: stack[-1] for root, stack in stacks.items() if stack}


def _take(
    history: History,
    program: Program,
    line: Line,
    kind: str,
    body: Mapping[str, JSON],
    taken: float,
    corrects: int | None,
) -> None:
    of = body.get("of")
    member = str(of) if of is not None else None
    order = line.n if corrects is None else corrects
    match kind:
        case "observe" | "unavailable":
            fact = str(body["fact"])
            value = body.get("value") if kind == "observe" else None
            if value is True:
                value = "present"
            observation = Observation(
                line.n,
                taken,
                line.entered,
                line.by,
                fact,
                member,
                float(value) if isinstance(value, int | float) else None if value is None else str(value),
                str(body.get("read") or ""),
                _text(body.get("unit")),
                _text(body.get("instrument")),
                str(body.get("why") or body.get("reason") or ""),
                corrects,
            )
            history.observations.setdefault((fact, member), []).append(observation)
        case "event":
            history.events.setdefault((str(body["event"]), member), []).append((taken, order))
        case "handover" | "emergency":
            history.events.setdefault((kind, None), []).append((taken, order))
        case "done":
            step = str(body["step"])
            before = history.done.setdefault((step, member), [])
            known = program.steps.get(step)
            if known is not None:
                for event in events_of(known):
                    if known.powered is not None and event == f"{known.powered}_begun":
                        begun = history.events.get((event, None))
                        if begun and (not before or begun[-1] > before[-1]):
                            continue  # it was said to begin, and this is what it was begun for
                    symbol = program.symbols.get(event)
                    of_event = member if symbol is not None and symbol.per is not None else None
                    history.events.setdefault((event, of_event), []).append((taken, order))
            before.append((taken, order))
        case "skip":
            history.skipped[(str(body["step"]), member)] = (taken, str(body["why"]), line.n)
        case "member":
            names = history.members.setdefault(str(body["list"]), {})
            names.setdefault(str(body["member"]), (taken, str(body.get("label") or body["member"])))
        case "listed":
            history.listed.setdefault(str(body["list"]), []).append((taken, order))
        case "instrument":
            serial = str(body["serial"])
            kind_name = str(body["kind"])
            usual = program.kinds.get(kind_name)
            offset, repeat, resolution, of_reading = (
                _number(body[name] if body.get(name) is not None else getattr(usual, name, 0.0))
                for name in ("offset", "repeat", "resolution", "of_reading")
            )
            instrument = Instrument(
                serial, kind_name, offset, repeat, resolution, _text(body.get("checked")), line.n,
                (taken, order), of_reading,
            )  # fmt: skip
            history.instruments[serial] = instrument
            history.declared.setdefault(serial, []).append(instrument)
        case "open":
            history.opened[str(body["checklist"])] = taken
            history.closed.pop(str(body["checklist"]), None)
        case "close":
            name = body.get("checklist")
            history.closed[str(name) if name is not None else ""] = (taken, str(body.get("outcome") or ""))


def _moment_of(observation: Observation) -> Moment:
    return observation.moment


def events_of(step: Step) -> tuple[str, ...]:
    """The events that a step done stands for; one inside a powered state also says that it has begun."""
    marks = tuple(text.text for text in step.spec.marks)
    return marks if step.powered is None else (*marks, f"{step.powered}_begun")


def _text(value: object) -> str | None:
    return None if value is None else str(value)


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else 0.0
