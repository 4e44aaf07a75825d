"""Every entry of a job in the order it was made: as read, as used, by whom, when, and what corrected it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime

from stillair import quantity
from stillair.assess.history import Observation
from stillair.because import reading_used
from stillair.condition.core import Ref
from stillair.job import JSON
from stillair.job import Line as Entry
from stillair.quantity import DIMENSIONS
from stillair.wording import Wording

from .document import Code, Item, Line, Part, Piece, Strong, line
from .prose import prose

__all__ = ["instruments", "record"]

_APART = 60.0
"""Seconds between taking and entering from which both times are shown (judgement: a minute on the clock)."""
_LEFT_OUT = "(left out of this copy)"


def record(wording: Wording, entries: Sequence[Entry]) -> Part:
    """All entries known, grouped by the day they were made on."""
    days: dict[str, list[Item]] = {}
    for entry in entries:
        if entry.entered > wording.found.history.known:
            continue
        local = datetime.fromtimestamp(entry.entered, UTC).astimezone(wording.zone)
        day = f"{local.date().isoformat()}, UTC{local.isoformat()[-6:]}"
        days.setdefault(day, []).append(_Entry(wording, entries, entry).item())
    parts = tuple(Part(day, (tuple(found),)) for day, found in days.items())
    return Part(
        "Every entry, in order",
        (
            line(
                "Each entry has the number of its line in the file. "
                "The time is that of observing. Where the entry was made later, both are given."
            ),
            *parts,
        ),
    )


class _Entry:
    def __init__(self, wording: Wording, entries: Sequence[Entry], entry: Entry) -> None:
        self.wording = wording
        self.entries = entries
        self.entry = entry

    def item(self) -> Item:
        entry = self.entry
        pieces: list[Piece] = [Strong(f"Line {entry.n}"), f", {self._times()}: "]
        pieces += self._said(entry.kind, entry.body)
        pieces.append(".")
        if "by" in entry.left_out:
            pieces.append(" By: " + _LEFT_OUT + ".")
        elif entry.by is not None:
            pieces.append(f" By {entry.by}.")
        return Item(tuple(pieces), tuple(self._under()))

    def _times(self) -> str:
        entry = self.entry
        entered = self.wording.moment(entry.entered, entry.entered)
        if entry.entered - entry.taken < _APART:
            return self.wording.moment(entry.taken, entry.entered)
        return f"taken {self.wording.moment(entry.taken, entry.entered)}, entered {entered}"

    def _under(self) -> Iterator[Item]:
        history = self.wording.found.history
        corrected = history.corrected.get(self.entry.n)
        if corrected is not None:
            yield Item(line(f"Corrected by line {corrected}; nothing rests on this entry any more."))
            return
        observation = self.wording.observation_of(self.entry.n)
        if observation is None or observation.value is None:
            return
        if observation.line in history.doubted:
            yield Item(line("In doubt: ", prose(history.doubted[observation.line])))
        fact = self.wording.program.facts.get(observation.fact)
        if fact is not None:
            doubt = self.wording.found.view.doubt(fact, Ref(observation.fact, observation.member), observation)
            if doubt is not None:
                yield Item(line("Does not count: ", self.wording.reason(doubt)))

    def _text(self, body: Mapping[str, JSON], key: str) -> str:
        if key in body:
            return str(body[key])
        return _LEFT_OUT if key in self.entry.left_out else ""

    def _name(self, name: str, body: Mapping[str, JSON]) -> str:
        of = self._text(body, "of")
        return f"{name} of {of}" if of else name

    def _said(self, kind: str, body: Mapping[str, JSON]) -> Line:
        program = self.wording.program
        match kind:
            case "job":
                return line("job begun: ", self._text(body, "title"), ", written by ", self._text(body, "engine"))
            case "open":
                checklist = program.checklists.get(str(body["checklist"]))
                title = prose(checklist.title) if checklist is not None else str(body["checklist"])
                return line("checklist opened: ", title)
            case "close":
                what = body.get("checklist")
                closed = "the job closed" if what is None else f"checklist {what} closed"
                return line(closed, ": ", self._text(body, "outcome"))
            case "observe":
                return self._observed(body)
            case "unavailable":
                name = Code(self._name(str(body["fact"]), body))
                why = self._text(body, "why")
                reason = self._text(body, "reason")
                return line(name, " cannot be had: ", reason, f", {why}" if why and why != reason else "")
            case "event":
                spec = program.events.get(str(body["event"]))
                said = prose(spec.say) if spec is not None else str(body["event"]).replace("_", " ")
                return line("event ", Code(self._name(str(body["event"]), body)), ": ", said)
            case "member":
                return line("added to the list ", Code(str(body["list"])), ": ", self._text(body, "label"),
                            " (", Code(str(body["member"])), ")")
            case "listed":
                return line("the list ", Code(str(body["list"])), " is complete: that is all")
            case "correct":
                return self._correction(body)
            case "instrument":
                return line("instrument ", self._text(body, "serial"), " (", Code(str(body["kind"])), ") declared")
            case "done":
                step = program.steps.get(str(body["step"]))
                title = prose(step.spec.title) if step is not None else str(body["step"])
                return line("done: ", title, " (", Code(self._name(str(body["step"]), body)), ")")
            case "skip":
                return line("skipped: ", Code(self._name(str(body["step"]), body)), ", because: ",
                            self._text(body, "why"))
            case "handover":
                return line("handed over to ", self._text(body, "to"))
            case "note":
                return line("note: ", self._text(body, "text"))
            case "emergency":
                return line("emergency: the words `leave, do not switch, call` were shown".replace("`", "“", 1)
                            .replace("`", "”"))
            case "move":
                why = self._text(body, "why")
                return line("moved to other versions: ", _versions(body), f", because: {why}" if why else "")
            case "repaired":
                return line("a torn last line was set aside as ", Code(str(body["kept"])),
                            f", {body['bytes']} bytes")
        return line(kind)

    def _observed(self, body: Mapping[str, JSON]) -> Line:
        name = Code(self._name(str(body["fact"]), body))
        if "value" in self.entry.left_out or "read" in self.entry.left_out:
            return line(name, " ", _LEFT_OUT)
        used = self._used(body)
        pieces: list[Piece] = [name, ": as read “", self._text(body, "read"), "”"]
        if used:
            pieces.append(f", used as {used}")
        serial = self._text(body, "instrument")
        if serial:
            pieces.append(f", with {serial}")
        return tuple(pieces)

    def _used(self, body: Mapping[str, JSON]) -> str:
        """What the value is taken as, with its tolerance; empty where it only is there (a text, a photo)."""
        value = body.get("value")
        if value is True or value == "present" or value is None:
            return ""
        of = body.get("of")
        observation = Observation(
            self.entry.n, self.entry.taken, self.entry.entered, None, str(body["fact"]),
            str(of) if of is not None else None,
            float(value) if isinstance(value, int | float) else str(value), "",
            instrument=str(body["instrument"]) if "instrument" in body else None,
        )
        return reading_used(self.wording, observation)

    def _correction(self, body: Mapping[str, JSON]) -> Line:
        number = body["line"]
        why = self._text(body, "why")
        because = f", because: {why}" if why else ""
        replacement = body.get("body")
        if not isinstance(replacement, Mapping):
            said = "taken back at once" if body.get("undo") is True else "taken back"
            return line(f"line {number} is {said}", because)
        original = self.entries[int(str(number)) - 1]
        while original.kind == "correct":
            original = self.entries[int(str(original.body["line"])) - 1]
        kind = original.kind
        if kind == "unavailable" and "value" in replacement:
            kind = "observe"
        return (f"line {number} is corrected to: ", *self._said(kind, replacement), because)


def _versions(body: Mapping[str, JSON]) -> str:
    found = []
    for key in ("packs", "plugins"):
        entries = body.get(key)
        if isinstance(entries, Mapping):
            for name, entry in sorted(entries.items()):
                if isinstance(entry, Mapping):
                    found.append(f"{name} {entry.get('version')}")
    return ", ".join(found)


def instruments(wording: Wording) -> Part:
    """Instruments declared: serial, kind, tolerances, check date, readings; then kinds read without a serial."""
    history = wording.found.history
    used: dict[str, list[int]] = {}
    without: dict[str, list[int]] = {}
    for found in history.observations.values():
        for observation in found:
            fact = wording.program.facts.get(observation.fact)
            if observation.value is None or fact is None:
                continue
            if observation.instrument is not None:
                used.setdefault(observation.instrument, []).append(observation.line)
            elif fact.spec.read_with is not None:
                without.setdefault(fact.spec.read_with.text, []).append(observation.line)
    items = []
    for serial, instrument in history.instruments.items():
        said = tolerances(wording, instrument.kind, instrument.offset, instrument.repeat, instrument.resolution)
        lines = sorted(used.get(serial, []))
        readings = f"read in lines {', '.join(map(str, lines))}" if lines else "no reading taken with it"
        checked = f"checked {instrument.checked}" if instrument.checked else "no check date given"
        items.append(Item(line(Strong(serial), " (", Code(instrument.kind), f"): {said}, {checked}, {readings}.")))
    for serial in sorted(set(used) - set(history.instruments)):
        lines = sorted(used[serial])
        text = f": not declared, so the tolerance of its kind was assumed; lines {', '.join(map(str, lines))}."
        items.append(Item(line(Strong(serial), text)))
    for kind_name, lines in sorted(without.items()):
        kind = wording.program.kinds[kind_name]
        said = tolerances(wording, kind.name, kind.offset, kind.repeat, kind.resolution)
        shown = ", ".join(map(str, sorted(lines)))
        items.append(
            Item(line(prose(kind.title), " (", Code(kind.name), f"), no serial given: {said} assumed, lines {shown}."))
        )
    if not items:
        return Part("Instruments", (line("No reading was taken with an instrument."),))
    return Part("Instruments", (tuple(items),))


def tolerances(wording: Wording, kind: str, offset: float, repeat: float, resolution: float) -> str:
    """Offset, repeat and resolution in the unit the kind is read in."""
    known = wording.program.kinds.get(kind)
    if known is None:
        return "tolerances not known"
    unit = next(
        (f.unit for f in wording.program.facts.values()
         if f.spec.read_with is not None and f.spec.read_with.text == kind and f.unit is not None),
        quantity.canonical_unit(DIMENSIONS[known.dimension]),
    )
    difference = quantity.difference_unit(unit)
    parts = [
        f"{name} ±{quantity.show(value, difference)}"
        for name, value in (("offset", offset), ("repeat", repeat), ("resolution", resolution))
        if value
    ]
    return ", ".join(parts) or "no tolerance declared"
