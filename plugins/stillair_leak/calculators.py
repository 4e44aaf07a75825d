"""The calculators this plugin gives. Each wraps a plain function on SI floats."""

from __future__ import annotations

from stillair.calculator import Calculator, Entry, Example, Input, OutOfRange, Remark, Source, calculator

from . import charge, detector, flammable, history, hold, hole, pool, rate, trace

__all__ = ["CALCULATORS"]

REFRIGERANT = Input(catalogue="refrigerant")
GAS = Input(catalogue="test_gas")
LEAK = Input("mass flow")
ATMOSPHERE = Input("absolute pressure", about="of the air at that place, 45 to 110 kPa")
TEST_PRESSURE = Input("absolute pressure", about="in the circuit while it is tested")
LEAK_PRESSURE = Input("absolute pressure", about="in the circuit when the leak has the rate spoken of")

IDEAL_GAS = Source("1. ideal gas, with R = 8.314462618 J/(mol K) (CODATA 2018)")
MOLAR_MASSES = Source("2. Molar masses: ASHRAE Handbook Fundamentals 2017, chapter 29, Table 5")
LEAK_RATE = Source("1. 40 CFR 82.152, leak rate: annualizing method and rolling average method")
VISCOUS = Source(
    "1. Viscous flow through a leak goes with the difference of the squares of the absolute pressures, over "
    "the viscosity: NASA/JPL Leakage Testing Handbook (Marr, NASA CR-952, 1968), section on laminar flow, "
    "from memory"
)
VISCOSITIES = Source(
    "2. Viscosities at 20 °C and 1 atm: CoolProp 8.0.0; blends by Herning and Zipperer, Gas- und Wasserfach "
    "79 (1936) 49, within 3 % of the four blends CoolProp knows"
)
ORDER = (
    "an order of magnitude, good to a factor of 3 (judgement); below about 1e-4 mbar·L/s flow turns "
    "molecular, and then the factor goes with the pressure difference, not its squares"
)
LIMITS = Source(
    "2. Flammable limits: the catalogue of refrigerants, each with its source; the lower of the value by "
    "mass (at 25 °C and 1 atm) and by volume. Of R-454B they conflict: 0.296 (UL 60335-2-40) and 0.297 kg/m3 "
    "(EN 378-1) are 11.6 % by volume, 11.3 % is printed, and 11.3 % counts here"
)
EVENLY = "spread evenly at -60 to 150 °F; near the floor or the leak it may be many times the mean"


# ---------------------------------------------------------------------------------------------------------
# From history


@calculator(
    inputs={
        "added": Input("mass", about="to return to full charge; rolling: all of the previous 365 days"),
        "full_charge": Input("mass"),
        "since": Input("duration", about="since the addition before"),
        "method": Input(
            options=history.METHODS,
            about="annualising: at most 365 days count; rolling: a sum that is not scaled; "
            "physical: every day counts",
        ),
    },
    output="fraction",
    unit="%",
    formula="annualising: added / full charge x 365 d / the shorter of since and 365 d; "
    "rolling: added over the previous 365 d / full charge, since does not enter; "
    "physical: added / full charge x 365 d / since",
    sources=(LEAK_RATE, Source("2. physical: definition of a mean rate")),
    valid="up to one full charge, from a day on, and where the circuit was full after the addition before",
    rises_with=("added",),
    falls_with=("full_charge", "since"),
    examples=(
        Example(
            {"added": "24 oz", "full_charge": "132 oz", "since": "140 d", "method": "annualising"},
            "47.4 %",
            within="0.05 %",
        ),
        Example(
            {"added": "3 oz", "full_charge": "132 oz", "since": "400 d", "method": "annualising"},
            "2.27 %",
            within="0.005 %",
        ),
        Example(
            {"added": "9 lb", "full_charge": "90 lb", "since": "60 d", "method": "rolling"},
            "10 %",
            within="0.001 %",
        ),
        Example(
            {"added": "3 oz", "full_charge": "132 oz", "since": "400 d", "method": "physical"},
            "2.07 %",
            within="0.005 %",
        ),
    ),
)
def leak_rate_from_history(added: float, full_charge: float, since: float, method: str) -> float:
    """The share of its full charge that a circuit loses in a year, as its additions tell."""
    return history.share_a_year(added, full_charge, since, method)


