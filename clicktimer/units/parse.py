"""Quantities as people write them, to SI numbers and back: "33 gal", "2,8 bar", "1 min 10 s", "40/60".

Every reader takes the text and gives a float (litres, L/min, kPa gauge, metres, seconds, watts) or raises
QuantityError with one line that says what was written and what may be. Nothing is guessed: a number without a unit is
refused, but for the two pairs that are always written so (a switch "40/60" in psi, the marks "30/60" in seconds).
``gal`` is the US gallon. The way back, ``format_*``, is in formats.py and can be had from here as well.
"""

from __future__ import annotations

import math
import re
import unicodedata
from itertools import pairwise

from clicktimer.errors import QuantityError, SettingsError
from clicktimer.targets import usual_targets
from clicktimer.units.conversions import KPA_PER_PSI
from clicktimer.units.dimensions import FLOW, HEIGHT, POWER, PRESSURE, TIME, VOLUME, Dimension
from clicktimer.units.format import (
    UNIT_SYSTEMS,
    UnitSystem,
    format_flow,
    format_height,
    format_power,
    format_pressure,
    format_switch,
    format_time,
    format_volume,
)

__all__ = [
    "UNIT_SYSTEMS",
    "UnitSystem",
    "format_flow",
    "format_height",
    "format_power",
    "format_pressure",
    "format_switch",
    "format_time",
    "format_volume",
    "parse_flow_l_per_min",
    "parse_height_m",
    "parse_marks_s",
    "parse_power_w",
    "parse_pressure_kpa",
    "parse_switch_kpa",
    "parse_time_s",
    "parse_units",
    "parse_volume_l",
]


_NUMBER = re.compile(r"[+-]?(?:[0-9][0-9.,]*|[.,][0-9]+)(?:e[+-]?[0-9]+)?")
_DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2015\u2212"), "-")
_SIGNS = _DASHES | {0x2044: "/", 0x2215: "/", 0x2032: "'", 0x2019: "'"}


def _tidy(text: str) -> str:
    """One form for all ways of typing the same: lower case, single spaces, plain digits, dashes and slashes."""
    # "1½" would become "11/2" if the sign were taken apart without a space before it.
    spaced = "".join(f" {c}" if unicodedata.decomposition(c).startswith("<fraction>") else c for c in str(text))
    plain = unicodedata.normalize("NFKC", spaced).translate(_SIGNS).casefold()
    return " ".join(plain.replace("u.s.", "us ").replace("imp.", "imp ").split())


def _shown(text: str) -> str:
    """What the user wrote, safe to print on one line."""
    one_line = "".join(c if c.isprintable() else " " for c in str(text))
    return '"' + (one_line if len(one_line) <= 40 else one_line[:37] + "...") + '"'


def _bad(text: str, why: str) -> QuantityError:
    """Make the one-line error: what was written, then why it cannot be used and what to write."""
    return QuantityError(_shown(text) + why)


def _number(digits: str, text: str) -> float:
    """Read one number with a decimal point or a decimal comma; refuse what can be read in two ways."""
    mantissa, _, exponent = digits.partition("e")
    commas, points = mantissa.count(","), mantissa.count(".")
    unsigned = mantissa.lstrip("+-")
    if commas and points:
        last = max(mantissa.rfind(","), mantissa.rfind("."))
        group, mark = (",", ".") if mantissa[last] == "." else (".", ",")
        whole = unsigned[: unsigned.rfind(mark)]
        if mantissa.count(mark) > 1 or not re.fullmatch(rf"[0-9]{{1,3}}(?:{re.escape(group)}[0-9]{{3}})+", whole):
            raise _bad(text, ": the number cannot be read; write it without separators, such as 1200.5")
        mantissa = mantissa.replace(group, "").replace(mark, ".")
    elif commas:
        if commas > 1 or re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", unsigned):
            raise _bad(
                text,
                ": the comma can mean thousands or decimals; write the number without it (1200) or with a point (1.2)",
            )
        mantissa = mantissa.replace(",", ".")
    elif points > 1:
        raise _bad(text, ": the number cannot be read; write it with one point at most, such as 2.8")
    try:
        return float(mantissa + ("e" + exponent if exponent else ""))
    except ValueError:
        raise _bad(text, ": the number cannot be read; write it such as 2.8") from None


