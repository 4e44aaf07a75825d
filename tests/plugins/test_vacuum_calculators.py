"""The calculators of the plugin as a pack or a person calls them: examples, directions, ranges, shapes."""

from __future__ import annotations

import itertools
import math
import subprocess
import sys

import pytest
import stillair_leak
import stillair_refrigerants
import stillair_vacuum
from hypothesis import given
from hypothesis import strategies as st
from stillair.calculate import calculate
from stillair.calculator import Calculator, Example, OutOfRange
from stillair.quantity import DIMENSIONS, difference_of, read
from stillair_vacuum import calculators as c
from stillair_vacuum import water

CALCULATORS = {found.name: found for found in stillair_vacuum.stillair_calculators()}
EXAMPLES = [(found, example) for found in CALCULATORS.values() for example in found.examples]
DIRECTIONS = [
    (found, name, sign)
    for found in CALCULATORS.values()
    for name, sign in itertools.chain(((n, 1) for n in found.rises_with), ((n, -1) for n in found.falls_with))
]
ATM, MICRON = 101325.0, 0.133322387415
STRAIGHT = (310, 530, 745, 965, 1180, 1400)
LEVELLING = (310, 620, 820, 930, 985, 1010)

Readings = list[tuple[float, float]]


def microns(*values: float, step: float = 120.0) -> Readings:
    return [(step * i, MICRON * value) for i, value in enumerate(values)]


def canonical(text: str, dimension: str) -> float:
    return read(text, DIMENSIONS[dimension]).value


@pytest.mark.parametrize(("calculator", "example"), EXAMPLES, ids=lambda x: getattr(x, "name", ""))
def test_every_worked_example_works_as_typed(calculator: Calculator, example: Example) -> None:
    found = calculate(calculator, example.inputs, {})
    within = canonical(example.within, difference_of(DIMENSIONS[calculator.output]).name)
    assert found.number.low == found.number.high
    assert abs(found.number.low - canonical(example.result, calculator.output)) <= within
    assert found.working[0] == calculator.formula


SPANS = {
    "pressure": (1e-3, 2e6),
    "temperature": (180.0, 480.0),
    "rise": (-10.0, 10.0),
    "volume": (1e-4, 10.0),
}


@pytest.mark.parametrize(("calculator", "name", "sign"), DIRECTIONS, ids=lambda x: str(getattr(x, "name", x)))
@given(data=st.data())
def test_what_is_said_to_rise_does_so_over_the_whole_range(
    calculator: Calculator, name: str, sign: int, data: st.DataObject
) -> None:
    inputs = {each: data.draw(st.floats(*SPANS[each])) for each in calculator.inputs}
    low, high = sorted((inputs[name], data.draw(st.floats(*SPANS[name]))))
    if calculator.name == "vacuum_leak_throughput":
        inputs["rise"] = abs(inputs["rise"])  # what falls in falls more in a larger volume
        low, high = abs(low), max(abs(low), abs(high))
    try:
        less, more = (calculator(*{**inputs, name: value}.values()) for value in (low, high))
    except OutOfRange:
        return
    assert sign * (more - less) >= -1e-12 * abs(more)


@pytest.mark.parametrize("calculator", CALCULATORS.values(), ids=lambda x: x.name)
@pytest.mark.parametrize("extreme", [math.nan, -math.inf, -1e12, -1.0, 0.0, 1e-300, 1e12, math.inf])
def test_an_absurd_input_gives_a_finite_number_or_a_reason(calculator: Calculator, extreme: float) -> None:
    usual = {"pressure": 1e3, "temperature": 290.0, "rise": 0.1, "volume": 0.01}
    for name, wanted in calculator.inputs.items():
        points: list[object] = [extreme]
        if wanted.series is not None:
            points = []
            for i in range(6):
                at_time, at_value = microns(*STRAIGHT), microns(*STRAIGHT)
                at_time[i] = (extreme, at_time[i][1])
                at_value[i] = (at_value[i][0], extreme)
                points.extend((at_time, at_value))
        for point in points:
            inputs: dict[str, object] = {n: usual.get(n) for n in calculator.inputs}
            inputs[name] = point
            try:
                assert math.isfinite(calculator(*inputs.values()))
            except OutOfRange as error:
                assert len(str(error)) > 15