@calculator(
    inputs={"added": Input("mass"), "since": Input("duration", about="since the addition before")},
    output="mass flow",
    unit="g/yr",
    formula="loss = added / since, a year of 365 d",
    sources=(Source("1. definition of a mean rate; 40 CFR 82.152 counts 365 days to a year"),),
    valid="from a day on, where the circuit was as full before as after; hoses alone lose 0.5 to 1 oz each "
    "time (common practice)",
    rises_with=("added",),
    falls_with=("since",),
    examples=(
        Example({"added": "24 oz", "since": "140 d"}, "62.6 oz/yr", within="0.05 oz/yr"),
        Example({"added": "3 oz", "since": "400 d"}, "77.6 g/yr", within="0.05 g/yr"),
    ),
)
def mass_lost_a_year(added: float, since: float) -> float:
    """How much refrigerant is lost in a year, without knowing the full charge."""
    return history.lost_a_year(added, since)


# ---------------------------------------------------------------------------------------------------------
# What a detector gets


@calculator(
    inputs={
        "leak": Input("mass flow", about="of the gas that is in the circuit, all of it"),
        "sensitivity": Input("mass flow", about="the smallest leak the detector is rated to find"),
        "tracer_share": Input("fraction", about="by mass, of what it answers to; 100 % in pure refrigerant"),
        "pressure_factor": Input("number", about="1 where the pressure now is that of the rate"),
    },
    output="number",
    unit="1",
    formula="ratio = leak x tracer share x pressure factor / sensitivity",
    sources=(
        Source("1. conservation of mass: a leak carries the tracer in the share that is inside"),
        Source(
            "2. judgement, no source: from 3 it can be searched for directly, from 1 to 3 in the best "
            "conditions only, below 1 silence proves nothing"
        ),
    ),
    valid="for one leak; a total is split between the leaks suspected",
    rises_with=("leak", "tracer_share", "pressure_factor"),
    falls_with=("sensitivity",),
    remarks=(Remark("below", "1", "silence of this detector proves nothing"),),
    examples=(
        Example(
            {
                "leak": "1774 g/yr",
                "sensitivity": "5 g/yr",
                "tracer_share": "100 %",
                "pressure_factor": "1",
            },
            "355",
            within="0.5",
        ),
        Example(
            {
                "leak": "11.34 g/yr",
                "sensitivity": "14 g/yr",
                "tracer_share": "100 %",
                "pressure_factor": "1",
            },
            "0.81",
            within="0.005",
        ),
        Example(
            {"leak": "40 g/yr", "sensitivity": "5 g/yr", "tracer_share": "5 %", "pressure_factor": "1"},
            "0.4",
            within="0.001",
        ),
    ),
)
def detector_adequacy(leak: float, sensitivity: float, tracer_share: float, pressure_factor: float) -> float:
    """How many times over a detector could find the leak; under 1 its silence proves nothing."""
    return detector.adequacy(leak, sensitivity, tracer_share, pressure_factor)


@calculator(
    inputs={"test_pressure": TEST_PRESSURE, "leak_pressure": LEAK_PRESSURE, "atmosphere": ATMOSPHERE},
    output="number",
    unit="1",
    formula="factor = (test pressure ^ 2 - atmosphere ^ 2) / (leak pressure ^ 2 - atmosphere ^ 2), absolute",
    sources=(VISCOUS,),
    valid="both pressures above the atmosphere, up to 20 MPa; " + ORDER,
    rises_with=("test_pressure",),
    falls_with=("leak_pressure",),
    examples=(
        Example(
            {"test_pressure": "20 atm", "leak_pressure": "10 atm", "atmosphere": "1 atm"},
            "4.03",
            within="0.005",
        ),
        Example(
            {"test_pressure": "314.7 psia", "leak_pressure": "231.7 psia", "atmosphere": "14.7 psia"},
            "1.848",
            within="0.001",
        ),
    ),
)
def pressure_factor(test_pressure: float, leak_pressure: float, atmosphere: float) -> float:
    """How much more a hole passes at the test pressure than at the pressure its leak rate was found at."""
    return hole.pressure_factor(test_pressure, leak_pressure, atmosphere)


