"""The refrigerants and the test gases, read from catalogue.json, where each value names its source.

A blend is its parts by mass; its molar mass, GWP, ODP and kind are computed from them.
"""

from __future__ import annotations

import functools
import json
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NotRequired, TypedDict, cast

from stillair.calculator import Attribute, Catalogue, Entry

__all__ = [
    "CatalogueError",
    "Part",
    "checked_parts",
    "gases",
    "load",
    "model",
    "molar_mass",
    "parts",
    "refrigerants",
    "source_of",
]

FILE = Path(__file__).with_name("catalogue.json")
#: Mass fractions must sum to 1 within this: the standards print them to 0.1 %.
SUM_TOLERANCE = 1e-9

Sourced = tuple[float | str | None, str]


class CatalogueError(ValueError):
    """A refrigerant's record contradicts itself; the text names the refrigerant."""


@dataclass(frozen=True, slots=True)
class Part:
    """One component of a refrigerant and its share by mass, 0 to 1."""

    name: str
    share: float


class Record(TypedDict):
    """A pure substance has `model`, `formula`, `family` and its own numbers, a blend has `parts`."""

    model: NotRequired[str]
    formula: NotRequired[str]
    family: NotRequired[str]
    parts: NotRequired[dict[str, float]]
    parts_source: NotRequired[str]
    glide: NotRequired[str]
    confidence: NotRequired[str]


class Gas(TypedDict):
    molar_mass: tuple[float, str]
    composition: str
    label: NotRequired[str]


class File(TypedDict):
    sources: dict[str, str]
    components: dict[str, Record]
    refrigerants: dict[str, Record]
    test_gases: dict[str, Gas]


@functools.cache
def load() -> File:
    return cast(File, json.loads(FILE.read_text(encoding="utf-8")))


def checked_parts(name: str, shares: Mapping[str, float]) -> tuple[Part, ...]:
    """Parts by mass; CatalogueError unless every share is above 0 and they sum to 1.

    Property libraries accept negative and un-normalised fractions without a word.
    """
    for part, share in shares.items():
        if not share > 0:
            raise CatalogueError(f"{name}: the share of {part} is {share}, not above 0")
    total = math.fsum(shares.values())
    if abs(total - 1) > SUM_TOLERANCE:
        raise CatalogueError(f"{name}: the shares by mass sum to {total:.6g}, not to 1")
    return tuple(Part(part, share) for part, share in shares.items())


@functools.cache
def parts(name: str) -> tuple[Part, ...]:
    """What the refrigerant is made of; a pure one is its own only part."""
    shares = _record(name).get("parts")
    return checked_parts(name, shares) if shares else (Part(name, 1.0),)


@functools.cache
def molar_mass(name: str) -> float:
    """kg/mol; of a blend 1 / sum(share / molar mass)."""
    return 1e-3 / math.fsum(part.share / _pure_number(part.name, "molar_mass") for part in parts(name))


def model(name: str) -> str:
    """The name of a pure substance in CoolProp; KeyError for a blend."""
    return _record(name)["model"]


def source_of(name: str, attribute: str) -> str:
    """Where that value of that refrigerant comes from; KeyError if there is none."""
    return _attribute(attribute).read(name)[1]


@functools.cache
def refrigerants() -> Catalogue:
    """The catalogue "refrigerant"."""
    names = tuple(load()["refrigerants"])
    values: dict[str, dict[str, str | float | None]] = {name: {} for name in names}
    attributes = []
    for column in COLUMNS:
        sources = []
        for name in names:
            values[name][column.name], source = column.read(name)
            sources.append(source)
        attributes.append(
            Attribute(
                column.name, column.kind, column.options, column.unit, "; ".join(dict.fromkeys(sources))
            )
        )
    return Catalogue(
        name="refrigerant",
        attributes=tuple(attributes),
        entries=tuple(Entry(name, values[name]) for name in names),
        source="each attribute names its sources; each value its own in catalogue.json",
    )


@functools.cache
def gases() -> Catalogue:
    """The catalogue "test_gas": what a circuit may hold in place of refrigerant while it is tested."""
    gases = load()["test_gases"]
    return Catalogue(
        name="test_gas",
        attributes=(
            Attribute(
                "molar_mass",
                "number",
                (),
                None,
                "; ".join(dict.fromkeys(g["molar_mass"][1] for g in gases.values())),
            ),
            Attribute("composition", "text"),
        ),
        entries=tuple(
            Entry(name, {"molar_mass": gas["molar_mass"][0], "composition": gas["composition"]})
            for name, gas in gases.items()
        ),
        source="each attribute names its sources",
        labels={name: gas["label"] for name, gas in gases.items() if "label" in gas},
    )


# ---------------------------------------------------------------------------------------------------------
# The columns


@dataclass(frozen=True, slots=True)
class _Column:
    name: str
    kind: str
    read: Callable[[str], Sourced]
    options: tuple[str, ...] = ()
    unit: str | None = None


def _record(name: str) -> Record:
    file = load()
    return file["refrigerants"].get(name) or file["components"][name]


