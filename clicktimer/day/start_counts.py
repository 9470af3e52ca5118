"""A log and its paths in, counts with their interval out: starts, the worst hour, hour by hour, share of the time.

A click that was missed or is false makes a start more or less. With r0 known the paths of the log say how many;
without it every half-heard run may have been one or none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from clicktimer.day.cycle_log import DayLog, Floats, all_starts_s, whole_runs
from clicktimer.day.estimate import Amount, drawn
from clicktimer.day.imputation import Repaired
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.records import Cycle

HOUR_S: Final = 3_600.0
NONE_HIGH: Final = 3.7  # 97.5 % of a Poisson count of none


@dataclass(frozen=True, slots=True)
class StartCounts:
    """Starts in all, in the worst 3600 s and in each hour of the log, and the share of the time that the pump ran."""

    starts: Amount
    worst_hour: Amount
    by_hour: tuple[Amount, ...]
    duty: Amount


def worst_hour(starts_s: Floats) -> tuple[int, float | None]:
    """The most starts within any 3600 s, and the first start of that hour.

    >>> import numpy as np
    >>> worst_hour(np.array([0.0, 10.0, 3599.0, 3600.0]))
    (3, 0.0)
    """
    if not len(starts_s):
        return 0, None
    ends = np.searchsorted(starts_s, starts_s + HOUR_S, side="left")
    counts = ends - np.arange(len(starts_s))
    best = int(np.argmax(counts))
    return int(counts[best]), float(starts_s[best])


def in_hours(starts_s: Floats, duration_s: float) -> Floats:
    """Starts in each hour of a log of this length, seconds."""
    hours = math.ceil(duration_s / HOUR_S)
    return np.bincount((starts_s // HOUR_S).astype(int), minlength=hours).astype(np.float64)


def by_chance(count: float) -> tuple[float, float]:
    """The 95 % interval in which a count of starts varies by chance alone, from one day or hour to another like it.

    Twice its root either way (normal approximation of a Poisson count); of none, 3.7 (exact: -ln 0.025).

    >>> by_chance(16)
    (8.0, 24.0)
    """
    return (max(0.0, count - 2.0 * math.sqrt(count)), count + 2.0 * math.sqrt(count)) if count > 0 else (0.0, NONE_HIGH)


def count_starts(log: DayLog, paths: Sequence[Repaired], *, params: DayParams = DEFAULT_PARAMS) -> StartCounts:
    """Count a log's starts with their 95 % intervals.

    Parameters
    ----------
    log : DayLog
        The cycles of the day.
    paths : sequence of Repaired
        As ``imputation.possible`` gives them; empty where the run with no water in use is not known.
    params : DayParams
        Sections ``start_counting``, ``estimate`` and ``path_sampling`` are used.
    """
    tuned = params.start_counting
    heard_s = max(log.heard_s, 1.0)
    if paths:
        starts = [all_starts_s(s.cycles) for s in paths]
        duty = drawn([float((s.ends_s - s.starts_s).sum()) / heard_s for s in paths], tuned.duty_wider)
        tables = np.array([in_hours(s, log.duration_s) for s in starts])
        return StartCounts(
            drawn([len(s) for s in starts], params.estimate.drawn_wider),
            drawn([worst_hour(s)[0] for s in starts], params.estimate.drawn_wider),
            tuple(drawn(column, params.estimate.drawn_wider) for column in tables.T.tolist()),
            _timed(duty, log),
        )
    runs = whole_runs(log.cycles)
    half = [c for c in log.cycles if c.run_s is None and (c.cut_in_s is not None or c.cut_out_s is not None)]
    # a cut-out alone at the beginning is of a run that began before it
    after_start = [c for c in half if c.cut_in_s is not None or c is not log.cycles[0]]
    halves_s = [float(c.cut_in_s if c.cut_in_s is not None else c.cut_out_s or 0.0) for c in after_start]
    all_s = np.sort(np.concatenate([runs.starts_s, np.array(halves_s)]))
    heard = all_starts_s(log.cycles)
    both = [sorted((float(len(s)), float(worst_hour(s)[0]))[i] for s in (runs.starts_s, heard, all_s)) for i in (0, 1)]
    tables = np.sort([in_hours(s, log.duration_s) for s in (runs.starts_s, heard, all_s)], axis=0)
    known_s = float(runs.runs_s.sum())
    # A click alone is a run or none; a very long run may be two, with two clicks missed between.
    usual_s = float(np.median(runs.runs_s)) if runs.count else 0.0
    doubt_s = tuned.doubt_runs * usual_s * math.sqrt(len(half))
    long_s = sum(t for t in runs.runs_s.tolist() if t > params.path_sampling.long_ratio * usual_s)
    three = (known_s + usual_s * len(half) / 2, known_s - 2 * doubt_s - long_s, known_s + usual_s * len(half) + doubt_s)
    duty = Amount(*(min(1.0, max(0.0, t) / heard_s) for t in three))
    few, middle, many = both[0]
    more = tuned.doubt_runs * math.sqrt(len(half))
    count = Amount(middle, max(0.0, few - more), many + more)
    return StartCounts(count, _sorted(both[1]), tuple(_sorted(c) for c in tables.T.tolist()), _timed(duty, log))


def _sorted(three: Sequence[float]) -> Amount:
    low, middle, high = three
    return Amount(middle, low, high)


def _cut_by_ends_s(cycles: Sequence[Cycle], log: DayLog) -> float:
    """Seconds that the pump ran in runs that the log's two ends cut, by the click that was heard of them."""
    if not cycles:
        return 0.0
    first, last = cycles[0], cycles[-1]
    ran_s = first.cut_out_s if first.cut_in_s is None and first.cut_out_s is not None else 0.0
    if last.cut_out_s is None and last.cut_in_s is not None:
        ran_s += log.duration_s - last.cut_in_s
    return ran_s


def _timed(duty: Amount, log: DayLog) -> Amount:
    """The same with what the timing of the clicks and the recorder's clock add, and runs that the log's ends cut."""
    half_s = sum(
        (c.run_high_s - c.run_low_s) / 2 for c in log.cycles if c.run_high_s is not None and c.run_low_s is not None
    )
    heard_s = max(log.heard_s, 1.0)
    half = half_s / heard_s
    more = half + _cut_by_ends_s(log.cycles, log) / heard_s
    return Amount(duty.value, max(0.0, duty.low - half), min(1.0, duty.high + more))