# ---------------------------------------------------------------------------------------------------------
# Trace gas


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "pressure": Input("absolute pressure", about="of trace and nitrogen together"),
        "volume": Input("volume", about="inside the circuit"),
        "temperature": Input("temperature"),
        "share": Input("fraction", about="by mass, at most"),
    },
    output="mass",
    unit="oz",
    formula="mass = y p V M / (R T), with y = (w / M) / (w / M + (1 - w) / 28.0134 g/mol), "
    "w the share by mass",
    sources=(IDEAL_GAS, MOLAR_MASSES),
    valid="where the trace does not condense, up to 870 psia (6 MPa); a volume known to 30 % gives a mass "
    "known to 30 %",
    rises_with=("pressure", "volume", "share"),
    falls_with=("temperature",),
    examples=(
        Example(
            {
                "refrigerant": "R-22",
                "pressure": "314.7 psia",
                "volume": "0.40 ft3",
                "temperature": "70 °F",
                "share": "5 %",
            },
            "0.513 oz",
            within="0.002 oz",
        ),
    ),
)
def trace_gas_mass(
    refrigerant: Entry, pressure: float, volume: float, temperature: float, share: float
) -> float:
    """The mass of refrigerant that makes up a share of a nitrogen fill: weigh in no more than this."""
    return trace.mass(refrigerant.name, pressure, volume, temperature, share)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "refrigerant_pressure": Input(
            "absolute pressure", about="with the refrigerant alone, before the nitrogen"
        ),
        "total_pressure": Input("absolute pressure", about="with the nitrogen, at the same temperature"),
    },
    output="fraction",
    unit="%",
    formula="share by mass = p1 M / (p1 M + (p - p1) 28.0134 g/mol), "
    "with p1 the pressure of the refrigerant alone, p the total pressure, M its molar mass",
    sources=(
        Source("1. ideal gas and Dalton's law; judgement: good to about a tenth of the share below 150 psia"),
        MOLAR_MASSES,
    ),
    valid="a dry circuit, nothing but vapour before the nitrogen, up to 870 psia (6 MPa)",
    rises_with=("refrigerant_pressure",),
    falls_with=("total_pressure",),
    remarks=(
        Remark(
            "above",
            "5 %",
            "too rich for a trace under nitrogen (ASHRAE Standard 15-1994, 10.1.2, interim text)",
        ),
    ),
    examples=(
        Example(
            {"refrigerant": "R-22", "refrigerant_pressure": "24.7 psia", "total_pressure": "139.7 psia"},
            "39.9 %",
            within="0.1 %",
        ),
    ),
)
def trace_gas_share(refrigerant: Entry, refrigerant_pressure: float, total_pressure: float) -> float:
    """The share of a trace of refrigerant under nitrogen, from the two pressures it was filled to."""
    return trace.share_by_mass(refrigerant.name, refrigerant_pressure, total_pressure)


