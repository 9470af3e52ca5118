"""Stage 5, a part: cycles (or intervals of unknown order) in, the longest stretch of steady-tap cycles out.

While one tap runs at a constant rate, every run and the rest after it (or the rest and the run after it)
give r0 on their own, with no tank size, pump rate or tap flow known, and whichever click is which.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from clicktimer.cycles.pairing import NORMAL_95
from clicktimer.records import Click, Cycle, Intervals

LEAST_CONFIDENCE: Final = 0.5  # below it a run is more likely wrong than right: not used at all
AGREE_SHARE: Final = 0.06  # cycles that agree lie within this share of the middle of their stretch
FAST_TAP_RATIO: Final = 1.5  # run over rest above this: the tap took over 60 % of the pump's rate
UNKNOWN_TIMING_SD_S: Final = 0.01  # for an interval whose clicks were not handed in


@dataclass(frozen=True, slots=True)
class Stretch:
    """One interval between two clicks: a run, a rest, or one of the two (``is_run`` None)."""

    length_s: float
    start_sd_s: float
    end_sd_s: float
    is_run: bool | None


@dataclass(frozen=True, slots=True)
class SteadyCycle:
    """A run and a rest next to each other, in either order."""

    first: Stretch
    second: Stretch

    @property
    def no_use_s(self) -> float:
        """r0 in seconds by this cycle alone."""
        return steady_no_use_run_s(self.first.length_s, self.second.length_s)

    @property
    def timing_sd_s(self) -> float:
        """Standard deviation of ``no_use_s`` in seconds, by the timing of its three clicks."""
        # The middle click is shared: late, it lengthens one interval by what it takes from the other.
        total_s = self.first.length_s + self.second.length_s
        by_first, by_second = (self.second.length_s / total_s) ** 2, (self.first.length_s / total_s) ** 2
        middle_sd_s = max(self.first.end_sd_s, self.second.start_sd_s)
        return math.sqrt(
            (by_first * self.first.start_sd_s) ** 2
            + ((by_first - by_second) * middle_sd_s) ** 2
            + (by_second * self.second.end_sd_s) ** 2
        )


_Seconds = TypeVar("_Seconds", float, npt.NDArray[np.float64])


def steady_no_use_run_s(run_s: _Seconds, rest_s: _Seconds) -> _Seconds:
    """r0 in seconds from a run and a rest, in seconds (or arrays), while water ran at one constant rate all through.

    With drawdown D, pump rate Q and use q: run = D/(Q-q), rest = D/q, and r0 = D/Q, hence
    1/r0 = 1/run + 1/rest. The same whichever of the two is the run (MIL-HDBK-1005/9A 2.5.3.6: the cycle is
    symmetric in q and Q-q). Assumes constant Q and q within the cycle and gas at constant temperature.

    >>> steady_no_use_run_s(80.0, 240.0)
    60.0
    """
    return run_s * rest_s / (run_s + rest_s)


def steady_stretch(
    cycles: Sequence[Cycle], clicks: Sequence[Click] = (), ambiguous: Intervals | None = None
) -> tuple[Sequence[SteadyCycle], int]:
    """The longest stretch of consecutive cycles that agree within 6 % in both parts; how many there were in all.

    Lengths in seconds. No interval is used twice, so that the cycles are independent; a doubtful or half-known
    run, a gap or an unknown rest ends a stretch.
    """
    sd_at = {click.time_s: click.timing_sd_s for click in clicks}
    chains = _chains(cycles, sd_at)
    if ambiguous is not None:
        chains.append(_ambiguous_chain(ambiguous, sd_at))
    # Either click may begin a cycle: both choices are tried.
    choices = [
        [SteadyCycle(*pair) for pair in zip(chain[offset::2], chain[offset + 1 :: 2], strict=False)]
        for chain in chains
        for offset in (0, 1)
    ]
    best: Sequence[SteadyCycle] = max((_longest_agreeing(choice) for choice in choices), key=len, default=())
    return best, sum(len(chain) // 2 for chain in chains)


def _chains(cycles: Sequence[Cycle], sd_at: dict[float, float]) -> list[list[Stretch]]:
    """Runs and rests that follow each other with nothing missing; a doubtful or half-known run ends a chain."""
    chains: list[list[Stretch]] = [[]]
    for cycle in cycles:
        doubtful = cycle.confidence < LEAST_CONFIDENCE
        if doubtful or cycle.run_s is None or cycle.cut_in_s is None or cycle.cut_out_s is None:
            chains.append([])
        else:
            # Without the clicks, each click's deviation is the run's own, shared between its two ends.
            high_s = cycle.run_s if cycle.run_high_s is None else cycle.run_high_s
            own_sd_s = max(0.0, high_s - cycle.run_s) / NORMAL_95 / math.sqrt(2)
            start_sd_s, end_sd_s = sd_at.get(cycle.cut_in_s, own_sd_s), sd_at.get(cycle.cut_out_s, own_sd_s)
            chains[-1].append(Stretch(cycle.run_s, start_sd_s, end_sd_s, True))
        if doubtful or cycle.rest_s is None or cycle.cut_out_s is None:
            chains.append([])
        else:
            end_s = cycle.cut_out_s + cycle.rest_s
            start_sd_s = sd_at.get(cycle.cut_out_s, UNKNOWN_TIMING_SD_S)
            end_sd_s = sd_at.get(end_s, start_sd_s)
            chains[-1].append(Stretch(cycle.rest_s, start_sd_s, end_sd_s, False))
    return chains


def _ambiguous_chain(ambiguous: Intervals, sd_at: dict[float, float]) -> list[Stretch]:
    timed = sorted(
        zip(
            ambiguous.first_starts_s + ambiguous.second_starts_s,
            ambiguous.first_s + ambiguous.second_s,
            strict=True,
        )
    )
    return [
        Stretch(
            length_s,
            sd_at.get(start_s, UNKNOWN_TIMING_SD_S),
            sd_at.get(start_s + length_s, sd_at.get(start_s, UNKNOWN_TIMING_SD_S)),
            None,
        )
        for start_s, length_s in timed
    ]


def _longest_agreeing(steady: Sequence[SteadyCycle]) -> Sequence[SteadyCycle]:
    """The longest run of cycles in a row of which both parts agree (the earliest of equals)."""
    pairs_s = np.array([(cycle.first.length_s, cycle.second.length_s) for cycle in steady]).reshape(-1, 2)
    start, best = 0, (0, 0)
    least_s = most_s = pairs_s[:1].reshape(-1)
    for end in range(1, len(steady) + 1):
        least_s, most_s = np.minimum(least_s, pairs_s[end - 1]), np.maximum(most_s, pairs_s[end - 1])
        # A part of an agreeing stretch agrees too, so its start only ever moves forward.
        while not _agree(least_s, most_s):
            start += 1
            least_s, most_s = pairs_s[start:end].min(axis=0), pairs_s[start:end].max(axis=0)
        if end - start > best[1] - best[0]:
            best = (start, end)
    return steady[best[0] : best[1]]


def _agree(least_s: npt.NDArray[np.float64], most_s: npt.NDArray[np.float64]) -> bool:
    return bool(np.all(most_s - least_s <= AGREE_SHARE * (most_s + least_s)))


def is_fast_tap(steady: Sequence[SteadyCycle]) -> bool:
    """Whether the tap surely took more than 60 % of the pump's rate, where the method reads long."""
    runs_s = [part.length_s for cycle in steady for part in (cycle.first, cycle.second) if part.is_run]
    rests_s = [part.length_s for cycle in steady for part in (cycle.first, cycle.second) if part.is_run is False]
    return bool(runs_s) and bool(rests_s) and sum(runs_s) / len(runs_s) > FAST_TAP_RATIO * sum(rests_s) / len(rests_s)
