"""A recovery: the pump is off and the water rises. How fast it rose at the deepest level, and how sure that is.

In: times and drawdowns below the level at rest. The inflow is taken to go with the drawdown, so that the drawdown
dies away as s = s0 exp(-k t) and the first rise is k s0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from clicktimer.errors import SettingsError
from clicktimer.well.slope import BEND_SURE, LEAST_READINGS

STRAY_FRACTION = 0.03
"""A second rate of decay that changes the curve by more than this part of the first drawdown, significantly, is a
recovery of another kind. Our choice, no source."""


@dataclass(frozen=True, slots=True)
class Recovery:
    """rise_m_per_s: how fast the water rises at the deepest level, with its 95 % half width. used: readings used.

    strays: the readings do not follow the curve.
    """

    rise_m_per_s: float
    half_width_m_per_s: float
    used: int
    strays: bool


def fit_recovery(time_s: np.ndarray[Any, Any], drawdown_m: np.ndarray[Any, Any], reading_sd_m: float = 0.0) -> Recovery:
    """Fit s = s0 exp(-k t) by least squares and give the first rise, k s0.

    Parameters
    ----------
    time_s : seconds, increasing from zero. drawdown_m : depth of the water below its level at rest, metres, the first
    the deepest. reading_sd_m : standard deviation from the fineness of the readings alone.

    Raises
    ------
    SettingsError : too few readings, or water at or above its level at rest when the recovery begins.

    Source: an inflow in proportion to drawdown, as in any slug test (Hvorslev's method; grade A, textbook).
    """
    from scipy import optimize, stats

    n = len(time_s)
    if n < LEAST_READINGS:
        raise SettingsError(f"a recovery cannot be told from fewer than {LEAST_READINGS} levels: go on with the test")
    if drawdown_m[0] <= 0:
        raise SettingsError(
            "the first level of the recovery is not below the level at rest: check --static-level, and measure all "
            "levels from the same mark"
        )
    span_s = float(time_s[-1])

    def curve(t: Any, first_m: float, decay: float) -> Any:
        return first_m * np.exp(-decay * t / span_s)

    start = (float(drawdown_m[0]), 1.0)
    try:
        (first_m, decay), _ = optimize.curve_fit(curve, time_s, drawdown_m, p0=start, maxfev=5000)
    except RuntimeError:
        return Recovery(0.0, math.inf, n, True)
    left = drawdown_m - curve(time_s, first_m, decay)
    sd = math.sqrt(max(float(left @ left) / (n - 2), reading_sd_m**2))
    fall = np.exp(-decay * time_s / span_s)
    jacobian = np.stack([fall, -first_m * time_s / span_s * fall], axis=1)
    covariance = sd**2 * np.linalg.pinv(jacobian.T @ jacobian)
    gradient = np.array([decay, first_m]) / span_s
    half = float(stats.t.ppf(0.975, n - 2)) * math.sqrt(float(gradient @ covariance @ gradient))
    return Recovery(
        rise_m_per_s=float(first_m * decay / span_s),
        half_width_m_per_s=half,
        used=n,
        strays=_strays(time_s / span_s, left, jacobian, float(first_m), reading_sd_m),
    )


def _strays(part: Any, left: Any, jacobian: Any, first_m: float, reading_sd_m: float) -> bool:
    """Whether a bow that the curve cannot follow is left over, large and significant."""
    from scipy import stats

    bow = part**2 * np.exp(-part)
    bow = bow - jacobian @ np.linalg.lstsq(jacobian, bow, rcond=None)[0]
    see = float(bow @ bow)
    if see == 0.0:
        return False
    size = float(bow @ left) / see
    rest = left - size * bow
    degrees = len(left) - 3
    error = math.sqrt(max(float(rest @ rest) / degrees, reading_sd_m**2) / see)
    chance = 0.0 if error == 0.0 else 2.0 * float(stats.t.sf(abs(size) / error, degrees))
    return float(np.max(np.abs(size * bow))) > STRAY_FRACTION * first_m and chance < BEND_SURE
