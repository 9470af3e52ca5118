"""Benchmark of ``clicktimer day``: ``python -m tests.benchmarks.days`` (``--help`` tells the rest).

Days drawn at random in two worlds (days_worlds.py), as click lists with clicks dropped and added, held against the
simulator's truth. The develop seeds are those that the rules were made on; the report seeds are others.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from clicktimer.day.consumption import read_water
from clicktimer.day.cycle_log import DayLog
from clicktimer.day.estimate import Amount, KnownRate
from clicktimer.day.imputation import possible
from clicktimer.day.leak import find_leak
from clicktimer.day.no_use_run import no_use_run_of_day
from clicktimer.day.start_counts import count_starts, in_hours, worst_hour
from clicktimer.day.what_if import replay
from tests.benchmarks.days_worlds import (
    DAY_S,
    KINDS,
    REPLAYED,
    WORLDS,
    TrueDay,
    World,
    delivered_l,
    heard,
    known_runs_l,
    make_day,
    ordinary_days,
)

ERRORS = (0.0, 0.01, 0.05)
R0_WITHIN: dict[World, float] = {"isothermal": 0.05, "field": 0.07}
DEVELOP_FROM, REPORT_FROM = 1000, 5000
NARROW = 0.05


@dataclass(frozen=True, slots=True)
class Told:
    """What was told of one day at one share of errors, over the truth; None where nothing was told.

    water_half, r0_half: half width of the interval over the value. water_known: by known_runs_l. counted: whether
    starts, the worst hour and the share of the time lie in their intervals, and which part of the hours does. flow,
    limit: of leak. replayed: times the tank; starts and mean run, true and told; whether starts, worst hour, mean
    run lie in their intervals.
    """

    day: TrueDay
    errors: float
    r0: float | None
    covered: bool | None
    r0_half: float | None
    water: float | None
    water_covered: bool | None
    water_half: float | None
    water_known: float | None
    seeping: bool
    flow: float | None
    limit: float | None
    counted: tuple[float, float, float, float]
    replayed: tuple[tuple[float, float, float, float, float, tuple[bool, bool, bool]], ...]


def tell(day: TrueDay, errors: float) -> Told:
    """Read one day."""
    log = DayLog(heard(day, errors, 1), DAY_S)
    leak = find_leak(log)
    no_use = no_use_run_of_day(log, leak=leak)
    paths = () if no_use.seconds is None else possible(log.cycles, no_use.seconds, log.gaps)
    water = read_water(log, no_use, rate=KnownRate(day.rate_l_per_min), paths=paths)
    r0 = None if no_use.seconds is None else no_use.seconds / day.no_use_run_s
    covered, r0_half = None, None
    if no_use.low_s is not None and no_use.high_s is not None:
        covered = no_use.low_s <= day.no_use_run_s <= no_use.high_s
        r0_half = (no_use.high_s - no_use.low_s) / 2 / (no_use.seconds or 1.0)
    ratio, wet, half, known = None, None, None, None
    if water is not None and no_use.seconds is not None:
        # The first or the last start may not have been heard: the truth is of the time that the water is told for.
        true_l = delivered_l(day, water.from_s, water.to_s)
        if true_l:
            told = water.between
            ratio, wet = told.value / true_l, told.low <= true_l <= told.high
            half = (told.high - told.low) / 2 / max(told.value, 1e-9)
            known_l = known_runs_l(day, log.cycles)
            known = None if known_l is None or not day.between_l else known_l / day.between_l
    flow = None
    if leak.reported and leak.duty is not None and day.leak_l_per_min:
        flow = leak.duty * day.rate_l_per_min / day.leak_l_per_min
    limit = None
    if day.leak_l_per_min and leak.limit_duty is not None:
        limit = leak.limit_duty * day.rate_l_per_min / day.leak_l_per_min
    rows = []
    if errors != 0.01:
        others = [(f"{k:g}", k) for k in REPLAYED[day.world]]
        for r in replay(log, no_use, leak, others, paths=paths):
            starts, worst, run_s = day.replayed[r.times]
            inside = (holds(r.starts, starts), holds(r.worst_hour, worst), holds(r.run_s, run_s, count=False))
            rows.append((r.times, starts, r.starts.value, run_s, r.run_s.value, inside))
    counted = count_starts(log, paths)
    ins_s, outs_s = np.array(day.cut_ins_s), np.array(day.cut_outs_s)
    duty = (np.append(outs_s, DAY_S)[: len(ins_s)] - ins_s).sum() / DAY_S
    hours = [holds(a, n) for a, n in zip(counted.by_hour, in_hours(ins_s, DAY_S).tolist(), strict=True)]
    held = (
        holds(counted.starts, len(ins_s)),
        holds(counted.worst_hour, worst_hour(ins_s)[0]),
        holds(counted.duty, float(duty), count=False),
        float(np.mean(hours)),
    )
    return Told(
        day, errors, r0, covered, r0_half, ratio, wet, half, known, leak.reported, flow, limit, held, tuple(rows)
    )


def holds(told: Amount, true: float, *, count: bool = True) -> bool:
    """Whether the truth lies in the interval; a count is told with the interval's ends rounded outwards."""
    low, high = (float(np.floor(told.low)), float(np.ceil(told.high))) if count else (told.low, told.high)
    return low <= true <= high


def share(hits: Sequence[bool]) -> str:
    """A share as text, with how many it rests on."""
    return "-" if not hits else f"{np.mean(hits):.1%} of {len(hits)}"


def within(values: Sequence[float | None], part: float) -> str:
    """Share of the told values within this part of the truth."""
    return share([abs(v - 1) <= part for v in values if v is not None])


