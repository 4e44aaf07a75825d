"""Reading and showing quantities as people in the trade write them."""

import math
import subprocess
import sys
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stillair.quantity import (
    DIMENSIONS,
    Dimension,
    Quantity,
    QuantityError,
    Unit,
    canonical_unit,
    difference_of,
    difference_unit,
    divide,
    find_unit,
    multiply,
    other_units,
    read,
    read_literal,
    same_kind,
    show,
    show_moment,
    show_pm,
    units_of,
)

CHICAGO = ZoneInfo("America/Chicago")
NOON = datetime(2026, 4, 15, 12, 0, tzinfo=CHICAGO).timestamp()
EVERY_UNIT = [unit for dimension in DIMENSIONS.values() for unit in units_of(dimension)]
MEASURES = [unit for unit in EVERY_UNIT if unit.dimension.name != "moment"]


def named(unit: Unit) -> str:
    return f"{unit.dimension.name}-{unit.symbol}"


def value(text: str, dimension: str, default: str | None = None) -> float:
    kind = DIMENSIONS[dimension]
    return read(text, kind, default=find_unit(default, kind) if default else None).value


def refusal(text: str, dimension: str, **options: object) -> QuantityError:
    with pytest.raises(QuantityError) as caught:
        read(text, DIMENSIONS[dimension], **options)  # type: ignore[arg-type]
    return caught.value


# --- reading ---


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("100 kPag", "gauge pressure", 100_000.0),
        ("1 inHg vac", "gauge pressure", -3386.388640341),
        ("20 in. Hg vac", "gauge pressure", -67727.77280682),
        ('20 "Hg vac', "gauge pressure", -67727.77280682),
        ("1000 microns", "absolute pressure", 133.322387415),
        ("1 atm", "absolute pressure", 101_325.0),
        ("760 torr", "absolute pressure", 101_325.0),
        ("29.92 inHg", "absolute pressure", 101_320.748119),
        ("0.5 in. w.c.", "pressure difference", 124.544455),
        ("-5 F", "temperature", 252.594444444444),
        ("−5 °F", "temperature", 252.594444444444),
        ("–5 deg F", "temperature", 252.594444444444),
        ("32 ℉", "temperature", 273.15),
        ("0 ºC", "temperature", 273.15),
        ("9 Δ°F", "temperature difference", 5.0),
        ("9 °F", "temperature difference", 5.0),
        ("7 lb 8 oz", "mass", 3.401942775),
        ("7lb8oz", "mass", 3.401942775),
        ("7 lbs. 8 oz.", "mass", 3.401942775),
        ("-7 lb 8 oz", "mass", -3.401942775),
        ("1 kg 250 g", "mass", 1.25),
        ("3/8 in", "length", 0.009525),
        ("1 1/2 in", "length", 0.0381),
        ('1-1/2"', "length", 0.0381),
        ("1½ in", "length", 0.0381),
        ("⅜ in", "length", 0.009525),
        ("6 ft 3 1/2 in", "length", 1.9177),
        ("6' 4\"", "length", 1.9304),
        ("2 min", "duration", 120.0),
        ("1 h 30 min", "duration", 5400.0),
        ("1 HR 30 MIN", "duration", 5400.0),
        ("12 min 30 s", "duration", 750.0),
        ("1 yr", "duration", 365 * 86_400.0),
        ("12 mo", "duration", 365 * 86_400.0),
        ("365 d", "duration", 365 * 86_400.0),
        ("31536 g/yr", "mass flow", 1e-6),
        ("1e-6 atm cc/s", "throughput", 1.01325e-7),
        ("1 mbar·l/s", "throughput", 0.1),
        ("5 ft³", "volume", 0.14158423296),
        ("1 lb/1000 ft3", "density", 0.01601846337396),
        ("12000 Btu/h", "power", 3516.8528420667),
        ("0.6 oz/ft", "mass per length", 0.055806147883858265),
        ("30 micron/min", "pressure rate", 0.0666611937075),
        ("300 cfm/ton", "airflow per capacity", 4.0258787989775115e-05),
        ("24 VAC", "voltage", 24.0),
        ("25 %", "fraction", 0.25),
        ("25 % vol", "fraction", 0.25),
        ("5000 ppm", "fraction", 0.005),
        (".5 lb", "mass", 0.226796185),
        ("+5. kg", "mass", 5.0),
        ("3", "number", 3.0),
        ("  3\u00a0kg ", "mass", 3.0),
    ],
)
def test_people_write_numbers_in_many_ways(text: str, dimension: str, expected: float) -> None:
    assert value(text, dimension) == pytest.approx(expected, rel=1e-12)


