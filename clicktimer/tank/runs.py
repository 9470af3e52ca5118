"""Run, rest and starts from drawdown, pump rate and use, one formula to a function. SI in and out."""

from __future__ import annotations

import math

from clicktimer.errors import SettingsError


def _pump(pump_l_per_min: float) -> float:
    if not (math.isfinite(pump_l_per_min) and pump_l_per_min > 0):
        raise SettingsError('a pump rate must be more than zero: give it such as "8 gpm"')
    return pump_l_per_min


def _use(use_l_per_min: float) -> float:
    if not (math.isfinite(use_l_per_min) and use_l_per_min >= 0):
        raise SettingsError("a water use cannot be below zero")
    return use_l_per_min


def run_s(drawdown_l: float, pump_l_per_min: float, use_l_per_min: float = 0.0) -> float:
    """Give how long the pump runs from cut-in to cut-out, seconds; infinite when the use takes all that the pump gives.

    run = 60 D / (Q - q);  r0 = 60 D / Q with no water in use

    drawdown_l in litres, flows in litres per minute. Raises SettingsError for a flow that cannot be.

    Assumes one pump rate over the whole refill. With a rate that falls 40 % over the switch's range, a use of 0.8 of
    the mean rate is enough to keep the pump running for ever.

    Source: MIL-HDBK-1005/9A, 2.5.3.6, the first term of its cycle equation (grade A).

    >>> run_s(37.85, 37.85)
    60.0
    """
    left = _pump(pump_l_per_min) - _use(use_l_per_min)
    return math.inf if left <= 0 else 60.0 * drawdown_l / left


def rest_s(drawdown_l: float, use_l_per_min: float) -> float:
    """Give how long the pump rests from cut-out to the next cut-in, seconds; infinite with no water in use.

    rest = 60 D / q

    drawdown_l in litres, use_l_per_min in litres per minute. Source: as in run_s, the second term (grade A).

    >>> rest_s(30.0, 6.0)
    300.0
    """
    return math.inf if _use(use_l_per_min) == 0 else 60.0 * drawdown_l / use_l_per_min


def most_starts_per_h(r0_s: float) -> float:
    """Give the most starts in an hour that any steady use can cause.

    starts = 900 / r0   (the use is half of the pump's rate; the cycle is then four times r0)

    r0_s: run with no water in use, seconds. From a measured r0 no other quantity is needed.

    Assumes steady use; a use that comes and goes causes fewer. Source: MIL-HDBK-1005/9A 2.5.3.6, T = 4 V / D at
    Q = D / 2 (grade A), turned round.

    >>> most_starts_per_h(60.0)
    15.0
    """
    if not r0_s > 0:
        raise SettingsError("a run must be longer than zero seconds")
    return 900.0 / r0_s


def drawdown_needed_l(pump_l_per_min: float, target_s: float) -> float:
    """Give the drawdown that makes the pump run for a target time with no water in use, litres.

    D = Q t / 60

    pump_l_per_min in litres per minute, target_s in seconds. Source: run_s solved for D.

    >>> drawdown_needed_l(30.0, 60.0)
    30.0
    """
    return _pump(pump_l_per_min) * target_s / 60.0


def volume_needed_l(pump_l_per_min: float, target_s: float, tank_fraction: float) -> float:
    """Give the tank volume that makes the pump run for a target time with no water in use, litres.

    V = Q t / (60 f)

    pump_l_per_min in litres per minute, target_s in seconds, tank_fraction as from drawdown.fraction.
    Source: "Pressure Tanks" water-well guideline, table IV.1.2, 2007 (grade B/C).

    >>> round(volume_needed_l(30.0, 60.0, 0.25), 1)
    120.0
    """
    if not tank_fraction > 0:
        raise SettingsError("a tank that takes no water cannot be sized: check charge and switch")
    return drawdown_needed_l(pump_l_per_min, target_s) / tank_fraction
