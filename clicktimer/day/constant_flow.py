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

AGREE_SHARE: Final = 0.06  # runs, and rests, of one steady use lie within this share of the middle of their stretch
LEAST_CYCLES: Final = 3
BRIEF_CYCLES: Final = 2  # a brief use: so many whole cycles, and a run after them that agrees as well
BRIEF_SHARE: Final = 0.015  # its runs, and its rests, lie within this share of their middle
BRIEF_DUTY: Final = 0.1  # a smaller flow makes r0 nearly the run itself, so that chance would confirm it
BRIEF_AGREE: Final = 0.02  # brief uses count where two or more tell r0 alike within this share
LAW_SD: Final = 0.01  # of the flow, with a pump whose rate falls (simulated: -1.0 to +0.6 % on 90 % of days)
HOUR_S: Final = 3_600.0
COOL_SHARE: Final = 0.06
"""So much longer the run from settled air may be than it is told: a draw cools the air before the pump starts, and the
pump and the taps have their own laws. Fitted on the develop seeds of tests/benchmarks/days.py."""
FAST_DUTY: Final = 0.6  # a tap over this share of the pump's rate reads long
SLOW_LAW_SD: Final = 0.012  # of r0 by one steady use, as a share
FAST_LAW_SD: Final = 0.03


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

    @property
    def duty_interval(self) -> Amount:
        """q/Q with its interval: in a whole cycle what the pump gave has left, whatever the air's heat does."""
        half = math.hypot(mean_half(self.duty_spread, self.count), 1.96 * LAW_SD * self.duty)
        return Amount(self.duty, max(0.0, self.duty - half), min(1.0, self.duty + half))

    @property
    def no_use_run_interval(self) -> Amount:
        """r0 by this use alone, seconds; it may read short, as every r0 of ordinary use, and long at a fast tap."""
        half = mean_half(self.spread_s, self.count) / self.no_use_run_s
        below = math.hypot(half, 1.96 * (FAST_LAW_SD if self.duty > FAST_DUTY else SLOW_LAW_SD))
        above = math.hypot(half, COOL_SHARE)
        return Amount(self.no_use_run_s, self.no_use_run_s * max(0.0, 1 - below), self.no_use_run_s * (1 + above))

    @property
    def starts_per_h(self) -> Amount:
        """Starts an hour while it lasts."""
        cycle_s = self.run_s + self.rest_s
        half_s = min(mean_half(self.cycle_spread_s, self.count), 0.99 * cycle_s)
        return Amount(HOUR_S / cycle_s, HOUR_S / (cycle_s + half_s), HOUR_S / (cycle_s - half_s))


def steady_uses(runs: Runs, least: int = LEAST_CYCLES) -> tuple[SteadyUse, ...]:
    """Find every stretch of ``least`` or more cycles in a row whose runs agree within 6 %, and whose rests do."""
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
            if any(h - low > AGREE_SHARE * (h + low) for low, h in zip(new_low, new_high, strict=True)):
                break
            lows, highs = new_low, new_high
            end += 1
        if end - start >= least:
            found.append(_use(runs, start, end))
            start = end
        else:
            start += 1
    return tuple(found)


def brief_uses(runs: Runs, steady: tuple[SteadyUse, ...] = ()) -> tuple[SteadyUse, ...]:
    """Find brief uses outside of the steady ones: two cycles, and a run, alike; two or more of them that tell one r0.

    Two cycles alone may be alike by chance; that two such pairs, mostly of different flows, then tell the same r0 is
    what makes them count. Of several groups the largest is taken.
    """
    found: list[SteadyUse] = []
    start = 0
    while start + BRIEF_CYCLES < runs.count:
        end = start + BRIEF_CYCLES
        run_s, rest_s = runs.runs_s[start : end + 1], runs.rests_s[start:end]
        alike = all(
            np.isfinite(part).all() and part.max() - part.min() <= BRIEF_SHARE * (part.max() + part.min())
            for part in (run_s, rest_s)
        )
        at_s = float(runs.starts_s[start])
        if alike and not any(u.from_s <= at_s < u.to_s for u in steady):
            use = _use(runs, start, end)
            if use.duty >= BRIEF_DUTY:
                found.append(use)
                start = end
                continue
        start += 1
    groups = [tuple(u for u in found if abs(u.no_use_run_s / one.no_use_run_s - 1) <= BRIEF_AGREE) for one in found]
    largest = max(groups, key=len, default=())
    return largest if len(largest) > 1 else ()


def _use(runs: Runs, start: int, end: int) -> SteadyUse:
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
        *(float(np.std(each, ddof=1)) if many else 0.0 for each in (each_s, duties, cycles_s)),
    )
