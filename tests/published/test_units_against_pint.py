"""Every unit factor, against an independent table of units and against published exact definitions.

The independent table is pint's. Where its name for a unit means something else, the spelling used here says
so:

- `micron` is a length there; here a thousandth of a conventional millimetre of mercury, `mmHg / 1000`.
- `Btu` is there the ISO one (1055.056 J); here the International Table one, there `Btu_it`.
- `ton` is a mass there; here it is a ton of refrigeration, 12 000 Btu/h.
- `year` is 365.25 d there; here 365 d, the trade's year for leak rates, so factors per year are spelt out.
- `inch_H2O_39F` there takes water at its true density; here the conventional inch of water takes 1000 kg/m3.

The choice of the conventional millimetre of mercury (133.322 387 415 Pa) over the torr (101 325/760 Pa) makes
a difference of 1.4e-7: no gauge of the trade can see it.
"""

from fractions import Fraction

import pint
import pytest
from stillair.quantity import DIMENSIONS, Unit, canonical_unit, find_unit, read, units_of

EVERY_UNIT = [
    unit for dimension in DIMENSIONS.values() if dimension.name != "moment" for unit in units_of(dimension)
]

PINT_SPELLING = {
    "micron/min": "mmHg / 1000 / minute",
    "cfm/ton": "foot**3 / minute / (12000 Btu_it / hour)",
    "psig": "psi",
    "psia": "psi",
    "barg": "bar",
    "bara": "bar",
    "mbarg": "mbar",
    "kPag": "kPa",
    "kPaa": "kPa",
    "MPag": "MPa",
    "MPaa": "MPa",
    "Pag": "Pa",
    "inHg vac": "-25.4 mmHg",
    "inHg": "25.4 mmHg",
    "in w.c.": "inch * g_0 * 1000 kg / m**3",
    "micron": "mmHg / 1000",
    "mtorr": "millitorr",
    "°F": "delta_degF",
    "°C": "delta_degC",
    "°R": "degR",
    "d": "day",
    "wk": "week",
    "mo": "365/12 day",
    "yr": "365 day",
    "t": "metric_ton",
    "cfm": "foot**3 / minute",
    "cfh": "foot**3 / hour",
    "gal": "gallon",
    "lb/Mcf": "lb / (1000 foot**3)",
    "ton": "12000 Btu_it / hour",
    "Btu": "Btu_it",
    "Btu/h": "Btu_it / hour",
    "atm·cc/s": "atm * cc / s",
    "mbar·L/s": "mbar * L / s",
    "torr·L/s": "torr * L / s",
    "Pa·m3/s": "Pa * m**3 / s",
    "%": "percent",
    "% vol": "percent",
    "1": "dimensionless",
} | {f"{mass}/yr": f"{mass} / (365 day)" for mass in ("oz", "g", "lb", "kg")}

# Their units are other units divided or with a power: m3 is m**3 there.
POWERS = {
    f"{length}{power}": f"{length}**{power}" for length in ("ft", "in", "m", "cm", "mm") for power in (2, 3)
}


def spelling(unit: Unit) -> str:
    if unit.symbol in PINT_SPELLING:
        return PINT_SPELLING[unit.symbol]
    return " / ".join(POWERS.get(part, part) for part in unit.symbol.split("/"))


@pytest.fixture(scope="module")
def registry() -> "pint.UnitRegistry[float]":
    return pint.UnitRegistry()


@pytest.mark.parametrize("unit", EVERY_UNIT, ids=lambda unit: f"{unit.dimension.name}-{unit.symbol}")
def test_a_factor_is_that_of_the_independent_table(unit: Unit, registry: "pint.UnitRegistry[float]") -> None:
    canonical = canonical_unit(unit.dimension)
    theirs = registry(spelling(unit)) * 1.0
    in_canonical = theirs.to(spelling(canonical)).magnitude
    assert in_canonical == pytest.approx(float(unit.factor), rel=1e-12, abs=0.0)


