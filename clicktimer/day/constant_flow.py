"""Whole runs in, steady uses out: stretches in which one constant flow made the pump cycle.

With a flow q and a pump rate Q: run = D/(Q - q), rest = D/q, so r0 = run x rest / (run + rest) and q/Q is the duty
run / (run + rest). Source: MIL-HDBK-1005/9A 2.5.3.6, symmetric in q and Q - q.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from clicktimer.cycles.steady_tap import steady_no_use_run_s
from clicktimer.day.cycle_log import Runs
from clicktimer.day.estimate import Amount, mean_half
from clicktimer.day.params import DEFAULT_PARAMS, ConstantFlow, DayParams

HOUR_S: Final = 3_600.0


@dataclass(frozen=True, slots=True)
class SteadyUse:
    """One steady use. from_s, to_s: its first cut-in and the end of its last rest. count: cycles.

    run_s, rest_s: means. duty: q/Q. no_use_run_s: r0 by it, mean of its cycles. spread_s, duty_spread, cycle_spread_s:
    standard deviations of r0, duty and run + rest among its cycles.
    """

    from_s: float
    to_s: float
    count: int
    run_s: float
    rest_s: float
    duty: float
    no_use_run_s: float
    spread_s: float
    duty_spread: float
    cycle_spread_s: float
    params: ConstantFlow = DEFAULT_PARAMS.constant_flow

    @property
    def duty_interval(self) -> Amount:
        """q/Q with its interval: in a whole cycle what the pump gave has left, whatever the air's heat does."""
        half = math.hypot(mean_half(self.duty_spread, self.count), 1.96 * self.params.law_sd * self.duty)
        return Amount(self.duty, max(0.0, self.duty - half), min(1.0, self.duty + half))

    @property
    def law_sd(self) -> float:
        """Standard deviation of the no-use run by this use that is due to its flow, as a share."""
        return self.params.fast_law_sd if self.duty > self.params.fast_duty else self.params.slow_law_sd

    @property
    def no_use_run_interval(self) -> Amount:
        """r0 by this use alone, seconds; it may read short, as every r0 of ordinary use, and long at a fast tap."""
        half = mean_half(self.spread_s, self.count) / self.no_use_run_s
        below = math.hypot(half, 1.96 * self.law_sd)
        above = math.hypot(half, self.params.cool_share)
        return Amount(self.no_use_run_s, self.no_use_run_s * max(0.0, 1 - below), self.no_use_run_s * (1 + above))

    @property
    def starts_per_h(self) -> Amount:
        """Starts an hour while it lasts."""
        cycle_s = self.run_s + self.rest_s
        half_s = min(mean_half(self.cycle_spread_s, self.count), 0.99 * cycle_s)
        return Amount(HOUR_S / cycle_s, HOUR_S / (cycle_s + half_s), HOUR_S / (cycle_s - half_s))


def steady_uses(runs: Runs, least: int | None = None, *, params: DayParams = DEFAULT_PARAMS) -> tuple[SteadyUse, ...]:
    """Find every stretch of ``least`` or more cycles in a row whose runs agree within 6 %, and whose rests do."""
    tuned = params.constant_flow
    least = tuned.least_cycles if least is None else least
    found: list[SteadyUse] = []
    start = 0
    while start < runs.count:
        end = start
        lows, highs = (math.inf, math.inf), (0.0, 0.0)
        while end < runs.count:
            pair = (float(runs.runs_s[end]), float(runs.rests_s[end]))
            if not all(map(math.isfinite, pair)):
                break
            new_low = (min(lows[0], pair[0]), min(lows[1], pair[1]))
            new_high = (max(highs[0], pair[0]), max(highs[1], pair[1]))
            if any(h - low > tuned.agree_share * (h + low) for low, h in zip(new_low, new_high, strict=True)):
                break
            lows, highs = new_low, new_high
            end += 1
        if end - start >= least:
            found.append(_use(runs, start, end, params=params))
            start = end
        else:
            start += 1
    return tuple(found)


def brief_uses(
    runs: Runs, steady: tuple[SteadyUse, ...] = (), *, params: DayParams = DEFAULT_PARAMS
) -> tuple[SteadyUse, ...]:
    """Find brief uses outside of the steady ones: two cycles, and a run, alike; two or more of them that tell one r0.

    Two cycles alone may be alike by chance; that two such pairs, mostly of different flows, then tell the same r0 is
    what makes them count. Of several groups the largest is taken.
    """
    tuned = params.constant_flow
    found: list[SteadyUse] = []
    start = 0
    while start + tuned.brief_cycles < runs.count:
        end = start + tuned.brief_cycles
        run_s, rest_s = runs.runs_s[start : end + 1], runs.rests_s[start:end]
        alike = all(
            np.isfinite(part).all() and part.max() - part.min() <= tuned.brief_share * (part.max() + part.min())
            for part in (run_s, rest_s)
        )
        at_s = float(runs.starts_s[start])
        if alike and not any(u.from_s <= at_s < u.to_s for u in steady):
            use = _use(runs, start, end, params=params)
            if use.duty >= tuned.brief_duty:
                found.append(use)
                start = end
                continue
        start += 1
    groups = [
        tuple(u for u in found if abs(u.no_use_run_s / one.no_use_run_s - 1) <= tuned.brief_agree) for one in found
    ]
    largest = max(groups, key=len, default=())
    return largest if len(largest) > 1 else ()


def _use(runs: Runs, start: int, end: int, *, params: DayParams) -> SteadyUse:
    run_s, rest_s = runs.runs_s[start:end], runs.rests_s[start:end]
    each_s = steady_no_use_run_s(run_s, rest_s)
    cycles_s, duties = run_s + rest_s, run_s / (run_s + rest_s)
    many = end - start > 1
    return SteadyUse(
        float(runs.starts_s[start]),
        float(runs.starts_s[end - 1] + run_s[-1] + rest_s[-1]),
        end - start,
        float(run_s.mean()),
        float(rest_s.mean()),
        float(run_s.sum() / (run_s.sum() + rest_s.sum())),
        float(each_s.mean()),
        float(np.std(each_s, ddof=1)) if many else 0.0,
        float(np.std(duties, ddof=1)) if many else 0.0,
        float(np.std(cycles_s, ddof=1)) if many else 0.0,
        params.constant_flow,
    )
