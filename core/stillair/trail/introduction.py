"""What a trail is and is not, the moment it is told as of, and the deferral."""

from __future__ import annotations

from collections.abc import Sequence

from stillair.job import Line as Entry
from stillair.wording import Wording, counted

from .document import Item, Part, Strong, line
from .prose import prose
from .reason import items

__all__ = ["as_of", "introduction"]

_SEES_NOTHING = ("note", "correct", "repaired", "move")
"""Lines that may follow the close of a job and do not change when its facts were observed."""

_ORDER = (
    "The order of authority: law and the adopted code, as the authority having jurisdiction reads them.",
    "Then the instructions of the equipment maker. Then the rules of the company. Then this checklist.",
    "Where two of them differ, the stricter wins.",
    "Work that needs a licence or a certificate stays with those who hold it.",
)


def as_of(entries: Sequence[Entry]) -> float:
    """The moment a job is told as of: of a closed one its close, of an open one its last entry.

    What is observed after the close counts all the same; what only grew old since the close does not.
    """
    if any(entry.kind == "close" and entry.body.get("checklist") is None for entry in entries):
        return max(entry.taken for entry in entries if entry.kind not in _SEES_NOTHING)
    return max(entry.entered for entry in entries)


def introduction(wording: Wording, entries: Sequence[Entry], torn: int) -> Part:
    """The moment, the job and its state; what the trail is, and is not; the deferral of every pack."""
    found = wording.found
    first = entries[0]
    title = "title left out of this copy" if "title" in first.left_out else str(first.body.get("title", ""))
    facts = [
        Item(line("Job: ", Strong(title))),
        Item(line("Begun: ", wording.moment(found.history.start))),
        Item(line("State: ", _state(wording, torn))),
    ]
    defers = [prose(text) for c in wording.program.checklists.values() for text in c.defers]
    return Part(
        "What this is, and what it is not",
        (
            line(
                Strong(f"As of {wording.moment(found.at)}, {_which_moment(wording, entries)}."),
                *_later(wording, entries),
            ),
            items(facts),
            line(
                "This is the record of one job. "
                "It says what was asked, what was observed, what follows and why. "
                "It names what could not be decided."
            ),
            line(
                "It is not a permit, an inspection or a certificate. "
                "It never says that anything complies with a code."
            ),
            items(Item(line(text)) for text in (*_ORDER, *dict.fromkeys(defers))),
            line(
                "A number is given with its tolerance. "
                "± means at 95 %: of 100 such readings about 95 are so near. "
                "Where a tolerance decides, the margin is shown."
            ),
        ),
    )


def _which_moment(wording: Wording, entries: Sequence[Entry]) -> str:
    """What the moment of the assessment is to the job."""
    found = wording.found
    closed = found.history.closed.get("")
    if closed is not None and closed[0] == found.at:
        return "when the job was closed"
    latest = max(entries, key=lambda entry: (entry.entered, entry.n))
    if found.at == latest.entered:
        return f"the last entry, line {latest.n}"
    return "a moment asked for"


def _later(wording: Wording, entries: Sequence[Entry]) -> tuple[str, ...]:
    """How many entries are not seen from this moment, and whether they are in the record all the same."""
    found = wording.found
    unknown = [e for e in entries if e.entered > found.history.known]
    listed = [e for e in entries if e.entered <= found.history.known and e.taken > found.at]
    said = []
    if unknown:
        said.append(f" {counted(len(unknown), 'entry', 'entries')} made later: not part of this.")
    if listed:
        said.append(f" {counted(len(listed), 'entry', 'entries')} made later: only in the record below.")
    return tuple(said)


def _state(wording: Wording, torn: int) -> str:
    found = wording.found
    closed = found.history.closed.get("")
    if closed is not None:
        said = f"closed {wording.clock(closed[0])}"
    elif found.next.kind == "finished":
        said = "every step of the open checklists is done, skipped or passed over; the job is not closed"
    else:
        step = found.next.step
        title = prose(wording.program.steps[step].spec.title) if step is not None else "an entry in doubt"
        stopped = found.next.kind == "stopped"
        said = f"not finished, and stopped before: {title}" if stopped else f"not finished; next is: {title}"
    return said + (f"; {torn} bytes of a torn last line are not part of it" if torn else "")