@pytest.mark.parametrize(
    ("symbol", "theirs"), [("°F", "degF"), ("°C", "degC"), ("K", "kelvin"), ("°R", "degR")]
)
@pytest.mark.parametrize("number", [-40.0, 0.0, 32.0, 75.0, 212.0])
def test_a_temperature_is_that_of_the_independent_table(
    symbol: str, theirs: str, number: float, registry: "pint.UnitRegistry[float]"
) -> None:
    if number < 0 and symbol in ("K", "°R"):
        number = -number
    ours = read(f"{number} {symbol}", DIMENSIONS["temperature"]).value
    assert ours == pytest.approx(registry.Quantity(number, theirs).to("kelvin").magnitude, rel=1e-12)


@pytest.mark.parametrize("unit", EVERY_UNIT, ids=lambda unit: f"{unit.dimension.name}-{unit.symbol}")
def test_a_dimension_is_that_of_the_independent_table(
    unit: Unit, registry: "pint.UnitRegistry[float]"
) -> None:
    names = ("[mass]", "[length]", "[time]", "[temperature]", "[current]")
    theirs = (registry(spelling(unit)) * 1.0).dimensionality
    assert tuple(theirs.get(name, 0) for name in names) == unit.dimension.powers


# Exact definitions, written out from the document and not from the code.
DEFINITIONS = [
    ("in", "length", "0.0254", "international yard and pound agreement, 1959; NIST SP 811 B.6"),
    ("lb", "mass", "0.45359237", "international yard and pound agreement, 1959; NIST SP 811 B.8"),
    ("oz", "mass", "0.028349523125", "NIST SP 811 B.8, avoirdupois ounce"),
    ("atm", "absolute pressure", "101325", "10th CGPM 1954, resolution 4; NIST SP 811 B.8"),
    ("bar", "pressure difference", "100000", "NIST SP 811 table 9"),
    ("gal", "volume", "0.003785411784", "NIST Handbook 44, appendix C: 231 cubic inches"),
    ("mmHg", "absolute pressure", "133.322387415", "13595.1 kg/m3 times 9.80665 m/s2 times 1 mm"),
    ("in w.c.", "pressure difference", "249.08891", "1000 kg/m3 times 9.80665 m/s2 times 25.4 mm"),
    ("Btu", "energy", "1055.05585262", "NIST SP 811 B.8, International Table Btu"),
    ("mph", "speed", "0.44704", "NIST SP 811 B.8"),
    ("yr", "duration", "31536000", "NIST SP 811 B.8, year (365 days)"),
]


@pytest.mark.parametrize(("symbol", "dimension", "factor", "source"), DEFINITIONS)
def test_an_exact_definition_is_held_exactly(symbol: str, dimension: str, factor: str, source: str) -> None:
    assert find_unit(symbol, DIMENSIONS[dimension]).factor == Fraction(factor), source


# NIST Special Publication 811, 2008 edition, appendix B.8, printed to seven digits.
PRINTED = [
    ("psi", "pressure difference", 6.894757e3),
    ("inHg", "absolute pressure", 3.386389e3),
    ("in w.c.", "pressure difference", 2.490889e2),
    ("mmHg", "absolute pressure", 1.333224e2),
    ("torr", "absolute pressure", 1.333224e2),
    ("Btu/h", "power", 2.930711e-1),
    ("ton", "power", 3.516853e3),
    ("cfm", "volume flow", 4.719474e-4),
    ("lb/ft3", "density", 1.601846e1),
    ("ft3", "volume", 2.831685e-2),
]


@pytest.mark.parametrize(("symbol", "dimension", "printed"), PRINTED)
def test_a_factor_agrees_with_the_digits_printed_by_nist(symbol: str, dimension: str, printed: float) -> None:
    assert float(f"{float(find_unit(symbol, DIMENSIONS[dimension]).factor):.6e}") == printed