def _cell(name: str, key: str) -> Sourced | None:
    cell = cast("Mapping[str, Sourced]", _record(name)).get(key)
    return None if cell is None else (cell[0], load()["sources"].get(cell[1], cell[1]))


def _pure_number(name: str, key: str) -> float:
    cell = _cell(name, key)
    if cell is None or not isinstance(cell[0], float | int):
        raise CatalogueError(f"{name}: no {key}")
    return float(cell[0])


def _own(key: str) -> Callable[[str], Sourced]:
    """The value written for the refrigerant itself."""

    def read(name: str) -> Sourced:
        cell = _cell(name, key)
        if cell is None:
            raise CatalogueError(f"{name}: no {key}")
        return (float(cell[0]), cell[1]) if isinstance(cell[0], int) else cell

    return read


def _by_mass(key: str) -> Callable[[str], Sourced]:
    """The mean of the parts by mass; not known where one part's value is not known."""

    def read(name: str) -> Sourced:
        if len(parts(name)) == 1:
            return _own(key)(name)
        cells = [(part.share, _own(key)(part.name)) for part in parts(name)]
        source = _computed("mean by mass", (cell[1] for _, cell in cells))
        known = [(share, value) for share, (value, _) in cells if isinstance(value, float)]
        return (math.fsum(s * v for s, v in known) if len(known) == len(cells) else None, source)

    return read


def _computed(how: str, sources: Iterable[str]) -> str:
    return f"computed, {how}, from " + "; ".join(dict.fromkeys(sources))


def _molar_mass(name: str) -> Sourced:
    if len(parts(name)) == 1:
        return _own("molar_mass")(name)
    sources = (_own("molar_mass")(part.name)[1] for part in parts(name))
    return 1e3 * molar_mass(name), _computed("1 / sum(share by mass / molar mass)", sources)


def _limit(key: str) -> Callable[[str], Sourced]:
    def read(name: str) -> Sourced:
        if _own("burning")(name)[0] == "1":
            return None, load()["sources"]["no-flame"]
        return _own(key)(name)

    return read


def _lfl_given(name: str) -> Sourced:
    if _own("burning")(name)[0] == "1":
        return "none", load()["sources"]["no-flame"]
    value, source = _own("lfl")(name)
    return ("missing" if value is None else "given"), source


def _composition(name: str) -> Sourced:
    record = _record(name)
    if "formula" in record:
        return record["formula"], "chemical formula"
    text = ", ".join(f"{part.name} {100 * part.share:.4g} %" for part in parts(name))
    return f"{text} by mass", load()["sources"][record["parts_source"]]


def _kind(name: str) -> Sourced:
    families = [_record(part.name)["family"] for part in parts(name)]
    kinds = [kind for kind in ("CFC", "HCFC", "HFC", "HFO") if kind in families]
    return "-".join(kinds) or "natural", "computed from the molecules"


def _hfo_share(name: str) -> Sourced:
    shares = (part.share for part in parts(name) if _record(part.name)["family"] == "HFO")
    return math.fsum(shares), "computed from the composition"


def _blend(name: str) -> Sourced:
    if len(parts(name)) == 1:
        return "pure", "chemical formula"
    return (
        "azeotropic" if name.startswith("R-5") else "zeotropic",
        "numbering of ASHRAE Standard 34: 400 series zeotropic, 500 series azeotropic",
    )


def _glide(name: str) -> Sourced:
    return _record(name).get("glide", "none: a pure substance"), "computed with the tables of this plugin"


def _confidence(name: str) -> Sourced:
    return _record(name)["confidence"], "judgement from the origin of the model, see build_tables"


COLUMNS = (
    _Column("toxicity", "option", _own("toxicity"), ("A", "B")),
    _Column("burning", "option", _own("burning"), ("1", "2L", "2", "3")),
    _Column("lfl", "density", _limit("lfl"), unit="kg/m3"),
    _Column("lfl_fraction", "fraction", _limit("lfl_fraction"), unit="%"),
    # None alone cannot tell "there is no limit" from "the limit is not known".
    _Column("lfl_given", "option", _lfl_given, ("given", "none", "missing")),
    _Column("composition", "text", _composition),
    _Column("molar_mass", "number", _molar_mass),  # in g/mol
    _Column("kind", "option", _kind, ("CFC", "HCFC", "HFC", "HFO", "HFC-HFO", "natural")),
    _Column("hfo_share", "fraction", _hfo_share, unit="%"),
    _Column("blend", "option", _blend, ("pure", "azeotropic", "zeotropic")),
    _Column("glide", "text", _glide),
    _Column("pressure_class", "option", _own("pressure_class"), ("low", "medium", "high", "very-high")),
    _Column("odp", "number", _by_mass("odp")),
    _Column("gwp_ar4", "number", _by_mass("gwp_ar4")),
    _Column("gwp_ar5", "number", _by_mass("gwp_ar5")),
    _Column("gwp_ar6", "number", _by_mass("gwp_ar6")),
    _Column("gwp_us", "number", _by_mass("gwp_us")),
    _Column("confidence", "option", _confidence, ("good", "estimated", "check-chart")),
)


def _attribute(name: str) -> _Column:
    return next(column for column in COLUMNS if column.name == name)
