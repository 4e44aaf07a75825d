"""The table of units, and how a unit is found by what was written.

Sources of the factors:

1. BIPM, The International System of Units, 9th edition, 2019: SI units, bar, L, t, min, h, d.
2. NIST Special Publication 811, 2008 edition, appendix B: inch, avoirdupois pound, standard gravity, standard
   atmosphere, torr, degree Fahrenheit, US gallon (231 cubic inches), International Table Btu, ton of
   refrigeration (12 000 Btu/h).
3. NIST SP 811, appendix B.8, conventional millimetre of mercury: 133.3224 Pa; with all digits
   133.322 387 415 Pa, mercury of 13 595.1 kg/m3 under standard gravity. Inch of mercury is 25.4 of it, micron
   a thousandth of it.
4. NIST SP 811, appendix B.8, conventional inch of water: 1000 kg/m3 under standard gravity.
5. Year = 365 d and month = 365/12 d: common practice for leak rates in g/yr and oz/yr.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from stillair.quantity._dimension import DIMENSIONS, PRESSURE, Dimension, difference_of, with_article
from stillair.quantity._error import QuantityError, either, quoted


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of one dimension: canonical value = number * factor + offset."""

    symbol: str
    dimension: Dimension
    factor: Fraction
    offset: Fraction = Fraction(0)
    aliases: tuple[str, ...] = ()


_INCH = Fraction(254, 10_000)
_FOOT = 12 * _INCH
_MILE = 5280 * _FOOT
_POUND = Fraction(45_359_237, 100_000_000)
_OUNCE = _POUND / 16
_GRAVITY = Fraction(980_665, 100_000)
_PSI = _POUND * _GRAVITY / _INCH**2
_ATM = Fraction(101_325)
_TORR = _ATM / 760
_MMHG = Fraction(133_322_387_415, 1_000_000_000)
_INHG = Fraction(254, 10) * _MMHG
_INCH_OF_WATER = _INCH * 1000 * _GRAVITY
_BTU = Fraction(105_505_585_262, 100_000_000)
_GALLON = 231 * _INCH**3
_RANKINE = Fraction(5, 9)
_ICE = Fraction(27_315, 100)
_FAHRENHEIT_ZERO = Fraction(45_967, 100) * _RANKINE
_MINUTE, _HOUR, _DAY = 60, 3600, 86_400
_YEAR = 365 * _DAY
_MILLI = Fraction(1, 1000)

_Row = tuple[str, Fraction | int, tuple[str, ...]]

