"""The charge calculators as a pack or a person calls them: examples, directions, ranges, refusals."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Mapping

import pytest
import stillair_charge
import stillair_refrigerants
from hypothesis import given, settings
from hypothesis import strategies as st
from stillair.calculate import calculate
from stillair.calculator import Calculator, Entry, Example, OutOfRange
from stillair_charge import calculators as c
from stillair_charge import chart

from .worked import canonical, directions, examples, in_order, works

CATALOGUES = {found.name: found for found in stillair_refrigerants.stillair_catalogues()}
CALCULATORS = {found.name: found for found in stillair_charge.stillair_calculators()}
EXAMPLES = examples(CALCULATORS.values())
DIRECTIONS = directions(CALCULATORS.values())
#: Canonical SI, about what a circuit or a house can show.
SPANS: Mapping[str, tuple[float, float]] = {
    "absolute pressure": (8e4, 3.5e6), "temperature": (280.0, 325.0), "mass": (0.0, 20.0),
    "length": (0.001, 90.0), "mass per length": (0.0, 0.2), "power": (1e3, 6e4),
    "temperature difference": (1.0, 50.0), "fraction": (0.0, 1.0), "gauge pressure": (-300.0, 300.0),
}  # fmt: skip

#: Narrower where a chart or a pipe is: most draws must be valid.
BY_NAME: Mapping[str, tuple[float, float]] = {
    "return_wet_bulb": (290.0, 294.2), "outdoor_dry_bulb": (286.0, 302.0), "return_dry_bulb": (294.3, 299.8),
    "inside_diameter": (0.003, 0.03), "length": (5.0, 90.0), "included": (0.0, 5.0), "supply": (0.0, 300.0),
    "return_side": (-300.0, 0.0), "atmosphere": (5e4, 1.1e5), "pressure": (2e5, 2.5e6),
    "nameplate": (1.0, 20.0),
}  # fmt: skip


def entry(name: str) -> Entry:
    return CATALOGUES["refrigerant"].entry(name)


def kelvin(fahrenheit: float) -> float:
    return (fahrenheit + 459.67) * 5 / 9


@pytest.mark.parametrize(("calculator", "example"), EXAMPLES, ids=lambda x: getattr(x, "name", ""))
def test_every_worked_example_works(calculator: Calculator, example: Example) -> None:
    assert works(calculator, example, CATALOGUES)


def drawn(draw: st.DrawFn, calculator: Calculator, name: str) -> object:
    wanted = calculator.inputs[name]
    if wanted.catalogue is not None:
        return CATALOGUES[wanted.catalogue].entry(draw(st.sampled_from(CATALOGUES[wanted.catalogue].names)))
    if wanted.dimension is None:
        return draw(st.sampled_from(wanted.options))
    return draw(st.floats(*(BY_NAME.get(name) or SPANS[wanted.dimension])))


@pytest.mark.parametrize(("calculator", "name", "sign"), DIRECTIONS, ids=lambda x: str(getattr(x, "name", x)))
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_what_is_said_to_rise_or_fall_does_so_over_the_whole_range(
    calculator: Calculator, name: str, sign: int, data: st.DataObject
) -> None:
    """Two points that differ in that input alone, wherever both are valid, are never in the wrong order."""
    assert in_order(calculator, name, sign, data, drawn, least=1.0)


@pytest.mark.parametrize("name", list(CALCULATORS))
@settings(max_examples=80, deadline=None)
@given(data=st.data())
def test_it_gives_a_finite_number_or_says_why_not(name: str, data: st.DataObject) -> None:
    calculator = CALCULATORS[name]
    inputs = [
        data.draw(st.floats(allow_nan=False, width=32)) if wanted.dimension is not None else None
        for wanted in calculator.inputs.values()
    ]
    for i, wanted in enumerate(calculator.inputs.values()):
        if wanted.catalogue is not None:
            inputs[i] = entry("R-410A")
        elif wanted.options:
            inputs[i] = data.draw(st.sampled_from(wanted.options))
    try:
        assert math.isfinite(calculator(*inputs))
    except OutOfRange as refused:
        assert str(refused)


WEIGH = {"return_wet_bulb": "62 °F", "outdoor_dry_bulb": "100 °F"}
COLD = {"return_wet_bulb": "63 °F", "outdoor_dry_bulb": "48 °F", "by": "chart"}
DRY = {"return_wet_bulb": "45 °F", "outdoor_dry_bulb": "75 °F", "by": "chart"}
LINE = {"nameplate": "10 oz", "length": "0 ft", "included": "25 ft", "rate": "0.6 oz/ft", "extras": "0 oz"}
SUCTION = {"refrigerant": "R-22", "pressure": "83.2 psia", "temperature": "580 °F"}
LIQUID = {"refrigerant": "R-22", "pressure": "250 psia", "temperature": "955 °F"}
COIL = {"heat": "60000 Btu/h", "temperature_rise": "55 °F", "atmosphere": "150 psia"}
HEATED = {"heat": "60000 Btu/h", "temperature_rise": "-5 °F", "atmosphere": "14.7 psia"}


@pytest.mark.parametrize(
    ("name", "inputs", "said"),
    [
        ("target_superheat", {**WEIGH, "by": "chart"}, "weigh it in"),
        ("target_superheat", {**WEIGH, "by": "rule_of_thumb"}, "weigh it in"),
        ("target_superheat", COLD, "48 °F outdoors is below 55 °F"),
        ("target_superheat", {**COLD, "outdoor_dry_bulb": "116 °F"}, "outside"),
        ("target_superheat", DRY, "outside"),
        ("target_split", {"return_dry_bulb": "72 °F", "return_wet_bulb": "74 °F"}, "swapped"),
        ("target_split", {"return_dry_bulb": "90 °F", "return_wet_bulb": "63 °F"}, "outside"),
        ("line_set_charge", LINE, "nothing is left"),
        ("line_set_charge", {**LINE, "length": "3500 ft"}, "490 ft"),
        ("airflow_sensible", HEATED, "swapped"),
        ("airflow_sensible", COIL, "of the circuit"),
        ("airflow_sensible", {**HEATED, "temperature_rise": "0.5 °F"}, "between 1 and 200 °F"),
        ("airflow_sensible", {**HEATED, "temperature_rise": "201 °F"}, "between 1 and 200 °F"),
        ("mixed_air", {"main": "76 °F", "other": "-459 °F", "other_share": "15 %"}, "the other air"),
        ("mixed_air", {"main": "760 °F", "other": "56 °F", "other_share": "15 %"}, "the main air"),
        ("superheat", SUCTION, "suction line"),
        ("subcooling", LIQUID, "liquid line"),
        ("external_static", {"supply": "0.31 in w.c.", "return_side": "0.29 in w.c."}, "with its minus"),
        ("external_static", {"supply": "-0.31 in w.c.", "return_side": "-0.29 in w.c."}, "hoses swapped"),
        ("mixed_air", {"main": "76 °F", "other": "56 °F", "other_share": "115 %"}, "between 0 and 100 %"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name(name: str, inputs: dict[str, str], said: str) -> None:
    found = calculate(CALCULATORS[name], inputs, CATALOGUES)
    assert found.number.undefined
    assert any(said in reason for reason in found.reasons), found.reasons


def test_the_working_can_be_redone_with_a_pocket_calculator() -> None:
    inputs = {
        "nameplate": "7 lb 8 oz",
        "length": "38 ft",
        "included": "15 ft",
        "rate": "0.6 oz/ft",
        "extras": "6 oz",
    }
    found = calculate(CALCULATORS["line_set_charge"], inputs, CATALOGUES)
    assert "charge = nameplate + (length - included) x rate + extras" in found.working[0]
    assert any("38 ft" in step and "0.6 oz/ft" in step for step in found.working)


def test_superheat_counts_from_dew_and_subcooling_from_bubble() -> None:
    """R-407C: the two lines lie 9 to 11 °F apart, and taking the wrong one is the usual slip."""
    gas, pressure = entry("R-407C"), canonical("254.7 psia", "absolute pressure")
    at = kelvin(95)
    apart = c.subcooling(gas, pressure, at) + c.superheat(gas, pressure, at)
    assert -11 < apart * 1.8 < -8, "subcooling + superheat is bubble less dew"


def test_a_liquid_line_warmer_than_its_bubble_point_has_less_than_none() -> None:
    assert c.subcooling(entry("R-410A"), canonical("300 psia", "absolute pressure"), kelvin(110)) < 0


def test_between_four_cells_the_chart_is_between_them() -> None:
    """Row 85 and 90, columns 66 and 68: 15, 19, 13, 16. The middle of all is their mean."""
    assert c.target_superheat(kelvin(67), kelvin(87.5), "chart") * 1.8 == pytest.approx(
        (15 + 19 + 13 + 16) / 4
    )


def test_on_the_edge_of_what_the_chart_has_a_cell_counts_and_beside_it_none() -> None:
    assert c.target_superheat(kelvin(62), kelvin(90), "chart") * 1.8 == pytest.approx(5)
    with pytest.raises(OutOfRange):
        c.target_superheat(kelvin(61.9), kelvin(90), "chart")


def test_the_charts_are_whole() -> None:
    for found in (chart.superheat(), chart.split()):
        assert all(len(row) == len(found.columns) for row in found.cells)
        assert len(found.cells) == len(found.rows)
        assert found.source


def test_nothing_heavy_is_imported_to_read_a_chart() -> None:
    code = (
        "import sys; from stillair_charge import calculators as c;"
        "c.target_superheat(290.0, 303.0, 'chart');"
        "print('CoolProp' in sys.modules or 'numpy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
