"""Seconds of a log in, places on a sheet with one row for each day out: rows by the wall's date, 0 to 24 h across.

On a day of 23 hours the hour that the clocks skip is there and stays empty; on a day of 25 hours the hour that comes
twice has two lanes, the first time in the first, the second time in the second. Without a start a row is 24 hours from
the beginning.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Final, Literal
from zoneinfo import ZoneInfo

DAY_S: Final = 86_400.0
HOUR_S: Final = 3_600.0
LEAST_LAST_S: Final = 0.25
"""So little at the end, as codecs add it, makes no row of its own; no click is told so near to the end."""

Lane = Literal["whole", "first", "second"]


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a stretch that lies in one row: hours of the wall, and the lane where the hour comes twice."""

    row: int
    from_h: float
    to_h: float
    lane: Lane


@dataclass(frozen=True, slots=True)
class OddHours:
    """Hours of the wall that a day lacks ("skipped") or has twice ("twice")."""

    row: int
    from_h: float
    to_h: float
    what: Literal["skipped", "twice"]


@dataclass(frozen=True, slots=True)
class _Steady:
    """A stretch in which the wall's clock runs evenly: UTC from_s to to_s, wall = UTC + offset_s."""

    from_s: float
    to_s: float
    offset_s: float


class WallRows:
    """The rows of a log. Times of the log in seconds from its beginning."""

    def __init__(self, duration_s: float, started_s: float | None, zone: ZoneInfo | None = None) -> None:
        self.known = started_s is not None
        self._begin_s = 0.0 if started_s is None else started_s
        end_s = self._begin_s + duration_s
        around = (self._begin_s - 2 * DAY_S, end_s + 2 * DAY_S)
        self._steady = [_Steady(*around, 0.0)] if zone is None or not self.known else _stretches(*around, zone)
        self._first_day = math.floor(self._wall_s(self._begin_s) / DAY_S)
        last_s = max(self._wall_s(self._begin_s), self._wall_s(end_s - LEAST_LAST_S))
        self.count = math.floor(last_s / DAY_S) - self._first_day + 1
        turns = [
            (a.to_s + min(a.offset_s, b.offset_s), a.to_s + max(a.offset_s, b.offset_s), a.offset_s > b.offset_s)
            for a, b in pairwise(self._steady)
        ]
        self._twice = [(from_s, to_s) for from_s, to_s, back in turns if back]
        self.odd = tuple(
            OddHours(row, from_h, to_h, "twice" if back else "skipped")
            for from_s, to_s, back in turns
            for row, from_h, to_h in self._rows(from_s, to_s)
            if 0 <= row < self.count
        )

    def date_of(self, row: int) -> date | None:
        """The wall's date of a row; None where the start is not known."""
        if not self.known:
            return None
        return date(1970, 1, 1) + timedelta(days=self._first_day + row)

    def hour_of(self, time_s: float) -> float:
        """The wall's hour, 0 to 24, of a moment of the log; hours since the beginning, modulo 24, without a start."""
        return (self._wall_s(self._begin_s + time_s) % DAY_S) / HOUR_S

    def pieces(self, from_s: float, to_s: float) -> list[Piece]:
        """Where a stretch of the log lies on the sheet; a moment gives one piece of no width."""
        at, until = self._begin_s + from_s, self._begin_s + to_s
        found = []
        for index, steady in enumerate(self._steady):
            a, b = max(at, steady.from_s), min(until, steady.to_s)
            if b < a or (b == a and not (at == until and steady.from_s <= at < steady.to_s)):
                continue
            cuts = sorted({a + steady.offset_s, b + steady.offset_s} | self._cuts(a, b, steady.offset_s))
            for wall_from, wall_to in pairwise(cuts) if len(cuts) > 1 else [(cuts[0], cuts[0])]:
                lane = self._lane((wall_from + wall_to) / 2, index)
                day = math.floor(wall_from / DAY_S)
                row, base = day - self._first_day, day * DAY_S
                found.append(Piece(row, (wall_from - base) / HOUR_S, (wall_to - base) / HOUR_S, lane))
        return found

    def _cuts(self, a: float, b: float, offset_s: float) -> set[float]:
        low, high = a + offset_s, b + offset_s
        midnights = {day * DAY_S for day in range(math.ceil(low / DAY_S), math.floor(high / DAY_S) + 1)}
        return {cut for cut in midnights | {x for pair in self._twice for x in pair} if low < cut < high}

    def _lane(self, wall_s: float, index: int) -> Lane:
        for turn, (a, b) in enumerate(pairwise(self._steady)):
            if a.offset_s > b.offset_s and a.to_s + b.offset_s <= wall_s < a.to_s + a.offset_s:
                if index == turn:
                    return "first"
                if index == turn + 1:
                    return "second"
        return "whole"

    def _rows(self, from_s: float, to_s: float) -> list[tuple[int, float, float]]:
        """A stretch of wall time cut at midnights."""
        found = []
        for day in range(math.floor(from_s / DAY_S), math.ceil(to_s / DAY_S)):
            low, high = max(from_s, day * DAY_S), min(to_s, (day + 1) * DAY_S)
            found.append((day - self._first_day, (low - day * DAY_S) / HOUR_S, (high - day * DAY_S) / HOUR_S))
        return found

    def _wall_s(self, utc_s: float) -> float:
        offset_s = next((s.offset_s for s in self._steady if s.from_s <= utc_s < s.to_s), self._steady[-1].offset_s)
        return utc_s + offset_s


def _stretches(from_s: float, to_s: float, zone: ZoneInfo) -> list[_Steady]:
    """Cut a stretch of UTC where the zone's clocks are set, to the second."""
    found: list[_Steady] = []
    begin, at = from_s, from_s
    offset = _offset_s(from_s, zone)
    while at < to_s:
        step = min(at + HOUR_S, to_s)
        if _offset_s(step, zone) != offset:
            low, high = at, step
            while high - low > 0.5:
                middle = (low + high) / 2
                low, high = (middle, high) if _offset_s(middle, zone) == offset else (low, middle)
            turn = float(round(high))
            found.append(_Steady(begin, turn, offset))
            begin, offset = turn, _offset_s(turn, zone)
        at = step
    return [*found, _Steady(begin, to_s, offset)]


def _offset_s(utc_s: float, zone: ZoneInfo) -> float:
    offset = datetime.fromtimestamp(utc_s, UTC).astimezone(zone).utcoffset()
    return 0.0 if offset is None else offset.total_seconds()