def _split(text: str, dimension: Dimension) -> list[tuple[float, str]]:
    """Take "1 min 10 s" apart to [(1, "min"), (10, "s")]; the unit may be empty."""
    rest = _tidy(text)
    parts: list[tuple[float, str]] = []
    if re.match(r"[+-]?(?:nan|inf)", rest):
        raise _bad(text, f": a {dimension.name} must be a finite number, such as {dimension.allowed}")
    if dimension.fractions and (m := re.match(r"(?:([0-9]+)[ -])?([0-9]+) ?/ ?([1-9][0-9]*)(?![0-9.,])", rest)):
        return [(float(m[1] or 0) + float(m[2]) / float(m[3]), rest[m.end() :].strip())]
    while rest:
        # "1 200 L": digits in groups of three, as some write thousands.
        grouped = re.match(r"[+-]?[1-9][0-9]{0,2}(?: [0-9]{3})+(?![0-9])", rest)
        m = _NUMBER.match(grouped[0].replace(" ", "")) if grouped else _NUMBER.match(rest)
        if m is None:
            break
        value = _number(m[0], text)
        rest = rest[(grouped or m).end() :].strip()
        unit_match = re.match(r"[^0-9+]*", rest)
        unit = unit_match[0] if unit_match else ""
        # "m3" and "kg/cm2" end in a digit.
        for name in ("m3/hr", "m3/h", "m3", "dm3", "kg/cm2", "kgf/cm2", "lb/in2", "lbs/in2"):
            if rest.startswith(name):
                unit = name
                break
        parts.append((value, unit.strip().rstrip(".").strip()))
        rest = rest[len(unit) :].strip()
    if not parts or rest:
        raise _bad(text, f" is not a {dimension.name}: write a number and a unit, such as {dimension.allowed}")
    return parts


def _check(value: float, text: str, dimension: Dimension, zero_ok: bool) -> float:
    if not math.isfinite(value) or value > dimension.high:
        raise _bad(text, f": a {dimension.name} of more than {dimension.high_text} is not expected here")
    if value == 0 and not zero_ok:
        raise _bad(text, f": a {dimension.name} must be more than zero, such as {dimension.allowed}")
    if value < dimension.low:
        low = "zero" if dimension.low == 0 else f"{dimension.low:g} m"
        raise _bad(text, f": a {dimension.name} cannot be below {low}; write it such as {dimension.allowed}")
    return value


def _factor(unit: str, text: str, dimension: Dimension) -> float:
    if not unit:
        raise _bad(text, f" has no unit: write a {dimension.name} such as {dimension.allowed}")
    if unit in ("psia", "bara", "kpaa", "psi a", "bar a"):
        raise _bad(text, f": pressures are read on a gauge here; write it as {dimension.allowed}")
    if unit not in dimension.factors:
        raise _bad(text, f": {unit!r} is not a unit of {dimension.name} here; write {dimension.allowed}")
    return dimension.factors[unit]


def parse_dimension(text: str, dimension: Dimension, zero_ok: bool = False) -> float:
    """Read a quantity of any dimension, in the unit that the dimension counts in. Raises QuantityError."""
    parts = _split(text, dimension)
    if len(parts) > 1 and not dimension.compound:
        raise _bad(text, f": write one number and one unit, such as {dimension.allowed}")
    factors = [_factor(unit, text, dimension) for _, unit in parts]
    if any(a <= b for a, b in pairwise(factors)):
        raise _bad(text, f": write the larger unit first and each one once, such as {dimension.allowed}")
    if len(parts) > 1 and any(value < 0 for value, _ in parts):
        raise _bad(text, f": a {dimension.name} cannot be below zero; write it such as {dimension.allowed}")
    total = sum(value * factor for (value, _), factor in zip(parts, factors, strict=True))
    return _check(total, text, dimension, zero_ok or dimension.zero_ok)


def parse_volume_l(text: str) -> float:
    """Read a volume, in litres. "gal" is the US gallon; "imp gal" the imperial one. Raises QuantityError.

    >>> round(parse_volume_l("27 imp gal"), 3)
    122.744
    """
    return parse_dimension(text, VOLUME)


def parse_flow_l_per_min(text: str) -> float:
    """Read a flow, in litres per minute. "gpm" is in US gallons. Raises QuantityError.

    >>> round(parse_flow_l_per_min("8 gpm"), 2)
    30.28
    """
    return parse_dimension(text, FLOW)


def parse_pressure_kpa(text: str, *, zero_ok: bool = False) -> float:
    """Read a gauge pressure, in kilopascals; zero only where ``zero_ok`` (an air charge that is gone).

    Raises QuantityError.

    >>> round(parse_pressure_kpa("2,8 bar"), 6)
    280.0
    """
    return parse_dimension(text, PRESSURE, zero_ok)


