"""Whole runs in, a slow leak out: water that leaves all the time, detected by the upper edge of the rests.

Any other use only shortens a rest, so under a constant leak q no rest is longer than D/q, and those in which nothing
else was drawn are all that long. With the runs beside them, q = Q run / (run + rest) whatever the air's heat does: in a
whole cycle what the pump gave has left. A limit is always given: no more than D over the longest rest leaks unseen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from clicktimer.day.cycle_log import DayLog, Runs, whole_runs
from clicktimer.day.params import DEFAULT_PARAMS, DayParams, SlowLeak
from clicktimer.records import Reason

Pattern = Literal["none", "constant", "part of the day", "timed restarts"]


@dataclass(frozen=True, slots=True)
class Leak:
    """What is known of water that leaves all the time.

    pattern: "constant" is reported as a leak; "part of the day" is a constant flow that began and ended inside the log
    (a timer, a drip line, a tap left open); "timed restarts": equal rests beside unequal runs, no flow of water.
    duty: q/Q with its 95 % interval, None where no flow was found. limit_duty: no more than this share of the pump's
    rate can have leaked all the time, None where no rest is known. from_s, to_s: of the stretch. count: rests at the
    edge.
    """

    pattern: Pattern
    duty: float | None
    low: float | None
    high: float | None
    limit_duty: float | None
    from_s: float | None
    to_s: float | None
    count: int
    edge_s: float | None
    reason: Reason
    params: SlowLeak = DEFAULT_PARAMS.slow_leak

    @property
    def reported(self) -> bool:
        """Whether a slow leak was detected."""
        return self.pattern == "constant"

    @property
    def duty_figure(self) -> tuple[float, float, float]:
        """Share of the pump's rate with its interval, as a figure of a reason; 0 where no leak was detected."""
        return self.duty or 0.0, self.low or 0.0, self.high or 0.0

    def is_flow(self, duty: float) -> bool:
        """Whether a steady flow of this share of the pump's rate is the leak itself, where one is reported."""
        return self.reported and self.duty is not None and abs(duty - self.duty) <= self.params.same_share * self.duty


def find_leak(log: DayLog, *, params: DayParams = DEFAULT_PARAMS) -> Leak:
    """Look for water that leaves all the time.

    Any other use only shortens a rest, so that under a constant leak the rests have a common upper edge.

    Parameters
    ----------
    log : DayLog
        The cycles of the day.
    params : DayParams
        Section ``slow_leak`` is used.

    Returns
    -------
    Leak
        Flows as shares of the pump's rate, times in seconds of the log.
    """
    tuned = params.slow_leak
    runs = whole_runs(log.cycles)
    limit_duty = _limit_duty(log, runs, params=params)
    rests_s = runs.rests_s
    known = np.flatnonzero(np.isfinite(rests_s))
    if len(known) < tuned.least_rests:
        return no_leak(Reason("day.leak-none"), limit_duty)
    order = known[np.argsort(-rests_s[known])]
    allowed = max(2 if runs.missed else 1, math.ceil(tuned.missed_share * len(known)))
    best: Leak | None = None
    short = False
    for top in range(min(allowed * 3 + 1, len(order))):
        edge_s = float(rests_s[order[top]])
        at_edge = np.sort(order[top:][rests_s[order[top:]] >= (1 - tuned.edge_share) * edge_s])
        if len(at_edge) < tuned.least_rests:
            continue
        if float(rests_s[at_edge].sum()) < tuned.least_sum_s:
            short = short or len(at_edge) >= tuned.short_rests
            continue
        found = _judged(log, runs, at_edge, np.sort(order[:top]), allowed, limit_duty, params=params)
        if found is not None and (best is None or found.pattern == "constant"):
            best = found
        if best is not None and best.pattern == "constant":
            break
    if best is not None:
        return best
    brief = Reason("day.leak-too-brief", least_s=tuned.least_sum_s)
    return no_leak(brief if short else Reason("day.leak-none"), limit_duty)


def no_leak(reason: Reason, limit_duty: float | None = None) -> Leak:
    """Return the finding that no slow leak was detected, with its reason and what may still leak unseen."""
    return Leak("none", None, None, None, limit_duty, None, None, 0, None, reason)


