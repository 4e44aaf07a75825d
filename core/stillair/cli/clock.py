"""The one place where the time is read. Tests put another clock in its place."""

from __future__ import annotations

import time
from datetime import UTC, datetime, tzinfo

__all__ = ["Clock", "FixedClock"]


class Clock:
    """The clock and the zone of this device."""

    def now(self) -> float:
        """Seconds since 1970 UTC."""
        return time.time()

    def zone(self, at: float) -> tzinfo:
        """The zone in force at a moment; a fixed offset, as a job file writes it."""
        return datetime.fromtimestamp(at, UTC).astimezone().tzinfo or UTC

    def offset(self, at: float) -> int:
        """Minutes east of UTC at a moment."""
        distance = datetime.fromtimestamp(at, self.zone(at)).utcoffset()
        return 0 if distance is None else round(distance.total_seconds() / 60)


class FixedClock(Clock):
    """A clock that stands until it is moved: for demonstrations and tests."""

    def __init__(self, at: float, zone: tzinfo = UTC) -> None:
        self.at = at
        self._zone = zone

    def now(self) -> float:
        return self.at

    def zone(self, at: float) -> tzinfo:
        return self._zone
