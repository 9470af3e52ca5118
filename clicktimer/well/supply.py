"""How much water a well gives, one formula to a function: standing water, supply over a time, time to draw it down.

Litres, litres per minute, metres, seconds. Two bounds for what flows in while the well is drawn down: the whole yield
at once, or an inflow that grows with the drawdown and reaches the yield when the level has come down to the margin
over the pump. A real well lies between, or near one of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from clicktimer.errors import SettingsError


def _not_negative(value: float, name: str) -> float:
    if not (math.isfinite(value) and value >= 0):
        raise SettingsError(f"{name} cannot be below zero")
    return value


def bore_area_m2(bore_m: float) -> float:
    """Give the area of a bore from its inside diameter in metres, square metres: pi/4 d^2. Raises SettingsError."""
    if not (math.isfinite(bore_m) and bore_m > 0):
        raise SettingsError('a bore must be more than zero: give its inside diameter, such as "6 in"')
    return math.pi / 4.0 * bore_m**2


def standing_water_l(bore_m: float, pump_depth_m: float, static_level_m: float, margin_m: float = 0.0) -> float:
    """Give the water that stands in the bore over the pump and can be used, litres.

    B = pi/4 d^2 (pump depth - margin - static level)

    Parameters
    ----------
    bore_m : inside diameter. pump_depth_m, static_level_m : down from the ground. margin_m : water kept over the pump.

    Returns
    -------
    litres; zero where the margin takes up all of it (``site.doubts`` says so).

    Raises
    ------
    SettingsError : zero bore, a negative depth, or water that stands at or below the pump.

    Assumes one diameter all the way down; the space that pump, pipe and cable take is not taken off (a 1-inch pipe
    in a 6-inch bore: about 5 %).

    Source: The Groundwater Project, "Domestic Wells", exercise 1 (grade B, read): 50 m deep, 152 mm, water at 5 m,
    5 m over the pump: 726 L.

    >>> round(standing_water_l(0.152, 50.0, 5.0, 5.0))
    726
    """
    area_m2 = bore_area_m2(bore_m)
    _not_negative(static_level_m, "the static level")
    _not_negative(margin_m, "the margin over the pump")
    if not (math.isfinite(pump_depth_m) and pump_depth_m > static_level_m):
        raise SettingsError("the static level lies at or below the pump: the pump would stand in air")
    return 1000.0 * area_m2 * max(pump_depth_m - margin_m - static_level_m, 0.0)


def drawn_down_full_s(standing_l: float, yield_l_per_min: float, draw_l_per_min: float) -> float:
    """Give when the standing water is gone if the whole yield flows in from the first moment, seconds.

    t = 60 B / (Q - y), infinite where the draw is not above the yield

    standing_l in litres, flows in litres per minute. The longest that it takes. Source: conservation of water (A).

    >>> drawn_down_full_s(100.0, 5.0, 15.0)
    600.0
    """
    _not_negative(standing_l, "the standing water")
    _not_negative(yield_l_per_min, "a yield")
    _not_negative(draw_l_per_min, "a draw")
    if draw_l_per_min <= yield_l_per_min:
        return math.inf
    return 60.0 * standing_l / (draw_l_per_min - yield_l_per_min)


def drawn_down_growing_s(standing_l: float, yield_l_per_min: float, draw_l_per_min: float) -> float:
    """Give when the standing water is gone if the inflow grows with the drawdown up to the yield, seconds.

    t = 60 (B / y) ln(Q / (Q - y)), infinite where the draw is not above the yield; 60 B / Q at no yield

    standing_l in litres, flows in litres per minute. Always sooner than drawn_down_full_s.

    Assumes an inflow in proportion to the drawdown (a well of constant productivity). Source: solution of the water
    balance dS/dt = Q - y S/B, S from 0 to B (grade A); the tests hold it against a numerical one.

    >>> round(drawn_down_growing_s(100.0, 5.0, 15.0))
    487
    """
    if math.isinf(drawn_down_full_s(standing_l, yield_l_per_min, draw_l_per_min)):
        return math.inf
    part = yield_l_per_min / draw_l_per_min
    # -ln(1 - x) / x tends to 1; log1p keeps it exact for a small yield.
    growth = 1.0 if part == 0.0 else -math.log1p(-part) / part
    return 60.0 * standing_l / draw_l_per_min * growth


def well_gives_l(standing_l: float, yield_l_per_min: float, time_s: float) -> float:
    """Give the most that a well can give over a time, litres: what stands in it and what flows in.

    W = B + y t / 60

    standing_l in litres, yield in litres per minute, time in seconds. Raises SettingsError for anything negative.

    >>> well_gives_l(726.0, 2.0, 7200.0)
    966.0
    """
    _not_negative(time_s, "a time")
    return _not_negative(standing_l, "the standing water") + _not_negative(yield_l_per_min, "a yield") * time_s / 60.0


def pumped_l(
    standing_l: float, yield_l_per_min: float, draw_l_per_min: float, time_s: float, *, growing: bool
) -> float:
    """Give what a pump brings up over a time when it runs as much as the well allows, litres.

    Q t until the standing water is gone at time t1, then y t:  W = Q t1 + y (t - t1)

    growing: the inflow grows with the drawdown (least) or is whole at once (most). Units as in well_gives_l.
    """
    gone_s = (drawn_down_growing_s if growing else drawn_down_full_s)(standing_l, yield_l_per_min, draw_l_per_min)
    _not_negative(time_s, "a time")
    if time_s <= gone_s:
        return draw_l_per_min * time_s / 60.0
    return draw_l_per_min * gone_s / 60.0 + yield_l_per_min * (time_s - gone_s) / 60.0


@dataclass(frozen=True, slots=True)
class Supply:
    """Water to be had over a time, litres. low_l to high_l: both bounds of the inflow and the yield's interval.

    time_s: seconds. tank_l: of it, what a full pressure tank adds. pump_limited: the pump's rate, not the well, is
    what limits it. standing_known: False when only the inflow is counted, because the bore is not known.
    """

    time_s: float
    low_l: float
    high_l: float
    tank_l: float
    pump_limited: bool
    standing_known: bool


def supply_over(
    time_s: float,
    yield_range_l_per_min: tuple[float, float],
    standing_l: float | None,
    draw_l_per_min: float | None = None,
    tank_l: float = 0.0,
) -> Supply:
    """Give what can be had over a time from a well that has rested, litres.

    yield_range_l_per_min: low and high of the yield. standing_l: None when unknown (then only the inflow is counted).
    draw_l_per_min: the pump's rate, None when unknown (then the pump is taken to keep up). tank_l: drawdown of a full
    pressure tank. time_s: seconds. Raises SettingsError for anything negative.
    """
    low_y, high_y = yield_range_l_per_min
    stands = 0.0 if standing_l is None else standing_l
    _not_negative(tank_l, "the water in the tank")
    if draw_l_per_min is None:
        low, high = well_gives_l(stands, low_y, time_s), well_gives_l(stands, high_y, time_s)
        limited = False
    else:
        low = pumped_l(stands, low_y, draw_l_per_min, time_s, growing=True)
        high = pumped_l(stands, high_y, draw_l_per_min, time_s, growing=False)
        limited = low >= draw_l_per_min * time_s / 60.0 * (1.0 - 1e-12)
    return Supply(time_s, low + tank_l, high + tank_l, tank_l, limited, standing_l is not None)
