"""The pictures of a day: rows by the wall's clock, and words that give the figures of the reading."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from clicktimer.day.analysis import DayReading, read_day
from clicktimer.day.calendar_rows import Piece, WallRows
from clicktimer.day.cycle_log import DayLog
from clicktimer.records import Gap
from clicktimer.reporting.figures import day_pictures, day_sheet
from tests.day.test_day import cycles_of
from tests.reporting.test_day_report import a_day

DAY_S = 86_400.0
# Clocks: the second Sunday of March and the first of November (Energy Policy Act of 2005); the last Sunday of March
# (directive 2000/84/EC); half an hour on Lord Howe; at midnight in Brazil until 2018.
CHANGES = [
    ("2026-03-07 17:20", "America/New_York", "skipped", 1.0, 2.0),
    ("2026-10-31 20:00", "America/New_York", "twice", 1.0, 1.0),
    ("2026-03-28 12:00", "Europe/Berlin", "skipped", 1.0, 2.0),
    ("2026-04-04 12:00", "Australia/Lord_Howe", "twice", 0.5, 1.5),
    ("2018-11-03 12:00", "America/Sao_Paulo", "skipped", 1.0, 0.0),
]


def inside(piece: Piece, row: int, hour: float) -> bool:
    return piece.row == row and piece.from_h - 1e-9 <= hour < piece.to_h + 1e-9


@pytest.mark.parametrize(("start", "zone", "what", "hours", "from_h"), CHANGES)
def test_rows_are_those_of_the_wall_minute_by_minute(start: str, zone: str, what: str, hours: float, from_h: float):
    place = ZoneInfo(zone)
    began = datetime.fromisoformat(start).replace(tzinfo=place)
    rows = WallRows(2 * DAY_S, began.timestamp(), place)
    (odd,) = rows.odd
    assert (odd.row, odd.what, odd.from_h, odd.to_h - odd.from_h) == (1, what, from_h, hours)
    drawn = rows.pieces(0.0, 2 * DAY_S)
    assert sum(p.to_h - p.from_h for p in drawn) == pytest.approx(48.0)  # nothing is lost, nothing drawn twice
    for minute in range(0, 2 * 1440, 7):
        moment = (began.astimezone(UTC) + timedelta(minutes=minute)).astimezone(place)
        row = (moment.date() - began.date()).days
        hour = moment.hour + moment.minute / 60
        assert rows.date_of(row) == moment.date()
        assert rows.hour_of(60.0 * minute) == pytest.approx(hour)
        (at,) = rows.pieces(60.0 * minute, 60.0 * minute)
        assert (at.row, at.from_h) == (row, pytest.approx(hour))
        twice = what == "twice" and row == 1 and from_h <= hour < from_h + hours
        assert at.lane == (("second" if moment.fold else "first") if twice else "whole")
        assert sum(inside(p, row, hour) and p.lane == at.lane for p in drawn) == 1


@pytest.mark.parametrize(("date", "hours"), [("2026-03-08", 23), ("2026-11-01", 25), ("2026-06-01", 24)])
def test_a_day_of_23_or_25_hours_is_one_row(date: str, hours: int):
    zone = ZoneInfo("America/New_York")
    began = datetime.fromisoformat(date).replace(tzinfo=zone)
    rows = WallRows(hours * 3600.0, began.timestamp(), zone)
    assert rows.count == 1
    assert sum(p.to_h - p.from_h for p in rows.pieces(0.0, hours * 3600.0)) == pytest.approx(hours)


@pytest.mark.parametrize("began_s", [None, 1_780_272_000.0])
def test_some_milliseconds_over_a_day_make_no_empty_row(began_s: float | None):
    assert WallRows(DAY_S + 0.02, began_s).count == 1
    assert WallRows(DAY_S + 30.0, began_s).count == 2


def test_without_a_start_rows_are_24_hours_from_the_beginning():
    rows = WallRows(1.5 * DAY_S, None)
    assert rows.count == 2
    assert rows.date_of(0) is None
    assert rows.pieces(80_000.0, 90_000.0) == [
        Piece(0, 80_000 / 3600, 24.0, "whole"),
        Piece(1, 0.0, 3600 / 3600, "whole"),
    ]
    assert rows.odd == ()


def an_empty_day() -> DayReading:
    return read_day(DayLog((), DAY_S))


def a_week_with_a_change_of_clocks() -> DayReading:
    rng = np.random.default_rng(4)
    ins = np.cumsum(rng.uniform(1500, 4000, 200))
    runs = 40.0 + rng.exponential(12.0, 200)
    began = datetime(2026, 10, 30, 15, 0, tzinfo=ZoneInfo("America/New_York")).timestamp()
    gaps = (Gap(200_000.0, 230_000.0, "lost"), Gap(400_000.0, None, "next part"))
    cycles = cycles_of(tuple(ins), tuple(ins + runs), 7 * DAY_S)
    return read_day(DayLog(cycles, 7 * DAY_S, gaps, began, "America/New_York"))


@cache
def known_day() -> DayReading:
    return a_day(known=True)[1]


READINGS = {
    "known": known_day,
    "start not known": lambda: a_day(known=False)[1],
    "nothing": an_empty_day,
    "a week": a_week_with_a_change_of_clocks,
}


@pytest.mark.parametrize("case", [c if c != "a week" else pytest.param(c, marks=pytest.mark.slow) for c in READINGS])
def test_every_day_is_drawn_and_is_the_same_each_time(case: str):
    day = READINGS[case]()
    pictures = (*day_pictures(day), day_sheet(day, "cellar 水.flac"))
    assert len(pictures) == (6 if day.replayed else 5)
    for picture in pictures[-1:] if case == "known" else pictures[:-1]:
        ET.fromstring(picture.svg())
        assert picture.caption
    if case == "a week":
        assert pictures[-1].svg() == day_sheet(day, "cellar 水.flac").svg()
        assert pictures[0].png(50) == day_pictures(day)[0].png(50)


def test_the_words_give_the_figures_of_the_reading():
    day = known_day()
    strip, runs, spread, starts, replay = (p.alt for p in day_pictures(day))
    assert f"{day.starts.count} starts" in starts
    assert ", ".join(map(str, day.starts.by_hour)) in starts
    assert sum(map(int, re.findall(r"\d+", starts.split("Hour by hour:")[1].split(". ")[0]))) == day.starts.count
    assert "Seeping of 0.30 gpm (0." in strip
    assert day.run is not None
    assert f"The run with no water in use: {day.run.seconds:.0f} s (" in runs  # 24 s: its interval is seconds wide
    under, between, over = map(int, re.findall(r"(\d+) (?:are|from|of 60)", spread))
    assert under + between + over == len([c for c in day.log.cycles if c.run_s is not None])
    for r in day.replayed:
        assert f"{r.name} {r.starts.value:.0f} starts" in replay
    assert "Seeping of 1.14 L/min (1.0" in day_pictures(day, units="metric")[0].alt


def test_a_change_of_clocks_is_told_with_the_strip():
    (strip, *_) = day_pictures(a_week_with_a_change_of_clocks())
    assert "2026-11-01 the clocks were set back" in strip.caption
    assert "8 rows" in strip.alt
    assert "2 gaps hatched" in strip.alt


def test_marks_that_the_user_moved_are_those_of_the_pictures():
    day = known_day()
    spread = day_pictures(replace(day, marks_s=(20.0, 90.0)))[2].alt
    assert "from 20 to 90 s" in spread
