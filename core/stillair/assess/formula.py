"""Formulas made ready to run: closures over their inputs, and in which of them they are monotone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from stillair.calculator import Calculator, Divisor, OutOfRange
from stillair.condition import core
from stillair.condition.core import Ref, leaves

from .program import Program

__all__ = ["Closure", "closure_of"]

INF = float("inf")


class Closure(NamedTuple):
    """`function` takes a list with a value for each of `leaves`; `choices` are what an option stands for.

    Where `series` says so, the value is the readings of the leaf, each with its time.

    Of an infinite value it gives the bound of the result, or raises OutOfRange.
    """

    function: Callable[[Sequence[object]], float]
    leaves: tuple[Ref, ...]
    choices: tuple[Sequence[object] | None, ...]
    monotone: tuple[bool, ...]
    divisors: tuple[Divisor, ...] = ()
    series: frozenset[int] = frozenset()


def closure_of(program: Program, formula: core.Formula) -> Closure:
    """The formula ready to run with the calculators the program is bound to; made once."""
    held = program.closures.get(id(formula))
    if not isinstance(held, Closure):
        held = program.closures[id(formula)] = _closure(program, formula.expression)
    return held


def _closure(program: Program, expression: core.Expression) -> Closure:
    slots: dict[tuple[Ref, str], int] = {}
    choices: list[Sequence[object] | None] = []
    divisors: list[Divisor] = []
    series: set[int] = set()

    def slot(ref: Ref, column: str, choice: Sequence[object] | None) -> int:
        key = (ref, column)
        if key not in slots:
            slots[key] = len(slots)
            choices.append(choice)
        return slots[key]

    def build(node: core.Expression) -> Callable[[Sequence[object]], object]:
        match node:
            case core.Number():
                constant = node.value
                return lambda v: constant
            case core.Fixed():
                fixed: object = node.option
                if node.catalogue is not None:
                    fixed = program.catalogues[node.catalogue].entry(node.option)
                return lambda v: fixed
            case core.Value():
                index = slot(node.ref, "", None)
                return lambda v: v[index]
            case core.Chosen():
                found: Sequence[object] = node.domain.names
                if node.catalogue is not None:
                    catalogue = program.catalogues[node.catalogue]
                    found = [catalogue.entry(name) for name in node.domain.names]
                chosen = slot(node.ref, "option", found)
                return lambda v: v[chosen]
            case core.Series():
                readings = slot(node.ref, "series", None)
                series.add(readings)
                return lambda v: v[readings]
            case core.Column():
                column = slot(node.ref, node.attribute, node.values)
                name = node.attribute.replace("_", " ")

                def attribute(v: Sequence[object]) -> object:
                    if v[column] is None:
                        raise OutOfRange(f"the {name} is not known")
                    return v[column]

                return attribute
            case core.Operation():
                left, right = build(node.left), build(node.right)
                if node.operator == "/":
                    inside = set(leaves(node.right))
                    rests_on = frozenset(i for (ref, _), i in slots.items() if ref in inside)
                    if rests_on:
                        divisors.append((right, rests_on))  # type: ignore[arg-type]
                return _operation(node.operator, left, right)
            case core.Apply():
                parts = [build(argument) for argument in node.arguments]
                built_in = {"abs": abs, "min": min, "max": max}.get(node.name)
                if built_in is None:
                    return _calling(program.calculators[node.name], parts)
                return lambda v: built_in(*[part(v) for part in parts])  # type: ignore[operator]

    function = build(expression)
    refs = tuple(ref for ref, _ in slots)
    monotone = tuple(_monotone(program, expression, ref) for ref in refs)
    return Closure(function, refs, tuple(choices), monotone, tuple(divisors), frozenset(series))  # type: ignore[arg-type]


def _calling(
    calculator: Calculator, parts: Sequence[Callable[[Sequence[object]], object]]
) -> Callable[[Sequence[object]], float]:
    def call(v: Sequence[object]) -> float:
        given = [part(v) for part in parts]
        return calculator.limit(given) if INF in given or -INF in given else calculator(*given)

    return call


def _operation(
    operator: str,
    left: Callable[[Sequence[object]], object],
    right: Callable[[Sequence[object]], object],
) -> Callable[[Sequence[object]], object]:
    def settled(value: float) -> float:
        # Infinity less infinity, or over it: nothing follows.
        if value != value:
            raise OutOfRange("two unknowns without a bound pull apart")
        return value

    def times(v: Sequence[object]) -> float:
        product = left(v) * right(v)  # type: ignore[operator]
        # Nothing of whatever it may be is nothing.
        return product if product == product else 0.0

    def divide(v: Sequence[object]) -> float:
        divisor = right(v)
        if divisor == 0:
            raise OutOfRange("division by zero")
        return settled(left(v) / divisor)  # type: ignore[operator]

    match operator:
        case "+":
            return lambda v: settled(left(v) + right(v))  # type: ignore[operator]
        case "-":
            return lambda v: settled(left(v) - right(v))  # type: ignore[operator]
        case "*":
            return times
    return divide


def _monotone(program: Program, node: core.Expression, ref: Ref) -> bool:
    """Whether the expression is monotone in a reference, whatever the others are.

    A quotient is so in what it divides by as long as that keeps from zero, for which its `divisors` are.
    """
    match node:
        case core.Operation():
            sides = [_mentions(node.left, ref), _mentions(node.right, ref)]
            if all(sides):
                return node.operator in "+-" and _affine(node.left, ref) and _affine(node.right, ref)
            return _monotone(program, node.left if sides[0] else node.right, ref)
        case core.Apply():
            inside = [i for i, a in enumerate(node.arguments) if _mentions(a, ref)]
            if not inside:
                return True
            if len(inside) > 1 and node.name not in ("min", "max"):
                return False
            if node.name == "abs":
                return False
            if node.name not in ("min", "max"):
                calculator = program.calculators[node.name]
                names = list(calculator.inputs)
                known = {*calculator.rises_with, *calculator.falls_with}
                if (
                    names[inside[0]] not in known
                    and calculator.inputs[names[inside[0]]].dimension is not None
                ):
                    return False
            if len(inside) > 1:
                return all(node.arguments[i] == core.Value(ref) for i in inside)
            return _monotone(program, node.arguments[inside[0]], ref)
    return True


def _affine(node: core.Expression, ref: Ref) -> bool:
    match node:
        case core.Operation() if node.operator in "+-":
            return _affine(node.left, ref) and _affine(node.right, ref)
        case core.Value():
            return True
    return not _mentions(node, ref)


def _mentions(node: core.Expression, ref: Ref) -> bool:
    return any(leaf == ref for leaf in leaves(node))
