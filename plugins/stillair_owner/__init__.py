"""What the owner decides by: what a leak costs, when a repair has paid for itself, and what the gas warms."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillair.hooks import hookimpl

if TYPE_CHECKING:
    from stillair.calculator import Calculator


@hookimpl
def stillair_calculators() -> list[Calculator]:
    from .calculators import CALCULATORS

    return list(CALCULATORS)
