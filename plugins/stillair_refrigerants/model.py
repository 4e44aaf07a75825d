"""CoolProp's model of a refrigerant: its own equation of state, or the mixture of its parts by mass.

CoolProp is imported on the first use, never with this module.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from . import catalogue

if TYPE_CHECKING:
    from CoolProp.CoolProp import AbstractState

__all__ = ["Model", "ModelError", "model"]

#: How much the model's molar mass may differ from the catalogue's rounded one. Mole fractions taken for mass
#: fractions, or parts that do not sum to 1, show up as far more.
SAME_MOLAR_MASS = 2e-4


class ModelError(Exception):
    """The model has no finite answer there; the text names refrigerant and point."""


@dataclass(slots=True)
class Model:
    """CoolProp's model of one refrigerant. Its state objects must stay in the thread that made them."""

    name: str
    state: AbstractState = field(init=False)
    description: str = field(init=False)
    pure: bool = field(init=False)

    def __post_init__(self) -> None:
        from CoolProp.CoolProp import AbstractState

        parts = catalogue.parts(self.name)
        fluids = [catalogue.model(part.name) for part in parts]
        self.pure = len(parts) == 1
        self.state = AbstractState("HEOS", "&".join(fluids))
        if self.pure:
            self.description = f"HEOS {fluids[0]}"
        else:
            # set_mass_fractions, not set_mole_fractions: the wrong one is off by up to 39 psi, in silence.
            self.state.set_mass_fractions([part.share for part in parts])
            # Without it about one flash in a hundred between 105 and 150 °F does not converge.
            self.state.build_phase_envelope("none")
            shares = " + ".join(f"{p.share:g} {f}" for p, f in zip(parts, fluids, strict=True))
            self.description = f"HEOS mixture, by mass: {shares}"
        molar_mass = catalogue.molar_mass(self.name)
        if abs(self.state.molar_mass() / molar_mass - 1) > SAME_MOLAR_MASS:
            raise ModelError(
                f"{self.name}: the model's molar mass is {self.state.molar_mass():.6g} kg/mol, "
                f"not {molar_mass:.6g}"
            )

    def critical_temperature(self) -> float | None:
        """K; None for a blend, whose lines are known only point by point."""
        return float(self.state.T_critical()) if self.pure else None

    def saturated(self, temperature: float, line: str) -> tuple[float, float]:
        """Pressure, Pa, and density, kg/m3, on a line; ModelError where the model gives no finite answer.

        A pure substance is not asked below its triple point: the model would extrapolate in silence.
        """
        from CoolProp import QT_INPUTS

        if self.pure and temperature < self.state.Ttriple():
            raise ModelError(f"{self.name}: {temperature:.2f} K is below the triple point")
        try:
            self.state.update(QT_INPUTS, 0.0 if line == "bubble" else 1.0, temperature)
            pressure, density = self.state.p(), self.state.rhomass()
        except ValueError as error:
            raise ModelError(f"{self.name}: no {line} point at {temperature:.2f} K: {error}") from error
        if not (math.isfinite(pressure) and pressure > 0 and math.isfinite(density) and density > 0):
            raise ModelError(f"{self.name}: the {line} point at {temperature:.2f} K is not finite")
        return float(pressure), float(density)

    def second_virial(self, temperature: float) -> float:
        """m3/mol, of the vapour at low pressure."""
        from CoolProp import DmolarT_INPUTS, iphase_gas, iphase_not_imposed

        self.state.specify_phase(iphase_gas)
        try:
            self.state.update(DmolarT_INPUTS, 1e-3, temperature)
            value = float(self.state.Bvirial())
        finally:
            self.state.specify_phase(iphase_not_imposed)
        if not (math.isfinite(value) and value < 0):
            raise ModelError(f"{self.name}: the second virial coefficient at {temperature:.2f} K is {value}")
        return value

    def density(self, temperature: float, pressure: float, phase: str) -> float:
        """kg/m3 of the "vapour" or "liquid" at K and Pa; ModelError where there is no finite answer.

        The phase is imposed: left to find it, the model is slow and for a blend sometimes wrong in silence.
        """
        from CoolProp import PT_INPUTS, iphase_gas, iphase_liquid, iphase_not_imposed

        if self.pure and temperature < self.state.Ttriple():
            raise ModelError(f"{self.name}: {temperature:.2f} K is below the triple point")
        self.state.specify_phase(iphase_gas if phase == "vapour" else iphase_liquid)
        try:
            self.state.update(PT_INPUTS, pressure, temperature)
            density = float(self.state.rhomass())
        except ValueError as error:
            raise ModelError(
                f"{self.name}: no {phase} at {temperature:.2f} K and {pressure:.6g} Pa: {error}"
            ) from error
        finally:
            self.state.specify_phase(iphase_not_imposed)
        if not (math.isfinite(density) and density > 0):
            raise ModelError(
                f"{self.name}: the {phase} at {temperature:.2f} K and {pressure:.6g} Pa is not finite"
            )
        return density


_own = threading.local()


def model(name: str) -> Model:
    """The model of a refrigerant, one per thread: CoolProp's state objects cannot be shared.

    The first call in a process imports CoolProp, which takes 2 to 3 s.
    """
    models: dict[str, Model] = _own.__dict__.setdefault("models", {})
    if name not in models:
        models[name] = Model(name)
    return models[name]
