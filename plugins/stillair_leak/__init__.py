"""How fast a leak loses charge, and what a detector, a pool or a test could show of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillair.hooks import hookimpl

if TYPE_CHECKING:
    from stillair.calculator import Calculator


@hookimpl
def stillair_calculators() -> list[Calculator]:
    from .calculators import CALCULATORS
    from .noticing import CALCULATORS as NOTICING

    return [*CALCULATORS, *NOTICING]