# ---------------------------------------------------------------------------------------------------------
# In the air


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "leak": LEAK,
        "time": Input("duration", about="the air has been still"),
        "volume": Input("volume", about="of the cabinet, closet or room"),
        "temperature": Input("temperature", about="of the air"),
        "atmosphere": ATMOSPHERE,
    },
    output="fraction",
    unit="ppm",
    formula="share by volume = leak x time / M x R T / (p V), at most 100 %",
    sources=(IDEAL_GAS, MOLAR_MASSES),
    valid="an upper bound of the mean, nothing lost; " + EVENLY,
    rises_with=("leak", "time", "temperature"),
    falls_with=("volume", "atmosphere"),
    examples=(
        Example(
            {
                "refrigerant": "R-410A",
                "leak": "1774 g/yr",
                "time": "13 min",
                "volume": "10 ft3",
                "temperature": "77 °F",
                "atmosphere": "1 atm",
            },
            "52.2 ppm",
            within="0.1 ppm",
        ),
    ),
)
def pool_concentration(
    refrigerant: Entry, leak: float, time: float, volume: float, temperature: float, atmosphere: float
) -> float:
    """The most refrigerant a leak can have put into still air, as a share by volume."""
    return pool.concentration(refrigerant.name, leak, time, volume, temperature, atmosphere)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "mass": Input("mass", about="of refrigerant in the space"),
        "volume": Input("volume", about="of the space"),
        "temperature": Input("temperature", about="of the air"),
        "atmosphere": ATMOSPHERE,
    },
    output="fraction",
    unit="%",
    formula="share of the LFL = mass / M x R T / (p V) / LFL by volume",
    sources=(IDEAL_GAS, LIMITS),
    valid=EVENLY + "; not for a refrigerant without a known limit",
    rises_with=("mass", "temperature"),
    falls_with=("volume", "atmosphere"),
    remarks=(
        Remark("above", "10 %", "a hazardous atmosphere, nobody goes in (29 CFR 1910.146(b))"),
        Remark("above", "100 %", "the lower flammable limit is passed"),
    ),
    examples=(
        Example(
            {
                "refrigerant": "R-454B",
                "mass": "8 lb",
                "volume": "72 ft3",
                "temperature": "77 °F",
                "atmosphere": "1 atm",
            },
            "615 %",
            within="1 %",
        ),
    ),
)
def flammable_share(
    refrigerant: Entry, mass: float, volume: float, temperature: float, atmosphere: float
) -> float:
    """How much of its lower flammable limit a mass of refrigerant reaches in a space, as a mean."""
    return flammable.share(refrigerant, mass, volume, temperature, atmosphere)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "share": Input("fraction", about="of the lower flammable limit"),
        "volume": Input("volume", about="of the space"),
        "temperature": Input("temperature", about="of the air"),
        "atmosphere": ATMOSPHERE,
    },
    output="mass",
    unit="oz",
    formula="mass = share x LFL by volume x M p V / (R T)",
    sources=(IDEAL_GAS, LIMITS),
    valid=EVENLY + "; not for a refrigerant without a known limit",
    rises_with=("share", "volume", "atmosphere"),
    falls_with=("temperature",),
    examples=(
        Example(
            {
                "refrigerant": "R-454B",
                "share": "10 %",
                "volume": "72 ft3",
                "temperature": "77 °F",
                "atmosphere": "1 atm",
            },
            "59 g",
            within="0.1 g",
        ),
    ),
)
def mass_to_flammable_share(
    refrigerant: Entry, share: float, volume: float, temperature: float, atmosphere: float
) -> float:
    """The mass of refrigerant that brings a space to a share of its lower flammable limit, as a mean."""
    return flammable.mass_to_share(refrigerant, share, volume, temperature, atmosphere)


@calculator(
    inputs={"displaced": Input("fraction", about="of the air, by volume, that is another gas")},
    output="fraction",
    unit="%",
    formula="oxygen = 20.946 % x (1 - displaced), by volume",
    sources=(Source("1. Dry air: ISO 2533:1975; U.S. Standard Atmosphere, 1976, Table 3 (20.9476 %)"),),
    valid="evenly mixed; near the floor there may be far less oxygen",
    falls_with=("displaced",),
    remarks=(Remark("below", "19.5 %", "oxygen-deficient, nobody goes in (29 CFR 1910.146(b))"),),
    examples=(
        Example({"displaced": "0 %"}, "20.946 %", within="0.0001 %"),
        Example({"displaced": "7 %"}, "19.48 %", within="0.005 %"),
    ),
)
def oxygen_left(displaced: float) -> float:
    """How much oxygen is left to breathe where a gas has taken the place of air."""
    return pool.oxygen_left(displaced)