# --- water


@given(kelvin=st.floats(water.COLDEST, water.HOTTEST))
def test_pressure_and_temperature_undo_each_other(kelvin: float) -> None:
    # The pressure at the ends, through the inverse's own rounding, may fall just outside.
    pascal = min(
        max(c.water_boiling_pressure(kelvin), water.pressure(water.COLDEST)), water.pressure(water.HOTTEST)
    )
    assert c.water_boils_at(pascal) == pytest.approx(kelvin, abs=1e-6)


def test_ice_and_liquid_meet_at_the_triple_point() -> None:
    below, at = (c.water_boiling_pressure(k) for k in (math.nextafter(273.16, 0), 273.16))
    assert 0 <= at - below < 1e-4
    assert c.water_boils_at(611.657) == pytest.approx(273.16, abs=1e-6)


def test_ice_does_not_follow_the_line_of_the_liquid() -> None:
    """At 500 micron the liquid's line, drawn on below 0.01 °C, would be 2.6 °C colder than the ice is."""
    from CoolProp.CoolProp import PropsSI

    liquid = PropsSI("T", "P", 500 * MICRON, "Q", 0, "Water")
    assert c.water_boils_at(500 * MICRON) - liquid == pytest.approx(2.6, abs=0.1)


@pytest.mark.parametrize("kelvin", [188.7, 473.2, math.nan])
def test_no_water_outside_the_range(kelvin: float) -> None:
    with pytest.raises(OutOfRange, match="between -120 and 392 °F"):
        c.water_boiling_pressure(kelvin)


@pytest.mark.parametrize("pascal", [-1.0, 0.0, 0.02, 2e6, math.nan])
def test_no_temperature_outside_the_range(pascal: float) -> None:
    with pytest.raises(OutOfRange, match="no water boils at this pressure"):
        c.water_boils_at(pascal)


# --- the shape of a rise


def test_a_leak_climbs_straight_and_moisture_levels_off() -> None:
    assert c.vacuum_shape(microns(*STRAIGHT)) == pytest.approx(1, abs=1e-9)
    assert c.vacuum_shape(microns(*LEVELLING)) == pytest.approx(25 / 310)


@given(
    start=st.floats(1, 1e3),
    slope=st.floats(1e-3, 10),
    steps=st.lists(st.floats(1, 120), min_size=9, max_size=60),
)
def test_a_straight_climb_is_one_however_it_was_read(start: float, slope: float, steps: list[float]) -> None:
    times = [0.0, *itertools.accumulate(steps)]
    readings = [(time, start + slope * time) for time in times]
    try:
        found = c.vacuum_shape(readings)
    except OutOfRange as error:
        assert "watch longer" in str(error) or "too far apart" in str(error)
    else:
        assert found == pytest.approx(1, rel=1e-6)
        assert c.vacuum_rise(readings) == pytest.approx(slope, rel=1e-6)


@given(
    moisture=st.floats(10, 1e3),
    leak=st.floats(0, 1),
    minutes=st.floats(1, 60),
    watch=st.integers(6, 60),
)
def test_a_pocket_of_moisture_that_fills_gives_the_ratio_of_its_exponential(
    moisture: float, leak: float, minutes: float, watch: int
) -> None:
    """Vapour that fills up to a ceiling as 1 - exp(-t / tau), over a steady leak."""
    whole, tau = 60.0 * watch, 60.0 * minutes
    times = [whole * i / 10 for i in range(11)]

    def at(time: float) -> float:
        return 10 + moisture * (1 - math.exp(-time / tau)) + leak * time

    first, last = at(whole / 5) - at(0), at(whole) - at(4 * whole / 5)
    found = c.vacuum_shape([(time, at(time)) for time in times])
    assert found == pytest.approx(last / first, rel=1e-6)
    assert 0 <= found < 1 + 1e-9


