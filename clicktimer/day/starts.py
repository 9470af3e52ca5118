"""A log in, starts out: how many in any hour and in a day, and which flows make the pump cycle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from clicktimer.cycles.pairing import RECORDER_CLOCK_PPM
from clicktimer.cycles.run_time import allowed_interval_s
from clicktimer.day.constant_flow import SteadyUse
from clicktimer.day.cycle_log import DayLog, Runs, all_starts_s, whole_runs
from clicktimer.day.estimate import Amount, KnownRate
from clicktimer.day.imputation import Repaired
from clicktimer.day.leak import Leak
from clicktimer.day.no_use_run import NoUseRun
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.day.start_counts import HOUR_S, StartCounts, by_chance, count_starts, in_hours, worst_hour
from clicktimer.records import Reason, RunTime
from clicktimer.tank.motors import MotorFinding, Seen, judge_motor
from clicktimer.tank.system import Motor
from clicktimer.targets import MARKS_S

DAY_S: Final = 86_400.0
LEAST_FOR_A_DAY_S: Final = HOUR_S  # less says nothing of a day's starts; common practice, no source

Remedy = Literal["flow", "tank", "either", "leak"]


@dataclass(frozen=True, slots=True)
class FlowFound:
    """A steady use that makes the pump cycle.

    Attributes
    ----------
    use : SteadyUse
        The cycles that it rests on.
    share : Amount
        Its starts over all starts.
    per_h : Amount
        Starts an hour while it lasts.
    flow : Amount or None
        L/min; None without a pump rate.
    remedy : {"flow", "tank", "either", "leak"}
        Whether another flow or another tank makes fewer starts, or the flow is a leak.
    """

    use: SteadyUse
    share: Amount
    per_h: Amount
    flow: Amount | None
    remedy: Remedy

    @property
    def reason(self) -> Reason:
        """The remedy as a code of the message catalogue."""
        return Reason(f"day.remedy.{self.remedy}", duty=self.use.duty, no_use_run_s=self.use.no_use_run_s)


@dataclass(frozen=True, slots=True)
class Lengths:
    """The shortest rest, the shortest run and the longest run of a log, in seconds with their timing; None without.

    longest_at_s: when the longest run began, seconds from the beginning of the log.
    """

    shortest_rest_s: Amount | None = None
    shortest_run_s: Amount | None = None
    longest_run_s: Amount | None = None
    longest_at_s: float | None = None


@dataclass(frozen=True, slots=True)
class Starts:
    """Starts of the pump.

    Attributes
    ----------
    count, by_hour : int, tuple of int
        As heard, in all and in each hour of the log.
    counts : StartCounts
        The same with the clicks that may be false or missed.
    worst_at_s : float or None
        As heard, when the hour with most starts began, seconds from the beginning of the log.
    per_day : Seen or None
        Starts a day with their range; None where less than an hour was heard.
    lengths : Lengths
        Shortest and longest run and rest.
    endless : int
        Runs over five times the run with no water in use, those of unknown end included.
    chatter : int
        Runs and rests under 2 s, and clicks heard as bursts.
    flows : tuple of FlowFound
        Steady uses that make the pump cycle, most starts first.
    motor : tuple of MotorFinding
        Starts and run against the limits of motor makers.
    """

    count: int
    by_hour: tuple[int, ...]
    counts: StartCounts
    worst_at_s: float | None
    per_day: Seen | None
    lengths: Lengths
    endless: int
    chatter: int
    flows: tuple[FlowFound, ...]
    motor: tuple[MotorFinding, ...]

    @property
    def worst_hour(self) -> int:
        """Most starts in any sliding hour, a whole number."""
        return round(self.counts.worst_hour.value)

    @property
    def duty(self) -> float:
        """Share of the time that the pump ran, without its interval."""
        return self.counts.duty.value


def starts_a_day(count: float, heard_s: float) -> Seen:
    """Scale a count to a day, with its range.

    A day or more: the mean, plus and minus twice the root of the count. Less: the hours that were not heard may have
    had no start, or twice as many as those that were; on top comes the chance of counting.
    """
    days = heard_s / DAY_S
    low, high = by_chance(count)
    if count == 0 and heard_s < DAY_S:
        return Seen(0.0, 0.0, high / days)
    if 0.98 <= days <= 1.02:
        return Seen(float(count), float(count), float(count))
    if days > 1:
        return Seen(count / days, low / days, high / days)
    unheard = (1.0 - days) / days
    return Seen(count / days, float(count), count + 2.0 * unheard * high)


def _per_day(starts: Amount, heard_s: float) -> Seen | None:
    """Scale a count that is itself uncertain to a day; None where less than an hour was heard."""
    if heard_s < LEAST_FOR_A_DAY_S:
        return None
    value, low, high = (starts_a_day(n, heard_s) for n in (starts.value, starts.low, starts.high))
    return Seen(value.value, min(low.low, value.low), max(high.high, value.high))


def read_starts(  # noqa: PLR0913
    log: DayLog,
    no_use: NoUseRun,
    *,
    rate: KnownRate | None = None,
    motor: Motor | None = None,
    with_motor: bool = True,
    bursts: int = 0,
    paths: Sequence[Repaired] = (),
    said: RunTime | None = None,
    leak: Leak | None = None,
    target_s: float = MARKS_S[1],
    params: DayParams = DEFAULT_PARAMS,
) -> Starts:
    """Count the starts of a log and compare them with the motor's limits.

    Parameters
    ----------
    log : DayLog
        The cycles of the day.
    no_use : NoUseRun
        The run with no water in use, from ordinary use.
    rate : KnownRate or None
        What the pump gives.
    motor : Motor or None
        The pump's motor as far as it is known.
    with_motor : bool
        Whether to compare with the limits of motor makers.
    bursts : int
        Clicks that were heard as a burst.
    paths : sequence of Repaired
        Sampled paths of the log, where the run with no water in use is known.
    said : RunTime or None
        The run with no water in use where the user said how the taps were; else that of ordinary use is compared with
        the motor's least run.
    leak : Leak or None
        The slow leak as found.
    target_s : float
        The target of a run, seconds: a tank whose run reaches it is not short.
    """
    starts_s, runs = all_starts_s(log.cycles), whole_runs(log.cycles)
    counts = count_starts(log, paths, params=params)
    per_day = _per_day(counts.starts, log.heard_s)
    return Starts(
        len(starts_s),
        tuple(int(n) for n in in_hours(starts_s, log.duration_s)),
        counts,
        worst_hour(starts_s)[1],
        per_day,
        _lengths(runs),
        _endless(log, runs, no_use.seconds, params=params),
        _chatter(runs, params=params) + bursts,
        _flows(no_use, counts.starts, rate, leak, target_s, params=params),
        _motor(log, motor or Motor(), per_day, counts.worst_hour, said or no_use.as_run_time()) if with_motor else (),
    )


def _lengths(runs: Runs) -> Lengths:
    """Find the shortest and longest run and rest."""
    if not runs.count:
        return Lengths()
    rests = np.flatnonzero(np.isfinite(runs.rests_s))
    longest = int(np.argmax(runs.runs_s))
    return Lengths(
        _timed(runs, int(rests[np.argmin(runs.rests_s[rests])]), rest=True) if len(rests) else None,
        _timed(runs, int(np.argmin(runs.runs_s))),
        _timed(runs, longest),
        float(runs.starts_s[longest]),
    )


def _endless(log: DayLog, runs: Runs, no_use_run_s: float | None, *, params: DayParams) -> int:
    """Count runs over five times the run with no water in use, also one that the end of the log cut."""
    tuned = params.cycling
    if no_use_run_s is None:
        return 0
    longest_s = tuned.endless_ratio * no_use_run_s
    last = log.cycles[-1] if log.cycles else None
    on_at_end = last is not None and last.cut_in_s is not None and last.cut_out_s is None
    cut_s = log.duration_s - (last.cut_in_s or 0.0) if last is not None and on_at_end else 0.0
    return int(np.sum(runs.runs_s > longest_s)) + int(cut_s > longest_s)


def _chatter(runs: Runs, *, params: DayParams) -> int:
    """Count runs and rests so short that the switch chatters; a rest that is not known is none."""
    tuned = params.cycling
    return int(np.sum(runs.runs_s < tuned.chatter_s) + np.sum(runs.rests_s < tuned.chatter_s))


def _motor(
    log: DayLog, motor: Motor, per_day: Seen | None, worst: Amount, run: RunTime | None
) -> tuple[MotorFinding, ...]:
    """Compare starts a day, starts in the worst hour and the run with the limits of motor makers."""
    found = judge_motor(
        motor.power_w,
        motor.phase,
        starts_per_day=per_day,
        starts_per_h=Seen(worst.value, worst.low, worst.high),
        least_run_s=None if run is None else _seen(run),
        maker_least_run_s=motor.least_run_s,
    )
    if log.heard_s >= HOUR_S:
        return found
    # An hour not heard in full may have had any number more: only "too many already" can be said.
    return tuple(f for f in found if f.what != "starts_per_h" or f.answer == "outside")


def _seen(run: RunTime) -> Seen:
    """Return a run with the interval by which the verdict compares it with the marks."""
    low_s, high_s = allowed_interval_s(run)
    return Seen(run.seconds, 0.0 if run.one_sided else max(0.0, low_s), high_s)


def _timed(runs: Runs, index: int, *, rest: bool = False) -> Amount:
    """A run, or the rest after it, with what timing its two clicks and the recorder's clock leave open."""
    length_s = float(runs.rests_s[index] if rest else runs.runs_s[index])
    half_s = float(runs.half_s[index : index + 1 + rest].max())
    half_s = max(half_s, RECORDER_CLOCK_PPM * 1e-6 * length_s)
    return Amount(length_s, max(0.0, length_s - half_s), length_s + half_s)


