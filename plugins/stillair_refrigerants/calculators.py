"""The calculators this plugin gives. Each wraps a plain function on SI floats."""

from __future__ import annotations

from stillair.calculator import Calculator, Entry, Example, Input, OutOfRange, Source, calculator

from . import liquid, saturation, vapour
from .atmosphere import pressure_at, refuse_unlike_air

__all__ = ["CALCULATORS"]

REFRIGERANT = Input(catalogue="refrigerant")
LINE = Input(
    options=saturation.LINES,
    about="bubble: liquid begins to boil, for subcooling; dew: vapour begins to condense, for superheat",
)
TABLES = Source(
    "Tables made with CoolProp 8.0.0 (Bell et al., Ind. Eng. Chem. Res. 53 (2014) 2498): the equation of "
    "state of a pure refrigerant, the mixture model of a blend's parts by mass; see its confidence"
)
HANDBOOK = Source("Compared with ASHRAE Handbook Fundamentals 2017, chapter 29, Table 8")
AIR = "an atmosphere of 45 to 110 kPa absolute"
#: Pa. Above what a full nitrogen cylinder holds (2640 psig, from memory) nothing in this work is read.
HIGHEST = 20e6
FROM_TABLE = "between the ends of the table of that refrigerant: -60 to 150 °F, R-744 to 87 °F"


@calculator(
    inputs={"refrigerant": REFRIGERANT, "temperature": Input("temperature"), "line": LINE},
    output="absolute pressure",
    unit="psia",
    formula="saturation pressure = p_sat(refrigerant, temperature, line); "
    "between table nodes ln p is linear in 1 / absolute temperature",
    sources=(TABLES, HANDBOOK),
    valid=FROM_TABLE,
    rises_with=("temperature",),
    examples=(
        Example(
            {"refrigerant": "R-22", "temperature": "7.2 °C", "line": "bubble"},
            "0.626 MPaa",
            within="0.001 MPa",
            source="ASHRAE Handbook Fundamentals 2017, chapter 29, Table 8",
        ),
        Example(
            {"refrigerant": "R-410A", "temperature": "75 °F", "line": "bubble"},
            "233.4 psia",
            within="0.1 psi",
        ),
        Example(
            {"refrigerant": "R-407C", "temperature": "75 °F", "line": "dew"}, "143.2 psia", within="0.1 psi"
        ),
    ),
)
def saturation_pressure(refrigerant: Entry, temperature: float, line: str) -> float:
    """The absolute pressure at which the refrigerant boils (bubble) or condenses (dew)."""
    return saturation.pressure(refrigerant.name, temperature, line)


@calculator(
    inputs={"refrigerant": REFRIGERANT, "pressure": Input("absolute pressure"), "line": LINE},
    output="temperature",
    unit="°F",
    formula="saturation temperature = T_sat(refrigerant, pressure, line), inverse of the saturation pressure",
    sources=(TABLES, HANDBOOK),
    valid=FROM_TABLE,
    rises_with=("pressure",),
    examples=(
        Example(
            {"refrigerant": "R-410A", "pressure": "233.4 psia", "line": "bubble"}, "75 °F", within="0.05 °F"
        ),
        Example(
            {"refrigerant": "R-454B", "pressure": "122.2 psia", "line": "dew"}, "40 °F", within="0.05 °F"
        ),
    ),
)
def saturation_temperature(refrigerant: Entry, pressure: float, line: str) -> float:
    """The temperature at which the refrigerant boils (bubble) or condenses (dew)."""
    return saturation.temperature(refrigerant.name, pressure, line)


@calculator(
    inputs={"refrigerant": REFRIGERANT, "pressure": Input("absolute pressure")},
    output="temperature difference",
    unit="°F",
    formula="glide = dew temperature - bubble temperature, at the pressure",
    sources=(TABLES,),
    valid="where both lines of that refrigerant are tabulated",
    examples=(
        Example({"refrigerant": "R-407C", "pressure": "100 psia"}, "10.75 °F", within="0.05 °F"),
        Example({"refrigerant": "R-22", "pressure": "100 psia"}, "0 °F", within="0.001 °F"),
    ),
)
def glide(refrigerant: Entry, pressure: float) -> float:
    """How far bubble and dew temperature lie apart; 0 for a pure refrigerant."""
    return saturation.glide(refrigerant.name, pressure)


