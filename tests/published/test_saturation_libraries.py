"""Saturation pressures against correlations and models of other libraries."""

from __future__ import annotations

import CoolProp
import numpy as np
import pytest
import teqp
from chemicals import vapor_pressure
from CoolProp.CoolProp import AbstractState
from stillair_refrigerants import catalogue, saturation

# CAS numbers of what the Wagner coefficients of the VDI Heat Atlas, 2nd edition 2010 (as kept by chemicals)
# cover.
CAS = {
    "R-22": "75-45-6",
    "R-12": "75-71-8",
    "R-32": "75-10-5",
    "R-290": "74-98-6",
    "R-600a": "75-28-5",
    "R-717": "7664-41-7",
    "R-744": "124-38-9",
}


@pytest.mark.parametrize("name", CAS)
@pytest.mark.parametrize("kelvin", [230.0, 245.0, 260.0, 275.0, 290.0, 303.0])
def test_pure_refrigerants_against_the_heat_atlas(name: str, kelvin: float) -> None:
    row = vapor_pressure.Psat_data_VDI_PPDS_3.loc[CAS[name]]
    other = vapor_pressure.Wagner(kelvin, row.Tc, row.Pc, row.A, row.B, row.C, row.D)
    assert saturation.pressure(name, kelvin, "bubble") == pytest.approx(float(other), rel=0.0015)


# Lemmon, J. Chem. Eng. Data / Int. J. Thermophys. 24 (2003) 991: equations of state fitted to the blend
# itself.
@pytest.mark.parametrize("name", ["R-404A", "R-407C", "R-410A", "R-507A"])
@pytest.mark.parametrize("kelvin", [230.0, 260.0, 290.0, 320.0, 335.0])
def test_blends_against_an_equation_of_the_blend_itself(name: str, kelvin: float) -> None:
    other = AbstractState("HEOS", name.replace("-", ""))
    for line, quality in (("bubble", 0.0), ("dew", 1.0)):
        other.update(CoolProp.QT_INPUTS, quality, kelvin)
        assert saturation.pressure(name, kelvin, line) == pytest.approx(other.p(), rel=0.001)


def test_hfo_blends_against_an_older_model_of_another_library() -> None:
    """Pairs of Akasaka, Fluid Phase Equilib. 358 (2013) 98, in teqp: within the 1.5 % the newer fit moved."""
    for name in ("R-454B", "R-454C"):
        parts = catalogue.parts(name)
        other = teqp.build_multifluid_model([catalogue.model(p.name) for p in parts], teqp.get_datapath())
        moles = np.array([part.share / catalogue.molar_mass(part.name) for part in parts])
        moles /= moles.sum()
        guess = AbstractState("HEOS", "&".join(catalogue.model(part.name) for part in parts))
        guess.set_mole_fractions(list(moles))
        guess.build_phase_envelope("none")
        for kelvin in (250.0, 280.0, 310.0):
            guess.update(CoolProp.QT_INPUTS, 0.0, kelvin)
            liquid = guess.rhomolar() * moles
            vapour = guess.saturated_vapor_keyed_output(CoolProp.iDmolar) * np.array(
                guess.mole_fractions_vapor()
            )
            _, liquid, _ = other.mix_VLE_Tx(kelvin, liquid, vapour, moles, 1e-9, 1e-9, 1e-9, 1e-9, 30)
            total = float(liquid.sum())
            share = liquid / total
            pressure = total * other.get_R(share) * kelvin * (1 + other.get_Ar01(kelvin, total, share))
            assert saturation.pressure(name, kelvin, "bubble") == pytest.approx(pressure, rel=0.015)
