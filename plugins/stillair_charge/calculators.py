"""The calculators this plugin gives. Each wraps a plain function on SI floats."""

from __future__ import annotations

from stillair.calculator import Calculator, Entry, Example, Input, Remark, Source, calculator
from stillair_refrigerants import saturation

from . import air, chart, line_set

__all__ = ["CALCULATORS"]

REFRIGERANT = Input(catalogue="refrigerant")
SATURATION = Source("2. Saturation: tables made with CoolProp 8.0.0; see the confidence of the refrigerant")
RA3 = Source("1. California Residential Appendices 2008, RA3.2: superheat from dew, subcooling from bubble")
STANDARD_AIR = Source(
    "1. ASHRAE Handbook Fundamentals: standard air of 0.075 lb/ft3, 0.24 Btu/(lb °F), so 1.08 Btu/h for a "
    "cfm and °F; density goes with the pressure of the air"
)


# ---------------------------------------------------------------------------------------------------------
# The refrigerant


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "pressure": Input(
            "absolute pressure", about="on the suction side, where the line temperature is read"
        ),
        "temperature": Input("temperature", about="of the suction line"),
    },
    output="temperature difference",
    unit="°F",
    formula="superheat = suction line temperature - dew temperature at the suction pressure",
    sources=(RA3, SATURATION),
    valid="between the ends of the table of that refrigerant, a line at -60 to 300 °F",
    rises_with=("temperature",),
    falls_with=("pressure",),
    remarks=(Remark("below", "0 °F", "there is liquid in the line, or a slip"),),
    examples=(
        Example(
            {"refrigerant": "R-22", "pressure": "83.2 psia", "temperature": "58 °F"}, "18 °F", within="0.1 °F"
        ),
    ),
)
def superheat(refrigerant: Entry, pressure: float, temperature: float) -> float:
    """How far above its dew point the suction line is; below 0 there is liquid in it, or a slip."""
    air.refuse_unlike_line(temperature, "suction line")
    return temperature - saturation.temperature(refrigerant.name, pressure, "dew")


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "pressure": Input(
            "absolute pressure", about="on the liquid side, where the line temperature is read"
        ),
        "temperature": Input("temperature", about="of the liquid line"),
    },
    output="temperature difference",
    unit="°F",
    formula="subcooling = bubble temperature at the liquid pressure - liquid line temperature",
    sources=(RA3, SATURATION),
    valid="between the ends of the table of that refrigerant, a line at -60 to 300 °F",
    rises_with=("pressure",),
    falls_with=("temperature",),
    remarks=(Remark("below", "0 °F", "there is vapour in the line, or a slip"),),
    examples=(
        Example(
            {"refrigerant": "R-410A", "pressure": "354.7 psia", "temperature": "95.5 °F"},
            "9.1 °F",
            within="0.1 °F",
        ),
        Example(
            {"refrigerant": "R-407C", "pressure": "254.7 psia", "temperature": "95 °F"},
            "9.3 °F",
            within="0.1 °F",
            source="with dew by mistake it would be 18.1 °F",
        ),
    ),
)
def subcooling(refrigerant: Entry, pressure: float, temperature: float) -> float:
    """How far below its bubble point the liquid line is; below 0 there is vapour in it, or a slip."""
    air.refuse_unlike_line(temperature, "liquid line")
    return saturation.temperature(refrigerant.name, pressure, "bubble") - temperature


