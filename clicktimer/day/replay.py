"""A log in, the same day through another tank out: starts, the worst hour, the mean run, each with an interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from clicktimer.day.log import DayLog, all_starts_s, whole_runs
from clicktimer.day.norun import NoUseRun
from clicktimer.day.repair import possible
from clicktimer.day.seeping import Seeping
from clicktimer.day.starts import worst_hour
from clicktimer.day.use import rebuild, runs_through
from clicktimer.day.water import Amount

DICE: Final = 12
SEED: Final = 20
HEAT_S: Final = 80.0
HEAT_PART: Final = 0.35
ADIABATIC_LOSS: Final = 0.255
LAW_SHARE: Final = 0.05  # what a constant rate and settled air leave out, either way (simulated)


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
    no_use_run_s: float


def replay(
    log: DayLog, no_use: NoUseRun, seeping: Seeping, others: Sequence[tuple[str, float]], *, dice: int = DICE
) -> tuple[Replayed, ...]:
    """Run the log's own use through other tanks: (name, times the drawdown that is there). Empty where r0 is unknown.

    The same dice for every tank, so that their differences are the tanks' own.
    """
    if no_use.seconds is None or whole_runs(log.cycles).count < 2:
        return ()
    stories = possible(log.cycles, no_use.seconds, log.gaps)
    leak_duty = seeping.duty if seeping.told and seeping.duty is not None else 0.0
    results: list[list[tuple[float, float, float]]] = [[] for _ in others]
    for throw in range(dice):
        rng = np.random.default_rng([SEED, throw])
        # with every throw another story of which clicks were true
        own = stories[(throw * len(stories)) // dice]
        flows = rebuild(replace(log, cycles=own.cycles), no_use.seconds, no_use.steady, leak_duty, rng)
        for row, (_, times) in zip(results, others, strict=True):
            tankful_s = no_use.seconds * times * warmed(no_use.seconds, times)
            starts_s, runs_s = runs_through(flows, tankful_s, log.duration_s, flows.start_level)
            mean_s = float(runs_s.mean()) if len(runs_s) else math.nan
            row.append((float(len(starts_s)), float(worst_hour(starts_s)[0]), mean_s))
    heard = len(all_starts_s(log.cycles))
    told = []
    for (name, times), row in zip(others, results, strict=True):
        table = np.array(row)
        told.append(
            Replayed(
                name,
                times,
                _amount(table[:, 0], 2.0 if heard else 0.0),
                _amount(table[:, 1], 1.0),
                _amount(table[:, 2], 0.0),
                no_use.seconds * times * warmed(no_use.seconds, times),
            )
        )
    return tuple(told)


def warmed(no_use_run_s: float, times: float) -> float:
    """How much more than its share a larger tank gives, since its slower refill leaves the air cooler.

    f(t) = 1 - 0.255 (tau/t) (1 - exp(-t/tau)), 0.255 from the adiabatic bound at 40/60; returned is
    (f(times r0) / f(r0))^0.35: between air that stays at one temperature and air that is heated with tau = 80 s, since
    nobody knows the tau of a tank. Seconds.

    >>> warmed(60.0, 1.0)
    1.0
    """

    def fast(t_s: float) -> float:
        return 1.0 - ADIABATIC_LOSS * (HEAT_S / t_s) * (1.0 - math.exp(-t_s / HEAT_S))

    return float((fast(times * no_use_run_s) / fast(no_use_run_s)) ** HEAT_PART)


def _amount(values: np.ndarray, count_half: float) -> Amount:
    good = values[np.isfinite(values)]
    if not len(good):
        return Amount(0.0, 0.0, 0.0)
    middle = float(np.mean(good))
    half = max(2.0 * float(np.std(good)), 0.05 * middle, count_half) + LAW_SHARE * middle
    return Amount(middle, max(0.0, middle - half), middle + half)
