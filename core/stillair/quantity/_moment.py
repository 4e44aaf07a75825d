"""Days and clock times, read and shown in a time zone."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta, tzinfo

from stillair.quantity._error import QuantityError, quoted

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_YEARS = range(1900, 2201)
"""Years a moment may lie in; another is a slip of the keys (judgement, no source)."""

DATE_BEGINS = r"[0-9]{4}-[0-9]{1,2}-[0-9]"
_TIME = r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2})(?:\.([0-9]{1,6}))?)?"
_CLOCK = _TIME + r"(?: ?([AaPp])\.?[Mm]\.?)?"
_DATE = r"([0-9]{4})-([0-9]{2})-([0-9]{2})"
_OFFSET = r"(?: ?(Z|[+-][0-9]{2}:?[0-9]{2}(?::[0-9]{2})?))?"


def read_moment(clean: str, now: float | None, zone: tzinfo | None) -> float:
    try:
        if match := re.fullmatch(_CLOCK, clean):
            if now is None or zone is None:
                raise QuantityError(f"{quoted(clean)} has no date", "write the day too, as 2026-04-15 09:40")
            hour = int(match[1])
            if match[5]:
                if not 1 <= hour <= 12:
                    raise ValueError(hour)
                hour = hour % 12 + (12 if match[5] in "Pp" else 0)
            day = _in_zone(now, zone).replace(tzinfo=None)
            second, micro = _seconds(match[3], match[4])
            local = day.replace(hour=hour, minute=int(match[2]), second=second, microsecond=micro)
            return _seconds_since_epoch(local, zone, clean)
        if match := re.fullmatch(_DATE + r"(?:(?: |T)" + _TIME + ")?" + _OFFSET, clean):
            year, month, day_of_month, hour, minute = (int(match[i] or 0) for i in range(1, 6))
            if year not in _YEARS:
                raise QuantityError(f"the year of {quoted(clean)} is out of reach", "check the date")
            local = datetime(year, month, day_of_month, hour, minute, *_seconds(match[6], match[7]))
            if match[8]:
                local = local.replace(tzinfo=datetime.fromisoformat("2000-01-01T00:00" + match[8]).tzinfo)
                return (local - _EPOCH).total_seconds()
            if zone is None:
                raise QuantityError(
                    f"{quoted(clean)} does not say in which time zone",
                    f"write the offset too, as {clean} -05:00",
                )
            return _seconds_since_epoch(local, zone, clean)
    except (ValueError, OverflowError) as error:
        if isinstance(error, QuantityError):
            raise
        raise QuantityError(
            f"there is no such day or time as {quoted(clean)}", "check the date, the hour and the minute"
        ) from None
    raise QuantityError(
        f"{quoted(clean)} is not a date or a time", "write 9:40, 2026-04-15, or 2026-04-15 09:40"
    )


def _seconds(second: str | None, decimals: str | None) -> tuple[int, int]:
    """Seconds and microseconds."""
    return int(second or 0), int((decimals or "").ljust(6, "0"))


def _seconds_since_epoch(local: datetime, zone: tzinfo, written: str) -> float:
    """Seconds of a local time, which must exist and happen once only when clocks are set forward or back."""
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() != second.utcoffset():
        exists = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == local
        what = "happens twice" if exists else "is left out"
        raise QuantityError(
            f"{quoted(written)} {what} on that day: the clocks are changed",
            "write the day and the offset too, as 2026-04-15 09:40 -05:00",
        )
    return (first - _EPOCH).total_seconds()


def _in_zone(value: float, zone: tzinfo) -> datetime:
    try:
        return (_EPOCH + timedelta(seconds=value)).astimezone(zone)
    except (ValueError, OverflowError):
        raise QuantityError(f"{value} s since 1970 is not a moment of the calendar") from None


def show_moment(value: float, zone: tzinfo, *, day_of: float | None = None) -> str:
    """A moment as `2026-04-15 09:40 -05:00`, to the second; only `09:40` if on the day of `day_of`."""
    local = _in_zone(math.floor(value + 0.5) if math.isfinite(value) else value, zone)
    precision = "seconds" if local.second else "minutes"
    if day_of is not None and _in_zone(day_of, zone).date() == local.date():
        return local.time().isoformat(precision)
    plain = local.replace(tzinfo=None).isoformat(" ", precision)
    return f"{plain} {local.isoformat(' ', precision).removeprefix(plain)}"
