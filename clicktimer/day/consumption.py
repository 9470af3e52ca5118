"""A log, r0 and the pump's rate in, water out: by mass balance over whole cycles, in litres or in tankfuls.

In a whole cycle what the pump gives is what leaves. A run of t seconds is t/r0 tankfuls, or Q t litres. From the first
cut-in to the last the balance closes; before and after it the tank may have given up to one tankful more or less.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from clicktimer.day.cycle_log import DayLog, whole_runs
from clicktimer.day.estimate import Amount, KnownRate, likeliest, spread_of
from clicktimer.day.imputation import Repaired, as_heard, nearest, possible
from clicktimer.day.no_use_run import NoUseRun
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.day.start_counts import HOUR_S
from clicktimer.records import Reason


@dataclass(frozen=True, slots=True)
class Water:
    """Water used. unit: "L", or "tankfuls" where no pump rate is known, or "s" of pump where r0 is not known either.

    between: from the first cut-in (at from_s, seconds of the log) to the last (to_s), where the balance closes. total:
    all the log. by_hour: in each hour of the log, spread evenly inside each rest and run, finer than which nothing is
    told; by_hour_low, by_hour_high: its bounds, with the tank anywhere between full and empty at both ends. tankful:
    what the tank gives between stop and start, in the same unit. long_runs: the share of it in runs over 5 r0, which
    ride the pump's curve. doubtful: clicks taken for false or missed.
    """

    unit: str
    between: Amount
    from_s: float
    to_s: float
    total: Amount
    by_hour: tuple[float, ...]
    by_hour_low: tuple[float, ...]
    by_hour_high: tuple[float, ...]
    tankful: Amount
    long_runs: Amount | None
    doubtful: int
    reasons: tuple[Reason, ...]


def read_water(
    log: DayLog,
    no_use: NoUseRun,
    *,
    rate: KnownRate | None = None,
    paths: Sequence[Repaired] = (),
    params: DayParams = DEFAULT_PARAMS,
) -> Water | None:
    """Compute the water used in a log by balance.

    Parameters
    ----------
    log : DayLog
        The cycles of the day.
    no_use : NoUseRun
        The run with no water in use.
    rate : KnownRate or None
        What the pump gives; without it the water is in tankfuls or seconds of pumping.
    paths : sequence of Repaired
        Sampled paths of the log, where they are there already.

    Returns
    -------
    Water or None
        None without a whole run.
    """
    tuned = params.consumption
    r0_s = no_use.seconds
    if whole_runs(log.cycles).count < 1:
        return None
    rough: Sequence[Repaired] = ()
    if r0_s is not None:
        paths = paths or possible(log.cycles, r0_s, log.gaps, params=params)
        in_doubt = [s.false + s.missed for s in paths]
        doubtful = round(float(np.median(in_doubt)))
        clicks = sum((c.cut_in_s is not None) + (c.cut_out_s is not None) for c in log.cycles)
        within = float(np.interp(np.mean(in_doubt) / clicks, tuned.doubtful, tuned.within))
        log = replace(log, cycles=nearest(paths, likeliest([s.ran_s for s in paths], within, tuned.blur)).cycles)
    else:
        log, rough, heard_s, doubtful = _without_r0(log, params=params)
    runs = whole_runs(log.cycles)
    if rate is not None:
        unit, per_s, own = "L", rate.l_per_min / 60.0, (rate.share, rate.share)
    elif r0_s is not None and no_use.low_s is not None and no_use.high_s is not None:
        unit, per_s, own = "tankfuls", 1.0 / r0_s, (1 - r0_s / no_use.high_s, r0_s / no_use.low_s - 1)
    else:
        unit, per_s, own = "s of pump", 1.0, (0.0, 0.0)
    floor_s = r0_s if r0_s is not None else float(np.quantile(runs.runs_s, 0.25))
    usual = runs.runs_s <= tuned.endless_ratio * floor_s
    long_s = float(runs.runs_s[~usual].sum())
    if r0_s is not None:
        from_s, to_s = _first_and_last(paths)
        all_s = _likeliest([s.ran_s for s in paths], within, params=params)
        between_s = _likeliest(_pumped_s(paths, from_s, to_s, r0_s), within, params=params)
    else:
        from_s, to_s = float(runs.starts_s[0]), float(runs.starts_s[-1])
        mean_s = float(runs.runs_s[usual].mean()) if usual.any() else floor_s
        doubt_s = 1.96 * params.start_counting.doubt_runs * mean_s * math.sqrt(doubtful)
        pumped_in_all_s = float(runs.runs_s.sum())
        doubts_s = _doubts_s(log, rough, (pumped_in_all_s, heard_s, doubt_s), alone=doubtful, params=params)
        all_s = (pumped_in_all_s, *doubts_s)
        # The last run's water came before or in it: the balance from first to last cut-in leaves it out.
        between_s = (pumped_in_all_s - float(runs.runs_s[-1]), *doubts_s)
    below, above = (math.hypot(o, 1.96 * params.constant_flow.law_sd) for o in own)

    def amount(seconds: float, below_s: float = 0.0, above_s: float = 0.0, more_s: float = 0.0) -> Amount:
        low_s = seconds - math.hypot(below * seconds, below_s) - more_s + tuned.curve[0] * long_s
        high_s = seconds + math.hypot(above * seconds, above_s) + more_s + tuned.curve[1] * long_s
        return Amount(per_s * seconds, per_s * max(0.0, low_s), per_s * high_s)

    # At both ends, and at both sides of a gap, the tank stands anywhere between full and empty: that has no mean.
    total = amount(*all_s, floor_s * math.sqrt(1 + 2 * len(log.gaps)))
    hours = _by_hour(log, per_s, floor_s)
    pumped_s = _hours_s(paths if r0_s is not None else rough or [as_heard(log.cycles)], log.duration_s, params=params)
    least = [max(0.0, per_s * ((1 - below) * a - floor_s)) for a, _ in pumped_s]
    most = [per_s * ((1 + above) * b + floor_s) for _, b in pumped_s]
    inside = sum(from_s < g.from_s < to_s for g in log.gaps)
    between = amount(*between_s, floor_s * math.sqrt(2 * inside))
    tankful = _tankful(no_use, per_s, own, floor_s, unit)
    return Water(
        unit,
        between,
        from_s,
        to_s,
        total,
        hours,
        tuple(least),
        tuple(most),
        tankful,
        amount(long_s) if long_s else None,
        doubtful,
        _reasons(unit, doubtful),
    )


def _without_r0(log: DayLog, *, params: DayParams) -> tuple[DayLog, Sequence[Repaired], float, int]:
    """Where r0 is withheld: the likeliest log, its paths, the pump's time by the clicks as heard, clicks alone.

    Where clicks stand alone others are paired falsely, and a run far over the others may be two false clicks: no r0
    says which, so a low quantile of the runs stands for it. No paths where nothing is in doubt.
    """
    runs = whole_runs(log.cycles)
    heard_s = float(runs.runs_s.sum())
    rough_s = float(np.quantile(runs.runs_s, params.consumption.rough_quantile))
    if not runs.missed and runs.runs_s.max() <= params.consumption.endless_ratio * rough_s:
        return log, (), heard_s, 0
    rough = possible(log.cycles, rough_s, log.gaps, params=params)
    likely = nearest(rough, float(np.median([s.ran_s for s in rough]))).cycles
    return replace(log, cycles=likely), rough, heard_s, runs.missed


def _doubts_s(
    log: DayLog, rough: Sequence[Repaired], seconds: tuple[float, float, float], *, alone: int, params: DayParams
) -> tuple[float, float]:
    """How far the pump's time may reach below and above, where r0 is withheld.

    seconds: the time told, the time by the clicks as heard, the doubt of clicks that stand alone. alone: how many.
    """
    told_s, heard_s, doubt_s = seconds
    below_s = above_s = doubt_s
    if rough:
        middle_s, low_s, high_s = spread_of([s.ran_s for s in rough], params.consumption.rough_wider)
        below_s = math.hypot(doubt_s, max(0.0, told_s - middle_s + low_s))
        above_s = math.hypot(doubt_s, max(0.0, middle_s + high_s - told_s))
    if not alone:
        above_s = max(above_s, heard_s - told_s)  # no click speaks against the runs as heard
    runs_s = whole_runs(log.cycles).runs_s
    longest_s = float(runs_s.max())
    half_heard = any(c.run_s is None for c in log.cycles)
    if len(runs_s) <= params.no_use.few and (half_heard or longest_s > params.consumption.lone_run_s):
        below_s = max(below_s, longest_s)  # too few to tell from each other: the longest may be false
    return below_s, above_s


def _reasons(unit: str, doubtful: int) -> tuple[Reason, ...]:
    """Return what the water rests on: the balance, the unit where it is not litres, and clicks in doubt."""
    found = [Reason("day.water-by-balance")]
    if unit == "tankfuls":
        found.append(Reason("day.water-in-tankfuls"))
    elif unit != "L":
        found.append(Reason("day.water-in-seconds"))
    if doubtful:
        found.append(Reason("day.water-clicks-in-doubt", count=doubtful))
    return tuple(found)


def _likeliest(values_s: Sequence[float], within: float, *, params: DayParams) -> tuple[float, float, float]:
    """The likeliest value, and how far below and above it the interval of the paths reaches."""
    tuned = params.consumption
    middle_s, below_s, above_s = spread_of(values_s, params.estimate.drawn_wider)
    value_s = likeliest(values_s, within, tuned.blur)
    return value_s, max(0.0, value_s - middle_s + below_s), max(0.0, middle_s + above_s - value_s)


def _first_and_last(paths: Sequence[Repaired]) -> tuple[float, float]:
    """The first cut-in and the last, by most of the paths."""
    first = Counter(float(s.starts_s[0]) for s in paths).most_common(1)[0][0]
    last = Counter(float(s.starts_s[-1]) for s in paths).most_common(1)[0][0]
    return first, max(first, last)


def _pumped_s(paths: Sequence[Repaired], from_s: float, to_s: float, r0_s: float) -> list[float]:
    """Seconds of pumping, by each path, that were used between two times; in a rest or run the tank's level counts."""
    found = []
    for s in paths:
        inside_s = float((np.clip(s.ends_s, from_s, to_s) - np.clip(s.starts_s, from_s, to_s)).sum())
        found.append(inside_s + r0_s * (_level(s, from_s) - _level(s, to_s)))
    return found


