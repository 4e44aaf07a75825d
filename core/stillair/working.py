"""The working of a calculation: the formula with the numbers put in, so that a person can redo it by hand."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import dataclass

from stillair import quantity
from stillair.assess import View
from stillair.assess.derived import contending, lot_of, read_in_order
from stillair.calculator import Entry, OutOfRange
from stillair.condition import core
from stillair.condition.core import Ref
from stillair.possible import Number, Options
from stillair.quantity import Unit
from stillair.verdict import Reason
from stillair.wording import Wording, exact, number, precise

__all__ = ["Working", "members_put_in", "working"]

_MINUTES = quantity.find_unit("min")
_JOINED = re.compile(r" [-+*/] ")
_MOST_CASES = 4
"""Cases written out one by one where an option is not decided; of more, only the span is said (judgement)."""


@dataclass(frozen=True, slots=True)
class Working:
    """How a number came about.

    `expression` is the formula as its author wrote it, `steps` the formula with the numbers put in, from the
    inside out, `result` the number with its tolerance, `doubt` what the tolerance is made of. `formulas` and
    `sources` are those of the calculators used.
    """

    name: str
    expression: str
    number: Number
    unit: Unit
    steps: tuple[str, ...]
    result: str
    doubt: str
    reasons: tuple[Reason, ...]
    formulas: tuple[str, ...]
    valid: tuple[str, ...]
    sources: tuple[str, ...]


def working(wording: Wording, view: View, formula: core.Formula, ref: Ref, name: str) -> Working:
    """The working of a formula for the values its facts have in this view."""
    value = wording.spoken(ref, view.number(ref))
    unit = wording.formula_unit(formula)
    steps: list[str] = []
    if not value.undefined:
        steps = _Cases(wording, view, ref).steps(formula.expression)
    used = list(dict.fromkeys(_calculators(formula.expression)))
    calculators = [wording.program.calculators[n] for n in used if n in wording.program.calculators]
    word = "is" if _one_sided(value) else "="
    result = f"{name} {word} {number(value, unit, wording.zone)}"
    return Working(
        name,
        " ".join(formula.text.split()),
        value,
        unit,
        tuple(steps),
        result,
        wording.doubt(value, unit),
        value.reasons,
        tuple(f"{c.name}: {c.formula}" for c in calculators),
        tuple("; ".join((f"{c.name}: {c.valid}", *map(str, c.remarks))) for c in calculators),
        tuple(dict.fromkeys(s.text for c in calculators for s in c.sources)),
    )


def members_put_in(wording: Wording, view: View, ref: Ref) -> tuple[str, ...]:
    """`sum of added over top_up = 8 oz (First) + 6 oz (Second) = 14 oz`, or which member is the highest.

    Empty where no single line of numbers gives it. Of a sum, members that may count are only named.
    """
    derivation = wording.program.derived.get(ref.name)
    if not isinstance(derivation, core.Sum | core.Extreme):
        return ()
    lot = lot_of(view, derivation, ref)
    found = contending(derivation, lot)
    sure = [each for each in found if each.sure]
    one = isinstance(derivation, core.Sum) or len(found) == 1
    if not sure or not one or any(each.number.undefined or each.number.ignorant for each in sure):
        return ()
    unit, zone = wording.unit(ref), wording.zone
    said = " + ".join(
        f"{precise(each.number.low, unit, zone)} ({wording.member(derivation.list, each.member)})"
        for each in sure
    )
    if len(sure) > 1:
        said += f" = {precise(math.fsum(each.number.low for each in sure), unit, zone)}"
    for each in found:
        if not each.sure:
            said += f"; {wording.member(derivation.list, each.member)} may count as well"
    if not lot.closed:
        said += "; more may be listed"
    return (f"{wording.name(ref)} = {said}",)


def _one_sided(value: Number) -> bool:
    return not value.undefined and math.isinf(value.low) is not math.isinf(value.high)


def _calculators(expression: core.Expression) -> list[str]:
    match expression:
        case core.Operation():
            return [*_calculators(expression.left), *_calculators(expression.right)]
        case core.Apply():
            inner = [name for argument in expression.arguments for name in _calculators(argument)]
            return [*inner, expression.name]
    return []


class _Unsettled(Exception):
    """An input is not one value, so that no single line of numbers can be written."""


class _Cases:
    """Writes the steps once for each way that undecided options may turn out."""

    def __init__(self, wording: Wording, view: View, ref: Ref) -> None:
        self.wording = wording
        self.view = view
        self.outer = ref
        self.chosen: dict[Ref, str] = {}
        self.written: list[str] = []
        self.ends: dict[Ref, float] = {}
        """The finite end of the one number that is known from one side only."""

    def steps(self, expression: core.Expression) -> list[str]:
        if isinstance(expression, core.Value):
            put_in = members_put_in(self.wording, self.view, self._bind(expression.ref))
            if put_in or self.wording.over_members(expression.ref) is not None:
                return list(put_in)
        open_refs = {
            ref: list(domain.of_mask(self.view.options(ref).mask))
            for ref, domain in self._choices(expression)
        }
        undecided = {ref: names for ref, names in open_refs.items() if len(names) > 1}
        cases = list(itertools.product(*undecided.values()))
        if len(cases) > _MOST_CASES:
            return []
        bound = dict.fromkeys(self._bind(leaf) for leaf in core.leaves(expression))
        values = {ref: self.view.value(ref) for ref in bound}
        numbers = {r: self.wording.spoken(r, v) for r, v in values.items() if isinstance(v, Number)}
        open_ = {ref: value for ref, value in numbers.items() if value.ignorant}
        if len(open_) == 1:
            self.ends = {r: v.high if math.isinf(v.low) else v.low for r, v in open_.items() if _one_sided(v)}
        found: list[str] = []
        for case in cases:
            self.chosen = dict(zip(undecided, case, strict=True))
            self.written = []
            try:
                self._evaluate(expression, root=True)
            except (_Unsettled, OutOfRange):
                return found
            given = [f"{self.wording.name(ref)} is {name}" for ref, name in self.chosen.items()]
            for ref, end in self.ends.items():
                shown = precise(end, self.wording.unit(ref), self.wording.zone)
                more = "more" if end == numbers[ref].low else "less"
                given.append(f"{self.wording.name(ref)} is {shown} and no {more}")
            said = " and ".join(given)
            found.extend(f"if {said}: {step}" if said else step for step in self.written)
        return list(dict.fromkeys(found))

    def _bind(self, ref: Ref) -> Ref:
        return Ref(ref.name, self.outer.member) if ref.member is not None and ref.member[0] == "@" else ref

    def _choices(self, expression: core.Expression) -> list[tuple[Ref, core.OptionDomain]]:
        match expression:
            case core.Chosen():
                return [(self._bind(expression.ref), expression.domain)]
            case core.Column():
                ref = self._bind(expression.ref)
                domain = self.wording.options_of(ref)
                return [(ref, domain)] if domain is not None else []
            case core.Operation():
                return [*self._choices(expression.left), *self._choices(expression.right)]
            case core.Apply():
                return [c for argument in expression.arguments for c in self._choices(argument)]
        return []

    def _option(self, ref: Ref) -> str:
        bound = self._bind(ref)
        if bound in self.chosen:
            return self.chosen[bound]
        domain = self.wording.options_of(bound)
        options = self.view.options(bound)
        assert isinstance(options, Options) and domain is not None
        return domain.of_mask(options.mask)[0]

    def _evaluate(
        self, node: core.Expression, *, root: bool = False, unit: Unit | None = None
    ) -> tuple[object, str]:
        """The value of a part and how it is written; each call of a calculator adds a step."""
        zone = self.wording.zone
        match node:
            case core.Number():
                limit = self.wording.program.limits.get(node.text)
                if limit is not None:
                    return node.value, exact(node.value, limit.unit, zone)
                return node.value, f"({node.text})" if _JOINED.search(node.text) else node.text
            case core.Fixed():
                entry: object = node.option
                if node.catalogue is not None:
                    entry = self.wording.program.catalogues[node.catalogue].entry(node.option)
                return entry, node.option
            case core.Chosen():
                option = self._option(node.ref)
                if node.catalogue is not None:
                    return self.wording.program.catalogues[node.catalogue].entry(option), option
                return option, option
            case core.Series():
                return self._series(self._bind(node.ref))
            case core.Column():
                option = self._option(node.ref)
                domain = self.wording.options_of(self._bind(node.ref))
                assert domain is not None
                found = node.values[domain.names.index(option)]
                if found is None:
                    raise _Unsettled
                own = unit or self.wording.expression_unit(node)
                return found, precise(found, own, zone) if own is not None else f"{found:g}"
            case core.Value():
                bound = self._bind(node.ref)
                known = self.view.number(bound)
                if known.undefined or (known.ignorant and bound not in self.ends):
                    raise _Unsettled
                amount = self.ends.get(bound, known.low)
                said = precise(amount, unit or self.wording.unit(bound), zone)
                from_members = members_put_in(self.wording, self.view, bound)
                self.written.extend(step for step in from_members if step not in self.written)
                if root:
                    self.written.append(f"{self.wording.name(bound)} = {said}")
                return amount, said
            case core.Apply():
                return self._apply(node)
            case core.Operation():
                value, said = self._operation(node, unit)
                if root:
                    shown = self._shown(value, self.wording.expression_unit(node))
                    self.written.append(f"{said} = {shown}")
                    return value, shown
                return value, f"({said})"
        raise _Unsettled

    def _series(self, ref: Ref) -> tuple[object, str]:
        found = read_in_order(self.view, ref)
        if isinstance(found, Reason):
            raise _Unsettled
        unit, zone = self.wording.unit(ref), self.wording.zone
        begun = found[0].taken
        said = "; ".join(
            f"{quantity.show((o.taken - begun), _MINUTES)} {precise(float(o.value or 0.0), unit, zone)}"
            for o in found
        )
        self.written.append(f"{self.wording.name(ref)}: {said}")
        return [(o.taken - begun, float(o.value or 0.0)) for o in found], self.wording.name(ref)

    def _apply(self, node: core.Apply) -> tuple[float, str]:
        parts = []
        for argument in node.arguments:
            value, said = self._evaluate(argument)
            if isinstance(argument, core.Operation):
                shown = self._shown(value, self.wording.expression_unit(argument))
                self.written.append(f"{said.removeprefix('(').removesuffix(')')} = {shown}")
                said = shown
            parts.append((value, said))
        built_in = {"abs": abs, "min": min, "max": max}.get(node.name)
        function = built_in or self.wording.program.calculators[node.name]
        result = function(*[value for value, _ in parts])  # type: ignore[operator]
        assert isinstance(result, float)
        unit = self.wording.expression_unit(node)
        shown = self._shown(result, unit)
        step = f"{node.name}({', '.join(said for _, said in parts)}) = {shown}"
        if step not in self.written:
            self.written.append(step)
        return result, shown

    def _operation(self, node: core.Operation, wanted: Unit | None) -> tuple[float, str]:
        first = wanted or self.wording.expression_unit(node.left)
        second: Unit | None = None
        if node.operator in "+-" and first is not None:
            # Both sides in one unit, or nobody could add them by hand.
            other = self.wording.expression_unit(node.right)
            if other is not None:
                if other.dimension == first.dimension:
                    second = first
                elif quantity.difference_of(first.dimension) == other.dimension:
                    second = quantity.difference_unit(first)
        left, left_said = self._evaluate(node.left, unit=first if node.operator in "+-" else None)
        right, right_said = self._evaluate(node.right, unit=second)
        assert isinstance(left, float) and isinstance(right, float)
        if right_said.startswith("-"):
            right_said = f"({right_said})"
        if isinstance(node.left, core.Operation) and node.operator in "+-" and node.left.operator in "+-":
            left_said = left_said.removeprefix("(").removesuffix(")")
        match node.operator:
            case "+":
                result = left + right
            case "-":
                result = left - right
            case "*":
                result = left * right
            case _:
                if right == 0:
                    raise _Unsettled
                result = left / right
        return result, f"{left_said} {node.operator} {right_said}"

    def _shown(self, value: object, unit: Unit | None) -> str:
        if isinstance(value, Entry):
            return value.name
        assert isinstance(value, float)
        return f"{value:.6g}" if unit is None else precise(value, unit, self.wording.zone)
