"""The recovery calculators as a pack or a person calls them: examples, directions, ranges, refusals."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Mapping

import pytest
import stillair_leak
import stillair_recovery
import stillair_refrigerants
from hypothesis import given, settings
from hypothesis import strategies as st
from stillair.calculate import calculate
from stillair.calculator import Calculator, Entry, Example, OutOfRange
from stillair_recovery import calculators as c
from stillair_recovery import level
from stillair_refrigerants import saturation

from .worked import canonical, directions, examples, given_inputs, in_order, moves, works

CATALOGUES = {found.name: found for found in stillair_refrigerants.stillair_catalogues()}
REFRIGERANTS = CATALOGUES["refrigerant"]
CALCULATORS = {found.name: found for found in stillair_recovery.stillair_calculators()}
EXAMPLES = examples(CALCULATORS.values())
DIRECTIONS = directions(CALCULATORS.values())
#: All but the one gas that has no liquid at 130 °F.
LIQUID = tuple(name for name in REFRIGERANTS.names if name != "R-744")
LB, PSI, INCH, ATM = 0.45359237, saturation.PSI, 3386.388640341, 101325.0


def refrigerant(name: str) -> Entry:
    return REFRIGERANTS.entry(name)


@pytest.mark.parametrize(("calculator", "example"), EXAMPLES, ids=lambda x: getattr(x, "name", ""))
def test_every_worked_example_works(calculator: Calculator, example: Example) -> None:
    assert set(example.inputs) == set(calculator.inputs)
    assert works(calculator, example, CATALOGUES)


@pytest.mark.parametrize(("calculator", "name", "sign"), DIRECTIONS, ids=lambda x: str(getattr(x, "name", x)))
def test_an_input_said_to_move_the_result_moves_it(calculator: Calculator, name: str, sign: int) -> None:
    """By six tenths of it: a level has one step only, at 200 lb."""
    assert moves(calculator, name, sign, CATALOGUES, by=0.4)


SPANS: Mapping[str, tuple[float, float]] = {"mass": (0.01, 200.0), "absolute pressure": (3e3, 1.1e5)}


def drawn(draw: st.DrawFn, calculator: Calculator, name: str) -> object:
    wanted = calculator.inputs[name]
    if wanted.catalogue is not None:
        return CATALOGUES[wanted.catalogue].entry(draw(st.sampled_from(CATALOGUES[wanted.catalogue].names)))
    if wanted.dimension is None:
        return draw(st.sampled_from(wanted.options))
    return draw(st.floats(*SPANS[wanted.dimension]))


@pytest.mark.parametrize(("calculator", "name", "sign"), DIRECTIONS, ids=lambda x: str(getattr(x, "name", x)))
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_what_is_said_to_rise_or_fall_does_so_over_the_whole_range(
    calculator: Calculator, name: str, sign: int, data: st.DataObject
) -> None:
    """Two points that differ in that input alone, wherever both are valid, are never in the wrong order."""
    assert in_order(calculator, name, sign, data, drawn)


@pytest.mark.parametrize("calculator", CALCULATORS.values(), ids=lambda x: x.name)
@pytest.mark.parametrize("absurd", [math.nan, -math.inf, -1e12, -1.0, 0.0, 1e-300, 1e12, math.inf])
def test_an_absurd_input_gives_a_finite_number_or_a_reason(calculator: Calculator, absurd: float) -> None:
    for i, wanted in enumerate(calculator.inputs.values()):
        if wanted.dimension is None:
            continue
        inputs = given_inputs(calculator, calculator.examples[0], CATALOGUES)
        inputs[i] = absurd
        try:
            assert math.isfinite(calculator(*inputs)) and not math.isnan(absurd)
        except OutOfRange as error:
            assert len(str(error)) > 15


@pytest.mark.parametrize("calculator", CALCULATORS.values(), ids=lambda x: x.name)
def test_every_refrigerant_is_served_but_the_one_without_liquid_when_warm(calculator: Calculator) -> None:
    inputs = given_inputs(calculator, calculator.examples[0], CATALOGUES)
    refused = set()
    for entry in REFRIGERANTS.entries:
        try:
            assert math.isfinite(calculator(entry, *inputs[1:]))
        except OutOfRange as error:
            assert "R-744" in str(error)
            refused.add(entry.name)
    assert refused == (set() if calculator.name == "recovery_level" else {"R-744"})


# --- cylinders


@given(
    name=st.sampled_from(LIQUID),
    capacity=st.floats(1, 450),
    tare=st.floats(1, 200),
    net=st.floats(0, 500),
)
def test_room_and_what_is_in_it_make_up_the_limit(
    name: str, capacity: float, tare: float, net: float
) -> None:
    entry, gross = refrigerant(name), tare + net
    room = c.cylinder_room(entry, capacity, tare, gross)
    assert room + gross == pytest.approx(c.cylinder_limit(entry, capacity, tare))


@given(name=st.sampled_from(LIQUID), capacity=st.floats(1, 450), tare=st.floats(1, 200))
def test_filled_to_the_limit_it_is_never_full_of_liquid_at_130_fahrenheit(
    name: str, capacity: float, tare: float
) -> None:
    """The fullest is R-452B: 95 %."""
    entry = refrigerant(name)
    net = c.cylinder_limit(entry, capacity, tare) - tare
    assert net <= 0.8 * capacity * (1 + 1e-9)
    assert c.cylinder_liquid_full(entry, capacity, net) < 0.951


@pytest.mark.parametrize("name", ["R-32", "R-454B", "R-452B", "R-290", "R-600a", "R-717"])
def test_of_a_liquid_lighter_than_water_less_goes_in_than_the_old_rule_says(name: str) -> None:
    assert c.cylinder_limit(refrigerant(name), 47.7, 28.0) < 28.0 + 0.8 * 47.7


@pytest.mark.parametrize("name", ["R-22", "R-410A", "R-407C", "R-404A", "R-134a"])
def test_of_a_liquid_heavier_than_water_no_more_goes_in_than_the_old_rule_says(name: str) -> None:
    assert c.cylinder_limit(refrigerant(name), 47.7, 28.0) == pytest.approx(28.0 + 0.8 * 47.7)


def test_a_charge_that_does_not_fit_needs_a_second_cylinder() -> None:
    room = c.cylinder_room(refrigerant("R-410A"), 26.2 * LB, 17.0 * LB, 31.4 * LB)
    assert room / LB == pytest.approx(37.96 - 31.4)
    assert room < 8.25 * LB


def test_ignoring_the_specific_gravity_of_r32_would_overfill_by_over_a_pound() -> None:
    room = c.cylinder_room(refrigerant("R-32"), 47.7 * LB, 28.0 * LB, 52.5 * LB) / LB
    assert room == pytest.approx(12.3, abs=0.05)
    assert 28.0 + 0.8 * 47.7 - 52.5 - room == pytest.approx(1.4, abs=0.05)


def test_an_overfilled_cylinder_has_room_below_nothing_and_the_working_says_so() -> None:
    found = calculate(
        CALCULATORS["cylinder_room"],
        {"refrigerant": "R-32", "water_capacity": "47.7 lb", "tare": "28 lb", "gross": "70 lb"},
        CATALOGUES,
    )
    assert found.number.high / LB == pytest.approx(64.78 - 70, abs=0.01)
    assert found.result.startswith("cylinder_room = -5.2")
    assert found.remarks == ("below 0 lb: overfilled",)


def test_the_specific_gravity_of_the_working_can_be_had_from_the_calculator_it_names() -> None:
    """997.048 kg/m3 of water at 77 °F against 999.975 at 4 °C: the 1.0029 of the source."""
    (own,) = (x for x in stillair_refrigerants.stillair_calculators() if x.name == "liquid_specific_gravity")
    gravity = own(refrigerant("R-32"), saturation.node_temperature(77)) * 1.0029
    net = c.cylinder_limit(refrigerant("R-32"), 47.7, 28.0) - 28.0
    assert 0.8 * 47.7 * gravity == pytest.approx(net, rel=1e-4)
    assert "1.0029 times that of liquid_specific_gravity" in c.cylinder_limit.sources[1].text


def test_the_collar_and_the_scale_must_make_sense() -> None:
    entry = refrigerant("R-22")
    for capacity in (0.0, -26.2):
        with pytest.raises(OutOfRange, match="behind WC"):
            c.cylinder_limit(entry, capacity, 17.0)
        with pytest.raises(OutOfRange, match="behind WC"):
            c.cylinder_liquid_full(entry, capacity, 1.0)
    with pytest.raises(OutOfRange, match="behind TW"):
        c.cylinder_room(entry, 26.2, 0.0, 20.0)
    with pytest.raises(OutOfRange, match="weighs less than its tare"):
        c.cylinder_room(entry, 26.2, 17.0, 16.9)
    with pytest.raises(OutOfRange, match="less than nothing"):
        c.cylinder_liquid_full(entry, 26.2, -0.1)
    assert c.cylinder_room(entry, 26.2, 17.0, 17.0) == pytest.approx(0.8 * 26.2)


def test_carbon_dioxide_is_refused_by_name_and_never_given_room() -> None:
    """Liquid at 77 °F, but not at 130 °F: the rule would let in what later bursts an ordinary cylinder."""
    entry = refrigerant("R-744")
    for call in (
        lambda: c.cylinder_limit(entry, 26.2, 17.0),
        lambda: c.cylinder_room(entry, 26.2, 17.0, 18.0),
        lambda: c.cylinder_liquid_full(entry, 26.2, 1.0),
    ):
        with pytest.raises(OutOfRange, match="R-744 has no liquid at 130 °F"):
            call()
    with pytest.raises(OutOfRange, match="outside the saturation table of R-744"):
        c.service_pressure_needed(entry)


@given(name=st.sampled_from(LIQUID))
def test_the_service_pressure_is_four_fifths_of_the_gauge_pressure_when_warm(name: str) -> None:
    warm = saturation.pressure(name, saturation.node_temperature(131), "bubble") - ATM
    assert 1.25 * c.service_pressure_needed(refrigerant(name)) == pytest.approx(warm)


def test_gases_of_high_pressure_need_a_cylinder_of_400_and_older_ones_do_not() -> None:
    needed = {name: c.service_pressure_needed(refrigerant(name)) / PSI for name in LIQUID}
    assert {name for name in needed if needed[name] > 350} == {"R-410A", "R-32", "R-454B", "R-452B"}
    assert max(needed.values()) == needed["R-32"] < 400
    assert needed["R-410A"] == pytest.approx(387, abs=0.5)


# --- levels


@given(
    name=st.sampled_from(REFRIGERANTS.names),
    charge=st.floats(0.1, 500),
    machine=st.sampled_from(level.MACHINES),
    atmosphere=st.floats(4.5e4, 1.1e5),
)
def test_the_level_is_never_above_the_air_around(
    name: str, charge: float, machine: str, atmosphere: float
) -> None:
    """What stays above it would be let out on opening, at a height too."""
    assert 0 < c.recovery_level(refrigerant(name), charge, machine, atmosphere) <= atmosphere


@given(name=st.sampled_from(REFRIGERANTS.names), charge=st.floats(0.1, 500), atmosphere=st.floats(6e4, 1.1e5))
def test_an_older_machine_is_never_held_to_a_deeper_level(
    name: str, charge: float, atmosphere: float
) -> None:
    older, newer = (c.recovery_level(refrigerant(name), charge, m, atmosphere) for m in level.MACHINES)
    assert older >= newer


def test_at_a_height_nought_inches_of_vacuum_is_the_air_there_and_not_sea_level() -> None:
    found = [c.recovery_level(refrigerant("R-410A"), 3.7, "since_1993", a * INCH) for a in (24.5, 29.92)]
    assert [x / INCH for x in found] == pytest.approx([24.5, 29.9])


def test_exactly_200_pounds_is_a_large_charge() -> None:
    inches = [
        c.recovery_level(refrigerant("R-22"), canonical(charge, "mass"), "since_1993", ATM) / INCH
        for charge in ("199.9 lb", "200 lb")
    ]
    assert inches == pytest.approx([29.9, 19.9])


def test_a_machine_that_is_not_named_leaves_both_levels_possible() -> None:
    found = calculate(
        CALCULATORS["recovery_level"],
        {"refrigerant": "R-134a", "full_charge": "300 lb", "atmosphere": "14.696 psia"},
        CATALOGUES,
    )
    assert (found.number.low / INCH, found.number.high / INCH) == pytest.approx((14.9, 25.9))


def test_a_charge_of_nothing_or_no_air_is_refused() -> None:
    for charge in (0.0, -1.0):
        with pytest.raises(OutOfRange, match="full charge is not above 0"):
            c.recovery_level(refrigerant("R-22"), charge, "since_1993", ATM)
    for atmosphere in (0.0, 150 * 6894.76):
        with pytest.raises(OutOfRange, match="never of the circuit"):
            c.recovery_level(refrigerant("R-22"), 5.0, "since_1993", atmosphere)


def test_no_cylinder_is_larger_than_the_largest() -> None:
    with pytest.raises(OutOfRange, match="more than 1000 lb of water"):
        c.cylinder_room(refrigerant("R-22"), canonical("1001 lb", "mass"), 100.0, 200.0)


def test_a_refrigerant_whose_class_is_not_known_is_refused_by_name() -> None:
    stranger = Entry("R-999", {"pressure_class": None})
    with pytest.raises(OutOfRange, match="pressure class of R-999 is not known"):
        c.recovery_level(stranger, 5.0, "since_1993", ATM)


@pytest.mark.parametrize("name", LIQUID)
def test_the_class_of_the_catalogue_is_that_of_the_class_pressure(name: str) -> None:
    psia = c.class_pressure(refrigerant(name)) / PSI
    expected = "low" if psia < 45 else "medium" if psia <= 170 else "high" if psia <= 355 else "very-high"
    assert refrigerant(name)["pressure_class"] == expected


# --- the plugin


def test_declaring_and_using_the_calculators_does_not_load_the_property_library() -> None:
    code = (
        "import sys, stillair_recovery, stillair_refrigerants; "
        "found = {x.name: x for x in stillair_recovery.stillair_calculators()}; "
        "r22 = stillair_refrigerants.stillair_catalogues()[0].entry('R-22'); "
        "assert found['cylinder_limit'](r22, 26.2, 17.0) > 17.0; "
        "assert not {'CoolProp', 'pydantic', 'numpy', 'pint'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_no_two_plugins_give_a_calculator_of_one_name() -> None:
    others = {
        x.name for plugin in (stillair_refrigerants, stillair_leak) for x in plugin.stillair_calculators()
    }
    assert not others & set(CALCULATORS)
