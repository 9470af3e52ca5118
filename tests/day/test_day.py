"""The reading of a day, held against the simulator's physics and against published theory."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest

from clicktimer.assessment.verdict import judge
from clicktimer.audio import parse_started
from clicktimer.cycles.pairing import pair_cycles
from clicktimer.day.analysis import other_tanks, read_day
from clicktimer.day.comparison import compare
from clicktimer.day.constant_flow import brief_uses, steady_uses
from clicktimer.day.consumption import read_water
from clicktimer.day.cycle_log import DayLog, whole_runs
from clicktimer.day.estimate import KnownRate
from clicktimer.day.imputation import Repaired, possible
from clicktimer.day.leak import find_leak
from clicktimer.day.no_use_run import no_use_run_of_day
from clicktimer.day.starts import read_starts, starts_a_day, starts_per_h, worst_hour
from clicktimer.day.wall_time import parse_span, parse_zone, spans_s, started_seconds, twice_reasons, wall
from clicktimer.day.what_if import replay
from clicktimer.errors import InputError, SettingsError
from clicktimer.records import Click, Cycle, Gap, RunTime
from clicktimer.reporting.figures import day_pictures
from clicktimer.reporting.json.tank import tank_json
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.comparison import render_comparison, side_texts
from clicktimer.reporting.text.day_sections import render_day
from clicktimer.simulator.household import no_use_run, run_household, simulate, us_system
from clicktimer.simulator.system import System, Use
from clicktimer.simulator.uses import household_uses
from clicktimer.tank.sizing import size_tank
from clicktimer.tank.system import PumpRate, Tank, make_system
from clicktimer.units.conversions import gal_to_l

DAY_S = 86_400.0


def cycles_of(ins_s: tuple[float, ...], outs_s: tuple[float, ...], end_s: float = DAY_S) -> tuple[Cycle, ...]:
    clicks = [Click(t, "cut-in", 0.99) for t in ins_s] + [Click(t, "cut-out", 0.99) for t in outs_s]
    return pair_cycles(sorted(clicks, key=lambda c: c.time_s), start_s=0.0, end_s=end_s)


def log_of(system: System, uses: list[Use], seed: int = 1, duration_s: float = DAY_S, **more: object) -> DayLog:
    line = simulate(system, uses, duration_s=duration_s, seed=seed)
    return DayLog(cycles_of(line.cut_ins_s, line.cut_outs_s, duration_s), duration_s, **more)  # type: ignore[arg-type]


def evenly(run_s: float, rest_s: float, count: int) -> DayLog:
    cycle_s = run_s + rest_s
    ins = tuple(100.0 + i * cycle_s for i in range(count))
    end_s = 100.0 + count * cycle_s
    return DayLog(cycles_of(ins, tuple(t + run_s for t in ins), end_s), end_s)


BUSY = us_system(14.0, pump_gpm=9.0)


# --- theory ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("flow", [2.0, 5.0, 8.0])
def test_the_cycle_law_is_that_of_the_handbook(flow: float):
    # MIL-HDBK-1005/9A 2.5.3.6: t = (V/D) [1/(1 - Q/D) + 1/(Q/D)], there D the pump's rate and V the volume drawn down.
    volume, rate = 10.0, 10.0
    cycle_min = (volume / rate) * (1 / (1 - flow / rate) + 1 / (flow / rate))
    assert starts_per_h(flow / rate, 60.0 * volume / rate) == pytest.approx(60.0 / cycle_min)
    assert starts_per_h(flow / rate, 60.0) == pytest.approx(starts_per_h(1 - flow / rate, 60.0))


def test_most_starts_are_at_half_the_rate():
    # The handbook's t = 4 V/D at Q = D/2.
    assert starts_per_h(0.5, 60.0) == pytest.approx(3600 / (4 * 60.0))
    assert all(starts_per_h(d, 60.0) < starts_per_h(0.5, 60.0) for d in (0.1, 0.3, 0.49, 0.51, 0.9))


# --- the run with no water in use ------------------------------------------------------------------------------------
@pytest.mark.parametrize("seed", [3, 4, 5, 6])
def test_ordinary_use_tells_the_run_of_a_small_tank(seed: int):
    log = log_of(BUSY, list(household_uses("ordinary", DAY_S, seed)), seed)
    told = no_use_run_of_day(log)
    assert told.seconds == pytest.approx(no_use_run(BUSY), rel=0.05)
    assert told.low_s is not None
    assert told.high_s is not None
    assert told.low_s <= no_use_run(BUSY) <= told.high_s
    # What no click tells is in it: wider above, since a draw cools the air (docs/accuracy-day.md).
    assert told.high_s >= 1.06 * told.seconds  # type: ignore[operator]
    assert told.low_s <= 0.99 * told.seconds  # type: ignore[operator]


def test_the_middle_of_the_runs_would_be_wrong():
    log = log_of(BUSY, list(household_uses("ordinary", DAY_S, 3)), 3)
    assert float(np.median(whole_runs(log.cycles).runs_s)) > 1.1 * no_use_run(BUSY)


def test_a_steady_use_gives_the_run_exactly():
    log = log_of(BUSY, [Use(0.0, 3 * 3600.0, 15.0, "one zone")], duration_s=3 * 3600.0)
    uses = steady_uses(whole_runs(log.cycles))
    assert len(uses) == 1
    assert uses[0].no_use_run_s == pytest.approx(no_use_run(BUSY), rel=1e-4)
    assert uses[0].duty == pytest.approx(15.0 / BUSY.pump_l_per_min, rel=1e-4)
    assert no_use_run_of_day(log).seconds == pytest.approx(no_use_run(BUSY), rel=0.005)


def test_too_few_runs_are_not_told():
    log = log_of(us_system(44.0), list(household_uses("lean", DAY_S, 2)), 2)
    told = no_use_run_of_day(log)
    assert told.seconds is None
    assert told.withheld is not None
    assert told.withheld.code == "day.run-withheld.too-few-runs"
    assert told.as_run_time() is None


def test_no_runs_at_all_are_not_told():
    told = read_day(DayLog((), DAY_S))
    assert told.run is None
    assert told.water is None
    assert told.starts.count == 0


def test_runs_spread_evenly_have_no_edge_to_tell():
    rng = np.random.default_rng(5)
    ins = np.cumsum(rng.uniform(1500, 3000, 9))
    runs = np.geomspace(20, 1500, 9)
    log = DayLog(cycles_of(tuple(ins), tuple(ins + runs)), DAY_S)
    assert no_use_run_of_day(log).seconds is None


def test_hours_with_nobody_are_used_and_need_a_start():
    uses = [Use(3600.0 + 900 * i, 60.0, 12.0) for i in range(3)]  # somebody, before the night
    leak = [*uses, Use(0.0, DAY_S, 2.0, "leak")]
    log = log_of(BUSY, leak, started_s=0.0)
    told = read_day(log, nobody=["04:00-20:00"])
    assert told.no_use.how == "nobody home"
    assert told.run is not None
    assert told.run.seconds == pytest.approx(no_use_run(BUSY), rel=0.01)
    with pytest.raises(SettingsError, match="--started"):
        read_day(DayLog(log.cycles, DAY_S), nobody=["04:00-20:00"])
    gap = (Gap(500.0, None, "next part"),)
    with pytest.raises(SettingsError, match="each recording by itself"):
        read_day(DayLog(log.cycles, DAY_S, gap, 0.0), nobody=["04:00-20:00"])


# --- seeping ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("gpm", [0.2, 0.5, 0.8])
def test_a_constant_leak_is_told_with_its_flow(gpm: float):
    system = us_system(33.0)
    leak = Use(0.0, DAY_S, gal_to_l(gpm), "leak")
    log = log_of(system, [*household_uses("lean", DAY_S, 11), leak])
    seen = find_leak(log)
    assert seen.reported
    assert seen.duty is not None
    assert seen.duty * system.pump_l_per_min == pytest.approx(gal_to_l(gpm), rel=0.05)
    assert seen.limit_duty is not None
    assert seen.limit_duty >= (seen.high or 0.0) >= seen.duty


def on_and_off(flow_l_per_min: float, every_s: float, lasts_s: float, from_s: float, to_s: float) -> list[Use]:
    return [Use(t, lasts_s, flow_l_per_min) for t in np.arange(from_s, to_s, every_s)]


def humidifier() -> list[Use]:
    rng = np.random.default_rng(8)
    return [Use(1800.0 * i, float(rng.uniform(60, 1500)), 1.5) for i in range(48)]


NOT_SEEPING = {
    "softener": lambda: list(household_uses("softener", DAY_S, 21)),
    "drip line": lambda: [*household_uses("lean", DAY_S, 22), Use(6 * 3600.0, 4 * 3600.0, 2.5)],
    "irrigation": lambda: list(household_uses("irrigation", DAY_S, 23)),
    "ice maker": lambda: [*household_uses("lean", DAY_S, 24), *on_and_off(2.0, 1500.0, 5.0, 0, DAY_S)],
    "humidifier": lambda: [*household_uses("lean", DAY_S, 25), *humidifier()],
}


@pytest.mark.parametrize("name", NOT_SEEPING)
def test_what_comes_and_goes_is_not_called_seeping(name: str):
    log = log_of(us_system(20.0), NOT_SEEPING[name]())
    seen = find_leak(log)
    assert not seen.reported, seen
    assert seen.limit_duty is not None


def test_timed_restarts_of_a_protector_are_not_called_seeping():
    rng = np.random.default_rng(2)
    ins, outs, at = [], [], 600.0
    for _ in range(24):
        run_s = float(rng.uniform(8, 60))
        ins.append(at)
        outs.append(at + run_s)
        at += run_s + 1800.0  # the protector's half hour
    seen = find_leak(DayLog(cycles_of(tuple(ins), tuple(outs)), DAY_S))
    assert seen.pattern == "timed restarts"
    assert not seen.reported


def test_the_limit_is_what_the_longest_rest_allows():
    ins = (1000.0, 1000.0 + 36_060.0)
    log = DayLog(cycles_of(ins, tuple(t + 60.0 for t in ins), 40_000.0), 40_000.0)
    seen = find_leak(log)
    # D/rest = Q r0/rest: with r0 60 s and a rest of ten hours a six-hundredth of the pump's rate.
    # D over the longest rest, and 18 % more for what settled air gives beyond a quick refill (simulated)
    assert seen.limit_duty == pytest.approx(1.18 * 60.0 / 36_060.0, rel=1e-6)


# --- starts ----------------------------------------------------------------------------------------------------------
def test_the_worst_hour_is_that_of_counting_one_by_one():
    rng = np.random.default_rng(3)
    for count in (1, 2, 50):
        starts = np.sort(rng.uniform(0, 20_000, count))
        slow = max(int(np.sum((starts >= t) & (starts < t + 3600))) for t in starts)
        assert worst_hour(starts)[0] == slow
    assert worst_hour(np.array([])) == (0, None)


def test_starts_of_part_of_a_day_have_a_wide_range_and_of_a_day_none():
    assert starts_a_day(40, DAY_S).high == 40
    part = starts_a_day(10, DAY_S / 4)
    assert part.low == 10
    assert part.high > 60
    week = starts_a_day(280, 7 * DAY_S)
    assert week.low < 40 < week.high
    assert week.high < 46


def test_a_flow_near_half_the_rate_is_named_with_flow_as_the_remedy():
    big = us_system(62.0, pump_gpm=10.0)
    zone = Use(0.0, 6 * 3600.0, big.pump_l_per_min / 2, "zone")
    log = log_of(big, [zone], duration_s=8 * 3600.0)
    starts = read_starts(log, no_use_run_of_day(log), rate=KnownRate(big.pump_l_per_min))
    assert len(starts.flows) == 1
    flow = starts.flows[0]
    assert flow.remedy == "flow"
    assert flow.flow is not None
    assert flow.flow.value == pytest.approx(big.pump_l_per_min / 2, rel=0.001)
    assert flow.flow.low < big.pump_l_per_min / 2 < flow.flow.high
    assert flow.per_h.value == pytest.approx(900 / no_use_run(big), rel=0.001)
    assert flow.share.value > 0.9


def test_one_pair_of_marks_judges_the_run_the_remedy_the_cautions_and_the_pictures():
    """A run of 70 s is short by marks of 90 and 180 s, so no line may call the tank not short."""
    marks_s = (90.0, 180.0)
    log = evenly(140.0, 140.0, 30)
    usual, moved = read_day(log), read_day(log, marks_s=marks_s)
    assert usual.run is not None
    assert usual.run.seconds == pytest.approx(70.0, rel=0.01)  # run x rest / (run + rest)
    assert (usual.verdict.band, moved.verdict.band) == ("a-minute-or-more", "short-of-30")
    assert [f.remedy for f in (*usual.starts.flows, *moved.starts.flows)] == ["flow", "either"]
    before, after = (" ".join(render_day(day, "a.flac").split()) for day in (usual, moved))
    assert ("The tank is not short" in before, "The tank is not short" in after) == (True, False)
    assert ("Before any work on tank" in before, "Before any work on tank" in after) == (False, True)
    assert "from 90 to 180 s" in day_pictures(moved)[2].alt


def test_a_leak_is_no_steady_use_near_half_of_the_pumps_rate():
    # 0.5 of 8 gpm runs all day: it makes all starts, and is 6 % of the rate.
    leaking = read_day(log_of(us_system(14.0, pump_gpm=8.0), [Use(0.0, DAY_S, gal_to_l(0.5))]))
    assert leaking.log_facts["seeping"] == "yes"
    assert leaking.log_facts["steady-use"] == "none"
    # A small flow of some hours is a use, but not near half of the pump's rate.
    small = read_day(log_of(BUSY, [Use(3_600.0, 6 * 3_600.0, gal_to_l(1.2))]))
    assert small.log_facts["steady-use"] == "some"
    # Half of the rate for hours is what the cause is about.
    half = read_day(log_of(BUSY, [Use(3_600.0, 3 * 3_600.0, gal_to_l(4.5))]))
    assert half.log_facts["steady-use"] == "most"


def test_chatter_and_a_run_that_does_not_end_are_counted():
    ins = tuple(1000.0 * i for i in range(1, 13))
    outs = tuple(t + 60.0 for t in ins)
    log = DayLog(cycles_of((*ins, 13_000.0, 14_000.0), (*outs, 13_001.0), 40_000.0), 40_000.0)
    starts = read_starts(log, no_use_run_of_day(log))
    assert starts.chatter == 1
    assert starts.endless == 1


# --- water -----------------------------------------------------------------------------------------------------------
def test_water_is_that_of_the_simulators_account():
    uses = list(household_uses("ordinary", DAY_S, 9))
    line, _ = run_household(BUSY, uses, duration_s=DAY_S)
    log = DayLog(cycles_of(line.cut_ins_s, line.cut_outs_s), DAY_S)
    water = read_water(log, no_use_run_of_day(log), rate=KnownRate(BUSY.pump_l_per_min))
    assert water is not None
    first, last = (simulate(BUSY, uses, duration_s=t).water_l for t in (line.cut_ins_s[0], line.cut_ins_s[-1]))
    assert water.between.value == pytest.approx(last - first, rel=0.005)
    assert water.total.low <= line.water_l <= water.total.high
    assert sum(water.by_hour) == pytest.approx(water.total.value, rel=0.01)
    dry = read_water(log, no_use_run_of_day(log))
    assert dry is not None
    assert dry.unit == "tankfuls"
    assert dry.between.value * BUSY.drawdown_l == pytest.approx(last - first, rel=0.06)


def middle_path(cycles: tuple[Cycle, ...], no_use_run_s: float, gaps: tuple[Gap, ...] = ()) -> Repaired:
    """The path of those that may be true whose pump ran neither long nor short."""
    paths = sorted(possible(cycles, no_use_run_s, gaps), key=lambda path: path.ran_s)
    return paths[len(paths) // 2]


def test_missed_and_false_clicks_are_found_by_the_likeliest_story():
    log = evenly(60.0, 900.0, 30)
    clicks = [Click(t, "cut-in", 0.9) for t in (c.cut_in_s for c in log.cycles) if t is not None]
    clicks += [Click(t, "cut-out", 0.9) for t in (c.cut_out_s for c in log.cycles) if t is not None]
    clicks.sort(key=lambda c: c.time_s)
    del clicks[21]  # a cut-out
    clicks.append(Click(clicks[40].time_s + 20.0, "cut-out", 0.9))  # false, 20 s into a run
    cycles = pair_cycles(sorted(clicks, key=lambda c: c.time_s), start_s=0.0, end_s=log.duration_s)
    path = middle_path(cycles, 60.0)
    assert (path.false, path.missed) == (1, 1)
    assert sum(c.run_s or 0.0 for c in path.cycles) == pytest.approx(30 * 60.0, rel=0.001)
    assert middle_path(log.cycles, 60.0).cycles == log.cycles


def test_a_click_alone_may_be_false_or_true_and_the_interval_holds_both():
    rests_s = np.random.default_rng(6).exponential(2000.0, 30) + 60.0
    ins = 100.0 + np.cumsum(rests_s + 60.0)
    lone = [Click(float(t), "cut-in", 0.9) for t in ins]
    lone += [Click(float(t) + 60.0, "cut-out", 0.9) for i, t in enumerate(ins) if i != 14]
    end_s = float(ins[-1]) + 500.0
    log = DayLog(pair_cycles(sorted(lone, key=lambda c: c.time_s), start_s=0.0, end_s=end_s), end_s)
    water = read_water(log, no_use_run_of_day(log), rate=KnownRate(60.0))
    assert water is not None
    assert water.doubtful == 1
    # 28 runs of 60 L if the click was false, 29 if its stop was missed
    assert water.between.low <= 28 * 60.0
    assert water.between.high >= 29 * 60.0
    # and told is what is near whichever is true
    assert water.between.value == pytest.approx(28 * 60.0, rel=0.025)
    assert water.between.value == pytest.approx(29 * 60.0, rel=0.025)


def test_a_run_that_a_gap_cuts_is_no_missed_click_and_no_rest_goes_over_the_gap():
    log = evenly(60.0, 900.0, 20)
    clicks = [Click(t, "cut-in", 0.9) for c in log.cycles if (t := c.cut_in_s) is not None]
    clicks += [Click(t, "cut-out", 0.9) for c in log.cycles if (t := c.cut_out_s) is not None]
    clicks.sort(key=lambda c: c.time_s)
    cut_s = clicks[20].time_s + 20.0  # inside the eleventh run: its start before the gap, its stop not heard
    gap = Gap(cut_s, cut_s + 100.0, "nothing was heard")
    kept = [c for c in clicks if not gap.from_s <= c.time_s <= cut_s + 100.0]
    cycles = pair_cycles(kept, (gap,), start_s=0.0, end_s=log.duration_s)
    path = middle_path(cycles, 60.0, (gap,))
    assert (path.false, path.missed) == (0, 0)
    assert len(path.starts_s) == 19
    water = read_water(DayLog(cycles, log.duration_s, (gap,)), no_use_run_of_day(log), rate=KnownRate(60.0))
    assert water is not None
    assert water.doubtful == 0
    assert water.between.value == pytest.approx(18 * 60.0, rel=0.01)
    assert water.between.low < 18 * 60.0 < 19 * 60.0 < water.between.high


def test_two_long_stretches_do_not_vouch_for_each_other_as_runs():
    # A cut-out missed, the rest that follows, and the next cut-in missed look like one run of a quarter of an hour.
    log = evenly(60.0, 900.0, 40)
    clicks = [Click(t, "cut-in", 0.9) for c in log.cycles if (t := c.cut_in_s) is not None]
    clicks += [Click(t, "cut-out", 0.9) for c in log.cycles if (t := c.cut_out_s) is not None]
    clicks.sort(key=lambda c: c.time_s)
    for first in (51, 21):
        del clicks[first : first + 2]
    cycles = pair_cycles(clicks, start_s=0.0, end_s=log.duration_s)
    assert max(c.run_s or 0.0 for c in cycles) == pytest.approx(1020.0)
    path = middle_path(cycles, 60.0)
    assert sum(c.run_s or 0.0 for c in path.cycles) == pytest.approx(40 * 60.0, rel=0.001)


# --- another tank ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("times", [0.5, 1.0, 2.0])
def test_the_day_through_another_tank_is_that_of_the_simulator(times: float):
    uses = list(household_uses("ordinary", DAY_S, 31))
    log = log_of(BUSY, uses)
    true = simulate(us_system(14.0 * times, pump_gpm=9.0), uses, duration_s=DAY_S)
    (told,) = replay(log, no_use_run_of_day(log), find_leak(log), [("other", times)])
    count = len(true.cut_ins_s)
    assert abs(told.starts.value - count) <= max(2.0, 0.1 * count)
    assert told.starts.low <= count <= told.starts.high


def test_smearing_the_use_evenly_would_be_wrong():
    uses = list(household_uses("ordinary", DAY_S, 31))
    log = log_of(BUSY, uses)
    flow = sum(u.flow_l_per_min * u.duration_s for u in uses) / DAY_S
    smeared = simulate(us_system(28.0, pump_gpm=9.0), [Use(0.0, DAY_S, flow)], duration_s=DAY_S)
    true = simulate(us_system(28.0, pump_gpm=9.0), uses, duration_s=DAY_S)
    (told,) = replay(log, no_use_run_of_day(log), find_leak(log), [("other", 2.0)])
    assert abs(told.starts.value - len(true.cut_ins_s)) < abs(len(smeared.cut_ins_s) - len(true.cut_ins_s))


def test_brief_uses_that_confirm_each_other_tell_the_run_and_one_alone_does_not():
    """A day of a household in which a tap ran three times for three starts; the simulator knows r0."""
    house = us_system(20.0, pump_gpm=8.0)
    log = log_of(house, household_uses("ordinary", DAY_S, 5), seed=5)
    brief = brief_uses(whole_runs(log.cycles))
    assert [u.count for u in brief] == [2, 2, 2]
    told = no_use_run_of_day(log)
    true_s = no_use_run(house)
    assert told.seconds == pytest.approx(true_s, rel=0.01)
    assert told.low_s is not None
    assert told.high_s is not None
    assert told.low_s <= true_s <= told.high_s
    # Before the second of them there is nothing that confirms the first.
    early = tuple(c for c in log.cycles if (c.cut_in_s or 0.0) < brief[1].from_s)
    assert brief_uses(whole_runs(early)) == ()
    # Two pairs, each alike in itself, that tell different r0 (36 and 45 s) confirm nothing.
    ins = [100.0, 280.0, 460.0, 9000.0, 9180.0, 9360.0, 20000.0]
    runs_s = [50.0, 50.0, 50.0, 90.0, 90.0, 90.0, 60.0]
    two = DayLog(cycles_of(tuple(ins), tuple(t + r for t, r in zip(ins, runs_s, strict=True))), DAY_S)
    assert brief_uses(whole_runs(two.cycles)) == ()


def test_stock_sizes_are_told_beside_todays():
    system = make_system(tanks=(Tank(gal_to_l(20.0)),), pump=PumpRate(34.0))
    others = dict(other_tanks(system))
    assert others["this tank"] == 1.0
    assert others["62 gal"] == pytest.approx(3.1)
    assert other_tanks(make_system()) == ()
    assert "20 gal" not in others  # the tank there, told once
    metric = dict(other_tanks(make_system(tanks=(Tank(125.0),), pump=PumpRate(30.0))))  # 33 gal is 124.9 L
    assert "33 gal" not in metric
    assert "20 gal" in metric
    plain = dict(other_tanks(make_system(tanks=(Tank(gal_to_l(20.0), kind="plain"),), pump=PumpRate(34.0))))
    assert plain["20 gal"] > 1.5  # of the same size, and another tank


# --- change ----------------------------------------------------------------------------------------------------------
def test_air_that_is_lost_from_day_to_day_is_told_and_a_steady_tank_is_not():
    def days(loss_a_day: float) -> DayLog:
        ins: list[float] = []
        outs: list[float] = []
        for day in range(8):
            charge_psig = (38.0 + 14.696) * (1 - loss_a_day * day) - 14.696
            system = us_system(14.0, pump_gpm=9.0, precharge_psig=charge_psig)
            line = simulate(system, household_uses("irrigation", DAY_S, 40 + day), duration_s=DAY_S)
            whole = min(len(line.cut_ins_s), len(line.cut_outs_s))
            ins += [day * DAY_S + t for t in line.cut_ins_s[:whole]]
            outs += [day * DAY_S + t for t in line.cut_outs_s[:whole]]
        return DayLog(cycles_of(tuple(ins), tuple(outs), 8 * DAY_S), 8 * DAY_S)

    losing, steady = read_day(days(0.02)), read_day(days(0.0))
    told = [c for c in losing.changes if c.what == "over days"]
    assert told[0].reported
    assert told[0].share is not None
    assert told[0].share < -0.05
    assert losing.log_facts["run-trend"] == "falling"
    assert not any(c.reported for c in steady.changes if c.what == "over days")


# --- wall time -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("date", "hours"), [("2026-03-08", 23), ("2026-11-01", 25), ("2026-06-01", 24)])
def test_days_of_23_and_25_hours(date: str, hours: int):
    # US clocks change on the second Sunday of March and the first of November (Energy Policy Act of 2005).
    zone = parse_zone("America/New_York")
    started_s = started_seconds(f"{date} 00:00", zone)
    assert started_s is not None
    assert {wall(3600.0 * i, started_s, zone).date().isoformat() for i in range(hours)} == {date}
    assert wall(hours * 3600.0, started_s, zone).hour == 0
    night = spans_s(parse_span("01:00-05:00"), started_s, hours * 3600.0, zone)
    assert sum(to - at for at, to in night) == pytest.approx((hours - 24 + 4) * 3600.0)


def test_a_time_that_the_clocks_skipped_and_unknown_zones_are_refused():
    with pytest.raises(SettingsError, match="skipped"):
        started_seconds("2026-03-08 02:30", parse_zone("America/New_York"))
    with pytest.raises(SettingsError, match="time zone"):
        parse_zone("Nowhere/Atall")
    for bad in ("1-5", "25:00-26:00", "01:00", "03:00-03:00"):
        with pytest.raises(SettingsError, match="01:00-05:00"):
            parse_span(bad)
    assert parse_span("22:00-06:00") == (1320, 360)
    assert started_seconds(None, None) is None
    assert started_seconds("2026-06-01 00:00", None) == datetime(2026, 6, 1, tzinfo=UTC).timestamp()


def test_a_stretch_that_ends_or_begins_in_a_skipped_hour_does_so_where_the_hour_is_skipped():
    # 2026-03-08: New York's clocks go from 02:00 to 03:00 (Energy Policy Act of 2005).
    zone = parse_zone("America/New_York")
    started_s = started_seconds("2026-03-08 00:00", zone)
    assert started_s is not None
    ((_, to_s),) = spans_s(parse_span("00:00-02:30"), started_s, 23 * 3600.0, zone)
    assert to_s == 2 * 3600.0
    ((from_s, _),) = spans_s(parse_span("02:30-05:00"), started_s, 23 * 3600.0, zone)
    assert from_s == 2 * 3600.0


def test_an_hour_that_comes_twice_can_be_chosen_and_is_said():
    zone = parse_zone("America/New_York")
    first = started_seconds("2026-11-01 01:30", zone)
    second = started_seconds(parse_started("2026-11-01 01:30-05:00"), zone)
    assert (second or 0) - (first or 0) == 3600.0
    reasons = twice_reasons("2026-11-01 01:30", ["01:15-05:00"], DAY_S, zone)
    assert [r.code for r in reasons] == ["day.start-comes-twice", "day.span-comes-twice"]
    assert "-05:00" in Messages().text(reasons[0])
    assert "01:15 twice. The first time was taken" in Messages().text(reasons[1])
    assert "--" not in Messages("document").text(reasons[0])
    assert twice_reasons("2026-11-01 01:30-05:00", [], DAY_S, zone) == ()
    assert twice_reasons("2026-11-02 01:30", ["01:15-05:00"], DAY_S, zone) == ()


def test_a_run_that_changed_over_weeks_is_told_from_what_to_what_with_todays():
    """60 days in which the run falls in a straight line by 34 %, each day the same with its own run."""
    rng = np.random.default_rng(4)
    days, last_share = 60, 0.66
    ins, outs = [], []
    for day in range(days):
        r0_s = 60.0 * (1 - (1 - last_share) * day / (days - 1))
        for hour in range(16):
            at_s = day * DAY_S + 4000.0 * (hour + 1)
            ins.append(at_s)
            outs.append(at_s + r0_s * (1 + rng.exponential(0.02 if hour % 2 else 0.3)))
    started_s = datetime(2026, 5, 1, tzinfo=UTC).timestamp()
    log = DayLog(cycles_of(tuple(ins), tuple(outs), days * DAY_S), days * DAY_S, started_s=started_s)
    reading = read_day(log)
    (change,) = (c for c in reading.changes if c.what == "over days")
    assert change.reported
    assert change.share == pytest.approx(last_share - 1, abs=0.03)
    assert reading.run is not None
    assert reading.run.seconds == pytest.approx(60.0 * last_share, rel=0.03)  # today's, not that of all days
    assert reading.run.low_s <= 60.0 * last_share <= reading.run.high_s
    text = Messages().text(change.reason)
    assert "on 2026-05-01 to" in text
    assert "on 2026-06-29" in text
    assert "last day (2026-06-29)" in " ".join(render_day(reading, "weeks.flac").split())


def test_a_night_over_midnight_counts_on_both_sides():
    assert spans_s((1320, 360), 0.0, DAY_S, None) == ((0.0, 21_600.0), (79_200.0, DAY_S))


# --- compare ---------------------------------------------------------------------------------------------------------
def document(seconds: float, half: float, seeping: float | None = None, limit: float = 0.05) -> dict[str, object]:
    return {
        "format": "clicktimer-day",
        "source": {"name": "a.wav", "duration_s": DAY_S},
        "run": {"seconds": seconds, "low_s": seconds - half, "high_s": seconds + half, "one_sided": False},
        "seeping": {
            "told": seeping is not None,
            "flow_l_per_min": seeping,
            "low": seeping and seeping * 0.9,
            "high": seeping and seeping * 1.1,
            "limit_l_per_min": limit,
        },
    }


def test_a_difference_is_told_only_beyond_the_errors():
    run = compare(document(20.0, 1.0), document(60.0, 2.0)).differences[0]
    assert (run.finding, run.before, run.after) == ("more", 20.0, 60.0)
    assert run.low is not None
    assert run.high is not None
    assert run.high - run.low == pytest.approx(2 * math.hypot(1.0, 2.0))
    assert compare(document(20.0, 1.0), document(21.0, 1.0)).differences[0].finding == "no change"
    # Seeping told before, and a limit after that is not low enough to say that it stopped.
    told = {"seeping": {"told": True, "flow_l_per_min": 1.5, "low": 1.4, "high": 1.6, "limit_l_per_min": 1.6}}
    for limit, finding, words in ((30.0, "cannot tell", "at most 30"), (0.5, "less", "at most 0.50")):
        after = {**document(20.0, 1.0), "seeping": {"told": False, "limit_l_per_min": limit}}
        seeping = {d.name: d for d in compare({**document(20.0, 1.0), **told}, after).differences}["seeping"]
        assert seeping.finding == finding
        assert side_texts(seeping)[1] == words
    with pytest.raises(InputError, match="not a result"):
        compare({}, document(1.0, 0.1))


def measured(run_s: float, gpm: float, tank_gal: float = 20.0, **more: object) -> dict[str, object]:
    """What ``measure --json`` writes of a tank of 20 gal; the figures behind it are the program's own."""
    system = make_system(tanks=(Tank(gal_to_l(tank_gal)),), pump=PumpRate(gal_to_l(gpm)))
    run = RunTime(run_s, run_s - 0.1, run_s + 0.1, 4, "taps shut", False, 0.01, 0.1)
    sizing = tank_json(size_tank(system, run))
    return {
        "format": "clicktimer-measurement",
        "source": {"name": "a.wav", "duration_s": 600.0},
        "run": {"seconds": run_s, "low_s": run_s - 0.1, "high_s": run_s + 0.1, "one_sided": False},
        "verdict": {"band": judge(run).band, "sure": True},
        "tank": sizing,
        **more,
    }


