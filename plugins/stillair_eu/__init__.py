"""European rules on fluorinated refrigerant: a pack, and the practical limits of EN 378."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from stillair.hooks import hookimpl

if TYPE_CHECKING:
    from stillair.calculator import Calculator


@hookimpl
def stillair_calculators() -> list[Calculator]:
    from .calculators import CALCULATORS

    return list(CALCULATORS)


@hookimpl
def stillair_packs() -> list[Path]:
    """The folder of the pack, which joins `leak`."""
    return [Path(__file__).parent / "eu"]