# The first unit of a dimension is the first proposed where one is missing. Spaces, dots, hyphens and raised
# dots inside a unit do not matter, nor does the case of letters where nothing hangs on it: aliases do not
# repeat those.
_ROWS: Mapping[str, tuple[_Row, ...]] = {
    "gauge pressure": (
        ("psig", _PSI, ("psi(g)", "psi gauge")),
        ("barg", 100_000, ("bar(g)", "bar gauge")),
        ("kPag", 1000, ("kPa(g)", "kPa gauge")),
        ("MPag", 1_000_000, ("MPa(g)", "MPa gauge")),
        ("inHg vac", -_INHG, ("inHg vacuum", "inHg(vac)", '"Hg vac', '"Hg vacuum', "inches Hg vac")),
        ("in w.c.", _INCH_OF_WATER, ("inH2O", '"wc', '"w.c.', "iwc", "in wg", "inches w.c.")),
        ("mbarg", 100, ("mbar(g)", "mbar gauge")),
        ("Pag", 1, ("Pa(g)", "Pa gauge")),
    ),
    "absolute pressure": (
        ("psia", _PSI, ("psi(a)", "psi abs", "psi absolute")),
        ("bara", 100_000, ("bar(a)", "bar abs", "bar absolute")),
        ("kPaa", 1000, ("kPa(a)", "kPa abs", "kPa absolute")),
        ("MPaa", 1_000_000, ("MPa(a)", "MPa abs", "MPa absolute")),
        ("micron", _MMHG / 1000, ("microns", "umHg", "micron Hg", "microns Hg")),
        ("inHg", _INHG, ('"Hg', "inches Hg", "inHg abs", "inHga")),
        ("mmHg", _MMHG, ()),
        ("torr", _TORR, ()),
        ("mtorr", _TORR / 1000, ("millitorr",)),
        ("mbar", 100, ("mbara", "millibar", "millibars")),
        ("hPa", 100, ()),
        ("Pa", 1, ("Paa", "Pa abs")),
        ("atm", _ATM, ()),
    ),
    "pressure difference": (
        ("psi", _PSI, ("psid",)),
        ("bar", 100_000, ("bars",)),
        ("kPa", 1000, ()),
        ("MPa", 1_000_000, ()),
        ("micron", _MMHG / 1000, ("microns", "umHg", "micron Hg", "microns Hg")),
        ("inHg", _INHG, ('"Hg', "inches Hg")),
        ("in w.c.", _INCH_OF_WATER, ("inH2O", '"wc', '"w.c.', "iwc", "in wg", "inches w.c.")),
        ("mmHg", _MMHG, ()),
        ("torr", _TORR, ()),
        ("mtorr", _TORR / 1000, ("millitorr",)),
        ("mbar", 100, ("millibar", "millibars")),
        ("hPa", 100, ()),
        ("Pa", 1, ()),
        ("atm", _ATM, ()),
    ),
    "temperature": (
        ("°F", _RANKINE, ("F", "degF", "degrees F", "fahrenheit", "degrees fahrenheit")),
        ("°C", 1, ("C", "degC", "degrees C", "celsius", "degrees celsius")),
        ("K", 1, ("kelvin",)),
        ("°R", _RANKINE, ("degR", "rankine")),
    ),
    "temperature difference": (
        ("°F", _RANKINE, ("F", "degF", "degrees F", "fahrenheit", "degrees fahrenheit", "Δ°F", "F°", "Δ F")),
        ("°C", 1, ("C", "degC", "degrees C", "celsius", "degrees celsius", "Δ°C", "C°", "Δ C")),
        ("K", 1, ("kelvin", "ΔK")),
        ("°R", _RANKINE, ("degR", "rankine", "Δ°R")),
    ),
    "moment": (("UTC", 1, ()),),
    "duration": (
        ("min", _MINUTE, ("mins", "minute", "minutes")),
        ("s", 1, ("sec", "secs", "second", "seconds")),
        ("h", _HOUR, ("hr", "hrs", "hour", "hours")),
        ("d", _DAY, ("day", "days")),
        ("wk", 7 * _DAY, ("week", "weeks")),
        ("mo", Fraction(_YEAR, 12), ("month", "months")),
        ("yr", _YEAR, ("y", "yrs", "year", "years")),
        ("ms", _MILLI, ()),
    ),
    "mass": (
        ("lb", _POUND, ("lbs", "pound", "pounds")),
        ("oz", _OUNCE, ("ounce", "ounces")),
        ("kg", 1, ("kilogram", "kilograms", "kilo", "kilos")),
        ("g", _MILLI, ("gram", "grams")),
        ("t", 1000, ("tonne", "tonnes")),
    ),
    "length": (
        ("ft", _FOOT, ("foot", "feet", "'")),
        ("in", _INCH, ("inch", "inches", '"')),
        ("m", 1, ("meter", "meters", "metre", "metres")),
        ("cm", Fraction(1, 100), ()),
        ("mm", _MILLI, ()),
        ("km", 1000, ()),
        ("mi", _MILE, ("mile", "miles")),
    ),
    "area": (
        ("ft2", _FOOT**2, ("sq ft", "square feet", "sqft")),
        ("in2", _INCH**2, ("sq in", "square inches")),
        ("m2", 1, ("sq m", "square meters", "square metres")),
        ("cm2", Fraction(1, 10_000), ()),
        ("mm2", Fraction(1, 1_000_000), ()),
    ),
    "volume": (
        ("ft3", _FOOT**3, ("cu ft", "cf", "cubic feet", "cubic foot")),
        ("in3", _INCH**3, ("cu in", "cubic inches")),
        ("m3", 1, ("cu m", "cubic meters", "cubic metres")),
        ("L", _MILLI, ("liter", "liters", "litre", "litres")),
        ("mL", Fraction(1, 1_000_000), ("ml", "cc", "cm3")),
        ("gal", _GALLON, ("gallon", "gallons")),
    ),
    "density": (
        ("lb/ft3", _POUND / _FOOT**3, ("lb/cu ft", "lbs/ft3", "lb per cubic foot")),
        ("kg/m3", 1, ()),
        ("g/L", 1, ()),
        ("g/m3", _MILLI, ()),
        ("lb/Mcf", _POUND / (1000 * _FOOT**3), ("lb/1000 ft3", "lb/1000 cu ft")),
    ),
    "mass per length": (
        ("oz/ft", _OUNCE / _FOOT, ("oz per ft", "ounces per foot")),
        ("lb/ft", _POUND / _FOOT, ()),
        ("g/m", _MILLI, ("g per m",)),
        ("kg/m", 1, ()),
    ),
    "pressure rate": (
        ("micron/min", _MMHG / 1000 / _MINUTE, ("microns/min", "micron per minute")),
        ("psi/h", _PSI / _HOUR, ("psi/hr",)),
        ("psi/min", _PSI / _MINUTE, ()),
        ("mbar/h", Fraction(100, _HOUR), ()),
        ("Pa/s", 1, ()),
    ),
    "speed": (
        ("ft/min", _FOOT / _MINUTE, ("fpm",)),
        ("ft/s", _FOOT, ("fps",)),
        ("mph", _MILE / _HOUR, ("mi/h",)),
        ("in/s", _INCH, ()),
        ("m/s", 1, ()),
        ("cm/s", Fraction(1, 100), ()),
        ("mm/s", _MILLI, ()),
        ("km/h", Fraction(1000, _HOUR), ("kph",)),
    ),
    "volume flow": (
        ("cfm", _FOOT**3 / _MINUTE, ("ft3/min",)),
        ("cfh", _FOOT**3 / _HOUR, ("ft3/h", "scfh")),
        ("L/s", _MILLI, ()),
        ("L/min", _MILLI / _MINUTE, ("lpm",)),
        ("m3/h", Fraction(1, _HOUR), ()),
        ("m3/s", 1, ()),
    ),
    "mass flow": (
        ("oz/yr", _OUNCE / _YEAR, ("oz/year", "oz/y", "oz/a", "ounces/year", "oz per year")),
        ("g/yr", _MILLI / _YEAR, ("g/year", "g/y", "g/a", "grams/year", "g per year")),
        ("lb/yr", _POUND / _YEAR, ("lb/year", "lbs/yr", "lb/y", "lb per year")),
        ("kg/yr", Fraction(1, _YEAR), ("kg/year", "kg/y", "kg/a", "kg per year")),
        ("oz/min", _OUNCE / _MINUTE, ()),
        ("lb/min", _POUND / _MINUTE, ("lbs/min",)),
        ("lb/h", _POUND / _HOUR, ("lb/hr", "lbs/h", "lbs/hr")),
        ("kg/h", Fraction(1, _HOUR), ("kg/hr",)),
        ("g/s", _MILLI, ()),
        ("kg/s", 1, ()),
    ),
    "throughput": (
        ("atm·cc/s", _ATM / 1_000_000, ("atm·cm3/s", "atm·mL/s")),
        ("mbar·L/s", Fraction(1, 10), ()),
        ("Pa·m3/s", 1, ()),
        ("torr·L/s", _TORR / 1000, ()),
    ),
    "power": (
        ("W", 1, ("watt", "watts")),
        ("kW", 1000, ()),
        ("Btu/h", _BTU / _HOUR, ("Btuh", "Btu/hr")),
        ("ton", 12_000 * _BTU / _HOUR, ("tons", "tons of refrigeration")),
    ),
    "airflow per capacity": (
        ("cfm/ton", _FOOT**3 / _MINUTE / (12_000 * _BTU / _HOUR), ("cfm per ton",)),
        ("L/s/kW", Fraction(1, 1_000_000), ()),
        ("m3/h/kW", Fraction(1, _HOUR * 1000), ()),
        ("m3/s/W", 1, ()),
    ),
    "energy": (
        ("J", 1, ()),
        ("kJ", 1000, ()),
        ("MJ", 1_000_000, ()),
        ("Wh", _HOUR, ()),
        ("kWh", 1000 * _HOUR, ()),
        ("Btu", _BTU, ("Btus",)),
    ),
    "voltage": (
        ("V", 1, ("volt", "volts", "VAC", "VDC", "V AC", "V DC")),
        ("mV", _MILLI, ("millivolt", "millivolts")),
        ("kV", 1000, ()),
    ),
    "current": (("A", 1, ("amp", "amps", "ampere", "amperes")), ("mA", _MILLI, ())),
    "fraction": (
        ("%", Fraction(1, 100), ("percent", "pct")),
        ("% vol", Fraction(1, 100), ("vol %", "% by volume", "% v/v")),
        ("ppm", Fraction(1, 1_000_000), ("ppmv", "ppm vol")),
        ("1", 1, ()),
    ),
    "number": (("1", 1, ()),),
}

