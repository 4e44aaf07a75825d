"""Checked conditions: tests on what facts may be, joined by and/or, and the derived facts they rest on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple, Union

from stillair.possible import Region
from stillair.quantity import Dimension

__all__ = [
    "GRADES",
    "All",
    "Apply",
    "Chosen",
    "Column",
    "Condition",
    "Count",
    "Derivation",
    "Each",
    "Either",
    "Expression",
    "Extreme",
    "Fixed",
    "Formula",
    "Near",
    "Number",
    "NumberDomain",
    "Operation",
    "OptionDomain",
    "Readings",
    "Ref",
    "Series",
    "SinceEvent",
    "Spread",
    "Sum",
    "Symbol",
    "Test",
    "Truth",
    "Value",
    "Within",
    "leaves",
    "name_negated",
    "negated",
    "refs_in",
    "refs_of",
]


#: Grades of a finding in the order of their strength; `none` when no rule for it holds.
GRADES = ("none", "suspected", "probable", "confirmed", "ruled_out", "not_found")


@dataclass(frozen=True, slots=True)
class OptionDomain:
    """A closed list of options; `labels` is what people read."""

    names: tuple[str, ...]
    labels: Mapping[str, str] = field(default_factory=dict, compare=False)
    catalogue: str | None = None

    @property
    def whole(self) -> int:
        return (1 << len(self.names)) - 1

    def mask(self, *names: str) -> int:
        """The mask of these options; ValueError if one is not in the domain."""
        return sum(1 << self.names.index(name) for name in set(names))

    def of_mask(self, mask: int) -> tuple[str, ...]:
        return tuple(name for bit, name in enumerate(self.names) if mask >> bit & 1)


class NumberDomain(NamedTuple):
    """A range of numbers, canonical SI; unbounded where the author gave no `between`."""

    dimension: Dimension
    low: float = float("-inf")
    high: float = float("inf")


Domain = OptionDomain | NumberDomain


class Symbol(NamedTuple):
    """What a name means. `kind`: fact, event, calculation, wait, finding, search, now."""

    name: str
    kind: str
    domain: Domain | None
    per: str | None = None
    series: bool = False


class Ref(NamedTuple):
    """A fact or derived fact; `member` names one member, `@list` means the member in hand of that list."""

    name: str
    member: str | None = None

    def bound(self, binding: Mapping[str, str]) -> Ref:
        """The reference with the member in hand filled in."""
        if self.member is not None and self.member[0] == "@":
            return Ref(self.name, binding[self.member[1:]])
        return self

    def __str__(self) -> str:
        if self.member is None or self.member[0] == "@":
            return self.name
        return f"{self.name} of {self.member}"


# -- conditions ------------------------------------------------------------------------------------------


class Truth(NamedTuple):
    """Always or never."""

    value: bool
    text: str


@dataclass(frozen=True, slots=True)
class Test:
    """True for the options in `sure`, false for those in `never`; not known for the rest."""

    __test__ = False

    ref: Ref
    sure: int
    never: int
    domain: OptionDomain
    text: str


class Within(NamedTuple):
    """The number lies in the region. `unit` is the unit its bounds were written in."""

    ref: Ref
    region: Region
    dimension: Dimension
    text: str
    bounds: tuple[str, ...] = ()


class All(NamedTuple):
    """Every part. `name` is that of the named condition this is, with `not` before it where it is negated."""

    parts: tuple[Condition, ...]
    text: str
    name: str | None = None


class Either(NamedTuple):
    """Some part; `name` as for `All`."""

    parts: tuple[Condition, ...]
    text: str
    name: str | None = None


Condition = Union[Truth, Test, Within, All, Either]  # noqa: UP007 - recursive


def negated(condition: Condition) -> Condition:
    """The condition that fails where this one holds, and holds where it fails. Its texts stay as they are."""
    match condition:
        case Truth():
            return condition._replace(value=not condition.value)
        case Test():
            return replace(condition, sure=condition.never, never=condition.sure)
        case Within():
            return condition._replace(region=condition.region.complement())
        case All() | Either():
            kind = Either if isinstance(condition, All) else All
            return kind(tuple(map(negated, condition.parts)), condition.text, name_negated(condition.name))


def name_negated(name: str | None) -> str | None:
    """What a named condition is called where it is negated; `not a` is called `a` again."""
    if name is None:
        return None
    return name.removeprefix("not ") if name.startswith("not ") else f"not {name}"


def refs_of(condition: Condition) -> Iterator[Ref]:
    """Every reference of a condition, in order, with repeats."""
    if isinstance(condition, Test | Within):
        yield condition.ref
    elif isinstance(condition, All | Either):
        for part in condition.parts:
            yield from refs_of(part)


# -- expressions -----------------------------------------------------------------------------------------


class Number(NamedTuple):
    """A constant: canonical value, and how it was written (a limit keeps its name)."""

    value: float
    text: str


class Value(NamedTuple):
    """The number of a fact or derived fact."""

    ref: Ref


class Chosen(NamedTuple):
    """The option of a fact, given to a calculator that takes an option or a catalogue entry."""

    ref: Ref
    domain: OptionDomain
    catalogue: str | None


class Series(NamedTuple):
    """The readings of a fact that stand, oldest first, given to a calculator that takes a series."""

    ref: Ref


class Fixed(NamedTuple):
    """An option written in the text."""

    option: str
    catalogue: str | None


class Column(NamedTuple):
    """A numeric attribute of the catalogue entry a fact has; None where it is not known."""

    ref: Ref
    attribute: str
    values: tuple[float | None, ...]


class Operation(NamedTuple):
    operator: str
    left: Expression
    right: Expression


class Apply(NamedTuple):
    """A calculator, or one of the built-in functions abs, min, max."""

    name: str
    arguments: tuple[Expression, ...]


Expression = Union[Number, Value, Chosen, Series, Fixed, Column, Operation, Apply]  # noqa: UP007 - recursive


# -- derived facts ---------------------------------------------------------------------------------------


class Formula(NamedTuple):
    """A number computed from others."""

    expression: Expression
    dimension: Dimension
    text: str


class Each(NamedTuple):
    """yes or no: the condition for every, or for any, member of a list."""

    quantifier: str
    list: str
    condition: Condition
    text: str


class Count(NamedTuple):
    """How many members of a list meet the condition."""

    list: str
    condition: Condition
    text: str


class Sum(NamedTuple):
    """The sum of a number over the members of a list, or over those that meet the condition."""

    list: str
    item: Ref
    dimension: Dimension
    text: str
    condition: Condition | None = None


class Extreme(NamedTuple):
    """The highest or lowest of a number over the members of a list, or over those that meet the condition.

    `kind` is "highest" or "lowest". Over no member it is not a number.
    """

    kind: str
    list: str
    item: Ref
    dimension: Dimension
    text: str
    condition: Condition | None = None


class Readings(NamedTuple):
    """How many readings of a series stand."""

    ref: Ref
    text: str


class Entries(NamedTuple):
    """How often a fact has been entered, or entered as one option, whether the entries count or not."""

    ref: Ref
    option: str | None
    text: str


class Spread(NamedTuple):
    """Highest less lowest of the readings of a series in the last `window` seconds.

    At least that, as long as no reading stands that is as old as the window.
    """

    ref: Ref
    window: float
    dimension: Dimension
    text: str


class SinceEvent(NamedTuple):
    """Time since the latest such event, or since the latest observation of a fact."""

    ref: Ref
    text: str


class Near(NamedTuple):
    """The last observation before, or the first after, an event or the observation being judged.

    `anchor` None is the observation being judged.
    """

    kind: str
    ref: Ref
    anchor: Ref | None
    window: float | None
    domain: Domain
    text: str


Derivation = Formula | Each | Count | Sum | Extreme | Readings | Entries | Spread | SinceEvent | Near


def leaves(expression: Expression) -> Iterator[Ref]:
    """Every reference of an expression, in order, with repeats."""
    match expression:
        case Value() | Chosen() | Series() | Column():
            yield expression.ref
        case Operation():
            yield from leaves(expression.left)
            yield from leaves(expression.right)
        case Apply():
            for argument in expression.arguments:
                yield from leaves(argument)


def refs_in(derivation: Derivation) -> Iterator[Ref]:
    """Every reference a derived fact rests on directly, its anchor included."""
    match derivation:
        case Formula():
            yield from leaves(derivation.expression)
        case Each() | Count():
            yield from refs_of(derivation.condition)
        case Sum() | Extreme():
            yield derivation.item
            if derivation.condition is not None:
                yield from refs_of(derivation.condition)
        case Near():
            yield derivation.ref
            if derivation.anchor is not None:
                yield derivation.anchor
        case Readings() | Entries() | Spread() | SinceEvent():
            yield derivation.ref
