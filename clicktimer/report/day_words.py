"""How the text of a day writes moments, amounts with their interval, and limits, with no more digits than are known."""

from __future__ import annotations

import math

from clicktimer.day.read import DayReading
from clicktimer.day.walltime import clock, parse_zone
from clicktimer.day.water import Amount
from clicktimer.formats import UnitSystem, format_interval
from clicktimer.units import L_PER_US_GAL


def when(day: DayReading, time_s: float | None) -> str:
    """A moment of the log by the wall's clock, with the date where the log is longer than a day; "?" for none."""
    if time_s is None:
        return "?"
    return clock(time_s, day.log.started_s, parse_zone(day.log.zone), with_date=day.log.duration_s > 86_400)


def unknown_breaks(day: DayReading) -> bool:
    """Whether times of day were told though an unknown time passed between parts of the sound."""
    return day.log.started_s is not None and any(gap.to_s is None for gap in day.log.gaps)


def in_units(amount: Amount, unit: str, units: UnitSystem) -> str:
    """An amount with its interval, the unit once: "492 gal (479 to 506)". unit: "L", "L/min" or one that stays."""
    per, name = {"L": (L_PER_US_GAL, "gal"), "L/min": (L_PER_US_GAL, "gpm")}.get(unit, (1.0, unit))
    if units != "us":
        per, name = 1.0, unit
    value, _, rest = format_interval(amount.value / per, amount.low / per, amount.high / per).partition(" ")
    return f"{value} {name} {rest}".rstrip()


def most_flow(flow_l_per_min: float, units: UnitSystem) -> str:
    """An upper limit of a flow with two figures, rounded up: a limit must not shrink by rounding."""
    value = flow_l_per_min / L_PER_US_GAL if units == "us" else flow_l_per_min
    return f"{up(value)} {'gpm' if units == 'us' else 'L/min'}"


def up(value: float) -> str:
    """Two figures, rounded up."""
    if value <= 0:
        return "0"
    places = max(0, 1 - math.floor(math.log10(value)))
    return f"{math.ceil(value * 10**places - 1e-9) / 10**places:.{places}f}"


def two(value: float) -> str:
    """A figure with two digits, without an interval."""
    return f"{value:.1f}" if abs(value) < 9.95 else f"{value:.0f}"