# ---------------------------------------------------------------------------------------------------------
# What the circuit holds


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "pressure": Input("absolute pressure"),
        "temperature": Input("temperature"),
        "volume": Input("volume", about="inside the circuit"),
    },
    output="mass",
    unit="oz",
    formula="mass = rho(refrigerant, temperature, pressure) x volume; a first call takes 2 to 3 s",
    sources=(Source("1. CoolProp 8.0.0 (Bell et al., Ind. Eng. Chem. Res. 53 (2014) 2498), asked live"),),
    valid="vapour alone, below the dew pressure; a volume known to 30 % gives a mass known to 30 %",
    rises_with=("pressure", "volume"),
    falls_with=("temperature",),
    examples=(
        Example(
            {"refrigerant": "R-410A", "pressure": "154.7 psia", "temperature": "75 °F", "volume": "0.40 ft3"},
            "14.9 oz",
            within="0.1 oz",
        ),
        Example(
            {"refrigerant": "R-22", "pressure": "74.7 psia", "temperature": "80 °F", "volume": "0.40 ft3"},
            "7.7 oz",
            within="0.1 oz",
        ),
    ),
)
def vapour_charge_mass(refrigerant: Entry, pressure: float, temperature: float, volume: float) -> float:
    """How much refrigerant is left in a circuit that holds vapour alone."""
    return charge.vapour_mass(refrigerant.name, pressure, temperature, volume)


# ---------------------------------------------------------------------------------------------------------
# Units of a leak, and other gases


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "leak": LEAK,
        "reference": Input("temperature", about="at which the volume of the gas is counted: 0, 20 or 25 °C"),
    },
    output="throughput",
    unit="mbar·L/s",
    formula="throughput = leak / M x R T, T the reference temperature; 0 and 20 °C differ by 7 %",
    sources=(IDEAL_GAS, MOLAR_MASSES),
    valid="a reference temperature of -60 to 150 °F, always stated beside the result",
    rises_with=("leak", "reference"),
    examples=(
        Example(
            {"refrigerant": "R-134a", "leak": "1 g/yr", "reference": "20 °C"},
            "7.575e-6 mbar·L/s",
            within="0.002e-6 mbar·L/s",
        ),
    ),
)
def leak_rate_convert(refrigerant: Entry, leak: float, reference: float) -> float:
    """A leak in mass a year as pressure times volume a second."""
    _refuse_negative(leak)
    return rate.from_mass_flow(refrigerant.name, leak, reference)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "throughput": Input("throughput"),
        "reference": Input("temperature", about="at which the volume of the gas was counted"),
    },
    output="mass flow",
    unit="g/yr",
    formula="leak = throughput x M / (R T), T the reference temperature",
    sources=(IDEAL_GAS, MOLAR_MASSES),
    valid="a reference temperature of -60 to 150 °F",
    rises_with=("throughput",),
    falls_with=("reference",),
    examples=(
        Example(
            {"refrigerant": "R-410A", "throughput": "1e-5 mbar·L/s", "reference": "20 °C"},
            "0.939 g/yr",
            within="0.001 g/yr",
        ),
    ),
)
def throughput_to_leak_rate(refrigerant: Entry, throughput: float, reference: float) -> float:
    """A leak in pressure times volume a second as mass a year."""
    _refuse_negative(throughput)
    return rate.to_mass_flow(refrigerant.name, throughput, reference)


