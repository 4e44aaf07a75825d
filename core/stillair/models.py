"""The shape of a checklist file and of a manifest: pydantic models that give the plain records."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any, Self, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, model_validator

from stillair.checklist import (
    GRADES,
    ActivitySpec,
    Adjusting,
    BalanceSpec,
    BetterTest,
    CalculationSpec,
    Checklist,
    CheckSpec,
    ClueSpec,
    CountsWhen,
    EventSpec,
    FactSpec,
    GroupSpec,
    Impossible,
    InstrumentSpec,
    LearnedBand,
    LearnedSpec,
    LimitChange,
    LimitSpec,
    ListSpec,
    Option,
    PlaceOrder,
    PlaceSpec,
    PoweredSpec,
    RuleSpec,
    SearchSpec,
    SetUpSpec,
    StepSpec,
    Suspect,
    TellOwner,
    Text,
    WaitSpec,
)
from stillair.fault import CODES, did_you_mean
from stillair.leaves import (
    Flag,
    Identifier,
    Members,
    Name,
    Number,
    Options,
    Prose,
    Range,
    Reference,
    Share,
    Weights,
    Words,
    choice,
    flaw,
)
from stillair.strict_yaml import Scalar

__all__ = ["ChecklistShape", "LearnedShape", "ManifestShape"]

T = TypeVar("T")
References = tuple[Reference, ...]
DOMAINS = ("options", "kind", "catalogue", "quantity")


class Shape(BaseModel):
    """A mapping with fixed keys; a key is the name of its field with spaces for `_`."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        arbitrary_types_allowed=True,
        alias_generator=lambda name: name.rstrip("_").replace("_", " "),
    )

    @model_validator(mode="before")
    @classmethod
    def _tell_which(cls, data: object, info: ValidationInfo) -> object:
        # Remembered by node, so that an unknown key can be answered with the nearest known one.
        if info.context is not None:
            info.context[id(getattr(data, "node", None))] = cls
        return data

    @classmethod
    def keys(cls) -> tuple[str, ...]:
        """The keys as they are written in the file."""
        return tuple(field.alias or name for name, field in cls.model_fields.items())

    def record(self, kind: Callable[..., T], /, **given: object) -> T:
        """The plain record with the fields of this shape, and those given."""
        return kind(**{name: getattr(self, name) for name in type(self).model_fields} | given)

    def said(self) -> set[str]:
        """The keys that are written in the file."""
        return {type(self).model_fields[name].alias or name for name in self.model_fields_set}


def _under(key: str) -> BeforeValidator:
    """A single value stands for a mapping with that one key."""

    def widen(value: object) -> object:
        return value if isinstance(value, dict | list) else {key: value}

    return BeforeValidator(widen)


class ListShape(Shape):
    title: Prose
    ask: Prose | None = None
    members: Members = ()
    open: Flag = False

    @model_validator(mode="after")
    def _can_have_members(self) -> Self:
        if not self.open and not self.members:
            raise flaw("SA208", "{here} is closed and has no members", help="add `members`, or `open: true`")
        if self.open and self.ask is None:
            raise flaw("SA202", "{here} is open and has no question", help="add `ask`")
        return self


class InstrumentShape(Shape):
    title: Prose
    quantity: Words
    offset: Words | None = None
    repeat: Words | None = None
    resolution: Words | None = None
    of_reading: Words | None = None
    check_every: Words | None = None
    source: Prose | None = None


class CountsWhenShape(Shape):
    condition: Words = Field(alias="is")
    values: tuple[Words, ...] = Field(default=(), alias="for")
    because: Prose | None = None


