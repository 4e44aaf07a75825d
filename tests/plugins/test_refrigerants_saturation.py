"""The saturation tables against the model they were made with, and the look-up's own laws."""

from __future__ import annotations

import itertools
import json
import math
import random
import subprocess
import sys
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stillair.calculator import OutOfRange
from stillair_refrigerants import catalogue, saturation
from stillair_refrigerants.build_tables import digest
from stillair_refrigerants.model import Model

NAMES = catalogue.refrigerants().names
KELVIN_ERROR, PRESSURE_ERROR = 0.01, 2e-4

Solve = Callable[[str, float, str], float]


@pytest.fixture(scope="module")
def solve() -> Solve:
    models = {name: Model(name) for name in NAMES}
    return lambda name, kelvin, line: models[name].saturated(kelvin, line)[0]


def off(name: str, kelvin: float, line: str, solve: Solve) -> tuple[float, float]:
    """By how much the look-up differs from the model: relative in pressure, K in temperature."""
    true = solve(name, kelvin, line)
    pressure = saturation.pressure(name, kelvin, line) / true - 1
    try:
        temperature = saturation.temperature(name, true, line) - kelvin
    except OutOfRange:
        # At the very end of the table the model's pressure may lie past the rounded last node.
        assert kelvin in (saturation.table(name).kelvin[0], saturation.table(name).kelvin[-1])
        temperature = 0.0
    return abs(pressure), abs(temperature)


def test_every_refrigerant_has_a_table_from_minus_60_to_150_fahrenheit() -> None:
    assert tuple(saturation.load()["refrigerants"]) == NAMES
    for name in NAMES:
        ends = saturation.load()["refrigerants"][name]["fahrenheit"]
        assert (ends[0], ends[-1]) == (-60, 87 if name == "R-744" else 150)


@pytest.mark.parametrize("name", NAMES)
def test_at_every_node_the_table_is_the_model(name: str, solve: Solve) -> None:
    for kelvin in saturation.table(name).kelvin:
        for line in saturation.LINES:
            pressure, temperature = off(name, kelvin, line, solve)
            assert pressure < 1e-6
            assert temperature < 1e-4


@pytest.mark.parametrize("name", NAMES)
def test_between_nodes_the_look_up_is_within_a_hundredth_of_a_kelvin(name: str, solve: Solve) -> None:
    draw = random.Random(name)
    table = saturation.table(name)
    for _ in range(500 // len(NAMES) + 1):
        kelvin = draw.uniform(table.kelvin[0], table.kelvin[-1])
        for line in saturation.LINES:
            pressure, temperature = off(name, kelvin, line, solve)
            assert pressure < PRESSURE_ERROR
            assert temperature < KELVIN_ERROR


@pytest.mark.parametrize("name", NAMES)
def test_in_the_middle_of_every_interval_the_look_up_is_good_too(name: str, solve: Solve) -> None:
    nodes = saturation.table(name).kelvin
    for low, high in itertools.pairwise(nodes):
        for line in saturation.LINES:
            pressure, temperature = off(name, (low + high) / 2, line, solve)
            assert pressure < PRESSURE_ERROR
            assert temperature < KELVIN_ERROR


@given(name=st.sampled_from(NAMES), line=st.sampled_from(saturation.LINES), share=st.floats(0, 1))
def test_pressure_and_temperature_invert_each_other(name: str, line: str, share: float) -> None:
    ends = saturation.table(name).kelvin[0], saturation.table(name).kelvin[-1]
    kelvin = min(ends[0] + share * (ends[1] - ends[0]), ends[1])
    back = saturation.temperature(name, saturation.pressure(name, kelvin, line), line)
    assert abs(back - kelvin) < 1e-9


@given(name=st.sampled_from(NAMES), share=st.floats(0, 1))
def test_bubble_is_never_below_dew(name: str, share: float) -> None:
    ends = saturation.table(name).kelvin[0], saturation.table(name).kelvin[-1]
    kelvin = min(ends[0] + share * (ends[1] - ends[0]), ends[1])
    bubble, dew = (saturation.pressure(name, kelvin, line) for line in saturation.LINES)
    assert bubble >= dew
    if len(catalogue.parts(name)) == 1:
        assert bubble == dew


@given(
    name=st.sampled_from(NAMES),
    line=st.sampled_from(saturation.LINES),
    a=st.floats(222.05, 303.7),
    b=st.floats(222.05, 303.7),
)
def test_warmer_is_higher(name: str, line: str, a: float, b: float) -> None:
    low, high = sorted((a, b))
    if high - low > 1e-9:
        assert saturation.pressure(name, low, line) < saturation.pressure(name, high, line)


@pytest.mark.parametrize("fahrenheit", [-60.0, 150.0])
def test_the_ends_of_the_table_answer(fahrenheit: float) -> None:
    kelvin = saturation.node_temperature(fahrenheit)
    assert saturation.pressure("R-22", kelvin, "bubble") > 0


@pytest.mark.parametrize("fahrenheit", [-60.01, 150.01, -500.0, math.inf, math.nan])
def test_past_the_ends_there_is_a_reason_and_no_number(fahrenheit: float) -> None:
    with pytest.raises(OutOfRange, match="outside the saturation table of R-22"):
        saturation.pressure("R-22", (fahrenheit + 459.67) / 1.8, "bubble")


@pytest.mark.parametrize("pascal", [0.0, -1e5, 1e9, math.nan, math.inf])
def test_a_pressure_past_the_ends_has_a_reason_and_no_number(pascal: float) -> None:
    with pytest.raises(OutOfRange, match="outside the dew line of R-410A"):
        saturation.temperature("R-410A", pascal, "dew")


def test_carbon_dioxide_above_its_critical_point_says_so() -> None:
    with pytest.raises(OutOfRange, match=r"above its critical point, 87\.8 °F"):
        saturation.pressure("R-744", saturation.node_temperature(90), "bubble")


def test_an_unknown_refrigerant_has_a_reason() -> None:
    with pytest.raises(OutOfRange, match="no saturation table of R-9999"):
        saturation.pressure("R-9999", 290.0, "bubble")


def test_the_tables_are_those_that_were_made() -> None:
    file = saturation.load()
    assert file["digest"] == digest(file["refrigerants"])
    assert file["coolprop"].startswith("8.")
    changed = json.loads(json.dumps(file["refrigerants"]))
    changed["R-22"]["bubble"][7] += 0.01
    assert digest(changed) != file["digest"]


def test_each_table_names_its_model_and_confidence() -> None:
    for entry in catalogue.refrigerants().entries:
        record = saturation.load()["refrigerants"][entry.name]
        assert record["model"].startswith("HEOS")
        assert record["confidence"] == entry["confidence"]


def test_looking_up_never_loads_the_property_library() -> None:
    code = (
        "import sys, stillair_refrigerants as plugin\n"
        "calculators = {c.name: c for c in plugin.stillair_calculators()}\n"
        "entry = plugin.stillair_catalogues()[0].entry('R-410A')\n"
        "calculators['saturation_pressure'](entry, 290.0, 'bubble')\n"
        "calculators['vapour_density_to_air'](entry, 0.5, 290.0)\n"
        "calculators['liquid_specific_gravity'](entry, 290.0)\n"
        "heavy = {'CoolProp', 'numpy', 'pydantic', 'pint', 'lark', 'yaml'} & set(sys.modules)\n"
        "sys.exit(str(heavy) if heavy else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
