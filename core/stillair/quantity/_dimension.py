"""Kinds of quantities, the zero they are counted from, and how they combine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from stillair.quantity._error import QuantityError

_Powers = tuple[int, int, int, int, int]


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity: powers of kg, m, s, K, A; the zero `point` it is counted from, if it has one.

    `unit` is the symbol of the unit of canonical values. A product of two dimensions may have no name of its
    own; it is then called by its unit.
    """

    name: str
    powers: _Powers
    point: str | None
    unit: str


PRESSURE = (1, -1, -2, 0, 0)
_NONE = (0, 0, 0, 0, 0)

DIMENSIONS: Mapping[str, Dimension] = MappingProxyType(
    {
        name: Dimension(name, powers, point, unit)
        for name, powers, point, unit in (
            ("gauge pressure", PRESSURE, "atmosphere", "Pag"),
            ("absolute pressure", PRESSURE, "vacuum", "Pa"),
            ("pressure difference", PRESSURE, None, "Pa"),
            ("temperature", (0, 0, 0, 1, 0), "absolute zero", "K"),
            ("temperature difference", (0, 0, 0, 1, 0), None, "K"),
            ("moment", (0, 0, 1, 0, 0), "epoch", "UTC"),
            ("duration", (0, 0, 1, 0, 0), None, "s"),
            ("mass", (1, 0, 0, 0, 0), None, "kg"),
            ("length", (0, 1, 0, 0, 0), None, "m"),
            ("area", (0, 2, 0, 0, 0), None, "m2"),
            ("volume", (0, 3, 0, 0, 0), None, "m3"),
            ("density", (1, -3, 0, 0, 0), None, "kg/m3"),
            ("mass per length", (1, -1, 0, 0, 0), None, "kg/m"),
            ("pressure rate", (1, -1, -3, 0, 0), None, "Pa/s"),
            ("speed", (0, 1, -1, 0, 0), None, "m/s"),
            ("volume flow", (0, 3, -1, 0, 0), None, "m3/s"),
            ("mass flow", (1, 0, -1, 0, 0), None, "kg/s"),
            ("throughput", (1, 2, -3, 0, 0), None, "Pa·m3/s"),
            ("power", (1, 2, -3, 0, 0), None, "W"),
            ("airflow per capacity", (-1, 1, 2, 0, 0), None, "m3/s/W"),
            ("energy", (1, 2, -2, 0, 0), None, "J"),
            ("voltage", (1, 2, -3, 0, -1), None, "V"),
            ("current", (0, 0, 0, 0, 1), None, "A"),
            ("fraction", _NONE, None, "1"),
            ("number", _NONE, None, "1"),
        )
    }
)
"""Every named dimension. Concentration (mass in a volume of air) is a density."""

_DIFFERENCES = {
    "gauge pressure": "pressure difference",
    "absolute pressure": "pressure difference",
    "temperature": "temperature difference",
    "moment": "duration",
}

# The name of a product or quotient by its powers. Throughput and power share theirs: throughput is left to
# the one product that means it, pressure difference times volume flow, and everything else is a power. An
# energy density has the powers of a pressure difference, a concentration those of a density: the named kind
# is taken.
_NAMED_BY_POWERS = {
    dimension.powers: dimension
    for dimension in reversed(list(DIMENSIONS.values()))
    if dimension.point is None and dimension.name != "throughput"
}


def difference_of(dimension: Dimension) -> Dimension:
    """The dimension of the difference of two such quantities; of a plain dimension, itself."""
    return DIMENSIONS[_DIFFERENCES[dimension.name]] if dimension.name in _DIFFERENCES else dimension


def same_kind(a: Dimension, b: Dimension) -> bool:
    """Whether such quantities may be compared: the same powers counted from the same point.

    Names do not matter, since arithmetic cannot tell W from Pa·m3/s, or a fraction from a number.
    """
    return a.powers == b.powers and a.point == b.point


def multiply(a: Dimension, b: Dimension) -> Dimension:
    """The dimension of a product of plain kinds. QuantityError where a factor is counted from a point."""
    _refuse_points(a, b)
    for factor, other in ((a, b), (b, a)):
        if factor.name == "number":
            return other
    for factor, other in ((a, b), (b, a)):
        if factor.name == "fraction":
            return other
    if {a.name, b.name} == {"pressure difference", "volume flow"}:
        return DIMENSIONS["throughput"]
    return _combined(a, b, 1)


def divide(a: Dimension, b: Dimension) -> Dimension:
    """The dimension of a quotient of plain kinds. QuantityError where one is counted from a point."""
    _refuse_points(a, b)
    if b.powers == _NONE and a.powers != _NONE:
        return a
    if (a.name, b.name) == ("fraction", "number"):
        return a
    return _combined(a, b, -1)


def _refuse_points(*dimensions: Dimension) -> None:
    for dimension in dimensions:
        if dimension.point is not None:
            raise QuantityError(
                f"{with_article(dimension)} is counted from {POINTS[dimension.point]}: "
                "it cannot be multiplied or divided",
                f"take the difference of two first: that is {with_article(difference_of(dimension))}",
            )


POINTS = {
    "atmosphere": "the local atmosphere",
    "vacuum": "a perfect vacuum",
    "absolute zero": "absolute zero",
    "epoch": "a fixed day",
}


def _combined(a: Dimension, b: Dimension, sign: int) -> Dimension:
    kg, m, s, k, amp = (x + sign * y for x, y in zip(a.powers, b.powers, strict=True))
    powers: _Powers = (kg, m, s, k, amp)
    if powers == _NONE:
        return DIMENSIONS["number"]
    if powers in _NAMED_BY_POWERS:
        return _NAMED_BY_POWERS[powers]
    symbols = zip(("kg", "m", "s", "K", "A"), powers, strict=True)
    name = "·".join(symbol if power == 1 else f"{symbol}^{power}" for symbol, power in symbols if power)
    return Dimension(name, powers, None, name)


def with_article(dimension: Dimension) -> str:
    return ("an " if dimension.name[0] in "aeiou" else "a ") + dimension.name