class FactShape(Shape):
    ask: Prose
    options: Options | None = None
    kind: choice("yes-no", "text", "photo", "signature") | None = None  # type: ignore[valid-type]
    catalogue: Reference | None = None
    quantity: Words | None = None
    between: Range | None = None
    unit: Words | None = None
    nature: choice("fixed", "state", "series") = "state"  # type: ignore[valid-type]
    per: Reference | None = None
    safety: Flag = False
    personal: Flag | None = None
    read_with: Reference | None = None
    tolerance: Words | None = None
    good_for: Words | None = None
    void_after: tuple[Words, ...] = ()
    why: Prose | None = None
    how: Prose | None = None
    caution: Prose | None = None
    counts_when: Annotated[CountsWhenShape, _under("is")] | None = None
    due: Flag = False
    left_open: Flag = False
    for_the_record: Flag = False

    @model_validator(mode="after")
    def _is_a_day(self) -> Self:
        if self.due and (self.quantity is None or self.quantity.text != "moment"):
            raise flaw(
                "SA208", "`due` belongs to a fact with `quantity: moment`", help="remove it", key="due"
            )
        if self.left_open and self.kind != "text":
            help = "remove it, or make it `kind: text`"
            raise flaw("SA208", "`left open` belongs to a fact with `kind: text`", help=help, key="left open")
        return self

    @model_validator(mode="after")
    def _has_one_domain(self) -> Self:
        said = [key for key in DOMAINS if key in self.said()]
        if not said:
            raise flaw(
                "SA207",
                "{here} has no domain",
                help="add one of `options`, `quantity`, `catalogue`, `kind`; `kind: yes-no` for yes or no",
            )
        if len(said) > 1:
            raise flaw(
                "SA207",
                f"{{here}} has more than one domain: `{said[0]}` and `{said[1]}`",
                help="keep one of them",
                key=said[1],
            )
        if self.quantity is None:
            for key in ("between", "unit", "tolerance", "read with"):
                if key in self.said():
                    raise flaw(
                        "SA208",
                        f"`{key}` belongs to a quantity, and {{here}} has `{said[0]}`",
                        help="remove it",
                        key=key,
                    )
        elif self.between is None:
            raise flaw(
                "SA202",
                "{here} has a quantity and no `between`",
                help="add the lowest and the highest value that can be: `between: LOW .. HIGH`",
                key="quantity",
            )
        return self

    @model_validator(mode="after")
    def _counts_for_its_own_options(self) -> Self:
        names = [option.name for option in self.answers()]
        if names and self.counts_when:
            for value in self.counts_when.values:
                if value.text not in names:
                    listed = ", ".join(f"`{name}`" for name in names)
                    raise flaw(
                        "SA209",
                        f"`{value}` is not an option of {{here}}",
                        help=did_you_mean(value.text, names) or f"use one of {listed}",
                        at=value,
                    )
        return self

    def answers(self) -> tuple[Option, ...]:
        """The options written, or those of a yes/no question."""
        if self.kind == "yes-no":
            return (Option("yes", "Yes", Text("yes")), Option("no", "No", Text("no")))
        return self.options or ()

    def spec(self, where: Text) -> FactSpec:
        kind = self.kind or next(key for key in DOMAINS if key in self.said())
        counts = self.counts_when.record(CountsWhen) if self.counts_when else None
        return self.record(
            FactSpec, name=where.text, where=where, kind=kind, options=self.answers(), counts_when=counts
        )


class EventShape(Shape):
    say: Prose
    per: Reference | None = None
    undone_by: tuple[Words, ...] = ()


class LimitShape(Shape):
    value: Words = Field(alias="is")
    between: Range | None = None
    safer: choice("longer", "shorter", "higher", "lower", "neither")  # type: ignore[valid-type]
    source: Prose
    about: Prose | None = None


class CalculationShape(Shape):
    expression: Words = Field(alias="is")
    per: Reference | None = None
    about: Prose | None = None


class ActivityShape(Shape):
    title: Prose
    gate: Words | None = None
    caution: Prose | None = None


class WaitShape(Shape):
    title: Prose
    duration: Words = Field(alias="for")
    since: tuple[Words, ...]
    restarted_by: tuple[Words, ...] = ()
    witness: Prose | None = None
    then: Prose | None = None

    @model_validator(mode="after")
    def _has_a_witness(self) -> Self:
        if not self.since:
            raise flaw("SA212", "`since` is empty", help="name the event the wait starts with", key="since")
        if self.restarted_by and self.witness is None:
            raise flaw(
                "SA202",
                "{here} can be restarted and has no `witness`",
                help="add the question asked at its end: has anything started it again?",
                key="restarted by",
            )
        return self


class StepShape(Shape):
    step: Identifier
    title: Prose | None = None
    activity: Reference | None = None
    do: Prose | None = None
    why: Prose | None = None
    ask: References = ()
    ask_every: Words | None = None
    when: Words | None = None
    gate: Words | None = None
    wait: Reference | None = None
    disturbs: References = ()
    marks: References = ()
    optional: Flag = False
    caution: Prose | None = None
    never: Prose | None = None

    @model_validator(mode="after")
    def _has_something_to_do(self) -> Self:
        said = self.said()
        if not said & {"do", "ask", "wait", "marks", "never"}:
            raise flaw(
                "SA202",
                "{here} has nothing to do",
                help="add one of `do`, `ask`, `wait`, `marks`",
                key="step",
            )
        if "ask every" in said and "ask" not in said:
            raise flaw("SA202", "{here} asks nothing again", help="add `ask`", key="ask every")
        for key in ("gate", "wait", "ask", "marks", "optional"):
            if self.never is not None and key in said:
                raise flaw(
                    "SA208",
                    f"{{here}} must never be done and has `{key}`",
                    help="remove one of them",
                    key=key,
                )
        return self

    def spec(self) -> StepSpec:
        name = self.step.text
        title = self.title or name.replace("-", " ").replace("_", " ").capitalize()
        return _named(self, StepSpec, "step", name=name, where=self.step, title=title)


