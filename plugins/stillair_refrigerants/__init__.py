"""Refrigerants: the catalogue, saturation from tables, densities, the pressure of the atmosphere."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillair.hooks import hookimpl

if TYPE_CHECKING:
    from stillair.calculator import Calculator, Catalogue


@hookimpl
def stillair_calculators() -> list[Calculator]:
    from .calculators import CALCULATORS

    return list(CALCULATORS)


@hookimpl
def stillair_catalogues() -> list[Catalogue]:
    from .catalogue import gases, refrigerants

    return [refrigerants(), gases()]
