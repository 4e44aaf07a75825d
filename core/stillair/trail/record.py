"""Every entry of a job in the order it was made: as read, as used, by whom, when, and what corrected it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime

from stillair.assess.history import Observation
from stillair.because import reading_used
from stillair.condition.core import Ref
from stillair.job import JSON
from stillair.job import Line as Entry
from stillair.wording import Wording

from .document import Code, Item, Line, Part, Piece, Strong, line
from .prose import prose
from .reason import LEFT_OUT, quoted

__all__ = ["record"]

_APART = 60.0
"""Seconds between taking and entering from which both times are shown (judgement: a minute on the clock)."""
_LEFT_OUT = f"({LEFT_OUT})"


def record(wording: Wording, entries: Sequence[Entry]) -> Part:
    """All entries known, grouped by the day they were made on."""
    days: dict[str, list[Item]] = {}
    before: tuple[object, bool] | None = None
    for entry in entries:
        if entry.entered > wording.found.history.known:
            continue
        local = datetime.fromtimestamp(entry.entered, UTC).astimezone(wording.zone)
        day = f"{local.date().isoformat()}, UTC{local.isoformat()[-6:]}"
        by = (entry.by, "by" in entry.left_out)
        days.setdefault(day, []).append(_Entry(wording, entries, entry).item(by != before))
        before = by
    parts = tuple(Part(day, (tuple(found),)) for day, found in days.items())
    return Part(
        "Every entry, in order",
        (
            line(
                "Each entry has the number of its line in the file. "
                "The time is that of observing. Where the entry was made later, both are given. "
                "Who made it is said where that changes."
            ),
            *parts,
        ),
    )


class _Entry:
    def __init__(self, wording: Wording, entries: Sequence[Entry], entry: Entry) -> None:
        self.wording = wording
        self.entries = entries
        self.entry = entry

    def item(self, by: bool) -> Item:
        """The entry; `by` says whether to name who made it."""
        entry = self.entry
        pieces: list[Piece] = [Strong(f"Line {entry.n}"), f", {self._times()}: "]
        pieces += self._said(entry.kind, entry.body)
        pieces.append(".")
        if by and "by" in entry.left_out:
            pieces.append(f" By: {_LEFT_OUT}.")
        elif by:
            pieces.append(f" By {entry.by}." if entry.by is not None else " No name given.")
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
            doubt = self.wording.found.view.doubt(
                fact, Ref(observation.fact, observation.member), observation
            )
            if doubt is not None:
                yield Item(line("Does not count: ", self.wording.reason(doubt)))

    def _text(self, body: Mapping[str, JSON], key: str) -> str:
        if key in body:
            return str(body[key])
        return _LEFT_OUT if key in self.entry.left_out else ""

    def _quoted(self, body: Mapping[str, JSON], key: str) -> str:
        """Words of a person in quotation marks, which they cannot close."""
        text = self._text(body, key)
        return quoted(text) if text and key in body else text

    def _question(self, body: Mapping[str, JSON]) -> str:
        """What was asked, before its name."""
        fact = self.wording.program.facts.get(str(body["fact"]))
        return f"{prose(fact.spec.ask)} " if fact is not None else ""

    def _name(self, name: str, body: Mapping[str, JSON]) -> str:
        of = self._text(body, "of")
        return f"{name} of {of}" if of else name

    def _said(self, kind: str, body: Mapping[str, JSON]) -> Line:
        program = self.wording.program
        match kind:
            case "job":
                return line(
                    "job begun: ", self._quoted(body, "title"), ", written by ", self._text(body, "engine")
                )
            case "open":
                checklist = program.checklists.get(str(body["checklist"]))
                title = prose(checklist.title) if checklist is not None else str(body["checklist"])
                return line("checklist opened: ", title)
            case "close":
                what = body.get("checklist")
                closed = "the job closed" if what is None else f"checklist {what} closed"
                return line(closed, ": ", self._quoted(body, "outcome"))
            case "observe":
                return self._observed(body)
            case "unavailable":
                name = Code(self._name(str(body["fact"]), body))
                given = [self._quoted(body, key) for key in ("reason", "why")]
                given = [text for text in dict.fromkeys(given) if text not in ("", "“cannot be had”")]
                question = self._question(body)
                return line(question, name, " cannot be had", ": " if given else "", ", ".join(given))
            case "event":
                spec = program.events.get(str(body["event"]))
                said = prose(spec.say) if spec is not None else str(body["event"]).replace("_", " ")
                name = Code(self._name(str(body["event"]), body))
                return (*line("event ", name, ": ", said), *self._anyway(body))
            case "member":
                return line(
                    "added to the list ",
                    Code(str(body["list"])),
                    ": ",
                    self._quoted(body, "label"),
                    " (",
                    Code(str(body["member"])),
                    ")",
                )
            case "listed":
                return line("the list ", Code(str(body["list"])), " is complete: that is all")
            case "correct":
                return self._correction(body)
            case "instrument":
                return line(
                    "instrument ", self._text(body, "serial"), " (", Code(str(body["kind"])), ") declared"
                )
            case "done":
                step = program.steps.get(str(body["step"]))
                title = prose(step.spec.title) if step is not None else str(body["step"])
                name = Code(self._name(str(body["step"]), body))
                return (*line("done: ", title, " (", name, ")"), *self._anyway(body))
            case "skip":
                return line(
                    "skipped: ",
                    Code(self._name(str(body["step"]), body)),
                    ", because: ",
                    self._quoted(body, "why"),
                )
            case "handover":
                return line("handed over to ", self._text(body, "to"))
            case "note":
                return line("note: ", self._quoted(body, "text"))
            case "emergency":
                return line("emergency: “leave, do not switch, call” was shown")
            case "move":
                why = self._quoted(body, "why")
                return line("moved to other versions: ", _versions(body), f", because: {why}" if why else "")
            case "repaired":
                return line(
                    "a torn last line was set aside as ", Code(str(body["kept"])), f", {body['bytes']} bytes"
                )
        return line(kind)

    def _anyway(self, body: Mapping[str, JSON]) -> Line:
        """The words for what was done though not permitted, if it was."""
        why = self._quoted(body, "why")
        return (f", though not permitted at that time: {why}",) if why else ()

    def _observed(self, body: Mapping[str, JSON]) -> Line:
        name = Code(self._name(str(body["fact"]), body))
        if "value" in self.entry.left_out or "read" in self.entry.left_out:
            return line(name, " ", _LEFT_OUT)
        used = self._used(body)
        pieces: list[Piece] = [self._question(body), name, ": as read ", Code(self._text(body, "read"))]
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
            self.entry.n,
            self.entry.taken,
            self.entry.entered,
            None,
            str(body["fact"]),
            str(of) if of is not None else None,
            float(value) if isinstance(value, int | float) else str(value),
            "",
            instrument=str(body["instrument"]) if "instrument" in body else None,
        )
        return reading_used(self.wording, observation)

    def _correction(self, body: Mapping[str, JSON]) -> Line:
        number = body["line"]
        why = self._quoted(body, "why")
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