def test_a_bare_number_is_in_the_unit_the_question_names() -> None:
    assert value("217", "gauge pressure", "psig") == value("217 psig", "gauge pressure")
    assert value("217 kPag", "gauge pressure", "psig") == 217_000.0, "a unit written wins over the default"


def test_what_was_typed_is_kept_beside_what_was_understood() -> None:
    quantity = read(" 7 lb 8 oz", DIMENSIONS["mass"])
    assert (quantity.typed, quantity.unit.symbol, quantity.dimension.name) == (" 7 lb 8 oz", "oz", "mass")


@pytest.mark.parametrize(
    ("text", "dimension", "says", "helps"),
    [
        ("217 psi", "gauge pressure", "`psi` is a pressure difference, not a gauge pressure", "write psig"),
        ("200 kPa", "gauge pressure", "pressure difference", "kPag"),
        ("217 psia", "gauge pressure", "absolute pressure", "local atmosphere"),
        ("500 micron", "gauge pressure", "absolute pressure", "local atmosphere"),
        ("20 inHg", "gauge pressure", "`inHg` is an absolute pressure", "20 inHg vac"),
        ("-20 inHg vac", "gauge pressure", "has a sign and is a vacuum as well", "write 20 inHg vac"),
        ("217 psig", "absolute pressure", "gauge pressure", "local atmosphere"),
        ("101 kPa", "absolute pressure", "pressure difference", "kPaa"),
        ("10 psig", "pressure difference", "gauge pressure", "write psi"),
        ("217", "gauge pressure", "a unit is missing after 217", "psig"),
        ("5 ft", "mass", "`ft` is a length, not a mass", "units that fit: lb, oz, kg, g, t"),
        ("5 psig", "temperature", "`psig` is a gauge pressure, not a temperature", "°F, °C, K"),
        ("5 lb", "number", "`lb` is a mass, not a number", "without a unit"),
        ("5 psgi", "gauge pressure", "unknown unit `psgi`", "did you mean `psig`?"),
        ("5 microm", "absolute pressure", "unknown unit `microm`", "did you mean `micron`?"),
        ("10 MV", "voltage", "unknown unit `MV`", "`mV`"),
        ("5 -psig", "gauge pressure", "unknown unit `-psig`", "psig"),
        ("75°", "temperature", "does not say which scale", "°F or °C"),
        ("5 m", "duration", "`m` is a length", "min for minutes, mo for months"),
        ("1:30", "duration", "may be hours and minutes", "1 h 30 min"),
        ("9:40", "gauge pressure", "is a moment, not a gauge pressure", "psig"),
        ("2026-04-15", "mass", "is a moment, not a mass", "lb"),
        ("1,180 micron", "absolute pressure", "two ways", "write 1180 without a comma"),
        ("1,5 psig", "gauge pressure", "two ways", "1.5"),
        ("1 180 psig", "gauge pressure", "more than one number", "without spaces inside"),
        ("118/340 psig", "gauge pressure", "not a fraction as on a tape measure", "one number"),
        ("75/64 °F", "temperature", "not a fraction", "one number"),
        ("1/0 in", "length", "not a fraction", "one number"),
        ("7 lb 20 oz", "mass", "the part in oz is not less than one lb", "larger unit first"),
        ("8 oz 7 lb", "mass", "the part in lb is not less than one oz", "larger unit first"),
        ("7.5 lb 8 oz", "mass", "7.5 lb is not whole", "that unit alone"),
        ("7 lb -8 oz", "mass", "not one number", "one number"),
        ("5 ft 3", "length", "not every one has a unit", "its unit"),
        ("5 ft 3", "volume", "not every one has a unit", "its unit"),
        ("5 1", "number", "more than one number", "without spaces"),
        ("10 psig 5 psig", "gauge pressure", "more than one number", "one number"),
        ("-460 °F", "temperature", "`-460 °F` is below absolute zero", "sign"),
        ("-274 C", "temperature", "below absolute zero", "sign"),
        ("-1 micron", "absolute pressure", "below a perfect vacuum", "sign"),
        ("<50 micron", "absolute pressure", "not one number", "as read"),
        ("nan", "mass", "does not begin with a number", "number"),
        ("inf lb", "mass", "does not begin with a number", "number"),
        ("psig 217", "gauge pressure", "does not begin with a number", "number"),
        ("", "mass", "nothing is written", "number"),
        (" \t ", "mass", "nothing is written", "number"),
        ("1e999999999 lb", "mass", "too large or too small", "check the number"),
        ("1e16 lb", "mass", "too large", "check the number"),
        ("9" * 50, "number", "too many digits", "check the number"),
        ("1" * 500, "number", "too long", "one number"),
        ("5\x1b[31m psig", "gauge pressure", r"`5\u001b[31m psig`", "by hand"),
        ("5\u202epsig", "gauge pressure", "cannot be printed", "by hand"),
        ("٥ psig", "gauge pressure", "does not begin with a number", "number"),
    ],
)
def test_a_doubtful_text_is_refused_with_a_way_out(text: str, dimension: str, says: str, helps: str) -> None:
    error = refusal(text, dimension)
    assert says in str(error)
    assert error.help is not None and helps in error.help


