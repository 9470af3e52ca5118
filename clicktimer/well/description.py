"""The well as somebody described it: bore, levels, yield. What cannot be is refused; what is unusual is noted.

Depths are metres down from the ground, all from the same mark. ``Well`` checks itself when it is made.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from clicktimer.errors import SettingsError
from clicktimer.records import Reason
from clicktimer.tank.system import Origin
from clicktimer.units.conversions import gal_to_l
from clicktimer.well.parse import format_depth

DEFAULT_MARGIN_M = 5.0
"""Water left standing over the pump when nobody says how much.

The Groundwater Project, "Domestic Wells", exercise 1 (grade B, read) takes 5 m."""

YieldHow = Literal["stated", "sum of fractures", "yield test"]


MOST_ABOVE_GROUND_M = 60.0
"""A flowing well's water stands no higher than this above the ground; common practice, no source."""


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
    ground; a static level below zero stands above it (a flowing well). margin_m: water kept standing over the pump.
    water_yield: what flows in. origin: option name -> where it came from.
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
    level_m = well.static_level_m
    if level_m is not None and not (math.isfinite(level_m) and level_m >= -MOST_ABOVE_GROUND_M):
        raise SettingsError(
            f"the static level can be {_both(MOST_ABOVE_GROUND_M)} above the ground at the most: give how far down the "
            'water stands at rest, such as "40 ft"; a well that flows by itself has "-3 ft" where it stands 3 ft above'
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


def unusual_values(well: Well, pump_l_per_min: float | None) -> tuple[Reason, ...]:
    """Return what is unusual about a well that can nevertheless be computed.

    Parameters
    ----------
    well : Well
        Depths and bore in metres, yield in litres per minute.
    pump_l_per_min : float or None
        The pump's rate, litres per minute; None unknown.

    Returns
    -------
    tuple of Reason
        Bore, levels, yield, in this order. The limits are common practice, no source.
    """
    found: list[Reason] = []
    bore, pump, level, depth = well.bore_m, well.pump_depth_m, well.static_level_m, well.well_depth_m
    if bore is not None and bore < 0.05:
        found.append(Reason("well.bore-narrow", bore_m=bore))
    if bore is not None and bore > 0.5:
        found.append(Reason("well.bore-dug", bore_m=bore))
    if pump is not None and level is not None and pump - level - well.margin_m <= 0:
        found.append(Reason("well.margin-takes-all", margin_m=well.margin_m, standing_m=pump - level))
    if pump is not None and depth is not None and depth - pump < 1.0:
        found.append(Reason("well.pump-near-bottom", above_m=depth - pump))
    if level is not None and level <= 0:
        found.append(Reason("well.static-level-zero") if level == 0 else Reason("well.flows-by-itself", above_m=-level))
    rate = None if well.water_yield is None else well.water_yield.l_per_min
    if rate == 0:
        found.append(Reason("well.yield-zero"))
    elif rate is not None and rate > gal_to_l(100.0):
        found.append(Reason("well.yield-high", yield_l_per_min=rate))
    if pump_l_per_min is not None and rate is not None and well.water_yield is not None:
        spread = well.water_yield
        if spread.low_l_per_min < pump_l_per_min < spread.high_l_per_min:
            found.append(Reason("well.draw-or-yield-open"))
    return tuple(found)
