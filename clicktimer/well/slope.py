"""The slope of a line through readings, how sure it is, and whether the readings bend. Arrays in, numbers out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from clicktimer.errors import SettingsError

LEAST_READINGS = 5
"""Fewer tell neither a spread nor a bend: three are used up by a parabola."""
BEND_FRACTION = 0.10
"""An inflow that changes by more than this over the readings used is not steady. Our choice, no source."""
BEND_SURE = 0.05
"""...if the change is also significant at this level."""
SLOPE_LOSS = 1.2
"""Variance of a least-squares slope over that of the best estimate when errors add up from row to row (6/5, exact for
many evenly spaced rows of a random walk)."""


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope through readings, in units of y a second, with its 95 % half width and the change of the slope by a
    parabola, as a part of the slope; ``bent`` when that change is large and significant.
    """

    per_s: float
    half_width_per_s: float
    change: float
    bent: bool


def fit_slope(time_s: np.ndarray[Any, Any], total: np.ndarray[Any, Any], reading_sd: float = 0.0) -> Slope:
    """Fit a straight line by least squares and say how sure its slope is.

    Parameters
    ----------
    time_s : seconds, increasing. total : what the line is laid through, same length, five or more.
    reading_sd : standard deviation that the fineness of the readings alone gives, same unit as ``total``.

    The half width is Student's t (n - 2 degrees of freedom) times the greater of two standard errors: errors of
    reading, independent from row to row (the usual one), and a flow that wavers, whose errors add up from row to row
    (from the scatter of the rates between rows). The scatter is never taken as less than ``reading_sd``.

    Source: ordinary least squares, any text on regression (grade A).
    """
    from scipy import stats

    if len(time_s) < LEAST_READINGS:
        raise SettingsError(f"a yield cannot be told from fewer than {LEAST_READINGS} readings: go on with the test")
    n = len(time_s)
    t = time_s - time_s.mean()
    sxx = float(t @ t)
    slope = float(t @ total) / sxx
    residual = total - total.mean() - slope * t
    scatter = math.sqrt(max(float(residual @ residual) / (n - 2), reading_sd**2))
    reading_error = scatter / math.sqrt(sxx)
    steps_s = np.diff(time_s)
    wander = np.diff(total) - slope * steps_s
    wavering_error = math.sqrt(SLOPE_LOSS * float(np.sum(wander**2 / steps_s)) / (n - 2) / float(steps_s.sum()))
    half = float(stats.t.ppf(0.975, n - 2)) * max(reading_error, wavering_error)
    # The bend: a parabola whose second term is at right angles to the line, so the slope stays the mean one.
    square = t**2 - (t**2).mean() - t * float(t @ t**2) / sxx
    see = float(square @ square)
    bend = float(square @ total) / see
    change = 2.0 * bend * float(time_s[-1] - time_s[0])
    left = residual - bend * square
    error = math.sqrt(max(float(left @ left) / (n - 3), reading_sd**2) / see)
    chance = 0.0 if error == 0.0 else 2.0 * float(stats.t.sf(abs(bend) / error, n - 3))
    part = abs(change / slope) if slope else math.inf
    bent = part > BEND_FRACTION and chance < BEND_SURE
    return Slope(slope, half, change / slope if slope else 0.0, bent)