def starts_per_h(duty: float, no_use_run_s: float) -> float:
    """Starts an hour under a steady flow: 3600 d (1 - d) / r0, most (900 / r0) at half the pump's rate.

    duty: the flow over the pump's rate, 0 to 1. no_use_run_s: seconds. Source: cycle = r0 / (d (1 - d)), from
    MIL-HDBK-1005/9A 2.5.3.6, symmetric in q and Q - q.

    >>> starts_per_h(0.5, 60.0)
    15.0
    """
    return HOUR_S * duty * (1.0 - duty) / no_use_run_s


def _alike(uses: tuple[SteadyUse, ...]) -> tuple[SteadyUse, ...]:
    """Steady uses of the same flow (within 10 %) as one, from the first to the last of them; most starts first."""
    groups: list[list[SteadyUse]] = []
    for use in sorted(uses, key=lambda u: u.duty):
        if groups and use.duty <= 1.1 * groups[-1][0].duty:
            groups[-1].append(use)
        else:
            groups.append([use])
    merged = []
    for group in groups:
        count = sum(u.count for u in group)

        def mean(name: str, own: list[SteadyUse] = group, of: int = count) -> float:
            return sum(float(getattr(u, name)) * u.count for u in own) / of

        merged.append(
            SteadyUse(
                min(u.from_s for u in group),
                max(u.to_s for u in group),
                count,
                mean("run_s"),
                mean("rest_s"),
                mean("duty"),
                mean("no_use_run_s"),
                max(u.spread_s for u in group),
                _all_spread([(u.duty, u.duty_spread, u.count) for u in group]),
                _all_spread([(u.run_s + u.rest_s, u.cycle_spread_s, u.count) for u in group]),
                group[0].params,
            )
        )
    return tuple(sorted(merged, key=lambda u: -u.count))


