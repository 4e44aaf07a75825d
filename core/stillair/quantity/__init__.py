"""Dimensions, units, and the reading and showing of numbers as people in the trade write them.

Inside the engine a quantity is an SI float: Pa, K, s, kg, m and what follows from them. Gauge pressure is Pa
above the local atmosphere, a moment is seconds since 1970-01-01 UTC. Whatever is typed is converted in exact
fractions and rounded to a float once, so 32 °F and 0 °C, or 16 oz and 1 lb, give the identical float.
"""

from __future__ import annotations

from stillair.quantity._confused import other_units
from stillair.quantity._dimension import DIMENSIONS, Dimension, difference_of, divide, multiply, same_kind
from stillair.quantity._error import QuantityError
from stillair.quantity._moment import show_moment
from stillair.quantity._reading import Quantity, read, read_literal
from stillair.quantity._showing import show, show_pm
from stillair.quantity._unit import Unit, canonical_unit, difference_unit, find_unit, units_of

__all__ = [
    "DIMENSIONS",
    "Dimension",
    "Quantity",
    "QuantityError",
    "Unit",
    "canonical_unit",
    "difference_of",
    "difference_unit",
    "divide",
    "find_unit",
    "multiply",
    "other_units",
    "read",
    "read_literal",
    "same_kind",
    "show",
    "show_moment",
    "show_pm",
    "units_of",
]