def test_a_run_time_repeats_no_better_than_the_draw_before_it():
    # The simulator's own tank: the same system, refilled after a fast and after a slow draw, is the measure of it.
    system = us_system(33.0, tau_s=80.0)
    runs_s = []
    for gpm in (1.0, 8.0):
        line = simulate(system, [Use(60.0, 7000.0, gal_to_l(gpm))], duration_s=2 * 3600.0, seed=1)
        pairs = zip(line.cut_ins_s, line.cut_outs_s, line.cut_ins_s[1:], strict=False)
        r0_s = [(o - i) * (n - o) / (n - i) for i, o, n in pairs]
        runs_s.append(float(np.mean(r0_s[1:4])))
    assert abs(runs_s[0] / runs_s[1] - 1) > 0.03  # a change by precise intervals, and nothing changed
    near = compare(measured(22.1, 10.0), measured(23.0, 10.0))
    assert {d.name: d.finding for d in near.differences}["run with no water in use"] == "no change"
    assert render_comparison(near).count("7%") == 1
    assert compare(measured(22.1, 10.0), measured(26.0, 10.0)).differences[0].finding == "more"


def test_two_measurements_with_tank_and_rate_are_compared_in_all_that_they_share():
    found = compare(measured(12.0, 10.0), measured(64.0, 10.0, 33.0))
    rows = {d.name: d for d in found.differences}
    assert rows["pump rate"].finding == "no change"
    assert rows["water between cut-out and cut-in"].before == pytest.approx(gal_to_l(10.0) * 12.0 / 60)
    assert rows["water between cut-out and cut-in"].finding == "more"
    assert rows["most starts an hour by the run"].after == pytest.approx(900 / 64.0, rel=0.01)
    assert [(j.name, j.finding) for j in found.judgments] == [("verdict", "changed"), ("tank", "changed")]
    text = " ".join(render_comparison(found).split())
    assert "Verdict: short cycling before, a good run after: changed." in text
    # Two bands, but a run that is the same within what a draw does to it.
    close = compare(measured(59.0, 10.0), measured(61.0, 10.0))
    assert close.judgments[0].finding == "cannot tell"


