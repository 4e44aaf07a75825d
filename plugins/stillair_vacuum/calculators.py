"""The calculators this plugin gives. Each wraps a plain function on SI floats."""

from __future__ import annotations

from stillair.calculator import Calculator, Example, Input, Readings, Remark, Source, calculator

from . import shape, water

__all__ = ["CALCULATORS"]

WATCH = Input(series="absolute pressure", about="of the circuit, pump valved off")
STRAIGHT = "0 min: 310 micron; 2 min: 530; 4 min: 745; 6 min: 965; 8 min: 1180; 10 min: 1400"
LEVELLING = "0 min: 310 micron; 2 min: 620; 4 min: 820; 6 min: 930; 8 min: 985; 10 min: 1010"

WATER = (
    Source(
        "1. Liquid: Wagner and Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783, equation 1 (IAPWS SR1-86(1992))"
    ),
    Source("2. Ice: IAPWS R14-08(2011), equation 6"),
)
BALANCE = (
    "liquid, from 273.16 K (32.02 °F, 611.657 Pa, 4588 micron): p = 22.064 MPa x exp((-7.85951783 t "
    "+ 1.84408259 t^1.5 - 11.7866497 t^3 + 22.6807411 t^3.5 - 15.9618719 t^4 + 1.80122502 t^7.5) "
    "/ (1 - t)), t = 1 - T / 647.096 K; ice, below it: p = 611.657 Pa x exp((-21.2144006 s^0.00333333 "
    "+ 27.3203819 s^1.20666667 - 6.1059813 s^1.70333333) / s), s = T / 273.16 K"
)
PURE = "pure water at -120 to 392 °F; below 4588 micron there is only ice; oil holds water to lower pressures"


# ---------------------------------------------------------------------------------------------------------
# Water


@calculator(
    inputs={"pressure": Input("absolute pressure")},
    output="temperature",
    unit="°F",
    formula=f"the temperature T that gives this pressure p: {BALANCE}",
    sources=WATER,
    valid=PURE,
    rises_with=("pressure",),
    examples=(
        Example({"pressure": "6296 micron"}, "40 °F", within="0.01 °F"),
        Example({"pressure": "500 micron"}, "-12.1 °F", within="0.05 °F"),
    ),
)
def water_boils_at(pressure: float) -> float:
    """The temperature above which water, or below 4588 micron its ice, goes away as vapour."""
    return water.boils_at(pressure)


@calculator(
    inputs={"temperature": Input("temperature", about="of the coldest place that may be wet")},
    output="absolute pressure",
    unit="micron",
    formula=BALANCE,
    sources=WATER,
    valid=PURE,
    rises_with=("temperature",),
    examples=(
        Example({"temperature": "70 °F"}, "18791 micron", within="1 micron"),
        Example({"temperature": "20 °F"}, "2611 micron", within="1 micron"),
    ),
)
def water_boiling_pressure(temperature: float) -> float:
    """The pressure below which water, or below 32.02 °F its ice, goes away as vapour."""
    return water.pressure(temperature)


# ---------------------------------------------------------------------------------------------------------
# The watch of a vacuum


@calculator(
    inputs={"readings": WATCH},
    output="number",
    unit="1",
    formula="ratio = (last reading - reading B) / (time between) / ((reading A - first reading) / (time "
    "between)); A is the first reading at or after a fifth of the watch, B the last at or before four fifths",
    sources=(
        Source(
            "1. definition; deep-vacuum graphs of service manuals: a leak climbs straight, a wet circuit "
            "levels off"
        ),
        Source(
            "2. judgement, no source: from 0.8 straight, a leak; up to 0.3 levelling, moisture or gas out of "
            "oil; between, watch longer"
        ),
    ),
    valid="4 readings or more over 5 minutes or more, at one temperature, of a vacuum that rose in the first "
    "fifth; it proves no leak absent",
    examples=(
        Example({"readings": STRAIGHT}, "1.00", within="0.001"),
        Example({"readings": LEVELLING}, "0.081", within="0.001"),
    ),
)
def vacuum_shape(readings: Readings) -> float:
    """How fast a vacuum rises at the end of a watch against the start: straight 1, levelled off 0."""
    return shape.ratio(readings)


@calculator(
    inputs={"readings": WATCH},
    output="pressure rate",
    unit="micron/min",
    formula="rise = sum of (t - mean t) (p - mean p) / sum of (t - mean t)^2",
    sources=(Source("1. straight line by least squares: JCGM 100:2008, H.3"),),
    valid="two readings or more; a levelling rise has no one rate",
    remarks=(Remark("below", "0 micron/min", "the vacuum fell: the pump was still on it, or it cooled"),),
    examples=(Example({"readings": STRAIGHT}, "108.9 micron/min", within="0.05 micron/min"),),
)
def vacuum_rise(readings: Readings) -> float:
    """How fast a vacuum rises, as the straight line that fits its readings best."""
    return shape.rise(readings)


@calculator(
    inputs={
        "rise": Input("pressure rate"),
        "volume": Input("volume", about="of all that is under vacuum, hoses too"),
    },
    output="throughput",
    unit="atm·cc/s",
    formula="throughput = volume x rise",
    sources=(Source("1. 40 CFR 1065.644, vacuum-decay leak rate, at one temperature"),),
    valid="a steady rise at one temperature, with nothing wet in the circuit. One atmosphere drives into a "
    "vacuum what 1.414 atmospheres absolute drive out: pressure_factor from there says how much more at "
    "another pressure; viscous flow, good to a factor of 3 (judgement)",
    rises_with=("rise", "volume"),
    remarks=(Remark("below", "0 atm·cc/s", "the vacuum fell, so this is no leak"),),
    examples=(
        Example({"rise": "110 micron/min", "volume": "11.3 L"}, "0.0273 atm·cc/s", within="0.0001 atm·cc/s"),
        Example({"rise": "50 micron/min", "volume": "10 L"}, "1.11e-2 mbar·L/s", within="0.005e-2 mbar·L/s"),
    ),
)
def vacuum_leak_throughput(rise: float, volume: float) -> float:
    """What flows into a vacuum that rises so fast."""
    return shape.throughput(rise, volume)


CALCULATORS: tuple[Calculator, ...] = (
    water_boils_at,
    water_boiling_pressure,
    vacuum_shape,
    vacuum_rise,
    vacuum_leak_throughput,
)
