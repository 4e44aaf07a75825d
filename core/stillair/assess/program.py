"""A compiled pack, as the evaluator needs it: no reader, no parser, no plugin is needed to run it."""

from __future__ import annotations

import marshal
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from stillair.calculator import Calculator, Catalogue
from stillair.checklist import (
    ActivitySpec,
    BalanceSpec,
    Checklist,
    CheckSpec,
    ClueSpec,
    EventSpec,
    FactSpec,
    LimitSpec,
    ListSpec,
    PlaceSpec,
    PoweredSpec,
    RuleSpec,
    SetUpSpec,
    StepSpec,
    WaitSpec,
)
from stillair.condition import core
from stillair.condition.batch import Batch, Slots
from stillair.condition.compiled import Judge, functions
from stillair.condition.core import GRADES, Condition, Derivation, NumberDomain, OptionDomain, Ref, Symbol
from stillair.quantity import Unit

__all__ = [
    "NO_BINDING",
    "Activity",
    "Asker",
    "Band",
    "Binding",
    "Check",
    "Clue",
    "Cond",
    "Fact",
    "Impossible",
    "Kind",
    "Limit",
    "Place",
    "Powered",
    "Program",
    "Rule",
    "SetUp",
    "Sought",
    "Step",
    "Suspect",
    "Together",
    "Trigger",
    "Wait",
    "bound",
]

#: The member in hand, by list.
Binding = Mapping[str, str]
NO_BINDING: Binding = {}

PRESENCE = OptionDomain(("present", "absent"))
YES_NO = OptionDomain(("yes", "no"), {"yes": "yes", "no": "no"})
#: Whether going on with the search is worth it: a name of the language where `search` says `stop below`.
FURTHER = "further_search"
FURTHER_STATES = OptionDomain(("worth_it", "spent"))
WAIT_STATES = OptionDomain(("ready", "running", "not_started"))
FINDING = OptionDomain(GRADES)
STRENGTH = ("not found", "ruled out", "suspected", "probable", "confirmed")


@dataclass(slots=True, eq=False)
class Cond:
    """A compiled condition: its number among the program's judges, its tree, and what it reads.

    `checked` is the tree as written, `flat` the one with tests on one fact brought together. `mentions`, all
    names it rests on, and `safety` are known once the whole pack is. `reads` are the slots again, each with
    the list whose member in hand it wants; `kept` where any does. `rests` are the names among
    `mentions` that are not only needed for an observation to count: that is judged as of its own moment.
    """

    number: int
    checked: Condition
    flat: Condition
    slots: tuple[tuple[Ref, bool], ...]
    reads: tuple[tuple[Ref, bool, str | None], ...]
    kept: bool
    text: str
    mentions: frozenset[str] = frozenset()
    rests: frozenset[str] = frozenset()
    safety: bool = False


class Trigger(NamedTuple):
    """An event, or a fact taking one of some options (`mask`), that ends or starts something.

    `only` names the members of a list it is about, where it is not about all of them. Kept per a list, it
    starts a wait once it has happened for all of them; for `any` of them, the latest does.
    """

    name: str
    mask: int | None
    per: str | None
    text: str
    only: frozenset[str] | None = None
    any: bool = False


class Fact(NamedTuple):
    """A fact as the evaluator needs it. Times in seconds, tolerance canonical."""

    spec: FactSpec
    checklist: str
    domain: OptionDomain | NumberDomain
    per: str | None
    unit: Unit | None
    tolerance: float
    good_for: float | None
    void_after: tuple[Trigger, ...]
    counts: Cond | None = None
    counted: int = 0
    place_counts: Mapping[str, Cond] = {}

    @property
    def name(self) -> str:
        return self.spec.name


class Kind(NamedTuple):
    """A kind of instrument with the tolerances assumed until a serial is declared, canonical.

    `of_reading` is a share of what is read, shared by all its readings as `offset` is.
    """

    name: str
    title: str
    offset: float
    repeat: float
    resolution: float
    dimension: str
    of_reading: float = 0.0


class Limit(NamedTuple):
    """A limit with its value and the lowest it may be set to, both canonical."""

    spec: LimitSpec
    value: float
    unit: Unit
    text: str
    lowest: float


class Wait(NamedTuple):
    """A wait of `duration` seconds, or of as long as the fact `lasts` says; then `duration` is 0."""

    spec: WaitSpec
    duration: float
    since: tuple[Trigger, ...]
    restarted_by: tuple[Trigger, ...]
    lasts: str | None = None

    @property
    def witness(self) -> str | None:
        """The name of the witness fact, if the wait has one."""
        return f"{self.spec.name}_witness" if self.spec.witness else None


