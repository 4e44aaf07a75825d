"""The units a number is often confused with."""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction

from stillair.quantity._dimension import DIMENSIONS
from stillair.quantity._reading import Quantity, clean_text, parts_typed
from stillair.quantity._showing import plain_decimal
from stillair.quantity._unit import find_unit, units_of

# Judgement, no source: what shares a dial, a display or a keyboard with the unit written.
_CONFUSED: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "gauge pressure": {
        "psig": ("psia", "inHg vac", "kPag", "barg"),
        "barg": ("bara", "psig", "kPag"),
        "kPag": ("kPaa", "psig", "barg"),
        "MPag": ("MPaa", "barg"),
        "inHg vac": ("psig", "micron", "inHg"),
    },
    "absolute pressure": {
        "psia": ("psig", "kPaa", "bara"),
        "bara": ("barg", "psia", "kPaa"),
        "kPaa": ("kPag", "psia", "bara"),
        "MPaa": ("MPag", "bara"),
        "micron": ("inHg vac", "torr", "Pa", "mbar"),
        "inHg": ("inHg vac", "mmHg", "mbar", "psia"),
        "mmHg": ("inHg", "mbar", "micron"),
        "torr": ("micron", "mbar", "Pa"),
        "mbar": ("Pa", "torr", "micron"),
        "Pa": ("micron", "torr", "mbar"),
    },
    "pressure difference": {
        "psi": ("kPa", "bar", "inHg"),
        "bar": ("psi", "kPa"),
        "kPa": ("psi", "bar"),
        "in w.c.": ("Pa", "psi"),
        "Pa": ("in w.c.", "kPa"),
        "micron": ("torr", "Pa"),
    },
    "temperature": {"°F": ("°C",), "°C": ("°F",), "K": ("°C", "°F"), "°R": ("°F",)},
    "temperature difference": {"°F": ("°C",), "°C": ("°F",), "K": ("°F",), "°R": ("°C",)},
    "mass": {"oz": ("lb", "g"), "lb": ("oz", "kg"), "g": ("oz", "kg"), "kg": ("lb", "g")},
    "length": {"in": ("ft", "mm", "cm"), "ft": ("in", "m"), "m": ("ft",), "mm": ("in",), "cm": ("in",)},
    "duration": {"min": ("s", "h"), "s": ("min",), "h": ("min",)},
    "mass flow": {
        "oz/yr": ("g/yr", "lb/yr"),
        "g/yr": ("oz/yr", "kg/yr"),
        "lb/yr": ("oz/yr", "kg/yr"),
        "kg/yr": ("lb/yr", "g/yr"),
    },
    "volume flow": {"cfm": ("cfh", "L/s"), "cfh": ("cfm",), "L/s": ("cfm", "L/min"), "L/min": ("L/s",)},
    "fraction": {"%": ("1", "ppm"), "% vol": ("1", "ppm"), "ppm": ("%",), "1": ("%",)},
}


_OTHER_ZERO = {
    "gauge pressure": DIMENSIONS["absolute pressure"],
    "absolute pressure": DIMENSIONS["gauge pressure"],
}

_GREATEST_ATMOSPHERE = 110_000.0
"""Pa; no barometer above ground has read as much (from memory)."""


def other_units(quantity: Quantity, *, atmosphere: float | None = None) -> list[Quantity]:
    """What the number typed would be had it been meant in a unit it is often confused with.

    Every answer has the dimension of `quantity` and says in `typed` how it was read: `75 °C` for 75 °F. A
    gauge pressure meant as an absolute one, or the reverse, is given only with the local `atmosphere`
    (absolute, Pa), and then in the first unit of its dimension. What cannot be, below a vacuum or below
    absolute zero, is left out. A number typed in several parts is not confused with anything.
    """
    dimension = quantity.dimension
    symbols = _CONFUSED.get(dimension.name, {}).get(quantity.unit.symbol, ())
    number = _number_typed(quantity) if symbols else None
    if number is None:
        return []
    lowest = {
        "vacuum": 0.0,
        "absolute zero": 0.0,
        "atmosphere": -(_GREATEST_ATMOSPHERE if atmosphere is None else atmosphere),
    }.get(dimension.point or "", -math.inf)
    answers: list[Quantity] = []
    for symbol in symbols:
        other = next((unit for unit in units_of(dimension) if unit.symbol == symbol), None)
        meant = other or find_unit(symbol, _OTHER_ZERO[dimension.name])
        if meant.factor < 0 and number < 0:
            continue
        exact = number * meant.factor + meant.offset
        if other is None:
            if atmosphere is None or (meant.dimension.point == "vacuum" and exact < 0):
                continue
            exact += Fraction(atmosphere) * (1 if dimension.point == "vacuum" else -1)
        if exact >= lowest:
            unit = other or units_of(dimension)[0]
            answers.append(Quantity(float(exact), dimension, unit, f"{plain_decimal(number)} {meant.symbol}"))
    return answers


def _number_typed(quantity: Quantity) -> Fraction | None:
    """The number as typed, exactly; from the value where nothing was typed."""
    if not quantity.typed:
        return (Fraction(quantity.value) - quantity.unit.offset) / quantity.unit.factor
    parts = parts_typed(clean_text(quantity.typed))
    return parts[0][0] if len(parts) == 1 else None
