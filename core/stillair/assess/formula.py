"""Formulas made ready to run: as functions of their inputs, and in which of them they are monotone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from math import isfinite
from typing import NamedTuple, NoReturn

from stillair.calculator import Cap, Divisor, OutOfRange
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
    caps: tuple[Cap, ...] = ()


def closure_of(program: Program, formula: core.Formula) -> Closure:
    """The formula ready to run with the calculators the program is bound to; made once."""
    held = program.closures.get(id(formula))
    if not isinstance(held, Closure):
        held = program.closures[id(formula)] = _shared(program, formula.expression)
    return held


#: The closures made so far. Two programs with one formula have one closure, and so what is remembered of it.
_MADE: dict[object, tuple[Closure, object]] = {}
MOST_MADE = 4096
"""Closures remembered before they are forgotten together (judgement: a dozen large packs' worth)."""


def _shared(program: Program, expression: core.Expression) -> Closure:
    """The closure of an expression with these calculators and catalogues."""
    bound = [*map(program.calculators.get, _applied(expression)), *program.catalogues.values()]
    # As text, in which what is of another kind never looks the same.
    key = (repr(expression), *map(id, bound))
    if key not in _MADE:
        if len(_MADE) >= MOST_MADE:
            _MADE.clear()
        # With what it is bound to, so that nothing else comes to stand at the same place.
        _MADE[key] = (_closure(program, expression), bound)
    return _MADE[key][0]


def _applied(node: core.Expression) -> Iterator[str]:
    """The names of the functions in an expression."""
    match node:
        case core.Operation():
            yield from _applied(node.left)
            yield from _applied(node.right)
        case core.Apply():
            yield node.name
            for argument in node.arguments:
                yield from _applied(argument)


def _closure(program: Program, expression: core.Expression) -> Closure:
    slots: dict[tuple[Ref, str], int] = {}
    choices: list[Sequence[object] | None] = []
    divisors: list[Divisor] = []
    series: set[int] = set()
    caps: list[Cap] = []
    uses: Counter[int] = Counter()
    names: dict[str, object] = {"INF": INF, "OutOfRange": OutOfRange, "isfinite": isfinite, "raise_": _raise}

    def slot(ref: Ref, column: str, choice: Sequence[object] | None) -> int:
        key = (ref, column)
        if key not in slots:
            slots[key] = len(slots)
            choices.append(choice)
        uses[slots[key]] += 1
        return slots[key]

    def named(value: object) -> str:
        name = f"n{len(names)}"
        names[name] = value
        return name

    def build(node: core.Expression) -> tuple[list[str], str]:
        """The statements that work out an expression over the list `v`, and its value in the source."""
        match node:
            case core.Number():
                return [], named(node.value)
            case core.Fixed():
                fixed: object = node.option
                if node.catalogue is not None:
                    fixed = program.catalogues[node.catalogue].entry(node.option)
                return [], named(fixed)
            case core.Value():
                return [], f"v[{slot(node.ref, '', None)}]"
            case core.Chosen():
                found: Sequence[object] = node.domain.names
                if node.catalogue is not None:
                    catalogue = program.catalogues[node.catalogue]
                    found = [catalogue.entry(name) for name in node.domain.names]
                return [], f"v[{slot(node.ref, 'option', found)}]"
            case core.Series():
                readings = slot(node.ref, "series", None)
                series.add(readings)
                return [], f"v[{readings}]"
            case core.Column():
                column = f"v[{slot(node.ref, node.attribute, node.values)}]"
                unknown = named(f"the {node.attribute.replace('_', ' ')} is not known")
                return [f"if {column} is None: raise_({unknown})"], column
            case core.Operation():
                before, left = build(node.left)
                divisor, right = build(node.right)
                result = named(None)
                if node.operator == "/":
                    inside = set(leaves(node.right))
                    rests_on = frozenset(i for (ref, _), i in slots.items() if ref in inside)
                    if rests_on:
                        divisors.append((_made(divisor, right, names), rests_on))
                    before = [*divisor, f"if {right} == 0: raise_('division by zero')", *before]
                else:
                    before += divisor
                return [*before, f"{result} = {left} {node.operator} {right}", _settled(node, result)], result
            case core.Apply():
                parts = [build(argument) for argument in node.arguments]
                built_in = {"abs": abs, "min": min, "max": max}.get(node.name)
                match node.name, node.arguments:
                    case "min" | "max", (core.Value(one), core.Value(other)):
                        side = 1.0 if node.name == "min" else -1.0
                        first, second = slots[one, ""], slots[other, ""]
                        caps.extend(((first, second, side), (second, first, side)))
                before = [line for lines, _ in parts for line in lines]
                given, result = [value for _, value in parts], named(None)
                if built_in is not None:
                    return [*before, f"{result} = {named(built_in)}({', '.join(given)})"], result
                calculator = program.calculators[node.name]
                calling = _calling(named(calculator.function), named(calculator), given, result)
                return [*before, *calling], result

    function = _made(*build(expression), names)
    refs = tuple(ref for ref, _ in slots)
    monotone = tuple(_monotone(program, expression, ref) for ref in refs)
    alone = tuple(cap for cap in caps if uses[cap[0]] == 1)
    return Closure(function, refs, tuple(choices), monotone, tuple(divisors), frozenset(series), alone)


def _made(lines: Sequence[str], result: str, names: dict[str, object]) -> Callable[[Sequence[object]], float]:
    """The function of these statements, in which no text of a pack stands."""
    source = "\n ".join(("def function(v):", *lines, f"return {result}"))
    exec(compile(source, "<formula>", "exec", dont_inherit=True), names)
    return names.pop("function")  # type: ignore[return-value]


def _raise(message: str) -> NoReturn:
    raise OutOfRange(message)


def _calling(function: str, calculator: str, given: Sequence[str], result: str) -> list[str]:
    """A call of the function of a calculator; where it gives no number, the calculator says what is wrong."""
    infinite = " or ".join(f"{each} == INF or {each} == -INF" for each in given) or "False"
    put_in = ", ".join(given)
    return [
        f"if {infinite}: {result} = {calculator}.limit([{put_in}])",
        "else:",
        f"  try: {result} = {function}({put_in})",
        "  except OutOfRange: raise",
        f"  except Exception: {result} = None",
        f"  if type({result}) is not float or not isfinite({result}): {result} = {calculator}({put_in})",
    ]


def _settled(node: core.Operation, result: str) -> str:
    """What becomes of a result that is no number."""
    if node.operator == "*":
        # Nothing of whatever it may be is nothing.
        return f"if {result} != {result}: {result} = 0.0"
    # Infinity less infinity, or over it: nothing follows.
    return f"if {result} != {result}: raise_('two unknowns without a bound pull apart')"


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