@given(
    values=st.lists(st.floats(10, 1e4), min_size=6, max_size=12),
    more=st.floats(0, 1e4),
    times=st.floats(1, 10),
)
def test_neither_the_level_nor_the_unit_changes_the_shape(
    values: list[float], more: float, times: float
) -> None:
    def shape(readings: Readings) -> float | None:
        try:
            return c.vacuum_shape(readings)
        except OutOfRange:
            return None

    readings = [(60.0 * i, round(value, 3)) for i, value in enumerate(values)]
    found = shape(readings)
    if found is None or abs(found) > 1e4:  # next to no rise in the first part: all rounding
        return
    scaled = shape([(times * time, times * value) for time, value in readings])
    raised = shape([(time, value + round(more, 3)) for time, value in readings])
    assert scaled == pytest.approx(found, rel=1e-6, abs=1e-9)
    assert raised == pytest.approx(found, rel=1e-6, abs=1e-3)


def test_a_reading_at_the_fifth_belongs_to_both_sides() -> None:
    """The parts end and begin at a reading, the one at a fifth and the one at four fifths of the watch."""
    readings = [(0.0, 100.0), (100.0, 200.0), (250.0, 210.0), (400.0, 220.0), (500.0, 270.0)]
    assert c.vacuum_shape(readings) == pytest.approx((50 / 100) / (100 / 100))
    later = [(0.0, 100.0), (99.0, 150.0), (150.0, 250.0), (350.0, 220.0), (401.0, 230.0), (500.0, 250.0)]
    assert c.vacuum_shape(later) == pytest.approx((30 / 150) / (150 / 150))


def test_floats_do_not_move_the_reading_at_four_fifths() -> None:
    """5 x 60.1 s - 4 x 60.1 s is less than 60.1 s in floats."""
    assert 5 * 60.1 - 4 * 60.1 < 60.1
    assert c.vacuum_shape(microns(*LEVELLING, step=60.1)) == pytest.approx(25 / 310)


def test_a_vacuum_that_fell_at_the_end_is_below_zero() -> None:
    assert c.vacuum_shape(microns(310, 620, 700, 690, 680, 660)) < 0


@pytest.mark.parametrize(
    ("readings", "reason"),
    [
        ([], "watch longer"),
        (microns(310, 530, 745), "watch longer"),
        (microns(310, 530, 745, 965, step=60), "watch longer"),
        (microns(310, 310, 320, 330, 340, 350), "look at the hold itself"),
        (microns(310, 300, 320, 330, 340, 350), "look at the hold itself"),
        (microns(310, 530, 0, 965, 1180, 1400), "at fault"),
        (microns(310, 530, -5, 965, 1180, 1400), "at fault"),
        (microns(310, 530, math.nan, 965, 1180, 1400), "at fault"),
        (microns(310, 530, 900_000, 965, 1180, 1400), "no vacuum"),
        ([(0.0, 40.0), (0.0, 50.0), (200.0, 60.0), (400.0, 70.0)], "do not increase"),
        ([(0.0, 40.0), (200.0, 50.0), (100.0, 60.0), (400.0, 70.0)], "do not increase"),
        ([(0.0, 40.0), (580.0, 50.0), (590.0, 60.0), (600.0, 70.0)], "too far apart"),
    ],
)
def test_what_shows_no_shape_is_refused_with_the_reason(readings: Readings, reason: str) -> None:
    with pytest.raises(OutOfRange, match=reason):
        c.vacuum_shape(readings)


