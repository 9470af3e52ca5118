"""How long a day's reckoning takes and what it holds: ``python -m tests.benchmarks.days_speed``.

An hour, a day, a week and a month of cycles of an invented house (a small tank, a running toilet), as click lists
without errors and with 5 % of the clicks dropped and as many added; each in a process of its own, for its memory.
"""

from __future__ import annotations

import multiprocessing
import random
import resource
import time

import numpy as np

from clicktimer.cycles.pairing import pair_cycles
from clicktimer.day.analysis import other_tanks, read_day
from clicktimer.day.cycle_log import DayLog
from clicktimer.records import Click, Kind
from clicktimer.tank.system import PumpRate, Tank, make_system
from clicktimer.units.conversions import gal_to_l

HOUR_S = 3600.0
SPANS_S = {"an hour": HOUR_S, "a day": 24 * HOUR_S, "a week": 168 * HOUR_S, "a month": 720 * HOUR_S}
SHARES = (0.0, 0.05)


def log_of(duration_s: float, share: float) -> DayLog:
    """Cycles of about eight minutes, with the given share of clicks wrong."""
    rng, dice = np.random.default_rng(4), random.Random(4)
    rests_s = rng.gamma(4.0, 110.0, int(duration_s / 300) + 2)
    runs_s = 42.0 * (1.0 + rng.exponential(0.15, len(rests_s)) * (rng.random(len(rests_s)) < 0.6))
    starts_s = np.cumsum(rests_s + np.concatenate([[0.0], runs_s[:-1]]))
    starts_s = starts_s[starts_s + 100.0 < duration_s]
    kinds: tuple[Kind, Kind] = ("cut-in", "cut-out")
    true = [(float(t), kinds[0]) for t in starts_s] + [(float(t + r), kinds[1]) for t, r in zip(starts_s, runs_s)]  # noqa: B905
    kept = [c for c in true if dice.random() >= share]
    kept += [(dice.uniform(0, duration_s), dice.choice(kinds)) for _ in true if dice.random() < share]
    clicks = [Click(t, kind, 0.95, 0.002) for t, kind in sorted(kept)]
    return DayLog(pair_cycles(clicks, start_s=0.0, end_s=duration_s), duration_s)


def reckon(name: str, share: float) -> str:
    """Reckon one log; a row of the table."""
    log = log_of(SPANS_S[name], share)
    system = make_system(tanks=(Tank(gal_to_l(20.0)),), pump=PumpRate(gal_to_l(8.0)))
    began_s = time.process_time()
    reading = read_day(log, system=system, others=other_tanks(system))
    took_s = time.process_time() - began_s
    held_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return f"| {name} | {reading.starts.count} | {share:.0%} | {took_s:.1f} s | {held_mb:.0f} MB |"


def main() -> None:
    """Print the table."""
    print("| cycles of | starts | clicks wrong | processor time | most memory |\n|---|---|---|---|---|")
    for share in SHARES:
        for name in SPANS_S:
            with multiprocessing.get_context("spawn").Pool(1) as pool:
                print(pool.apply(reckon, (name, share)), flush=True)


if __name__ == "__main__":
    main()