def _tankful(no_use: NoUseRun, per_s: float, own: tuple[float, float], floor_s: float, unit: str) -> Amount:
    """What the tank gives between stop and start. One tankful is one, whatever r0 is."""
    if unit == "tankfuls":
        return Amount(1.0, 1.0, 1.0)
    if no_use.low_s is None or no_use.high_s is None:
        return Amount(per_s * floor_s, 0.0, per_s * floor_s)  # a shorter one was not heard, which proves nothing
    below, above = 1 - no_use.low_s / floor_s, no_use.high_s / floor_s - 1
    value = per_s * floor_s
    return Amount(value, value * (1 - math.hypot(below, own[0])), value * (1 + math.hypot(above, own[1])))


def _hours_s(paths: Sequence[Repaired], duration_s: float, *, params: DayParams) -> list[tuple[float, float]]:
    """Least and most seconds of pumping in each hour of the log, by 95 % of the paths."""
    edges_s = np.minimum(np.arange(math.ceil(duration_s / HOUR_S) + 1) * HOUR_S, duration_s)
    rows = []
    for s in paths:
        times_s = np.column_stack([s.starts_s, s.ends_s]).ravel()
        ran_s = np.concatenate([[0.0], np.repeat(np.cumsum(s.ends_s - s.starts_s), 2)[:-1]])
        rows.append(np.diff(np.interp(edges_s, times_s, ran_s)))
    ends = (spread_of(column, params.estimate.drawn_wider) for column in np.array(rows).T.tolist())
    return [(max(0.0, middle_s - below_s), middle_s + above_s) for middle_s, below_s, above_s in ends]


def _level(path: Repaired, at_s: float) -> float:
    """How full the tank stands by a path, 0 at cut-in to 1 at cut-out, in straight lines between."""
    times_s = np.column_stack([path.starts_s, path.ends_s]).ravel()
    return float(np.interp(at_s, times_s, np.tile([0.0, 1.0], len(path.starts_s))))


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
