"""From a recorded yield test to a steady yield with its 95 % interval, or to the reason why there is none.

What the well gave up to a moment is what was drawn plus what the bore has gained: G = V + A (L0 - L), with the bore's
area A and the depth L of the water. Its slope is the inflow. The yield is the slope of the steady end of the test.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from clicktimer.errors import SettingsError
from clicktimer.records import Figure, Reason
from clicktimer.well.description import WellYield
from clicktimer.well.recovery import fit_recovery
from clicktimer.well.slope import LEAST_READINGS, Slope, fit_slope
from clicktimer.well.supply import bore_area_m2
from clicktimer.well.yield_log import TestRows

MOST_ENDS = 200
"""So many beginnings of the end are tried."""


@dataclass(frozen=True, slots=True)
class YieldTest:
    """What a yield test tells.

    water_yield: the steady yield with its interval, None where there is none. reasons: the answer and what it rests
    on. settle: what would settle what is open. used: readings used, the last ones of ``readings``.
    used_s: the time they cover, seconds. change: change of the inflow over the readings used, as a part of it.
    """

    water_yield: WellYield | None
    reasons: tuple[Reason, ...]
    settle: tuple[Reason, ...]
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
            (Reason("well.test-too-few", readings=n, least=LEAST_READINGS),),
            (Reason("well.settle-more-readings"),),
            n,
            0,
            0.0,
            None,
        )
    recovers = rows.volume_l is None and draw_l_per_min is None
    if recovers and bore_m is not None and static_level_m is not None:
        return _recovered(rows, bore_m, static_level_m)
    found = _steady_end(time_s, total, reading_sd, whole=recovers)
    if found is not None:
        return _found(rows, found[1], n - found[0], draw_l_per_min)
    if recovers:
        return YieldTest(
            None,
            (Reason("well.test-rises-slower"),),
            (Reason("well.settle-static-level"),),
            n,
            n,
            float(time_s[-1]),
            fit_slope(time_s, total, reading_sd).change,
        )
    fit = fit_slope(time_s[-LEAST_READINGS:], total[-LEAST_READINGS:], reading_sd)
    return YieldTest(
        None,
        (Reason("well.test-unsteady", change=abs(fit.change), last=LEAST_READINGS),),
        (Reason("well.settle-go-on"),),
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


def _recovered(rows: TestRows, bore_m: float, static_level_m: float) -> YieldTest:
    """The yield of a recovery at the deepest level read, from the rate at which the rise slows down."""
    levels = np.array(rows.level_m)
    fit = fit_recovery(np.array(rows.time_s), levels - static_level_m, rows.level_step_m / math.sqrt(12.0))
    litres_per_min = 60.0 * 1000.0 * bore_area_m2(bore_m)
    value, half = litres_per_min * fit.rise_m_per_s, litres_per_min * fit.half_width_m_per_s
    n, all_s = len(rows.time_s), rows.time_s[-1]
    readings: dict[str, Figure] = {"used": fit.used, "readings": n}
    if fit.strays or value <= half:
        why = Reason("well.recovery-strays" if fit.strays else "well.recovery-scatter", **readings)
        return YieldTest(None, (why,), (Reason("well.settle-check-level"),), n, fit.used, all_s, None)
    found = WellYield(value, value - half, value + half, "yield test")
    reason = Reason(
        "well.recovery-gives",
        yield_l_per_min=value,
        half_l_per_min=half,
        deepest_m=float(levels[0]),
        **readings,
    )
    return YieldTest(found, (reason,), (), n, fit.used, all_s, None)


def _found(rows: TestRows, fit: Slope, used: int, draw_l_per_min: float | None) -> YieldTest:
    n, used_s = len(rows.time_s), rows.time_s[-1] - rows.time_s[-used]
    value, half = 60.0 * fit.per_s, 60.0 * fit.half_width_per_s
    readings: dict[str, Figure] = {"used": used, "readings": n, "used_s": used_s}
    if value - half <= 0:
        most = value + half
        if most <= 0:
            why = Reason("well.test-contradicts", **readings)
            return YieldTest(None, (why,), (Reason("well.settle-check-readings"),), n, used, used_s, fit.change)
        # No inflow was seen, and the most that there can be is known: enough to say that a need is not met.
        none = WellYield(max(value, 0.0), 0.0, most, "yield test")
        why = Reason("well.test-standing-only", most_l_per_min=most, **readings)
        return YieldTest(none, (why,), (Reason("well.settle-check-readings"),), n, used, used_s, fit.change)
    found = WellYield(value, value - half, value + half, "yield test")
    reasons = [Reason("well.test-gives", yield_l_per_min=value, half_l_per_min=half, **readings)]
    if used < n:
        reasons.append(Reason("well.test-first-left-out", count=n - used))
    if used_s < 0.25 * rows.time_s[-1]:
        reasons.append(Reason("well.test-less-than-quarter"))
    reasons.append(_basis(rows, draw_l_per_min))
    return YieldTest(found, tuple(reasons), _settle(rows), n, used, used_s, fit.change)


def _basis(rows: TestRows, draw_l_per_min: float | None) -> Reason:
    if rows.volume_l is not None and rows.level_m is not None:
        return Reason("well.test-basis-levels")
    if rows.volume_l is not None:
        return Reason("well.test-basis-no-levels")
    return Reason("well.test-basis-recovery" if draw_l_per_min is None else "well.test-basis-stated-flow")


def _settle(rows: TestRows) -> tuple[Reason, ...]:
    if rows.volume_l is not None and rows.level_m is None:
        return (Reason("well.settle-note-levels"),)
    return ()