def test_what_a_few_hours_or_a_test_cannot_say_of_a_day_is_not_compared():
    of_a_day = {
        **document(20.0, 1.0),
        "starts": {"count": 60, "worst_hour": 9, "duty": 0.2, "per_day": {"value": 60, "low": 60, "high": 60}},
        "water": {"unit": "L", "total": {"value": 500.0, "low": 490.0, "high": 510.0}},
    }
    names = {d.name: d for d in compare(of_a_day, of_a_day).differences}
    assert set(names) >= {"starts a day", "starts in the worst hour", "water a day"}
    assert names["water a day"].before == 500.0
    assert (names["water a day"].before_low, names["water a day"].after_high) == (490.0, 510.0)
    of_hours = {**of_a_day, "source": {"name": "b.wav", "duration_s": 4 * 3600.0}}
    short = {d.name: d for d in compare(of_a_day, of_hours).differences}
    for name in ("starts in the worst hour", "water a day", "share of the time that the pump ran"):
        assert (short[name].after, short[name].finding) == (None, "cannot tell")
    told = " ".join(render_comparison(compare(of_a_day, of_hours)).split())
    assert "b.wav (4 h 00 min)" in told
    assert "Not told after: starts, worst hour; time the pump ran; water a day: it is shorter than 0.9 of a day" in told
    assert "Not told" not in render_comparison(compare(of_a_day, of_a_day))
    tested = {**of_a_day, "program": {"settings": {"taps": {"value": "shut", "from": "option"}}}}
    assert {d.name for d in compare(tested, tested).differences} == {"run with no water in use", "seeping"}


