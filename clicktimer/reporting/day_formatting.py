"""What the text, the document and the pictures of a day write alike: moments, excluded runs, the leak, tanks."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Final

from clicktimer.day.analysis import DayReading
from clicktimer.records import Reason
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.day_figures import Moment, amount_text, share_text
from clicktimer.tank.options import STOCK_SIZES_GAL
from clicktimer.units.conversions import L_PER_US_GAL
from clicktimer.units.format import UnitSystem

DAY_S: Final = 86_400.0


def in_units_of(messages: Messages, units: UnitSystem) -> Messages:
    """Return the messages of the same reader in these units."""
    return messages if messages.units == units else replace(messages, units=units)


def moment(day: DayReading, time_s: float | None) -> Moment:
    """Return a moment of the log, seconds, as a figure of a message: with the date where the log is over a day."""
    return time_s, day.log.started_s, day.log.zone, day.log.duration_s > DAY_S


def excluded_text(day: DayReading, messages: Messages = Messages()) -> str:
    """Return how many runs are excluded, by their reasons: "2 runs with only one click heard; 1 run cut off by ..."."""
    counts = Counter(run.code for run in day.excluded)
    return "; ".join(messages.text(f"day.excluded.{code}", count=count) for code, count in counts.items())


def unknown_breaks(day: DayReading) -> bool:
    """Return whether times of day are given though an unknown time passed between parts of the sound."""
    return day.log.started_s is not None and any(gap.to_s is None for gap in day.log.gaps)


def tank_name(name: str, units: UnitSystem, *, brief: bool = False) -> str:
    """Return the name of a tank that a day was run through; a stock size in litres has its gallons beside.

    brief: the litres alone.

    >>> tank_name("20 gal", "metric")
    '76 L (20 gal)'
    """
    stock_gal = {f"{gal:g} gal": gal for gal in STOCK_SIZES_GAL}
    if units == "us" or name not in stock_gal:
        return name
    size = f"{stock_gal[name] * L_PER_US_GAL:.0f} L"
    return size if brief else f"{size} ({name})"


def leak_text(day: DayReading, units: UnitSystem, whole: str) -> str:
    """Return the flow of the leak with its interval, or its share of ``whole`` without a pump rate."""
    if day.leak_l_per_min is not None:
        return amount_text(day.leak_l_per_min.figure, "L/min", units)
    return f"{share_text(day.leak.duty_figure)} of {whole}"


def leak_line(day: DayReading) -> Reason:
    """Return the flow of the leak, from when to when, and the rests it rests on; a share without a pump rate."""
    s = day.leak
    from_at, to_at = moment(day, s.from_s), moment(day, s.to_s)
    if day.leak_l_per_min is None:
        return Reason("day.leak-share", duty=s.duty_figure, from_at=from_at, to_at=to_at, count=s.count)
    return Reason("day.leak-flow", flow=day.leak_l_per_min.figure, from_at=from_at, to_at=to_at, count=s.count)