class Rule(NamedTuple):
    spec: RuleSpec
    checklist: str
    when: Cond
    per: str | None
    grade: int = 0
    """The grade it gives, as a mask among the grades; 0 where it gives no finding."""


def bound(rule: Rule, member: str | None) -> Binding:
    """The member in hand for a rule kept per a list."""
    return {rule.per: member} if rule.per is not None and member is not None else NO_BINDING


class Step(NamedTuple):
    spec: StepSpec
    checklist: str
    when: Cond | None
    gate: Cond | None
    asks: tuple[str, ...]
    per: str | None
    """The list whose members the step is done for, one by one: set when every fact it asks is kept per it."""
    powered: str | None = None
    every: float | None = None
    """Seconds after which what it asks is asked again."""


class Powered(NamedTuple):
    spec: PoweredSpec
    gate: Cond
    at_most: float
    proof: tuple[tuple[str, int], ...] = ()
    """The facts that end it and, as a mask, what each must be found to be."""


class Activity(NamedTuple):
    spec: ActivitySpec
    gate: Cond | None


class Place(NamedTuple):
    """A place; looking there needs `set_ups`, and comes after the places it would spoil."""

    spec: PlaceSpec
    when: Cond | None
    set_ups: frozenset[str] = frozenset()
    after: frozenset[str] = frozenset()


class SetUp(NamedTuple):
    spec: SetUpSpec
    stands: Cond | None


class Check(NamedTuple):
    """A way of looking at a place: its fact, the answers that are silence as a mask, what a silence is worth.

    `notices` names a number, `usual` a limit. `tool` is what a person calls what it is done with.
    """

    spec: CheckSpec
    fact: str
    silent: int
    notices: str | None
    usual: str
    speaks: Cond | None
    set_ups: frozenset[str]
    tool: str | None
    at_hand: Cond | None


class Band(NamedTuple):
    """A kind of jobs with beliefs of its own: from how many jobs and faults, how many times likelier each
    place was among them than among all.
    """

    group: str
    band: str
    jobs: int
    faults: int
    factors: dict[str, float]


class Sought(NamedTuple):
    """What the search is for: the finding that says a fault, and by name what the search rests on.

    `whole` is what is lost in all, `found` what the fault at a place loses: a number kept per place.
    """

    finding: str
    suspected: str | None
    probable: str | None
    second: str | None
    elsewhere: str | None
    whole: str | None
    found: str | None
    stop_below: str | None
    better: tuple[tuple[str, Cond | None], ...]


class Clue(NamedTuple):
    """A clue with its condition; `weighs` has the limit for each place, or for any of them under ""."""

    spec: ClueSpec
    when: Cond
    weighs: Mapping[str, str]

    def limit(self, place: str) -> str | None:
        """The limit that says how many times likelier it makes a place; None where it says nothing of it."""
        return self.weighs.get("" if self.spec.per is not None else place)


class Impossible(NamedTuple):
    when: Cond
    slip: str
    facts: tuple[str, ...]


class Suspect(NamedTuple):
    facts: tuple[str, ...]
    expects: Cond


class Asker(NamedTuple):
    """A condition whose verdict is needed: a rule's, a gate's; a step's only while its `when` allows."""

    cond: Cond
    per: str | None
    step: str | None = None


class Together(NamedTuple):
    """The conditions of the rules that are kept for no list, judged at once: their numbers and a `Batch`."""

    conditions: tuple[int, ...]
    slots: Slots
    code: bytes


Links = dict[str, list[tuple[str, bool]]]


