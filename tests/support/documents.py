"""For tests only: results to make documents of, the five kinds that a reader meets, and clicks to be heard in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.values_used import values_used
from clicktimer.assessment.verdict import judge
from clicktimer.audio.cutting import Cut
from clicktimer.cycles.pairing import pair_cycles
from clicktimer.cycles.run_time import no_use_run
from clicktimer.pipeline import Outcome
from clicktimer.records import (
    Click,
    SourceInfo,
    Verdict,
)
from clicktimer.reporting.document.compose import Presented, compose
from clicktimer.reporting.document.evidence import AFTER_S, BEFORE_S, Evidence, FileFact, click_times_s, runs_to_show
from clicktimer.reporting.document.model import Document
from clicktimer.reporting.document.remeasure import Asked, Result, conclude_asked, measure_asked
from clicktimer.simulator.household import simulate, us_system
from clicktimer.simulator.system import Use
from clicktimer.simulator.uses import household_uses
from clicktimer.tank.sizing import size_tank
from clicktimer.units.conversions import gal_to_l
from tests.support.recordings import path_of

DAY_S = 86_400.0
RATE_HZ = 48_000
WHO = Presented(who="A. Inspector", client="the owner of the cottage", where="the cottage by the mill")
GIVEN = {"tank": ("20 gal",), "pump_rate": "8 gpm", "switch": "40/60"}


def asked(**changes: Any) -> Asked:
    values: dict[str, Any] = {"taps": "shut", "given": GIVEN, "origins": dict.fromkeys(GIVEN, "option")}
    return Asked(**{**values, **changes})


@cache
def of_fixture(name: str, taps: Any = "shut") -> tuple[Result, Asked, str]:
    """A stored recording as measured, with its path."""
    what = asked(taps=taps)
    return measure_asked(what, [str(path_of(name))]), what, str(path_of(name))


def of_runs(runs_s: Sequence[float], **changes: Any) -> tuple[Result, Asked]:
    """Runs of these lengths, seconds, with every tap shut, each click without error."""
    what = asked(**changes)
    clicks, at = [], 20.0
    for run_s in runs_s:
        clicks += [Click(at, "cut-in", 0.99), Click(at + run_s, "cut-out", 0.99)]
        at += run_s + 80.0
    cycles = pair_cycles(clicks, start_s=0.0, end_s=at)
    run = no_use_run(cycles, taps=what.taps, clicks=clicks)
    options = what.options
    m = Measurement(
        SourceInfo("tank.wav", at, RATE_HZ, 1, "ab" * 32, "2031-05-04T06:30:00", "given"),
        tuple(clicks),
        cycles,
        (),
        None,
        run,
        judge(run, marks_s=options.marks_s),
        settings=values_used(options),
    )
    system = what.system
    return Result(replace(m, tank=size_tank(system.system, run, system.units, cycles))), what


def of_a_day(*, leak_gpm: float = 0.3, gallons: float = 14.0, most_runs: int = 1000) -> tuple[Result, Asked]:
    """A day of a household whose tank is small and where something seeps, read as a day."""
    house = us_system(gallons, pump_gpm=9.0)
    uses = [*household_uses("lean", DAY_S, 5), Use(0.0, DAY_S, gal_to_l(leak_gpm), "leak")]
    line = simulate(house, uses, duration_s=DAY_S)
    clicks = [Click(t, "cut-in", 0.99) for t in line.cut_ins_s] + [Click(t, "cut-out", 0.99) for t in line.cut_outs_s]
    clicks = sorted(clicks, key=lambda c: c.time_s)[: 2 * most_runs]
    given = {"tank": (f"{gallons:g} gal",), "pump_rate": "9 gpm"}
    what = asked(kind="day", taps=None, given=given, started="2031-05-04 00:00", zone="America/Halifax")
    source = SourceInfo("cellar.flac", DAY_S, RATE_HZ, 1, "cd" * 32, "2031-05-04T00:00:00", "given")
    cycles = pair_cycles(clicks, start_s=0.0, end_s=DAY_S)
    settings = values_used(what.options)
    m = Measurement(source, tuple(clicks), cycles, (), None, None, Verdict(None, False, ""), settings=settings)
    return conclude_asked(what, Outcome(m, what.options), []), what


def of_nothing() -> tuple[Result, Asked, str]:
    return of_fixture("no-click")


def clicks_made(times_s: Sequence[float]) -> dict[float, Cut]:
    """In place of what is cut out of a recording: a made click in a quiet room at each moment."""
    rng = np.random.default_rng(1)
    count = round((BEFORE_S + AFTER_S) * RATE_HZ)
    after = np.arange(count) / RATE_HZ - BEFORE_S
    ring = np.where(after >= 0, np.exp(-np.clip(after, 0, None) / 0.004) * np.sin(2 * np.pi * 3000 * after), 0.0)
    cuts = {}
    for time_s in times_s:
        samples = 0.3 * ring + 0.001 * rng.standard_normal(count)
        cuts[time_s] = Cut(samples.astype(np.float32), RATE_HZ, time_s - BEFORE_S)
    return cuts


def made(result: Result, what: Asked, presented: Presented = WHO, *, heard: bool = True) -> Document:
    """The document of a result that no recording lies behind, with made sounds, or none."""
    m = result.measured
    times_s = click_times_s(m, runs_to_show(m)) if heard else []
    evidence = Evidence((FileFact(m.source.name, "ab" * 32, 1000),), clicks_made(times_s))
    return compose(result, what, presented, evidence, program="0")
