"""Runs in, change over time out: within runs that follow each other closely, over hours, over days; with its chance.

Told only where chance alone would do as much once in a hundred times (Kendall's rank correlation, no shape assumed)
and the change is larger than the heat of the air explains.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from clicktimer.cycles.steady_tap import steady_no_use_run_s
from clicktimer.day.cycle_log import DayLog, Floats, whole_runs
from clicktimer.day.no_use_run import NoUseRun, no_use_run_of_day
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.records import Figure, Reason

DAY_S: Final = 86_400.0

What = Literal["back to back", "over hours", "over days"]


@dataclass(frozen=True, slots=True)
class Change:
    """A change. share: the last over the first, +0.1 = ten percent longer. chance: that nothing changed.

    now: over days, the no-use run of the last day; its seconds are those of the line through all days. None else.
    """

    what: What
    share: float | None
    low: float | None
    high: float | None
    chance: float | None
    count: int
    reported: bool
    reason: Reason
    now: NoUseRun | None = None


def find_changes(log: DayLog, no_use: NoUseRun, *, params: DayParams = DEFAULT_PARAMS) -> tuple[Change, ...]:
    """Look for change in runs back to back, over hours, or over days.

    Kendall's rank correlation gives the chance (no shape assumed), the Theil-Sen slope of the logarithms the change
    from the beginning of the stretch to its end.

    Parameters
    ----------
    log : DayLog
        The cycles of one day or more.
    no_use : NoUseRun
        The run with no water in use, needed for change over hours; over days each day gives its own.
    params : DayParams
        Section ``trend`` is used.
    """
    runs = whole_runs(log.cycles)
    found = [_back_to_back(runs.starts_s, runs.runs_s, runs.rests_s, params=params)]
    if log.duration_s > 1.9 * DAY_S:
        found.append(_over_days(log, params=params))
    elif no_use.seconds is not None:
        found.append(_trend("over hours", *_carriers(log, no_use, params=params), params=params))
    return tuple(found)


def _carriers(log: DayLog, no_use: NoUseRun, *, params: DayParams) -> tuple[Floats, Floats]:
    """Each cycle that tells r0, and what it tells: under steady use both parts, else the run near the edge."""
    tuned = params.trend
    runs = whole_runs(log.cycles)
    r0_s = no_use.seconds or 1.0
    times, values = [], []
    for start_s, run_s, rest_s in zip(runs.starts_s, runs.runs_s, runs.rests_s, strict=True):
        steady = any(u.from_s <= start_s < u.to_s for u in no_use.steady)
        own_s = steady_no_use_run_s(run_s, rest_s) if steady else run_s
        if np.isfinite(own_s) and tuned.band[0] <= own_s / r0_s <= tuned.band[1]:
            times.append(start_s)
            values.append(own_s / r0_s)
    return np.array(times), np.array(values)


def _over_days(log: DayLog, *, params: DayParams) -> Change:
    """Change from day to day, with what the run was and is: one figure for all days would be true of none."""
    times_s, days = _by_day(log, params=params)
    runs_s = np.array([day.seconds or 0.0 for day in days])
    change = _trend("over days", times_s, runs_s, params=params)
    if not change.reported or change.share is None:
        return change
    span = float(np.ptp(times_s))
    slope = math.log(1 + change.share) / span
    middle = float(np.median(np.log(runs_s))) - slope * float(np.median(times_s))
    off = np.log(runs_s) - middle - slope * times_s
    few = params.trend.least_days
    # The line, moved to the days at its two ends: a tank does not lose its air in a straight line of logarithms.
    first_s, last_s = (
        math.exp(middle + slope * float(at_s) + float(np.median(near)))
        for at_s, near in ((times_s[0], off[:few]), (times_s[-1], off[-few:]))
    )
    scatter = 1.96 * float(np.std(off[-few:], ddof=1)) / math.sqrt(few)
    own = days[-1]
    below, above = (
        math.hypot(math.log((end or 1.0) / (own.seconds or 1.0)), scatter) for end in (own.low_s, own.high_s)
    )
    low_s, high_s = last_s * math.exp(-below), last_s * math.exp(above)
    share = last_s / first_s - 1
    moved = share - change.share
    ends = (share, (change.low or 0.0) + moved, (change.high or 0.0) + moved)
    change = replace(change, share=share, low=ends[1], high=ends[2])
    dates = [(float(at_s), log.started_s, log.zone, True) for at_s in (times_s[0], times_s[-1])]
    figures = dict(change.reason.figures) | {
        "first_s": first_s,
        "last_s": last_s,
        "first_at": dates[0],
        "last_at": dates[1],
        "change": ends,
    }
    code = "trend.longer-by-day" if share > 0 else "trend.shorter-by-day"
    today = Reason("trend.today", run_s=(last_s, low_s, high_s), at=dates[1])
    now = replace(own, seconds=last_s, low_s=low_s, high_s=high_s, reasons=(*own.reasons, today))
    return replace(change, reason=Reason(code, **figures), now=now)


def _by_day(log: DayLog, *, params: DayParams) -> tuple[Floats, list[NoUseRun]]:
    """r0 of each day by itself; days that cannot tell it are left out."""
    times, values = [], []
    for day in range(int(log.duration_s // DAY_S) + 1):
        from_s, to_s = day * DAY_S, (day + 1) * DAY_S
        own = tuple(c for c in log.cycles if c.cut_in_s is not None and from_s <= c.cut_in_s < to_s)
        one = no_use_run_of_day(DayLog(own, DAY_S), params=params)
        if one.seconds is not None:
            times.append(from_s)
            values.append(one)
    return np.array(times), values


def _back_to_back(starts_s: Floats, runs_s: Floats, rests_s: Floats, *, params: DayParams) -> Change:
    """Runs that follow each other closely, each stretch against its own mean."""
    tuned = params.trend
    places, values = [], []
    stretch: list[int] = []
    for i in range(len(runs_s)):
        stretch.append(i)
        if not (np.isfinite(rests_s[i]) and rests_s[i] < tuned.close_ratio * runs_s[i]):
            if len(stretch) >= 4:
                own = runs_s[stretch]
                values += list(own / own.mean())
                places += list(np.linspace(0.0, 1.0, len(stretch)))
            stretch = []
    return _trend("back to back", np.array(places), np.array(values), params=params)


def _trend(what: What, places: Floats, values: Floats, *, params: DayParams) -> Change:
    tuned = params.trend
    if len(values) < (tuned.least_days if what == "over days" else tuned.least) or float(np.ptp(places)) == 0.0:
        too_little = Reason("trend.too-little", what=what.replace(" ", "-"), count=len(values))
        return Change(what, None, None, None, None, len(values), False, too_little)
    from scipy.stats import kendalltau, theilslopes

    chance = float(kendalltau(places, values).pvalue)
    slope, _, low, high = (float(x) for x in theilslopes(np.log(values), places))
    span = float(np.ptp(places))
    share, low, high = (math.expm1(end * span) for end in (slope, low, high))
    reported = chance < tuned.chance and abs(share) >= tuned.least_change
    figures: dict[str, Figure] = {"what": what.replace(" ", "-"), "count": len(values), "change": (share, low, high)}
    if not reported:
        reason = Reason("trend.none", **figures)
    elif share > 0:
        reason = Reason("trend.longer", **figures)
    else:
        reason = Reason("trend.shorter", **figures)
    return Change(what, share, low, high, chance, len(values), reported, reason)
