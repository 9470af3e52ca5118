"""The well as somebody described it: bore, levels, yield. What cannot be is refused; what is doubtful is said.

Depths are metres down from the ground, all from the same mark. ``Well`` checks itself when it is made.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from clicktimer.errors import SettingsError
from clicktimer.tank.system import Origin
from clicktimer.units.conversions import gal_to_l
from clicktimer.units.format import UnitSystem, format_flow
from clicktimer.well.parse import format_bore, format_depth

DEFAULT_MARGIN_M = 5.0
"""Water left standing over the pump when nobody says how much.

The Groundwater Project, "Domestic Wells", exercise 1 (grade B, read) takes 5 m."""

YieldHow = Literal["stated", "sum of fractures", "yield test"]


@dataclass(frozen=True, slots=True)
class WellYield:
    """What flows into the well when it is drawn down, litres per minute.

    low_l_per_min, high_l_per_min: 95 % interval; both equal to the yield where nobody measured it.
    how: "stated" (driller's log, owner), "sum of fractures" or "yield test".
    """

    l_per_min: float
    low_l_per_min: float
    high_l_per_min: float
    how: YieldHow = "stated"

    def __post_init__(self) -> None:
        if not (math.isfinite(self.l_per_min) and self.l_per_min >= 0):
            raise SettingsError('a yield cannot be below zero: give it such as "3 gpm", or leave it out if unknown')
        if not 0 <= self.low_l_per_min <= self.l_per_min <= self.high_l_per_min < math.inf:
            raise SettingsError("a yield must lie inside its interval, and the interval must not begin below zero")

    @property
    def measured(self) -> bool:
        """Whether the yield comes from a test of this program, with an interval of its own."""
        return self.how == "yield test"


def stated_yield(l_per_min: float) -> WellYield:
    """Make the yield that somebody stated, litres per minute: no interval is known. Raises SettingsError."""
    return WellYield(l_per_min, l_per_min, l_per_min)


def summed_yield(fractures_l_per_min: tuple[float, ...]) -> WellYield:
    """Add the yields of the fractures that the driller noted, litres per minute each. Raises SettingsError.

    y = y1 + y2 + ...

    >>> round(summed_yield((1.5, 2.5)).l_per_min, 6)
    4.0
    """
    if not fractures_l_per_min:
        raise SettingsError('no fracture is given: give the yield of each, such as "1.5 gpm"')
    for one in fractures_l_per_min:
        if not (math.isfinite(one) and one >= 0):
            raise SettingsError("the yield of a fracture cannot be below zero; leave a dry one out")
    total = math.fsum(fractures_l_per_min)
    return WellYield(total, total, total, "sum of fractures")


@dataclass(frozen=True, slots=True)
class Well:
    """The well, as far as it is known; None = unknown. Raises SettingsError for what cannot be.

    bore_m: inside diameter. well_depth_m, pump_depth_m (pump's intake), static_level_m (water at rest): down from the
    ground. margin_m: water kept standing over the pump. water_yield: what flows in. origin: option name -> where it
    came from.
    """

    bore_m: float | None = None
    well_depth_m: float | None = None
    pump_depth_m: float | None = None
    static_level_m: float | None = None
    margin_m: float = DEFAULT_MARGIN_M
    water_yield: WellYield | None = None
    origin: Mapping[str, Origin] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _check_sizes(self)
        _check_order(self)

    def came_from(self, name: str) -> Origin:
        """Where the value of an option came from; "default" when nobody said."""
        return self.origin.get(name, "default")


def _both(length_m: float) -> str:
    """A depth in both systems of units: an error is told before anybody knows which one the user reads."""
    return f"{format_depth(length_m, 'us')}, {format_depth(length_m, 'metric')}"


def _check_sizes(well: Well) -> None:
    if well.bore_m is not None and not (math.isfinite(well.bore_m) and well.bore_m > 0):
        raise SettingsError(
            "a bore of zero or less holds no water: give the inside diameter of the casing or the hole, such as "
            '"6 in" or "152 mm"'
        )
    for name, value in (("well's depth", well.well_depth_m), ("pump's depth", well.pump_depth_m)):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise SettingsError(f'the {name} must be more than zero: give it from the ground down, such as "180 ft"')
    if well.static_level_m is not None and not (math.isfinite(well.static_level_m) and well.static_level_m >= 0):
        raise SettingsError(
            'the static level cannot be below zero: give how far down the water stands at rest, such as "40 ft"; '
            "a well that flows by itself has 0 ft"
        )
    if not (math.isfinite(well.margin_m) and well.margin_m >= 0):
        raise SettingsError('the margin over the pump cannot be below zero: give it such as "10 ft", or "0 ft"')


def _check_order(well: Well) -> None:
    depth, pump, level = well.well_depth_m, well.pump_depth_m, well.static_level_m
    if depth is not None and pump is not None and pump > depth:
        raise SettingsError(
            f"the pump ({_both(pump)}) cannot hang deeper than the well ({_both(depth)}): look at the driller's log "
            "again, and measure both from the ground"
        )
    if depth is not None and level is not None and level >= depth:
        raise SettingsError(
            f"with the static level ({_both(level)}) at or below the bottom of the well ({_both(depth)}) the well is "
            "dry: measure both from the ground"
        )
    if pump is not None and level is not None and level >= pump:
        raise SettingsError(
            f"with the static level ({_both(level)}) at or below the pump ({_both(pump)}) the pump would stand in air: "
            "measure both from the ground"
        )


def doubts(well: Well, pump_l_per_min: float | None, units: UnitSystem = "us") -> tuple[str, ...]:
    """Say in plain sentences what is unusual about a well that can nevertheless be computed."""
    found: list[str] = []
    bore, pump, level, depth = well.bore_m, well.pump_depth_m, well.static_level_m, well.well_depth_m
    if bore is not None and bore < 0.05:
        found.append(
            f"A bore of {format_bore(bore, units)} is too narrow for a pump that hangs in the well: is it the inside "
            "of the casing, and the unit right?"
        )
    if bore is not None and bore > 0.5:
        found.append(
            f"A bore of {format_bore(bore, units)} is that of a dug well: it holds much water, and its yield changes "
            "with the season more than that of a drilled one."
        )
    if pump is not None and level is not None and pump - level - well.margin_m <= 0:
        found.append(
            f"The margin over the pump ({format_depth(well.margin_m, units)}) takes up all the water that stands over "
            f"it ({format_depth(pump - level, units)}): no standing water is counted."
        )
    if pump is not None and depth is not None and depth - pump < 1.0:
        found.append(
            f"The pump hangs {format_depth(depth - pump, units)} above the bottom: so close it may take in sand and "
            "silt."
        )
    if level == 0:
        found.append("A static level of zero means that the well flows by itself: is that so?")
    rate = None if well.water_yield is None else well.water_yield.l_per_min
    if rate == 0:
        found.append("With a yield of zero only the water standing in the bore is there, once.")
    elif rate is not None and rate > gal_to_l(100.0):
        found.append(f"A yield of {format_flow(rate, units)} is far above that of a house well: is it right?")
    if pump_l_per_min is not None and rate is not None and well.water_yield is not None:
        spread = well.water_yield
        if spread.low_l_per_min < pump_l_per_min < spread.high_l_per_min:
            found.append("Whether the pump draws more than the well yields cannot be told: the interval holds both.")
    return tuple(found)