def test_a_default_of_another_dimension_is_refused() -> None:
    assert "not a gauge pressure" in str(refusal("5", "gauge pressure", default=find_unit("psia")))


def test_absolute_zero_itself_can_be_read() -> None:
    assert value("-459.67 °F", "temperature") == 0.0
    assert value("-273.15 °C", "temperature") == 0.0


@given(
    st.text()
    | st.from_regex(r"[-+−]?[0-9]{0,4}[ ./:,eE½-]{0,2}[0-9]{0,4} ?[a-zA-Z°\"'/%·. ]{0,9}[0-9 a-z]{0,6}")
)
def test_no_text_raises_anything_but_a_quantity_error(text: str) -> None:
    for dimension in DIMENSIONS.values():
        for options in ({}, {"now": NOON, "zone": CHICAGO}, {"default": units_of(dimension)[0]}):
            try:
                quantity = read(text, dimension, **options)  # type: ignore[arg-type]
            except QuantityError as error:
                assert str(error).isprintable()
            else:
                assert math.isfinite(quantity.value)
    try:
        read_literal(text)
    except QuantityError as error:
        assert str(error).isprintable()


# --- exactness: no verdict may depend on the unit typed ---

HUNDREDTHS = st.integers(-20_000, 2_000_000).map(lambda n: Fraction(n, 100))


def decimal(number: Fraction) -> str:
    """A fraction with a short decimal expansion, in full."""
    scaled = number * 10**8
    assert scaled.denominator == 1
    sign, digits = "-" if scaled < 0 else "", f"{abs(scaled.numerator):09d}"
    return f"{sign}{digits[:-8]}.{digits[-8:]}"


@given(HUNDREDTHS)
def test_fahrenheit_and_celsius_of_one_temperature_are_the_identical_float(celsius: Fraction) -> None:
    fahrenheit = celsius * Fraction(9, 5) + 32
    for kind in ("°F", "degF", "f"):
        assert value(f"{decimal(fahrenheit)} {kind}", "temperature") == value(
            f"{decimal(celsius)} °C", "temperature"
        )
    assert value(f"{decimal(celsius + Fraction(27315, 100))} K", "temperature") == value(
        f"{decimal(celsius)} °C", "temperature"
    )


@given(st.integers(0, 500), st.integers(0, 63).map(lambda n: Fraction(n, 4)))
def test_pounds_and_ounces_are_the_identical_float(pounds: int, ounces: Fraction) -> None:
    parts = value(f"{pounds} lb {decimal(ounces)} oz", "mass")
    assert parts == value(f"{decimal(16 * pounds + ounces)} oz", "mass")
    assert parts == value(f"{decimal(pounds + ounces / 16)} lb", "mass")


