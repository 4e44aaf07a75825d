"""How far a number can reach: its declared range, or what follows for a formula from those of its parts."""

from __future__ import annotations

import math

from stillair.assess.program import Program
from stillair.condition import core
from stillair.condition.core import Expression, NumberDomain, Ref
from stillair.condition.worlds import Key
from stillair.quantity import DIMENSIONS

__all__ = ["Spans"]

Span = tuple[float, float]
_EVERYTHING: Span = (-math.inf, math.inf)
_SLACK = 1e-9
"""Share by which the span of a formula is widened, so that rounding never closes it."""


class Spans:
    """The spans of the names of a program; none is narrower than the truth."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self._turned: dict[Ref, core.Formula] = {}
        self._against: set[Ref] = set()

    def key(self, ref: Ref) -> Key:
        """One name for a difference, whichever way round it is written."""
        derivation = self.program.derived.get(ref.name)
        if not isinstance(derivation, core.Formula):
            return Key(ref)
        expression = derivation.expression
        if not isinstance(expression, core.Operation) or expression.operator != "-":
            return Key(ref)
        left, right = repr(expression.left), repr(expression.right)
        held = Ref(f"={min(left, right)} - {max(left, right)}", ref.member)
        if left <= right:
            self._turned[held] = derivation
            self._against.discard(held)
            return Key(held)
        turned = core.Operation("-", expression.right, expression.left)
        if held not in self._turned:
            self._turned[held] = core.Formula(turned, derivation.dimension, derivation.text)
            self._against.add(held)
        return Key(held, -1)

    def is_whole(self, ref: Ref) -> bool:
        """Whether a name counts something."""
        return isinstance(self.program.derived.get(ref.name), core.Count | core.Readings | core.Entries)

    def may_lack(self, ref: Ref) -> bool:
        """Whether a number may not exist although all is known: since what never happened, a quotient."""
        derivation = self._turned.get(ref) or self.program.derived.get(ref.name)
        calculation = self.program.calculations.get(ref.name)
        if calculation is not None:
            derivation = calculation[0]
        if not isinstance(derivation, core.Formula):
            return isinstance(derivation, core.SinceEvent | core.Extreme | core.Near | core.Spread)
        return self._divides(derivation.expression) or any(
            self.may_lack(each) for each in core.leaves(derivation.expression)
        )

    def _divides(self, expression: Expression) -> bool:
        match expression:
            case core.Operation(operator, left, right):
                return operator == "/" or self._divides(left) or self._divides(right)
            case core.Apply(name, arguments):
                return name not in ("abs", "min", "max") or any(map(self._divides, arguments))
            case core.Column():
                return None in expression.values
        return False

    def sign(self, ref: Ref) -> int:
        """-1 for a difference whose author writes it the other way round only, else 1."""
        return -1 if ref in self._against else 1

    def said(self, ref: Ref) -> str:
        """A name as its author writes it; a number of it is to be taken with `sign`."""
        formula = self._turned.get(ref)
        if formula is not None:
            return formula.text
        derivation = self.program.derived.get(ref.name)
        return str(ref) if derivation is None else derivation.text

    def of(self, ref: Ref) -> NumberDomain | None:
        """The range of a number; None where nothing is known of it."""
        derivation = self._turned.get(ref) or self.program.derived.get(ref.name)
        if isinstance(derivation, core.Formula):
            return NumberDomain(derivation.dimension, *self._widened(derivation.expression))
        symbol = self.program.symbols.get(ref.name)
        calculation = self.program.calculations.get(ref.name)
        if calculation is not None:
            return NumberDomain(calculation[0].dimension, *self._widened(calculation[0].expression))
        if derivation is not None:
            return self._counted(derivation)
        return symbol.domain if symbol is not None and isinstance(symbol.domain, NumberDomain) else None

    def _counted(self, derivation: core.Derivation) -> NumberDomain | None:
        match derivation:
            case core.Count():
                spec = self.program.lists.get(derivation.list)
                most = math.inf if spec is None or spec.open else float(len(spec.members))
                if derivation.list == "place":
                    most = float(len(self.program.places))
                return NumberDomain(DIMENSIONS["number"], 0.0, most)
            case core.Readings() | core.Entries():
                return NumberDomain(DIMENSIONS["number"], 0.0)
            case core.SinceEvent():
                return NumberDomain(DIMENSIONS["duration"], 0.0)
            case core.Spread():
                return NumberDomain(derivation.dimension, 0.0)
            case core.Sum():
                item = self.of(derivation.item)
                low = 0.0 if item is not None and item.low >= 0 else -math.inf
                return NumberDomain(derivation.dimension, low)
            case core.Extreme():
                item = self.of(derivation.item)
                return NumberDomain(derivation.dimension) if item is None else item
            case core.Near() if isinstance(derivation.domain, NumberDomain):
                return derivation.domain
        return None

    def _widened(self, expression: Expression) -> Span:
        low, high = self._span(expression)
        slack = _SLACK * max((abs(x) for x in (low, high) if math.isfinite(x)), default=0.0)
        return low - slack, high + slack

    def _span(self, expression: Expression) -> Span:
        match expression:
            case core.Number():
                return expression.value, expression.value
            case core.Value():
                found = self.of(expression.ref)
                return _EVERYTHING if found is None else (found.low, found.high)
            case core.Column():
                known = [value for value in expression.values if value is not None]
                return (min(known), max(known)) if known else _EVERYTHING
            case core.Operation():
                return _combined(
                    expression.operator, self._span(expression.left), self._span(expression.right)
                )
            case core.Apply(name, arguments):
                spans = [self._span(each) for each in arguments]
                if name == "min":
                    return min(low for low, _ in spans), min(high for _, high in spans)
                if name == "max":
                    return max(low for low, _ in spans), max(high for _, high in spans)
                if name == "abs":
                    low, high = spans[0]
                    return (0.0 if low <= 0 <= high else min(abs(low), abs(high))), max(abs(low), abs(high))
        return _EVERYTHING


def _combined(operator: str, left: Span, right: Span) -> Span:
    if operator == "+":
        return left[0] + right[0], left[1] + right[1]
    if operator == "-":
        return left[0] - right[1], left[1] - right[0]
    if not all(map(math.isfinite, (*left, *right))) or (operator == "/" and right[0] <= 0 <= right[1]):
        return _EVERYTHING
    corners = [a * b if operator == "*" else a / b for a in left for b in right]
    return min(corners), max(corners)
