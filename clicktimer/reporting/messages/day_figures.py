"""Kinds of figures that a day has in its messages: values in SI units in, text with no more digits than are known out.

Intervals are (value, low, high); a moment is (seconds of the log, its start as seconds since 1970 or None, zone or
None, with the date).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Final

from clicktimer.day.wall_time import clock, parse_zone, wall
from clicktimer.reporting.formatting import half_width_text, length_text
from clicktimer.units.conversions import L_PER_US_GAL
from clicktimer.units.format import UnitSystem, format_interval, format_time, places_of

Interval = Sequence[float]
Moment = tuple[float | None, float | None, str | None, bool]


def count_text(figure: Interval) -> str:
    """Write a count with its interval in whole numbers: "41 (38 to 44)"; "41" where it was counted in full.

    >>> count_text((41.0, 38.2, 43.5))
    '41 (38 to 44)'
    """
    value, low, high = figure[0], math.floor(figure[1] + 1e-9), math.ceil(figure[2] - 1e-9)
    return f"{value:.0f}" if low == high else f"{value:.0f} ({low} to {high})"


def whole_ends_text(figure: Interval) -> str:
    """Write the ends of an interval in whole numbers: "38 to 44"; "41" where they are the same."""
    low, high = math.floor(figure[1] + 1e-9), math.ceil(figure[2] - 1e-9)
    return f"{figure[0]:.0f}" if low == high else f"{low} to {high}"


def ends_text(figure: Interval) -> str:
    """Write the ends of an interval in whole numbers, rounded outwards: "38 to 41"."""
    return f"{math.floor(figure[1])} to {math.ceil(figure[2])}"


def rate_text(figure: Interval) -> str:
    """Write starts an hour by the length of a few cycles, no finer than a start: "12 (11 to 14)"; under 10: "6.4"."""
    value, low, high = figure
    if value >= 9.95:
        return count_text((value, round(low), round(high)))
    low, high = round(low, 1), round(high, 1)
    return f"{value:.1f}" if low == high else f"{value:.1f} ({low:.1f} to {high:.1f})"


def share_text(figure: Interval) -> str:
    """Write a share, 0 to 1, in percent with its interval and at most two figures: "12 % (11 to 13)"."""
    value, low, high = (100.0 * part for part in figure)
    places = places_of((high - low) / 2, 0 if value >= 9.95 else 1 if value >= 0.95 else 2)
    scale = 10.0**places
    lower, upper = math.floor(low * scale + 1e-9) / scale, math.ceil(high * scale - 1e-9) / scale
    ends = "" if upper - lower < 1.5 / scale else f" ({lower:.{places}f} to {upper:.{places}f})"
    return f"{value:.{places}f} %{ends}"


def at_most_text(value: float) -> str:
    """Write an upper limit with two figures, rounded up: a limit must not shrink by rounding."""
    if value <= 0:
        return "0"
    places = max(0, 1 - math.floor(math.log10(value)))
    return f"{math.ceil(value * 10**places - 1e-9) / 10**places:.{places}f}"


def amount_text(figure: Interval, unit: str, units: UnitSystem) -> str:
    """Write an amount with its interval, the unit once: "492 gal (479 to 506)".

    unit: "L", "L/min", or one that is the same in all units.
    """
    per, name = {"L": (L_PER_US_GAL, "gal"), "L/min": (L_PER_US_GAL, "gpm")}.get(unit, (1.0, unit))
    if units != "us":
        per, name = 1.0, unit
    value, low, high = (part / per for part in figure)
    number, _, ends = format_interval(value, low, high).partition(" ")
    return f"{number} {name} {ends}".rstrip()


def most_flow_text(flow_l_per_min: float, units: UnitSystem) -> str:
    """Write an upper limit of a flow in the reader's unit."""
    if units == "us":
        return f"{at_most_text(flow_l_per_min / L_PER_US_GAL)} gpm"
    return f"{at_most_text(flow_l_per_min)} L/min"


def moment_text(moment: Moment) -> str:
    """Write a moment of the log by the wall's clock, or as elapsed time where the start is not known; "?" for none."""
    time_s, started_s, zone, with_date = moment
    return "?" if time_s is None else clock(time_s, started_s, parse_zone(zone), with_date=with_date)


def date_text(moment: Moment) -> str:
    """Write the date of a moment of the log; "day 3" where the start is not known."""
    time_s, started_s, zone, _ = moment
    if time_s is None or started_s is None:
        return f"day {int((time_s or 0.0) // 86_400) + 1}"
    return f"{wall(time_s, started_s, parse_zone(zone)):%Y-%m-%d}"


def timed_text(figure: Interval) -> str:
    """Write a length in seconds with the half width of its interval: "42 s (±6 ms)"."""
    half_s = (figure[2] - figure[1]) / 2
    return format_time(figure[0]) + (f" ({half_width_text(half_s)})" if half_s > 0 else "")


def change_text(figure: Interval) -> str:
    """Write a change as a share with its interval: "12 %, 95 %: -15 to -9 %"."""
    share, low, high = (100 * part for part in figure)
    return f"{abs(share):.0f} %, 95 %: {low:+.0f} to {high:+.0f} %"


DAY_OF_UNITS: Final[dict[str, Callable[[Any, UnitSystem], str]]] = {
    "flow-interval": lambda figure, units: amount_text(figure, "L/min", units),
    "flow-at-most": most_flow_text,
    "water": lambda figure, units: amount_text(figure[:3], figure[3], units),
}
"""Written in the reader's units. Water is (value, low, high, unit): "L", "tankfuls" or "s of pump"."""

DAY_WRITERS: Final[dict[str, Callable[[Any], str]]] = {
    "count-interval": count_text,
    "whole-ends": whole_ends_text,
    "ends": ends_text,
    "rate-interval": rate_text,
    "share-interval": share_text,
    "percent-at-most": lambda share: f"{at_most_text(100 * share)} %",
    "moment": moment_text,
    "date": date_text,
    "length": length_text,
    "seconds-timed": timed_text,
    "change-interval": change_text,
}
"""Written alike in all units."""
