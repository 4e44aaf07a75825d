"""The instruments of a job: serials, tolerances, check dates, and the readings taken with each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

from stillair import quantity
from stillair.quantity import DIMENSIONS, QuantityError, Unit
from stillair.wording import Wording, in_unit

__all__ = ["Carried", "carried"]


@dataclass(frozen=True, slots=True)
class Carried:
    """One instrument, or a kind of instrument that readings without a serial were taken with.

    Tolerances are in `unit`; None where they are not known. `check_every` is in seconds.
    """

    serial: str | None
    kind: str | None
    title: str
    declared: bool
    offset: float | None
    repeat: float | None
    resolution: float | None
    unit: str | None
    tolerances: str
    checked: str | None
    check_every: float | None
    lines: tuple[int, ...]

    def due(self) -> str | None:
        """The date by which it is to be checked again; None where no date or no interval is known."""
        if self.checked is None or self.check_every is None:
            return None
        return (date.fromisoformat(self.checked) + timedelta(seconds=self.check_every)).isoformat()

    def overdue(self, now: float, zone: tzinfo) -> bool | None:
        """Whether its check is overdue at a moment; None where that is not known."""
        due = self.due()
        if due is None:
            return None
        return datetime.fromtimestamp(now, UTC).astimezone(zone).date() > date.fromisoformat(due)


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
    items = [
        _carried(wording, s, i.kind, True, (i.offset, i.repeat, i.resolution), i.checked, used.get(s, []))
        for s, i in history.instruments.items()
    ]
    for serial in sorted(set(used) - set(history.instruments)):
        items.append(_carried(wording, serial, kind_of.get(serial), False, None, None, used[serial]))
    for kind_name in sorted(without):
        items.append(_carried(wording, None, kind_name, False, None, None, without[kind_name]))
    return items


def _carried(
    wording: Wording,
    serial: str | None,
    kind_name: str | None,
    declared: bool,
    given: tuple[float, float, float] | None,
    checked: str | None,
    lines: list[int],
) -> Carried:
    kind = wording.program.kinds.get(kind_name or "")
    if given is None and kind is not None:
        given = (kind.offset, kind.repeat, kind.resolution)
    unit = _unit(wording, kind_name) if kind is not None else None
    offset: float | None = None
    repeat: float | None = None
    resolution: float | None = None
    tolerances = "tolerances not known"
    if given is not None and unit is not None:
        offset, repeat, resolution = (in_unit(value, unit) for value in given)
        parts = [
            f"{name} ±{quantity.show(value, unit)}"
            for name, value in zip(("offset", "repeat", "resolution"), given, strict=True)
            if value
        ]
        tolerances = ", ".join(parts) or "no tolerance declared"
    return Carried(
        serial,
        kind_name,
        kind.title if kind is not None else "",
        declared,
        offset,
        repeat,
        resolution,
        unit.symbol if unit is not None else None,
        tolerances,
        checked,
        _check_every(wording, kind_name),
        tuple(sorted(lines)),
    )


def _unit(wording: Wording, kind: str | None) -> Unit:
    """The unit of differences in which readings of a kind are made."""
    facts = wording.program.facts.values()
    read = (
        f.unit for f in facts if f.unit is not None and f.spec.read_with and f.spec.read_with.text == kind
    )
    dimension = DIMENSIONS[wording.program.kinds[kind or ""].dimension]
    return quantity.difference_unit(next(read, quantity.canonical_unit(dimension)))


def _check_every(wording: Wording, kind: str | None) -> float | None:
    for checklist in wording.program.checklists.values():
        for spec in checklist.instruments:
            if spec.name == kind and spec.check_every is not None:
                try:
                    return quantity.read(spec.check_every.text, DIMENSIONS["duration"]).value
                except QuantityError:
                    return None
    return None
