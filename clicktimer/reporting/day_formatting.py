"""How the text of a day writes moments, amounts with their interval, and limits, with no more digits than are known."""

from __future__ import annotations

import math
from collections import Counter
from typing import Final

from clicktimer.day.analysis import DayReading
from clicktimer.day.estimate import Amount
from clicktimer.day.exclusions import Why
from clicktimer.day.wall_time import clock, parse_zone
from clicktimer.tank.options import STOCK_SIZES_GAL
from clicktimer.units.conversions import L_PER_US_GAL
from clicktimer.units.format import UnitSystem, format_interval, places_of

LEFT_OUT: Final[dict[Why, str]] = {
    "cut off": "cut off by an end of the recording or a gap",
    "one click alone": "with only one click heard",
    "not sure enough": "with clicks that are not sure enough",
    "clicks in doubt": "with a click in doubt",
    "by the pump's sound": "timed by the pump's sound at an end whose click was not heard, less finely",
}


def excluded_text(day: DayReading) -> str:
    """How many runs are left out, by their reasons: "2 runs with only one click heard; 1 run cut off by ..."."""
    counts = Counter(run.why for run in day.excluded)
    return "; ".join(f"{n} run{'' if n == 1 else 's'} {LEFT_OUT[why]}" for why, n in counts.items())


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


def tank_name(name: str, units: UnitSystem) -> str:
    """The name of a tank that a day was run through; a stock size in litres has its gallons beside: "76 L (20 gal)"."""
    stock_gal = {f"{gal:g} gal": gal for gal in STOCK_SIZES_GAL}
    return name if units == "us" or name not in stock_gal else f"{stock_gal[name] * L_PER_US_GAL:.0f} L ({name})"


def count_text(a: Amount) -> str:
    """A count with its interval in whole numbers: "41 (38 to 44)"; "41" where it was counted in full."""
    low, high = math.floor(a.low + 1e-9), math.ceil(a.high - 1e-9)
    return f"{a.value:.0f}" if low == high else f"{a.value:.0f} ({low} to {high})"


def rate_text(a: Amount) -> str:
    """Starts an hour by the length of a few cycles, no finer than a start: "149", "12 (11 to 14)"; under 10: "6.4"."""
    if a.value >= 9.95:
        return count_text(Amount(a.value, round(a.low), round(a.high)))
    low, high = round(a.low, 1), round(a.high, 1)
    return f"{a.value:.1f}" if low == high else f"{a.value:.1f} ({low:.1f} to {high:.1f})"


def share_of(a: Amount) -> str:
    """A share, 0 to 1, in percent with its interval: "12 % (11 to 13)", with two figures at the most."""
    value, low, high = 100.0 * a.value, 100.0 * a.low, 100.0 * a.high
    places = places_of((high - low) / 2, 0 if value >= 9.95 else 1 if value >= 0.95 else 2)
    scale = 10.0**places
    lower, upper = math.floor(low * scale + 1e-9) / scale, math.ceil(high * scale - 1e-9) / scale
    ends = "" if upper - lower < 1.5 / scale else f" ({lower:.{places}f} to {upper:.{places}f})"
    return f"{value:.{places}f} %{ends}"


def leak_text(day: DayReading, units: UnitSystem, whole: str) -> str:
    """The flow that seeps with its interval, or its share of ``whole`` where the pump's rate is not known."""
    if day.leak_l_per_min is not None:
        return in_units(day.leak_l_per_min, "L/min", units)
    s = day.leak
    return f"{share_of(Amount(s.duty or 0.0, s.low or 0.0, s.high or 0.0))} of {whole}"


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
