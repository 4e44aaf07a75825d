"""Molar masses, GWP, flammability, densities and the atmosphere against printed values."""

from __future__ import annotations

import pytest
from stillair.calculator import Entry
from stillair_refrigerants import atmosphere, catalogue, liquid, saturation, vapour

ENTRIES = {entry.name: entry for entry in catalogue.refrigerants().entries}
ROOM = saturation.node_temperature(70)


def number(entry: Entry, attribute: str) -> float:
    value = entry[attribute]
    assert isinstance(value, float)
    return value


# ASHRAE Handbook Fundamentals 2017, chapter 29, Table 2, g/mol; the last three computed by hand from the
# composition.
MOLAR_MASSES = {
    "R-404A": 97.604,
    "R-407C": 86.204,
    "R-410A": 72.585,
    "R-448A": 86.28,
    "R-449A": 87.21,
    "R-454B": 62.61,
    "R-452B": 63.53,
    "R-455A": 87.45,
    "R-454C": 90.77,
}


@pytest.mark.parametrize("name", MOLAR_MASSES)
def test_molar_masses_of_blends(name: str) -> None:
    assert number(ENTRIES[name], "molar_mass") == pytest.approx(MOLAR_MASSES[name], abs=0.012)


# ASHRAE Handbook Fundamentals 2017, chapter 29, Table 4 (three digits): Fourth and Fifth Assessment Report.
# R-448A is left out of the second: its printed 1360 does not follow from its own parts (1273).
HANDBOOK_GWP = {
    "R-404A": (3920, 3940),
    "R-407A": (2110, 1920),
    "R-407C": (1770, 1620),
    "R-410A": (2090, 1920),
    "R-448A": (1390, None),
    "R-449A": (1400, 1280),
    "R-454B": (466, 467),
    "R-507A": (3990, 3990),
    "R-513A": (631, 573),
}


@pytest.mark.parametrize("name", HANDBOOK_GWP)
def test_gwp_of_blends_by_mass_fraction(name: str) -> None:
    for attribute, printed in zip(("gwp_ar4", "gwp_ar5"), HANDBOOK_GWP[name], strict=True):
        if printed is not None:
            assert number(ENTRIES[name], attribute) == pytest.approx(printed, rel=0.0031)


# 40 CFR part 84: HFCs as in the Fourth Assessment Report, HFOs counted as 1; computed by hand from the
# composition.
@pytest.mark.parametrize(
    ("name", "gwp"),
    [("R-454B", 465.39), ("R-452B", 697.51), ("R-448A", 1386.07), ("R-410A", 2087.5), ("R-32", 675.0)],
)
def test_gwp_as_counted_in_the_united_states(name: str, gwp: float) -> None:
    assert number(ENTRIES[name], "gwp_us") == pytest.approx(gwp, abs=0.01)


# Regulation (EU) 2024/573 as explained by the German Environment Agency, F-gas questions and answers 2.1:
# 1.4 kg of R-455A hold 1.06 kg of HFO and 0.2 t of CO2 equivalent of R-32.
def test_the_share_of_hfo_in_a_published_example() -> None:
    assert 1.4 * number(ENTRIES["R-455A"], "hfo_share") == pytest.approx(1.06, abs=0.005)
    r32 = next(part.share for part in catalogue.parts("R-455A") if part.name == "R-32")
    assert 1.4 * r32 * number(ENTRIES["R-32"], "gwp_ar4") / 1000 == pytest.approx(0.2, abs=0.05)


# EN 378-1:2016+A1:2020, Annex E: kg/m3; practical limit is 0.2 times it.
@pytest.mark.parametrize(
    ("name", "limit", "practical"),
    [
        ("R-32", 0.307, 0.061),
        ("R-290", 0.038, 0.008),
        ("R-1234yf", 0.289, 0.058),
        ("R-1234ze(E)", 0.303, 0.061),
    ],
)
def test_lower_flammability_limits(name: str, limit: float, practical: float) -> None:
    assert number(ENTRIES[name], "lfl") == limit
    assert 0.2 * number(ENTRIES[name], "lfl") == pytest.approx(practical, abs=0.0005)


def test_where_published_limits_differ_the_lowest_is_taken() -> None:
    """R-454B: UL 60335-2-40 0.296, EN 378-1:2016+A1:2020 0.297, 0.353 kg/m3 by another composition."""
    assert number(ENTRIES["R-454B"], "lfl") == min(0.296, 0.297, 0.353)


# 40 CFR 82.152 names examples of each class.
@pytest.mark.parametrize(
    ("name", "pressure_class"),
    [
        ("R-123", "low"),
        ("R-12", "medium"),
        ("R-134a", "medium"),
        ("R-22", "high"),
        ("R-407A", "high"),
        ("R-407C", "high"),
        ("R-410A", "high"),
    ],
)
def test_pressure_classes_named_in_the_rule(name: str, pressure_class: str) -> None:
    assert ENTRIES[name]["pressure_class"] == pressure_class


# NIOSH Pocket Guide to Chemical Hazards, relative gas density (air = 1), from memory.
@pytest.mark.parametrize(
    ("name", "relative"),
    [("R-717", 0.60), ("R-290", 1.55), ("R-600a", 2.06), ("R-744", 1.53), ("R-12", 4.2)],
)
def test_vapour_against_air(name: str, relative: float) -> None:
    assert vapour.density_to_air(name, 1.0, ROOM) == pytest.approx(relative, rel=0.025)


# 49 CFR 173.304a: a cylinder of R-22 may hold 105 % of its water capacity by weight, R-12 119 %; the liquid
# at 130 °F (the rule's 131 °F) must still fit in it.
@pytest.mark.parametrize(("name", "filling"), [("R-22", 1.05), ("R-12", 1.19)])
def test_a_cylinder_filled_to_the_legal_density_is_not_yet_full_of_liquid(name: str, filling: float) -> None:
    water_at_60_fahrenheit = 999.0 / liquid.WATER
    gravity = liquid.specific_gravity(name, saturation.node_temperature(130)) / water_at_60_fahrenheit
    assert filling < gravity


# U.S. Standard Atmosphere, 1976, Table I: pressure by geometric altitude, hPa.
@pytest.mark.parametrize(
    ("metres", "hectopascal"),
    [(0, 1013.25), (1000, 898.76), (2000, 795.01), (3000, 701.21), (5000, 540.48)],
)
def test_the_standard_atmosphere(metres: float, hectopascal: float) -> None:
    assert atmosphere.pressure_at(metres) / 100 == pytest.approx(hectopascal, abs=0.01)
