"""What a gas warms against carbon dioxide over 100 years, as a report or a law counts it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from stillair.calculator import Entry, OutOfRange
from stillair_refrigerants import catalogue

__all__ = ["EDITIONS", "counted", "potential"]

#: Each edition and the column of the catalogue that holds it; the European one is EU below.
EDITIONS = {"AR4": "gwp_ar4", "AR5": "gwp_ar5", "AR6": "gwp_ar6", "AIM": "gwp_us", "EU": None}
#: Regulation (EU) 2024/573: Annex I (HFCs, as in the Fourth Assessment Report) and, from memory, Annex II,
#: section 1 (unsaturated HFCs, as in the Sixth); carbon dioxide by definition.
EU = {
    "R-32": 675.0,
    "R-125": 3500.0,
    "R-134a": 1430.0,
    "R-143a": 4470.0,
    "R-1234yf": 0.501,
    "R-1234ze(E)": 1.37,
    "R-744": 1.0,
}


def potential(refrigerant: Entry, edition: str) -> float:
    """Times its mass of carbon dioxide, a blend by mass fractions; OutOfRange where a part has no value."""
    column = EDITIONS[edition]
    if column is None:
        return _european(refrigerant.name)
    value = refrigerant[column]
    if not isinstance(value, float):
        raise OutOfRange(f"the {edition} potential of {refrigerant.name} is not known")
    return value


def counted(column: str) -> str:
    """What each component of the blends counts as in that column: `R-32 675, R-125 3500, …`."""
    return ", ".join(f"{part} {_component(part, column):g}" for part in EU)


def _european(name: str) -> float:
    parts = catalogue.parts(name)
    for part in parts:
        if part.name not in EU:
            raise OutOfRange(
                f"{part.name} is none of the gases of Regulation (EU) 2024/573, Annexes I and II, section 1: "
                "name another edition"
            )
    return sum(part.share * EU[part.name] for part in parts)


def _component(part: str, column: str) -> float:
    file = catalogue.load()
    record = file["components"].get(part) or file["refrigerants"][part]
    return float(cast("Mapping[str, tuple[float, str]]", record)[column][0])
