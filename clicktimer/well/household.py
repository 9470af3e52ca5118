"""What the household needs, by published figures of use: in a day, and in the two hours when most is drawn.

Planning for the whole day's use within two hours is Penn State Extension's advice (Water System Planning: Estimating
Water Needs; grade B, read).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from clicktimer.errors import SettingsError
from clicktimer.units.parse import parse_flow_l_per_min, parse_volume_l

PEAK_S = 2 * 3600.0
DAY_S = 24 * 3600.0
MOST_PEOPLE = 200
ENTERED = "entered by you"


@dataclass(frozen=True, slots=True)
class UseFigure:
    """A figure of daily use for one person or one bedroom, litres, with its source, grade and status."""

    name: str
    per: str
    low_l: float
    high_l: float
    source: str
    grade: str
    status: str


@dataclass(frozen=True, slots=True)
class PeakFigure:
    """A figure for the most that a household draws at one time, litres per minute, with its source."""

    name: str
    l_per_min: float
    source: str
    grade: str
    status: str


@dataclass(frozen=True, slots=True)
class HouseholdNeed:
    """The use of a household in a day by one figure, litres. count: the persons or bedrooms it was reckoned for."""

    figure: UseFigure
    count: int
    low_l: float
    high_l: float


@cache
def _data() -> dict[str, Any]:
    text = resources.files("clicktimer.well").joinpath("household_use.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def use_figures() -> tuple[UseFigure, ...]:
    """Return the published figures of daily use."""
    return tuple(
        UseFigure(
            name=e["name"],
            per=e["per"],
            low_l=parse_volume_l(e["low"]),
            high_l=parse_volume_l(e["high"]),
            source=e["source"],
            grade=e["grade"],
            status=e["status"],
        )
        for e in _data()["use"]
    )


@cache
def peak_figures() -> tuple[PeakFigure, ...]:
    """Return the published figures for the most drawn at one time."""
    return tuple(
        PeakFigure(e["name"], parse_flow_l_per_min(e["flow"]), e["source"], e["grade"], e["status"])
        for e in _data()["peak"]
    )


def household_needs(
    people: int | None = None, bedrooms: int | None = None, per_person_l: float | None = None
) -> tuple[HouseholdNeed, ...]:
    """Give what a household uses in a day by each figure that applies.

    people, bedrooms: counts, None when unknown. per_person_l: litres a day for a person, entered in place of the
    published figures. Empty where nothing applies. Raises SettingsError for counts that cannot be.

    >>> [round(n.low_l) for n in household_needs(people=4, per_person_l=215.0)]
    [860]
    """
    for name, count in (("people", people), ("bedrooms", bedrooms)):
        if count is not None and not 1 <= count <= MOST_PEOPLE:
            raise SettingsError(f"a household of {count} {name} is not expected here: 1 to {MOST_PEOPLE}")
    figures = use_figures()
    if per_person_l is not None:
        if people is None:
            raise SettingsError("use for each person is given, but not how many: give --people as well")
        figures = (UseFigure("yours", "person", per_person_l, per_person_l, ENTERED, "-", "ENTERED"),)
    counts = {"person": people, "bedroom": bedrooms}
    needs = []
    for figure in figures:
        count = counts[figure.per]
        if count is not None:
            needs.append(HouseholdNeed(figure, count, figure.low_l * count, figure.high_l * count))
    return tuple(needs)
