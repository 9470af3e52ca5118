"""Cycles in, the use of water rebuilt out: as bursts of constant flow, in shares of the pump's rate.

In each rest one tankful (r0 seconds of pump) leaves: a constant leak is taken out first, dense or steady use is laid
evenly, and the rest of it becomes bursts whose sizes are drawn from the excess of the runs. The last burst straddles
the cut-in, since the pump always starts while water runs. Where bursts lie in a rest nobody can tell: the dice decide,
several times. Smearing all of it evenly is wrong by 6 to 60 % (simulated).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from clicktimer.day.constant_flow import SteadyUse
from clicktimer.day.cycle_log import DayLog, Floats, whole_runs
from clicktimer.day.params import DEFAULT_PARAMS, DayParams


@dataclass(frozen=True, slots=True)
class Flows:
    """Steps of constant use: from ``at_s[i]`` on, ``flow[i]`` (share of the pump's rate) until the next; leak in it.

    shares of a tankful: ``start_level`` is how full the tank stood at the beginning, 0 at cut-in to 1 at cut-out.
    """

    at_s: Floats
    flow: Floats
    start_level: float


def rebuild(
    log: DayLog,
    no_use_run_s: float,
    steady: tuple[SteadyUse, ...],
    leak_duty: float,
    rng: np.random.Generator,
    *,
    params: DayParams = DEFAULT_PARAMS,
) -> Flows:
    """Rebuild the use of a log once, with these dice."""
    runs = whole_runs(log.cycles)
    bursts: list[tuple[float, float, float]] = []
    excess_s = np.maximum(runs.runs_s * (1 - leak_duty) - no_use_run_s, 0.0)
    sizes_s = _sizes(excess_s, no_use_run_s, params=params)
    halves_s, median_s = _half_heard_s(log), float(np.median(runs.runs_s)) if runs.count else 0.0
    rest_begins_s = np.concatenate([[0.0], runs.ends_s[:-1]]) if runs.count else runs.starts_s
    constant = _in_steady(steady, (rest_begins_s + runs.starts_s) / 2)
    previous_s = 0.0
    start_level = float(rng.uniform())
    for i in range(runs.count):
        start_s, run_s = float(runs.starts_s[i]), float(runs.runs_s[i])
        rest_s = start_s - previous_s
        tankful_s = no_use_run_s * (start_level if i == 0 else 1.0)
        # A rest with a missed run in it held more than a tankful.
        lost = 0 if i == 0 else int(np.diff(np.searchsorted(halves_s, [previous_s, start_s]))[0])
        tankful_s += 0.5 * lost * median_s
        left_s = max(0.0, tankful_s - leak_duty * rest_s)
        _fill(
            bursts,
            previous_s,
            start_s,
            left_s,
            float(excess_s[i]),
            run_s,
            no_use_run_s,
            sizes_s,
            bool(constant[i]),
            rng,
            params=params,
        )
        previous_s = start_s + run_s
    tail_s = log.duration_s - previous_s
    if tail_s > 0 and runs.count:
        left_s = max(0.0, float(rng.uniform()) * no_use_run_s - leak_duty * tail_s)
        _scatter(bursts, previous_s, log.duration_s, left_s, sizes_s, rng, params=params)
    return _steps(bursts, leak_duty, start_level)


def _half_heard_s(log: DayLog) -> Floats:
    """When there was a click of a run that is not known, in order of time."""
    at = [c.cut_in_s if c.cut_in_s is not None else c.cut_out_s for c in log.cycles if c.run_s is None]
    return np.array(sorted(t for t in at if t is not None), dtype=np.float64)


def _sizes(excess_s: Floats, no_use_run_s: float, *, params: DayParams) -> tuple[Floats, Floats]:
    """Sizes of draws and their chances, summed up: one over the size, since long draws meet the cut-in more often."""
    tuned = params.demand_reconstruction
    least_s = tuned.smallest * no_use_run_s
    sizes_s = np.maximum(excess_s, least_s)
    if not len(sizes_s):
        return np.array([least_s]), np.array([1.0])
    chance = 1.0 / (sizes_s + 0.05 * no_use_run_s)
    return sizes_s, np.cumsum(chance) / chance.sum()


def _in_steady(steady: tuple[SteadyUse, ...], times_s: Floats) -> npt.NDArray[np.bool_]:
    """Whether each time lies in a steady use; those follow each other in time."""
    if not steady:
        return np.zeros(len(times_s), dtype=bool)
    begins, ends = np.array([u.from_s for u in steady]), np.array([u.to_s for u in steady])
    last = np.searchsorted(begins, times_s, side="right") - 1
    return np.asarray((last >= 0) & (times_s <= ends[np.maximum(last, 0)]))


def _fill(  # noqa: PLR0913
    bursts: list[tuple[float, float, float]],
    from_s: float,
    start_s: float,
    left_s: float,
    excess_s: float,
    run_s: float,
    r0_s: float,
    sizes: tuple[Floats, Floats],
    constant: bool,
    rng: np.random.Generator,
    *,
    params: DayParams,
) -> None:
    """Lay the use of one rest and the run after it."""
    tuned = params.demand_reconstruction
    rest_s = start_s - from_s
    end_s = start_s + run_s
    if rest_s <= 0:
        return
    mean_flow = left_s / rest_s
    if constant or mean_flow >= tuned.dense_flow:
        bursts.append((from_s, start_s, mean_flow))
        if excess_s > 0:
            # the same draw goes on into the run, and ends there when it cannot fill it
            lasts_s = min(run_s, excess_s / max(mean_flow, 1e-9))
            bursts.append((start_s, start_s + lasts_s, excess_s / lasts_s))
        return
    # the burst that straddles the cut-in: what is left of it is the excess, its start lies in the rest
    whole_s = excess_s / max(float(rng.uniform()), 0.05)
    before_s = min(left_s, max(whole_s - excess_s, 0.0))
    flow = max(tuned.usual_flow, excess_s / run_s, before_s / rest_s)
    lead_s = before_s / flow
    bursts.append((start_s - lead_s, start_s, flow))
    if excess_s > 0:
        bursts.append((start_s, min(end_s, start_s + excess_s / flow), flow))
    _scatter(bursts, from_s, start_s - lead_s, left_s - before_s, sizes, rng, params=params)


def _scatter(
    bursts: list[tuple[float, float, float]],
    from_s: float,
    to_s: float,
    amount_s: float,
    sizes: tuple[Floats, Floats],
    rng: np.random.Generator,
    *,
    params: DayParams,
) -> None:
    """Scatter an amount over a stretch as bursts of drawn sizes."""
    tuned = params.demand_reconstruction
    span_s = to_s - from_s
    left_s = amount_s
    for _ in range(tuned.most_bursts):
        if left_s <= 1e-9 or span_s <= 0:
            return
        size_s = min(
            left_s, float(sizes[0][min(int(np.searchsorted(sizes[1], rng.random(), side="right")), len(sizes[0]) - 1)])
        )
        flow = max(tuned.usual_flow, size_s / span_s)
        lasts_s = size_s / flow
        at_s = from_s + float(rng.uniform()) * max(0.0, span_s - lasts_s)
        bursts.append((at_s, at_s + lasts_s, flow))
        left_s -= size_s
    if left_s > 1e-9 and span_s > 0:
        bursts.append((from_s, to_s, left_s / span_s))


def _steps(bursts: list[tuple[float, float, float]], leak_duty: float, start_level: float) -> Flows:
    if not bursts:
        return Flows(np.array([0.0]), np.array([leak_duty]), start_level)
    table = np.array(bursts)
    at_s = np.concatenate([[0.0], table[:, 0], table[:, 1]])
    step = np.concatenate([[leak_duty], table[:, 2], -table[:, 2]])
    order = np.argsort(at_s, kind="stable")
    flow = np.maximum(np.cumsum(step[order]), 0.0)
    return Flows(at_s[order], flow, start_level)


def runs_through(flows: Flows, tankful_s: float, duration_s: float, level: float) -> tuple[Floats, Floats]:
    """Run a use through a tank: starts and runs, seconds.

    tankful_s: r0 of the tank, seconds of pump. level: how full it stands at the beginning, 0..1. Assumes a constant
    pump rate: the water goes in straight lines. Use above the pump's rate holds the tank empty and the pump on.
    """
    starts: list[float] = []
    ends: list[float] = []
    held_s, on = level * tankful_s, False
    at, flow = flows.at_s.tolist(), flows.flow.tolist()
    at.append(duration_s)
    for i, q in enumerate(flow):
        time_s, until_s = at[i], min(at[i + 1], duration_s)
        while time_s < until_s:
            net = (1.0 - q) if on else -q
            if on and net > 0:
                after_s = (tankful_s - held_s) / net
            elif not on and q > 0:
                after_s = held_s / q
            else:
                after_s = float("inf")
            if time_s + after_s <= until_s:
                time_s += after_s
                held_s = tankful_s if on else 0.0
                (ends if on else starts).append(time_s)
                on = not on
            else:
                held_s = max(held_s + net * (until_s - time_s), 0.0)
                time_s = until_s
    count = min(len(starts), len(ends))
    all_starts = np.array(starts)
    return all_starts, np.array(ends[:count]) - all_starts[:count]
