"""Whole runs in, steady uses out: stretches in which one constant flow made the pump cycle.

With a flow q and a pump rate Q: run = D/(Q - q), rest = D/q, so r0 = run x rest / (run + rest) and q/Q is the duty
run / (run + rest). Source: MIL-HDBK-1005/9A 2.5.3.6, symmetric in q and Q - q.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from clicktimer.day.log import Runs
from clicktimer.steady_tap import steady_no_use_run_s

AGREE_SHARE: Final = 0.06  # runs, and rests, of one steady use lie within this share of the middle of their stretch
LEAST_CYCLES: Final = 3


@dataclass(frozen=True, slots=True)
class SteadyUse:
    """One steady use. from_s, to_s: its first cut-in and the end of its last rest. count: cycles.

    run_s, rest_s: means. duty: q/Q. no_use_run_s: r0 by it, mean of its cycles; spread_s: their standard deviation.
    """

    from_s: float
    to_s: float
    count: int
    run_s: float
    rest_s: float
    duty: float
    no_use_run_s: float
    spread_s: float


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


def _use(runs: Runs, start: int, end: int) -> SteadyUse:
    run_s, rest_s = runs.runs_s[start:end], runs.rests_s[start:end]
    each_s = steady_no_use_run_s(run_s, rest_s)
    return SteadyUse(
        float(runs.starts_s[start]),
        float(runs.starts_s[end - 1] + run_s[-1] + rest_s[-1]),
        end - start,
        float(run_s.mean()),
        float(rest_s.mean()),
        float(run_s.sum() / (run_s.sum() + rest_s.sum())),
        float(each_s.mean()),
        float(np.std(each_s, ddof=1)) if end - start > 1 else 0.0,
    )