@given(HUNDREDTHS)
def test_metric_prefixes_are_the_identical_float(number: Fraction) -> None:
    expected = value(f"{decimal(number)} barg", "gauge pressure")
    assert expected == value(f"{decimal(number * 100)} kPag", "gauge pressure")
    assert expected == value(f"{decimal(number / 10)} MPag", "gauge pressure")
    assert expected == float(number * 100_000), "rounded once"


def test_ice_melts_at_one_float_only() -> None:
    assert (
        value("32 °F", "temperature")
        == value("0 °C", "temperature")
        == value("273.15 K", "temperature")
        == 273.15
    )
    assert value("16 oz", "mass") == value("1 lb", "mass") == 0.45359237


# --- literals in conditions ---


@pytest.mark.parametrize(
    ("text", "dimensions"),
    [
        ("10 psi", ["pressure difference"]),
        ("10 psig", ["gauge pressure"]),
        ("5 °F", ["temperature", "temperature difference"]),
        ("-500 °F", ["temperature difference"]),
        ("500 micron", ["absolute pressure", "pressure difference"]),
        ("0.5 in w.c.", ["gauge pressure", "pressure difference"]),
        ("30 min", ["duration"]),
        ("7 lb 8 oz", ["mass"]),
        ("0.05", ["fraction", "number"]),
        ("5 %", ["fraction"]),
        ("2026-04-15 09:40 -05:00", ["moment"]),
    ],
)
def test_a_literal_is_read_in_every_dimension_it_may_have(text: str, dimensions: list[str]) -> None:
    assert [reading.dimension.name for reading in read_literal(text)] == dimensions


@pytest.mark.parametrize("text", ["10 zz", "9:40", "", "psi", "10 psi 5", "2026-04-15"])
def test_a_literal_that_can_be_nothing_is_refused_with_a_way_out(text: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_literal(text)
    assert caught.value.help


# --- units ---


def test_every_way_to_write_a_unit_means_one_unit_of_a_dimension() -> None:
    for unit in EVERY_UNIT:
        for name in (unit.symbol, *unit.aliases):
            assert find_unit(name, unit.dimension) == unit


@pytest.mark.parametrize("unit", EVERY_UNIT, ids=named)
def test_no_spelling_in_other_letters_reaches_another_unit(unit: Unit) -> None:
    for name in (unit.symbol, *unit.aliases):
        for spelling in (name.upper(), name.lower(), name.capitalize()):
            try:
                found = find_unit(spelling, unit.dimension)
            except QuantityError:
                continue
            assert found == unit


def test_milli_and_mega_are_never_taken_for_each_other() -> None:
    for wrong, dimension in (
        ("mPag", "gauge pressure"),
        ("MV", "voltage"),
        ("Mm", "length"),
        ("k", "temperature"),
    ):
        with pytest.raises(QuantityError):
            find_unit(wrong, DIMENSIONS[dimension])


def test_every_dimension_has_its_canonical_unit() -> None:
    for name, dimension in DIMENSIONS.items():
        unit = canonical_unit(dimension)
        assert (dimension.name, unit.symbol) == (name, dimension.unit)
        assert (unit.factor, unit.offset, unit.dimension) == (1, 0, dimension)


def test_a_tolerance_is_shown_in_the_unit_of_the_difference() -> None:
    pairs = {
        "psig": "psi",
        "inHg vac": "inHg",
        "kPaa": "kPa",
        "micron": "micron",
        "°F": "°F",
        "°C": "°C",
        "lb": "lb",
    }
    for symbol, difference in pairs.items():
        assert difference_unit(find_unit(symbol)).symbol == difference
    for unit in EVERY_UNIT:
        assert difference_unit(unit).dimension == difference_of(unit.dimension)


# --- moments ---


def moment(text: str, zone: ZoneInfo | None = CHICAGO, now: float | None = NOON) -> datetime:
    return datetime.fromtimestamp(read(text, DIMENSIONS["moment"], now=now, zone=zone).value, UTC)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("9:40", "2026-04-15T14:40:00"),
        ("09:40:30", "2026-04-15T14:40:30"),
        ("9:40 pm", "2026-04-16T02:40:00"),
        ("12:05 AM", "2026-04-15T05:05:00"),
        ("2026-04-15", "2026-04-15T05:00:00"),
        ("2026-01-15 09:40", "2026-01-15T15:40:00"),
        ("2026-04-15T09:40:00.25Z", "2026-04-15T09:40:00.250000"),
        ("2026-04-15 09:40 +02:00", "2026-04-15T07:40:00"),
        ("2026-11-01 01:30 -05:00", "2026-11-01T06:30:00"),
    ],
)
def test_moments_are_read_in_the_zone_of_the_job(text: str, expected: str) -> None:
    assert moment(text) == datetime.fromisoformat(expected + "+00:00")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("2026-03-08 02:30", "is left out"),
        ("2026-11-01 01:30", "happens twice"),
        ("2026-02-30", "no such day"),
        ("25:00", "no such day or time"),
        ("13:00 pm", "no such day or time"),
        ("0206-04-15", "out of reach"),
        ("4/15/2026", "not a date or a time"),
        ("30 min", "not a date or a time"),
    ],
)
def test_a_doubtful_moment_is_refused(text: str, says: str) -> None:
    error = refusal(text, "moment", now=NOON, zone=CHICAGO)
    assert says in str(error) and error.help