def parse_height_m(text: str) -> float:
    """Read a height above the sea, in metres, -500 to 6000; zero and below are allowed. Raises QuantityError.

    >>> round(parse_height_m("1200 ft"), 2)
    365.76
    """
    return parse_dimension(text, HEIGHT)


def parse_time_s(text: str) -> float:
    """Read a length of time, in seconds. Raises QuantityError.

    >>> parse_time_s("1 min 10 s")
    70.0
    """
    return parse_dimension(text, TIME)


def parse_power_w(text: str) -> float:
    """Read a motor's power, in watts; fractions as on a plate ("1 1/2 hp"). Raises QuantityError.

    >>> round(parse_power_w("3/4 hp"))
    559
    """
    return parse_dimension(text, POWER)


def _pair(text: str, dimension: Dimension, bare_unit: str) -> tuple[float, float, bool]:
    """Read "a/b unit", "a unit / b unit" or a bare pair; the last item says whether the pair was bare."""
    shape = f'"{"40/60 psi" if bare_unit == "psi" else "30/60"}"'
    rest = _tidy(text)
    for mark in ("kg/cm2", "kgf/cm2"):
        rest = rest.replace(mark, "bar_kgf")
    halves = [h.strip() for h in re.split(r"\s*/\s*|(?<=[0-9a-z ])\s*-\s*(?=[0-9])|\s+to\s+", rest)]
    halves = [h.replace("bar_kgf", "kg/cm2") for h in halves]
    if len(halves) != 2 or not all(halves):
        raise _bad(text, f": write two numbers with a slash between, such as {shape}")
    (parts_a, parts_b) = (_split(halves[0], dimension), _split(halves[1], dimension))
    if len(parts_a) != 1 or len(parts_b) != 1:
        raise _bad(text, f": write two numbers with a slash between, such as {shape}")
    (first, unit_a), (second, unit_b) = parts_a[0], parts_b[0]
    bare = not unit_a and not unit_b
    if unit_a and not unit_b:
        raise _bad(text, f": write the unit once at the end, or after both numbers, such as {shape}")
    unit_b = unit_b or bare_unit
    factor_a, factor_b = _factor(unit_a or unit_b, text, dimension), _factor(unit_b, text, dimension)
    return (
        _check(first * factor_a, text, dimension, False),
        _check(second * factor_b, text, dimension, False),
        bare,
    )


def parse_switch_kpa(text: str) -> tuple[float, float]:
    """Read a pressure switch's setting: (cut-in, cut-out), kilopascals gauge. A bare pair is psi.

    Raises QuantityError, or SettingsError where cut-out is not above cut-in.

    >>> [round(p, 1) for p in parse_switch_kpa("40/60")]
    [275.8, 413.7]
    """
    cut_in_kpag, cut_out_kpag, bare = _pair(text, PRESSURE, "psi")
    # No house switch works under 10 psi; a bare "2.8/4.1" is bar, and read as psi it would spoil every figure after it.
    if bare and cut_out_kpag < 10.0 * KPA_PER_PSI:
        raise _bad(text, ' has no unit and is too low for psi: write "2.8/4.1 bar" if bar is meant')
    if cut_in_kpag >= cut_out_kpag:
        raise SettingsError(
            f"the switch {_shown(text)} cannot work: the first number is cut-in and must be below the second, cut-out; "
            'write it such as "40/60"'
        )
    return cut_in_kpag, cut_out_kpag


def parse_marks_s(text: str) -> tuple[float, float]:
    """Read the two marks that a run is judged by, in seconds. A bare pair is seconds.

    The first is 20 s or more and the second 180 s or less, since the bands below and above are fixed.
    Raises QuantityError, or SettingsError where the marks are out of order.

    >>> parse_marks_s("30/60")
    (30.0, 60.0)
    """
    low_s, high_s, _ = _pair(text, TIME, "s")
    usual = usual_targets()
    if not usual.short_s <= low_s < high_s <= usual.long_s:
        raise SettingsError(
            f"the marks {_shown(text)} cannot be used: the first must be {usual.short_s:g} s or more and below the "
            f'second, the second {usual.long_s:g} s or less, such as "30/60"'
        )
    return low_s, high_s


def parse_units(text: str) -> UnitSystem:
    """Read the name of a system of units, "us" or "metric". Raises QuantityError."""
    for system in UNIT_SYSTEMS:
        if _tidy(text) == system:
            return system
    raise _bad(text, ' is not a system of units: write "us" or "metric"')