class PoweredShape(Shape):
    state: Identifier
    title: Prose
    frees: References
    of: Reference
    gate: Words
    steps: References
    at_most: Words
    proof: tuple[Words, ...]
    caution: Prose | None = None

    @model_validator(mode="after")
    def _ends_with_proof(self) -> Self:
        for key, value in (("frees", self.frees), ("proof", self.proof)):
            if not value:
                raise flaw("SA212", f"`{key}` of {{here}} is empty", key=key)
        return self

    def spec(self) -> PoweredSpec:
        return _named(self, PoweredSpec, "state", name=self.state.text, where=self.state)


#: The parts of the letter to the owner, in its order.
OWNER_PARTS = ("found", "done", "not checked", "choice", "next", "safety")


class TellOwnerShape(Shape):
    part: choice(*OWNER_PARTS)  # type: ignore[valid-type]
    say: Prose
    open_: Prose | None = None


class RuleShape(Shape):
    rule: Identifier
    finding: Name | None = None
    grade: choice(*GRADES) = "confirmed"  # type: ignore[valid-type]
    say: Prose | None = None
    caution: Prose | None = None
    stop: References = ()
    lifted_by: Prose | None = None
    when: Words
    per: Reference | None = None
    why: Prose | None = None
    source: Prose | None = None
    while_: Flag = False
    owner: TellOwnerShape | None = None

    @model_validator(mode="after")
    def _concludes_one_thing(self) -> Self:
        said = self.said()
        ends = [key for key in ("finding", "caution", "stop") if key in said]
        if not ends:
            raise flaw(
                "SA202",
                "{here} concludes nothing",
                help="add one of `finding`, `caution`, `stop`",
                key="rule",
            )
        if len(ends) > 1:
            raise flaw(
                "SA208",
                f"{{here}} has `{ends[0]}` and `{ends[1]}`",
                help="make a rule of each",
                key=ends[1],
            )
        belongs = {
            "grade": ("finding",),
            "while": ("finding",),
            "say": ("finding", "stop"),
            "lifted by": ("stop",),
        }
        for key, homes in belongs.items():
            if key in said and ends[0] not in homes:
                listed = " or ".join(f"`{home}`" for home in homes)
                raise flaw(
                    "SA208",
                    f"`{key}` belongs to a {listed}, and {{here}} has `{ends[0]}`",
                    help="remove it",
                    key=key,
                )
        if ends == ["stop"]:
            if not self.stop:
                raise flaw(
                    "SA212", "`stop` is empty", help="name the activities that may not go on", key="stop"
                )
            if self.lifted_by is None:
                raise flaw(
                    "SA202",
                    "{here} stops work and does not say what lifts the stop",
                    help="add `lifted by`",
                    key="stop",
                )
        return self

    def spec(self) -> RuleSpec:
        told = self.owner
        owner = TellOwner(told.part, told.say, told.open_) if told is not None else None
        return _named(self, RuleSpec, "rule", name=self.rule.text, where=self.rule, owner=owner)


class PlaceOrderShape(Shape):
    sinks: Number
    level: Number
    rises: Number


def _order(value: object) -> object:
    """A plain number is the position whatever is sought."""
    if isinstance(value, dict):
        return value
    if not isinstance(value, Scalar) or value.kind not in ("int", "float"):
        raise flaw("SA203", "{here} must be a number", help="or write `{sinks: 1, level: 2, rises: 3}`")
    return {"sinks": value, "level": value, "rises": value}