def test_a_clock_time_needs_the_day_and_a_date_needs_the_zone() -> None:
    assert "has no date" in str(refusal("9:40", "moment", zone=CHICAGO))
    assert "time zone" in str(refusal("2026-04-15 09:40", "moment", now=NOON))


def test_a_clock_time_is_on_the_local_day_even_when_utc_is_a_day_ahead() -> None:
    late = datetime(2026, 4, 15, 23, 30, tzinfo=CHICAGO).timestamp()
    assert moment("23:15", now=late) == datetime(2026, 4, 16, 4, 15, tzinfo=UTC)


def test_moments_are_shown_in_a_zone() -> None:
    assert show_moment(NOON, CHICAGO) == "2026-04-15 12:00 -05:00"
    assert show_moment(NOON + 5.4, CHICAGO) == "2026-04-15 12:00:05 -05:00"
    assert show_moment(NOON, CHICAGO, day_of=NOON + 3600) == "12:00"
    assert show_moment(NOON, CHICAGO, day_of=NOON + 86_400) == "2026-04-15 12:00 -05:00"
    assert show(NOON, canonical_unit(DIMENSIONS["moment"])) == "2026-04-15 17:00 +00:00"
    for wrong in (math.nan, math.inf, 1e300):
        with pytest.raises(QuantityError):
            show_moment(wrong, CHICAGO)


@given(st.integers(-2_000_000_000, 7_000_000_000), st.integers(-14 * 60, 14 * 60))
def test_a_moment_shown_is_the_moment_read(seconds: int, offset: int) -> None:
    shown = show_moment(float(seconds), timezone(timedelta(minutes=offset)))
    assert read(shown, DIMENSIONS["moment"]).value == seconds


# --- showing ---


