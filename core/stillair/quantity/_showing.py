"""Quantities as people read them: a few digits and a unit."""

from __future__ import annotations

import math
from datetime import UTC
from fractions import Fraction

from stillair.quantity._error import QuantityError
from stillair.quantity._moment import show_moment
from stillair.quantity._unit import UNITLESS, Unit, difference_unit, find_unit

LARGEST = 10**15
"""Numbers typed are smaller than this, and larger ones are shown as a power of ten (judgement, no source)."""

_SIGNIFICANT = 4
"""Digits shown where no tolerance is given; whole numbers are never cut (judgement, no source)."""

_MOST_DECIMALS = 4
"""Decimals shown of a reading whose zero is arbitrary (psig, °C), where small numbers are not finer ones."""


def show(value: float, unit: Unit, tolerance: float | None = None) -> str:
    """A canonical value in `unit`, to two digits of its canonical `tolerance` or else to four digits.

    Moments are shown in UTC, durations as `12 min 30 s`, ounces above a pound as `7 lb 8 oz`, and a pressure
    above the atmosphere in psig, never in inHg vac. QuantityError for a value that is not finite.
    """
    if unit.dimension.name == "moment":
        return show_moment(value, UTC)
    unit = _facing(value, unit)
    number = _in_unit(value, unit)
    if unit.dimension.name == "duration" and unit.symbol in ("s", "min", "h"):
        return _show_duration(value, unit, tolerance)
    places = _decimals(number, unit, tolerance)
    if unit.dimension.name == "mass" and unit.symbol == "oz" and abs(number) >= 16:
        return _show_pounds(number, places)
    return _with_symbol(_digits(number, places), unit)


def show_pm(value: float, tolerance: float, unit: Unit) -> str:
    """A canonical value with its canonical tolerance, as `-3.1 psi ± 6.0 psi`: both to the same decimals."""
    if unit.dimension.name in ("moment", "duration"):
        return f"{show(value, unit, tolerance)} ± {show(tolerance, difference_unit(unit))}"
    unit = _facing(value, unit)
    number, spread = _in_unit(value, unit), _in_unit(tolerance, difference_unit(unit))
    places = _decimals(number, unit, tolerance)
    if places is None:
        return f"{show(value, unit)} ± {show(tolerance, difference_unit(unit))}"
    shown, half = _fixed(number, places), _fixed(spread, places)
    return f"{_with_symbol(shown, unit)} ± {_with_symbol(half, difference_unit(unit))}"


def _facing(value: float, unit: Unit) -> Unit:
    # As the face of a compound gauge: inches of vacuum below the atmosphere, psig above it.
    return find_unit("psig", unit.dimension) if unit.factor < 0 and value > 0 else unit


def _in_unit(value: float, unit: Unit) -> float:
    if not math.isfinite(value):
        raise QuantityError(f"{value} is not a number that can be shown in {unit.symbol}")
    try:
        return float((Fraction(value) - unit.offset) / unit.factor)
    except OverflowError:
        raise QuantityError(f"{value} is too large to be shown in {unit.symbol}") from None


def _decimals(number: float, unit: Unit, tolerance: float | None) -> int | None:
    """How many decimals to show; None where only a power of ten is readable."""
    arbitrary_zero = unit.dimension.point in ("atmosphere", "absolute zero")
    spread = _in_unit(tolerance, difference_unit(unit)) if tolerance is not None else 0.0
    if spread >= 1e-4:
        return max(0, 1 - _order(spread))
    if number == 0:
        return 0
    if not arbitrary_zero and not 1e-4 <= abs(number) < LARGEST:
        return None
    places = max(0, _SIGNIFICANT - 1 - _order(number))
    return min(places, _MOST_DECIMALS) if arbitrary_zero else places


def _order(number: float) -> int:
    # 1 lb/ft3 comes back from kg/m3 as 0.9999999999999999: it has the digits of 1.
    return math.floor(math.log10(abs(number)) + 1e-12)


def _fixed(number: float, places: int) -> str:
    text = f"{number:.{places}f}"
    return text.removeprefix("-") if not text.strip("-0.") else text


def _digits(number: float, places: int | None) -> str:
    if places is None:
        mantissa, exponent = f"{number:.{_SIGNIFICANT - 1}e}".split("e")
        return f"{_trimmed(mantissa)}e{int(exponent)}"
    return _trimmed(_fixed(number, places))


def _trimmed(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text


def _with_symbol(number: str, unit: Unit) -> str:
    return number if unit.symbol == UNITLESS else f"{number} {unit.symbol}"


def _show_pounds(ounces: float, places: int | None) -> str:
    if places is None:
        return f"{_digits(ounces, None)} oz"
    rounded = Fraction(_fixed(abs(ounces), places))
    pounds, rest = divmod(rounded, 16)
    sign = "-" if ounces < 0 else ""
    shown = f"{_trimmed(_fixed(float(rest), places))} oz"
    return f"{sign}{pounds} lb" + (f" {shown}" if rest else "")


def _show_duration(value: float, unit: Unit, tolerance: float | None) -> str:
    _in_unit(value, unit)
    seconds = abs(value)
    if value == 0:
        return f"0 {unit.symbol}"
    if seconds < 59.5 or seconds >= LARGEST:
        second = find_unit("s", unit.dimension)
        return _with_symbol(_digits(value, _decimals(value, second, tolerance)), second)
    minutes, second_part = divmod(math.floor(seconds + 0.5), 60)
    hours, minute_part = divmod(minutes, 60)
    parts = [f"{n} {symbol}" for n, symbol in ((hours, "h"), (minute_part, "min"), (second_part, "s")) if n]
    return ("-" if value < 0 else "") + " ".join(parts)


def plain_decimal(number: Fraction) -> str:
    """A number as typed, to twelve digits."""
    return f"{float(number):.12g}"
