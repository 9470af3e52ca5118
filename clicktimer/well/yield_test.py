"""From a recorded yield test to a steady yield with its 95 % interval, or to the sentence why none can be told.

What the well gave up to a moment is what was drawn plus what the bore has gained: G = V + A (L0 - L), with the bore's
area A and the depth L of the water. Its slope is the inflow. The yield is the slope of the steady end of the test.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from clicktimer.errors import SettingsError
from clicktimer.units.format import UnitSystem, format_flow, format_time
from clicktimer.well.description import WellYield
from clicktimer.well.parse import format_depth
from clicktimer.well.recovery import fit_recovery
from clicktimer.well.slope import LEAST_READINGS, Slope, fit_slope
from clicktimer.well.supply import bore_area_m2
from clicktimer.well.yield_log import TestRows

MOST_ENDS = 200
"""So many beginnings of the end are tried."""


@dataclass(frozen=True, slots=True)
class YieldTest:
    """What a yield test tells.

    water_yield: the steady yield with its interval, None when none can be told. text: plain words, with what it rests
    on. settle: what would settle what is open, or empty. used: readings used, the last ones of ``readings``.
    used_s: the time they cover, seconds. change: change of the inflow over the readings used, as a part of it.
    """

    water_yield: WellYield | None
    text: str
    settle: str
    readings: int
    used: int
    used_s: float
    change: float | None


def steady_yield(
    rows: TestRows,
    *,
    bore_m: float | None = None,
    draw_l_per_min: float | None = None,
    static_level_m: float | None = None,
    units: UnitSystem = "us",
) -> YieldTest:
    """Give the steady yield of a recorded test with its 95 % interval.

    Parameters
    ----------
    rows : the readings. bore_m : inside diameter in metres, needed where levels were read.
    draw_l_per_min : flow drawn all through the test, where levels but no volumes were noted; None: nothing was drawn
    (the level recovers). static_level_m : depth of the water at rest; with it a recovery is judged by recovery.py.

    Raises
    ------
    SettingsError : levels without a bore; levels that fall with nothing drawn.

    How: a straight line through the end of the test; interval as in fit_slope. Of the ends over which the inflow does
    not bend (by a parabola: more than a tenth, at 5 %) and which hold half of the readings or more, the one with the
    narrowest interval; where there is none, the longest shorter one. In simulated tests with a flow that wavers from
    row to row the interval, chosen so, holds the true yield in 94 to 95 of 100; with errors of reading alone, in more.
    """
    total, reading_sd = _given_l(rows, bore_m, draw_l_per_min)
    time_s = np.array(rows.time_s)
    n = len(time_s)
    if n < LEAST_READINGS:
        return YieldTest(
            None,
            f"Only {n} readings: fewer than {LEAST_READINGS} tell no steady yield.",
            "Repeat the test with a reading every few minutes, until at least five in a row give the same rate.",
            n,
            0,
            0.0,
            None,
        )
    recovers = rows.volume_l is None and draw_l_per_min is None
    if recovers and bore_m is not None and static_level_m is not None:
        return _recovered(rows, bore_m, static_level_m, units)
    found = _steady_end(time_s, total, reading_sd, whole=recovers)
    if found is not None:
        return _told(rows, found[1], n - found[0], draw_l_per_min, units)
    if recovers:
        return YieldTest(
            None,
            "The water rises ever more slowly, as it does when less flows in the higher it stands: one rate cannot be "
            "told from it.",
            "Give the level of the water at rest (--static-level).",
            n,
            n,
            float(time_s[-1]),
            fit_slope(time_s, total, reading_sd).change,
        )
    fit = fit_slope(time_s[-LEAST_READINGS:], total[-LEAST_READINGS:], reading_sd)
    return YieldTest(
        None,
        f"The inflow still changed by {abs(fit.change):.0%} over the last {LEAST_READINGS} readings: no steady yield "
        "can be told.",
        "Go on with the test until at least five readings in a row give the same rate.",
        n,
        LEAST_READINGS,
        float(time_s[-1] - time_s[-LEAST_READINGS]),
        fit.change,
    )


def _steady_end(
    time_s: np.ndarray[Any, Any], total: np.ndarray[Any, Any], reading_sd: float, *, whole: bool
) -> tuple[int, Slope] | None:
    """The first reading of the end to go by, and the line through it; None where none is steady.

    whole: only all readings together will do.
    """
    n = len(time_s)
    last = n - LEAST_READINGS
    # Long files need not be tried at every row.
    firsts = (
        [0]
        if whole
        else sorted({round(i * last / min(last, MOST_ENDS)) for i in range(min(last, MOST_ENDS) + 1)} if last else {0})
    )
    steady = [(first, fit_slope(time_s[first:], total[first:], reading_sd)) for first in firsts]
    steady = [(first, fit) for first, fit in steady if not fit.bent]
    if not steady:
        return None
    halves = [(first, fit) for first, fit in steady if n - first >= n / 2]
    return min(halves, key=lambda end: end[1].half_width_per_s) if halves else steady[0]


def _given_l(rows: TestRows, bore_m: float | None, draw_l_per_min: float | None) -> tuple[np.ndarray[Any, Any], float]:
    """What the well had given at each reading, litres, and the standard deviation of one from fineness alone."""
    drawn = np.zeros(len(rows.time_s))
    if rows.volume_l is not None:
        drawn = np.array(rows.volume_l)
    elif draw_l_per_min is not None:
        drawn = np.array(rows.time_s) * draw_l_per_min / 60.0
    variance = rows.volume_step_l**2 / 12.0
    if rows.level_m is None:
        return drawn, math.sqrt(variance)
    if bore_m is None:
        raise SettingsError(
            'a yield test with water levels needs the bore, to turn feet into gallons: give it such as --bore "6 in"'
        )
    litres_per_m = 1000.0 * bore_area_m2(bore_m)
    level = np.array(rows.level_m)
    if rows.volume_l is None and draw_l_per_min is None and level[-1] >= level[0]:
        raise SettingsError(
            "the level does not rise in this yield test and no volume is noted: add a column of volumes drawn, or give "
            'the flow drawn all the time, such as --pump-rate "8 gpm"'
        )
    return drawn + litres_per_m * (level[0] - level), math.sqrt(variance + (litres_per_m * rows.level_step_m) ** 2 / 12)


def _recovered(rows: TestRows, bore_m: float, static_level_m: float, units: UnitSystem) -> YieldTest:
    """The yield of a recovery at the deepest level read, from the rate at which the rise slows down."""
    levels = np.array(rows.level_m)
    fit = fit_recovery(np.array(rows.time_s), levels - static_level_m, rows.level_step_m / math.sqrt(12.0))
    litres_per_min = 60.0 * 1000.0 * bore_area_m2(bore_m)
    value, half = litres_per_min * fit.rise_m_per_s, litres_per_min * fit.half_width_m_per_s
    n, all_s = len(rows.time_s), rows.time_s[-1]
    rests = f"from {fit.used} of {n} levels, read with the pump off"
    if fit.strays or value <= half:
        why = (
            "The water does not rise as it does when the inflow goes with the drawdown"
            if fit.strays
            else "The rise is lost in the scatter of the levels"
        )
        return YieldTest(
            None,
            f"{why} ({rests}): no yield can be told.",
            "Check the static level and that nothing was drawn; or pump at a steady rate until the level stands still.",
            n,
            fit.used,
            all_s,
            None,
        )
    found = WellYield(value, value - half, value + half, "yield test")
    deepest = format_depth(float(levels[0]), units)
    text = (
        f"The recovery gives {format_flow(value, units)}, give or take {format_flow(half, units)} (95 %), with the "
        f"water at {deepest}, the deepest level read, {rests}: an inflow in proportion to the drawdown, fitted by "
        "least squares, its interval from the scatter of the levels; the bore's own error comes on top. Deeper down "
        "more flows in; how much more was not measured."
    )
    return YieldTest(found, text, "", n, fit.used, all_s, None)


def _told(rows: TestRows, fit: Slope, used: int, draw_l_per_min: float | None, units: UnitSystem) -> YieldTest:
    n, used_s = len(rows.time_s), rows.time_s[-1] - rows.time_s[-used]
    value, half = 60.0 * fit.per_s, 60.0 * fit.half_width_per_s
    rests = f"from the last {used} of {n} readings, over {format_time(used_s)}"
    if value - half <= 0:
        most = max(value + half, 0.0)
        return YieldTest(
            None,
            f"No inflow can be told apart from none ({rests}): it is {format_flow(most, units)} at the most."
            if most > 0
            else f"The readings contradict each other ({rests}): the bore lost more water than was drawn.",
            "Check the bore, the volumes and the levels; go on with the test for longer.",
            n,
            used,
            used_s,
            fit.change,
        )
    found = WellYield(value, value - half, value + half, "yield test")
    text = (
        f"The yield test gives {format_flow(value, units)}, give or take {format_flow(half, units)} (95 %), {rests}: a "
        "straight line by least squares, its interval from the scatter of the readings and of the rates between them."
    )
    if used < n:
        text += f" The first {n - used} are left out: the end gives the rate more surely."
    if used_s < 0.25 * rows.time_s[-1]:
        text += " That is less than a quarter of the test."
    return YieldTest(found, text + _basis(rows, draw_l_per_min), _settle(rows), n, used, used_s, fit.change)


def _basis(rows: TestRows, draw_l_per_min: float | None) -> str:
    if rows.volume_l is not None and rows.level_m is not None:
        return " What the bore lost or gained is taken into account; the bore's own error is not in the interval."
    if rows.volume_l is not None:
        return (
            " No levels were noted: this is the well's yield only if the water level stood still at the end, or the "
            "pump drew all that came in; else it is the pump's rate."
        )
    if draw_l_per_min is not None:
        return " It rests on the flow stated for the pump, whose own error is not in the interval."
    return (
        " It was taken as a recovery with the pump off: the mean inflow while the water rose. At a deeper level more "
        "flows in."
    )


def _settle(rows: TestRows) -> str:
    if rows.volume_l is not None and rows.level_m is None:
        return "Note the water level with each volume, or draw until the level stands still."
    return ""
