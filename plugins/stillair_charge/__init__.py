"""What a circuit is charged with, and what its temperatures and airflow say of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillair.hooks import hookimpl

if TYPE_CHECKING:
    from stillair.calculator import Calculator


@hookimpl
def stillair_calculators() -> list[Calculator]:
    from .calculators import CALCULATORS

    return list(CALCULATORS)
