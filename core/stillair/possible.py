"""What a fact may still be: a span of numbers with its tolerance, or a set of options."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from .verdict import Reason, Verdict

__all__ = ["NO_EFFECTS", "UNSURE", "Number", "Options", "Region", "Source", "judge_mask", "judge_span"]

#: Where an error comes from: ("repeat", line number) for one reading alone, ("offset", serial) for all
#: readings of one instrument, ("scale", serial) for a share of what it reads, which all its readings have in
#: common, ("stated", line or name) for a tolerance given without an instrument,
#: ("curve", name and lines) for what a curved function adds that no straight effect of its inputs gives.
Source = tuple[str, str]

#: The offset of an instrument whose serial is not given: ("offset?", "gauge of line 12").
UNSURE = "offset?"

NO_EFFECTS: Mapping[Source, float] = {}

INF = math.inf


class Number(NamedTuple):
    """A number that may lie between `low` and `high` (ignorance), give or take its tolerance.

    `effects` maps each source of error to its signed effect: the half-width that holds in 95 % of
    cases. Effects are combined by root-sum-square (JCGM 100:2008, 5.1.2, for independent sources), so two
    numbers that share a source (one instrument's offset) keep the sign that lets it cancel.
    `shape`, if given, is the 95 % span found by simulation where the linear one was off.
    Values are canonical SI. `undefined` marks a number that does not exist now.
    """

    low: float
    high: float
    effects: Mapping[Source, float] = NO_EFFECTS
    reasons: tuple[Reason, ...] = ()
    lines: tuple[int, ...] = ()
    taken: float | None = None
    shape: tuple[float, float] | None = None
    undefined: bool = False

    @property
    def tolerance(self) -> float:
        if not self.effects:
            return 0.0
        if any(kind == UNSURE for kind, _ in self.effects):
            return math.sqrt(math.fsum(part * part for _, part in self.parts()))
        return math.sqrt(math.fsum(e * e for e in self.effects.values()))

    def parts(self) -> list[tuple[tuple[Source, ...], float]]:
        """What the tolerance is the root of the sum of the squares of: an effect, or several taken as one.

        Whether one instrument read several values is not known where no serial is given. Then effects of
        one sign are taken as shared and those of the other sign as apart from them, whichever is worse.
        """
        parts: list[tuple[tuple[Source, ...], float]] = []
        unsure: dict[tuple[str, bool], list[tuple[Source, float]]] = {}
        for source, effect in self.effects.items():
            if source[0] == UNSURE:
                unsure.setdefault((source[1].split(" of line ")[0], effect < 0), []).append((source, effect))
            else:
                parts.append(((source,), effect))
        for found in unsure.values():
            parts.append((tuple(s for s, _ in found), math.fsum(e for _, e in found)))
        return parts

    @property
    def middle(self) -> float:
        return self.low if self.low == self.high else self.low + (self.high - self.low) / 2

    @property
    def ignorant(self) -> bool:
        return self.low != self.high

    def span(self) -> tuple[float, float]:
        """Lowest and highest value, widened by the tolerance at 95 %; (nan, nan) where undefined."""
        if self.undefined:
            return (math.nan, math.nan)
        if self.shape is not None:
            return self.shape
        tolerance = self.tolerance
        return (self.low - tolerance, self.high + tolerance)

    @staticmethod
    def nothing(*reasons: Reason) -> Number:
        """A number that does not exist now, and why."""
        return Number(-INF, INF, reasons=reasons, undefined=True)


class Options(NamedTuple):
    """A set of options still possible, as a bit mask over the domain's options in their order."""

    mask: int
    reasons: tuple[Reason, ...] = ()
    lines: tuple[int, ...] = ()
    taken: float | None = None
    since: float | None = None
    """Start of the unbroken run of the present value, seconds since 1970 (UTC)."""


@dataclass(frozen=True, slots=True)
class Region:
    """A set of numbers: disjoint pieces (low, low included, high, high included) in rising order."""

    pieces: tuple[tuple[float, bool, float, bool], ...]

    @staticmethod
    def comparison(operator: str, bound: float) -> Region:
        """The numbers x with `x operator bound`, operator one of < <= > >=."""
        match operator:
            case "<":
                return Region(((-INF, True, bound, False),))
            case "<=":
                return Region(((-INF, True, bound, True),))
            case ">":
                return Region(((bound, False, INF, True),))
            case ">=":
                return Region(((bound, True, INF, True),))
        raise ValueError(operator)

    @staticmethod
    def within(low: float, high: float) -> Region:
        return Region(((low, True, high, True),)) if low <= high else Region(())

    def complement(self) -> Region:
        pieces = []
        edge, edge_in = -INF, True
        for low, low_in, high, high_in in self.pieces:
            if edge < low or (edge == low and edge_in and not low_in):
                pieces.append((edge, edge_in, low, not low_in))
            edge, edge_in = high, not high_in
        if edge < INF or edge_in:
            pieces.append((edge, edge_in, INF, True))
        return Region(tuple(pieces))

    def union(self, other: Region) -> Region:
        pieces: list[tuple[float, bool, float, bool]] = []
        for piece in sorted(self.pieces + other.pieces, key=lambda p: (p[0], not p[1])):
            if pieces:
                low, low_in, high, high_in = pieces[-1]
                if piece[0] < high or (piece[0] == high and (piece[1] or high_in)):
                    if piece[2] > high or (piece[2] == high and piece[3]):
                        pieces[-1] = (low, low_in, piece[2], piece[3])
                    continue
            pieces.append(piece)
        return Region(tuple(pieces))

    def intersection(self, other: Region) -> Region:
        return self.complement().union(other.complement()).complement()

    def __contains__(self, value: float) -> bool:
        return any(
            (low < value or (low == value and low_in)) and (value < high or (value == high and high_in))
            for low, low_in, high, high_in in self.pieces
        )

    def covers(self, low: float, high: float) -> bool:
        """Whether every number of the closed span lies in the region."""
        return any(
            (a < low or (a == low and a_in)) and (high < b or (high == b and b_in))
            for a, a_in, b, b_in in self.pieces
        )

    def meets(self, low: float, high: float) -> bool:
        """Whether some number of the closed span lies in the region."""
        return any(
            (a < high or (a == high and a_in)) and (low < b or (low == b and b_in))
            for a, a_in, b, b_in in self.pieces
        )

    def edges(self) -> Iterable[float]:
        """The finite bounds, rising."""
        for low, _, high, _ in self.pieces:
            if low > -INF:
                yield low
            if high < INF:
                yield high


def judge_span(low: float, high: float, region: Region) -> Verdict:
    """The verdict of 'the number lies in the region' for a closed span; open for nan."""
    if low != low or high != high:
        return Verdict.OPEN
    if region.covers(low, high):
        return Verdict.HOLDS
    return Verdict.OPEN if region.meets(low, high) else Verdict.FAILS


def judge_mask(mask: int, sure: int, never: int) -> Verdict:
    """The verdict for a set of options: `sure` where the test is true, `never` where it is false.

    Options in neither (an attribute that is not known) leave it open.
    """
    if not mask & ~sure:
        return Verdict.HOLDS
    return Verdict.OPEN if mask & ~never else Verdict.FAILS