class PlaceShape(Shape):
    place: Identifier
    title: Prose
    how: Prose | None = None
    activity: Reference | None = None
    unit: Prose | None = None
    belief: Share
    minutes: Number
    order: Annotated[PlaceOrderShape, BeforeValidator(_order)] | None = None
    counts_when: Words | None = None
    when: Words | None = None
    caution: Prose | None = None
    set_ups: References = ()
    after: References = ()

    @model_validator(mode="after")
    def _takes_time(self) -> Self:
        if self.minutes <= 0:
            raise flaw("SA203", "`minutes` of {here} must be more than 0", key="minutes")
        return self

    def spec(self) -> PlaceSpec:
        order = self.order.record(PlaceOrder) if self.order else None
        return _named(self, PlaceSpec, "place", name=self.place.text, where=self.place, order=order)


class SetUpShape(Shape):
    title: Prose
    minutes: Number
    stands: Words | None = None

    @model_validator(mode="after")
    def _takes_no_less_than_nothing(self) -> Self:
        if self.minutes < 0:
            raise flaw("SA203", "`minutes` of {here} must be 0 or more", key="minutes")
        return self


class CheckShape(Shape):
    check: Identifier
    title: Prose
    fact: Reference
    silent: References
    notices: Reference | None = None
    usual: Reference
    speaks_when: Words | None = None
    set_ups: References = ()
    tool: Words | None = None
    at_hand: Words | None = None

    @model_validator(mode="after")
    def _names_what_is_at_hand(self) -> Self:
        if self.at_hand is not None and self.tool is None:
            raise flaw("SA202", "{here} has `at hand` and no `tool`", help="add `tool`", key="at hand")
        return self

    def spec(self) -> CheckSpec:
        return _named(self, CheckSpec, "check", name=self.check.text, where=self.check)


class BetterTestShape(Shape):
    say: Prose
    when: Words | None = None


class SearchShape(Shape):
    finding: Reference
    suspected: Reference | None = None
    probable: Reference | None = None
    second: Reference | None = None
    elsewhere: Reference | None = None
    whole: Reference | None = None
    found: Reference | None = None
    stop_below: Reference | None = None
    better: tuple[BetterTestShape, ...] = ()

    @model_validator(mode="after")
    def _compares_two_sizes(self) -> Self:
        if (self.whole is None) != (self.found is None):
            key, other = ("found", "whole") if self.whole is None else ("whole", "found")
            raise flaw("SA202", f"{{here}} has `{key}` and no `{other}`", help=f"add `{other}`", key=key)
        return self

    def spec(self) -> SearchSpec:
        better = tuple(each.record(BetterTest) for each in self.better)
        return self.record(SearchSpec, where=self.finding, better=better)


class ClueShape(Shape):
    clue: Identifier
    per: Reference | None = None
    when: Words
    weighs: Weights
    why: Prose

    @model_validator(mode="after")
    def _weighs_on_places(self) -> Self:
        in_hand = self.weighs[0][0] is None
        if self.per is not None and self.per.text != "place":
            raise flaw(
                "SA209",
                f"{{here}} is kept per `{self.per}`, and a clue weighs on places",
                help="write `per: place`, or leave it out and name the places in `weighs`",
                key="per",
            )
        if self.per is None and in_hand:
            raise flaw(
                "SA208",
                "`weighs` of {here} names no place",
                help="write `{PLACE: LIMIT}`, or add `per: place`",
                key="weighs",
            )
        if self.per is not None and not in_hand:
            raise flaw(
                "SA208",
                "{here} is kept per place and names places in `weighs`",
                help="write one limit, or leave out `per`",
                key="weighs",
            )
        return self

    def spec(self) -> ClueSpec:
        return _named(self, ClueSpec, "clue", name=self.clue.text, where=self.clue)


class BalanceShape(Shape):
    balance: Identifier
    title: Prose
    in_: dict[Reference, Prose] = {}
    out: dict[Reference, Prose] = {}
    about: Prose | None = None

    @model_validator(mode="after")
    def _weighs_something(self) -> Self:
        for key, given in (("in", self.in_), ("out", self.out)):
            if not given:
                raise flaw("SA212", f"{{here}} has nothing under `{key}`", help="name a number", key=key)
        return self

    def spec(self) -> BalanceSpec:
        return BalanceSpec(
            self.balance.text,
            self.balance,
            self.title,
            tuple(self.in_.items()),
            tuple(self.out.items()),
            self.about,
        )


class GroupShape(Shape):
    group: Identifier
    rules: References
    are: tuple[choice("exclusive", "complete"), ...]  # type: ignore[valid-type]
    within: Words | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if not self.are:
            help = "write `exclusive`, `complete` or both"
            raise flaw("SA212", "`are` of {here} is empty", help=help, key="are")
        least = 2 if "exclusive" in self.are else 1
        if len(self.rules) < least:
            help = "name the rules that belong together"
            raise flaw("SA212", "`rules` of {here} has too few", help=help, key="rules")
        if self.within is not None and "complete" not in self.are:
            help = "remove it, or add `complete` to `are`"
            raise flaw("SA208", "`within` belongs to a group that is complete", help=help, key="within")
        return self

    def spec(self) -> GroupSpec:
        return _named(self, GroupSpec, "group", name=self.group.text, where=self.group)