@pytest.mark.parametrize(("days", "finding"), [(1, "no change"), (7, "more")])
def test_starts_are_compared_by_the_chance_of_as_many_days_as_were_heard(days: int, finding: str):
    """60 and 80 starts a day: with Poisson counts 1.7 deviations apart after a day, 4.5 after a week."""

    def heard(count: int) -> dict[str, object]:
        told = {"count": count * days, "per_day": {"value": count, "low": count, "high": count}}
        return {**document(20.0, 1.0), "source": {"name": "a", "duration_s": days * DAY_S}, "starts": told}

    starts = {d.name: d for d in compare(heard(60), heard(80)).differences}["starts a day"]
    assert starts.finding == finding
    assert starts.before_low == pytest.approx(60 - 2 * math.sqrt(60 / days))
    # the same rule scales a count to a day
    if days > 1:
        assert starts.after_high == pytest.approx(starts_a_day(80 * days, days * DAY_S).high)


def test_the_motor_is_held_against_the_run_that_was_said():
    """60 s is asked of motors; a run by one open tap reads up to 8 % long, so that 63 to 65 s does not settle it."""
    ins_s = [600.0 + 1800.0 * i for i in range(40)]
    clicks = [Click(t + e, k, 0.95) for t in ins_s for e, k in ((0.0, "cut-in"), (64.0, "cut-out"))]
    log = DayLog(pair_cycles(clicks, start_s=0.0, end_s=DAY_S), DAY_S)
    answers = []
    for how in ("taps shut", "steady tap"):
        said = RunTime(64.0, 63.0, 65.0, 5, how, False, 0.01, 0.5)
        found = read_day(log, said=said).starts.motor
        answers.append({f.answer for f in found if f.what == "least_run_s" and f.limits[0].value == 60.0})
    assert answers == [{"within"}, {"too close to call"}]


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (document(60, 2, 1.0), document(60, 2, 1.0), "well's side"),
        (document(60, 2, 1.0), document(60, 2), "in the house"),
        (document(60, 2, 1.0), document(60, 2, limit=0.8), "not heard for long enough"),
        (document(60, 2), document(60, 2), "splits nothing"),
    ],
)
def test_the_valve_test_splits_house_from_well(before: dict[str, object], after: dict[str, object], words: str):
    valve = compare(before, after, valve_test=True).valve
    assert valve is not None
    assert words in Messages().text(valve)
