"""The calculators of the European pack: examples, and what cannot be."""

from __future__ import annotations

import pytest
import stillair_eu
import stillair_refrigerants
from stillair.calculate import calculate

CATALOGUES = {found.name: found for found in stillair_refrigerants.stillair_catalogues()}
CALCULATORS = {found.name: found for found in stillair_eu.stillair_calculators()}


def calc(name: str, **inputs: str) -> tuple[float | None, str]:
    found = calculate(CALCULATORS[name], inputs, CATALOGUES)
    return (None if found.number.undefined else found.number.low), " ".join(found.reasons)


@pytest.mark.parametrize("name", ["annex_1_equivalent", "practical_room"])
def test_a_charge_below_nothing_is_refused(name: str) -> None:
    assert calc(name, refrigerant="R-410A", charge="-1 kg") == (None, "the charge is below nothing")
    assert calc(name, refrigerant="R-410A", charge="0 kg") == (0.0, "")


def test_a_gas_outside_the_tables_is_refused_by_name() -> None:
    assert "R-22 is not a gas of Annex I" in calc("annex_1_equivalent", refrigerant="R-22", charge="5 kg")[1]
    assert "no practical limit of R-123" in calc("practical_room", refrigerant="R-123", charge="5 kg")[1]


def test_twice_the_charge_needs_twice_the_room() -> None:
    one, two = (calc("practical_room", refrigerant="R-32", charge=f"{kg} kg")[0] for kg in (1, 2))
    assert one is not None and two == pytest.approx(2 * one)
