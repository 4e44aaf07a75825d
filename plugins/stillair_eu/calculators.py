"""The calculators this plugin gives."""

from __future__ import annotations

from stillair.calculator import Calculator, Entry, Example, Input, OutOfRange, Source, calculator

from . import practical

__all__ = ["CALCULATORS"]

REFRIGERANT = Input(catalogue="refrigerant")
ANNEX_E = Source(
    "1. EN 378-1:2016+A1:2020, Annex E, practical limits, as transcribed in a public data file of October "
    "2020; R-22, R-407C, R-12, R-600a and R-717 from memory"
)
VALID = (
    "for the refrigerants of the table; where and for whom it counts, EN 378-1 says by access and location"
)


@calculator(
    inputs={"refrigerant": REFRIGERANT},
    output="density",
    unit="kg/m3",
    formula="practical limit = as printed for the refrigerant",
    sources=(ANNEX_E,),
    valid=VALID,
    examples=(
        Example({"refrigerant": "R-410A"}, "0.44 kg/m3", within="0.0005 kg/m3"),
        Example({"refrigerant": "R-32"}, "0.061 kg/m3", within="0.0005 kg/m3"),
    ),
)
def practical_limit(refrigerant: Entry) -> float:
    """How much refrigerant a cubic metre of a room takes before people must leave."""
    return practical.limit(refrigerant.name)


@calculator(
    inputs={"refrigerant": REFRIGERANT, "charge": Input("mass", about="all that could leak into the room")},
    output="volume",
    unit="m3",
    formula="room = charge / practical limit",
    sources=(ANNEX_E,),
    valid=VALID,
    rises_with=("charge",),
    examples=(
        Example({"refrigerant": "R-410A", "charge": "4.4 kg"}, "10 m3", within="0.01 m3"),
        Example({"refrigerant": "R-32", "charge": "1.22 kg"}, "20 m3", within="0.01 m3"),
    ),
)
def practical_room(refrigerant: Entry, charge: float) -> float:
    """The least room in which a whole charge stays below the practical limit."""
    return practical.room(refrigerant.name, charge)


@calculator(
    inputs={"refrigerant": REFRIGERANT, "charge": Input("mass")},
    output="mass",
    unit="t",
    formula="equivalent = charge x sum over the HFC parts of mass fraction x potential",
    sources=(
        Source(
            "1. Regulation (EU) 2024/573, Annex I: potentials of the fourth IPCC report, blends by mass "
            "(from memory); the HFO parts are of Annex II and do not enter"
        ),
    ),
    valid="for HFCs and their blends; not for ozone-depleting refrigerant, which another regulation rules",
    rises_with=("charge",),
    examples=(
        Example({"refrigerant": "R-410A", "charge": "2.395 kg"}, "5 t", within="0.002 t"),
        Example({"refrigerant": "R-454B", "charge": "10.75 kg"}, "5 t", within="0.002 t"),
    ),
)
def annex_1_equivalent(refrigerant: Entry, charge: float) -> float:
    """The carbon dioxide equivalent that European leak checks go by."""
    counted, hfo = refrigerant["gwp_us"], refrigerant["hfo_share"]
    if refrigerant["kind"] not in ("HFC", "HFC-HFO", "HFO") or not isinstance(counted, float | int):
        raise OutOfRange(f"{refrigerant.name} is not a gas of Annex I")
    # The column counts an HFO as 1 (40 CFR Part 84); its HFC potentials are those of Annex I.
    assert isinstance(hfo, float | int)
    if not charge >= 0:
        raise OutOfRange("the charge is below nothing")
    return charge * (counted - hfo)


CALCULATORS: tuple[Calculator, ...] = (practical_limit, practical_room, annex_1_equivalent)
