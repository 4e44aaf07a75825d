"""Saturation pressure and temperature of a refrigerant, from tables made by build_tables.

Between two nodes ln p is linear in 1/T, so both directions invert each other exactly.
"""

from __future__ import annotations

import functools
import json
import math
from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TypedDict, cast

from stillair.calculator import OutOfRange

__all__ = [
    "FILE",
    "LINES",
    "VIRIAL_NODES",
    "Record",
    "Table",
    "glide",
    "node_temperature",
    "pressure",
    "read",
    "table",
    "temperature",
]

FILE = Path(__file__).parent / "tables" / "saturation.json"
LINES = ("bubble", "dew")
#: Relative slack at the ends of a table, for the rounding of the unit conversion before the look-up.
END_SLACK = 1e-12
PSI = 6894.757293168361


@functools.cache
def node_temperature(fahrenheit: float) -> float:
    """K, rounded once, so that a node typed in °F is met exactly."""
    return float((Fraction(fahrenheit) + Fraction(45967, 100)) * 5 / 9)


#: °F and K: the vapour at low pressure exists at any temperature, on coarser nodes.
VIRIAL_NODES = tuple(float(f) for f in range(-60, 151, 15))
VIRIAL_KELVIN = tuple(map(node_temperature, VIRIAL_NODES))


class Record(TypedDict):
    """One refrigerant in the file.

    Node temperatures in °F; at them pressures in Pa (no dew line: as bubble) and densities in kg/m3. At
    VIRIAL_NODES second virial coefficients of the vapour in m3/mol.
    """

    model: str
    confidence: str
    fahrenheit: list[float]
    bubble: list[float]
    dew: list[float]
    liquid_density: list[float]
    second_virial: list[float]
    #: from °F, to °F, and why there is no such state
    unsolved: list[tuple[float, float, str]]


class File(TypedDict):
    made_by: str
    coolprop: str
    digest: str
    refrigerants: dict[str, Record]


@dataclass(frozen=True, slots=True)
class Curve:
    """One line, bubble or dew: 1/T falling and ln p rising, node by node."""

    inverse: tuple[float, ...]
    logarithm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """One refrigerant: nodes in K, its two lines, and what else was tabulated at the nodes."""

    name: str
    kelvin: tuple[float, ...]
    curves: dict[str, Curve]
    liquid_density: tuple[float, ...]
    second_virial: tuple[float, ...]
    above: str

    def interval(self, temperature: float) -> int:
        """The node below the temperature; OutOfRange outside the table."""
        low, high = self.kelvin[0], self.kelvin[-1]
        if not low * (1 - END_SLACK) <= temperature <= high * (1 + END_SLACK):
            reason = f": {self.above}" if temperature > high and self.above else ""
            raise OutOfRange(
                f"{_fahrenheit(temperature)} is outside the saturation table of {self.name} "
                f"({_fahrenheit(low)} to {_fahrenheit(high)}){reason}"
            )
        return min(max(bisect_right(self.kelvin, temperature) - 1, 0), len(self.kelvin) - 2)

    def pressure(self, temperature: float, line: str) -> float:
        """Saturation pressure, Pa absolute, at a temperature in K."""
        i = self.interval(temperature)
        x, y = self.curves[line].inverse, self.curves[line].logarithm
        return math.exp(y[i] + (1 / temperature - x[i]) / (x[i + 1] - x[i]) * (y[i + 1] - y[i]))

    def temperature(self, pressure: float, line: str) -> float:
        """Saturation temperature, K, at a pressure in Pa absolute; OutOfRange outside the table."""
        x, y = self.curves[line].inverse, self.curves[line].logarithm
        logarithm = math.log(pressure) if pressure > 0 else -math.inf
        slack = END_SLACK * abs(y[-1])
        if not y[0] - slack <= logarithm <= y[-1] + slack:
            reason = f": {self.above}" if logarithm > y[-1] and self.above else ""
            raise OutOfRange(
                f"{pressure / PSI:.4g} psia is outside the {line} line of {self.name} "
                f"({math.exp(y[0]) / PSI:.4g} to {math.exp(y[-1]) / PSI:.4g} psia){reason}"
            )
        i = min(max(bisect_right(y, logarithm) - 1, 0), len(y) - 2)
        return 1 / (x[i] + (logarithm - y[i]) / (y[i + 1] - y[i]) * (x[i + 1] - x[i]))

    def density_of_liquid(self, temperature: float) -> float:
        """kg/m3 at the bubble line, linear in the temperature between nodes."""
        i = self.interval(temperature)
        return _linear(self.kelvin, self.liquid_density, i, temperature)

    def virial(self, temperature: float) -> float:
        """Second virial coefficient of the vapour, m3/mol, linear in the temperature between nodes."""
        low, high = VIRIAL_KELVIN[0], VIRIAL_KELVIN[-1]
        if not low * (1 - END_SLACK) <= temperature <= high * (1 + END_SLACK):
            raise OutOfRange(
                f"{_fahrenheit(temperature)} is outside {_fahrenheit(low)} to {_fahrenheit(high)}, "
                f"where the vapour of {self.name} is tabulated"
            )
        i = min(max(bisect_right(VIRIAL_KELVIN, temperature) - 1, 0), len(VIRIAL_KELVIN) - 2)
        return _linear(VIRIAL_KELVIN, self.second_virial, i, temperature)


@functools.cache
def load() -> File:
    return cast(File, json.loads(FILE.read_text(encoding="utf-8")))


@functools.cache
def table(name: str) -> Table:
    """The table of a refrigerant; OutOfRange if there is none."""
    record = load()["refrigerants"].get(name)
    if record is None:
        raise OutOfRange(f"there is no saturation table of {name}")
    return read(name, record)


def read(name: str, record: Record) -> Table:
    kelvin = tuple(map(node_temperature, record["fahrenheit"]))
    inverse = tuple(1 / t for t in kelvin)
    lines = {"bubble": record["bubble"], "dew": record["dew"] or record["bubble"]}
    return Table(
        name,
        kelvin,
        {line: Curve(inverse, tuple(map(math.log, pressures))) for line, pressures in lines.items()},
        tuple(record["liquid_density"]),
        tuple(record["second_virial"]),
        record["unsolved"][0][2] if record["unsolved"] else "",
    )


def pressure(name: str, temperature: float, line: str) -> float:
    """Saturation pressure, Pa absolute, at a temperature in K; OutOfRange outside the table."""
    return table(name).pressure(temperature, line)


def temperature(name: str, pressure: float, line: str) -> float:
    """Saturation temperature, K, at a pressure in Pa absolute; OutOfRange outside the table."""
    return table(name).temperature(pressure, line)


def glide(name: str, pressure: float) -> float:
    """Dew temperature less bubble temperature, K, at a pressure in Pa absolute."""
    return temperature(name, pressure, "dew") - temperature(name, pressure, "bubble")


def _linear(x: tuple[float, ...], y: tuple[float, ...], i: int, at: float) -> float:
    return y[i] + (at - x[i]) / (x[i + 1] - x[i]) * (y[i + 1] - y[i])


def _fahrenheit(kelvin: float) -> str:
    return f"{kelvin * 1.8 - 459.67:.4g} °F"