@calculator(
    inputs={
        "gas": GAS,
        "refrigerant": REFRIGERANT,
        "leak": Input("mass flow", about="of the test gas"),
        "test_pressure": TEST_PRESSURE,
        "leak_pressure": Input("absolute pressure", about="of the refrigerant vapour in use or at rest"),
        "atmosphere": ATMOSPHERE,
    },
    output="mass flow",
    unit="g/yr",
    formula="refrigerant = leak x viscosity ratio (gas / refrigerant) x molar mass ratio (refrigerant / gas) "
    "x (leak pressure ^ 2 - atmosphere ^ 2) / (test pressure ^ 2 - atmosphere ^ 2)",
    sources=(VISCOUS, VISCOSITIES),
    valid="vapour on the inside, both pressures above the atmosphere; " + ORDER,
    rises_with=("leak", "leak_pressure"),
    falls_with=("test_pressure",),
    examples=(
        Example(
            {
                "gas": "nitrogen",
                "refrigerant": "R-134a",
                "leak": "1 g/yr",
                "test_pressure": "114.7 psia",
                "leak_pressure": "114.7 psia",
                "atmosphere": "14.7 psia",
            },
            "5.51 g/yr",
            within="0.01 g/yr",
        ),
    ),
)
def leak_from_other_gas(
    gas: Entry,
    refrigerant: Entry,
    leak: float,
    test_pressure: float,
    leak_pressure: float,
    atmosphere: float,
) -> float:
    """What a leak of test gas means as a leak of refrigerant."""
    _refuse_negative(leak)
    factor = hole.pressure_factor(test_pressure, leak_pressure, atmosphere)
    return leak * hole.mass_ratio(gas.name, _molar_mass(gas), refrigerant.name) / factor


@calculator(
    inputs={
        "gas": GAS,
        "refrigerant": REFRIGERANT,
        "leak": Input("mass flow", about="of refrigerant"),
        "test_pressure": TEST_PRESSURE,
        "leak_pressure": Input("absolute pressure", about="of the refrigerant vapour in use or at rest"),
        "atmosphere": ATMOSPHERE,
    },
    output="mass flow",
    unit="g/yr",
    formula="gas = leak x viscosity ratio (refrigerant / gas) x molar mass ratio (gas / refrigerant) "
    "x (test pressure ^ 2 - atmosphere ^ 2) / (leak pressure ^ 2 - atmosphere ^ 2)",
    sources=(VISCOUS, VISCOSITIES),
    valid="vapour on the inside, both pressures above the atmosphere; " + ORDER,
    rises_with=("leak", "test_pressure"),
    falls_with=("leak_pressure",),
    examples=(
        Example(
            {
                "gas": "nitrogen",
                "refrigerant": "R-410A",
                "leak": "77.6 g/yr",
                "test_pressure": "314.7 psia",
                "leak_pressure": "231.7 psia",
                "atmosphere": "14.7 psia",
            },
            "41 g/yr",
            within="1 g/yr",
        ),
    ),
)
def leak_to_other_gas(
    gas: Entry,
    refrigerant: Entry,
    leak: float,
    test_pressure: float,
    leak_pressure: float,
    atmosphere: float,
) -> float:
    """What the hole of a refrigerant leak passes of a test gas at the test pressure."""
    _refuse_negative(leak)
    factor = hole.pressure_factor(test_pressure, leak_pressure, atmosphere)
    return leak / hole.mass_ratio(gas.name, _molar_mass(gas), refrigerant.name) * factor


def _refuse_negative(leak: float) -> None:
    if not leak >= 0:
        raise OutOfRange("the leak is negative")


def _molar_mass(gas: Entry) -> float:
    grams = gas["molar_mass"]
    assert isinstance(grams, float)
    return grams / 1e3


# ---------------------------------------------------------------------------------------------------------
# A standing pressure test

TEMPERATURES = Source(
    "1. ideal gas at constant volume; ASHRAE Journal, January 2021, p. 40: about 1 psi for each °F at "
    "500 psig"
)
MOLAR_LEAK = Source("1. 40 CFR 1065.644, vacuum-decay leak rate, corrected for temperature")
FIXED = (
    "dry gas up to 870 psia at -40 to 160 °F; real nitrogen moves more: 0.5 psi in 10 at 300 psig from 88 to "
    "70 °F, 1.4 psi in 19 at 500 psig from 95 to 75 °F (hold_expected_pressure_real)"
)


