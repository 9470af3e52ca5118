"""Seconds of a log to wall time and back, by IANA zone: days of 23 and 25 hours come out right.

Without a start only elapsed time is told, and nothing by the clock is answered.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from clicktimer.errors import SettingsError

_SPAN = re.compile(r"^\s*(\d{1,2}):(\d{2})\s*-\s*(\d{1,2}):(\d{2})\s*$")


def parse_zone(name: str | None) -> ZoneInfo | None:
    """Read an IANA zone such as "America/Halifax". Raises SettingsError for one that is not known."""
    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise SettingsError(
            f'the time zone "{name[:40]}" is not known: give it as "America/Halifax" or "Europe/Berlin"'
        ) from None


def started_seconds(started_at: str | None, zone: ZoneInfo | None) -> float | None:
    """The beginning as seconds since 1970. Without a zone, wall time is reckoned as if it were UTC.

    Raises SettingsError for a time that the clocks skipped in that zone.
    """
    if started_at is None:
        return None
    try:
        moment = datetime.fromisoformat(started_at)
    except ValueError:
        return None
    if zone is None:
        return moment.replace(tzinfo=UTC).timestamp()
    if moment.tzinfo is None:
        local = moment.replace(tzinfo=zone)
        back = local.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
        if back != moment:
            raise SettingsError(
                f"the clocks skipped {moment:%Y-%m-%d %H:%M} in {zone.key}: give the time an hour later, or the "
                "right zone"
            )
        moment = local
    return moment.timestamp()


def wall(time_s: float, started_s: float, zone: ZoneInfo | None) -> datetime:
    """Wall time of a moment of the log; a zone is needed for days on which the clocks change."""
    return datetime.fromtimestamp(started_s + time_s, UTC if zone is None else zone)


def clock(time_s: float, started_s: float | None, zone: ZoneInfo | None = None, *, with_date: bool = False) -> str:
    """Write a moment by the wall's clock, or as elapsed time where the start is not known.

    >>> clock(5400.0, None)
    '1 h 30 min in'
    """
    if started_s is None:
        minutes = round(time_s / 60)
        return f"{minutes // 60} h {minutes % 60:02d} min in"
    return wall(time_s, started_s, zone).strftime("%m-%d %H:%M" if with_date else "%H:%M")


def parse_span(text: str) -> tuple[int, int]:
    """Read "01:00-05:00" as minutes of the day. Raises SettingsError."""
    match = _SPAN.match(text)
    if match:
        h1, m1, h2, m2 = map(int, match.groups())
        if h1 < 24 and h2 <= 24 and m1 < 60 and m2 < 60 and (h2 < 24 or m2 == 0) and (h1, m1) != (h2, m2):
            return 60 * h1 + m1, 60 * h2 + m2
    raise SettingsError(f'"{text[:40]}" is no stretch of the day: write it as "01:00-05:00"')


def spans_s(
    span: tuple[int, int], started_s: float, duration_s: float, zone: ZoneInfo | None
) -> tuple[tuple[float, float], ...]:
    """A stretch of the day, minutes from midnight by the wall, as seconds of the log, one for every day in it."""
    zone_or_utc = UTC if zone is None else zone
    first = wall(0.0, started_s, zone).date() - timedelta(days=1)
    last = wall(duration_s, started_s, zone).date()
    found = []
    day = first
    while day <= last:
        ends = []
        for minute, later in ((span[0], False), (span[1], span[1] <= span[0])):
            date = day + timedelta(days=1 if later else 0)
            if minute == 24 * 60:
                date, minute = date + timedelta(days=1), 0
            moment = datetime(date.year, date.month, date.day, minute // 60, minute % 60, tzinfo=zone_or_utc)
            ends.append(moment.timestamp() - started_s)
        from_s, to_s = max(0.0, ends[0]), min(duration_s, ends[1])
        if to_s > from_s:
            found.append((from_s, to_s))
        day += timedelta(days=1)
    return tuple(found)
