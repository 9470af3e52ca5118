"""A log in, r0 from ordinary use out: the run with no water in use, without a visit by anybody.

Four things together: hours in which nobody used water (said by the user); steady uses, which give r0 exactly; a
constant leak, taken out of every other run; and the edge of what is left (edge.py). With too little of it the answer
is withheld and the reason told. Why not simply the shortest run or the most frequent length: docs/day.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from clicktimer.day.constant_flow import SteadyUse, brief_uses, steady_uses
from clicktimer.day.cycle_log import DayLog, Floats, Runs, whole_runs
from clicktimer.day.leak import Leak, find_leak
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.day.run_edge_posterior import Posterior, edge_posterior
from clicktimer.records import Reason, RunTime

How = Literal["nobody home", "steady uses", "edge and steady uses", "edge of the runs", "not told"]


@dataclass(frozen=True, slots=True)
class NoUseRun:
    """r0 from a day, or why not. Seconds; the 95 % interval holds what no click tells.

    rests_on: runs that carry it. near: runs within 5 % of it. steady: the steady uses found. posterior_half: half
    width of the posterior by itself, as a share. reasons: what it rests on. withheld: why there is none, or None.
    """

    seconds: float | None
    low_s: float | None
    high_s: float | None
    how: How
    rests_on: int
    near: int
    posterior_half: float | None
    steady: tuple[SteadyUse, ...]
    reasons: tuple[Reason, ...] = ()
    withheld: Reason | None = None

    def as_run_time(self) -> RunTime | None:
        """The same as the record that the verdict and the tank's arithmetic take."""
        if self.seconds is None or self.low_s is None or self.high_s is None:
            return None
        half_s = self.seconds * (self.posterior_half or 0.0)
        return RunTime(
            self.seconds, self.low_s, self.high_s, self.rests_on, self.how, False, 0.01, half_s, self.reasons
        )


def no_use_run_of_day(
    log: DayLog,
    *,
    leak: Leak | None = None,
    nobody_s: Sequence[tuple[float, float]] = (),
    params: DayParams = DEFAULT_PARAMS,
) -> NoUseRun:
    """Find r0 in a log of ordinary use.

    leak: as found; looked for when None. nobody_s: stretches (from, to), seconds of the log, in which no tap was
    open.
    """
    runs = whole_runs(log.cycles)
    leak = find_leak(log, params=params) if leak is None else leak
    steady = steady_uses(runs, params=params)
    steady += brief_uses(runs, steady, params=params)
    if nobody_s:
        quiet = _quiet(runs, nobody_s, leak, steady, params=params)
        if quiet is not None:
            return quiet
    leak_duty = leak.duty if leak.reported and leak.duty is not None else 0.0
    in_steady = np.zeros(runs.count, dtype=bool)
    for use in steady:
        in_steady |= (runs.starts_s >= use.from_s) & (runs.starts_s < use.to_s - 1e-6)
    loose_s = runs.runs_s[~in_steady] * (1 - leak_duty)
    extra = [_as_evidence(use) for use in steady]
    if leak_duty and leak.edge_s is not None:
        # the leak's own cycles, scattered over the day, are one steady use
        r_s = leak.edge_s * leak_duty
        extra.append((math.log(r_s), 0.02, 0.9))
    if len(loose_s) + sum(u.count for u in steady) == 0:
        return _abstain(steady, Reason("day.run-withheld.no-whole-run"))
    posterior = edge_posterior(loose_s, tuple(extra), params=params) if len(loose_s) else _of_steady(extra)
    return _judged(runs, loose_s, posterior, steady, leak_duty, params=params)


def _as_evidence(use: SteadyUse) -> tuple[float, float, float]:
    own = use.spread_s / use.no_use_run_s / math.sqrt(use.count)
    return (
        math.log(use.no_use_run_s),
        math.hypot(own, use.law_sd),
        0.99 if use.count > 4 else 0.95 if use.count > 3 else 0.85,
    )


def _of_steady(extra: Sequence[tuple[float, float, float]]) -> Posterior:
    centre = sorted(extra, key=lambda e: e[1])[0][0]
    log_s: Floats = np.arange(centre - 0.5, centre + 0.5, 0.0025)
    total = np.zeros_like(log_s)
    for at, sd, trust in extra:
        total += np.log(trust / (sd * 2.5066) * np.exp(-0.5 * ((log_s - at) / sd) ** 2) + (1 - trust))
    weight = np.exp(total - total.max())
    return Posterior(log_s, weight / weight.sum())