@calculator(
    inputs={"gauge": Input("gauge pressure"), "atmosphere": Input("absolute pressure")},
    output="absolute pressure",
    unit="psia",
    formula="absolute pressure = gauge pressure + pressure of the atmosphere",
    sources=(Source("definition of gauge pressure"),),
    valid=f"where the result is above a perfect vacuum, up to 20 MPa absolute; {AIR}",
    rises_with=("gauge", "atmosphere"),
    examples=(
        Example({"gauge": "118.8 psig", "atmosphere": "14.696 psia"}, "133.496 psia", within="0.001 psi"),
        Example({"gauge": "118.8 psig", "atmosphere": "12.23 psia"}, "131.03 psia", within="0.001 psi"),
    ),
)
def absolute_pressure(gauge: float, atmosphere: float) -> float:
    """A gauge reading as absolute pressure."""
    refuse_unlike_air(atmosphere)
    if gauge + atmosphere <= 0:
        raise OutOfRange("the gauge pressure is below a perfect vacuum at this atmosphere")
    _refuse_too_high(gauge + atmosphere)
    return gauge + atmosphere


@calculator(
    inputs={"absolute": Input("absolute pressure"), "atmosphere": Input("absolute pressure")},
    output="gauge pressure",
    unit="psig",
    formula="gauge pressure = absolute pressure - pressure of the atmosphere",
    sources=(Source("definition of gauge pressure"),),
    valid=f"from a perfect vacuum to 20 MPa absolute; {AIR}",
    rises_with=("absolute",),
    falls_with=("atmosphere",),
    examples=(
        Example({"absolute": "133.496 psia", "atmosphere": "14.696 psia"}, "118.8 psig", within="0.001 psi"),
    ),
)
def gauge_pressure(absolute: float, atmosphere: float) -> float:
    """An absolute pressure as a gauge at that place shows it."""
    refuse_unlike_air(atmosphere)
    if absolute < 0:
        raise OutOfRange("the pressure is below a perfect vacuum")
    _refuse_too_high(absolute)
    return absolute - atmosphere


def _refuse_too_high(absolute: float) -> None:
    if absolute > HIGHEST:
        raise OutOfRange("the pressure is above 20 MPa absolute (2900 psia): check number and unit")


@calculator(
    inputs={"elevation": Input("length", about="above sea level")},
    output="absolute pressure",
    unit="psia",
    formula="pressure = 101.325 kPa x (1 - 0.0065 K/m x H / 288.15 K) ^ 5.25588, "
    "with H = 6356766 m x elevation / (6356766 m + elevation)",
    sources=(
        Source("U.S. Standard Atmosphere, 1976 (NOAA-S/T 76-1562), equations 18 and 33a, Tables 1, 2 and 4"),
    ),
    valid="from -500 to 9000 m; weather moves the true pressure by up to 3 % (judgement)",
    falls_with=("elevation",),
    examples=(
        Example({"elevation": "0 ft"}, "14.696 psia", within="0.001 psi"),
        Example(
            {"elevation": "1000 m"},
            "898.76 hPa",
            within="0.01 hPa",
            source="U.S. Standard Atmosphere, 1976, Table I",
        ),
    ),
)
def atmosphere_at_elevation(elevation: float) -> float:
    """The usual pressure of the atmosphere at an elevation."""
    return pressure_at(elevation)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "share": Input(
            "fraction",
            about="the refrigerant's share by mass of what is in the circuit now, the rest nitrogen",
        ),
        "temperature": Input("temperature"),
    },
    output="number",
    unit="1",
    formula="ratio = mixed molar mass / 28.966 g/mol / (1 + y^2 B p / (R T)), with y the "
    "refrigerant's share by moles, B its second virial coefficient, p = 1 atm; y = 1 and B = 0 is the "
    "ideal-gas ratio, 1 to 4 % lower",
    sources=(
        TABLES,
        Source(
            "Molar masses: ASHRAE Handbook Fundamentals 2017, chapter 29, Table 5, and chapter 1 for dry air"
        ),
        Source(
            "Virial equation cut after the second coefficient: within 0.2 % of CoolProp at 1 atm (computed)"
        ),
    ),
    valid="-60 to 150 °F, where the refrigerant does not condense at 1 atm",
    falls_with=("temperature",),
    examples=(
        Example({"refrigerant": "R-22", "share": "100 %", "temperature": "70 °F"}, "3.03", within="0.01"),
        Example({"refrigerant": "R-410A", "share": "5 %", "temperature": "70 °F"}, "0.996", within="0.005"),
        Example({"refrigerant": "R-717", "share": "100 %", "temperature": "70 °F"}, "0.59", within="0.01"),
    ),
)
def vapour_density_to_air(refrigerant: Entry, share: float, temperature: float) -> float:
    """How heavy the gas now in the circuit is against air: above 1 it sinks, below 1 it rises."""
    return vapour.density_to_air(refrigerant.name, share, temperature)


