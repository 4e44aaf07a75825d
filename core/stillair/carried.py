"""The instruments of a job: serials, tolerances, check dates, and the readings taken with each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

from stillair import quantity
from stillair.assess import Instrument, Observation, Program
from stillair.assess.program import Kind
from stillair.condition.core import Ref
from stillair.quantity import DIMENSIONS, QuantityError, Unit
from stillair.wording import Wording, duration, in_unit

__all__ = ["Carried", "carried", "check_every", "due_by", "in_doubt"]


@dataclass(frozen=True, slots=True)
class Carried:
    """One instrument, or a kind of instrument that readings without a serial were taken with.

    Tolerances are in `unit`; None where they are not known. `check_every` is in seconds. A check date that
    lay ahead when it was entered is not believed: it is `doubted`, and `checked` is None.
    """

    serial: str | None
    kind: str | None
    title: str
    declared: bool
    offset: float | None
    repeat: float | None
    resolution: float | None
    of_reading: float | None
    unit: str | None
    tolerances: str
    checked: str | None
    check_every: float | None
    lines: tuple[int, ...]
    doubted: str | None = None

    def due(self) -> str | None:
        """The date by which it is to be checked again; None where none is known, or where it is never due."""
        return due_by(self.checked, self.check_every)

    def overdue(self, now: float, zone: tzinfo) -> bool | None:
        """Whether its check is overdue at a moment; None where that is not known."""
        if self.checked is None or self.check_every is None:
            return None
        due = self.due()
        return due is not None and _day(now, zone) > date.fromisoformat(due)

    def caution(self, now: float, zone: tzinfo) -> str | None:
        """What is said of an instrument past its check date, or of none where its kind is to be checked."""
        who = self.serial if self.serial is not None else f"{self.title} without a serial"
        if self.overdue(now, zone):
            return f"{who} was due for its check by {self.due()}"
        if self.checked is None and self.check_every is not None:
            dated = f"a check date not to be believed, {self.doubted}" if self.doubted else "no check date"
            return f"{who} has {dated}; its kind is checked every {duration(self.check_every)}"
        return None

    def doubtful(self, wording: Wording) -> list[Observation]:
        """The readings it casts doubt on, where there is a caution: those after the date, or all."""
        due = self.due()
        found = (wording.observation_of(line) for line in self.lines)
        return [
            o
            for o in found
            if o is not None and (due is None or _day(o.taken, wording.zone) > date.fromisoformat(due))
        ]


def due_by(checked: str | None, every: float | None) -> str | None:
    """The date some seconds after another; None where one is not known, or beyond the year 9999: never."""
    if checked is None or every is None:
        return None
    try:
        return (date.fromisoformat(checked) + timedelta(seconds=every)).isoformat()
    except OverflowError:
        return None


def in_doubt(wording: Wording, serial: str, now: float) -> str | None:
    """The caution about one instrument in a line, with the readings taken with it; None where none is due."""
    each = next((c for c in carried(wording) if c.serial == serial), None)
    said = each.caution(now, wording.zone) if each is not None else None
    if each is None or said is None:
        return None
    read = [f"{Ref(o.fact, o.member)} {wording.clock(o.taken)}" for o in each.doubtful(wording)]
    return f"{said}. Readings taken with it: {', '.join(read) or 'none yet'}."


def _day(at: float, zone: tzinfo) -> date:
    return datetime.fromtimestamp(at, UTC).astimezone(zone).date()


def carried(wording: Wording) -> list[Carried]:
    """Declared instruments in their order, then serials never declared, then kinds read without a serial."""
    history, program = wording.found.history, wording.program
    used: dict[str, list[int]] = {}
    without: dict[str, list[int]] = {}
    kind_of: dict[str, str] = {}
    for found in history.observations.values():
        for observation in found:
            fact = program.facts.get(observation.fact)
            if observation.value is None or fact is None:
                continue
            kind = fact.spec.read_with.text if fact.spec.read_with is not None else None
            if observation.instrument is not None:
                used.setdefault(observation.instrument, []).append(observation.line)
                if kind is not None:
                    kind_of.setdefault(observation.instrument, kind)
            elif kind is not None:
                without.setdefault(kind, []).append(observation.line)
    items = [_carried(wording, s, i.kind, True, i, used.get(s, [])) for s, i in history.instruments.items()]
    for serial in sorted(set(used) - set(history.instruments)):
        items.append(_carried(wording, serial, kind_of.get(serial), False, None, used[serial]))
    for kind_name in sorted(without):
        items.append(_carried(wording, None, kind_name, False, None, without[kind_name]))
    return items


def _carried(
    wording: Wording,
    serial: str | None,
    kind_name: str | None,
    declared: bool,
    given: Instrument | Kind | None,
    lines: list[int],
) -> Carried:
    kind = wording.program.kinds.get(kind_name or "")
    said = given.checked if isinstance(given, Instrument) else None
    ahead = (
        isinstance(given, Instrument)
        and said is not None
        and date.fromisoformat(said) > _day(given.declared[0], wording.zone)
    )
    given = given or kind
    unit = _unit(wording, kind_name) if kind is not None else None
    offset: float | None = None
    repeat: float | None = None
    resolution: float | None = None
    tolerances = "tolerances not known"
    if given is not None and unit is not None:
        amounts = (given.offset, given.repeat, given.resolution)
        offset, repeat, resolution = (in_unit(value, unit) for value in amounts)
        parts = [
            f"{name} ±{quantity.show(value, unit)}"
            for name, value in zip(("offset", "repeat", "resolution"), amounts, strict=True)
            if value
        ]
        if given.of_reading:
            parts.append(f"±{100 * given.of_reading:g} % of the reading")
        tolerances = ", ".join(parts) or "no tolerance declared"
    return Carried(
        serial,
        kind_name,
        kind.title if kind is not None else "",
        declared,
        offset,
        repeat,
        resolution,
        given.of_reading if given is not None else None,
        unit.symbol if unit is not None else None,
        tolerances,
        None if ahead else said,
        check_every(wording.program, kind_name),
        tuple(sorted(lines)),
        said if ahead else None,
    )


def _unit(wording: Wording, kind: str | None) -> Unit:
    """The unit of differences in which readings of a kind are made."""
    facts = wording.program.facts.values()
    read = (
        f.unit for f in facts if f.unit is not None and f.spec.read_with and f.spec.read_with.text == kind
    )
    dimension = DIMENSIONS[wording.program.kinds[kind or ""].dimension]
    return quantity.difference_unit(next(read, quantity.canonical_unit(dimension)))


def check_every(program: Program, kind: str | None) -> float | None:
    """Seconds after which an instrument of this kind is to be checked again; None where nothing is said."""
    for checklist in program.checklists.values():
        for spec in checklist.instruments:
            if spec.name == kind and spec.check_every is not None:
                try:
                    return quantity.read(spec.check_every.text, DIMENSIONS["duration"]).value
                except QuantityError:
                    return None
    return None
