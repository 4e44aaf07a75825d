"""The calculators this plugin gives. Each wraps a plain function on SI floats."""

from __future__ import annotations

from stillair.calculator import Calculator, Entry, Example, Input, OutOfRange, Remark, Source, calculator

from . import cylinder, level

__all__ = ["CALCULATORS"]

REFRIGERANT = Input(catalogue="refrigerant")
WATER_CAPACITY = Input("mass", about="of water, WC on the collar")
TARE = Input("mass", about="of the empty cylinder, TW on the collar")
GUIDELINE = Source(
    "1. AHRI Guideline K, by trade press: net = 0.8 x water capacity x specific gravity at 77 °F; capped at "
    "0.8 x water capacity (the older rule, still on labels), so that the lower of the two counts"
)
DENSITIES = Source(
    "2. Specific gravity: against water at the same 77 °F, 997.05 kg/m3 (IAPWS-95), 1.0029 times that of "
    "liquid_specific_gravity; liquid from tables made with CoolProp 8.0.0"
)
PRESSURES = Source("2. Saturation pressures: tables made with CoolProp 8.0.0")
CYLINDERS = (
    "cylinders up to 1000 lb of water, for gas that is liquid at 130 °F, so not R-744; a stricter label or "
    "law comes first"
)


@calculator(
    inputs={"refrigerant": REFRIGERANT, "water_capacity": WATER_CAPACITY, "tare": TARE},
    output="mass",
    unit="lb",
    formula="greatest gross = tare + 0.8 x water capacity x the lower of 1 and the specific gravity at 77 °F",
    sources=(GUIDELINE, DENSITIES),
    valid=CYLINDERS,
    rises_with=("water_capacity", "tare"),
    examples=(
        Example(
            {"refrigerant": "R-32", "water_capacity": "47.7 lb", "tare": "28.0 lb"},
            "64.8 lb",
            within="0.05 lb",
        ),
    ),
)
def cylinder_limit(refrigerant: Entry, water_capacity: float, tare: float) -> float:
    """The greatest mass a recovery cylinder may weigh with what is in it."""
    return cylinder.greatest(refrigerant.name, water_capacity, tare)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "water_capacity": WATER_CAPACITY,
        "tare": TARE,
        "gross": Input("mass", about="as it stands on the scale"),
    },
    output="mass",
    unit="lb",
    formula="room = tare + 0.8 x water capacity x the lower of 1 and the specific gravity at 77 °F - gross",
    sources=(GUIDELINE, DENSITIES),
    valid=CYLINDERS,
    rises_with=("water_capacity", "tare"),
    falls_with=("gross",),
    remarks=(Remark("below", "0 lb", "overfilled"),),
    examples=(
        Example(
            {"refrigerant": "R-410A", "water_capacity": "26.2 lb", "tare": "17.0 lb", "gross": "31.4 lb"},
            "6.56 lb",
            within="0.005 lb",
        ),
        Example(
            {"refrigerant": "R-32", "water_capacity": "47.7 lb", "tare": "28.0 lb", "gross": "52.5 lb"},
            "12.3 lb",
            within="0.05 lb",
        ),
    ),
)
def cylinder_room(refrigerant: Entry, water_capacity: float, tare: float, gross: float) -> float:
    """How much refrigerant may still go into a recovery cylinder."""
    return cylinder.room(refrigerant.name, water_capacity, tare, gross)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "water_capacity": WATER_CAPACITY,
        "net": Input("mass", about="of refrigerant in it"),
    },
    output="fraction",
    unit="%",
    formula="share = net / (water capacity x specific gravity at 130 °F)",
    sources=(
        Source("1. volume = mass / density; 49 CFR 173.304: at 131 °F the liquid must not fill the cylinder"),
        DENSITIES,
    ),
    valid="all of it counted as liquid, which is the safe side; not R-744",
    rises_with=("net",),
    falls_with=("water_capacity",),
    remarks=(Remark("above", "99.9 %", "liquid fills and bursts it"),),
    examples=(
        Example(
            {"refrigerant": "R-410A", "water_capacity": "47.7 lb", "net": "40.5 lb"}, "97.3 %", within="0.2 %"
        ),
    ),
)
def cylinder_liquid_full(refrigerant: Entry, water_capacity: float, net: float) -> float:
    """How full of liquid a recovery cylinder gets when it stands in the sun."""
    return cylinder.full_of_liquid(refrigerant.name, water_capacity, net)


