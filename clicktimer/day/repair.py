"""Cycles with clicks missed or false in, the likeliest story of the pump out, once r0 is known.

A run shorter than r0 cannot be, a pump that started must stop before it starts again, and every missed or false click
costs belief. The cheapest story is found by going through the clicks once (dynamic programming). Without any half-heard
run, short run or very long run the cycles come back as they are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from clicktimer.day.log import LEAST_CONFIDENCE
from clicktimer.records import Cycle

FALSE_COST: Final = 4.0  # about one click in fifty is false ...
MISSED_COST: Final = 4.0  # ... and as many are missed
SHORT_RATIO: Final = 0.88  # a run below this much of r0 is none (heat of the air shortens it by up to 7 %)
LONG_RATIO: Final = 5.0
FEW_HALVES: Final = 0.04
LOOK_BACK: Final = 8
IMPOSSIBLE: Final = 1e9


@dataclass(frozen=True, slots=True)
class Repaired:
    """cycles: by the likeliest story; a run of which one end was put in is not complete. false, missed: clicks."""

    cycles: tuple[Cycle, ...]
    false: int
    missed: int


def repair(cycles: Sequence[Cycle], no_use_run_s: float) -> Repaired:
    """Find the likeliest story of a log with r0 known, in seconds."""
    runs_s = np.array([c.run_s for c in cycles if c.run_s is not None], dtype=float)
    whole = all(c.run_s is not None for c in cycles[1:-1])
    if not len(runs_s) or (
        whole and runs_s.min() >= SHORT_RATIO * no_use_run_s and runs_s.max() <= LONG_RATIO * no_use_run_s
    ):
        return Repaired(tuple(cycles), 0, 0)
    events = _events(cycles)
    usual_s = runs_s[(runs_s >= SHORT_RATIO * no_use_run_s) & (runs_s <= LONG_RATIO * no_use_run_s)]
    mean_s = float(usual_s.mean()) if len(usual_s) else no_use_run_s
    span_s = (events[-1][0] - events[0][0]) / max(1, len(runs_s))
    rest_cost = _rest_cost(np.array([c.rest_s for c in cycles if c.rest_s is not None], dtype=float), span_s)
    halves = sum(c.run_s is None for c in cycles[1:-1])
    # Where hardly a click is missed, a long run is long; where many are, it is rather two with the clicks between lost.
    often_long = halves <= FEW_HALVES * len(cycles)
    best, came = _walk(events, no_use_run_s, mean_s, rest_cost, often_long)
    kept = []
    at = int(np.argmin(best))
    while at >= 0:
        kept.append(at)
        at = came[at]
    return _story([events[i] for i in reversed(kept)], len(events) - len(kept), no_use_run_s, mean_s, often_long)


_Event = tuple[float, bool, float]  # time, is a cut-in, confidence


def _events(cycles: Sequence[Cycle]) -> list[_Event]:
    events: list[_Event] = []
    for c in cycles:
        sure = math.sqrt(c.confidence) if c.run_s is not None else c.confidence
        if c.cut_in_s is not None:
            events.append((c.cut_in_s, True, sure))
        if c.cut_out_s is not None:
            events.append((c.cut_out_s, False, sure))
    return sorted(events)


def _rest_cost(rests_s: np.ndarray, cycle_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Minus the log density of rests, over that of a false click (one in a mean cycle), on a grid of log rests."""
    grid = np.arange(-2.0, 14.0, 0.1)
    rests_s = rests_s[rests_s > 0]
    if len(rests_s) < 4:
        return grid, np.exp(grid) / cycle_s
    logs = np.log(rests_s)
    wide = 0.25
    density = np.exp(-0.5 * ((grid[:, None] - logs[None, :]) / wide) ** 2).sum(axis=1) / (wide * 2.507 * len(logs))
    return grid, grid - math.log(cycle_s) - np.log(0.8 * density + 0.2 * 0.12)