def _all_spread(groups: Sequence[tuple[float, float, int]]) -> float:
    """Standard deviation of all together, of groups with these means, standard deviations and counts."""
    means, spreads, counts = zip(*groups, strict=True)
    middle = float(np.average(means, weights=counts))
    squares = [s**2 + (m - middle) ** 2 for m, s in zip(means, spreads, strict=True)]
    return math.sqrt(float(np.average(squares, weights=counts)))


def _flows(
    no_use: NoUseRun, starts: Amount, rate: KnownRate | None, leak: Leak | None, target_s: float, *, params: DayParams
) -> tuple[FlowFound, ...]:
    """Return the steady uses of three cycles or more, those of one flow together, with what would help."""
    return tuple(
        FlowFound(
            use,
            Amount(*(min(1.0, use.count / max(n, 1.0)) for n in (starts.value, starts.high, starts.low))),
            use.starts_per_h,
            None if rate is None else rate.flow(use.duty_interval),
            "leak"
            if leak is not None and leak.is_flow(use.duty)
            else _remedy(use, no_use.seconds, target_s, params=params),
        )
        for use in _alike(tuple(u for u in no_use.steady if u.count >= params.constant_flow.least_cycles))
    )


def _remedy(use: SteadyUse, no_use_run_s: float | None, target_s: float, *, params: DayParams) -> Remedy:
    """Return what makes fewer starts: a flow away from half of the pump's rate, a larger tank, or either."""
    tuned = params.cycling
    own_s = use.no_use_run_s if no_use_run_s is None else no_use_run_s
    middle = tuned.middle[0] <= use.duty <= tuned.middle[1]
    if own_s < target_s and not middle:
        return "tank"
    return "flow" if own_s >= target_s and middle else "either"