def _judged(  # noqa: PLR0911
    log: DayLog,
    runs: Runs,
    at_edge: np.ndarray,
    longer: np.ndarray,
    allowed: int,
    limit_duty: float | None,
    *,
    params: DayParams,
) -> Leak | None:
    tuned = params.slow_leak
    rests_s, lengths_s, starts_s = runs.rests_s, runs.runs_s, runs.starts_s
    # The refill after such a rest, where it was heard: use in it makes it longer, so the lower half tells it.
    after = at_edge[at_edge + 1 < runs.count] + 1
    follows = after[np.isclose(starts_s[after], starts_s[after - 1] + lengths_s[after - 1] + rests_s[after - 1])]
    if len(follows) < tuned.least_rests - 1:
        return None
    refills_s = np.sort(lengths_s[follows])
    refill_s = float(np.quantile(refills_s, 0.35))
    alike = refills_s[np.abs(refills_s - refill_s) <= tuned.run_share * refill_s]
    rest_s = float(np.median(rests_s[at_edge]))
    first_s = float(starts_s[at_edge[0]])
    last = at_edge[-1]
    last_s = float(starts_s[last] + lengths_s[last] + rests_s[last])
    clockwork = float(np.ptp(rests_s[at_edge])) <= tuned.clockwork_share * rest_s and len(alike) < 0.7 * len(refills_s)
    if clockwork:
        restarts = Reason("day.leak-timed-restarts", count=len(at_edge), rest_s=rest_s)
        return Leak("timed restarts", None, None, None, limit_duty, first_s, last_s, len(at_edge), rest_s, restarts)
    if len(alike) < max(3, 0.4 * len(refills_s)):
        return None
    spread = float(np.ptp(rests_s[at_edge])) / rest_s
    if len(at_edge) < tuned.few_rests and (spread > tuned.few_spread or len(alike) < 0.7 * len(refills_s)):
        return None  # so few may be alike by chance
    duty = float(np.median(alike)) / (float(np.median(alike)) + rest_s)
    inside = longer[(starts_s[longer] >= first_s) & (starts_s[longer] < last_s)]
    if len(inside) > allowed:
        return None
    half = max(0.05, 1.96 * float(np.std(rests_s[at_edge]) / rest_s) / math.sqrt(len(at_edge)) + 0.02)
    # A constant leak goes on to at least one end of the log, and no rest outside the stretch is longer than its own.
    outside = longer[(starts_s[longer] < first_s) | (starts_s[longer] >= last_s)]
    before = bool(np.any(starts_s[outside] < first_s)) or (starts_s[0] > 1.15 * rest_s)
    behind = bool(np.any(starts_s[outside] >= last_s)) or _tail_s(log, runs) > 1.15 * rest_s
    part = (before and behind) or len(outside) > max(allowed, 0.34 * (len(longer) + len(at_edge)))
    rests_in = int(np.sum((starts_s >= first_s) & (starts_s < last_s)))
    if len(at_edge) < 0.12 * rests_in:
        return None  # a chance likeness among many
    pattern: Pattern = "part of the day" if part else "constant"
    figures = {"duty": duty, "rest_s": rest_s, "count": len(at_edge)}
    reason = Reason("day.leak-part-of-the-day" if part else "day.leak-constant", **figures)
    if pattern == "constant" and limit_duty is not None:
        limit_duty = max(limit_duty, duty * (1 + half))
    return Leak(
        pattern, duty, duty * (1 - half), duty * (1 + half), limit_duty, first_s, last_s, len(at_edge), rest_s, reason
    )


def _tail_s(log: DayLog, runs: Runs) -> float:
    """Seconds from the last cut-out to the end of the log."""
    return log.duration_s - float(runs.ends_s[-1]) if runs.count else log.duration_s


def _limit_duty(log: DayLog, runs: Runs, *, params: DayParams) -> float | None:
    """r0/(r0 + longest rest), with the shortest likely run for r0: D over the longest rest, as a share of Q.

    And SAFE more: a rest empties the tank slowly, and its settled air gives more than a quick refill takes up.
    """
    tuned = params.slow_leak
    rests = [float(r) for r in runs.rests_s if math.isfinite(r)]
    if not log.gaps and runs.count and not runs.missed:
        rests += [float(runs.starts_s[0]), _tail_s(log, runs)]
    if not rests or not runs.count:
        return None
    rests.sort(reverse=True)
    # Where clicks were missed the longest rest may be two; the next is on the safe side.
    longest_s = rests[1] if runs.missed and len(rests) > 1 else rests[0]
    if longest_s <= 0:
        return None
    run_s = float(np.quantile(runs.runs_s, 0.25))
    return min(1.0, tuned.safe * run_s / (run_s + longest_s))