def _judged(
    runs: Runs,
    loose_s: Floats,
    posterior: Posterior,
    steady: tuple[SteadyUse, ...],
    leak_duty: float,
    *,
    params: DayParams,
) -> NoUseRun:
    tuned = params.no_use
    low_s, middle_s, high_s = (posterior.quantile_s(q) for q in (0.025, 0.5, 0.975))
    half = (high_s - low_s) / 2 / middle_s
    near = int(np.sum(np.abs(loose_s / middle_s - 1) <= tuned.near_share))
    carried = sum(u.count for u in steady if abs(u.no_use_run_s / middle_s - 1) <= tuned.near_share)
    sure = half <= tuned.sure and runs.count >= tuned.sure_runs and near + carried >= tuned.sure_near
    withheld: Reason | None = None
    if runs.count < tuned.least_runs and carried < 4 and not sure:
        withheld = Reason("day.run-withheld.too-few-runs", count=runs.count, least=tuned.least_runs)
    elif half > tuned.widest:
        withheld = Reason(f"day.run-withheld.{'open' if half < 0.5 else 'wide-open'}", half=half)
    elif near + carried < max(tuned.least_near, math.ceil(0.1 * runs.count)) and not sure:
        withheld = Reason("day.run-withheld.few-at-shortest", near=near + carried, count=runs.count)
    if withheld is not None:
        return _abstain(steady, withheld, half)
    how: How = "edge of the runs" if not carried else "edge and steady uses" if near else "steady uses"
    reasons = [Reason(f"day.run-from.{how.replace(' ', '-')}", carried=carried, near=near)]
    if leak_duty:
        reasons.append(Reason("day.run-leak-taken-out", duty=leak_duty))
    ends_s = _interval_s(low_s, middle_s, high_s, near + carried, params=params)
    return NoUseRun(middle_s, *ends_s, how, near + carried, near, half, steady, tuple(reasons))


def _interval_s(
    low_s: float, middle_s: float, high_s: float, rests_on: int, *, params: DayParams
) -> tuple[float, float]:
    """The 95 % interval from that of the posterior, with what no click tells; all seconds.

    Wider above than below: every world tried reads r0 right or short of that from settled air, none long.
    """
    tuned = params.no_use
    below = math.hypot(tuned.posterior_part * math.log(middle_s / low_s), tuned.long_share)
    cool = tuned.cool_few_share if rests_on <= tuned.few else params.constant_flow.cool_share
    above = math.hypot(tuned.posterior_part * math.log(high_s / middle_s), cool)
    return middle_s * math.exp(-below), middle_s * math.exp(above)


def _quiet(
    runs: Runs, nobody_s: Sequence[tuple[float, float]], leak: Leak, steady: tuple[SteadyUse, ...], *, params: DayParams
) -> NoUseRun | None:
    """r0 from hours with every tap shut: a run then has the leak to thank, so run x (1 - duty) = r0."""
    tuned = params.no_use
    kept = [i for i in range(runs.count) if any(f <= runs.starts_s[i] and runs.ends_s[i] <= t for f, t in nobody_s)]
    if len(kept) < tuned.nobody_least:
        return None
    each_s = []
    for i in kept:
        rest_s = runs.rests_s[i]
        inside = math.isfinite(rest_s) and any(runs.ends_s[i] + rest_s <= t for _, t in nobody_s)
        if inside:
            each_s.append(float(runs.runs_s[i] * rest_s / (runs.runs_s[i] + rest_s)))
        elif leak.reported and leak.duty is not None:
            each_s.append(float(runs.runs_s[i] * (1 - leak.duty)))
    if len(each_s) < tuned.nobody_least:
        return None
    middle_s = float(np.median(each_s))
    alike = [r for r in each_s if abs(r / middle_s - 1) <= 0.1]
    if len(alike) < max(tuned.nobody_least, 0.7 * len(each_s)):
        return None
    half = max(tuned.quiet_share, 2.0 * float(np.std(alike)) / middle_s)
    return NoUseRun(
        middle_s,
        middle_s * (1 - half),
        middle_s * (1 + half),
        "nobody home",
        len(alike),
        len(alike),
        half,
        steady,
        (Reason("day.run-from.nobody-home", count=len(alike)),),
    )


def abstained(reason: Reason) -> NoUseRun:
    """Return no run with no water in use, for a reason found elsewhere."""
    return _abstain((), reason)


def _abstain(steady: tuple[SteadyUse, ...], reason: Reason, half: float | None = None) -> NoUseRun:
    return NoUseRun(None, None, None, "not told", 0, 0, half, steady, withheld=reason)
