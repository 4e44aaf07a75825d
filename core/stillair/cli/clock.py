"""The one place where the time is read. Tests put another clock in its place."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta, tzinfo

__all__ = ["Clock", "FixedClock"]


class _Here(tzinfo):
    """The zone of this device, by the rules of its system: a time may be left out, or happen twice."""

    def utcoffset(self, dt: datetime | None) -> timedelta | None:
        return None if dt is None else dt.replace(tzinfo=None).astimezone().utcoffset()

    def dst(self, dt: datetime | None) -> timedelta | None:
        return None

    def tzname(self, dt: datetime | None) -> str | None:
        return None if dt is None else dt.replace(tzinfo=None).astimezone().tzname()

    def fromutc(self, dt: datetime) -> datetime:
        local = dt.replace(tzinfo=UTC).astimezone()
        naive = local.replace(tzinfo=None)
        twice = naive.replace(fold=0).astimezone().utcoffset() != local.utcoffset()
        return naive.replace(tzinfo=self, fold=int(twice))


_HERE = _Here()


class Clock:
    """The clock and the zone of this device."""

    def now(self) -> float:
        """Seconds since 1970 UTC."""
        return time.time()

    def zone(self, at: float) -> tzinfo:
        """The zone of this device, with the days on which its clocks are changed."""
        return _HERE

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
