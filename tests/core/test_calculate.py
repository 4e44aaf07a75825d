"""One calculator from what a person types: the value, its span, and a working that can be redone by hand."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stillair import quantity
from stillair.calculate import Calculated, CalculateError, calculate
from stillair.hooks import Plugins
from stillair.quantity import DIMENSIONS
from stillair.wording import span_of


@pytest.fixture(scope="module")
def bundled() -> Plugins:
    return Plugins.load()


@cache
def _tank() -> Plugins:
    """As the fixture, for a property whose arguments are shown when it fails."""
    return Plugins.load([Path(__file__).parent / "tank_tools"])


def calc(plugins: Plugins, name: str, **typed: str) -> Calculated:
    return calculate(plugins.calculators[name], typed, plugins.catalogues)


def test_the_working_puts_the_numbers_into_the_formula(tank_plugins: Plugins) -> None:
    """1000 kg/m3 x 9.80665 m/s2 x 10 m = 98066.5 Pa, and a psi is 6894.757 Pa."""
    found = calc(tank_plugins, "weight_pressure", liquid="water", depth="10 m")
    assert found.number.low == pytest.approx(98066.5)
    assert "weight_pressure(water, 10 m) = 14.2233 psig" in found.working
    assert found.working[0] == "pressure = density x 9.80665 m/s2 x depth"
    assert found.result == "weight_pressure = 14.22 psig"


@pytest.mark.parametrize("sign", ["±", "+/-", "+-", " +/- "])
def test_a_tolerance_is_carried_through_and_shown_step_by_step(tank_plugins: Plugins, sign: str) -> None:
    """10 m ± 0.5 m of water weighs 14.22 psi, and half the change from 9.5 to 10.5 m is 0.711 psi."""
    found = calc(tank_plugins, "weight_pressure", liquid="water", depth=f"10 m{sign}0.5 m")
    assert found.number.tolerance == pytest.approx(1000 * 9.80665 * 0.5)
    assert "depth 10.5 m gives 14.9345 psig, 9.5 m gives 13.5122 psig: half of the change is 0.711 psi" in (
        found.working
    )
    assert found.working[-1] == "result: 14.22 psig ± 0.71 psi, at 95 %"


def test_a_tolerance_without_a_unit_is_in_the_unit_of_its_number(tank_plugins: Plugins) -> None:
    bare = calc(tank_plugins, "weight_pressure", liquid="water", depth="10 m ± 0.5")
    assert (
        bare.number.tolerance
        == calc(tank_plugins, "weight_pressure", liquid="water", depth="10 m ± 0.5 m").number.tolerance
    )


def test_two_tolerances_are_combined_by_the_root_of_their_squares(tank_plugins: Plugins) -> None:
    """Base 10 ± 0.3 in and height 20 ± 0.4 in: effects 6 and 4 in2, together the root of 52."""
    found = calc(tank_plugins, "share", base="10 in ± 0.3 in", height="20 in ± 0.4 in", shape="box")
    inch2 = 0.0254**2
    assert found.number.tolerance == pytest.approx(math.sqrt(6**2 + 4**2) * inch2)
    assert "± 7.2 in2 = root of the sum of the squares of 6 in2 (base), 4 in2 (height)" in found.working


def test_an_option_not_given_leaves_all_of_them_possible(tank_plugins: Plugins) -> None:
    found = calc(tank_plugins, "share", base="3 in", height="4 in")
    _, low, high = span_of(found.number, found.unit)
    assert (low, high) == (4.0, 12.0)
    assert "shape is not given: box and cone are both possible" in found.working
    assert "share(3 in, 4 in, box, 0 in) = 12 in2" in found.working
    assert "share(3 in, 4 in, cone, 0 in) = 4 in2" in found.working
    assert "from 4 in2 to 12 in2, whatever is not given" in found.working
    assert [each.name for each in found.undecided] == ["shape"]


def test_a_default_is_taken_and_shown(tank_plugins: Plugins) -> None:
    found = calc(tank_plugins, "share", base="3 in", height="4 in", shape="box")
    assert found.inputs[-1].typed is None
    assert found.inputs[-1].understood == "0 in"
    assert not found.undecided


def test_outside_the_valid_range_there_is_a_reason_and_no_number(tank_plugins: Plugins) -> None:
    found = calc(tank_plugins, "weight_pressure", liquid="water", depth="101 m")
    assert found.number.undefined
    assert span_of(found.number, found.unit) == (None, None, None)
    assert found.reasons == ("the depth is outside 0 to 100 m",)
    assert not any("nan" in step or "inf" in step for step in found.working)


def test_a_tolerance_that_reaches_outside_the_range_gives_no_number(tank_plugins: Plugins) -> None:
    assert calc(tank_plugins, "weight_pressure", liquid="water", depth="99.9 m ± 1 m").number.undefined


@pytest.mark.parametrize(
    ("typed", "said", "way_out"),
    [
        ({"liquid": "water"}, "`depth` is missing: a number with its unit (length)", 'write depth="10 m"'),
        ({"depth": "1 m"}, "`liquid` is missing: an entry of the catalogue `liquid`", "write liquid=water"),
        ({"liquid": "watr", "depth": "1 m"}, "`watr` is not an entry", "did you mean `water`?"),
        ({"liquid": "water", "dept": "1 m"}, "has no input `dept`", "did you mean `depth`?"),
        ({"liquid": "water", "depth": "1 psi"}, "`depth`", "units that fit"),
        ({"liquid": "water", "depth": "1 m ± -2 m"}, "negative", "without the minus"),
        ({"liquid": "water", "depth": "deep"}, "`depth`", ""),
    ],
)
def test_what_cannot_be_taken_is_named_with_the_way_out(
    tank_plugins: Plugins, typed: dict[str, str], said: str, way_out: str
) -> None:
    with pytest.raises(CalculateError) as raised:
        calc(tank_plugins, "weight_pressure", **typed)
    assert said in raised.value.message
    assert way_out in (raised.value.help or "")


@settings(deadline=None)  # the first example loads the plugins
@given(st.floats(0.1, 50), st.floats(0.1, 50), st.floats(0, 0.5), st.floats(0, 0.5))
def test_the_span_holds_the_value_of_every_option(
    base: float, height: float, wide: float, tall: float
) -> None:
    """Whatever option turns out right, its result lies in the span said without it."""
    typed = {"base": f"{base:.3f} in ± {wide:.3f} in", "height": f"{height:.3f} in ± {tall:.3f} in"}
    plugins = _tank()
    open_ = calc(plugins, "share", **typed).number.span()
    for shape in ("box", "cone"):
        low, high = calc(plugins, "share", shape=shape, **typed).number.span()
        slack = 1e-3 * (high - low) + 1e-12
        assert open_[0] <= low + slack
        assert high - slack <= open_[1]


def test_every_worked_example_of_every_bundled_calculator_comes_out(bundled: Plugins) -> None:
    """What the documentation of a calculator shows is what `calc` gives."""
    seen = 0
    for name, calculator in bundled.calculators.items():
        if name in ("vapour_density", "liquid_density"):
            continue  # asked live, seconds for the first answer
        for example in calculator.examples:
            found = calculate(calculator, dict(example.inputs), bundled.catalogues)
            dimension = DIMENSIONS[calculator.output]
            wanted = quantity.read(example.result, dimension).value
            within = quantity.read(example.within, quantity.difference_of(dimension)).value
            assert found.number.middle == pytest.approx(wanted, abs=within), (name, example)
            seen += 1
    assert seen >= len(bundled.calculators) - 2


def test_a_blend_has_two_saturation_pressures_until_the_line_is_named(bundled: Plugins) -> None:
    open_ = calc(bundled, "saturation_pressure", refrigerant="R-407C", temperature="75 °F")
    bubble = calc(bundled, "saturation_pressure", refrigerant="R-407C", temperature="75 °F", line="bubble")
    dew = calc(bundled, "saturation_pressure", refrigerant="R-407C", temperature="75 °F", line="dew")
    assert open_.number.span() == (dew.number.low, bubble.number.low)
    assert "line is not given: bubble and dew are both possible" in open_.working


def test_a_result_says_which_option_it_lacks_to_be_one_number(bundled: Plugins) -> None:
    rate = {"added": "24 oz", "full_charge": "132 oz", "since": "140 d"}
    found = calc(bundled, "leak_rate_from_history", **rate)
    assert found.result == "leak_rate_from_history = 18.18 % to 47.4 %, as method is not given"
    assert calc(bundled, "leak_rate_from_history", method="physical", **rate).result.endswith("= 47.4 %")
    pure = calc(bundled, "saturation_pressure", refrigerant="R-22", temperature="75 °F")
    assert pure.result == "saturation_pressure = 146.9 psia", "both lines are one"


def test_a_tolerance_may_be_a_share_of_what_was_read(bundled: Plugins) -> None:
    trace = {"refrigerant": "R-22", "pressure": "314.7 psia", "temperature": "70 °F", "share": "5 %"}
    by_share = calc(bundled, "trace_gas_mass", volume="0.40 ft3 ± 30 %", **trace)
    by_unit = calc(bundled, "trace_gas_mass", volume="0.40 ft3 ± 0.12 ft3", **trace)
    assert by_share.number.tolerance == pytest.approx(by_unit.number.tolerance)
    assert by_share.number.tolerance == pytest.approx(0.3 * by_share.number.low)
    points = calc(bundled, "oxygen_left", displaced="10 % ± 2 %")
    assert points.number.tolerance == pytest.approx(0.20946 * 0.02), "of a share, points"


@pytest.mark.parametrize(
    ("typed", "said"),
    [("58 °F ± 1 %", "`%` is a fraction, not a temperature difference"), ("58 °F ± -1 °F", "is negative")],
)
def test_of_a_temperature_no_share_is_taken(bundled: Plugins, typed: str, said: str) -> None:
    with pytest.raises(CalculateError, match=said):
        calc(bundled, "superheat", refrigerant="R-22", pressure="83.2 psia", temperature=typed)
    with pytest.raises(CalculateError, match="is negative"):
        calc(bundled, "superheat", refrigerant="R-22", pressure="83.2 psia ± -1 %", temperature="58 °F")


REMARKS = [
    ("oxygen_left", {"displaced": "8 %"}, "below 19.5 %: oxygen-deficient"),
    ("oxygen_left", {"displaced": "7 % ± 1 %"}, "it may be below 19.5 %: oxygen-deficient"),
    ("oxygen_left", {"displaced": "2 %"}, ""),
    (
        "trace_gas_share",
        {"refrigerant": "R-22", "refrigerant_pressure": "24.7 psia", "total_pressure": "139.7 psia"},
        "above 5 %: too rich for a trace",
    ),
    (
        "trace_gas_share",
        {"refrigerant": "R-22", "refrigerant_pressure": "3 psia", "total_pressure": "314.7 psia"},
        "",
    ),
    (
        "superheat",
        {"refrigerant": "R-22", "pressure": "83.2 psia", "temperature": "30 °F"},
        "below 0 °F: there",
    ),
]


@pytest.mark.parametrize(("name", "inputs", "said"), REMARKS)
def test_a_result_beyond_a_bound_gets_a_word(
    bundled: Plugins, name: str, inputs: dict[str, str], said: str
) -> None:
    remarks = calc(bundled, name, **inputs).remarks
    assert remarks[0].startswith(said) if said else not remarks


def test_a_hold_that_gained_says_that_nothing_was_lost(bundled: Plugins) -> None:
    warm = {"start_temperature": "70 °F", "end_temperature": "70 °F", "volume": "0.4 ft3", "time": "1 h"}
    gained = calc(bundled, "hold_leak_rate", gas="nitrogen", start="312.7 psia", end="314.7 psia", **warm)
    assert gained.remarks[0].startswith("below 0 g/yr: nothing was lost: gas came in")
    assert not calc(
        bundled, "hold_leak_rate", gas="nitrogen", start="314.7 psia", end="312.7 psia", **warm
    ).remarks


def test_every_remark_has_a_bound_in_the_quantity_of_its_result(bundled: Plugins) -> None:
    said = [(c, remark) for c in bundled.calculators.values() for remark in c.remarks]
    assert len(said) >= 10
    for calculator, remark in said:
        quantity.read(remark.bound, DIMENSIONS[calculator.output])
