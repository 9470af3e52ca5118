"""SI numbers to text, in US or metric units, with no more figures than a gauge and a label can carry."""

from __future__ import annotations

import math
from typing import Literal

from clicktimer.units.conversions import KPA_PER_BAR, KPA_PER_PSI, L_PER_US_GAL, M_PER_FT, W_PER_HP

UnitSystem = Literal["us", "metric"]
UNIT_SYSTEMS: tuple[UnitSystem, ...] = ("us", "metric")


def _digits(value: float) -> str:
    """Three figures at the most below 1000, no trailing zeros: what a gauge and a label can carry."""
    size = abs(value)
    places = 2 if size < 1.0 else 1 if size < 100.0 else 0
    shown = f"{value:.{places}f}"
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def format_volume(volume_l: float, units: UnitSystem = "us") -> str:
    """Write a volume given in litres, as "8.5 gal" or "32.2 L"."""
    return f"{_digits(volume_l / L_PER_US_GAL)} gal" if units == "us" else f"{_digits(volume_l)} L"


def format_flow(flow_l_per_min: float, units: UnitSystem = "us") -> str:
    """Write a flow given in litres per minute, as "8 gpm" or "30.3 L/min"."""
    return f"{_digits(flow_l_per_min / L_PER_US_GAL)} gpm" if units == "us" else f"{_digits(flow_l_per_min)} L/min"


def _bar(pressure_kpa: float) -> str:
    shown = f"{pressure_kpa / KPA_PER_BAR:.2f}"
    return shown[:-1] if shown.endswith("0") else shown


def format_pressure(pressure_kpa: float, units: UnitSystem = "us") -> str:
    """Write a pressure given in kilopascals, as "40 psi" or "2.76 bar"."""
    return f"{_digits(pressure_kpa / KPA_PER_PSI)} psi" if units == "us" else f"{_bar(pressure_kpa)} bar"


def format_switch(cut_in_kpag: float, cut_out_kpag: float, units: UnitSystem = "us") -> str:
    """Write a switch's setting given in kilopascals, as "40/60 psi" or "2.76/4.14 bar"."""
    if units == "us":
        return f"{_digits(cut_in_kpag / KPA_PER_PSI)}/{_digits(cut_out_kpag / KPA_PER_PSI)} psi"
    return f"{_bar(cut_in_kpag)}/{_bar(cut_out_kpag)} bar"


def format_height(height_m: float, units: UnitSystem = "us") -> str:
    """Write a height given in metres, as "1200 ft" or "366 m"."""
    return f"{height_m / M_PER_FT:.0f} ft" if units == "us" else f"{height_m:.0f} m"


def format_time(time_s: float) -> str:
    """Write a length of time given in seconds: "0.42 s", "38.4 s", "2 min 05 s", "1 h 10 min"."""
    if time_s < 0:
        return "-" + format_time(-time_s)
    if round(time_s, 1) < 120.0:
        return f"{_digits(time_s)} s"
    whole_s = round(time_s)
    if whole_s < 3600:
        return f"{whole_s // 60} min {whole_s % 60:02d} s"
    return f"{whole_s // 3600} h {whole_s % 3600 // 60:02d} min"


def format_power(power_w: float, units: UnitSystem = "us") -> str:
    """Write a power given in watts, as "0.75 hp" or "0.56 kW"."""
    if units == "us":
        return f"{power_w / W_PER_HP:.2f}".rstrip("0").rstrip(".") + " hp"
    return f"{power_w / 1000.0:.2f}".rstrip("0").rstrip(".") + " kW"


def places_of(half: float, most: int = 3) -> int:
    """Decimals (0 to ``most``) that a figure with an interval of this half width deserves: its first digit.

    >>> places_of(0.68), places_of(22.0), places_of(0.015)
    (1, 0, 2)
    """
    return most if not half > 0 else min(most, max(0, -math.floor(math.log10(half))))


def format_interval(value: float, low: float, high: float) -> str:
    """Write a figure and its interval with no more digits than the interval gives, its ends rounded outwards.

    >>> format_interval(3.8, 3.12, 4.48), format_interval(125.0, 102.6, 147.4), format_interval(0.0, 0.0, 0.0103)
    ('3.8 (3.1 to 4.5)', '125 (102 to 148)', '0 (0 to 0.011)')
    """
    if not high > low:
        return _digits(value)
    return f"{_plain(value, places_of((high - low) / 2))} ({format_ends(low, high)})"


def format_ends(low: float, high: float) -> str:
    """Write the ends of an interval, rounded outwards: "3.1 to 4.5"."""
    places = places_of((high - low) / 2)
    scale = 10.0**places
    lower, upper = math.floor(low * scale + 1e-9) / scale, math.ceil(high * scale - 1e-9) / scale
    return f"{_plain(lower, places)} to {_plain(upper, places)}"


def _plain(value: float, places: int) -> str:
    return "0" if value == 0 else f"{value:.{places}f}"


def format_share(share: float) -> str:
    """Write a share, 0 to 1, in percent with two figures: "3.8 %", "38 %", "0.48 %".

    >>> format_share(0.3787), format_share(0.0384), format_share(0.00052), format_share(1.0)
    ('38 %', '3.8 %', '0.05 %', '100 %')
    """
    percent = 100.0 * share
    return f"{percent:.{0 if percent >= 9.95 else 1 if percent >= 0.995 else 2}f} %"
