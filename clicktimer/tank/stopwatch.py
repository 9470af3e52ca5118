"""A run that somebody timed with a watch, as the record that the rest works on."""

from __future__ import annotations

import math

from clicktimer.cycles.steady_tap import steady_no_use_run_s
from clicktimer.errors import QuantityError
from clicktimer.records import Reason, RunTime

# One interval started and stopped by hand has a standard deviation of 0.10 s: "Manual timing in physics experiments",
# Am. J. Phys. 87(2):110 (2019), 4,304 reaction times (grade A).
STOPWATCH_SD_S = 0.10
BY_HAND = ("timed by hand", "steady tap, by hand")
"""``how`` of a run that was timed by hand."""
LONGEST_RUN_S = 4 * 3600.0


def run_timed_by_hand(seconds: float) -> RunTime:
    """Make a RunTime from one run in seconds, timed by hand with every tap shut. Raises QuantityError.

    The interval is that of the hand on the watch alone: the spread between runs is unknown from one.
    """
    half_s = 1.96 * STOPWATCH_SD_S
    if not half_s < seconds <= LONGEST_RUN_S:
        raise QuantityError(
            f'a run of {seconds:g} s cannot be timed by hand: give it such as "38 s", four hours at the most'
        )
    return _timed_once(seconds, half_s, "timed by hand", Reason("run.timed-by-hand", half_s=half_s))


def steady_timed_by_hand(run_s: float, rest_s: float) -> RunTime:
    """Make a RunTime from one run and the rest after it, in seconds, timed by hand while one tap ran steadily.

    By ``steady_no_use_run_s``. The interval is that of the hand on the watch, for three presses of it: the middle one
    is shared. Raises QuantityError.
    """
    for time_s in (run_s, rest_s):
        run_timed_by_hand(time_s)
    total_s = run_s + rest_s
    seconds = steady_no_use_run_s(run_s, rest_s)
    # One press has 1/sqrt(2) of an interval's deviation.
    press_s = STOPWATCH_SD_S / math.sqrt(2.0)
    by_run, by_rest = (rest_s / total_s) ** 2, (run_s / total_s) ** 2
    half_s = 1.96 * press_s * math.sqrt(by_run**2 + (by_run - by_rest) ** 2 + by_rest**2)
    return _timed_once(seconds, half_s, "steady tap, by hand", Reason("run.steady-by-hand", half_s=half_s))


def _timed_once(seconds: float, half_s: float, how: str, note: Reason) -> RunTime:
    return RunTime(
        seconds=seconds,
        low_s=seconds - half_s,
        high_s=seconds + half_s,
        count=1,
        how=how,
        one_sided=False,
        timing_s=half_s,
        spread_s=None,
        notes=(note,),
    )
