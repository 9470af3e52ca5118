"""Draws docs/day.svg, a day of an invented household, and writes what was found in it into docs/day.md."""

from __future__ import annotations

import re
from pathlib import Path

from clicktimer.cycles.pairing import pair_cycles
from clicktimer.day.analysis import DayReading, other_tanks, read_day
from clicktimer.day.cycle_log import DayLog
from clicktimer.day.wall_time import started_seconds
from clicktimer.records import Click
from clicktimer.reporting.figures import day_sheet
from clicktimer.simulator.household import no_use_run, run_household, us_system
from clicktimer.simulator.system import Use
from clicktimer.simulator.uses import household_uses
from clicktimer.tank.system import PumpRate, Tank, make_system
from clicktimer.units.conversions import gal_to_l, l_to_gal

PAGE = Path(__file__).parents[1] / "day.md"
DAY_S = 86_400.0
TANK_GAL, PUMP_GPM, LEAK_GPM, SEED = 20.0, 8.0, 0.2, 5
MARKS = re.compile(r"(<!-- example -->\n).*?(<!-- end of example -->)", re.DOTALL)


def example() -> tuple[DayReading, float, float]:
    """The reading of the day, the true run with no water in use in s, and the true water in litres."""
    house = us_system(TANK_GAL, pump_gpm=PUMP_GPM)
    uses = [*household_uses("ordinary", DAY_S, SEED), Use(0.0, DAY_S, gal_to_l(LEAK_GPM), "toilet")]
    line, _ = run_household(house, uses, duration_s=DAY_S, seed=SEED)
    clicks = [Click(t, "cut-in", 0.99) for t in line.cut_ins_s] + [Click(t, "cut-out", 0.99) for t in line.cut_outs_s]
    cycles = pair_cycles(sorted(clicks, key=lambda c: c.time_s), start_s=0.0, end_s=DAY_S)
    log = DayLog(cycles, DAY_S, (), started_seconds("2031-05-04 00:00", None))
    system = make_system(tanks=(Tank(gal_to_l(TANK_GAL)),), pump=PumpRate(gal_to_l(PUMP_GPM)))
    return read_day(log, system=system, others=other_tanks(system)), no_use_run(house), line.water_l


def sentence() -> str:
    """What was told of that day beside what is true."""
    day, true_s, true_l = example()
    if day.run is None or day.water is None or day.leak_l_per_min is None:
        raise ValueError("choose another seed: this day does not tell everything")
    water, seeping = day.water.total, day.leak_l_per_min
    return (
        f"An invented household, simulated: a {TANK_GAL:g} gal tank, a pump of {PUMP_GPM:g} gpm, a toilet that runs at "
        f"{LEAK_GPM:g} gpm.\nTrue run with no water {true_s:.1f} s, told {day.run.seconds:.1f} s ({day.run.low_s:.1f} "
        f"to {day.run.high_s:.1f} s); true water {l_to_gal(true_l):.0f} gal, told\n{l_to_gal(water.value):.0f} gal "
        f"({l_to_gal(water.low):.0f} to {l_to_gal(water.high):.0f}); seeping told {l_to_gal(seeping.value):.2f} gpm "
        f"({l_to_gal(seeping.low):.2f} to {l_to_gal(seeping.high):.2f})."
    )


def made() -> dict[str, str]:
    day, _, _ = example()
    words = MARKS.sub(lambda m: f"{m[1]}{sentence()}\n{m[2]}", PAGE.read_text("utf-8"))
    return {"docs/day.svg": day_sheet(day, "monday.flac").svg(), "docs/day.md": words}
