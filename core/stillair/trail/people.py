"""Who was on the job and with what instruments; and the place where they sign by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from stillair.assess.program import Fact
from stillair.carried import Carried, carried
from stillair.job import Line as Entry
from stillair.wording import Wording

from .document import Block, Code, Item, Line, Part, Strong, Table, line
from .prose import prose
from .reason import LEFT_OUT, items, lines_said, seen

__all__ = ["signatures", "who_with_what"]

_SIGNERS = ("Did the work", "Received this record")


def who_with_what(wording: Wording, entries: Sequence[Entry]) -> Part:
    """People with the entries they made, what was asked about people, instruments with their checks."""
    known = [e for e in entries if e.entered <= wording.found.history.known]
    blocks: list[Block] = [
        line(Strong("People, and the entries they made:")),
        items([*_people(known), *_handovers(wording, known)]),
    ]
    for title, wanted in (
        ("Asked about people, or signed:", _about_people),
        ("Safety answers that end with a handover, asked anew of each person:", _of_each_person),
    ):
        asked = items(_answers(wording, entries, wanted))
        if asked:
            blocks.append(line(Strong(title)))
            blocks.append(asked)
    rows = tuple(_row(each) for each in carried(wording))
    if rows:
        blocks.append(line(Strong("Instruments:")))
        columns = ("Serial", "Kind", "Tolerance", "Last checked", "Check due", "Readings")
        blocks.append(Table(columns, rows))
    else:
        blocks.append(line("No reading was taken with an instrument."))
    return Part("Who, with what", tuple(blocks))


def _people(entries: Sequence[Entry]) -> Iterator[Item]:
    made: dict[str | None, list[int]] = {}
    for entry in entries:
        name = f"({LEFT_OUT})" if "by" in entry.left_out else entry.by
        made.setdefault(name, []).append(entry.n)
    for name, numbers in made.items():
        who = Strong(name) if name is not None else "No name given"
        yield Item(line(who, f": {_ranges(numbers)}."))


def _ranges(numbers: Sequence[int]) -> str:
    """`lines 1 to 7, 9`: the numbers rise."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][1] == number - 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    said = ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in runs)
    return f"{'line' if len(numbers) == 1 else 'lines'} {said}"


def _handovers(wording: Wording, entries: Sequence[Entry]) -> Iterator[Item]:
    for entry in entries:
        if entry.kind == "handover":
            to = LEFT_OUT if "to" in entry.left_out else str(entry.body.get("to", ""))
            yield Item(
                line(
                    "Handed over to ", Strong(to), f", {wording.clock(entry.taken)}, {lines_said([entry.n])}."
                )
            )


def _about_people(fact: Fact) -> bool:
    return bool(fact.spec.personal) or fact.spec.kind == "signature"


def _of_each_person(fact: Fact) -> bool:
    """Whether an answer is bound to who gave it: only another person makes it void (a certificate seen)."""
    return fact.spec.safety and [t.name for t in fact.void_after] == ["handover"]


def _answers(wording: Wording, entries: Sequence[Entry], wanted: Callable[[Fact], bool]) -> Iterator[Item]:
    """The answers to the facts wanted; what a copy leaves out is said to be left out."""
    found = wording.found
    for (name, member), observations in found.history.observations.items():
        fact = wording.program.facts.get(name)
        if fact is None or not wanted(fact):
            continue
        label = wording.member(fact.per, member)
        asked = f"{label}: {prose(fact.spec.ask)}" if label else prose(fact.spec.ask)
        joint = " " if asked.endswith("?") else ": "
        for observation in observations:
            if observation.moment <= found.view.moment:
                yield Item(line(asked, joint, seen(wording, entries, observation), "."))


def _row(each: Carried) -> tuple[Line, ...]:
    kind: Line = line(prose(each.title), " (", Code(each.kind), ")") if each.kind is not None else line("–")
    assumed = "" if each.declared or each.offset is None else ", assumed for its kind"
    serial = line(Strong(each.serial)) if each.serial is not None else line("none given")
    if each.serial is not None and not each.declared:
        serial = (*serial, " (not declared)")
    return (
        serial,
        kind,
        line(each.tolerances, assumed),
        line(each.checked or "no date given"),
        line(each.due() or ("never" if each.checked and each.check_every else "not known")),
        line(lines_said(each.lines) if each.lines else "none"),
    )


def signatures() -> Part:
    """Empty cells for what is written by hand."""
    columns = ("Signs as", "Name", "Licence or certificate number", "Date", "Signature")
    blank: Line = ()
    return Part(
        "Signatures",
        (
            line(
                "To be filled in by hand. "
                "The authority having jurisdiction says which licence or certificate this work needs."
            ),
            Table(columns, tuple((line(each), blank, blank, blank, blank) for each in _SIGNERS)),
        ),
    )
