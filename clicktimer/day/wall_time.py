"""Seconds of a log to wall time and back, by IANA zone: days of 23 and 25 hours come out right.

Without a start only elapsed time is told, and nothing by the clock is answered.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from clicktimer.errors import SettingsError
from clicktimer.records import Reason

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


def comes_twice(moment: datetime, zone: ZoneInfo | None) -> bool:
    """Return whether the clocks of a zone show this wall time twice, since they are set back over it."""
    if zone is None:
        return False
    first, second = (moment.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return first is not None and second is not None and first > second


def _timestamp(moment: datetime) -> float:
    """Seconds since 1970 of a wall time; of one that the clocks skip, the moment at which they skip it."""
    early, late = (moment.replace(fold=fold).timestamp() for fold in (1, 0))
    if early >= late:
        return late  # it is there once, or twice: then its first time
    before = datetime.fromtimestamp(early, UTC).astimezone(moment.tzinfo).utcoffset()
    low, high = int(early), int(late)
    while high - low > 1:
        middle = (low + high) // 2
        if datetime.fromtimestamp(middle, UTC).astimezone(moment.tzinfo).utcoffset() == before:
            low = middle
        else:
            high = middle
    return float(high)


def twice_reasons(
    started_at: str | None, nobody: Sequence[str], duration_s: float, zone: ZoneInfo | None
) -> tuple[Reason, ...]:
    """Return which of two equal wall times was taken, for the start and for the ends of stretches of the day.

    A start with its offset from UTC ("2026-11-01 01:30-05:00") says by itself which it means.
    """
    if started_at is None or zone is None:
        return ()
    try:
        start = datetime.fromisoformat(started_at)
    except ValueError:
        return ()
    found = []
    if start.tzinfo is None and comes_twice(start, zone):
        offsets = [start.replace(tzinfo=zone, fold=fold).isoformat()[-6:] for fold in (0, 1)]
        found.append(Reason("day.start-comes-twice", at=f"{start:%H:%M}", first=offsets[0], second=offsets[1]))
    started_s = started_seconds(started_at, zone)
    first, last = (wall(at_s, started_s or 0.0, zone).date() for at_s in (0.0, duration_s))
    for text in nobody:
        for minute in dict.fromkeys(parse_span(text)):
            for day in range((last - first).days + 1):
                at = datetime(first.year, first.month, first.day) + timedelta(days=day, minutes=minute)
                if comes_twice(at, zone):
                    found.append(Reason("day.span-comes-twice", at=f"{at:%H:%M}", date=f"{at:%Y-%m-%d}"))
    return tuple(dict.fromkeys(found))


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
            ends.append(_timestamp(moment) - started_s)
        from_s, to_s = max(0.0, ends[0]), min(duration_s, ends[1])
        if to_s > from_s:
            found.append((from_s, to_s))
        day += timedelta(days=1)
    return tuple(found)