@calculator(
    inputs={
        "start": Input("gauge pressure"),
        "start_temperature": Input("temperature"),
        "end_temperature": Input("temperature"),
        "atmosphere": ATMOSPHERE,
    },
    output="gauge pressure",
    unit="psig",
    formula="expected = (start + atmosphere) x end temperature / start temperature - atmosphere, "
    "temperatures absolute",
    sources=(TEMPERATURES,),
    valid=FIXED,
    rises_with=("start", "end_temperature"),
    falls_with=("start_temperature",),
    examples=(
        Example(
            {
                "start": "300 psig",
                "start_temperature": "88 °F",
                "end_temperature": "70 °F",
                "atmosphere": "14.7 psia",
            },
            "289.7 psig",
            within="0.05 psi",
        ),
        Example(
            {
                "start": "400 psig",
                "start_temperature": "72 °F",
                "end_temperature": "78 °F",
                "atmosphere": "14.7 psia",
            },
            "404.7 psig",
            within="0.05 psi",
        ),
    ),
)
def hold_expected_pressure(
    start: float, start_temperature: float, end_temperature: float, atmosphere: float
) -> float:
    """What the gauge should show at the end of a hold if nothing leaked, at the new temperature."""
    return hold.expected(start, start_temperature, end_temperature, atmosphere)


@calculator(
    inputs={
        "gas": GAS,
        "start": Input("absolute pressure"),
        "start_temperature": Input("temperature"),
        "end": Input("absolute pressure"),
        "end_temperature": Input("temperature"),
        "volume": Input("volume", about="under test"),
        "time": Input("duration", about="between the two readings"),
    },
    output="mass flow",
    unit="g/yr",
    formula="loss = (start / start temperature - end / end temperature) x M V / (R x time), absolute",
    sources=(MOLAR_LEAK,),
    valid=FIXED,
    rises_with=("start", "end_temperature"),
    falls_with=("start_temperature", "end"),
    remarks=(
        Remark("below", "0 g/yr", "nothing was lost: gas came in, or a pressure or temperature was misread"),
    ),
    examples=(
        Example(
            {
                "gas": "nitrogen",
                "start": "314.7 psia",
                "start_temperature": "70 °F",
                "end": "312.7 psia",
                "end_temperature": "70 °F",
                "volume": "0.40 ft3",
                "time": "1 h",
            },
            "1.79e-3 kg/h",
            within="0.01e-3 kg/h",
        ),
    ),
)
def hold_leak_rate(
    gas: Entry,
    start: float,
    start_temperature: float,
    end: float,
    end_temperature: float,
    volume: float,
    time: float,
) -> float:
    """What a standing pressure test lost, with the change of temperature taken out."""
    return hold.leak_rate(_molar_mass(gas), start, start_temperature, end, end_temperature, volume, time)


@calculator(
    inputs={
        "gas": GAS,
        "change": Input("pressure difference", about="the least that gauge and thermometer can tell"),
        "temperature": Input("temperature"),
        "volume": Input("volume", about="under test"),
        "time": Input("duration", about="of the hold"),
    },
    output="mass flow",
    unit="g/yr",
    formula="smallest leak = change x M V / (R T x time)",
    sources=(IDEAL_GAS, Source("2. 40 CFR 1065.644, with both temperatures the same")),
    valid="a change above 0, a minute or more, -40 to 160 °F; leaks below it pass the hold unseen",
    rises_with=("change", "volume"),
    falls_with=("temperature", "time"),
    examples=(
        Example(
            {
                "gas": "nitrogen",
                "change": "0.5 psi",
                "temperature": "70 °F",
                "volume": "0.40 ft3",
                "time": "1 h",
            },
            "3.92 kg/yr",
            within="0.02 kg/yr",
        ),
    ),
)
def hold_smallest_leak(gas: Entry, change: float, temperature: float, volume: float, time: float) -> float:
    """The smallest leak of test gas that a hold of that length can show; smaller ones pass it."""
    return hold.smallest_leak(_molar_mass(gas), change, temperature, volume, time)


