"""What each sort of quantity may be: its units as people write them, their factors to SI, and its limits.

To let a new spelling be read, add it here; nothing else needs to change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from clicktimer.units.conversions import (
    HIGHEST_HEIGHT_M,
    KPA_PER_BAR,
    KPA_PER_KGF_PER_CM2,
    KPA_PER_PSI,
    L_PER_IMP_GAL,
    L_PER_US_GAL,
    LOWEST_HEIGHT_M,
    M_PER_FT,
    W_PER_HP,
)


@dataclass(frozen=True, slots=True)
class Dimension:
    """What one sort of quantity may be: its name, an example, factors to SI by unit, and its limits in SI."""

    name: str
    allowed: str
    factors: Mapping[str, float]
    low: float
    high: float
    high_text: str
    zero_ok: bool = False
    fractions: bool = False
    compound: bool = False


def _names(factor: float, names: str) -> dict[str, float]:
    return dict.fromkeys(names.split("|"), factor)


VOLUME = Dimension(
    "volume",
    '"33 gal" (US), "27 imp gal" or "125 L"',
    _names(L_PER_US_GAL, "gal|gals|gallon|gallons|us gal|us gals|us gallon|us gallons|usgal|usg")
    | _names(L_PER_IMP_GAL, "imp gal|imp gals|imp gallon|imp gallons|imperial gal|imperial gallon")
    | _names(L_PER_IMP_GAL, "imperial gallons|impgal|uk gal|uk gals|uk gallon|uk gallons|igal")
    | _names(1.0, "l|lt|ltr|ltrs|litre|litres|liter|liters|dm3")
    | _names(1000.0, "m3|cubic metre|cubic metres|cubic meter|cubic meters"),
    0.0,
    100_000.0,
    "100000 L (26000 gal)",
)
FLOW = Dimension(
    "flow",
    '"8 gpm" (US), "7 imp gpm", "30 L/min" or "1.8 m3/h"',
    _names(L_PER_US_GAL, "gpm|us gpm|usgpm|gal/min|gals/min|gallon/min|gallons/min|us gal/min")
    | _names(L_PER_US_GAL, "gallon per minute|gallons per minute|gal per min|gal per minute|us gallons per minute")
    | _names(L_PER_US_GAL / 60.0, "gph|gal/h|gal/hr|gallons per hour")
    | _names(L_PER_IMP_GAL, "imp gpm|igpm|imp gal/min|imperial gpm|imperial gallons per minute|uk gpm")
    | _names(1.0, "l/min|lpm|l/m|litre/min|litres/min|liter/min|liters/min|l per min")
    | _names(1.0, "litres per minute|liters per minute")
    | _names(60.0, "l/s|lps|l/sec|litres per second|liters per second")
    | _names(1.0 / 60.0, "l/h|lph|l/hr|litres per hour|liters per hour")
    | _names(1000.0 / 60.0, "m3/h|m3/hr|cmh|cubic metres per hour|cubic meters per hour"),
    0.0,
    10_000.0,
    "10000 L/min (2600 gpm)",
)
PRESSURE = Dimension(
    "pressure",
    '"40 psi", "2.8 bar" or "280 kPa" (gauge)',
    _names(KPA_PER_PSI, "psi|psig|lb/in2|lbs/in2|psi gauge|psi g")
    | _names(1.0, "kpa|kpag|kpa gauge")
    | _names(KPA_PER_BAR, "bar|bars|barg|bar gauge")
    | _names(1000.0, "mpa")
    | _names(KPA_PER_KGF_PER_CM2, "kg/cm2|kgf/cm2"),
    0.0,
    2000.0,
    "20 bar (290 psi)",
)
HEIGHT = Dimension(
    "height",
    '"1200 ft" or "365 m"',
    _names(M_PER_FT, "ft|foot|feet|'") | _names(1.0, "m|metre|metres|meter|meters") | _names(1000.0, "km"),
    LOWEST_HEIGHT_M,
    HIGHEST_HEIGHT_M,
    "6000 m (19700 ft)",
    zero_ok=True,
)
TIME = Dimension(
    "time",
    '"38 s", "2 min" or "1 min 10 s"',
    _names(1.0, "s|sec|secs|second|seconds")
    | _names(60.0, "min|mins|minute|minutes")
    | _names(3600.0, "h|hr|hrs|hour|hours"),
    0.0,
    366 * 86400.0,
    "a year",
    compound=True,
)
POWER = Dimension(
    "power",
    '"1 hp", "3/4 hp" or "0.75 kW"',
    _names(W_PER_HP, "hp|horsepower|horse power")
    | _names(1000.0, "kw|kilowatt|kilowatts")
    | _names(1.0, "w|watt|watts"),
    0.0,
    1_000_000.0,
    "1000 kW",
    fractions=True,
)