class ImpossibleShape(Shape):
    when: Words
    slip: Prose
    facts: References = ()


class SuspectShape(Shape):
    facts: References
    expects: Words


def _named(shape: Shape, kind: Callable[..., T], key: str, /, **given: object) -> T:
    """The record of a shape whose own name is written under `key`."""
    kept = {name: getattr(shape, name) for name in type(shape).model_fields if name != key}
    return kind(**kept | given)


class WaysShape(Shape):
    level: Words | None = None
    rises: Words | None = None
    pinned: Words | None = None

    @model_validator(mode="after")
    def _says_when(self) -> Self:
        if self.level is None and self.rises is None and self.pinned is None:
            raise flaw("SA212", "{here} says nothing", help="give `level`, `rises` or `pinned`")
        return self


class ChecklistShape(Shape):
    checklist: Identifier
    before: Reference | None = None
    title: Prose
    about: Prose | None = None
    lists: dict[Name, ListShape] = {}
    instruments: dict[Name, InstrumentShape] = {}
    facts: dict[Name, FactShape] = {}
    events: dict[Name, EventShape] = {}
    limits: dict[Name, LimitShape] = {}
    conditions: dict[Name, Words] = {}
    calculate: dict[Name, Annotated[CalculationShape, _under("is")]] = {}
    activities: dict[Name, ActivityShape] = {}
    waits: dict[Name, WaitShape] = {}
    steps: tuple[StepShape, ...] = ()
    powered: tuple[PoweredShape, ...] = ()
    rules: tuple[RuleShape, ...] = ()
    places: tuple[PlaceShape, ...] = ()
    order_of_places: Annotated[WaysShape | None, Field(alias="order of places")] = None
    set_ups: dict[Name, SetUpShape] = {}
    checks: tuple[CheckShape, ...] = ()
    search: SearchShape | None = None
    bands: dict[Name, dict[Name, Words]] = {}
    clues: tuple[ClueShape, ...] = ()
    balances: tuple[BalanceShape, ...] = ()
    groups: tuple[GroupShape, ...] = ()
    impossible: tuple[ImpossibleShape, ...] = ()
    suspect: tuple[SuspectShape, ...] = ()
    cautions: tuple[Prose, ...] = ()
    defers: tuple[Prose, ...] = ()

    def _ways(self) -> tuple[tuple[str, Text], ...]:
        given = self.order_of_places
        if given is None:
            return ()
        said = (("level", given.level), ("rises", given.rises), ("pinned", given.pinned))
        return tuple((name, text) for name, text in said if text is not None)

    def spec(self, path: str) -> Checklist:
        return Checklist(
            name=self.checklist.text,
            where=self.checklist,
            path=path,
            before=self.before,
            title=self.title,
            about=self.about,
            lists=_each(ListSpec, self.lists),
            instruments=_each(InstrumentSpec, self.instruments),
            facts=tuple(fact.spec(where) for where, fact in self.facts.items()),
            events=_each(EventSpec, self.events),
            limits=_each(LimitSpec, self.limits),
            conditions=tuple(self.conditions.items()),
            calculations=_each(CalculationSpec, self.calculate),
            activities=_each(ActivitySpec, self.activities),
            waits=_each(WaitSpec, self.waits),
            steps=tuple(step.spec() for step in self.steps),
            powered=tuple(state.spec() for state in self.powered),
            rules=tuple(rule.spec() for rule in self.rules),
            places=tuple(place.spec() for place in self.places),
            ways=self._ways(),
            set_ups=_each(SetUpSpec, self.set_ups),
            checks=tuple(check.spec() for check in self.checks),
            search=self.search.spec() if self.search is not None else None,
            bands=tuple(
                (g.text, tuple((n.text, t) for n, t in each.items())) for g, each in self.bands.items()
            ),
            clues=tuple(clue.spec() for clue in self.clues),
            balances=tuple(balance.spec() for balance in self.balances),
            groups=tuple(group.spec() for group in self.groups),
            impossible=tuple(each.record(Impossible) for each in self.impossible),
            suspect=tuple(each.record(Suspect) for each in self.suspect),
            cautions=self.cautions,
            defers=self.defers,
        )


