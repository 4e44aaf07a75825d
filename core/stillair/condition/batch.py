"""Many conditions judged at once, and judged again as facts are learnt one by one."""

from __future__ import annotations

import marshal
from collections.abc import Callable, Iterable, Mapping, Sequence
from types import CodeType
from typing import Any, NamedTuple

from .core import Ref

__all__ = ["Batch", "Narrowing", "Slots", "defined"]


class Slots(NamedTuple):
    """Where each fact stands: a number in the lows and highs, one with options in the masks."""

    numbers: Mapping[Ref, int]
    options: Mapping[Ref, int]


class Batch:
    """Compiled conditions, loaded. Verdicts are 0 fails, 1 holds, 2 open, in the order of the conditions."""

    def __init__(self, code: bytes) -> None:
        judges, self._updates_code, widest = marshal.loads(code)
        space = defined(judges)
        self._spans: Callable[[list[float], list[float], list[int]], list[int]] = space["spans"]
        self._points: Callable[[list[float], list[int]], list[int]] | None = space.get("points")
        self._updates: dict[str, Any] | None = None
        self._singles = frozenset(1 << bit for bit in range(widest))

    def judge(self, lows: list[float], highs: list[float], masks: list[int]) -> list[int]:
        """Every verdict; lists in the order of its `Slots`.

        Where every fact has one possible value and conditions are many, a simpler function gives the same
        verdicts.
        """
        if self._points is not None and lows == highs and self._singles.issuperset(masks):
            total = sum(lows)
            # Lists take nan to equal itself, but a number that does not exist has no one value.
            if total == total:
                return self._points(lows, masks)
        return self._spans(lows, highs, masks)

    def updates(self) -> tuple[Sequence[Callable[..., None]], Sequence[Callable[..., None]]]:
        """For each number and each mask: judges again the open conditions that mention it.

        They take lows, highs, masks and verdicts, and are loaded when first wanted.
        """
        if self._updates is None:
            self._updates = defined(marshal.loads(self._updates_code))
        return self._updates["numbers"], self._updates["options"]


class Narrowing:
    """Verdicts kept up to date while facts are learnt one by one.

    Learning only decides what was open, so only the open conditions that mention the fact are judged again.
    Where the new value is not within the old one (a correction, an expiry), all are.
    """

    __slots__ = ("_batch", "_highs", "_lows", "_masks", "_numbers", "_options", "verdicts")

    def __init__(
        self, batch: Batch, lows: Iterable[float], highs: Iterable[float], masks: Iterable[int]
    ) -> None:
        self._batch = batch
        self._lows, self._highs, self._masks = list(lows), list(highs), list(masks)
        self._numbers, self._options = batch.updates()
        self.verdicts = batch.judge(self._lows, self._highs, self._masks)

    def copy(self) -> Narrowing:
        """The same, to be narrowed by itself."""
        other = Narrowing.__new__(Narrowing)
        other._batch, other._numbers, other._options = self._batch, self._numbers, self._options
        other._lows, other._highs, other._masks = self._lows[:], self._highs[:], self._masks[:]
        other.verdicts = self.verdicts[:]
        return other

    def number(self, slot: int, low: float, high: float) -> None:
        """The number in this slot lies between these two."""
        lows, highs = self._lows, self._highs
        within = lows[slot] <= low and high <= highs[slot]
        lows[slot], highs[slot] = low, high
        if within:
            self._numbers[slot](lows, highs, self._masks, self.verdicts)
        else:
            self.verdicts[:] = self._batch.judge(lows, highs, self._masks)

    def options(self, slot: int, mask: int) -> None:
        """The fact in this slot has one of these options."""
        masks = self._masks
        within = not mask & ~masks[slot]
        masks[slot] = mask
        if within:
            self._options[slot](self._lows, self._highs, masks, self.verdicts)
        else:
            self.verdicts[:] = self._batch.judge(self._lows, self._highs, masks)


def defined(code: CodeType) -> dict[str, Any]:
    """What the code defines."""
    space: dict[str, Any] = {"__builtins__": {}}
    exec(code, space)
    return space
