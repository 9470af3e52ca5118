"""A log in, starts out: how many in any hour and in a day, and which flows make the pump cycle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from clicktimer.cycles.pairing import RECORDER_CLOCK_PPM
from clicktimer.cycles.run_time import allowed_interval_s
from clicktimer.day.constant_flow import LEAST_CYCLES, SteadyUse
from clicktimer.day.cycle_log import DayLog, Runs, all_starts_s, whole_runs
from clicktimer.day.estimate import Amount
from clicktimer.day.imputation import Repaired
from clicktimer.day.leak import Leak
from clicktimer.day.no_use_run import NoUseRun
from clicktimer.day.start_counts import HOUR_S, StartCounts, by_chance, count_starts, in_hours, worst_hour
from clicktimer.records import RunTime
from clicktimer.tank.motors import MotorFinding, Phase, Seen, judge_motor

DAY_S: Final = 86_400.0
CHATTER_S: Final = 2.0  # a run or a rest shorter than this is the switch chattering; common practice, no source
LEAST_FOR_A_DAY_S: Final = HOUR_S  # less says nothing of a day's starts; common practice, no source
ENDLESS_RATIO: Final = 5.0  # a run over 5 r0 "does not end"
MARK_S: Final = 60.0
MIDDLE: Final = (0.2, 0.8)  # a duty between these makes more than 64 % of the most starts that a flow can make

LEAK_BEFORE: Final = "Stop the leak before anything else."

Remedy = Literal["flow", "tank", "either", "leak"]


@dataclass(frozen=True, slots=True)
class FlowFound:
    """A steady use that makes the pump cycle. share: of all starts. per_h: starts an hour while it lasts.

    flow: L/min, None without a pump rate. remedy: whether another flow or another tank helps, or the flow is a leak.
    """

    use: SteadyUse
    share: Amount
    per_h: Amount
    flow: Amount | None
    remedy: Remedy
    text: str


@dataclass(frozen=True, slots=True)
class Starts:
    """Starts of the pump. Times and lengths in seconds.

    count, by_hour: as heard, in all and in each hour of the log. counts: the same with the clicks that may be false or
    missed. worst_hour: most in any sliding hour, worst_at_s: as heard, from when. per_day: with its honest range, None
    where less than an hour was heard.
    shortest_rest_s and so on: with their timing. duty: share of the time that the pump ran.
    endless: runs over 5 r0, or of unknown end. chatter: runs or rests under 2 s, and clicks heard as bursts.
    """

    count: int
    by_hour: tuple[int, ...]
    counts: StartCounts
    worst_at_s: float | None
    per_day: Seen | None
    shortest_rest_s: Amount | None
    shortest_run_s: Amount | None
    longest_run_s: Amount | None
    longest_at_s: float | None
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


def _starts_a_day(starts: Amount, heard_s: float) -> Seen:
    """The same of a count that is not sure itself."""
    value, low, high = (starts_a_day(n, heard_s) for n in (starts.value, starts.low, starts.high))
    return Seen(value.value, min(low.low, value.low), max(high.high, value.high))


def read_starts(
    log: DayLog,
    no_use: NoUseRun,
    *,
    rate_l_per_min: float | None = None,
    rate_share: float = 0.0,
    power_w: float | None = None,
    phase: Phase | None = None,
    maker_least_run_s: float | None = None,
    with_motor: bool = True,
    bursts: int = 0,
    paths: Sequence[Repaired] = (),
    said: RunTime | None = None,
    leak: Leak | None = None,
) -> Starts:
    """Count the starts of a log and hold them against the motor's limits.

    rate_l_per_min: the pump's, None unknown; rate_share: half width of its interval over it. bursts: clicks that were
    heard as a burst. paths: of the log, where r0 is known. said: the run with no water where the user said how the
    taps were; else that of ordinary use is held against the motor's least run. leak: as found.
    """
    starts_s, runs = all_starts_s(log.cycles), whole_runs(log.cycles)
    counts = count_starts(log, paths)
    per_day = _starts_a_day(counts.starts, log.heard_s) if log.heard_s >= LEAST_FOR_A_DAY_S else None
    rests = np.flatnonzero(np.isfinite(runs.rests_s))
    longest = int(np.argmax(runs.runs_s)) if runs.count else None
    r0_s = no_use.seconds
    endless = 0 if r0_s is None else int(np.sum(runs.runs_s > ENDLESS_RATIO * r0_s))
    last = log.cycles[-1] if log.cycles else None
    if last is not None and last.cut_in_s is not None and last.cut_out_s is None and r0_s is not None:
        endless += int(log.duration_s - last.cut_in_s > ENDLESS_RATIO * r0_s)
    least = None
    run = said or no_use.as_run_time()
    if run is not None:
        low_s, high_s = allowed_interval_s(run)  # as surely as the verdict holds it against the marks
        least = Seen(run.seconds, 0.0 if run.one_sided else max(0.0, low_s), high_s)
    motor: tuple[MotorFinding, ...] = ()
    if with_motor:
        motor = judge_motor(
            power_w,
            phase,
            starts_per_day=per_day,
            starts_per_h=Seen(counts.worst_hour.value, counts.worst_hour.low, counts.worst_hour.high),
            least_run_s=least,
            maker_least_run_s=maker_least_run_s,
        )
        if log.heard_s < HOUR_S:
            # An hour not heard in full may have had any number more: only "too many already" can be said.
            motor = tuple(f for f in motor if f.what != "starts_per_h" or f.answer == "outside")
    return Starts(
        len(starts_s),
        tuple(int(n) for n in in_hours(starts_s, log.duration_s)),
        counts,
        worst_hour(starts_s)[1],
        per_day,
        _timed(runs, int(rests[np.argmin(runs.rests_s[rests])]), rest=True) if len(rests) else None,
        _timed(runs, int(np.argmin(runs.runs_s))) if runs.count else None,
        None if longest is None else _timed(runs, longest),
        None if longest is None else float(runs.starts_s[longest]),
        endless,
        int(np.sum(runs.runs_s < CHATTER_S) + np.sum(runs.rests_s[rests] < CHATTER_S)) + bursts,
        tuple(
            _flow(
                use,
                counts.starts,
                r0_s,
                rate_l_per_min,
                rate_share,
                leak=leak is not None and leak.is_flow(use.duty),
            )
            for use in _alike(tuple(u for u in no_use.steady if u.count >= LEAST_CYCLES))
        ),
        motor,
    )


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
            )
        )
    return tuple(sorted(merged, key=lambda u: -u.count))


def _all_spread(groups: Sequence[tuple[float, float, int]]) -> float:
    """Standard deviation of all together, of groups with these means, standard deviations and counts."""
    means, spreads, counts = zip(*groups, strict=True)
    middle = float(np.average(means, weights=counts))
    squares = [s**2 + (m - middle) ** 2 for m, s in zip(means, spreads, strict=True)]
    return math.sqrt(float(np.average(squares, weights=counts)))


def _flow(
    use: SteadyUse,
    starts: Amount,
    r0_s: float | None,
    rate_l_per_min: float | None,
    rate_share: float,
    *,
    leak: bool,
) -> FlowFound:
    own_s = use.no_use_run_s if r0_s is None else r0_s
    middle = MIDDLE[0] <= use.duty <= MIDDLE[1]
    remedy: Remedy = "tank" if own_s < MARK_S and not middle else "flow" if own_s >= MARK_S and middle else "either"
    if leak:
        remedy, text = "leak", LEAK_BEFORE
    elif remedy == "flow":
        text = (
            "The tank is not short; this flow lies near half of the pump's rate, where the pump starts most. A flow "
            "nearer to the pump's rate, or a much smaller one, makes fewer starts; a larger tank would too, at a price."
        )
    elif remedy == "tank":
        text = "The tank gives a short run, so that every use makes many starts: look at the tank first."
    else:
        text = "Another flow and a larger tank both make fewer starts."
    share = Amount(*(min(1.0, use.count / max(n, 1.0)) for n in (starts.value, starts.high, starts.low)))
    duty = use.duty_interval
    flow = None
    if rate_l_per_min is not None:
        below, above = (math.hypot(abs(end / duty.value - 1), rate_share) for end in (duty.low, duty.high))
        flow = Amount(duty.value, max(0.0, duty.value * (1 - below)), duty.value * (1 + above)).times(rate_l_per_min)
    return FlowFound(use, share, use.starts_per_h, flow, remedy, text)
