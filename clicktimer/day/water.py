"""A log, r0 and the pump's rate in, water out: by mass balance over whole cycles, in litres or in tankfuls.

In a whole cycle what the pump gives is what leaves. A run of t seconds is t/r0 tankfuls, or Q t litres. From the first
cut-in to the last the balance closes; before and after it the tank may have given up to one tankful more or less.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from clicktimer.day.log import DayLog, whole_runs
from clicktimer.day.norun import NoUseRun
from clicktimer.day.repair import repair

HOUR_S: Final = 3_600.0
ENDLESS_RATIO: Final = 5.0
CURVE: Final = (-0.17, 0.23)
"""A run over 5 r0 rides the pump's curve: what it gives may be off by so much (simulated)."""
DOUBT_RUNS: Final = 0.75  # of a run: what one doubtful click may be wrong by, standard deviation (simulated)
LAW_SD: Final = 0.01  # of the balance, with a pump whose rate falls (simulated: -1.0 to +0.6 % on 90 % of days)


@dataclass(frozen=True, slots=True)
class Amount:
    """An amount with its 95 % interval, in the unit that its name in Water tells."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Water:
    """Water used. unit: "L", or "tankfuls" where no pump rate is known, or "s" of pump where r0 is not known either.

    between: from the first cut-in to the last, where the balance closes. total: all the log. by_hour: in each hour of
    the log, spread evenly inside each rest and run, finer than which nothing is told. long_runs: the share of it in
    runs over 5 r0, which ride the pump's curve. doubtful: clicks taken for false or missed.
    """

    unit: str
    between: Amount
    total: Amount
    by_hour: tuple[float, ...]
    long_runs: Amount | None
    doubtful: int
    text: str


def read_water(
    log: DayLog, no_use: NoUseRun, *, rate_l_per_min: float | None = None, rate_sd_l_per_min: float | None = None
) -> Water | None:
    """Reckon the water of a log; None without a whole run. rate_l_per_min: the pump's, mean over a refill."""
    r0_s = no_use.seconds
    doubtful = 0
    if r0_s is not None:
        story = repair(log.cycles, r0_s)
        doubtful, log = story.false + story.missed, replace(log, cycles=story.cycles)
    else:
        doubtful = whole_runs(log.cycles).missed
    runs = whole_runs(log.cycles)
    if runs.count < 1:
        return None
    if rate_l_per_min is not None:
        unit, per_s, own_sd = "L", rate_l_per_min / 60.0, (rate_sd_l_per_min or 0.0) / rate_l_per_min
    elif r0_s is not None and no_use.low_s is not None and no_use.high_s is not None:
        unit, per_s, own_sd = "tankfuls", 1.0 / r0_s, (no_use.high_s - no_use.low_s) / (2 * 1.96 * r0_s)
    else:
        unit, per_s, own_sd = "s of pump", 1.0, 0.0
    floor_s = r0_s if r0_s is not None else float(np.quantile(runs.runs_s, 0.25))
    usual = runs.runs_s <= ENDLESS_RATIO * floor_s
    long_s = float(runs.runs_s[~usual].sum())
    mean_s = float(runs.runs_s[usual].mean()) if usual.any() else floor_s
    # The last run's water came before or in it: the balance from first to last cut-in leaves it out.
    counted_s = float(runs.runs_s.sum())
    between_s = counted_s - float(runs.runs_s[-1])
    sd = math.hypot(own_sd, LAW_SD)
    chance_s = DOUBT_RUNS * mean_s * math.sqrt(doubtful)

    def amount(seconds: float, more_s: float = 0.0) -> Amount:
        half_s = math.hypot(1.96 * sd * seconds, 1.96 * chance_s) + more_s
        low_s = seconds - half_s + CURVE[0] * long_s
        return Amount(per_s * seconds, per_s * max(0.0, low_s), per_s * (seconds + half_s + CURVE[1] * long_s))

    # At both ends the tank stands anywhere between full and empty; the differences have no mean.
    total = amount(counted_s, floor_s)
    hours = _by_hour(log, per_s, floor_s)
    words = {"L": "", "tankfuls": " The pump's rate is not known, so water is told in tankfuls (what the tank gives "
             "between stop and start): give --pump-rate for gallons or litres.", "s of pump": " Neither the pump's "
             "rate nor the run with no water is known, so water is told in seconds of pumping."}[unit]  # fmt: skip
    text = "By balance: what the pump gave from its first start to its last is what was used in that time." + words
    if doubtful:
        text += f" {doubtful} clicks were taken for false or put in where one was missed; the interval is wider for it."
    return Water(unit, amount(between_s), total, hours, amount(long_s) if long_s else None, doubtful, text)


def _by_hour(log: DayLog, per_s: float, r0_s: float) -> tuple[float, ...]:
    """Spread each cycle's water: one tankful over the rest before, the excess over the run."""
    runs = whole_runs(log.cycles)
    hours = np.zeros(max(1, math.ceil(log.duration_s / HOUR_S)))
    previous_s = 0.0
    for start_s, run_s in zip(runs.starts_s, runs.runs_s, strict=True):
        _spread(hours, previous_s, start_s, per_s * min(r0_s, run_s))
        _spread(hours, start_s, start_s + run_s, per_s * max(0.0, run_s - r0_s))
        previous_s = float(start_s + run_s)
    return tuple(float(h) for h in hours)


def _spread(hours: np.ndarray, from_s: float, to_s: float, amount: float) -> None:
    if amount <= 0 or to_s <= from_s:
        return
    first, last = int(from_s // HOUR_S), min(int(to_s // HOUR_S), len(hours) - 1)
    for hour in range(first, last + 1):
        share = min(to_s, (hour + 1) * HOUR_S) - max(from_s, hour * HOUR_S)
        hours[hour] += amount * max(0.0, share) / (to_s - from_s)