@pytest.mark.parametrize(
    ("text", "dimension", "tolerance", "shown"),
    [
        ("217 psig", "gauge pressure", None, "217 psig"),
        ("222.1 psig", "gauge pressure", None, "222.1 psig"),
        ("222.14 psig", "gauge pressure", "3.5 psi", "222.1 psig"),
        ("217 psig", "gauge pressure", "3.5 psi", "217 psig"),
        ("1234.56 psig", "gauge pressure", None, "1235 psig"),
        ("1234.56 psig", "gauge pressure", "0.2 psi", "1234.56 psig"),
        ("-0.00001 psig", "gauge pressure", None, "0 psig"),
        ("-0.3 psig", "gauge pressure", "20 psi", "0 psig"),
        ("20 inHg vac", "gauge pressure", None, "20 inHg vac"),
        ("1180 micron", "absolute pressure", None, "1180 micron"),
        ("25000 micron", "absolute pressure", None, "25000 micron"),
        ("-5 °F", "temperature", None, "-5 °F"),
        ("0 °C", "temperature", None, "0 °C"),
        ("0 °F", "temperature", None, "0 °F"),
        ("0.5 in w.c.", "pressure difference", None, "0.5 in w.c."),
        ("7 lb 8 oz", "mass", None, "7 lb 8 oz"),
        ("15.5 oz", "mass", None, "15.5 oz"),
        ("8 lb 0 oz", "mass", None, "8 lb"),
        ("7 lb 15.999 oz", "mass", None, "8 lb"),
        ("-7 lb 8 oz", "mass", None, "-7 lb 8 oz"),
        ("7.5 lb", "mass", None, "7.5 lb"),
        ("3/8 in", "length", None, "0.375 in"),
        ("750 s", "duration", None, "12 min 30 s"),
        ("90 min", "duration", None, "1 h 30 min"),
        ("36 h", "duration", None, "36 h"),
        ("4.25 s", "duration", None, "4.25 s"),
        ("59.7 s", "duration", None, "1 min"),
        ("0 min", "duration", None, "0 min"),
        ("-750 s", "duration", None, "-12 min 30 s"),
        ("365 d", "duration", None, "365 d"),
        ("5 %", "fraction", None, "5 %"),
        ("25 ppm", "fraction", None, "25 ppm"),
        ("3", "number", None, "3"),
        ("0.00012", "number", None, "0.00012"),
        ("0.5 oz/yr", "mass flow", None, "0.5 oz/yr"),
        ("1.5e-6 atm·cc/s", "throughput", None, "1.5e-6 atm·cc/s"),
    ],
)
def test_numbers_are_shown_as_people_read_them(
    text: str, dimension: str, tolerance: str | None, shown: str
) -> None:
    quantity = read(text, DIMENSIONS[dimension])
    half = value(tolerance, difference_of(quantity.dimension).name) if tolerance else None
    assert show(quantity.value, quantity.unit, half) == shown


@pytest.mark.parametrize(
    ("text", "dimension", "tolerance", "shown"),
    [
        ("-3.1 psi", "pressure difference", "6.0 psi", "-3.1 psi ± 6.0 psi"),
        ("217 psig", "gauge pressure", "3.5 psi", "217.0 psig ± 3.5 psi"),
        ("217 psig", "gauge pressure", "10 psi", "217 psig ± 10 psi"),
        ("18.2 °F", "temperature difference", "2.6 °F", "18.2 °F ± 2.6 °F"),
        ("75 °F", "temperature", "1 °C", "75.0 °F ± 1.8 °F"),
        ("20 inHg vac", "gauge pressure", "0.5 inHg", "20.00 inHg vac ± 0.50 inHg"),
        ("120 oz", "mass", "0.5 oz", "120.00 oz ± 0.50 oz"),
        ("10 lb/ft3", "density", "1 lb/ft3", "10.0 lb/ft3 ± 1.0 lb/ft3"),
        ("12 min 30 s", "duration", "5 s", "12 min 30 s ± 5 s"),
        ("2e-6 atm·cc/s", "throughput", "5e-7 atm·cc/s", "2e-6 atm·cc/s ± 5e-7 atm·cc/s"),
        ("217 psig", "gauge pressure", "0 psi", "217.0 psig ± 0.0 psi"),
    ],
)
def test_a_tolerance_is_shown_to_two_digits_beside_its_value(
    text: str, dimension: str, tolerance: str, shown: str
) -> None:
    quantity = read(text, DIMENSIONS[dimension])
    half = value(tolerance, difference_of(quantity.dimension).name)
    assert show_pm(quantity.value, half, quantity.unit) == shown


def test_a_compound_gauge_shows_psig_above_the_atmosphere() -> None:
    assert show(value("12 psig", "gauge pressure"), find_unit("inHg vac")) == "12 psig"


