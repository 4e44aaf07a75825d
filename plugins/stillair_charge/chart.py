"""Printed charts read between their cells: target superheat, and target temperature split."""

from __future__ import annotations

import functools
import json
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from stillair.calculator import OutOfRange

__all__ = ["Chart", "rule_of_thumb", "split", "superheat", "target_split", "target_superheat"]

_HERE = Path(__file__).parent
#: °F, for the rounding of the unit conversion before the look-up.
SLACK = 1e-9


class Chart(NamedTuple):
    """`cells` by row and column, all in °F; None where the chart has none."""

    rows: tuple[float, ...]
    columns: tuple[float, ...]
    cells: tuple[tuple[float | None, ...], ...]
    source: str

    def at(self, row: float, column: float) -> float | None:
        """Bilinear between the cells around; None where one that counts has no value; OutOfRange outside."""
        i, across = _between(self.rows, row)
        j, along = _between(self.columns, column)
        total = 0.0
        for down, share_down in ((i, 1 - across), (i + 1, across)):
            for right, share_right in ((j, 1 - along), (j + 1, along)):
                share = share_down * share_right
                if share:
                    cell = self.cells[down][right]
                    if cell is None:
                        return None
                    total += share * cell
        return total


def _between(marks: Sequence[float], at: float) -> tuple[int, float]:
    """The mark below, and how far on the way to the next."""
    if not marks[0] - SLACK <= at <= marks[-1] + SLACK:
        raise OutOfRange(
            f"the chart goes from {marks[0]:g} to {marks[-1]:g} °F there, and {at:.4g} °F is outside"
        )
    near = min(marks, key=lambda mark: abs(mark - at))
    if abs(near - at) <= SLACK:
        at = near
    i = max(0, bisect_right(marks, at) - 1)
    if i == len(marks) - 1:
        return i, 0.0
    return i, (at - marks[i]) / (marks[i + 1] - marks[i])


def _read(name: str, rows: str) -> Chart:
    found = json.loads((_HERE / name).read_text(encoding="utf-8"))
    table: Mapping[str, list[float | None]] = found[rows]
    return Chart(
        tuple(float(mark) for mark in table),
        tuple(map(float, found["wet_bulb_fahrenheit"])),
        tuple(tuple(cells) for cells in table.values()),
        found["source"],
    )


@functools.cache
def superheat() -> Chart:
    """Target superheat by outdoor dry bulb and return wet bulb."""
    return _read("superheat_chart.json", "outdoor_fahrenheit")


@functools.cache
def split() -> Chart:
    """Target temperature split by return dry bulb and return wet bulb."""
    return _read("split_chart.json", "return_fahrenheit")


def rule_of_thumb(wet_bulb: float, outdoor: float) -> float:
    """The trade's estimate, all in °F."""
    return (3 * wet_bulb - 80 - outdoor) / 2


def target_superheat(wet_bulb: float, outdoor: float, by: str) -> float:
    """K of superheat to charge to; both temperatures in K."""
    inside, outside = _fahrenheit(wet_bulb), _fahrenheit(outdoor)
    if outside < superheat().rows[0] - SLACK:
        raise OutOfRange(
            f"{outside:.4g} °F outdoors is below 55 °F, where no charge is judged by superheat: weigh it in"
        )
    found = superheat().at(outside, inside)
    if found is None:
        raise OutOfRange("the chart has no target here: do not charge by superheat, weigh it in")
    if by == "rule_of_thumb":
        found = rule_of_thumb(inside, outside)
        if found < 5:
            raise OutOfRange("below 5 °F the rule of thumb is no target: weigh it in")
    return found * 5 / 9


def target_split(dry_bulb: float, wet_bulb: float) -> float:
    """K between return and supply air that a right airflow gives; both temperatures in K."""
    if wet_bulb > dry_bulb:
        raise OutOfRange("the wet bulb is above the dry bulb: the two readings may be swapped")
    found = split().at(_fahrenheit(dry_bulb), _fahrenheit(wet_bulb))
    if found is None:
        raise OutOfRange("the table has no target for air so dry")
    return found * 5 / 9


def _fahrenheit(kelvin: float) -> float:
    return kelvin * 1.8 - 459.67
