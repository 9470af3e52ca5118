"""Stage 5, first half: cycles in, r0 out (the run with no water in use) with its 95 % interval.

Three estimators, by what the user says of the recording: taps shut (every run is r0), a steady tap
(r0 = run x rest / (run + rest) for each cycle), or nothing (the shortest trusted run is an upper bound,
because water in use only lengthens a run). Why each figure below is what it is: docs/verdict.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from clicktimer.cycles.pairing import NORMAL_95, RECORDER_CLOCK_PPM
from clicktimer.cycles.steady_tap import AGREE_SHARE, LEAST_CONFIDENCE, is_fast_tap, steady_stretch
from clicktimer.records import Click, Cycle, Intervals, Reason, RunTime

TRUSTED_CONFIDENCE: Final = 0.8  # below it a figure that rests on one or two runs carries a doubt
LEAST_STEADY: Final = 3  # steady tap: cycles in a row that must agree
OUTLIER_SHARE: Final = 0.25  # taps shut: a run this far from the median ...
OUTLIER_DEVIATIONS: Final = 6.0  # ... and this many robust deviations away is no repeat of the others
MANY_LEFT_OUT_SHARE: Final = 0.2  # outliers in one run of five or more put the rest in doubt
ALONE_RATIO: Final = 0.7  # of three runs or more, a shortest that is well below the next stands alone
ALONE_LEAST: Final = 3
# Solved numerically for tanks at 40/60 psi with heat: docs/verdict.md, tests/cycles/test_run_time.py
RUN_TO_RUN_SHARE: Final = 0.07  # either side of the middle, by how fast the water before the run was drawn
STEADY_READS_SHORT: Final = 0.05  # heat of the air, against a run with settled air
STEADY_READS_LONG: Final = 0.08  # heat and falling pump rate, against a run after a draw at 2 gpm

_Seconds = npt.NDArray[np.float64]
_MAD_TO_SD: Final = 1.4826  # median absolute deviation to standard deviation, normal distribution


def no_use_run(
    cycles: Sequence[Cycle],
    *,
    taps: Literal["shut", "steady"] | None,
    clicks: Sequence[Click] = (),
    ambiguous: Intervals | None = None,
    clock_ppm: float = RECORDER_CLOCK_PPM,
) -> RunTime | None:
    """r0 in seconds with its 95 % interval, or None where no trusted run was heard.

    taps: "shut" (no water in use during any run; the first run of three or more is left out), "steady" (one
    tap ran steadily all through) or None (not known: the answer is ``one_sided``, an upper bound with
    ``low_s`` 0). clicks: gives the timing of rests and of ``ambiguous`` intervals; ambiguous: intervals of unknown
    order, used by "steady" only. clock_ppm: the recorder's possible clock error, added in full.

    From three runs on the interval holds Student's t on their spread (no narrower than timing alone); one run
    has timing and clock only, two runs cover both; then ``spread_s`` is None.
    """
    usable = [cycle for cycle in cycles if cycle.complete and cycle.confidence >= LEAST_CONFIDENCE]
    if not usable:
        by_sound = [replace(cycle, complete=True, how="clicks") for cycle in cycles if _timed_by_sound(cycle)]
        if by_sound:
            run = no_use_run(by_sound, taps=taps, clock_ppm=clock_ppm)
            return run and doubted(run, "run.by-pump-sound")
    if taps == "shut":
        return _from_shut(usable, _faint_notes(cycles, usable), clock_ppm)
    if taps == "steady":
        steady = _from_steady(cycles, clicks, ambiguous, clock_ppm)
        if steady is not None:
            return steady
    shortest = _from_shortest(usable)
    if shortest is None or taps is None:
        return shortest
    whole = sum(c.complete and c.rest_s is not None for c in cycles)
    none = Reason("run.steady-none", least=LEAST_STEADY, share=AGREE_SHARE)
    if whole < LEAST_STEADY:
        none = Reason("run.steady-few", count=whole, least=LEAST_STEADY)
    return replace(shortest, notes=(none, *shortest.notes))


def doubted(run: RunTime, code: str) -> RunTime:
    """Return the run time with one more doubt, by its code."""
    return replace(run, doubts=(*run.doubts, Reason(code)))


def allowance(run: RunTime) -> Reason:
    """Return what is allowed for beside the interval of a run time, and why."""
    if run.how == "steady tap":
        return Reason("run.allow-steady", short=STEADY_READS_SHORT, long=STEADY_READS_LONG)
    return Reason("run.allow-spread", share=RUN_TO_RUN_SHARE)


def allowances(run: RunTime) -> tuple[Reason, ...]:
    """Return what of ``allowed_interval_s`` the interval of the run time lacks; nothing where it lacks nothing."""
    return (allowance(run),) if allowed_interval_s(run) != (run.low_s, run.high_s) else ()


def allowed_interval_s(run: RunTime) -> tuple[float, float]:
    """Return the interval, in seconds, that must lie in one band for a sure verdict: the run time and what it lacks."""
    if run.how == "steady tap":
        return run.low_s / (1 + STEADY_READS_LONG), run.high_s / (1 - STEADY_READS_SHORT)
    if run.spread_s is None:
        room_s = RUN_TO_RUN_SHARE * run.seconds
        return min(run.low_s, run.seconds - room_s), max(run.high_s, run.seconds + room_s)
    return run.low_s, run.high_s


def _timed_by_sound(cycle: Cycle) -> bool:
    return cycle.how == "pump sound" and cycle.run_s is not None and cycle.confidence >= LEAST_CONFIDENCE


# --- taps shut -------------------------------------------------------------------------------------------------------
def _from_shut(usable: Sequence[Cycle], faint_notes: Sequence[Reason], clock_ppm: float) -> RunTime | None:
    if not usable:
        return None
    notes, doubts = [*faint_notes], list[Reason]()
    kept = list(usable)
    if len(kept) >= 3:
        kept = kept[1:]
        notes.append(Reason("run.first-left-out"))
    runs_s = np.array([_run(cycle) for cycle in kept])
    far = _outliers(runs_s)
    if far.any():
        count, total = int(far.sum()), len(kept)
        which_s, median_s = tuple(float(run_s) for run_s in runs_s[far]), float(np.median(runs_s[~far]))
        notes.append(Reason("run.outliers-left-out", count=count, total=total, which_s=which_s, median_s=median_s))
        if count >= MANY_LEFT_OUT_SHARE * total:
            doubts.append(Reason("run.many-left-out", count=count, total=total))
        kept = [cycle for cycle, is_far in zip(kept, far, strict=True) if not is_far]
        runs_s = runs_s[~far]
    timing_sd_s = [max(0.0, _high(cycle) - _run(cycle) * (1 + clock_ppm * 1e-6)) / NORMAL_95 for cycle in kept]
    low_s = high_s = None
    if len(kept) <= 2:
        notes.append(Reason("run.one-run") if len(kept) == 1 else Reason("run.two-runs"))
        lowest = min(cycle.confidence for cycle in kept)
        if lowest < TRUSTED_CONFIDENCE:
            doubts.append(Reason("run.faint-clicks", confidence=lowest))
        low_s, high_s = min(_low(cycle) for cycle in kept), max(_high(cycle) for cycle in kept)
        if np.ptp(runs_s) > OUTLIER_SHARE * runs_s.mean():
            doubts.append(Reason("run.runs-differ", share=float(np.ptp(runs_s) / runs_s.mean())))
    return _mean_run(runs_s, timing_sd_s, clock_ppm, "taps shut", notes, doubts, low_s=low_s, high_s=high_s)


def _outliers(runs_s: _Seconds) -> npt.NDArray[np.bool_]:
    """Which runs are no repeat of the others: grossly off the median and far beyond the others' robust spread."""
    if len(runs_s) < 3:
        return np.zeros(len(runs_s), dtype=bool)
    median_s = float(np.median(runs_s))
    off_s = np.abs(runs_s - median_s)
    spread_s = _MAD_TO_SD * float(np.median(off_s))
    return np.asarray(off_s > max(OUTLIER_SHARE * median_s, OUTLIER_DEVIATIONS * spread_s))


