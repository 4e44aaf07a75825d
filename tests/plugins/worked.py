"""What the tests of calculators share: worked examples, directions, and inputs drawn over a range."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Mapping

from hypothesis import assume
from hypothesis import strategies as st
from stillair.calculator import Calculator, Catalogue, Example, OutOfRange
from stillair.quantity import DIMENSIONS, difference_of, read

__all__ = ["canonical", "directions", "examples", "given_inputs", "in_order", "moves", "works"]

Catalogues = Mapping[str, Catalogue]


def examples(calculators: Iterable[Calculator]) -> list[tuple[Calculator, Example]]:
    return [(found, example) for found in calculators for example in found.examples]


def directions(calculators: Iterable[Calculator]) -> list[tuple[Calculator, str, int]]:
    """(calculator, input, 1 or -1) for each input that is said to move the result."""
    return [
        (found, name, sign)
        for found in calculators
        for name, sign in itertools.chain(
            ((n, 1) for n in found.rises_with), ((n, -1) for n in found.falls_with)
        )
    ]


def canonical(text: str, dimension: str) -> float:
    return read(text, DIMENSIONS[dimension]).value


def given_inputs(calculator: Calculator, example: Example, catalogues: Catalogues) -> list[object]:
    """The inputs of an example as the function takes them."""
    found: list[object] = []
    for name, wanted in calculator.inputs.items():
        text = example.inputs.get(name, wanted.default)
        assert text is not None
        if wanted.catalogue is not None:
            found.append(catalogues[wanted.catalogue].entry(text))
        elif wanted.dimension is not None:
            found.append(canonical(text, wanted.dimension))
        else:
            assert text in wanted.options
            found.append(text)
    return found


def works(calculator: Calculator, example: Example, catalogues: Catalogues) -> bool:
    """Whether an example gives what it says, within what it says."""
    result = canonical(example.result, calculator.output)
    within = canonical(example.within, difference_of(DIMENSIONS[calculator.output]).name)
    return abs(calculator(*given_inputs(calculator, example, catalogues)) - result) <= within


def moves(calculator: Calculator, name: str, sign: int, catalogues: Catalogues, by: float) -> bool:
    """Whether an input, less by a share of it, moves the result around at least one example."""
    i = list(calculator.inputs).index(name)
    for example in calculator.examples:
        inputs = given_inputs(calculator, example, catalogues)
        value = inputs[i]
        assert isinstance(value, float)
        less = [*inputs[:i], value * (1 - by), *inputs[i + 1 :]]
        if sign * (calculator(*inputs) - calculator(*less)) > 0:
            return True
    return False


def in_order(
    calculator: Calculator,
    name: str,
    sign: int,
    data: st.DataObject,
    drawn: Callable[[st.DrawFn, Calculator, str], object],
    least: float = 0.0,
) -> bool:
    """Whether two points that differ in that input alone, where both are valid, are in the right order.

    The slack is for the rounding of floats: a share of 1e-9 of the larger result, or of `least`.
    """

    @st.composite
    def pair(draw: st.DrawFn) -> tuple[list[object], list[object]]:
        first = [drawn(draw, calculator, n) for n in calculator.inputs]
        second = [*first]
        second[list(calculator.inputs).index(name)] = drawn(draw, calculator, name)
        return first, second

    i = list(calculator.inputs).index(name)
    low, high = sorted(data.draw(pair()), key=lambda inputs: inputs[i])  # type: ignore[arg-type,return-value]
    try:
        less, more = calculator(*low), calculator(*high)
    except OutOfRange:
        assume(False)
        raise
    return sign * (more - less) >= -1e-9 * max(least, abs(more), abs(less))
