"""A log in, the same day through another tank out: starts, the worst hour, the mean run, each with an interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from clicktimer.day.cycle_log import DayLog, all_starts_s, whole_runs
from clicktimer.day.demand_reconstruction import rebuild, runs_through
from clicktimer.day.estimate import Amount, likeliest
from clicktimer.day.imputation import Repaired, possible
from clicktimer.day.leak import Leak
from clicktimer.day.no_use_run import NoUseRun
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.day.start_counts import worst_hour
from clicktimer.records import Reason

SEED: Final = 20


@dataclass(frozen=True, slots=True)
class Replayed:
    """The day through another tank. times: its drawdown over that of the tank that is there.

    starts, worst_hour: counts in the log's time. run_s: mean run, no_use_run_s: its r0, seconds. name: of the tank.
    """

    name: str
    times: float
    starts: Amount
    worst_hour: Amount
    run_s: Amount
    no_use_run_s: Amount


def replay(
    log: DayLog,
    no_use: NoUseRun,
    leak: Leak,
    others: Sequence[tuple[str, float]],
    *,
    dice: int | None = None,
    paths: Sequence[Repaired] = (),
    params: DayParams = DEFAULT_PARAMS,
) -> tuple[Replayed, ...]:
    """Run the log's own use of water through other tanks.

    Parameters
    ----------
    log : DayLog
        The cycles of the day.
    no_use : NoUseRun
        The run with no water in use, seconds.
    leak : Leak
        The slow leak, which goes on through any tank.
    others : sequence of (str, float)
        Name of a tank, and its drawdown over that of the tank that is there.
    dice : int or None
        Times that the use is rebuilt by chance: the same throws for every tank, so that their differences are the
        tanks' own.
    paths : sequence of Repaired
        Sampled paths of the log, where they are there already.
    params : DayParams
        Section ``what_if`` is used, and those of the rooms below.

    Returns
    -------
    tuple of Replayed
        Empty where the run with no water in use is not known or rests on too little.
    """
    if no_use.seconds is None or withheld(log, no_use, params=params):
        return ()
    paths = paths or possible(log.cycles, no_use.seconds, log.gaps, params=params)
    dice = params.what_if.throws if dice is None else dice
    leak_duty = leak.duty if leak.reported and leak.duty is not None else 0.0
    results: list[list[tuple[float, float, float]]] = [[] for _ in others]
    for throw in range(dice):
        rng = np.random.default_rng([SEED, throw])
        # with every throw another story of which clicks were true
        own = paths[(throw * len(paths)) // dice]
        flows = rebuild(replace(log, cycles=own.cycles), no_use.seconds, no_use.steady, leak_duty, rng, params=params)
        for row, (_, times) in zip(results, others, strict=True):
            tankful_s = tank_run_s(no_use, times, params=params).value
            starts_s, runs_s = runs_through(flows, tankful_s, log.duration_s, flows.start_level)
            mean_s = float(runs_s.mean()) if len(runs_s) else math.nan
            row.append((float(len(starts_s)), float(worst_hour(starts_s)[0]), mean_s))
    heard = len(all_starts_s(log.cycles))
    found = []
    for (name, times), row in zip(others, results, strict=True):
        table = np.array(row)
        found.append(
            Replayed(
                name,
                times,
                _amount(table[:, 0], 2.0 if heard else 0.0, params=params),
                _amount(table[:, 1], 1.0, least=1.0 if table[:, 0].min() > 0 else 0.0, params=params),
                _mean_run(table[:, 0], table[:, 2], no_use.seconds, times, params=params),
                tank_run_s(no_use, times, params=params),
            )
        )
    return tuple(found)


def withheld(log: DayLog, no_use: NoUseRun, *, params: DayParams = DEFAULT_PARAMS) -> Reason | None:
    """Return why the day is not run through another tank, or None.

    On two runs r0 is too weak for it: the mean run of half the tank was within 10 % on 16 of 23 such days (develop
    seeds).
    """
    tuned = params.what_if
    if no_use.seconds is None:
        return Reason("day.what-if-without-run")
    if whole_runs(log.cycles).count < tuned.least_runs or (
        no_use.rests_on < tuned.least_on and no_use.how != "nobody home"
    ):
        return Reason("day.what-if-on-few-runs", count=no_use.rests_on, least=tuned.least_on)
    return None


def tank_run_s(no_use: NoUseRun, times: float, *, params: DayParams = DEFAULT_PARAMS) -> Amount:
    """r0 of a tank that gives ``times`` what the one there gives, seconds; how its air takes heat is not known."""
    if no_use.seconds is None or no_use.low_s is None or no_use.high_s is None:
        raise ValueError("r0 is not told")
    value_s = no_use.seconds * times * warmed(no_use.seconds, times, params=params)
    least, most = _heat(no_use.seconds, times, params=params)
    below = math.hypot(math.log(no_use.seconds / no_use.low_s), least)
    above = math.hypot(math.log(no_use.high_s / no_use.seconds), most)
    return Amount(value_s, value_s * math.exp(-below), value_s * math.exp(above))


def _heat(no_use_run_s: float, times: float, *, params: DayParams) -> tuple[float, float]:
    """How far, in the log, a tank's run may be shorter or longer than given: no heat exchange, or all of it."""
    tuned = params.what_if
    assumed = math.log(warmed(no_use_run_s, times, params=params))
    whole = assumed / tuned.heat_part
    return max(assumed, assumed - whole, 0.0), max(-assumed, whole - assumed, 0.0)


def warmed(no_use_run_s: float, times: float, *, params: DayParams = DEFAULT_PARAMS) -> float:
    """How much more than its share a larger tank gives, since its slower refill leaves the air cooler.

    f(t) = 1 - 0.255 (tau/t) (1 - exp(-t/tau)), 0.255 from the adiabatic bound at 40/60; returned is
    (f(times r0) / f(r0))^0.35: between air that stays at one temperature and air that is heated with tau = 80 s, since
    nobody knows the tau of a tank. Seconds.

    >>> warmed(60.0, 1.0)
    1.0
    """
    tuned = params.what_if

    def fast(t_s: float) -> float:
        return 1.0 - tuned.adiabatic_loss * (tuned.heat_s / t_s) * (1.0 - math.exp(-t_s / tuned.heat_s))

    return float((fast(times * no_use_run_s) / fast(no_use_run_s)) ** tuned.heat_part)


def _amount(values: np.ndarray, count_half: float, least: float = 0.0, *, params: DayParams) -> Amount:
    tuned = params.what_if
    middle = float(np.mean(values))
    half = max(2.0 * float(np.std(values)), 0.05 * middle, count_half) + tuned.law_share * middle
    return Amount(middle, max(least, middle - half), middle + half)


def _mean_run(
    starts: np.ndarray, means_s: np.ndarray, no_use_run_s: float, times: float, *, params: DayParams
) -> Amount:
    """The likeliest mean run by all throws, seconds; its interval is about their mean, each weighed by its runs."""
    tuned = params.what_if
    good = np.isfinite(means_s)
    if not good.any():
        return Amount(0.0, 0.0, 0.0)
    middle_s = float(np.average(means_s[good], weights=np.maximum(starts[good], 1.0)))
    half = max(2.0 * float(np.std(means_s[good])) / middle_s, 0.05) + tuned.law_share
    least, most = _heat(no_use_run_s, times, params=params)
    low_s, high_s = middle_s * max(0.0, 1 - half - least), middle_s * (1 + half + most)
    value_s = likeliest(means_s[good].tolist(), tuned.run_within, tuned.run_blur)
    return Amount(value_s, min(low_s, value_s), max(high_s, value_s))
