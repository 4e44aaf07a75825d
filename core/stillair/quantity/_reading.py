"""Numbers as people type them, read as quantities."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import tzinfo
from fractions import Fraction
from functools import lru_cache

from stillair.quantity._dimension import DIMENSIONS, POINTS, Dimension, with_article
from stillair.quantity._error import QuantityError, quoted
from stillair.quantity._moment import DATE_BEGINS, read_moment
from stillair.quantity._showing import LARGEST, plain_decimal
from stillair.quantity._unit import (
    Unit,
    canonical_unit,
    find_unit,
    fitting,
    matches,
    unknown_unit,
    wrong_unit,
)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A canonical SI value, the unit it was given in, and the text as typed.

    Of a quantity in several parts (7 lb 8 oz) the unit is that of the last part.
    """

    value: float
    dimension: Dimension
    unit: Unit
    typed: str


_LONGEST = 80
"""Characters of a quantity; more is not a quantity (judgement, no source)."""

_LARGEST_EXPONENT = 40
"""Of ten, in a number typed (judgement, no source)."""

_DENOMINATORS = frozenset({2, 3, 4, 8, 16, 32, 64})
"""Of fractions as on a tape measure; `118/340` is two readings, not a fraction."""

_IN_PARTS = frozenset({"mass", "length", "duration"})
"""What people write in several parts: 7 lb 8 oz, 6 ft 4 in, 1 h 30 min."""

_NUMBER = (
    r"([+-]?) ?(?:(?:([0-9]{1,15})[ -])?([0-9]{1,5})/([0-9]{1,5})(?![0-9])"
    r"|([0-9]{1,20}(?:\.[0-9]{0,30})?|\.[0-9]{1,30})(?![0-9])(?:[eE]([+-]?[0-9]{1,9})(?![0-9]))?)"
)
_ONE_PART = _NUMBER + r" *(.*)"
_PART = _NUMBER + r" *([^0-9]*?) *(?=[+-]? ?\.?[0-9]|$)"