@calculator(
    inputs={"refrigerant": REFRIGERANT},
    output="gauge pressure",
    unit="psig",
    formula="service pressure = (saturation pressure at 131 °F - 1 atm) x 4/5",
    sources=(
        Source("1. 49 CFR 173.301 and 173.304a: at 131 °F at most 5/4 of the marked service pressure"),
        PRESSURES,
    ),
    valid="between the ends of the table of that refrigerant",
    examples=(Example({"refrigerant": "R-410A"}, "387 psig", within="1 psi"),),
)
def service_pressure_needed(refrigerant: Entry) -> float:
    """The lowest marked service pressure of a cylinder for this refrigerant."""
    return cylinder.service_pressure(refrigerant.name)


@calculator(
    inputs={"refrigerant": REFRIGERANT},
    output="absolute pressure",
    unit="psia",
    formula="pressure of the liquid at 104 °F; low below 45 psia, medium to 170, high to 355, then very high",
    sources=(
        Source("1. 40 CFR 82.152, pressure classes, from memory"),
        PRESSURES,
    ),
    valid="between the ends of the table of that refrigerant",
    examples=(
        Example({"refrigerant": "R-410A"}, "351.8 psia", within="0.2 psi"),
        Example({"refrigerant": "R-32"}, "359.4 psia", within="0.2 psi"),
    ),
)
def class_pressure(refrigerant: Entry) -> float:
    """The pressure by which the federal rule sorts refrigerants into classes."""
    return level.class_pressure(refrigerant.name)


@calculator(
    inputs={
        "refrigerant": REFRIGERANT,
        "full_charge": Input("mass", about="of the appliance"),
        "machine": Input(options=level.MACHINES, about="made before, or on and since, 15 November 1993"),
        "atmosphere": Input("absolute pressure", about="of the air at that place, 45 to 110 kPa"),
    },
    output="absolute pressure",
    unit="inHg",
    formula="level = 29.9 inHg - inches of vacuum by class, charge and machine, and never above the air "
    "around; low pressure: 25 mmHg absolute",
    sources=(
        Source("1. 40 CFR 82.156(a), Table 1, read as reprinted on 2026-11-25; 82.158 speaks of the machine"),
        Source("2. Pressure class: the catalogue of refrigerants"),
    ),
    valid="before opening; others hold for small appliances, leaking parts and repairs that are not major",
    rises_with=("atmosphere",),
    falls_with=("full_charge",),
    examples=(
        Example(
            {
                "refrigerant": "R-410A",
                "full_charge": "8 lb",
                "machine": "since_1993",
                "atmosphere": "14.696 psia",
            },
            "29.9 inHg",
            within="0.01 inHg",
        ),
        Example(
            {
                "refrigerant": "R-134a",
                "full_charge": "300 lb",
                "machine": "since_1993",
                "atmosphere": "14.696 psia",
            },
            "14.9 inHg",
            within="0.01 inHg",
        ),
    ),
)
def recovery_level(refrigerant: Entry, full_charge: float, machine: str, atmosphere: float) -> float:
    """The absolute pressure that a circuit is evacuated to before it is opened."""
    found = refrigerant["pressure_class"]
    if not isinstance(found, str):
        raise OutOfRange(f"the pressure class of {refrigerant.name} is not known")
    return level.level(found, full_charge, machine, atmosphere)


CALCULATORS: tuple[Calculator, ...] = (
    cylinder_limit,
    cylinder_room,
    cylinder_liquid_full,
    service_pressure_needed,
    class_pressure,
    recovery_level,
)