@calculator(
    inputs={
        "return_wet_bulb": Input("temperature", about="of the air entering the indoor coil"),
        "outdoor_dry_bulb": Input("temperature", about="of the air entering the outdoor coil, in shade"),
        "by": Input(
            options=("chart", "rule_of_thumb"),
            about="chart: the printed one, between its cells; rule_of_thumb: an estimate, only where the "
            "chart has a target",
        ),
    },
    output="temperature difference",
    unit="°F",
    formula="chart: bilinear between the cells; rule_of_thumb: (3 x wet bulb - 80 - dry bulb) / 2, in °F",
    sources=(
        Source(
            "1. Superheat charging table as printed in two independent installation manuals; finer in "
            "California Residential Appendix RA3.2 (2008), Table RA3.2-2, from memory, at most 1.0 °F apart"
        ),
        Source(
            "2. rule of thumb: common practice; up to 3 °F off the chart to 100 °F outdoors, 6.5 °F above, "
            "the same for targets of 5 to 30 °F"
        ),
    ),
    valid="fixed orifice; outdoors 55 to 115 °F, wet bulb 50 to 76 °F; none where the chart has none",
    rises_with=("return_wet_bulb",),
    falls_with=("outdoor_dry_bulb",),
    examples=(
        Example(
            {"return_wet_bulb": "66 °F", "outdoor_dry_bulb": "90 °F", "by": "chart"},
            "13 °F",
            within="0.01 °F",
        ),
        Example(
            {"return_wet_bulb": "63 °F", "outdoor_dry_bulb": "85 °F", "by": "chart"},
            "9.5 °F",
            within="0.01 °F",
        ),
        Example(
            {"return_wet_bulb": "63 °F", "outdoor_dry_bulb": "85 °F", "by": "rule_of_thumb"},
            "12 °F",
            within="0.01 °F",
        ),
    ),
)
def target_superheat(return_wet_bulb: float, outdoor_dry_bulb: float, by: str) -> float:
    """The superheat a fixed-orifice system is charged to."""
    return chart.target_superheat(return_wet_bulb, outdoor_dry_bulb, by)


@calculator(
    inputs={
        "nameplate": Input("mass"),
        "length": Input("length", about="of the line set, one way"),
        "included": Input("length", about="for which the nameplate charge is, by the maker"),
        "rate": Input("mass per length", about="the unit's own, by its maker, for its liquid line"),
        "extras": Input("mass", default="0 oz", about="such as a drier, by the maker"),
    },
    output="mass",
    unit="oz",
    formula="charge = nameplate + (length - included) x rate + extras",
    sources=(
        Source("1. installation manuals of several makers; the rate and the included length differ by unit"),
    ),
    valid="up to 490 ft; some makers forbid taking out for a shorter line",
    rises_with=("nameplate", "length", "extras"),
    falls_with=("included",),
    examples=(
        Example(
            {
                "nameplate": "7 lb 8 oz",
                "length": "38 ft",
                "included": "15 ft",
                "rate": "0.60 oz/ft",
                "extras": "6 oz",
            },
            "139.8 oz",
            within="0.05 oz",
        ),
        Example(
            {
                "nameplate": "7 lb 8 oz",
                "length": "12 ft",
                "included": "25 ft",
                "rate": "0.60 oz/ft",
                "extras": "0 oz",
            },
            "112.2 oz",
            within="0.05 oz",
        ),
    ),
)
def line_set_charge(nameplate: float, length: float, included: float, rate: float, extras: float) -> float:
    """The charge for a line set of another length than the nameplate is for."""
    return line_set.by_rate(nameplate, length, included, rate, extras)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "length": Input("length"),
        "inside_diameter": Input("length", about="outside less twice the wall"),
        "liquid_temperature": Input("temperature"),
    },
    output="mass",
    unit="oz",
    formula="mass = pi / 4 x inside diameter squared x length x density of the saturated liquid",
    sources=(
        Source("1. geometry"),
        Source("2. Densities of saturated liquid: tables made with CoolProp 8.0.0"),
    ),
    valid="a line full of liquid; a check beside the unit's own rate, which comes first",
    rises_with=("length", "inside_diameter"),
    falls_with=("liquid_temperature",),
    examples=(
        Example(
            {
                "refrigerant": "R-22",
                "length": "1 ft",
                "inside_diameter": "0.311 in",
                "liquid_temperature": "100 °F",
            },
            "0.600 oz",
            within="0.001 oz",
        ),
        Example(
            {
                "refrigerant": "R-410A",
                "length": "1 ft",
                "inside_diameter": "0.311 in",
                "liquid_temperature": "100 °F",
            },
            "0.521 oz",
            within="0.001 oz",
        ),
    ),
)
def line_set_charge_by_geometry(
    refrigerant: Entry, length: float, inside_diameter: float, liquid_temperature: float
) -> float:
    """What a liquid line holds by its own volume."""
    return line_set.by_geometry(refrigerant.name, length, inside_diameter, liquid_temperature)


# ---------------------------------------------------------------------------------------------------------
# The air