def _each(kind: Callable[..., T], shapes: dict[Text, Any]) -> tuple[T, ...]:
    return tuple(shape.record(kind, name=where.text, where=where) for where, shape in shapes.items())


class AcceptShape(Shape):
    code: Words
    of: Words
    because: Prose
    until: Words

    @model_validator(mode="after")
    def _ends(self) -> Self:
        known = [code for code in CODES if "SA6" < code < "SA7"]
        if self.code.text not in known:
            help = (
                did_you_mean(self.code.text, known) or "only what a pack says taken together can be accepted"
            )
            raise flaw("SA209", f"{{here}} cannot be `{self.code}`", help=help, at=self.code)
        try:
            date.fromisoformat(self.until.text)
        except ValueError:
            help = "write the last day it is accepted, like `2027-03-31`"
            raise flaw("SA203", f"`{self.until}` is no day", help=help, at=self.until) from None
        return self


class LimitChangeShape(Shape):
    value: Words = Field(alias="is")
    who: Prose | None = None
    why: Prose | None = None
    until: Words | None = None


class AdjustingShape(Shape):
    pack: Reference
    digest: Words
    limits: dict[Reference, Annotated[LimitChangeShape, _under("is")]] = {}
    good_for: dict[Reference, Words] = {}
    notes: dict[Reference, Prose] = {}
    photos: dict[Reference, Prose] = {}
    wording: dict[Reference, dict[Reference, Prose]] = {}

    def spec(self) -> Adjusting:
        return Adjusting(
            pack=self.pack,
            digest=self.digest,
            limits=tuple((name, change.record(LimitChange)) for name, change in self.limits.items()),
            good_for=tuple(self.good_for.items()),
            notes=tuple(self.notes.items()),
            photos=tuple(self.photos.items()),
            wording=tuple((name, tuple(said.items())) for name, said in self.wording.items()),
        )


class ManifestShape(Shape):
    pack: Name
    version: Words
    title: Prose
    joins: Name | None = None
    one_of: Name | None = None
    adjusts: AdjustingShape | None = None
    engine: Words
    plugins: dict[Reference, Words] = {}
    checklists: tuple[Words, ...]
    accepts: tuple[AcceptShape, ...] = ()
    licence: Prose | None = None
    about: Prose | None = None

    @model_validator(mode="after")
    def _is_one_of_what_joins(self) -> Self:
        if self.one_of is not None and self.joins is None:
            raise flaw(
                "SA208", "`one of` belongs to a pack that joins another", help="add `joins`", key="one of"
            )
        return self

    @model_validator(mode="after")
    def _adjusts_what_it_joins(self) -> Self:
        if self.adjusts is not None and (self.joins is None or self.joins.text != self.adjusts.pack.text):
            message = f"a pack that adjusts `{self.adjusts.pack}` joins it"
            raise flaw("SA208", message, help=f"write `joins: {self.adjusts.pack}`", key="adjusts")
        return self

    @model_validator(mode="after")
    def _has_checklists(self) -> Self:
        if not self.checklists and self.adjusts is None:
            raise flaw(
                "SA212",
                "`checklists` is empty",
                help="list the files, in the order of work",
                key="checklists",
            )
        return self


class LearnedBeliefShape(Shape):
    """A learned belief: what it is, what stands behind it."""

    belief: Share
    faults: Number
    between: Range


class LearnedBandShape(Shape):
    jobs: Number
    faults: Number
    places: dict[Identifier, LearnedBeliefShape]


class LearnedShape(Shape):
    """Beliefs learned from closed jobs. There is no key for anything else, so nothing else can be set."""

    beliefs: Name
    version: Words
    digest: Words
    strength: Number
    jobs: Number
    faults: Number
    places: dict[Identifier, LearnedBeliefShape]
    bands: dict[Name, dict[Name, LearnedBandShape]] = {}

    def spec(self) -> LearnedSpec:
        return LearnedSpec(
            self.beliefs,
            self.version,
            self.digest.text,
            self.strength,
            int(self.jobs),
            int(self.faults),
            _beliefs(self.places),
            tuple(
                LearnedBand(group, band, int(found.jobs), int(found.faults), _beliefs(found.places))
                for group, bands in self.bands.items()
                for band, found in bands.items()
            ),
        )


def _beliefs(places: dict[Text, LearnedBeliefShape]) -> tuple[tuple[Text, float], ...]:
    return tuple((name, each.belief) for name, each in places.items())