def _walk(
    events: list[_Event], r0_s: float, mean_s: float, rest_cost: tuple[np.ndarray, np.ndarray], often_long: bool
) -> tuple[np.ndarray, list[int]]:
    n = len(events)
    drop = [FALSE_COST if e[2] > LEAST_CONFIDENCE else 1.0 for e in events]
    dropped = np.concatenate([[0.0], np.cumsum(drop)])
    best = np.full(n, IMPOSSIBLE)
    came = [-1] * n
    for j in range(n):
        if j < LOOK_BACK:
            best[j] = dropped[j]
        for i in range(max(0, j - LOOK_BACK), j):
            cost = best[i] + dropped[j] - dropped[i + 1]
            cost += _step(events[i], events[j], r0_s, mean_s, rest_cost, often_long)
            if cost < best[j]:
                best[j], came[j] = cost, i
    # what comes after the last kept click was dropped
    return best + dropped[n] - dropped[1:], came


def _step(
    a: _Event, b: _Event, r0_s: float, mean_s: float, rest_cost: tuple[np.ndarray, np.ndarray], often_long: bool
) -> float:
    gap_s = b[0] - a[0]

    def rest(length_s: float) -> float:
        return float(np.interp(math.log(max(length_s, 0.2)), *rest_cost))

    if a[1] and not b[1]:
        if gap_s < SHORT_RATIO * r0_s:
            return IMPOSSIBLE
        # long runs are rare: of two stories the one with the shorter run is likelier
        cost = 0.2 * math.log(max(1.0, gap_s / r0_s)) + 1.3 * math.log(max(1.0, gap_s / (1.5 * r0_s)))
        if gap_s > LONG_RATIO * r0_s and not often_long:
            cost += 2.0
        return min(2.0 * MISSED_COST - 0.5, cost)
    if not a[1] and b[1]:
        return rest(gap_s)
    if gap_s < SHORT_RATIO * r0_s:
        return IMPOSSIBLE
    return MISSED_COST + rest(max(gap_s - mean_s, 1.0))


def _story(kept: list[_Event], false: int, r0_s: float, mean_s: float, often_long: bool) -> Repaired:
    cycles: list[Cycle] = []
    missed = 0
    for index, (time_s, is_in, sure) in enumerate(kept):
        after = kept[index + 1] if index + 1 < len(kept) else None
        before = kept[index - 1] if index else None
        if is_in and after is not None and not after[1]:
            length_s = after[0] - time_s
            if length_s > LONG_RATIO * r0_s and not often_long:
                missed += 2  # two runs with the clicks between them missed
                cycles.append(_put_in(time_s, time_s + mean_s, sure))
                cycles.append(_put_in(after[0] - mean_s, after[0], sure))
            else:
                cycles.append(_whole(time_s, after[0], sure * after[2]))
        elif is_in and after is not None:
            missed += 1
            cycles.append(_put_in(time_s, min(time_s + mean_s, after[0] - 0.1), sure))
        elif is_in:
            cycles.append(Cycle(time_s, None, None, None, None, None, False))
        elif before is None:
            cycles.append(Cycle(None, time_s, None, None, None, None, False))
        elif not before[1]:
            missed += 1
            cycles.append(_put_in(max(time_s - mean_s, before[0] + 0.1), time_s, sure))
    cycles.sort(key=lambda c: c.cut_in_s if c.cut_in_s is not None else c.cut_out_s or 0.0)
    for i in range(len(cycles) - 1):
        end_s, next_s = cycles[i].cut_out_s, cycles[i + 1].cut_in_s
        if end_s is not None and next_s is not None:
            cycles[i] = replace(cycles[i], rest_s=max(0.0, next_s - end_s))
    return Repaired(tuple(cycles), false, missed)


def _whole(start_s: float, end_s: float, sure: float) -> Cycle:
    run_s = end_s - start_s
    return Cycle(start_s, end_s, run_s, run_s, run_s, None, True, confidence=sure)


def _put_in(start_s: float, end_s: float, sure: float) -> Cycle:
    run_s = end_s - start_s
    return Cycle(start_s, end_s, run_s, None, None, None, False, confidence=sure, note="one end put in")
