"""Where water boils in a vacuum, and what the rise of a vacuum tells."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillair.hooks import hookimpl

if TYPE_CHECKING:
    from stillair.calculator import Calculator


@hookimpl
def stillair_calculators() -> list[Calculator]:
    from .calculators import CALCULATORS

    return list(CALCULATORS)
