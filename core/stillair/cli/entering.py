"""What a person does to a job, as lines: entries, corrections, taking back."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime

from stillair import quantity
from stillair.assess import Assessment, Entry, EntryError, Observation, Program, read_value
from stillair.assess.program import PRESENCE
from stillair.condition.core import NumberDomain, OptionDomain, Ref
from stillair.fault import did_you_mean
from stillair.job import JSON, UNDO_WITHIN, Line

from .labels import fits
from .session import Session

__all__ = [
    "REASONS",
    "cannot",
    "check_event",
    "check_once",
    "check_part",
    "check_reason",
    "check_step",
    "correct",
    "declare_instrument",
    "did",
    "events",
    "happened",
    "last_entry",
    "needs_reason",
    "observe",
    "serial_for",
    "take_back",
    "taken_as",
]

REASONS = (
    "cannot reach it",
    "cannot see it",
    "no instrument for it here",
    "not safe to do now",
    "cannot tell from what is there",
)
"""Why a fact cannot be had, most often (judgement, no source)."""

_LEAST = 3
"""Characters of a reason, and of a part of a name (judgement): fewer are a slip of a key."""
_KEY = r"(?i:[a-z]|(?:[ynu]|yes|no)(?:[\s,;]+(?:[ynu]|yes|no))*|\W+)"
"""What is a key, or several, where words are asked."""
_TOLERANCE = r"±|\+\s*/\s*-|\+-"

_KEPT = frozenset({"job", "open", "close", "handover", "emergency", "move"})
"""Lines that are not taken back by an undo: each has its own verb, or is never undone."""


def observe(
    session: Session,
    assessment: Assessment,
    ref: Ref,
    text: str,
    *,
    serial: str | None = None,
    taken: float | None = None,
) -> Entry:
    """The entry of a value for a fact, not yet written. EntryError where it cannot be."""
    fact = session.program.facts[ref.name]
    domain = fact.domain
    if isinstance(domain, OptionDomain) and domain.catalogue is not None:
        name = _of_catalogue(domain, text)
        entry = read_value(session.program, ref, name)
        return entry._replace(body={**entry.body, "read": text.strip()})
    if domain == PRESENCE and re.fullmatch(_KEY, text.strip()):
        raise EntryError(
            f"`{text.strip()}` is a key, and `{ref}` takes {fits(session.program, ref)}",
            "type it in full; if it cannot be had, say so and why",
        )
    if serial is None:
        serial = serial_for(assessment, ref.name)
    else:
        _check_kind(assessment, ref, serial)
    moment = session.now() if taken is None else taken
    try:
        return read_value(
            session.program, ref, text, instrument=serial, now=moment, zone=session.clock.zone(moment)
        )
    except EntryError as error:
        if isinstance(fact.domain, NumberDomain) and re.search(_TOLERANCE, text):
            raise EntryError(
                f"`{text.strip()}`: the tolerance is that of the instrument, not typed with the reading",
                "type the reading alone; `i` in `stillair guide` declares the instrument and how far it may "
                "be off, `stillair instruments` shows it",
            ) from error
        raise


def _check_kind(assessment: Assessment, ref: Ref, serial: str) -> None:
    """EntryError where an instrument is declared as of another kind than a fact is read with."""
    program = assessment.program
    wanted = program.facts[ref.name].spec.read_with
    known = assessment.history.instruments.get(serial)
    if known is not None and wanted is not None and known.kind != wanted.text:
        kinds = (program.kinds[known.kind].title.lower(), program.kinds[wanted.text].title.lower())
        raise EntryError(
            f"`{serial}` is declared as a {kinds[0]}, and `{ref}` is read with a {kinds[1]}",
            "give each reading its own instrument, in a note of its own",
        )


def check_part(program: Program, entry: Entry) -> None:
    """EntryError where an option was taken from a letter or two of its name; y and n are yes and no.

    For where the options are not shown before one is typed.
    """
    domain = program.facts[str(entry.body["fact"])].domain
    if not isinstance(domain, OptionDomain) or domain == PRESENCE:
        return
    name, typed = str(entry.body["value"]), _squeezed(str(entry.body["read"]))
    if len(typed) >= _LEAST or typed in (_squeezed(name), _squeezed(domain.labels.get(name, name))):
        return
    if set(domain.names) != {"yes", "no"} or typed not in ("y", "n"):
        shown = ", ".join(domain.names[:8]) + (" …" if len(domain.names) > 8 else "")
        raise EntryError(f"`{entry.body['read']}` is too short to tell which", f"in full, such as {shown}")


def check_once(values: Iterable[tuple[Ref, str]]) -> None:
    """EntryError where two values are given for one fact: which is right cannot be known."""
    given: dict[Ref, str] = {}
    for ref, value in values:
        if ref in given:
            raise EntryError(
                f"`{ref}` is given twice, as `{given[ref]}` and as `{value}`; nothing is kept",
                "give it once; two readings are entered one after the other",
            )
        given[ref] = value


def _body(ref: Ref) -> dict[str, JSON]:
    return {"fact": ref.name} if ref.member is None else {"fact": ref.name, "of": ref.member}


def _of_catalogue(domain: OptionDomain, text: str) -> str:
    """The one entry of a catalogue with that name, or whose name alone holds the text, as in `410A`.

    EntryError where there are several or none, or the text is too short to tell.
    """
    wanted = _squeezed(text)
    for name in domain.names:
        if wanted in (_squeezed(name), _squeezed(domain.labels.get(name, name))):
            return name
    found = [name for name in domain.names if wanted and wanted in _squeezed(name)]
    shown = ", ".join(found[:8]) + (" …" if len(found) > 8 else "")
    if not found:
        near = did_you_mean(text, domain.names) or "? in `stillair guide` lists the names"
        raise EntryError(f"`{text.strip()}` is not in the list", near)
    if len(wanted) < _LEAST:
        raise EntryError(f"`{text.strip()}` is too short to tell which", f"in full, such as {shown}")
    if len(found) > 1:
        raise EntryError(f"`{text.strip()}` may be several", f"one of: {shown}")
    return found[0]


def _squeezed(name: str) -> str:
    """A name as it is compared: `R-410A` and `r410a` are the same."""
    return "".join(c for c in name.casefold() if c.isalnum())


def taken_as(program: Program, entry: Entry) -> bool:
    """Whether a part of a name of a catalogue was typed, so that what was taken must be shown."""
    domain = program.facts[str(entry.body["fact"])].domain
    if not isinstance(domain, OptionDomain) or domain.catalogue is None:
        return False
    name = str(entry.body["value"])
    typed = str(entry.body.get("read", "")).casefold()
    return typed not in (name.casefold(), domain.labels.get(name, name).casefold())


def check_reason(reason: str) -> str:
    """A reason, without space around it. EntryError for one letter or two: that was meant for a key."""
    reason = reason.strip()
    if sum(c.isalnum() for c in reason) < _LEAST or reason.casefold() == "yes":
        said = f"`{reason}` is no reason" if reason else "no reason is given"
        raise EntryError(said, "a few words, such as `behind finished plaster`")
    return reason


def serial_for(assessment: Assessment, fact: str) -> str | None:
    """The instrument a fact was last read with, else the one of its kind declared last."""
    spec = assessment.program.facts[fact].spec
    if spec.read_with is None:
        return None
    history = assessment.history
    kind = spec.read_with.text
    serials = [i for i in history.instruments.values() if i.kind == kind]
    if not serials:
        return None
    used = {
        o.instrument: (o.entered, o.line)
        for found in history.observations.values()
        for o in found
        if o.instrument is not None
    }
    return max(serials, key=lambda i: max((used.get(i.serial, (0.0, 0)))[1], i.line)).serial


def cannot(session: Session, ref: Ref, reason: str, taken: float | None = None) -> Line:
    """Say that a fact cannot be had, and why."""
    return session.write("unavailable", {**_body(ref), "reason": check_reason(reason)}, taken=taken)


def events(assessment: Assessment) -> Iterator[tuple[str, str, str | None]]:
    """The events that can be logged: name, what it says, and the list it is kept per."""
    program = assessment.program
    on: set[str] = set()
    for name, powered in program.powered.items():
        if assessment.history.on_since(name, assessment.view.moment) is not None:
            on.add(name)
            yield f"{name}_ended", f"{powered.spec.title}: ended, off again", None
    for name, spec in program.events.items():
        if spec is not None:
            yield name, spec.say, spec.per.text if spec.per is not None else None
    yield "break_taken", "A break was taken away from the work", None
    for name, powered in program.powered.items():
        if name not in on:
            yield f"{name}_begun", f"{powered.spec.title}: begun, switched on", None


def happened(
    session: Session,
    assessment: Assessment,
    event: str,
    member: str | None,
    taken: float | None = None,
    *,
    why: str | None = None,
) -> Line:
    """Log an event; `why` says how it came about where it was not permitted. See `check_event`."""
    check_event(session, assessment, event, member)
    return session.write("event", _named("event", event, member, why), taken=taken)


def check_event(session: Session, assessment: Assessment, event: str, member: str | None) -> None:
    """EntryError where there is no event of that name, or the member is missing or strange."""
    known = {name: per for name, _, per in events(assessment)}
    if event not in known:
        near = did_you_mean(event, known) or f"one of: {', '.join(known)}"
        raise EntryError(f"there is no event `{event}` to log", near)
    per = known[event]
    if per is None and member is not None:
        raise EntryError(f"`{event}` is not kept per member of a list", f"write {event}")
    if per is not None:
        members = session.members(assessment)[per]
        if member not in members:
            said = f"`{member}` is not in the list {per}" if member else f"`{event}` is kept per {per}"
            raise EntryError(said, f"`{event} of …`: {', '.join(members) or 'the list is empty'}")


def did(
    session: Session,
    assessment: Assessment,
    step: str,
    member: str | None,
    taken: float | None = None,
    *,
    why: str | None = None,
) -> Line:
    """Say that a step is done; `why` says how it came about where it was not permitted. See `check_step`."""
    check_step(session, assessment, step, member)
    return session.write("done", _named("step", step, member, why), taken=taken)


def _named(key: str, name: str, member: str | None, why: str | None) -> dict[str, JSON]:
    return {key: name, **({"of": member} if member else {}), **({"why": why} if why else {})}


def check_step(session: Session, assessment: Assessment, step: str, member: str | None) -> None:
    """EntryError where there is no such step, or the member is missing or strange."""
    program = session.program
    if step not in program.steps:
        raise EntryError(f"there is no step `{step}`", did_you_mean(step, program.steps))
    per = program.steps[step].per
    members = session.members(assessment)[per] if per is not None else []
    if member is None and per is not None:
        raise EntryError(f"`{step}` is done per {per}", f"`{step} of …`: {', '.join(members)}")
    if member is not None and member not in members:
        raise EntryError(f"`{member}` is not a member the step `{step}` is done for")


def declare_instrument(
    session: Session, serial: str, kind: str, given: Mapping[str, str], checked: str | None = None
) -> Line:
    """Declare an instrument; a tolerance not given is that of its kind.

    EntryError if one cannot be read, or the day it was checked on is no date or lies ahead.
    """
    program = session.program
    if kind not in program.kinds:
        near = did_you_mean(kind, program.kinds) or f"one of: {', '.join(program.kinds) or 'none'}"
        raise EntryError(f"there is no kind of instrument `{kind}`", near)
    known = program.kinds[kind]
    dimension = quantity.DIMENSIONS[known.dimension]
    if dimension.point is not None:
        dimension = quantity.difference_of(dimension)
    body: dict[str, JSON] = {"serial": serial, "kind": kind}
    for name, usual in (("offset", known.offset), ("repeat", known.repeat), ("resolution", known.resolution)):
        try:
            body[name] = quantity.read(given[name], dimension).value if given.get(name) else usual
        except quantity.QuantityError as error:
            raise EntryError(f"{name} of {serial}: {error}", error.help) from None
    if known.of_reading or given.get("of reading"):
        fraction = quantity.DIMENSIONS["fraction"]
        try:
            typed = given.get("of reading")
            body["of_reading"] = quantity.read(typed, fraction).value if typed else known.of_reading
        except quantity.QuantityError as error:
            raise EntryError(f"of reading, of {serial}: {error}", error.help) from None
    if checked:
        today = datetime.fromtimestamp(session.now(), session.zone()).date()
        try:
            day = date.fromisoformat(checked)
        except ValueError:
            raise EntryError(f"`{checked}` is not a date", "write it like 2026-01-31") from None
        if day > today:
            message = f"`{checked}` is later than today, {today.isoformat()}"
            raise EntryError(message, "give the day it was checked on, not the day its check is due")
        body["checked"] = day.isoformat()
    return session.write("instrument", body)


# -- taking back and correcting --------------------------------------------------------------------------


def last_entry(session: Session) -> Line | None:
    """The last entry that still stands and can be taken back."""
    lines = session.lines
    withdrawn = {line.body["line"] for line in lines if line.kind == "correct"}
    for line in reversed(lines):
        if line.kind in _KEPT:
            return None
        if line.n in withdrawn or line.kind in ("note", "repaired"):
            continue
        if line.kind == "correct" and line.body.get("body") is None:
            continue
        return line
    return None


def needs_reason(session: Session, line: Line) -> bool:
    """Whether taking a line back needs a reason: it was entered more than a minute ago."""
    return not 0 <= session.now() - line.entered <= UNDO_WITHIN


def take_back(session: Session, line: Line, why: str | None = None) -> None:
    """Take an entry back. Taking back a correction puts what it corrected in force again."""
    _withdraw(session, line, why)
    if line.kind == "correct":
        original = session.lines[_target(line) - 1]
        if line.body.get("body") != original.body:
            _put(session, original, original.body, original.personal, "the correction is taken back")


def correct(session: Session, observation: Observation, entry: Entry, why: str) -> None:
    """Put another value in the place of an observation, which keeps its time."""
    original = session.lines[(observation.corrects or observation.line) - 1]
    for line in session.lines:
        if line.kind == "correct" and line.n == observation.line:
            # One correction stands at a time, or the two would be taken for entries that differ.
            _withdraw(session, line, "corrected again")
    _put(session, original, entry.body, original.personal | entry.personal, why)


def _withdraw(session: Session, line: Line, why: str | None) -> None:
    body: dict[str, JSON] = {"line": line.n}
    body |= {"why": why} if why else {"undo": True}
    session.write("correct", body)


def _put(
    session: Session, original: Line, body: Mapping[str, JSON], personal: frozenset[str], why: str
) -> None:
    hidden = frozenset({"body"}) if personal - {"by"} else frozenset[str]()
    session.write("correct", {"line": original.n, "why": why, "body": dict(body)}, personal=hidden)


def _target(line: Line) -> int:
    number = line.body["line"]
    assert isinstance(number, int)
    return number
