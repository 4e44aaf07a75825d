"""The calculators of the plugin as a pack or a person calls them."""

from __future__ import annotations

import itertools
import math

import pytest
import stillair_refrigerants
from hypothesis import given
from hypothesis import strategies as st
from stillair.calculator import Calculator, Entry, Example, OutOfRange
from stillair.quantity import DIMENSIONS, difference_of, read
from stillair_refrigerants import calculators as c
from stillair_refrigerants import catalogue, saturation, vapour
from stillair_refrigerants.model import model

CATALOGUES = {found.name: found for found in stillair_refrigerants.stillair_catalogues()}
CALCULATORS = {found.name: found for found in stillair_refrigerants.stillair_calculators()}
EXAMPLES = [(found, example) for found in CALCULATORS.values() for example in found.examples]
PSI = saturation.PSI
ATMOSPHERE = 101325.0


def refrigerant(name: str) -> Entry:
    return CATALOGUES["refrigerant"].entry(name)


def fahrenheit(value: float) -> float:
    return saturation.node_temperature(value)


def difference(dimension: str) -> str:
    known = DIMENSIONS[dimension]
    return dimension if known.point is None else difference_of(known).name


def given_inputs(calculator: Calculator, example: Example) -> list[object]:
    found: list[object] = []
    for name, wanted in calculator.inputs.items():
        text = example.inputs[name]
        if wanted.catalogue is not None:
            found.append(CATALOGUES[wanted.catalogue].entry(text))
        elif wanted.dimension is not None:
            found.append(read(text, DIMENSIONS[wanted.dimension]).value)
        else:
            found.append(text)
    return found


@pytest.mark.parametrize(("calculator", "example"), EXAMPLES, ids=lambda x: getattr(x, "name", ""))
def test_every_worked_example_works(calculator: Calculator, example: Example) -> None:
    result = read(example.result, DIMENSIONS[calculator.output]).value
    within = read(example.within, DIMENSIONS[difference(calculator.output)]).value
    assert abs(calculator(*given_inputs(calculator, example)) - result) <= within


@pytest.mark.parametrize("calculator", CALCULATORS.values(), ids=lambda x: x.name)
def test_what_is_said_to_rise_or_fall_does(calculator: Calculator) -> None:
    """Around its own examples, a small step of each such input moves the result that way."""
    for example in calculator.examples:
        inputs = given_inputs(calculator, example)
        for name, sign in itertools.chain(
            ((n, 1) for n in calculator.rises_with), ((n, -1) for n in calculator.falls_with)
        ):
            i = list(calculator.inputs).index(name)
            value = inputs[i]
            assert isinstance(value, float)
            less = [*inputs]
            less[i] = value - max(abs(value), 1.0) * 1e-4
            try:
                assert sign * (calculator(*inputs) - calculator(*less)) > 0
            except OutOfRange:
                pytest.fail(f"{calculator.name}: the example lies at the end of the valid range")


def test_superheat_is_read_from_dew_and_subcooling_from_bubble() -> None:
    """R-407C suction at 63.2 psig saturates at 40 °F on the dew line, and 9 °F lower on the bubble line."""
    pressure = (63.2 + 14.696) * PSI
    dew = c.saturation_temperature(refrigerant("R-407C"), pressure, "dew")
    bubble = c.saturation_temperature(refrigerant("R-407C"), pressure, "bubble")
    assert dew == pytest.approx(fahrenheit(40), abs=0.05)
    assert 8 < 1.8 * (dew - bubble) < 13
    assert c.glide(refrigerant("R-407C"), pressure) == pytest.approx(dew - bubble)


@given(
    name=st.sampled_from(CATALOGUES["refrigerant"].names),
    line=st.sampled_from(saturation.LINES),
    low=st.floats(223, 303),
    step=st.floats(0.001, 20),
)
def test_a_higher_pressure_saturates_warmer(name: str, line: str, low: float, step: float) -> None:
    entry = refrigerant(name)
    top = saturation.table(name).kelvin[-1]
    pressures = [c.saturation_pressure(entry, min(t, top), line) for t in (low, low + step)]
    found = [c.saturation_temperature(entry, p, line) for p in pressures]
    assert found[0] < found[1]


def test_gauge_and_absolute_undo_each_other_at_any_elevation() -> None:
    for feet in (0.0, 5280.0, 10000.0):
        atmosphere = c.atmosphere_at_elevation(feet * 0.3048)
        absolute = c.absolute_pressure(100 * PSI, atmosphere)
        assert c.gauge_pressure(absolute, atmosphere) == pytest.approx(100 * PSI)


