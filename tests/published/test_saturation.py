"""Saturation pressures against printed tables, made independently of the ones used here."""

from __future__ import annotations

import pytest
from stillair_refrigerants import saturation

PSI = saturation.PSI
ATMOSPHERE_PSI = 14.696


def celsius(value: float) -> float:
    return value + 273.15


def psig(name: str, fahrenheit: float, line: str) -> float:
    kelvin = saturation.node_temperature(fahrenheit)
    return saturation.pressure(name, kelvin, line) / PSI - ATMOSPHERE_PSI


# ASHRAE Handbook Fundamentals 2017, chapter 29, Table 8 (comparative performance): evaporator at 7.2 °C (45
# °F) and -6.7 °C (20 °F), MPa absolute. The printed Celsius is the rounded Fahrenheit; blends are the mean
# of both lines.
TABLE_8 = {
    45: {
        "R-32": 1.018,
        "R-410A": 1.000,
        "R-22": 0.626,
        "R-290": 0.588,
        "R-1234yf": 0.401,
        "R-12": 0.388,
        "R-134a": 0.377,
        "R-600a": 0.201,
    },
    20: {
        "R-32": 0.653,
        "R-410A": 0.643,
        "R-22": 0.399,
        "R-290": 0.385,
        "R-1234yf": 0.250,
        "R-134a": 0.228,
    },
}


@pytest.mark.parametrize(
    ("fahrenheit", "name", "printed"),
    [(f, name, mpa) for f, column in TABLE_8.items() for name, mpa in column.items()],
)
def test_evaporator_pressures_of_the_handbook(fahrenheit: float, name: str, printed: float) -> None:
    kelvin = saturation.node_temperature(fahrenheit)
    found = [saturation.pressure(name, kelvin, line) / 1e6 for line in saturation.LINES]
    # 0.05 °C of rounding in the printed temperature is 0.17 %, on top of half a printed digit
    assert sum(found) / 2 == pytest.approx(printed, rel=0.0017, abs=0.0005)


# ASHRAE Handbook Fundamentals 2017, chapter 29, Table 5 (pure) and Table 2 (blends: bubble, dew):
# temperature at 101.325 kPa, °C; those of R-32 and R-410A lie below the tables.
BOILING = {
    "R-12": (-29.752, -29.752, 0.03),
    "R-22": (-40.81, -40.81, 0.03),
    "R-134a": (-26.074, -26.074, 0.03),
    "R-290": (-42.11, -42.11, 0.03),
    "R-600a": (-11.75, -11.75, 0.03),
    "R-1234yf": (-29.45, -29.45, 0.06),
    "R-404A": (-46.6, -45.8, 0.5),
    "R-407C": (-43.8, -36.7, 0.3),
    "R-448A": (-45.9, -39.8, 0.7),
    "R-449A": (-46.0, -39.9, 0.7),
    "R-454B": (-50.9, -50.0, 0.6),
}


@pytest.mark.parametrize("name", BOILING)
def test_normal_boiling_points_of_the_handbook(name: str) -> None:
    *printed, within = BOILING[name]
    found = [saturation.temperature(name, 101325.0, line) - 273.15 for line in saturation.LINES]
    assert found == pytest.approx(printed, abs=within)


# A service table of R-410A printed in one column (psig by °F), in installation manuals of residential
# equipment; it follows the dew line and lies up to 0.7 % under the bubble line.
R410A_CHART = {
    32: 100.8,
    40: 118.0,
    60: 169.6,
    70: 200.6,
    80: 235.3,
    90: 274.1,
    100: 317.2,
    110: 365.0,
    120: 417.7,
    130: 475.6,
    140: 539.0,
}


@pytest.mark.parametrize("fahrenheit", R410A_CHART)
def test_a_printed_r410a_chart(fahrenheit: int) -> None:
    assert psig("R-410A", fahrenheit, "dew") == pytest.approx(R410A_CHART[fahrenheit], rel=0.006)
    assert psig("R-410A", fahrenheit, "bubble") == pytest.approx(R410A_CHART[fahrenheit], rel=0.01)


# Saturation table of R-32 by Celsius, bar absolute, in a published appendix of refrigerant tables.
@pytest.mark.parametrize(("degrees", "bar"), [(0, 8.139), (20, 14.759), (30, 19.283), (40, 24.781)])
def test_a_printed_r32_table(degrees: float, bar: float) -> None:
    assert saturation.pressure("R-32", celsius(degrees), "bubble") / 1e5 == pytest.approx(bar, rel=0.0015)


def test_a_printed_r404a_point_has_its_liquid_and_vapour_on_the_right_lines() -> None:
    """A public R-404A chart gives 189.5 (liquid) and 187.5 psig (vapour) at 85 °F."""
    assert psig("R-404A", 85, "bubble") == pytest.approx(189.5, abs=0.1)
    assert psig("R-404A", 85, "dew") == pytest.approx(187.5, abs=0.1)


def test_printed_r454b_ends() -> None:
    """A public R-454B chart gives 8.8 psig (vapour, -40 °F) and 581.4 psig (liquid, 150 °F)."""
    assert psig("R-454B", -40, "dew") == pytest.approx(8.8, abs=1.0)
    assert psig("R-454B", 150, "bubble") == pytest.approx(581.4, abs=1.5)


@pytest.mark.parametrize(
    ("name", "fahrenheit", "misprint"),
    [("R-410A", 70, 225.7), ("R-22", 60, 90.5), ("R-22", 120, 214.0), ("R-410A", 20, 105.7)],
)
def test_misprints_found_in_public_charts_are_not_followed(
    name: str, fahrenheit: float, misprint: float
) -> None:
    for line in saturation.LINES:
        assert abs(psig(name, fahrenheit, line) - misprint) > 10