def test_the_error_of_a_gauge_reaches_the_shape() -> None:
    """Twenty microns on the last reading are 20/310 of the ratio; an error all readings share is none."""
    typed = "; ".join(f"{2 * i} min: {value} micron" for i, value in enumerate(LEVELLING))
    found = calculate(CALCULATORS["vacuum_shape"], {"readings": f"{typed} ± 20 micron"}, {}).number
    assert found.tolerance == pytest.approx(20 / 310, rel=1e-3)


# --- how fast


@pytest.mark.parametrize("readings", [[], microns(310)])
def test_one_reading_has_no_rise(readings: Readings) -> None:
    with pytest.raises(OutOfRange, match="two readings or more"):
        c.vacuum_rise(readings)


def test_the_rise_of_two_readings_is_their_difference_over_the_time() -> None:
    assert c.vacuum_rise(microns(310, 530)) == pytest.approx(220 * MICRON / 120)
    assert c.vacuum_rise(microns(530, 310)) == pytest.approx(-220 * MICRON / 120)


def test_a_volume_that_is_none_lets_nothing_through() -> None:
    with pytest.raises(OutOfRange, match="volume is not above 0"):
        c.vacuum_leak_throughput(0.1, 0.0)


def test_from_a_rise_to_refrigerant_a_year() -> None:
    """110 micron/min in 11.3 L, as R-410A at 300 psig: 3.25 kg a day, by way of 1.414 atmospheres.

    One atmosphere into a vacuum is as much as 2 - 1 squares of atmospheres out.
    """
    from stillair_leak import calculators as leak

    entry = stillair_refrigerants.stillair_catalogues()[0].entry("R-410A")
    through = c.vacuum_leak_throughput(110 * MICRON / 60, 11.3e-3)
    here = leak.throughput_to_leak_rate(entry, through, 293.15)
    assert here * 1e3 * 86400 * 365 == pytest.approx(2.76e-2 * 93_914, rel=0.01)  # g/yr, mbar·L/s
    more = leak.pressure_factor(314.7 / 14.696 * ATM, math.sqrt(2) * ATM, ATM)
    assert more == pytest.approx((314.7 / 14.696) ** 2 - 1)
    assert here * more * 86400 == pytest.approx(3.25, abs=0.05)


def test_a_slow_leak_does_not_show_in_a_vacuum() -> None:
    """1.774 kg/yr of R-410A at 194.8 psig: 0.26 micron of air a minute into 0.40 ft3, 3 in 10 minutes."""
    from stillair_leak import calculators as leak
    from stillair_leak import viscosity

    catalogues = {found.name: found for found in stillair_refrigerants.stillair_catalogues()}
    entry = catalogues["refrigerant"].entry("R-410A")
    flow = leak.leak_rate_convert(entry, 1.774 / (365 * 86400), 293.15)
    less = leak.pressure_factor(209.5 / 14.7 * ATM, math.sqrt(2) * ATM, ATM)
    air = 18.2e-6  # Pa s at 20 °C, ASHRAE Handbook Fundamentals, chapter 33
    into = flow / less * viscosity.of_refrigerant("R-410A") / air
    rise = into / (0.40 * 0.3048**3) / MICRON * 60
    assert rise == pytest.approx(0.26, abs=0.01)
    assert c.vacuum_leak_throughput(rise * MICRON / 60, 0.40 * 0.3048**3) == pytest.approx(into)


# --- the plugin


def test_the_calculators_do_not_load_the_property_library() -> None:
    code = (
        "import sys, stillair_vacuum; found = {x.name: x for x in stillair_vacuum.stillair_calculators()}; "
        "assert 240 < found['water_boils_at'](66.0) < 250; "
        "assert not {'CoolProp', 'pydantic', 'numpy', 'pint'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_no_two_plugins_give_a_calculator_of_one_name() -> None:
    others = {
        found.name
        for plugin in (stillair_leak, stillair_refrigerants)
        for found in plugin.stillair_calculators()
    }
    assert not others & set(CALCULATORS)
