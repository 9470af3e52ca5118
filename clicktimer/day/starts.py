"""A log in, starts out: how many in any hour and in a day, and which flows make the pump cycle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from clicktimer.day.log import DayLog, Floats, all_starts_s, whole_runs
from clicktimer.day.norun import NoUseRun
from clicktimer.day.steady import SteadyUse
from clicktimer.motors import MotorFinding, Phase, Seen, judge_motor

HOUR_S: Final = 3_600.0
DAY_S: Final = 86_400.0
CHATTER_S: Final = 2.0  # a run or a rest shorter than this is the switch chattering; common practice, no source
ENDLESS_RATIO: Final = 5.0  # a run over 5 r0 "does not end"
MARK_S: Final = 60.0
MIDDLE: Final = (0.2, 0.8)  # a duty between these makes more than 64 % of the most starts that a flow can make

Remedy = Literal["flow", "tank", "either"]


@dataclass(frozen=True, slots=True)
class FlowFound:
    """A steady use that makes the pump cycle. share: of all starts. per_h: starts an hour while it lasts.

    use_l_per_min: None without a pump rate. remedy: whether another flow or another tank helps.
    """

    use: SteadyUse
    share: float
    per_h: float
    use_l_per_min: float | None
    remedy: Remedy
    text: str


@dataclass(frozen=True, slots=True)
class Starts:
    """Starts of the pump. Times and lengths in seconds.

    count: heard. worst_hour: most in any sliding hour, from worst_at_s. per_day: with its honest range. by_hour: starts
    in each hour of the log. duty: share of the time that the pump ran. endless_s: runs over 5 r0, or of unknown end.
    chatter: runs or rests under 2 s, and clicks heard as bursts.
    """

    count: int
    worst_hour: int
    worst_at_s: float | None
    per_day: Seen
    by_hour: tuple[int, ...]
    shortest_rest_s: float | None
    shortest_run_s: float | None
    longest_run_s: float | None
    longest_at_s: float | None
    duty: float
    endless: int
    chatter: int
    flows: tuple[FlowFound, ...]
    motor: tuple[MotorFinding, ...]


def worst_hour(starts_s: Floats) -> tuple[int, float | None]:
    """The most starts within any 3600 s, and the first start of that hour.

    >>> import numpy as np
    >>> worst_hour(np.array([0.0, 10.0, 3599.0, 3600.0]))
    (3, 0.0)
    """
    if not len(starts_s):
        return 0, None
    ends = np.searchsorted(starts_s, starts_s + HOUR_S, side="left")
    counts = ends - np.arange(len(starts_s))
    best = int(np.argmax(counts))
    return int(counts[best]), float(starts_s[best])


def starts_a_day(count: int, heard_s: float) -> Seen:
    """Scale a count to a day, with its range.

    A day or more: the mean, plus and minus twice the root of the count. Less: the hours that were not heard may have
    had no start, or twice as many as those that were; on top comes the chance of counting.
    """
    if count == 0 and heard_s < DAY_S:
        return Seen(0.0, 0.0, 3.7 * DAY_S / heard_s)  # 97.5 % of a Poisson count of none
    days = heard_s / DAY_S
    if 0.98 <= days <= 1.02:
        return Seen(float(count), float(count), float(count))
    value, chance = count / days, 2.0 * math.sqrt(count)
    if days > 1:
        return Seen(value, max(0.0, (count - chance) / days), (count + chance) / days)
    unheard = (1.0 - days) / days
    return Seen(value, float(count), count + 2.0 * unheard * (count + chance))


def read_starts(
    log: DayLog,
    no_use: NoUseRun,
    *,
    rate_l_per_min: float | None = None,
    power_w: float | None = None,
    phase: Phase | None = None,
    maker_least_run_s: float | None = None,
    with_motor: bool = True,
    bursts: int = 0,
) -> Starts:
    """Count the starts of a log and hold them against the motor's limits.

    rate_l_per_min: the pump's, None unknown. bursts: clicks that were heard as a burst.
    """
    starts_s, runs = all_starts_s(log.cycles), whole_runs(log.cycles)
    most, at_s = worst_hour(starts_s)
    per_day = starts_a_day(len(starts_s), max(log.heard_s, 1.0))
    rests_s = runs.rests_s[np.isfinite(runs.rests_s)]
    longest = int(np.argmax(runs.runs_s)) if runs.count else None
    by_hour = np.bincount((starts_s // HOUR_S).astype(int), minlength=math.ceil(log.duration_s / HOUR_S))
    r0_s = no_use.seconds
    endless = 0 if r0_s is None else int(np.sum(runs.runs_s > ENDLESS_RATIO * r0_s))
    last = log.cycles[-1] if log.cycles else None
    if last is not None and last.cut_in_s is not None and last.cut_out_s is None and r0_s is not None:
        endless += int(log.duration_s - last.cut_in_s > ENDLESS_RATIO * r0_s)
    least = None
    if r0_s is not None and no_use.low_s is not None and no_use.high_s is not None:
        least = Seen(r0_s, no_use.low_s, no_use.high_s)
    motor: tuple[MotorFinding, ...] = ()
    if with_motor:
        motor = judge_motor(
            power_w,
            phase,
            starts_per_day=per_day,
            starts_per_h=Seen(float(most), float(most), float(most)),
            least_run_s=least,
            maker_least_run_s=maker_least_run_s,
        )
    return Starts(
        len(starts_s),
        most,
        at_s,
        per_day,
        tuple(int(n) for n in by_hour),
        float(rests_s.min()) if len(rests_s) else None,
        float(runs.runs_s.min()) if runs.count else None,
        None if longest is None else float(runs.runs_s[longest]),
        None if longest is None else float(runs.starts_s[longest]),
        float(runs.runs_s.sum() / max(log.heard_s, 1.0)),
        endless,
        int(np.sum(runs.runs_s < CHATTER_S) + np.sum(rests_s < CHATTER_S)) + bursts,
        tuple(_flow(use, len(starts_s), r0_s, rate_l_per_min) for use in _alike(no_use.steady)),
        motor,
    )


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
            )
        )
    return tuple(sorted(merged, key=lambda u: -u.count))


def _flow(use: SteadyUse, count: int, r0_s: float | None, rate_l_per_min: float | None) -> FlowFound:
    per_h = HOUR_S / (use.run_s + use.rest_s)
    own_s = use.no_use_run_s if r0_s is None else r0_s
    middle = MIDDLE[0] <= use.duty <= MIDDLE[1]
    remedy: Remedy = "tank" if own_s < MARK_S and not middle else "flow" if own_s >= MARK_S and middle else "either"
    if remedy == "flow":
        text = (
            "The tank is not short; this flow lies near half of the pump's rate, where the pump starts most. A flow "
            "nearer to the pump's rate, or a much smaller one, makes fewer starts; a larger tank would too, at a price."
        )
    elif remedy == "tank":
        text = "The tank gives a short run, so that every use makes many starts: look at the tank first."
    else:
        text = "Another flow and a larger tank both make fewer starts."
    return FlowFound(
        use, use.count / max(count, 1), per_h, None if rate_l_per_min is None else use.duty * rate_l_per_min, remedy,
        text,
    )  # fmt: skip