def test_a_mile_up_the_same_gauge_reading_is_a_colder_refrigerant() -> None:
    low, high = (c.atmosphere_at_elevation(feet * 0.3048) for feet in (0, 5280))
    sea, mile = (
        c.saturation_temperature(refrigerant("R-410A"), c.absolute_pressure(118.8 * PSI, a), "bubble")
        for a in (low, high)
    )
    assert sea == pytest.approx(fahrenheit(40), abs=0.05)
    assert 0.5 < 1.8 * (sea - mile) < 2.0


@pytest.mark.parametrize("atmosphere", [0.0, 44e3, 150 * PSI])
def test_a_pressure_of_the_circuit_is_no_atmosphere(atmosphere: float) -> None:
    for calculator in (c.absolute_pressure, c.gauge_pressure):
        with pytest.raises(OutOfRange, match="never of the circuit"):
            calculator(100 * PSI, atmosphere)


def test_no_pressure_in_this_work_is_above_that_of_a_full_cylinder() -> None:
    for calculator in (c.absolute_pressure, c.gauge_pressure):
        with pytest.raises(OutOfRange, match="above 20 MPa"):
            calculator(20.5e6, 14.7 * PSI)
    with pytest.raises(OutOfRange, match="below a perfect vacuum"):
        c.gauge_pressure(-1.0, 14.7 * PSI)


def test_a_gauge_cannot_read_below_a_perfect_vacuum() -> None:
    with pytest.raises(OutOfRange, match="below a perfect vacuum"):
        c.absolute_pressure(-15 * PSI, ATMOSPHERE)


@pytest.mark.parametrize("metres", [-501.0, 9001.0, math.nan])
def test_an_elevation_that_is_not_on_land_has_no_atmosphere(metres: float) -> None:
    with pytest.raises(OutOfRange, match="not an elevation on dry land"):
        c.atmosphere_at_elevation(metres)


# --- which way the gas goes


@pytest.mark.parametrize("name", [n for n in CATALOGUES["refrigerant"].names if n not in ("R-717", "R-123")])
def test_every_common_refrigerant_sinks(name: str) -> None:
    assert c.vapour_density_to_air(refrigerant(name), 1.0, fahrenheit(70)) > 1.5


def test_ammonia_rises() -> None:
    assert c.vapour_density_to_air(refrigerant("R-717"), 1.0, fahrenheit(70)) < 0.6


@pytest.mark.parametrize("name", ["R-22", "R-410A", "R-454B", "R-1234yf"])
def test_nitrogen_with_a_trace_of_refrigerant_pools_nowhere(name: str) -> None:
    assert c.vapour_density_to_air(refrigerant(name), 0.05, fahrenheit(70)) == pytest.approx(1, abs=0.02)


def test_nitrogen_alone_is_the_same_whatever_was_in_the_circuit() -> None:
    ratios = {
        c.vapour_density_to_air(entry, 0.0, fahrenheit(70)) for entry in CATALOGUES["refrigerant"].entries
    }
    assert len(ratios) == 1
    nitrogen = c.gas_density_to_air(CATALOGUES["test_gas"].entry("nitrogen"))
    assert ratios.pop() == pytest.approx(nitrogen)


def test_the_hydrogen_tracer_rises_a_little_and_helium_much() -> None:
    gas = CATALOGUES["test_gas"].entry
    assert 0.90 < c.gas_density_to_air(gas("hydrogen-mix")) < 0.95
    assert c.gas_density_to_air(gas("helium")) < 0.15


@given(
    name=st.sampled_from([n for n in CATALOGUES["refrigerant"].names if n not in ("R-717", "R-123")]),
    share=st.floats(0, 1),
    kelvin=st.floats(285, 335),
)
def test_a_mixture_lies_between_nitrogen_and_the_refrigerant(name: str, share: float, kelvin: float) -> None:
    low, mixed, high = (
        c.vapour_density_to_air(refrigerant(name), part, kelvin) for part in (0.0, share, 1.0)
    )
    assert low <= mixed <= high


@pytest.mark.parametrize("share", [-0.01, 1.01, math.nan])
def test_a_share_that_is_none_is_refused(share: float) -> None:
    with pytest.raises(OutOfRange, match="not between 0 and 100 %"):
        c.vapour_density_to_air(refrigerant("R-22"), share, 290.0)