# --- steady tap ------------------------------------------------------------------------------------------------------
def _from_steady(
    cycles: Sequence[Cycle], clicks: Sequence[Click], ambiguous: Intervals | None, clock_ppm: float
) -> RunTime | None:
    best, total = steady_stretch(cycles, clicks, ambiguous)
    if len(best) < LEAST_STEADY:
        return None
    notes = [Reason("run.steady-cycles", count=len(best), share=AGREE_SHARE)]
    if total > len(best):
        notes.append(Reason("run.steady-left-out", count=total - len(best), total=total))
    doubts = [Reason("run.steady-fast-tap")] if is_fast_tap(best) else []
    no_use_s = np.array([cycle.no_use_s for cycle in best])
    return _mean_run(no_use_s, [cycle.timing_sd_s for cycle in best], clock_ppm, "steady tap", notes, doubts)


# --- nothing known of the taps ---------------------------------------------------------------------------------------
def _from_shortest(usable: Sequence[Cycle]) -> RunTime | None:
    trusted = [cycle for cycle in usable if cycle.confidence >= TRUSTED_CONFIDENCE] or list(usable)
    if not trusted:
        return None
    by_length = sorted(trusted, key=_run)
    shortest = by_length[0]
    doubts = []
    if shortest.confidence < TRUSTED_CONFIDENCE:
        doubts.append(Reason("run.faint-clicks", confidence=shortest.confidence))
    if len(by_length) >= ALONE_LEAST and _run(shortest) < ALONE_RATIO * _run(by_length[1]):
        doubts.append(Reason("run.stands-alone", next_s=_run(by_length[1])))
    note = Reason("run.shortest", count=len(trusted)) if len(trusted) > 1 else Reason("run.shortest-one")
    return RunTime(
        seconds=_run(shortest),
        low_s=0.0,
        high_s=_high(shortest),
        count=len(trusted),
        how="shortest run",
        one_sided=True,
        timing_s=_high(shortest) - _run(shortest),
        spread_s=None,
        notes=(note,),
        doubts=tuple(doubts),
    )


