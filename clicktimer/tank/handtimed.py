"""A run that somebody timed with a watch, as the record that the rest works on."""

from __future__ import annotations

from clicktimer.errors import QuantityError
from clicktimer.records import RunTime

# One interval started and stopped by hand has a standard deviation of 0.10 s: "Manual timing in physics experiments",
# Am. J. Phys. 87(2):110 (2019), 4,304 reaction times (grade A).
STOPWATCH_SD_S = 0.10
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
    return RunTime(
        seconds=seconds,
        low_s=seconds - half_s,
        high_s=seconds + half_s,
        count=1,
        how="timed by hand",
        one_sided=False,
        timing_s=half_s,
        spread_s=None,
        text="One run timed by hand with every tap shut; the spread between runs is unknown.",
    )