@dataclass(slots=True)
class Program:
    """Everything the evaluator needs, without the reader, the parser or any plugin.

    `judges` and `batch` are filled by `bind` from code; calculators and catalogues are given there as well.
    """

    packs: dict[str, tuple[str, str]] = field(default_factory=dict)
    checklists: dict[str, Checklist] = field(default_factory=dict)
    symbols: dict[str, Symbol] = field(default_factory=dict)
    lists: dict[str, ListSpec] = field(default_factory=dict)
    facts: dict[str, Fact] = field(default_factory=dict)
    events: dict[str, EventSpec | None] = field(default_factory=dict)
    undone: dict[str, tuple[Trigger, ...]] = field(default_factory=dict)
    """For each event that something undoes, what does."""
    kinds: dict[str, Kind] = field(default_factory=dict)
    limits: dict[str, Limit] = field(default_factory=dict)
    calculations: dict[str, tuple[core.Formula, str | None, str | None]] = field(default_factory=dict)
    waits: dict[str, Wait] = field(default_factory=dict)
    activities: dict[str, Activity] = field(default_factory=dict)
    steps: dict[str, Step] = field(default_factory=dict)
    powered: dict[str, Powered] = field(default_factory=dict)
    rules: dict[str, Rule] = field(default_factory=dict)
    findings: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """The rules that give each finding, the strongest grade first."""
    places: dict[str, Place] = field(default_factory=dict)
    look: str | None = None
    """The fact that says what a look at a place gave: the first kept per place that has `counts when`."""
    clues: dict[str, Clue] = field(default_factory=dict)
    set_ups: dict[str, SetUp] = field(default_factory=dict)
    checks: dict[str, Check] = field(default_factory=dict)
    sought: Sought | None = None
    bands: dict[str, dict[str, Cond]] = field(default_factory=dict)
    """Kinds of jobs that are learned from apart: of each group the bands, with when a job is of them."""
    learned: dict[str, tuple[int, int, float]] = field(default_factory=dict)
    """The packs whose beliefs were learned: from how many jobs and faults, with a prior worth how many."""
    learned_bands: list[Band] = field(default_factory=list)
    """The kinds of jobs with beliefs of their own, those with the most faults first."""
    pinned: Cond | None = None
    """When the places are taken in their author's order, whatever it costs."""
    balances: dict[str, BalanceSpec] = field(default_factory=dict)
    impossible: list[Impossible] = field(default_factory=list)
    suspects: list[Suspect] = field(default_factory=list)
    derived: dict[str, Derivation] = field(default_factory=dict)
    inner: dict[str, Cond] = field(default_factory=dict)
    """The conditions inside `every`, `any` and `count`, by the name of the derived fact."""
    outer: dict[str, str] = field(default_factory=dict)
    """The list a derived fact is itself kept for, where it depends on the member in hand."""
    conditions: list[Cond] = field(default_factory=list)
    ways: dict[str, Cond] = field(default_factory=dict)
    """When places are taken in the order `level` or `rises`; otherwise as for what sinks."""
    safety_facts: frozenset[str] = frozenset()
    mentioned: frozenset[str] = frozenset()
    """The facts that some condition rests on; any other belongs to the record only."""
    supports: dict[str, frozenset[str]] = field(default_factory=dict)
    """For each name, the facts and events it rests on, directly or not."""
    links: Links = field(default_factory=dict)
    """For each name, the names that rest on it directly; True where only for the same member of a list."""
    evidence: Links = field(default_factory=dict)
    """The same for the facts whose `counts when` rests on it, as of the moment they were observed."""
    later: dict[str, list[str]] = field(default_factory=dict)
    """For each fact, the derived facts that look for it after the observation being judged."""
    askers: dict[str, list[Asker]] = field(default_factory=dict)
    """For each fact, the rules, gates and the like that rest on it."""
    supporting: dict[str, list[str]] = field(default_factory=dict)
    """For each fact, the facts that count only on conditions resting on it."""
    starting: dict[str, list[str]] = field(default_factory=dict)
    """For each fact, the waits that it starts, whose length it says or whose end it witnesses."""
    closing: dict[str, frozenset[str]] = field(default_factory=dict)
    """For each step, the checks it asks that must follow an observation asked for by an earlier step."""
    quantified: frozenset[str] = frozenset()
    """The lists that some `every`, `any`, `count` or `sum` goes over."""
    timed: set[str] = field(default_factory=set)
    """The names that time alone may change."""
    code: bytes = b""
    judges: list[Judge] = field(default_factory=list)
    together: Together = field(default_factory=lambda: Together((), Slots({}, {}), b""))
    batch: Batch | None = None
    closures: dict[int, object] = field(default_factory=dict)
    """Formulas made ready to run; empty in a program that is kept."""
    worked_out: dict[str, object] = field(init=False, default_factory=dict, compare=False, repr=False)
    """What was found out of the conditions, as long as none is changed; empty in a program that is kept."""
    calculators: Mapping[str, Calculator] = field(default_factory=dict)
    catalogues: Mapping[str, Catalogue] = field(default_factory=dict)

    @property
    def look_check(self) -> Check | None:
        """The check that is a look at a place; None where no checklist says what one is worth."""
        return next((check for check in self.checks.values() if check.fact == self.look), None)

    def undoers(self, events: Iterable[str]) -> set[str]:
        """The names of what undoes any of these events."""
        return {trigger.name for event in events for trigger in self.undone.get(event, ())}

    def bind(self, calculators: Mapping[str, Calculator], catalogues: Mapping[str, Catalogue]) -> Program:
        """Load the compiled judges and take the plugins' calculators and catalogues."""
        self.judges = functions(marshal.loads(self.code), len(self.conditions))
        self.batch = Batch(self.together.code)
        self.calculators = calculators
        self.catalogues = catalogues
        return self