# --- shared ----------------------------------------------------------------------------------------------------------
def _mean_run(  # noqa: PLR0913
    runs_s: _Seconds,
    timing_sd_s: Sequence[float],
    clock_ppm: float,
    how: str,
    notes: Sequence[Reason],
    doubts: Sequence[Reason],
    *,
    low_s: float | None = None,
    high_s: float | None = None,
) -> RunTime:
    """Mean of repeats. The spread holds the random timing already: the larger of the two counts, not their sum."""
    count, mean_s = len(runs_s), float(runs_s.mean())
    random_s = NORMAL_95 * math.sqrt(sum(sd_s**2 for sd_s in timing_sd_s)) / count
    clock_s = clock_ppm * 1e-6 * mean_s
    spread_s = _student_half_width_s(runs_s) if count >= 3 else None
    half_s = max(random_s, spread_s or 0.0) + clock_s
    return RunTime(
        seconds=mean_s,
        low_s=max(0.0, mean_s - half_s) if low_s is None else low_s,
        high_s=mean_s + half_s if high_s is None else high_s,
        count=count,
        how=how,
        one_sided=False,
        timing_s=random_s + clock_s,
        spread_s=spread_s,
        notes=tuple(notes),
        doubts=tuple(doubts),
    )


def _student_half_width_s(runs_s: _Seconds) -> float:
    """Half width, in seconds, of the 95 % interval of a mean: Student's t on n-1 degrees of freedom."""
    from scipy.special import stdtrit  # slow to import, and not needed to show help

    count = len(runs_s)
    return float(stdtrit(count - 1, 0.975) * runs_s.std(ddof=1) / math.sqrt(count))


def _faint_notes(cycles: Sequence[Cycle], usable: Sequence[Cycle]) -> list[Reason]:
    total = sum(cycle.complete for cycle in cycles)
    left_out = total - len(usable)
    return [Reason("run.faint-left-out", count=left_out, total=total)] if left_out else []


def _run(cycle: Cycle) -> float:
    return math.nan if cycle.run_s is None else cycle.run_s


def _low(cycle: Cycle) -> float:
    return _run(cycle) if cycle.run_low_s is None else cycle.run_low_s


def _high(cycle: Cycle) -> float:
    return _run(cycle) if cycle.run_high_s is None else cycle.run_high_s