@calculator(
    inputs={"gas": Input(catalogue="test_gas")},
    output="number",
    unit="1",
    formula="ratio = molar mass / 28.966 g/mol (ideal gas)",
    sources=(
        Source("IUPAC standard atomic weights, 2021"),
        Source("Dry air: ASHRAE Handbook Fundamentals 2017, chapter 1"),
    ),
    valid="any temperature met in the work",
    examples=(
        Example({"gas": "hydrogen-mix"}, "0.922", within="0.001"),
        Example({"gas": "nitrogen"}, "0.967", within="0.001"),
    ),
)
def gas_density_to_air(gas: Entry) -> float:
    """How heavy a test gas without refrigerant is against air: near 1 it pools nowhere, below 1 it rises."""
    mass = gas["molar_mass"]
    assert isinstance(mass, float)
    return vapour.gas_to_air(mass)


@calculator(
    inputs={"refrigerant": REFRIGERANT, "temperature": Input("temperature")},
    output="number",
    unit="1",
    formula="specific gravity = density of the liquid at its bubble point / 999.975 kg/m3 (water at 4 °C)",
    sources=(TABLES, Source("Water: IAPWS-95, Wagner and Pruss, J. Phys. Chem. Ref. Data 31 (2002) 387")),
    valid=FROM_TABLE + "; within 0.2 % of the model, R-744 within 0.7 % (computed)",
    falls_with=("temperature",),
    examples=(
        Example({"refrigerant": "R-22", "temperature": "77 °F"}, "1.19", within="0.01"),
        Example({"refrigerant": "R-290", "temperature": "77 °F"}, "0.49", within="0.01"),
    ),
)
def liquid_specific_gravity(refrigerant: Entry, temperature: float) -> float:
    """How heavy the liquid is against water."""
    return liquid.specific_gravity(refrigerant.name, temperature)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "temperature": Input("temperature"),
        "pressure": Input("absolute pressure"),
    },
    output="density",
    unit="lb/ft3",
    formula="density = rho(refrigerant, temperature, pressure), vapour imposed; a first call takes 2 to 3 s",
    sources=(Source("CoolProp 8.0.0 (Bell et al., Ind. Eng. Chem. Res. 53 (2014) 2498), asked live"),),
    valid="from -60 to 300 °F and up to the dew pressure, above the table up to the dew pressure at its end",
    rises_with=("pressure",),
    falls_with=("temperature",),
    examples=(
        Example(
            {"refrigerant": "R-22", "temperature": "70 °F", "pressure": "1 atm"},
            "3.637 kg/m3",
            within="0.005 kg/m3",
        ),
    ),
)
def vapour_density(refrigerant: Entry, temperature: float, pressure: float) -> float:
    """The density of superheated vapour."""
    return vapour.density(refrigerant.name, temperature, pressure)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "temperature": Input("temperature"),
        "pressure": Input("absolute pressure"),
    },
    output="density",
    unit="lb/ft3",
    formula="density = rho(refrigerant, temperature, pressure), liquid imposed; a first call takes 2 to 3 s",
    sources=(Source("CoolProp 8.0.0 (Bell et al., Ind. Eng. Chem. Res. 53 (2014) 2498), asked live"),),
    valid=FROM_TABLE + ", from the bubble pressure to 1450 psia",
    rises_with=("pressure",),
    falls_with=("temperature",),
    examples=(
        Example(
            {"refrigerant": "R-410A", "temperature": "75 °F", "pressure": "400 psia"},
            "1073 kg/m3",
            within="5 kg/m3",
        ),
    ),
)
def liquid_density(refrigerant: Entry, temperature: float, pressure: float) -> float:
    """The density of subcooled liquid."""
    return liquid.density(refrigerant.name, temperature, pressure)


CALCULATORS: tuple[Calculator, ...] = (
    saturation_pressure,
    saturation_temperature,
    glide,
    absolute_pressure,
    gauge_pressure,
    atmosphere_at_elevation,
    vapour_density_to_air,
    gas_density_to_air,
    liquid_specific_gravity,
    vapour_density,
    liquid_density,
)
