"""How values, names, moments and regions are said: the words of margins, workings, accounts and trails."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from stillair import quantity
from stillair.assess import Assessment, Observation, Program
from stillair.condition import core
from stillair.condition.core import NumberDomain, OptionDomain, Ref
from stillair.possible import UNSURE, Number, Options, Region
from stillair.quantity import DIMENSIONS, Dimension, QuantityError, Unit
from stillair.verdict import Reason, Why

__all__ = [
    "Wording",
    "area",
    "counted",
    "day",
    "duration",
    "exact",
    "floor_digits",
    "number",
    "plainly",
    "precise",
    "span_of",
]

_SIX = 5
"""Decimals behind the first digit of a number in a working, so that rounding does not show in the result."""
_DAYS = 2 * 86400.0
"""A duration from here on is said in days (judgement: people count shorter ones in hours)."""
_CLOSE = 0.1
"""Share by which the ends of a number may lie apart and it is still said as one (judgement)."""


# -- numbers ---------------------------------------------------------------------------------------------


def counted(number: int, one: str, more: str | None = None) -> str:
    """`1 file`, `3 files`; `1 entry`, `3 entries` with `more` given."""
    return f"{number} {one if number == 1 else more or f'{one}s'}"


def _unit_for(value: float, unit: Unit) -> Unit:
    if unit.dimension.name == "duration" and unit.symbol in ("s", "min", "h") and abs(value) >= _DAYS:
        return quantity.find_unit("d", unit.dimension)
    return unit


def exact(value: float, unit: Unit, zone: tzinfo | None = None) -> str:
    """A canonical value without tolerance, to four digits; a moment in its zone."""
    if math.isinf(value):
        return "no bound"
    if unit.dimension.name == "moment" and zone is not None:
        return quantity.show_moment(value, zone)
    return quantity.show(value, _unit_for(value, unit))


def precise(value: float, unit: Unit, zone: tzinfo | None = None) -> str:
    """A canonical value to six digits, as it is put into a formula."""
    if unit.dimension.name in ("moment", "duration") or not math.isfinite(value) or unit.factor < 0:
        return exact(value, unit, zone)
    amount = in_unit(value, unit)
    if amount == 0 or not 1e-6 <= abs(amount) < 1e12:
        return exact(value, unit, zone)
    places = max(0, _SIX - math.floor(math.log10(abs(amount)) + 1e-12))
    text = f"{amount:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text if unit.symbol == "1" else f"{text} {unit.symbol}"


def with_tolerance(value: float, tolerance: float, unit: Unit, zone: tzinfo | None = None) -> str:
    """`239.0 psig ± 3.6 psi`; without tolerance, the value alone."""
    if not tolerance:
        return exact(value, unit, zone)
    if unit.dimension.name == "moment":
        spread = exact(tolerance, quantity.difference_unit(unit))
        return f"{exact(value, unit, zone)} ± {spread}"
    return quantity.show_pm(value, tolerance, _unit_for(value, unit))


def number(value: Number, unit: Unit, zone: tzinfo | None = None) -> str:
    """What a number may be: one value, or from one to another, give or take its tolerance."""
    if value.undefined or (math.isinf(value.low) and math.isinf(value.high)):
        return "not known"
    if value.shape is not None:
        return f"{_from_to(*value.shape, unit, zone)} (95 % by simulation)"
    tolerance = value.tolerance
    if value.low == value.high:
        return with_tolerance(value.low, tolerance, unit, zone)
    if math.isinf(value.low) or math.isinf(value.high):
        end = value.low if math.isinf(value.high) else value.high
        said = with_tolerance(end, tolerance, unit, zone)
        return f"{_side(math.isinf(value.high), unit)} {said}"
    said = _from_to(value.low, value.high, unit, zone)
    return f"{said} ± {exact(tolerance, quantity.difference_unit(unit))}" if tolerance else said


def _from_to(low: float, high: float, unit: Unit, zone: tzinfo | None) -> str:
    """`3 psi to 5 psi`; `at least 3 psi` where there is no upper end."""
    if math.isinf(low) or math.isinf(high):
        return f"{_side(math.isinf(high), unit)} {exact(low if math.isinf(high) else high, unit, zone)}"
    return f"{exact(low, unit, zone)} to {exact(high, unit, zone)}"


def _side(upwards: bool, unit: Unit) -> str:
    """How a number is said that has no end upwards, or none downwards."""
    if unit.dimension.name == "moment":
        return "not before" if upwards else "not after"
    # Of a unit that counts downwards, such as a vacuum, the lower end is the greater number.
    return "at least" if upwards is (unit.factor > 0) else "at most"


def span_of(value: Number, unit: Unit) -> tuple[float | None, float | None, float | None]:
    """Value, low and high of a number in its unit, tolerance included; None where there is none.

    What may be several values has no one value: its middle would be read as if it were known.
    """
    low, high = value.span()
    if value.undefined or math.isnan(low):
        return None, None, None
    ends = [None if math.isinf(v) else in_unit(v, unit) for v in (low, high)]
    one = None if value.ignorant else in_unit(value.low, unit)
    first, second = ends
    if first is not None and second is not None and first > second:
        first, second = second, first
    return one, first, second


def in_unit(value: float, unit: Unit) -> float:
    """A canonical value as a number of the unit, to twelve digits, which drops the noise of conversion."""
    return float(f"{(value - float(unit.offset)) / float(unit.factor):.12g}")


def plainly(value: Number, unit: Unit, zone: tzinfo) -> str:
    """`about 62 oz`, or from one to another where that is not one number to a person."""
    if value.undefined:
        return "an amount that is not known"
    low, high = value.span()
    if low == -float("inf") and high == float("inf"):
        return "an amount that is not known"
    if high == float("inf"):
        return f"at least {_rounded(low, unit, zone)}"
    if low == -float("inf"):
        return f"at most {_rounded(high, unit, zone)}"
    middle = (low + high) / 2
    if high - low <= 2 * _CLOSE * abs(middle):
        return f"about {_rounded(middle, unit, zone)}"
    return f"{_rounded(low, unit, zone)} to {_rounded(high, unit, zone)}"


def _rounded(value: float, unit: Unit, zone: tzinfo) -> str:
    """To three digits, as a scale shows it; a day as a day."""
    if unit.dimension.name == "moment":
        return day(value, zone)
    factor = abs(float(unit.factor))
    return quantity.show(value, unit, max(abs(value) * 0.1, factor * 1e-9))


def day(at: float, zone: tzinfo) -> str:
    """The day a moment falls on."""
    return datetime.fromtimestamp(at, UTC).astimezone(zone).date().isoformat()


def duration(seconds: float) -> str:
    """`6 min 30 s`; from two days on, in days."""
    unit = quantity.find_unit("s", DIMENSIONS["duration"])
    return exact(float(math.floor(abs(seconds) + 0.5)), unit)


def floor_digits(value: float, digits: int = 2) -> float:
    """The number rounded towards zero to so many digits, so that a tolerance said is never too wide."""
    if value <= 0 or not math.isfinite(value):
        return 0.0
    scale = 10.0 ** (math.floor(math.log10(value)) - digits + 1)
    return math.floor(value / scale + 1e-9) * scale


def area(region: Region, unit: Unit, zone: tzinfo | None = None) -> str:
    """A region in words: `inside ±10 psi`, `at or above 50 psig`, `below 59 °F`."""
    pieces = region.pieces
    if not pieces:
        return "anywhere at all: no value will do"
    flat = [(low, high) for low, _, high, _ in pieces]
    if flat == [(-math.inf, math.inf)]:
        return "anywhere"
    if len(flat) == 1 and flat[0][0] == -flat[0][1]:
        return f"inside ±{exact(flat[0][1], unit, zone)}"
    if len(flat) == 2 and flat[0][0] == -math.inf and flat[1][1] == math.inf and flat[0][1] == -flat[1][0]:
        return f"outside ±{exact(flat[1][0], unit, zone)}"
    return " or ".join(_piece(*piece, unit, zone) for piece in pieces)


def _piece(low: float, low_in: bool, high: float, high_in: bool, unit: Unit, zone: tzinfo | None) -> str:
    if low == high:
        return f"at {exact(low, unit, zone)}"
    if low == -math.inf:
        return f"{'at or below' if high_in else 'below'} {exact(high, unit, zone)}"
    if high == math.inf:
        return f"{'at or above' if low_in else 'above'} {exact(low, unit, zone)}"
    return f"between {exact(low, unit, zone)} and {exact(high, unit, zone)}"


# -- names and values of one assessment ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Wording:
    """The words of one assessment: labels, units, clock times of its zone."""

    found: Assessment
    zone: tzinfo

    @property
    def program(self) -> Program:
        return self.found.program

    def name(self, ref: Ref) -> str:
        """The name of a fact or derived fact as conditions write it."""
        derivation = self.program.derived.get(ref.name)
        name = derivation.text if derivation is not None else ref.name
        return name if ref.member is None or ref.member[0] == "@" else f"{name} of {ref.member}"

    def member(self, list_name: str | None, member: str | None) -> str:
        """The label of a member of a list."""
        if list_name is None or member is None:
            return ""
        if list_name == "place":
            place = self.program.places.get(member)
            return place.spec.title if place is not None else member
        spec = self.program.lists.get(list_name)
        for each in spec.members if spec is not None else ():
            if each.name == member:
                return each.label
        added = self.found.history.members.get(list_name, {}).get(member)
        return added[1] if added is not None else member

    def question(self, ref: Ref) -> str:
        """The question of a fact, with the member it is about."""
        fact = self.program.facts.get(ref.name)
        if fact is None:
            return self.name(ref)
        label = self.member(fact.per, ref.member)
        asked = " ".join(fact.spec.ask.split())
        return f"{label}: {asked}" if label else asked

    def moment(self, at: float, day_of: float | None = None) -> str:
        """A moment in the zone of the job; the clock time alone on the day of `day_of`."""
        return quantity.show_moment(at, self.zone, day_of=day_of)

    def clock(self, at: float) -> str:
        """The clock time; with the date where it is not the day of the assessment."""
        return self.moment(at, self.found.at)

    # -- units -------------------------------------------------------------------------------------------

    def unit(self, ref: Ref) -> Unit:
        """The unit in which a number is shown."""
        fact = self.program.facts.get(ref.name)
        if fact is not None and fact.unit is not None:
            return fact.unit
        calculation = self.program.calculations.get(ref.name)
        if calculation is not None:
            return self.formula_unit(calculation[0])
        derivation = self.program.derived.get(ref.name)
        match derivation:
            case core.Formula():
                return self.formula_unit(derivation)
            case core.Sum() | core.Extreme():
                return self.unit(derivation.item)
            case core.Spread():
                return quantity.difference_unit(self.unit(derivation.ref))
            case core.Near():
                return self.unit(derivation.ref)
            case core.SinceEvent():
                return quantity.canonical_unit(DIMENSIONS["duration"])
        if ref.name == "now":
            return quantity.canonical_unit(DIMENSIONS["moment"])
        return quantity.canonical_unit(DIMENSIONS["number"])

    def formula_unit(self, formula: core.Formula) -> Unit:
        return _fitting(self.expression_unit(formula.expression), formula.dimension)

    def expression_unit(self, expression: core.Expression) -> Unit | None:
        """The unit an expression is best shown in; None where none follows from what it is made of."""
        match expression:
            case core.Number():
                limit = self.program.limits.get(expression.text)
                if limit is not None:
                    return limit.unit
                try:
                    found = quantity.read_literal(expression.text)
                except QuantityError:
                    return None
                same = [r.unit for r in found if r.value == expression.value]
                return same[0] if same else None
            case core.Value():
                return self.unit(expression.ref)
            case core.Column():
                return self._column_unit(expression)
            case core.Apply():
                calculator = self.program.calculators.get(expression.name)
                if calculator is not None:
                    return quantity.find_unit(calculator.unit, DIMENSIONS[calculator.output])
                return self.expression_unit(expression.arguments[0])
            case core.Operation():
                return self._operation_unit(expression)
        return None

    def _operation_unit(self, operation: core.Operation) -> Unit | None:
        left, right = self.expression_unit(operation.left), self.expression_unit(operation.right)
        if left is None or right is None:
            return None if operation.operator in "*/" else left or right
        if operation.operator in "+-":
            if left.dimension.point is not None and right.dimension.point is not None:
                return quantity.difference_unit(left)
            return right if right.dimension.point is not None else left
        plain = (0, 0, 0, 0, 0)
        if right.dimension.powers == plain and left.dimension.powers != plain:
            return left
        if operation.operator == "*" and left.dimension.powers == plain and right.dimension.powers != plain:
            return right
        return None

    def _column_unit(self, column: core.Column) -> Unit | None:
        domain = self._domain(column.ref)
        if isinstance(domain, OptionDomain) and domain.catalogue is not None:
            for attribute in self.program.catalogues[domain.catalogue].attributes:
                if attribute.name == column.attribute and attribute.kind in DIMENSIONS:
                    dimension = DIMENSIONS[attribute.kind]
                    if attribute.unit is not None:
                        return quantity.find_unit(attribute.unit, dimension)
                    return quantity.canonical_unit(dimension)
        return None

    def _domain(self, ref: Ref) -> OptionDomain | NumberDomain | None:
        symbol = self.program.symbols.get(ref.name)
        if symbol is not None:
            return symbol.domain
        derivation = self.program.derived.get(ref.name)
        return derivation.domain if isinstance(derivation, core.Near) else None

    # -- values ------------------------------------------------------------------------------------------

    def value(self, ref: Ref, value: Number | Options, domain: OptionDomain | None = None) -> str:
        """What a fact or derived fact may be, in words."""
        if isinstance(value, Number):
            return number(self.spoken(ref, value), self.unit(ref), self.zone)
        domain = domain or self.options_of(ref)
        if domain is None or (value.mask == domain.whole and len(domain.names) > 1):
            return "not known"
        names = domain.of_mask(value.mask)
        return " or ".join(name.replace("_", " ") for name in names) or "nothing is possible"

    def over_members(self, ref: Ref) -> core.Sum | core.Extreme | None:
        """The sum, highest or lowest that this is, perhaps by another name."""
        calculation = self.program.calculations.get(ref.name)
        derivation = calculation[0] if calculation is not None else self.program.derived.get(ref.name)
        if isinstance(derivation, core.Formula) and isinstance(derivation.expression, core.Value):
            return self.over_members(derivation.expression.ref)
        return derivation if isinstance(derivation, core.Sum | core.Extreme) else None

    def spoken(self, ref: Ref, value: Number) -> Number:
        """The number as it is said: the highest of an open list has no end but its fact's own range, which
        nobody means.
        """
        derivation = self.over_members(ref)
        if not isinstance(derivation, core.Extreme) or value.undefined:
            return value
        if not any(r.why is Why.OPEN_LIST and r.about == derivation.list for r in value.reasons):
            return value
        highest = derivation.kind == "highest"
        return value._replace(high=math.inf) if highest else value._replace(low=-math.inf)

    def options_of(self, ref: Ref) -> OptionDomain | None:
        domain = self._domain(ref)
        if isinstance(domain, OptionDomain):
            return domain
        if isinstance(self.program.derived.get(ref.name), core.Each):
            return OptionDomain(("yes", "no"))
        return None

    def reason(self, reason: Reason) -> str:
        """Why a matter is open: what it is about, the kind, and the words."""
        about = self.about(reason.about)
        if reason.why is Why.CLOSE:
            return f"{about}: {reason.why.value}"
        text = reason.text.strip()
        if not text or text == reason.why.value:
            return f"{about}: {reason.why.value}"
        return f"{about}: {reason.why.value} ({text})"

    def about(self, about: str) -> str:
        """The name a reason is about, without the marks of the engine."""
        derivation = self.program.derived.get(about) or self.program.derived.get("=" + about)
        if derivation is not None:
            return derivation.text
        return re.sub(r" \[[a-z][a-z0-9_]*\]$", "", about.lstrip("=")).rstrip("'")

    def reasons(self, reasons: Iterable[Reason]) -> str:
        return "; ".join(dict.fromkeys(self.reason(r) for r in reasons))

    def observation_of(self, line: int) -> Observation | None:
        """The standing entry of a line."""
        for found in self.found.history.observations.values():
            for observation in found:
                if observation.line == line:
                    return observation
        return None

    def _own(self, source: tuple[str, str], value: Number, comes_to: float) -> str:
        """How large an error is in what was read, where that is not what it comes to in the result."""
        for line in value.lines:
            observation = self.observation_of(line)
            fact = self.program.facts.get(observation.fact) if observation is not None else None
            if observation is None or fact is None or fact.unit is None or observation.value is None:
                continue
            effect = self.found.view.reading(fact, observation).effects.get(source)
            if effect is not None:
                unit = quantity.difference_unit(fact.unit)
                same = math.isclose(abs(effect), comes_to, rel_tol=1e-9)
                return "" if same else f"{quantity.show(effect, unit, effect)} "
        return ""

    def source(self, kind: str, who: str) -> str:
        """Where an error comes from, in words."""
        if who.startswith("scale of "):
            return who
        if kind in ("offset", UNSURE):
            return f"offset of {who}"
        if kind == "repeat" and who.isdigit():
            observation = self.observation_of(int(who))
            name = f" of {observation.fact}" if observation is not None else ""
            return f"reading{name}, line {who}"
        return f"as stated for {who}"

    def doubt(self, value: Number, unit: Unit) -> str:
        """The tolerance of a number as the root of a sum of squares; empty with fewer than two parts."""
        effects = [(sources, abs(effect)) for sources, effect in value.parts() if effect]
        if len(effects) < 2 or value.shape is not None:
            return ""
        difference = quantity.difference_unit(unit)
        total = quantity.show(value.tolerance, difference, value.tolerance)
        parts = []
        for sources, effect in sorted(effects, key=lambda e: (-e[1], e[0])):
            shown = quantity.show(effect, difference, value.tolerance / 10)
            own = self._own(sources[0], value, effect) if len(sources) == 1 else ""
            said = " and ".join(self.source(*source) for source in sources)
            parts.append(f"{shown} (from {own}{said}{', taken as one' if len(sources) > 1 else ''})")
        return f"{total} = root of the sum of the squares of {', '.join(parts)}"

    def attribute(self, text: str, option: str, domain: OptionDomain) -> str:
        """`, burning 1` for a test on an attribute of a catalogue entry; empty for any other."""
        found = re.match(r"(?:not \()?[a-z][a-z0-9_]*\.([a-z][a-z0-9_]*)", text)
        if found is None or domain.catalogue is None:
            return ""
        attributes: Mapping[str, object] = self.program.catalogues[domain.catalogue].entry(option).attributes
        value = attributes.get(found[1])
        return f", {found[1]} {'not known' if value is None else value}"


def _fitting(unit: Unit | None, dimension: Dimension) -> Unit:
    """The unit itself if it is of that kind, its difference unit, or the canonical unit of the kind."""
    if unit is not None:
        if unit.dimension == dimension:
            return unit
        if unit.dimension.point is not None and quantity.difference_of(unit.dimension) == dimension:
            return quantity.difference_unit(unit)
    return quantity.canonical_unit(dimension)