_TYPED = str.maketrans(
    {"−": "-", "–": "-", "\u00a0": " ", "\u2009": " ", "\u202f": " "}
    | {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅓": " 1/3", "⅔": " 2/3"}
    | {"⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8", "⁄": "/"}
)


def read(
    text: str,
    dimension: Dimension,
    *,
    default: Unit | None = None,
    now: float | None = None,
    zone: tzinfo | None = None,
) -> Quantity:
    """Read what a person typed as a quantity of `dimension`.

    A number without a unit is in `default`. A clock time is a moment on the day of `now` (s since 1970-01-01
    UTC) in `zone`; a date without an offset needs `zone`. QuantityError, and no other exception, for any text
    that is not clearly one quantity of that dimension.

    >>> read("7 lb 8 oz", DIMENSIONS["mass"]).value == read("7.5 lb", DIMENSIONS["mass"]).value
    True
    """
    clean = clean_text(text)
    if dimension.name == "moment":
        return Quantity(read_moment(clean, now, zone), dimension, canonical_unit(dimension), text)
    _refuse_clock(clean, dimension)
    if default is not None and default.dimension != dimension:
        raise wrong_unit(default.symbol, (default,), dimension)
    parts = parts_typed(clean)
    units = [_unit_typed(number, symbol, dimension, default) for number, symbol in parts]
    if len(parts) > 1:
        _check_parts(clean, [number for number, _ in parts], units, dimension)
    exact = Fraction(0)
    for (number, _), unit in zip(parts, units, strict=True):
        exact += number * unit.factor + unit.offset
    if exact < 0 and dimension.point in ("vacuum", "absolute zero"):
        raise QuantityError(
            f"{quoted(text)} is below {POINTS[dimension.point]}", "check the number, its sign and its unit"
        )
    return Quantity(float(exact), dimension, units[-1], text)


@lru_cache(maxsize=4096)
def read_literal(text: str) -> tuple[Quantity, ...]:
    """Every reading of a number with its unit, over all dimensions: `5 °F` is a temperature and a difference.

    A number alone is a fraction or a number; a date is a moment only with its offset. QuantityError where
    there is no reading at all.
    """
    clean = clean_text(text)
    if re.match(DATE_BEGINS, clean):
        return (read(text, DIMENSIONS["moment"]),)
    _refuse_clock(clean, None)
    symbol = parts_typed(clean)[-1][1]
    if not symbol:
        units = tuple(canonical_unit(DIMENSIONS[name]) for name in ("fraction", "number"))
        return tuple(read(text, unit.dimension, default=unit) for unit in units)
    if not (units := matches(symbol)):
        raise unknown_unit(symbol, None)
    readings: list[Quantity] = []
    refusals: list[QuantityError] = []
    for unit in units:
        try:
            readings.append(read(text, unit.dimension))
        except QuantityError as refusal:
            refusals.append(refusal)
    if not readings:
        raise refusals[0]
    return tuple(readings)


def clean_text(text: str) -> str:
    if len(text) > _LONGEST:
        raise QuantityError(f"{quoted(text)} is too long for a quantity", "write one number and its unit")
    clean = re.sub(" +", " ", text.translate(_TYPED)).strip()
    if not clean:
        raise QuantityError("nothing is written", "write a number and its unit")
    if not clean.isprintable():
        raise QuantityError(
            f"{quoted(text)} holds characters that cannot be printed", "type it again by hand"
        )
    if comma := re.search(r"[0-9.]*,[0-9][0-9,.]*", clean):
        plain, pointed = comma[0].replace(",", ""), comma[0].replace(",", ".", 1)
        if re.fullmatch(r"[0-9]{1,3}(,[0-9]{3})+(\.[0-9]*)?", comma[0]):
            way_out = f"write {plain} without a comma, or {pointed} if it is a decimal mark"
        else:
            way_out = f"use a decimal point, as in {pointed}"
        raise QuantityError(f"the comma in {quoted(text)} can be read in two ways", way_out)
    return clean


def _refuse_clock(clean: str, dimension: Dimension | None) -> None:
    clock = re.match(r"[0-9]+:[0-9]+", clean)
    if clock is None and not re.match(DATE_BEGINS, clean):
        return
    if clock is not None and (dimension is None or dimension.name == "duration"):
        raise QuantityError(
            f"{quoted(clean)} may be hours and minutes, minutes and seconds, or a time of day",
            "write 1 h 30 min, or 1 min 30 s",
        )
    assert dimension is not None
    raise QuantityError(f"{quoted(clean)} is a moment, not {with_article(dimension)}", fitting(dimension))


def parts_typed(clean: str) -> list[tuple[Fraction, str]]:
    """The numbers and the symbols after them; a symbol may be empty. The sign of the first holds for all."""
    first = re.fullmatch(_ONE_PART, clean)
    if first is None:
        raise _no_number(clean)
    rest = first[7]
    if not rest or (not rest[0].isdigit() and matches(rest)):
        return [(_number(first), rest)]
    pieces: list[tuple[Fraction, str]] = []
    at = 0
    while at < len(clean):
        piece = re.compile(_PART).match(clean, at)
        if piece is None or (pieces and piece[1]):
            raise QuantityError(
                f"{quoted(clean)} is not one number and its unit", "write one number, then its unit"
            )
        number = _number(piece)
        pieces.append((-number if first[1] == "-" and pieces else number, piece[7]))
        at = piece.end()
    if len(pieces) > 1 and not all(symbol for _, symbol in pieces):
        raise QuantityError(
            f"{quoted(clean)} holds more than one number, and not every one has a unit",
            "write one number without spaces inside, then its unit",
        )
    return pieces


def _no_number(clean: str) -> QuantityError:
    if re.match(r"[+-]? ?\.?[0-9]", clean):
        return QuantityError(f"{quoted(clean)} has too many digits", "check the number")
    if re.match(r"(about|approx|ca|[<>≤≥~≈±])", clean, re.IGNORECASE):
        return QuantityError(f"{quoted(clean)} is not one number", "write the number as read, alone")
    return QuantityError(f"{quoted(clean)} does not begin with a number", "write a number and its unit")


def _number(match: re.Match[str]) -> Fraction:
    sign, whole, top, bottom, decimal, exponent = match.group(1, 2, 3, 4, 5, 6)
    if decimal is not None:
        if abs(int(exponent or 0)) > _LARGEST_EXPONENT:
            raise QuantityError(f"{quoted(match[0].strip())} is too large or too small", "check the number")
        number = Fraction("0" + decimal.rstrip(".")) * Fraction(10) ** int(exponent or 0)
    else:
        if int(bottom) not in _DENOMINATORS or int(top) >= int(bottom):
            raise QuantityError(
                f"`{top}/{bottom}` is not a fraction as on a tape measure",
                "write one number: a fraction such as 3/8 or 1 1/2, or a decimal such as 0.375",
            )
        number = int(whole or 0) + Fraction(int(top), int(bottom))
    if number >= LARGEST:
        raise QuantityError(f"{quoted(match[0].strip())} is too large for a reading", "check the number")
    return -number if sign == "-" else number


def _unit_typed(number: Fraction, symbol: str, dimension: Dimension, default: Unit | None) -> Unit:
    if symbol:
        unit = find_unit(symbol, dimension)
    elif default is not None:
        unit = default
    elif dimension.name == "number":
        unit = canonical_unit(dimension)
    else:
        raise QuantityError(f"a unit is missing after {plain_decimal(number)}", fitting(dimension))
    if unit.factor < 0 and number < 0:
        raise QuantityError(
            f"{plain_decimal(number)} {unit.symbol} has a sign and is a vacuum as well",
            f"write {plain_decimal(-number)} {unit.symbol} for a vacuum, or use psig above the atmosphere",
        )
    return unit


def _check_parts(clean: str, numbers: list[Fraction], units: list[Unit], dimension: Dimension) -> None:
    if dimension.name not in _IN_PARTS:
        raise QuantityError(
            f"{quoted(clean)} holds more than one number",
            f"write {with_article(dimension)} as one number and its unit",
        )
    for i, unit in enumerate(units[:-1]):
        if numbers[i].denominator != 1:
            raise QuantityError(
                f"in {quoted(clean)} {plain_decimal(numbers[i])} {unit.symbol} is not whole",
                "write whole numbers of the larger unit, or that unit alone",
            )
        if abs(numbers[i + 1]) * units[i + 1].factor >= unit.factor:
            raise QuantityError(
                f"in {quoted(clean)} the part in {units[i + 1].symbol} is not less than one {unit.symbol}",
                "write the larger unit first, and less than one of it in the smaller",
            )
