"""A checklist as it was read: frozen records, with the place of every name and condition in its file.

Nothing here imports the reader, so that a compiled checklist runs without it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from stillair.fault import Fault

__all__ = [
    "BUILT_IN_EVENTS",
    "BUILT_IN_LISTS",
    "GRADES",
    "NAMED_IN",
    "ActivitySpec",
    "Adjusting",
    "BalanceSpec",
    "BetterTest",
    "CalculationSpec",
    "CheckSpec",
    "Checklist",
    "ClueSpec",
    "CountsWhen",
    "EventSpec",
    "FactSpec",
    "GroupSpec",
    "Impossible",
    "InstrumentSpec",
    "LearnedSpec",
    "LimitChange",
    "LimitSpec",
    "ListSpec",
    "Member",
    "Option",
    "PlaceOrder",
    "PlaceSpec",
    "PoweredSpec",
    "RuleSpec",
    "Run",
    "SearchSpec",
    "SetLimit",
    "SetUpSpec",
    "StepSpec",
    "Suspect",
    "TellOwner",
    "Text",
    "WaitSpec",
]

BUILT_IN_EVENTS = ("handover", "break_taken", "emergency")
BUILT_IN_LISTS = ("place",)
GRADES = ("suspected", "probable", "confirmed", "ruled out", "not found")


class Run(NamedTuple):
    """A stretch of a text that stands in one line of the file: from `offset` on, at `line`, `column`."""

    offset: int
    line: int
    column: int
    source_line: str


@dataclass(frozen=True, slots=True)
class Text:
    """A condition, an expression, a quantity or a name, and where it stands.

    Two texts are equal when they read the same, wherever they stand.
    `runs` places every character: a folded text has one run per line of the file.
    """

    text: str
    path: str = field(default="", compare=False)
    runs: tuple[Run, ...] = field(default=(), compare=False, repr=False)

    def __str__(self) -> str:
        return self.text

    @property
    def line(self) -> int:
        """The line the text starts in, from 1; 0 when it did not come from a file."""
        return self.runs[0].line if self.runs else 0

    @property
    def column(self) -> int:
        """The column the text starts at, from 1."""
        return self.runs[0].column if self.runs else 0

    def part(self, start: int, stop: int) -> Text:
        """The characters from `start` up to `stop`, still knowing where they stand."""
        runs: list[Run] = []
        for i, run in enumerate(self.runs):
            end = self.runs[i + 1].offset if i + 1 < len(self.runs) else len(self.text) + 1
            if run.offset < max(stop, start + 1) and end > start:
                skipped = max(0, start - run.offset)
                runs.append(
                    Run(run.offset + skipped - start, run.line, run.column + skipped, run.source_line)
                )
        return Text(self.text[start:stop], self.path, tuple(runs))

    def fault(
        self, code: str, message: str, *, start: int = 0, length: int | None = None, help: str | None = None
    ) -> Fault:
        """A fault under the `length` characters from `start` on (by default, all that is left)."""
        if not self.runs:
            return Fault(code, message, self.path, help=help)
        wanted = len(self.text) - start if length is None else length
        run, following = self.runs[0], len(self.text)
        for each in self.runs:
            if each.offset <= start:
                run, following = each, len(self.text)
            elif following == len(self.text):
                following = each.offset
        column = run.column + start - run.offset
        # A fault ends with its line, and never reaches the space that joins two lines of a folded text.
        shown = max(1, min(wanted, following - start, len(run.source_line) - column + 1))
        return Fault(code, message, self.path, run.line, column, shown, run.source_line, help)


class Option(NamedTuple):
    """One answer a fact may have: the word conditions use, and the label people read."""

    name: str
    label: str
    where: Text


class Member(NamedTuple):
    """One member a list starts with."""

    name: str
    label: str
    where: Text


class ListSpec(NamedTuple):
    """A list that facts may be kept for; `open` until someone says "that is all"."""

    name: str
    where: Text
    title: str
    ask: str | None
    members: tuple[Member, ...]
    open: bool


class InstrumentSpec(NamedTuple):
    """A kind of instrument, with the tolerance assumed until a serial is declared."""

    name: str
    where: Text
    title: str
    quantity: Text
    offset: Text | None
    repeat: Text | None
    resolution: Text | None
    of_reading: Text | None
    check_every: Text | None
    source: str | None


class CountsWhen(NamedTuple):
    """What must have held for an observation to be evidence; `values` empty: for every observation."""

    condition: Text
    values: tuple[Text, ...]
    because: str | None


class FactSpec(NamedTuple):
    """Something that can be observed.

    `kind` is one of: options, yes-no, text, photo, signature, catalogue, quantity.
    `options` is filled for options and yes-no only.
    """

    name: str
    where: Text
    ask: str
    kind: str
    options: tuple[Option, ...]
    catalogue: Text | None
    quantity: Text | None
    between: tuple[Text, Text] | None
    unit: Text | None
    nature: str
    per: Text | None
    safety: bool
    personal: bool | None
    read_with: Text | None
    tolerance: Text | None
    good_for: Text | None
    void_after: tuple[Text, ...]
    why: str | None
    how: str | None
    caution: str | None
    counts_when: CountsWhen | None
    due: bool = False
    """A day on which somebody looks again."""
    left_open: bool = False
    """What it says is left open for the next visit."""
    for_the_record: bool = False
    """It is asked for the record, whether or not something rests on it."""

    @property
    def is_personal(self) -> bool:
        """Whether what is read goes to the companion file: what the checklist says, else free words do."""
        return self.kind == "text" if self.personal is None else self.personal


class EventSpec(NamedTuple):
    """Something that happens. What it made so lasts until something it is `undone_by` happens."""

    name: str
    where: Text
    say: str
    per: Text | None
    undone_by: tuple[Text, ...]


class SetLimit(NamedTuple):
    """Who set a limit of a pack to another value, and what it was; where looser, why and until when."""

    company: str
    was: str
    looser: bool
    who: str | None
    why: str | None
    until: str | None


class LimitSpec(NamedTuple):
    """A number a company may set: its default, how far it may go, which direction is safer."""

    name: str
    where: Text
    value: Text
    between: tuple[Text, Text] | None
    safer: str
    source: str
    about: str | None
    set_by: SetLimit | None = None


class CalculationSpec(NamedTuple):
    """A derived fact."""

    name: str
    where: Text
    expression: Text
    per: Text | None
    about: str | None


class ActivitySpec(NamedTuple):
    """A tag on steps, with the gate all of them share."""

    name: str
    where: Text
    title: str
    gate: Text | None
    caution: str | None


class WaitSpec(NamedTuple):
    """A timer: how long, since what (event or condition), what starts it again, the question at its end."""

    name: str
    where: Text
    title: str
    duration: Text
    since: tuple[Text, ...]
    restarted_by: tuple[Text, ...]
    witness: str | None
    then: str | None


class StepSpec(NamedTuple):
    """Something to do. `never` is the reason of an act that must not be done.

    What it asks is asked again when the newest entry is older than `ask_every`.
    """

    name: str
    where: Text
    title: str
    activity: Text | None
    do: str | None
    why: str | None
    ask: tuple[Text, ...]
    ask_every: Text | None
    when: Text | None
    gate: Text | None
    wait: Text | None
    disturbs: tuple[Text, ...]
    marks: tuple[Text, ...]
    optional: bool
    caution: str | None
    never: str | None


class PoweredSpec(NamedTuple):
    """A declared exception to the lockout: members `frees` of the list `of`."""

    name: str
    where: Text
    title: str
    frees: tuple[Text, ...]
    of: Text
    gate: Text
    steps: tuple[Text, ...]
    at_most: Text
    proof: tuple[Text, ...]
    caution: str | None


#: A number named in a text: `{weighed_in}`.
NAMED_IN = re.compile(r"\{([A-Za-z][A-Za-z0-9_]*)\}")


class TellOwner(NamedTuple):
    """What a rule tells the owner: under which part of the letter, in what words.

    `say` may hold numbers by name, `{weighed_in}`; `open` is what is not known while the rule is open.
    """

    part: str
    say: str
    open: str | None


class BalanceSpec(NamedTuple):
    """What went in and what came out: names of numbers with what they are called."""

    name: str
    where: Text
    title: str
    into: tuple[tuple[Text, str], ...]
    out_of: tuple[tuple[Text, str], ...]
    about: str | None


class RuleSpec(NamedTuple):
    """Condition to finding, caution or stop: exactly one of `finding`, `caution`, `stop` is given.

    `grade` is one of GRADES (confirmed unless said); `while_` is true for a finding that must not
    outlive its facts.
    """

    name: str
    where: Text
    finding: Text | None
    grade: str
    say: str | None
    caution: str | None
    stop: tuple[Text, ...]
    lifted_by: str | None
    when: Text
    per: Text | None
    why: str | None
    source: str | None
    while_: bool
    owner: TellOwner | None = None


class GroupSpec(NamedTuple):
    """Rules that belong together: `are` says that no two hold at once, that one of them always does, or both.

    `within` is where one of them must hold; None for everywhere.
    """

    name: str
    where: Text
    rules: tuple[Text, ...]
    are: tuple[str, ...]
    within: Text | None


class PlaceOrder(NamedTuple):
    """The position of a place when what is sought sinks, stays level or rises."""

    sinks: float
    level: float
    rises: float


class PlaceSpec(NamedTuple):
    """Where the fault may be. `belief` is from 0 to 1, `minutes` what looking there takes."""

    name: str
    where: Text
    title: str
    how: str | None
    activity: Text | None
    unit: str | None
    belief: float
    minutes: float
    order: PlaceOrder | None
    counts_when: Text | None
    when: Text | None
    caution: str | None
    set_ups: tuple[Text, ...] = ()
    """What must be made ready before anybody looks there, paid once for all that share it."""
    after: tuple[Text, ...] = ()
    """The places that looking here would spoil: they come first."""


class SetUpSpec(NamedTuple):
    """What must be made ready before some checks; it `stands` when that holds, or after such a check."""

    name: str
    where: Text
    title: str
    minutes: float
    stands: Text | None


class CheckSpec(NamedTuple):
    """A way of looking at a place: the fact that says what it gave, and what a silence there is worth.

    `notices` is the number that says the chance to notice a fault that is there; `usual`, a limit, is taken
    while that number is not known. `speaks_when`: when a silence speaks for the whole place. `tool` is a kind
    of instrument or a text; `at_hand`: when it is there to be used.
    """

    name: str
    where: Text
    title: str
    fact: Text
    silent: tuple[Text, ...]
    notices: Text | None
    usual: Text
    speaks_when: Text | None
    set_ups: tuple[Text, ...]
    tool: Text | None
    at_hand: Text | None


class LearnedBand(NamedTuple):
    """Beliefs learned for one kind of jobs, from so many jobs and confirmed faults of that kind."""

    group: Text
    band: Text
    jobs: int
    faults: int
    places: tuple[tuple[Text, float], ...]


class LearnedSpec(NamedTuple):
    """Beliefs learned from closed jobs, for one text of a pack and no other; `bands` where enough were."""

    pack: Text
    version: Text
    digest: str
    strength: float
    jobs: int
    faults: int
    places: tuple[tuple[Text, float], ...]
    bands: tuple[LearnedBand, ...]


class BetterTest(NamedTuple):
    """What is worth more than going on: said when the search has come to its end; `say` may name numbers."""

    say: str
    when: Text | None


class SearchSpec(NamedTuple):
    """What the order of search rests on, besides places, clues and checks. All but the finding are limits,
    or names of numbers.
    """

    where: Text
    finding: Text
    suspected: Text | None
    probable: Text | None
    second: Text | None
    elsewhere: Text | None
    whole: Text | None
    found: Text | None
    stop_below: Text | None
    better: tuple[BetterTest, ...]


class ClueSpec(NamedTuple):
    """An observation that changes how likely places are.

    `weighs` has (place, limit) for each place it weighs on; with `per`, None in place of the one in hand.
    """

    name: str
    where: Text
    per: Text | None
    when: Text
    weighs: tuple[tuple[Text | None, Text], ...]
    why: str


class Impossible(NamedTuple):
    """A state of things that cannot be, and the slip that most often makes it look so."""

    when: Text
    slip: str
    facts: tuple[Text, ...]


class Suspect(NamedTuple):
    """Facts whose number is tried with the units it is often confused with when `expects` fails."""

    facts: tuple[Text, ...]
    expects: Text


class LimitChange(NamedTuple):
    """A limit set to another value; a looser one says who allows it, why, and until which day."""

    value: Text
    who: str | None
    why: str | None
    until: Text | None


class Adjusting(NamedTuple):
    """What a company's pack adjusts in the pack of this name and digest, by the names there."""

    pack: Text
    digest: Text
    limits: tuple[tuple[Text, LimitChange], ...]
    good_for: tuple[tuple[Text, Text], ...]
    notes: tuple[tuple[Text, str], ...]
    photos: tuple[tuple[Text, str], ...]
    wording: tuple[tuple[Text, tuple[tuple[Text, str], ...]], ...]