def rows_of(told: Sequence[Told], world: World, errors: float) -> list[tuple[str, str, str]]:
    """The table of one world at one share of errors: figure, target, reached."""
    own = [t for t in told if t.day.world == world and t.errors == errors]
    answered = [t for t in own if t.r0 is not None]
    rows = [
        ("r0 answered", "65 %" if world == "isothermal" else "-", share([t.r0 is not None for t in own])),
        (f"r0 within {R0_WITHIN[world]:.0%}", "95 %", within([t.r0 for t in own], R0_WITHIN[world])),
        ("r0 inside its interval", "93-98 %", share([bool(t.covered) for t in answered])),
        (
            "half width of that interval, in the middle of the days",
            "-",
            "-" if not answered else f"{np.median([t.r0_half for t in answered if t.r0_half is not None]):.1%}",
        ),
    ]
    part = 0.03 if errors == 0.05 else 0.02
    wet = [t for t in own if t.water is not None]
    rows.append((f"water within {part:.0%}, first to last start", "90 %", within([t.water for t in own], part)))
    narrow = [t.water for t in wet if t.water_half is not None and t.water_half <= NARROW]
    rows.append((f"the same, where its interval is within {NARROW:.0%}", "-", within(narrow, part)))
    rows.append(("the same, were it known which clicks are true", "-", within([t.water_known for t in wet], part)))
    rows.append(("water inside its interval", "93-98 %", share([bool(t.water_covered) for t in wet])))
    dry = [t for t in own if not t.day.leak_l_per_min]
    rows.append(("seeping told where there is none", "1 % at most", share([t.seeping for t in dry])))
    rows.append(("seeping flow within 10 %", "95 %", within([t.flow for t in own], 0.1)))
    rows.append(("no more seeped than the limit told", "-", share([t.limit >= 1 for t in own if t.limit is not None])))
    for kind, target in (("0.05", "-"), ("0.1", "-"), ("0.2", "80 %"), ("0.5", "99 %"), ("0.8", "-")):
        leaks = [t.seeping for t in own if t.day.kind == f"seeping {kind}"]
        rows.append((f"seeping told at {kind} gpm", target, share(leaks)))
    for place, name in enumerate(("starts", "worst hour", "share of the time", "starts of each hour")):
        for known, which in ((True, "r0 told"), (False, "r0 not told")):
            held = [t.counted[place] for t in own if (t.r0 is not None) == known]
            rows.append((f"{name} inside the interval, {which}", "-", f"{np.mean(held):.1%} of {len(held)}"))
    starts_part = 0.10 if world == "isothermal" else 0.15
    for times in REPLAYED[world]:
        them = [r for t in own for r in t.replayed if r[0] == times]
        if them:
            near = [abs(r[2] - r[1]) <= max(starts_part * r[1], 2.0) for r in them]
            rows.append((f"replayed starts, {times:g} times the tank", f"{starts_part:.0%} or 2, 90 %", share(near)))
            run = [r[3] > 0 and abs(r[4] / r[3] - 1) <= 0.1 for r in them if r[3] > 0]
            rows.append((f"replayed mean run within 10 %, {times:g} times", "95 %", share(run)))
            inside = [share([r[5][k] for r in them if k < 2 or r[3] > 0]) for k in range(3)]
            rows.append((f"starts, worst hour, mean run inside, {times:g} times", "-", ", ".join(inside)))
    return rows


def joined_rows(count: int, households: int, first: int) -> list[str]:
    """r0 of ordinary households whose days are joined: a table's rows, one a world."""
    rows = []
    for world in WORLDS:
        told = []
        for seed in range(first, first + households):
            cycles, true_s, duration_s = ordinary_days(world, count, seed)
            no_use = no_use_run_of_day(DayLog(cycles, duration_s))
            told.append(None if no_use.seconds is None else no_use.seconds / true_s)
        answered = share([t is not None for t in told])
        rows.append(f"| {world}, {count} days joined | {answered} | {within(told, 0.05)} | {within(told, 0.07)} |")
    return rows


def main(arguments: Sequence[str] | None = None) -> None:
    """Simulate, read, and print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.days")
    parser.add_argument("--days", type=int, default=280, help="days a world, over all kinds")
    parser.add_argument("--develop", action="store_true", help="the seeds that the rules were made on")
    parser.add_argument("--first", type=int, help="the first seed, for seeds that nobody has looked at yet")
    parser.add_argument("--joined", type=int, help="only r0 of ordinary households, so many days joined")
    parser.add_argument("--out", help="write the tables to this file as well")
    given = parser.parse_args(arguments)
    first = given.first or (DEVELOP_FROM if given.develop else REPORT_FROM)
    if given.joined:
        print("\n".join(joined_rows(given.joined, 20, first)))
        return
    began = time.perf_counter()
    told: list[Told] = []
    for world in WORLDS:
        for number in range(given.days):
            day = make_day(world, KINDS[number % len(KINDS)], first + number // len(KINDS))
            told += [tell(day, errors) for errors in ERRORS]
    lines = []
    for world in WORLDS:
        for errors in ERRORS:
            lines += ["", f"### {world}, {errors:.0%} of clicks dropped and as many added", ""]
            lines += ["| figure | target | reached |", "|---|---|---|"]
            lines += [f"| {a} | {b} | {c} |" for a, b, c in rows_of(told, world, errors)]
        answered = {
            k: [t.r0 is not None for t in told if t.day.kind == k and t.day.world == world and not t.errors]
            for k in KINDS
        }
        lines += [
            "",
            f"r0 answered by kind, {world}, no errors: "
            + "; ".join(f"{k} {np.mean(v):.0%}" for k, v in answered.items() if v)
            + ".",
        ]
    text = "\n".join(lines).strip() + "\n"
    print(text)
    print(f"{given.days} days a world in {time.perf_counter() - began:.0f} s")
    if given.out:
        Path(given.out).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
