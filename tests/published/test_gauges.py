"""Pressures, elevations, glides and densities as a technician meets them, against printed tables."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI
from stillair.calculator import Entry
from stillair_leak import calculators as leak
from stillair_refrigerants import calculators as c
from stillair_refrigerants import catalogue, saturation
from stillair_refrigerants.atmosphere import DENSEST, RADIUS, THINNEST

PSI, INHG, ATM, FT3 = saturation.PSI, 3386.388640341, 101325.0, 0.3048**3
AT_70 = saturation.node_temperature(70)


def refrigerant(name: str) -> Entry:
    return catalogue.refrigerants().entry(name)


# -- the air -------------------------------------------------------------------------------------------------


# U.S. Standard Atmosphere, 1976, Table I: pressure by geometric altitude, hPa (from memory, to its digits).
@pytest.mark.parametrize(
    ("metres", "hectopascal"),
    [
        (-500, 1074.78), (500, 954.61), (1500, 845.60), (2500, 746.92), (4000, 616.60), (6000, 472.18),
        (8000, 356.52), (9000, 308.01),
    ],
)  # fmt: skip
def test_the_standard_atmosphere_over_the_whole_range(metres: float, hectopascal: float) -> None:
    assert c.atmosphere_at_elevation(metres) / 100 == pytest.approx(hectopascal, abs=0.02)


# ISO 2533:1975, Table 2 and ICAO Doc 7488: pressure by geopotential altitude, hPa (from memory).
@pytest.mark.parametrize(
    ("geopotential", "hectopascal"),
    [(0, 1013.250), (1000, 898.746), (2000, 794.952), (3000, 701.085), (5000, 540.199)],
)
def test_the_international_atmosphere(geopotential: float, hectopascal: float) -> None:
    geometric = RADIUS * geopotential / (RADIUS - geopotential)
    assert c.atmosphere_at_elevation(geometric) / 100 == pytest.approx(hectopascal, abs=0.005)


# ASHRAE Handbook Fundamentals 2017, chapter 1, Table 1: standard atmosphere by altitude in ft, inHg to 0.01
# (from memory). Its altitude is geopotential: at 10,000 ft 5 ft apart from the geometric one, worth 0.004
# inHg.
@pytest.mark.parametrize(
    ("feet", "inches"),
    [(-1000, 31.02), (0, 29.92), (1000, 28.86), (3000, 26.82), (5000, 24.90), (8000, 22.22), (10_000, 20.58)],
)
def test_the_atmosphere_of_the_handbook_of_the_trade(feet: float, inches: float) -> None:
    assert c.atmosphere_at_elevation(feet * 0.3048) / INHG == pytest.approx(inches, abs=0.005 + 0.004)


# World Meteorological Organization, records of sea-level pressure (from memory): 870 hPa in a typhoon, 1084.8
# hPa in Mongolia. La Rinconada, the highest town, 5100 m: standard air of 533 hPa. All of it must be taken as
# air, and 0 psig of a refrigerant at rest, some 200 psi, must not.
def test_every_air_that_people_breathe_is_taken_as_an_atmosphere() -> None:
    for pascal in (870e2, 1084.8e2, c.atmosphere_at_elevation(5100), c.atmosphere_at_elevation(-430)):
        assert THINNEST < pascal < DENSEST
    at_rest = saturation.pressure("R-410A", AT_70, "dew")
    assert at_rest > DENSEST
    assert saturation.pressure("R-123", saturation.node_temperature(90), "dew") > DENSEST


# -- gauges --------------------------------------------------------------------------------------------------


# NIST SP 811, B.8: conventional inch of mercury 3.386389 kPa, psi 6.894757 kPa. A compound gauge that reads
# 29.92 inHg of vacuum at 29.92 inHg of air is at a perfect vacuum; 10 inHg of vacuum at sea level is 9.78
# psia.
def test_a_vacuum_on_a_compound_gauge() -> None:
    assert c.absolute_pressure(-10 * 3386.389, ATM) / 6894.757 == pytest.approx(9.784, abs=0.001)
    assert c.gauge_pressure(0.0, ATM) / 3386.389 == pytest.approx(-29.921, abs=0.001)


# ASHRAE Handbook Fundamentals 2017, chapter 30, R-134a saturated, from memory: at 0 °C 0.29280 MPa and at 40
# °C 1.0166 MPa; R-22 at 0 °C 0.49799 and at 40 °C 1.5336 MPa; R-32 at 0 °C 0.8131 MPa.
SATURATED = [
    ("R-134a", 0, 0.29280),
    ("R-134a", 40, 1.0166),
    ("R-22", 0, 0.49799),
    ("R-22", 40, 1.5336),
    ("R-32", 0, 0.81310),
]


@pytest.mark.parametrize(("name", "celsius", "megapascal"), SATURATED)
def test_saturation_of_the_handbook_both_ways(name: str, celsius: float, megapascal: float) -> None:
    """A thousandth of a MPa in a printed pressure is at most 0.03 °C."""
    gas, kelvin = refrigerant(name), celsius + 273.15
    for line in saturation.LINES:
        assert c.saturation_pressure(gas, kelvin, line) / 1e6 == pytest.approx(megapascal, rel=2e-4)
        assert c.saturation_temperature(gas, megapascal * 1e6, line) == pytest.approx(kelvin, abs=0.01)


# ASHRAE Handbook Fundamentals 2017, chapter 29, Table 2: bubble and dew at 1 atm, °C; the glide is what lies
# between, and both are rounded to 0.1.
@pytest.mark.parametrize(
    ("name", "bubble", "dew", "within"),
    [
        ("R-407C", -43.8, -36.7, 0.15),
        ("R-404A", -46.6, -45.8, 0.15),
        ("R-448A", -45.9, -39.8, 0.6),
        ("R-449A", -46.0, -39.9, 0.6),
        ("R-454B", -50.9, -50.0, 0.6),
    ],
)
def test_glides_of_the_handbook(name: str, bubble: float, dew: float, within: float) -> None:
    """The HFO blends by the model of their parts: within 0.6 °C, as their boiling points are."""
    assert c.glide(refrigerant(name), ATM) == pytest.approx(dew - bubble, abs=within)


# California Residential Appendices 2008, RA3.2: subcooling is the saturation temperature at the liquid
# pressure less the temperature of the liquid line. R-22 of the ASHRAE Handbook at 40 °C, 1.5336 MPa; a line
# at 35 °C: 5 °C.
def test_subcooling_from_a_line_of_the_handbook() -> None:
    from stillair_charge import calculators as charge

    assert charge.subcooling(refrigerant("R-22"), 1.5336e6, 308.15) == pytest.approx(5.0, abs=0.01)


# -- densities -----------------------------------------------------------------------------------------------


# ASHRAE Handbook Fundamentals 2017, chapter 30, density of the saturated liquid at 25 °C, kg/m3 (from
# memory), over water at 4 °C, 999.975.
@pytest.mark.parametrize(
    ("name", "density"),
    [
        ("R-22", 1190.7),
        ("R-134a", 1206.7),
        ("R-32", 961.0),
        ("R-290", 492.4),
        ("R-717", 602.8),
        ("R-12", 1310.9),
    ],
)
def test_liquids_of_the_handbook_against_water(name: str, density: float) -> None:
    found = c.liquid_specific_gravity(refrigerant(name), 298.15)
    assert found == pytest.approx(density / 999.975, rel=0.002)


# NIOSH Pocket Guide to Chemical Hazards, relative gas density (air = 1), from memory.
@pytest.mark.parametrize(
    ("name", "relative"), [("R-717", 0.60), ("R-290", 1.55), ("R-600a", 2.06), ("R-744", 1.53)]
)
def test_which_gas_sinks_and_which_rises(name: str, relative: float) -> None:
    found = c.vapour_density_to_air(refrigerant(name), 1.0, AT_70)
    assert found == pytest.approx(relative, rel=0.015)
    assert (found < 1) is (relative < 1)


# ASHRAE Handbook Fundamentals, chapter 30, saturated vapour at 0 °C, m3/kg: R-134a 0.06931, R-22 0.04714
# (from memory). Just below the dew pressure.
@pytest.mark.parametrize(("name", "specific"), [("R-134a", 0.06931), ("R-22", 0.04714)])
def test_vapour_of_the_handbook(name: str, specific: float) -> None:
    pressure = saturation.pressure(name, 273.15, "dew") * (1 - 1e-4)
    assert 1 / c.vapour_density(refrigerant(name), 273.15, pressure) == pytest.approx(specific, rel=0.002)


# IUPAC standard atomic weights, 2021 (H 1.008, N 14.007, He 4.0026) over dry air of the ASHRAE Handbook
# Fundamentals 2017, chapter 1, 28.966 g/mol; 5 % hydrogen by volume.
def test_test_gases_against_air() -> None:
    for name, grams in (
        ("nitrogen", 28.014),
        ("hydrogen-mix", 0.05 * 2.016 + 0.95 * 28.014),
        ("helium", 4.0026),
    ):
        found = c.gas_density_to_air(catalogue.gases().entry(name))
        assert found == pytest.approx(grams / 28.966, abs=0.0005)


# -- a trace -------------------------------------------------------------------------------------------------


# The recipe of a trade text on 40 CFR 82.152: R-22 to about 10 psig, then nitrogen to about 125 psig. As real
# gases by CoolProp 8.0.0 it is 40 % by mass, eight times the 5 % of ASHRAE Standard 15-1994, 10.1.2.
def test_ten_psig_of_trace_is_no_trace() -> None:
    alone, whole = (10 + 14.696) * PSI, (125 + 14.696) * PSI
    r22 = PropsSI("D", "T", AT_70, "P", alone, "R22")
    nitrogen = PropsSI("D", "T", AT_70, "P", whole - alone, "Nitrogen")
    found = leak.trace_gas_share(refrigerant("R-22"), alone, whole)
    assert found == pytest.approx(r22 / (r22 + nitrogen), rel=0.03)
    assert found > 7 * 0.05


# ASHRAE Standard 15-1994, 10.1.2: 5 % by mass at most. Under 300 psig of nitrogen that is 1.7 % by volume of
# R-22, so 5.3 psi of it, far below 10 psig.
def test_the_pressure_of_five_per_cent() -> None:
    whole = (300 + 14.696) * PSI
    moles = (0.05 / 86.468) / (0.05 / 86.468 + 0.95 / 28.0134)
    assert moles * whole / PSI == pytest.approx(5.3, abs=0.05)
    assert leak.trace_gas_share(refrigerant("R-22"), moles * whole, whole) == pytest.approx(0.05, rel=1e-4)


# -- a space -------------------------------------------------------------------------------------------------


# 29 CFR 1910.146(b): hazardous from 10 % of the lower flammable limit. EN 378-1:2016+A1:2020, Annex E: R-32
# 0.307 and R-290 0.038 kg/m3 at 25 °C, so a cubic metre is hazardous from 31 g and from 3.8 g.
@pytest.mark.parametrize(("name", "limit"), [("R-32", 0.307), ("R-290", 0.038), ("R-1234yf", 0.289)])
def test_a_tenth_of_the_limit_in_a_cubic_metre(name: str, limit: float) -> None:
    share = leak.flammable_share(refrigerant(name), 0.1 * limit, 1.0, 298.15, ATM)
    assert 0.1 <= share < 0.1 * (1 + 0.0005 / limit + 0.05 / 2.1)