@calculator(
    inputs={
        "start": Input("gauge pressure"),
        "start_temperature": Input("temperature"),
        "end_temperature": Input("temperature"),
        "atmosphere": ATMOSPHERE,
    },
    output="gauge pressure",
    unit="psig",
    formula="expected = (start + atmosphere) x (end temperature x Z at the end) / (start temperature x Z at "
    "the start) - atmosphere, temperatures absolute, Z the compressibility of nitrogen, both at the density "
    "of the start; by hand, within 0.1 psi over 20 °F, Z = 1 + B d + C d^2, d = (start + atmosphere) / "
    "(Z R T), B = 185.4 - 141.8 exp(88.7 K / T) cm3/mol, C = 1450 cm6/mol2",
    sources=(
        Source(
            "1. Z: Span, Lemmon, Jacobsen, Wagner and Yokozeki, J. Phys. Chem. Ref. Data 29 (2000) 1361, cut "
            "after the fourth virial coefficient: within 0.01 psi of the whole equation"
        ),
        Source(
            "2. B by hand: Kaye and Laby, Tables of Physical and Chemical Constants, 16th edition 1995, 3.5, "
            "from memory; C by hand: that of source 1 near 50 °F"
        ),
    ),
    valid="dry nitrogen alone, up to 870 psia at -40 to 160 °F",
    rises_with=("start", "end_temperature"),
    falls_with=("start_temperature",),
    examples=(
        Example(
            {
                "start": "500 psig",
                "start_temperature": "95 °F",
                "end_temperature": "75 °F",
                "atmosphere": "14.696 psia",
            },
            "480.03 psig",
            within="0.01 psi",
        ),
        Example(
            {
                "start": "551.1 psig",
                "start_temperature": "80.6 °F",
                "end_temperature": "68 °F",
                "atmosphere": "14.696 psia",
            },
            "536.73 psig",
            within="0.01 psi",
        ),
    ),
)
def hold_expected_pressure_real(
    start: float, start_temperature: float, end_temperature: float, atmosphere: float
) -> float:
    """What the gauge should show at the end of a hold of nitrogen if nothing leaked, as a real gas."""
    return hold.expected_real(start, start_temperature, end_temperature, atmosphere)


@calculator(
    inputs={
        "gas": GAS,
        "leak": Input("mass flow", about="of the test gas at the test pressure; see leak_to_other_gas"),
        "change": Input("pressure difference", about="the least that gauge and thermometer can tell"),
        "temperature": Input("temperature"),
        "volume": Input("volume", about="under test"),
    },
    output="duration",
    unit="h",
    formula="time = change x M V / (R T x leak)",
    sources=(IDEAL_GAS, Source("2. 40 CFR 1065.644, with both temperatures the same")),
    valid="a change above 0, -40 to 160 °F; no better than the leak is known: one of refrigerant, through "
    "leak_to_other_gas, is good to a factor of 3 (judgement); the wait for the gas to settle comes on top",
    rises_with=("change", "volume"),
    falls_with=("leak", "temperature"),
    examples=(
        Example(
            {
                "gas": "nitrogen",
                "leak": "3.92 kg/yr",
                "change": "0.5 psi",
                "temperature": "70 °F",
                "volume": "0.40 ft3",
            },
            "1.0 h",
            within="0.005 h",
        ),
        Example(
            {
                "gas": "nitrogen",
                "leak": "1.12 kg/yr",
                "change": "0.5 psi",
                "temperature": "70 °F",
                "volume": "0.40 ft3",
            },
            "3.5 h",
            within="0.02 h",
        ),
    ),
)
def hold_time_needed(gas: Entry, leak: float, change: float, temperature: float, volume: float) -> float:
    """How long a hold must last to show a leak of that size."""
    return hold.time_needed(_molar_mass(gas), leak, change, temperature, volume)


CALCULATORS: tuple[Calculator, ...] = (
    leak_rate_from_history,
    mass_lost_a_year,
    detector_adequacy,
    pressure_factor,
    trace_gas_mass,
    trace_gas_share,
    pool_concentration,
    flammable_share,
    mass_to_flammable_share,
    oxygen_left,
    vapour_charge_mass,
    leak_rate_convert,
    throughput_to_leak_rate,
    leak_from_other_gas,
    leak_to_other_gas,
    hold_expected_pressure,
    hold_leak_rate,
    hold_smallest_leak,
    hold_expected_pressure_real,
    hold_time_needed,
)