def test_what_is_not_a_number_is_not_shown() -> None:
    for wrong in (math.nan, math.inf, -math.inf):
        for unit in (find_unit("psig"), find_unit("min"), find_unit("oz")):
            with pytest.raises(QuantityError):
                show(wrong, unit)
    with pytest.raises(QuantityError):
        show_pm(1.0, math.nan, find_unit("psi"))


@pytest.mark.parametrize("unit", MEASURES, ids=named)
@given(number=st.decimals(-9_999_999, 9_999_999, places=3))
@settings(max_examples=30)
def test_what_is_shown_can_be_read_again(unit: Unit, number: object) -> None:
    """Within the resolution shown: half of the fourth digit, or of the last one in a reading of parts."""
    try:
        quantity = read(
            f"{number} {unit.symbol}" if unit.symbol != "1" else f"{number}", unit.dimension, default=unit
        )
    except QuantityError as error:
        assert "below" in str(error) or "a vacuum as well" in str(error)
        return
    shown = show(quantity.value, unit)
    again = read(shown, unit.dimension, default=unit)
    size = abs(float((Fraction(quantity.value) - unit.offset) / unit.factor))
    resolution = min(max(5.1e-4 * size, 5.1e-5), 0.501) * abs(float(unit.factor))
    if unit.symbol in ("s", "min", "h") and abs(quantity.value) >= 59.5:
        resolution = 0.501
    assert abs(again.value - quantity.value) <= resolution
    assert not shown.startswith(("-0 ", "-0.0 ")) and shown != "-0"
    assert "e" not in shown.split(" ")[0] or size < 1e-4


# --- the units a number is often confused with ---


def confusions(text: str, dimension: str, atmosphere: float | None = None) -> dict[str, Quantity]:
    quantity = read(text, DIMENSIONS[dimension])
    answers = other_units(quantity, atmosphere=atmosphere)
    assert all(answer.dimension == answer.unit.dimension == quantity.dimension for answer in answers)
    return {answer.typed: answer for answer in answers}


def test_a_temperature_may_have_been_meant_in_the_other_scale() -> None:
    assert confusions("75 °F", "temperature")["75 °C"].value == value("75 °C", "temperature")
    assert confusions("24 C", "temperature")["24 °F"].value == value("24 °F", "temperature")
    assert confusions("-300 °F", "temperature") == {}, "below absolute zero in °C"


def test_gauge_and_absolute_are_confused_only_where_the_atmosphere_is_known() -> None:
    assert "217 psia" not in confusions("217 psig", "gauge pressure")
    atmosphere = value("12.1 psia", "absolute pressure")
    as_absolute = confusions("217 psig", "gauge pressure", atmosphere)["217 psia"]
    assert show(as_absolute.value, as_absolute.unit) == "204.9 psig"
    as_gauge = confusions("217 psia", "absolute pressure", atmosphere)["217 psig"]
    assert show(as_gauge.value, as_gauge.unit) == "229.1 psia"


def test_a_deep_vacuum_may_have_been_read_on_the_wrong_gauge() -> None:
    found = confusions("29.5 micron", "absolute pressure", 101_325.0)
    assert found["29.5 inHg vac"].value == pytest.approx(101_325 - 29.5 * 3386.388640341)
    assert found["29.5 torr"].value == value("29.5 torr", "absolute pressure")
    assert "500 inHg vac" not in confusions("500 micron", "absolute pressure", 101_325.0), "below a vacuum"
    assert "217 inHg vac" not in confusions("217 psig", "gauge pressure"), "below a vacuum anywhere"


def test_masses_are_confused_but_not_when_both_units_are_written() -> None:
    assert set(confusions("8 oz", "mass")) == {"8 lb", "8 g"}
    assert set(confusions("8.25 g", "mass")) == {"8.25 oz", "8.25 kg"}
    assert confusions("7 lb 8 oz", "mass") == {}


def test_a_number_in_the_default_unit_is_confused_like_one_with_its_unit() -> None:
    bare = read("75", DIMENSIONS["temperature"], default=find_unit("°F"))
    assert [answer.typed for answer in other_units(bare)] == ["75 °C"]
    computed = Quantity(297.0388888888889, DIMENSIONS["temperature"], find_unit("°F"), "")
    assert [answer.typed for answer in other_units(computed)] == ["75 °C"]


