"""How times and counts are written in a message: numbers in, text out, with no more digits than they deserve."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence

from clicktimer.units.format import format_time


def decimals_for(half_width_s: float) -> int:
    """Decimals (0 to 2) that a time with this half width, in seconds, deserves: the half width's first digit."""
    if not half_width_s > 0:
        return 2
    return min(2, max(0, -math.floor(math.log10(half_width_s))))


def seconds_text(seconds: float, low_s: float, high_s: float, most_decimals: int = 2) -> str:
    """Write a time and its interval, all in seconds, like ``38.4 s (38.1 to 38.7 s)``; it is rounded outwards."""
    value, low, high = seconds_texts(seconds, low_s, high_s, most_decimals)
    return f"{value} s ({low} to {high} s)"


def seconds_texts(seconds: float, low_s: float, high_s: float, most_decimals: int = 2) -> tuple[str, str, str]:
    """Write a time and the ends of its interval, all in seconds, as three numbers: ``38.4``, ``38.1``, ``38.7``."""
    decimals = min(most_decimals, decimals_for(0.5 * (high_s - low_s)))
    low, high = _rounded(low_s, decimals, math.floor), _rounded(high_s, decimals, math.ceil)
    return f"{seconds:.{decimals}f}", low, high


def at_most_text(seconds: float, high_s: float) -> str:
    """Write an upper bound ``high_s`` of a measured time, both in seconds, rounded upwards."""
    return f"{_rounded(high_s, min(1, decimals_for(high_s - seconds)), math.ceil)} s"


def plain_seconds(seconds: float) -> str:
    """Write a time in seconds to a tenth."""
    return f"{seconds:.1f} s"


def list_seconds(times_s: Sequence[float], most: int = 6) -> str:
    """Write several times in seconds to a tenth, at most ``most`` of them."""
    shown = ", ".join(f"{time_s:.1f}" for time_s in times_s[:most])
    return f"{shown} s and {len(times_s) - most} more" if len(times_s) > most else f"{shown} s"


def list_times(times_s: Sequence[float], most: int = 3) -> str:
    """Write several moments or lengths, in seconds, as people say them; at most ``most`` of them."""
    shown = ", ".join(format_time(time_s) for time_s in times_s[:most])
    return f"{shown} and {len(times_s) - most} more" if len(times_s) > most else shown


def _rounded(value: float, decimals: int, step: Callable[[float], int]) -> str:
    scale = 10**decimals
    # A hair of slack keeps 38.1 from turning into 38.0 or 38.2 through binary fractions.
    slack = 1e-9 * max(1.0, abs(value) * scale)
    scaled = step(value * scale + slack) if step is math.floor else step(value * scale - slack)
    return f"{scaled / scale:.{decimals}f}"


def how_often(count: int) -> str:
    """Write how many times, in words for once and twice."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def hours(time_s: float) -> str:
    """Write a time in seconds in whole hours where it is some, else as any other: "6 h", "90 s"."""
    return f"{time_s / 3600:.0f} h" if time_s >= 3600 and time_s % 3600 == 0 else format_time(time_s)


def few_digits(value: float) -> str:
    """Write a count or a time with a tenth below 100 and none from there on: 12.5, 60, 113."""
    return f"{value:.1f}".removesuffix(".0") if value < 100 else f"{value:.0f}"


def count_range(ends: Sequence[float]) -> str:
    """Write how many at most, by a low and a high figure, each rounded up: "26 to 53", or one number."""
    few, many = (f"{math.ceil(most - 1e-9)}" for most in ends)
    return few if few == many else f"{few} to {many}"


def with_comma(written: str) -> str:
    """Write a number's decimal point as a comma: "38.4 s (38.1 to 38.7 s)" -> "38,4 s (38,1 to 38,7 s)"."""
    return re.sub(r"(?<=\d)\.(?=\d)", ",", written)