_OFFSETS = {"°F": _FAHRENHEIT_ZERO, "°C": _ICE}


def _unit(name: str, row: _Row) -> Unit:
    symbol, factor, aliases = row
    offset = _OFFSETS.get(symbol, Fraction(0)) if name == "temperature" else Fraction(0)
    return Unit(symbol, DIMENSIONS[name], Fraction(factor), offset, aliases)


@functools.cache
def _units() -> Mapping[str, tuple[Unit, ...]]:
    # Not built on import: a third of its time.
    return {name: tuple(_unit(name, row) for row in rows) for name, rows in _ROWS.items()}


UNITLESS = "1"

# Symbols in which the case of a letter tells milli from mega, or one unit from another: matched as written.
_CASE_MATTERS = frozenset({"mm", "m", "mV", "mA", "ms", "mL", "MPa", "MPag", "MPaa", "MJ", "mm/s", "K", "t"})

_SPELLINGS = str.maketrans(
    {"²": "2", "³": "3", "º": "°", "˚": "°", "℃": "°C", "℉": "°F", "µ": "u", "μ": "u", "∆": "Δ"}
    | {"″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "⋅": "·", "∙": "·", "*": "·", "\u212a": "K"}
)


def _key(symbol: str) -> str:
    # A space before a digit stays: "5 ft 3" must not become 5 ft3.
    return re.sub(r"(?<=[^ .·-])[ .·-]+(?=[^ .·0-9-])", "", symbol.translate(_SPELLINGS)).strip(" .")


@functools.cache
def _index() -> tuple[Mapping[str, tuple[Unit, ...]], Mapping[str, tuple[Unit, ...]]]:
    exact: dict[str, list[Unit]] = {}
    folded: dict[str, list[Unit]] = {}
    for units in _units().values():
        for unit in units:
            for name in dict.fromkeys(_key(name) for name in (unit.symbol, *unit.aliases)):
                exact.setdefault(name, []).append(unit)
                if name not in _CASE_MATTERS:
                    folded.setdefault(name.casefold(), []).append(unit)
    return {k: tuple(v) for k, v in exact.items()}, {k: tuple(v) for k, v in folded.items()}


def matches(symbol: str) -> tuple[Unit, ...]:
    """Every unit, over all dimensions, that may be written like this."""
    exact, folded = _index()
    key = _key(symbol)
    return exact.get(key) or folded.get(key.casefold(), ())


def units_of(dimension: Dimension) -> tuple[Unit, ...]:
    """The units such a quantity may be written in; of a dimension without a name, its canonical unit."""
    return _units().get(dimension.name) or (Unit(dimension.unit, dimension, Fraction(1)),)


def canonical_unit(dimension: Dimension) -> Unit:
    """The SI unit of canonical values."""
    return next(unit for unit in units_of(dimension) if unit.symbol == dimension.unit)


def difference_unit(unit: Unit) -> Unit:
    """The unit in which differences and tolerances of such a reading are shown: psi for psig, °F for °F."""
    difference = difference_of(unit.dimension)
    if difference == unit.dimension:
        return unit
    fitting = [u for u in units_of(difference) if u.factor == abs(unit.factor)]
    return next((u for u in fitting if u.symbol == unit.symbol), fitting[0])


def find_unit(symbol: str, dimension: Dimension | None = None) -> Unit:
    """The unit written like this.

    Some symbols serve several dimensions (°F, micron, inHg); without `dimension` the first in the order of
    DIMENSIONS is given. QuantityError for an unknown unit or one of another dimension.
    """
    found = matches(symbol)
    if not found:
        raise unknown_unit(symbol, dimension)
    if dimension is None:
        return found[0]
    for unit in found:
        if unit.dimension == dimension:
            return unit
    raise wrong_unit(symbol, found, dimension)


def unknown_unit(symbol: str, dimension: Dimension | None) -> QuantityError:
    import difflib  # only when something is wrong: slow to import

    if _key(symbol).casefold() in ("°", "deg", "degree", "degrees"):
        return QuantityError(f"{quoted(symbol)} does not say which scale", "write °F or °C")
    near: list[str] = []
    groups = _units().values() if dimension is None else (units_of(dimension), *_units().values())
    for units in groups:
        names = {
            _key(name).casefold(): unit.symbol for unit in units for name in (unit.symbol, *unit.aliases)
        }
        close = difflib.get_close_matches(_key(symbol).casefold(), names, n=2, cutoff=0.6)
        near += [names[name] for name in close if names[name] != UNITLESS]
        if near and dimension is not None:
            break
    if near:
        way_out = "did you mean " + either(f"`{name}`" for name in dict.fromkeys(near[:3])) + "?"
    else:
        way_out = "write a unit such as psig, °F, lb, min or %" if dimension is None else fitting(dimension)
    return QuantityError(f"unknown unit {quoted(symbol)}", way_out)


def wrong_unit(symbol: str, found: tuple[Unit, ...], dimension: Dimension) -> QuantityError:
    kinds = [unit.dimension for unit in found]
    names = [kind.name for kind in kinds]
    wanted = dimension.name
    way_out = fitting(dimension)
    if wanted == "gauge pressure" and "inHg" in (unit.symbol for unit in found):
        way_out = "for a vacuum on a gauge write inHg vac, such as 20 inHg vac"
    elif wanted == "gauge pressure" and "absolute pressure" in names:
        way_out = "absolute needs the local atmosphere: write what the gauge shows, such as psig or inHg vac"
    elif wanted == "gauge pressure" and "pressure difference" in names:
        way_out = "write psig (or barg, kPag) as the gauge shows; psia where an absolute pressure is asked"
    elif wanted == "absolute pressure" and "gauge pressure" in names:
        way_out = "gauge needs the local atmosphere: write the absolute pressure, such as psia or micron"
    elif wanted == "absolute pressure" and "pressure difference" in names:
        way_out = "write psia, bara or kPaa, so that it cannot be taken for a gauge pressure"
    elif wanted == "pressure difference" and kinds[0].powers == PRESSURE:
        way_out = "a difference is counted from no point: write psi, bar, kPa, inHg or in w.c."
    elif wanted == "temperature" and names == ["temperature difference"]:
        way_out = "write °F, °C or K"
    elif wanted == "duration" and found[0].symbol == "m":
        way_out = "write min for minutes, mo for months"
    return QuantityError(
        f"{quoted(symbol)} is {either(map(with_article, kinds))}, not {with_article(dimension)}", way_out
    )


def fitting(dimension: Dimension) -> str:
    if dimension.name == "moment":
        return "write a moment as 2026-04-15 09:40, or as 9:40 for today"
    symbols = [unit.symbol for unit in units_of(dimension) if unit.symbol != UNITLESS]
    return "units that fit: " + ", ".join(symbols) if symbols else "write the number alone, without a unit"
