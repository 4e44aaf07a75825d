"""What the catalogue says of each refrigerant, and that no value goes without its source."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest
from stillair.calculator import Entry, OutOfRange
from stillair.quantity import DIMENSIONS, find_unit
from stillair_refrigerants import catalogue, saturation
from stillair_refrigerants.catalogue import CatalogueError

CATALOGUE = catalogue.refrigerants()


def number(entry: Entry, attribute: str) -> float:
    value = entry[attribute]
    assert isinstance(value, float)
    return value


def test_the_refrigerants_a_technician_meets_are_there() -> None:
    wanted = """R-22 R-12 R-32 R-123 R-134a R-290 R-404A R-407A R-407C R-410A R-454B R-454C R-455A R-452B
        R-448A R-449A R-507A R-513A R-600a R-717 R-744 R-1234yf R-1234ze(E)"""
    assert set(CATALOGUE.names) == set(wanted.split())


@pytest.mark.parametrize("entry", CATALOGUE.entries, ids=lambda entry: entry.name)
def test_every_attribute_is_filled_with_its_kind_or_not_known(entry: Entry) -> None:
    assert set(entry.attributes) == {attribute.name for attribute in CATALOGUE.attributes}
    for attribute in CATALOGUE.attributes:
        value = entry[attribute.name]
        if attribute.kind == "option":
            assert value in attribute.options
        elif attribute.kind == "text":
            assert isinstance(value, str)
            assert value
        else:
            dimension = DIMENSIONS[attribute.kind]
            assert attribute.unit is None or find_unit(attribute.unit, dimension)
            assert value is None or isinstance(value, float)


@pytest.mark.parametrize("entry", CATALOGUE.entries, ids=lambda entry: entry.name)
def test_every_value_names_its_source(entry: Entry) -> None:
    keys = catalogue.load()["sources"]
    for attribute in CATALOGUE.attributes:
        source = catalogue.source_of(entry.name, attribute.name)
        assert len(source) > 5
        assert source not in keys
        assert source in attribute.source


@pytest.mark.parametrize("entry", CATALOGUE.entries, ids=lambda entry: entry.name)
def test_no_limit_and_a_limit_not_known_are_told_apart(entry: Entry) -> None:
    if entry["burning"] == "1":
        assert (entry["lfl"], entry["lfl_fraction"], entry["lfl_given"]) == (None, None, "none")
    else:
        assert entry["lfl_given"] == ("missing" if entry["lfl"] is None else "given")


def test_a_flammable_without_a_limit_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(
        catalogue.load()["refrigerants"]["R-32"],
        "lfl",
        [None, "M"],
    )
    column = next(c for c in catalogue.COLUMNS if c.name == "lfl_given")
    assert column.read("R-32")[0] == "missing"


@pytest.mark.parametrize("entry", CATALOGUE.entries, ids=lambda entry: entry.name)
def test_limits_by_mass_and_by_volume_agree(entry: Entry) -> None:
    if isinstance(entry["lfl"], float) and isinstance(entry["lfl_fraction"], float):
        # ideal gas at 25 °C and 1 atm, 24.465 L/mol; the volume figure is printed to two or three digits
        by_volume = number(entry, "lfl_fraction") * number(entry, "molar_mass") / 24.465
        assert number(entry, "lfl") == pytest.approx(by_volume, rel=0.04)


@pytest.mark.parametrize("entry", CATALOGUE.entries, ids=lambda entry: entry.name)
def test_class_3_burns_at_a_tenth_of_a_kilogram_and_2l_above_it(entry: Entry) -> None:
    if isinstance(entry["lfl"], float):
        assert (entry["burning"] == "3") == (number(entry, "lfl") <= 0.10)


@pytest.mark.parametrize("entry", CATALOGUE.entries, ids=lambda entry: entry.name)
def test_the_pressure_class_follows_from_the_liquid_at_104_fahrenheit(entry: Entry) -> None:
    kelvin = saturation.node_temperature(104)
    if kelvin > saturation.table(entry.name).kelvin[-1]:
        expected = "very-high"  # critical temperature below 104 °F
    else:
        psia = saturation.pressure(entry.name, kelvin, "bubble") / saturation.PSI
        expected = "low" if psia < 45 else "medium" if psia <= 170 else "high" if psia <= 355 else "very-high"
    assert entry["pressure_class"] == expected


@pytest.mark.parametrize("entry", CATALOGUE.entries, ids=lambda entry: entry.name)
def test_the_note_on_glide_is_what_the_tables_give(entry: Entry) -> None:
    text = entry["glide"]
    assert isinstance(text, str)
    if entry["blend"] == "pure":
        assert text.startswith("none")
        return
    glides = []
    for psia in range(20, 301, 10):
        try:
            glides.append(1.8 * saturation.glide(entry.name, psia * saturation.PSI))
        except OutOfRange:
            continue
    found = [float(n) for n in re.findall(r"[\d.]+(?=(?: to \d+)? °F)", text)]
    low, high = found[0], found[-1]
    if match := re.match(r"([\d.]+) to ([\d.]+) °F", text):
        low, high = float(match[1]), float(match[2])
    if text.startswith("under"):
        assert 0 <= max(glides) < high
    else:
        assert low - 0.6 < min(glides)
        assert max(glides) < high + 0.6


def test_composition_reads_as_people_write_it() -> None:
    assert CATALOGUE.entry("R-410A")["composition"] == "R-32 50 %, R-125 50 % by mass"
    assert CATALOGUE.entry("R-454B")["composition"] == "R-32 68.9 %, R-1234yf 31.1 % by mass"
    assert CATALOGUE.entry("R-22")["composition"] == "CHClF2"
    parts = {part.name: part.share for part in catalogue.parts("R-454B")}
    assert parts == {"R-32": 0.689, "R-1234yf": 0.311}


def test_kind_and_share_of_hfo_follow_from_the_parts() -> None:
    kinds = {e.name: e["kind"] for e in CATALOGUE.entries}
    assert [kinds[n] for n in ("R-12", "R-22", "R-410A", "R-454B", "R-1234yf", "R-717")] == [
        "CFC",
        "HCFC",
        "HFC",
        "HFC-HFO",
        "HFO",
        "natural",
    ]
    assert number(CATALOGUE.entry("R-455A"), "hfo_share") == pytest.approx(0.755)
    assert number(CATALOGUE.entry("R-448A"), "hfo_share") == pytest.approx(0.27)
    assert number(CATALOGUE.entry("R-410A"), "hfo_share") == 0.0


def test_a_blend_of_a_part_with_unknown_gwp_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(
        catalogue.load()["components"]["R-125"],
        "gwp_ar6",
        [None, "M"],
    )
    column = next(c for c in catalogue.COLUMNS if c.name == "gwp_ar6")
    assert column.read("R-410A")[0] is None
    assert column.read("R-134a")[0] == 1530.0


@pytest.mark.parametrize(
    ("shares", "message"),
    [
        ({"R-32": 0.5, "R-125": 0.4}, "R-999: the shares by mass sum to 0.9, not to 1"),
        ({"R-32": 50.0, "R-125": 50.0}, "R-999: the shares by mass sum to 100, not to 1"),
        ({"R-32": 1.2, "R-125": -0.2}, "R-999: the share of R-125 is -0.2, not above 0"),
        ({"R-32": 1.0, "R-125": 0.0}, "R-999: the share of R-125 is 0.0, not above 0"),
        ({"R-32": float("nan"), "R-125": 0.5}, "R-999: the share of R-32 is nan, not above 0"),
    ],
)
def test_shares_that_are_not_shares_are_refused(shares: Mapping[str, float], message: str) -> None:
    with pytest.raises(CatalogueError) as caught:
        catalogue.checked_parts("R-999", shares)
    assert str(caught.value) == message


def test_every_part_of_every_blend_is_a_pure_substance_on_file() -> None:
    for name in CATALOGUE.names:
        for part in catalogue.parts(name):
            assert catalogue.model(part.name)


def test_the_hydrogen_mixture_weighs_what_its_parts_weigh() -> None:
    gas = catalogue.gases().entry("hydrogen-mix")
    assert gas["molar_mass"] == pytest.approx(0.05 * 2.016 + 0.95 * 28.0134, abs=1e-3)


def test_a_condition_can_name_every_option_of_every_attribute() -> None:
    """An option is one word to the language of conditions: `refrigerant.pressure_class is very-high`."""
    for attribute in CATALOGUE.attributes:
        for option in attribute.options:
            assert re.fullmatch(r"[A-Za-z0-9]\w*(?:[-.]\w+)*", option)