def test_a_refrigerant_that_is_liquid_at_one_atmosphere_is_no_vapour() -> None:
    with pytest.raises(OutOfRange, match="R-123 condenses here at 1 atm below 82 °F"):
        c.vapour_density_to_air(refrigerant("R-123"), 1.0, fahrenheit(70))
    # thinned by nitrogen it is vapour again
    assert c.vapour_density_to_air(refrigerant("R-123"), 0.5, fahrenheit(70)) > 1


@pytest.mark.parametrize("name", CATALOGUES["refrigerant"].names)
@pytest.mark.parametrize("degrees", [0, 70, 150])
def test_the_ratio_without_the_property_library_is_the_ratio_with_it(name: str, degrees: float) -> None:
    kelvin = fahrenheit(degrees)
    try:
        quick = c.vapour_density_to_air(refrigerant(name), 1.0, kelvin)
    except OutOfRange:
        assert saturation.pressure(name, kelvin, "dew") < ATMOSPHERE
        return
    air = ATMOSPHERE * vapour.AIR / (vapour.GAS_CONSTANT * kelvin)
    exact = model(name).density(kelvin, ATMOSPHERE, "vapour")
    assert quick == pytest.approx(exact / air, rel=0.002)


# --- densities


@pytest.mark.parametrize("name", CATALOGUES["refrigerant"].names)
def test_the_tabulated_liquid_is_the_liquid_of_the_model(name: str) -> None:
    worst = 0.0
    for kelvin in range(223, math.floor(saturation.table(name).kelvin[-1])):
        exact = model(name).saturated(float(kelvin), "bubble")[1]
        quick = 999.975 * c.liquid_specific_gravity(refrigerant(name), float(kelvin))
        worst = max(worst, abs(quick / exact - 1))
    assert worst < (0.008 if name == "R-744" else 0.002)


def test_liquid_and_vapour_meet_their_saturation_lines() -> None:
    for name in ("R-410A", "R-407C", "R-22", "R-454B"):
        entry, kelvin = refrigerant(name), fahrenheit(75)
        bubble, dew = (saturation.pressure(name, kelvin, line) for line in saturation.LINES)
        saturated = model(name).saturated
        assert c.liquid_density(entry, kelvin, bubble) == pytest.approx(
            saturated(kelvin, "bubble")[1], rel=1e-3
        )
        assert c.vapour_density(entry, kelvin, dew) == pytest.approx(saturated(kelvin, "dew")[1], rel=1e-3)


def test_between_the_lines_there_is_neither_liquid_nor_vapour_alone() -> None:
    entry, kelvin = refrigerant("R-407C"), fahrenheit(75)
    bubble, dew = (saturation.pressure("R-407C", kelvin, line) for line in saturation.LINES)
    between = (bubble + dew) / 2
    with pytest.raises(OutOfRange, match="wholly liquid from"):
        c.liquid_density(entry, kelvin, between)
    with pytest.raises(OutOfRange, match="wholly vapour between"):
        c.vapour_density(entry, kelvin, between)


@pytest.mark.parametrize("pressure", [0.0, -1.0, math.nan, math.inf])
def test_no_density_without_a_pressure(pressure: float) -> None:
    for calculator in (c.liquid_density, c.vapour_density):
        with pytest.raises(OutOfRange):
            calculator(refrigerant("R-410A"), fahrenheit(75), pressure)


def test_hot_discharge_vapour_has_a_density() -> None:
    hot = c.vapour_density(refrigerant("R-410A"), fahrenheit(180), 400 * PSI)
    cool = c.vapour_density(refrigerant("R-410A"), fahrenheit(140), 400 * PSI)
    assert 0 < hot < cool
    with pytest.raises(OutOfRange, match="above 300 °F"):
        c.vapour_density(refrigerant("R-410A"), fahrenheit(301), 400 * PSI)


def test_a_test_gas_is_not_a_refrigerant() -> None:
    assert "nitrogen" not in catalogue.refrigerants().names
    with pytest.raises(KeyError):
        CATALOGUES["refrigerant"].entry("nitrogen")


# On this rests what `scenarios/unshown.yaml` of the leak pack says.
@pytest.mark.parametrize("name", CATALOGUES["refrigerant"].names)
def test_no_glide_lies_near_what_counts_as_large(name: str) -> None:
    gas = refrigerant(name)
    kelvin = c.glide(gas, c.saturation_pressure(gas, fahrenheit(40), "dew"))
    assert kelvin < 3 / 1.8 or kelvin > 9 / 1.8
