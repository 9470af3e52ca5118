"""Depths and bores as people write them ("180 ft", "45 ft 6 in", "6 in", "152 mm") to metres, and back to text."""

from __future__ import annotations

from clicktimer.units.conversions import M_PER_FT, M_PER_INCH
from clicktimer.units.dimensions import Dimension
from clicktimer.units.format import UnitSystem
from clicktimer.units.parse import parse_dimension

_LENGTHS = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), 0.01),
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), 0.001),
    **dict.fromkeys(("ft", "foot", "feet", "'"), M_PER_FT),
    **dict.fromkeys(("in", "inch", "inches", '"'), M_PER_INCH),
}

DEPTH = Dimension(
    "depth",
    '"180 ft", "45 ft 6 in" or "55 m"',
    _LENGTHS,
    0.0,
    1000.0,
    "1000 m (3280 ft)",
    fractions=True,
    compound=True,
)
BORE = Dimension("bore", '"6 in" or "152 mm" (inside, across)', _LENGTHS, 0.0, 3.0, "3 m (10 ft)", fractions=True)


def parse_depth_m(text: str, *, zero_ok: bool = False) -> float:
    """Read a depth or a length down the well, in metres; zero only where ``zero_ok``. Raises QuantityError.

    >>> round(parse_depth_m("45 ft 6 in"), 4)
    13.8684
    """
    return parse_dimension(text, DEPTH, zero_ok)


def parse_level_m(text: str) -> float:
    """Read a water level, in metres down from the ground; below zero where a flowing well's water stands above it.

    Raises QuantityError.

    >>> round(parse_level_m("-3 ft"), 4)
    -0.9144
    """
    below = text.strip()
    if below[:1] in ("-", "\N{MINUS SIGN}"):
        return -parse_depth_m(below[1:].strip())
    return parse_depth_m(text, zero_ok=True)


def parse_bore_m(text: str) -> float:
    """Read the inside diameter of a well's bore, in metres. Raises QuantityError.

    >>> round(parse_bore_m("6 in"), 4)
    0.1524
    """
    return parse_dimension(text, BORE)


def format_depth(depth_m: float, units: UnitSystem = "us") -> str:
    """Write a depth given in metres, as "180 ft" or "54.9 m"."""
    shown = f"{depth_m / M_PER_FT if units == 'us' else depth_m:.1f}".removesuffix(".0")
    return f"{shown} {'ft' if units == 'us' else 'm'}"


def format_bore(bore_m: float, units: UnitSystem = "us") -> str:
    """Write a bore given in metres, as "6 in" or "152 mm"."""
    if units == "us":
        return f"{bore_m / M_PER_INCH:.1f}".removesuffix(".0") + " in"
    return f"{bore_m * 1000.0:.0f} mm"