class Checklist(NamedTuple):
    """Everything one checklist file declares, each kind in the order of the file."""

    name: str
    where: Text
    path: str
    before: Text | None
    """The checklist, of this pack or of the one it joins, that this one comes before."""
    title: str
    about: str | None
    lists: tuple[ListSpec, ...]
    instruments: tuple[InstrumentSpec, ...]
    facts: tuple[FactSpec, ...]
    events: tuple[EventSpec, ...]
    limits: tuple[LimitSpec, ...]
    conditions: tuple[tuple[Text, Text], ...]
    """Conditions with a name: the name, and what it says."""
    calculations: tuple[CalculationSpec, ...]
    activities: tuple[ActivitySpec, ...]
    waits: tuple[WaitSpec, ...]
    steps: tuple[StepSpec, ...]
    powered: tuple[PoweredSpec, ...]
    rules: tuple[RuleSpec, ...]
    places: tuple[PlaceSpec, ...]
    ways: tuple[tuple[str, Text], ...]
    """(`level` or `rises`, condition): when places are taken in that order instead of as for what sinks;
    (`pinned`, condition): when the order is the author's though another is shorter."""
    set_ups: tuple[SetUpSpec, ...]
    checks: tuple[CheckSpec, ...]
    search: SearchSpec | None
    bands: tuple[tuple[str, tuple[tuple[str, Text], ...]], ...]
    """Kinds of jobs that are learned from apart: (group, ((band, condition), …))."""
    clues: tuple[ClueSpec, ...]
    balances: tuple[BalanceSpec, ...]
    impossible: tuple[Impossible, ...]
    suspect: tuple[Suspect, ...]
    cautions: tuple[str, ...]
    defers: tuple[str, ...]
    groups: tuple[GroupSpec, ...] = ()

    def names(self) -> Iterator[tuple[str, str, Text]]:
        """(kind, name, where) of everything in the one namespace of a pack; findings may repeat."""
        for kind, specs in (
            ("list", self.lists),
            ("fact", self.facts),
            ("event", self.events),
            ("limit", self.limits),
            ("calculation", self.calculations),
            ("wait", self.waits),
        ):
            for spec in specs:
                yield kind, spec.name, spec.where
        for name, _ in self.conditions:
            yield "condition", name.text, name
        for rule in self.rules:
            if rule.finding is not None:
                yield "finding", rule.finding.text, rule.finding