@calculator(
    inputs={
        "return_dry_bulb": Input("temperature", about="of the air entering the indoor coil"),
        "return_wet_bulb": Input("temperature", about="of the same air"),
    },
    output="temperature difference",
    unit="°F",
    formula="target split = bilinear between the printed cells",
    sources=(
        Source(
            "1. California Residential Appendices 2008, Table RA3.2-3, from memory, checked against a chart"
        ),
    ),
    valid="return air of 70 to 80 °F, wet bulb 50 to 76 °F; tolerance 3 °F (RA3.2, 2008)",
    rises_with=("return_dry_bulb",),
    falls_with=("return_wet_bulb",),
    examples=(
        Example({"return_dry_bulb": "75 °F", "return_wet_bulb": "63 °F"}, "18.6 °F", within="0.01 °F"),
        Example({"return_dry_bulb": "77 °F", "return_wet_bulb": "63 °F"}, "19.7 °F", within="0.01 °F"),
    ),
)
def target_split(return_dry_bulb: float, return_wet_bulb: float) -> float:
    """How much cooler the supply air should be than the return air if the airflow is right."""
    return chart.target_split(return_dry_bulb, return_wet_bulb)


@calculator(
    inputs={
        "heat": Input("power", about="given to the air, such as by a furnace: its input less its losses"),
        "temperature_rise": Input("temperature difference", about="supply less return"),
        "atmosphere": Input("absolute pressure", about="of the air at that place, 45 to 110 kPa"),
    },
    output="volume flow",
    unit="cfm",
    formula="airflow = heat / (1.08 x temperature rise x atmosphere / 14.696 psia), in Btu/h and °F",
    sources=(STANDARD_AIR,),
    valid="sensible heat only; steady, all of the air measured, warmed by 1 to 200 °F",
    rises_with=("heat",),
    falls_with=("temperature_rise", "atmosphere"),
    examples=(
        Example(
            {"heat": "64000 Btu/h", "temperature_rise": "55 °F", "atmosphere": "14.696 psia"},
            "1077 cfm",
            within="1 cfm",
        ),
        Example(
            {"heat": "64000 Btu/h", "temperature_rise": "55 °F", "atmosphere": "11.78 psia"},
            "1344 cfm",
            within="1 cfm",
        ),
    ),
)
def airflow_sensible(heat: float, temperature_rise: float, atmosphere: float) -> float:
    """The airflow that a known heat warms by what was read."""
    return air.flow(heat, temperature_rise, atmosphere)


@calculator(
    inputs={
        "main": Input("temperature"),
        "other": Input("temperature", about="of the air that is mixed in"),
        "other_share": Input("fraction", about="of the whole"),
    },
    output="temperature",
    unit="°F",
    formula="mixed = main x (1 - share) + other x share",
    sources=(Source("1. conservation of energy, at one specific heat"),),
    valid="dry bulb, at one pressure, -60 to 300 °F",
    rises_with=("main", "other"),
    examples=(
        Example({"main": "76 °F", "other": "56 °F", "other_share": "15 %"}, "73 °F", within="0.01 °F"),
    ),
)
def mixed_air(main: float, other: float, other_share: float) -> float:
    """The temperature of two streams of air that meet, as through an open bypass damper."""
    return air.mixed(main, other, other_share)


@calculator(
    inputs={
        "supply": Input("gauge pressure", about="after the fan, above the air around"),
        "return_side": Input("gauge pressure", about="before the fan, below the air around: with its minus"),
    },
    output="pressure difference",
    unit="in w.c.",
    formula="external static = supply - return side",
    sources=(Source("1. definition: the pressure difference the fan works against outside its cabinet"),),
    valid="a supply at or above, and a return at or below, the air around",
    rises_with=("supply",),
    falls_with=("return_side",),
    examples=(
        Example(
            {"supply": "0.31 in w.c.", "return_side": "-0.29 in w.c."}, "0.60 in w.c.", within="0.001 in w.c."
        ),
    ),
)
def external_static(supply: float, return_side: float) -> float:
    """What the indoor fan works against."""
    return air.static(supply, return_side)


CALCULATORS: tuple[Calculator, ...] = (
    superheat,
    subcooling,
    target_superheat,
    line_set_charge,
    line_set_charge_by_geometry,
    target_split,
    airflow_sensible,
    mixed_air,
    external_static,
)