def test_a_moment_is_confused_with_nothing() -> None:
    assert other_units(read("9:40", DIMENSIONS["moment"], now=NOON, zone=CHICAGO)) == []


# --- dimensions ---


@pytest.mark.parametrize(
    ("a", "b", "product"),
    [
        ("speed", "duration", "length"),
        ("speed", "area", "volume flow"),
        ("voltage", "current", "power"),
        ("pressure difference", "volume flow", "throughput"),
        ("pressure difference", "volume", "energy"),
        ("power", "duration", "energy"),
        ("density", "volume", "mass"),
        ("mass flow", "duration", "mass"),
        ("number", "throughput", "throughput"),
        ("fraction", "mass", "mass"),
        ("fraction", "fraction", "fraction"),
        ("number", "fraction", "fraction"),
    ],
)
def test_products_have_the_obvious_name_in_either_order(a: str, b: str, product: str) -> None:
    assert multiply(DIMENSIONS[a], DIMENSIONS[b]).name == product
    assert multiply(DIMENSIONS[b], DIMENSIONS[a]).name == product


@pytest.mark.parametrize(
    ("a", "b", "quotient"),
    [
        ("mass", "volume", "density"),
        ("mass", "duration", "mass flow"),
        ("energy", "duration", "power"),
        ("mass", "length", "mass per length"),
        ("pressure difference", "duration", "pressure rate"),
        ("volume flow", "power", "airflow per capacity"),
        ("throughput", "pressure difference", "volume flow"),
        ("throughput", "volume flow", "pressure difference"),
        ("throughput", "number", "throughput"),
        ("mass", "mass", "number"),
        ("fraction", "number", "fraction"),
        ("number", "fraction", "number"),
    ],
)
def test_quotients_have_the_obvious_name(a: str, b: str, quotient: str) -> None:
    assert divide(DIMENSIONS[a], DIMENSIONS[b]).name == quotient


def test_what_has_no_name_is_called_by_its_unit_and_can_be_shown() -> None:
    rate = divide(DIMENSIONS["energy"], DIMENSIONS["mass"])
    assert (rate.name, rate.point) == ("m^2·s^-2", None)
    assert show(2.5, canonical_unit(rate)) == "2.5 m^2·s^-2"
    assert multiply(rate, DIMENSIONS["mass"]) == DIMENSIONS["energy"]


PLAIN = st.sampled_from([dimension for dimension in DIMENSIONS.values() if dimension.point is None])


@given(PLAIN, PLAIN)
def test_division_undoes_multiplication(a: Dimension, b: Dimension) -> None:
    assert multiply(a, b) == multiply(b, a)
    assert same_kind(divide(multiply(a, b), b), a)


@pytest.mark.parametrize("name", ["gauge pressure", "absolute pressure", "temperature", "moment"])
def test_what_is_counted_from_a_point_is_not_multiplied(name: str) -> None:
    for combine in (multiply, divide):
        for pair in ((DIMENSIONS[name], DIMENSIONS["number"]), (DIMENSIONS["number"], DIMENSIONS[name])):
            with pytest.raises(QuantityError) as caught:
                combine(*pair)
            assert difference_of(DIMENSIONS[name]).name in str(caught.value.help)


def test_only_like_is_compared_with_like() -> None:
    kinds = DIMENSIONS
    assert not same_kind(kinds["gauge pressure"], kinds["absolute pressure"])
    assert not same_kind(kinds["gauge pressure"], kinds["pressure difference"])
    assert not same_kind(kinds["temperature"], kinds["temperature difference"])
    assert not same_kind(kinds["moment"], kinds["duration"])
    assert same_kind(kinds["throughput"], kinds["power"]), "arithmetic cannot tell them apart"
    assert same_kind(kinds["fraction"], kinds["number"])


# --- start-up ---


def test_importing_brings_in_nothing_heavy() -> None:
    heavy = "{'pint', 'numpy', 'pydantic', 'CoolProp', 'lark', 'difflib', 'zoneinfo', 'json'}"
    code = f"import sys, stillair.quantity; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-I", "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
