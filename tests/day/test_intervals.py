"""Every figure of a day has an interval, and it holds what the simulator's physics say is true."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import numpy as np
import pytest

from clicktimer.cycles.pairing import pair_cycles
from clicktimer.day.analysis import other_tanks, read_day
from clicktimer.day.constant_flow import steady_uses
from clicktimer.day.consumption import read_water
from clicktimer.day.cycle_log import DayLog, whole_runs
from clicktimer.day.estimate import Amount, KnownRate, likeliest
from clicktimer.day.exclusions import excluded_runs, untrusted_reason
from clicktimer.day.imputation import possible
from clicktimer.day.leak import find_leak
from clicktimer.day.no_use_run import NoUseRun, abstained, no_use_run_of_day
from clicktimer.day.start_counts import count_starts, worst_hour
from clicktimer.day.what_if import replay, tank_run_s
from clicktimer.records import Click, Gap, Reason
from clicktimer.reporting.figures import day_pictures
from clicktimer.reporting.json.day import reading_json
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.day_sections import render_day
from clicktimer.simulator.household import no_use_run, run_household, simulate, us_system
from clicktimer.simulator.system import System, Use
from clicktimer.simulator.uses import household_uses
from clicktimer.tank.system import PumpRate, Tank, make_system
from clicktimer.units.conversions import gal_to_l
from tests.reporting.test_day_report import a_day

DAY_S = 86_400.0
BUSY = us_system(14.0, pump_gpm=9.0)
WARM = us_system(
    32.0, pump_gpm=9.0, pump_fall=0.2, tau_s=80.0, switch_sd_psi=0.3, tap_law="root of pressure"
)  # a pump whose rate falls, air that takes and gives heat, a switch that scatters


def heard(ins_s: tuple[float, ...], outs_s: tuple[float, ...], seed: int, wrong: float) -> DayLog:
    """A log with this share of its clicks dropped and as many false ones added."""
    rng = np.random.default_rng(seed)
    true = [Click(t, "cut-in", 0.95) for t in ins_s] + [Click(t, "cut-out", 0.95) for t in outs_s]
    clicks = [c for c in true if rng.random() >= wrong]
    clicks += [
        Click(float(rng.uniform(0, DAY_S)), "cut-in" if rng.random() < 0.5 else "cut-out", 0.95)
        for _ in true
        if rng.random() < wrong
    ]
    return DayLog(pair_cycles(sorted(clicks, key=lambda c: c.time_s), start_s=0.0, end_s=DAY_S), DAY_S)


def holds(told: Amount, true: float) -> bool:
    return np.floor(told.low) <= true <= np.ceil(told.high)


@pytest.mark.parametrize("known", [True, False])
def test_counts_hold_the_true_starts_where_clicks_are_missed_and_false(known: bool):
    line = simulate(BUSY, list(household_uses("ordinary", DAY_S, 12)), duration_s=DAY_S)
    true = np.array(line.cut_ins_s)
    ran_s = sum(line.cut_outs_s) - sum(line.cut_ins_s[: len(line.cut_outs_s)])
    held = []
    for seed in range(10):
        log = heard(line.cut_ins_s, line.cut_outs_s, seed, 0.05)
        told = count_starts(log, possible(log.cycles, no_use_run(BUSY)) if known else ())
        held.append(
            (
                holds(told.starts, len(true)),
                holds(told.worst_hour, worst_hour(true)[0]),
                told.duty.low <= ran_s / DAY_S <= told.duty.high,
            )
        )
    # 95 % each; of ten days two may fail by chance (with 99 %)
    assert np.array(held).sum(axis=0).min() >= 8


def test_counts_of_clicks_that_are_all_there_are_sure():
    line = simulate(BUSY, list(household_uses("ordinary", DAY_S, 12)), duration_s=DAY_S)
    log = heard(line.cut_ins_s, line.cut_outs_s, 1, 0.0)
    told = count_starts(log, possible(log.cycles, no_use_run(BUSY)))
    assert told.starts == Amount(len(line.cut_ins_s), len(line.cut_ins_s), len(line.cut_ins_s))


def test_each_hours_water_is_in_its_bounds():
    uses = list(household_uses("ordinary", DAY_S, 9))
    line, _ = run_household(BUSY, uses, duration_s=DAY_S)
    log = heard(line.cut_ins_s, line.cut_outs_s, 1, 0.0)
    water = read_water(log, no_use_run_of_day(log), rate=KnownRate(BUSY.pump_l_per_min))
    assert water is not None
    until_l = [0.0] + [run_household(BUSY, uses, duration_s=3600.0 * (h + 1))[0].water_l for h in range(24)]
    for hour, true_l in enumerate(np.diff(until_l)):
        assert water.by_hour_low[hour] - 0.01 <= true_l <= water.by_hour_high[hour] + 0.01
        assert water.by_hour_low[hour] <= water.by_hour[hour] <= water.by_hour_high[hour]
    assert water.tankful.low <= BUSY.drawdown_l <= water.tankful.high


@pytest.mark.parametrize("system", [BUSY, WARM], ids=["settled air", "air with heat"])
@pytest.mark.parametrize("flow_gpm", [2.0, 4.5])
def test_a_steady_flow_is_in_its_interval(system: System, flow_gpm: float):
    flow_l = gal_to_l(flow_gpm)
    line, _ = run_household(system, [Use(0.0, 6 * 3600.0, flow_l, "zone")], duration_s=6 * 3600.0, seed=4)
    clicks = [Click(t, "cut-in", 0.99) for t in line.cut_ins_s] + [Click(t, "cut-out", 0.99) for t in line.cut_outs_s]
    cycles = pair_cycles(sorted(clicks, key=lambda c: c.time_s), start_s=0.0, end_s=6 * 3600.0)
    use = max(steady_uses(whole_runs(cycles)), key=lambda u: u.count)
    rate_l = system.pump_l_per_min * (1 - system.pump_fall / 2)
    # What the taps gave in that time, by the simulator's own account; over its ends the tank stands equally high.
    given = [
        run_household(system, [Use(0.0, 6 * 3600.0, flow_l, "zone")], duration_s=t, seed=4)[0].water_l
        for t in (use.from_s, use.to_s)
    ]
    true_l = (given[1] - given[0]) / (use.to_s - use.from_s) * 60.0
    assert use.duty_interval.low * rate_l <= true_l <= use.duty_interval.high * rate_l
    assert use.no_use_run_interval.low <= no_use_run(system) <= use.no_use_run_interval.high
    cycle = use.starts_per_h
    assert cycle.low < cycle.value < cycle.high


@pytest.mark.parametrize("times", [0.5, 2.0, 4.0])
@pytest.mark.parametrize("warm", [False, True])
def test_the_run_of_another_tank_is_in_its_interval(times: float, warm: bool):
    more: dict[str, Any] = {"tau_s": 80.0} if warm else {}
    here, there = us_system(20.0, pump_gpm=8.0, **more), us_system(20.0 * times, pump_gpm=8.0, **more)
    r0_s = no_use_run(here)
    told = tank_run_s(NoUseRun(r0_s, 0.99 * r0_s, 1.06 * r0_s, "edge of the runs", 9, 9, 0.01, ()), times)
    assert told.low <= no_use_run(there) <= told.high


def test_two_runs_tell_r0_with_a_wider_interval_and_no_other_tank():
    line = simulate(us_system(44.0, pump_gpm=9.0), list(household_uses("ordinary", DAY_S, 1)), duration_s=DAY_S)
    log = heard(line.cut_ins_s, line.cut_outs_s, 1, 0.0)
    weak = NoUseRun(60.0, 59.0, 66.0, "edge of the runs", 2, 2, 0.06, ())
    assert replay(log, weak, find_leak(log), [("other", 2.0)]) == ()
    assert (
        len(
            replay(
                log,
                NoUseRun(60.0, 59.0, 64.0, "edge of the runs", 3, 3, 0.06, ()),
                find_leak(log),
                [("other", 2.0)],
            )
        )
        == 1
    )


@cache
def doubtful_day() -> tuple[Any, Any]:
    """A day of which three clicks were missed, one gap cut a run, and one run is not sure enough."""
    m, day = a_day()
    clicks = list(m.clicks)
    for index in (60, 41, 21):
        del clicks[index]
    cut_s = next(c.time_s for c in clicks[100:] if c.kind == "cut-in") + 1.0
    gap = Gap(cut_s, cut_s + 400.0, "lost")
    clicks = [c for c in clicks if not gap.from_s <= c.time_s <= (gap.to_s or 0.0)]
    cycles = pair_cycles(clicks, (gap,), start_s=0.0, end_s=DAY_S)
    system = make_system(tanks=(Tank(gal_to_l(14.0)),), pump=PumpRate(gal_to_l(9.0), 0.5))
    log = DayLog(cycles, DAY_S, (gap,), day.log.started_s)
    return m, read_day(log, system=system, others=other_tanks(system))


def test_what_is_left_out_is_told_in_text_json_and_pictures():
    m, day = doubtful_day()
    reasons = [r.why for r in day.excluded]
    assert reasons.count("one click alone") == 3
    assert reasons.count("cut off") >= 1
    text = " ".join(render_day(day, "cellar.flac").split())
    assert "3 runs with only one click heard" in text
    document = json.loads(json.dumps(reading_json(m, day, program_version="0")))
    assert len(document["left_out"]) == len(day.excluded)
    strip, runs, _, starts, _ = day_pictures(day)
    assert "left out or in doubt" in strip.caption
    assert "3 runs with only one click heard" in strip.alt
    assert "left out or in doubt" in runs.caption
    assert ("a click is in doubt" in starts.caption) == any(a.high > a.low for a in day.starts.counts.by_hour)
    line = simulate(BUSY, list(household_uses("ordinary", DAY_S, 12)), duration_s=DAY_S)
    rough = day_pictures(read_day(heard(line.cut_ins_s, line.cut_outs_s, 2, 0.05)))[3]
    assert "a click is in doubt" in rough.caption


def test_every_figure_of_the_json_has_an_interval():
    m, day = doubtful_day()
    document = json.loads(json.dumps(reading_json(m, day, program_version="0"), allow_nan=False))
    starts = document["starts"]
    flow = starts["flows"][0]
    found = 0
    for part, names in (
        (starts, ("worst_hour", "duty", "shortest_rest_s", "shortest_run_s", "longest_run_s")),
        (flow, ("share", "per_h", "flow_l_per_min", "share_of_pump_rate")),
        (document["run_rests_on"]["steady"][0], ("no_use_run_s", "duty")),
        (document["water"], ("tankful", "night")),
        *((row, ("no_use_run_s",)) for row in document["replay"]),
    ):
        for name in names:
            stem, unit = (name[:-2], "_s") if name.endswith("_s") else (name, "")
            assert part[f"{stem}_low{unit}"] <= part[name] <= part[f"{stem}_high{unit}"], name
            found += 1
    assert found == 13 + len(document["replay"])
    for amount in (
        starts["in_all"],
        starts["per_day"],
        document["water"]["total"],
        *(row[n] for row in document["replay"] for n in ("starts", "worst_hour", "run_s")),
    ):
        assert amount["low"] <= amount["value"] <= amount["high"]
    assert all(row[n]["low"] < row[n]["high"] for row in document["replay"] for n in ("starts", "worst_hour", "run_s"))
    for name, part in (("by_hour", starts), ("by_hour", document["water"])):
        assert len(part[f"{name}_low"]) == len(part[name]) == len(part[f"{name}_high"])


def test_the_limit_of_what_may_seep_is_that_of_the_fastest_pump_it_may_be():
    _, day = a_day(leak_gpm=0.3)
    rough = read_day(day.log, system=make_system(pump=PumpRate(gal_to_l(9.0), gal_to_l(0.5))))
    assert rough.limit_l_per_min == pytest.approx((day.limit_l_per_min or 0.0) * (1 + 1.96 * 0.5 / 9.0))


def test_a_log_of_clicks_that_stand_alone_is_not_reckoned_from():
    ins = [1000.0 + 1500.0 * i for i in range(12)]
    clicks = [Click(t, "cut-in", 0.99) for t in ins] + [Click(ins[k] + 45.0, "cut-out", 0.99) for k in (3, 8)]
    cycles = pair_cycles(sorted(clicks, key=lambda c: c.time_s), start_s=0.0, end_s=DAY_S)
    system = make_system(tanks=(Tank(gal_to_l(14.0)),), pump=PumpRate(gal_to_l(9.0)))
    day = read_day(DayLog(cycles, DAY_S), system=system, others=other_tanks(system))
    assert day.run is None
    assert day.water is None
    assert day.limit_l_per_min is None
    assert day.replayed == ()
    assert day.untrusted is not None
    assert day.no_use.withheld == day.untrusted
    assert "stand alone" in Messages().text(day.untrusted)
    text = " ".join(render_day(day, "far.flac").split())
    assert "Lay the phone nearer to the switch" in text
    assert "not to be trusted" in text
    whole = read_day(heard(tuple(ins), tuple(t + 45.0 for t in ins), 1, 0.0), system=system)
    assert whole.untrusted is None
    assert whole.water is not None


def test_a_tank_with_a_long_name_stands_under_the_table():
    _, day = a_day()
    more = [("this tank", 1.0), ("52 gal, charge 36 psi, switch 30/50", 2.2)]
    system = make_system(tanks=(Tank(gal_to_l(14.0)),), pump=PumpRate(gal_to_l(9.0)))
    text = render_day(read_day(day.log, system=system, others=more), "cellar.flac")
    assert max(map(len, text.splitlines())) <= 80
    (row,) = [x for x in text.splitlines() if x.startswith("  your choice")]
    assert row.count("(") == 4
    assert "Your choice: 52 gal, charge 36 psi, switch 30/50." in text


@pytest.mark.parametrize("within", [0.02, 0.06])
def test_the_likeliest_value_is_near_the_truth_more_often_than_any_other(within: float):
    """Against truth thrown by dice: each story as often as it is told, off by the blur."""
    paths = [100.0] * 9 + [103.5] * 8 + [111.0] * 10 + [140.0] * 3
    rng = np.random.default_rng(1)
    true = rng.choice(paths, 20_000) * np.exp(0.004 * rng.standard_normal(20_000))

    def near(told: float) -> float:
        return float(np.mean(np.abs(np.log(told / true)) <= within))

    told = likeliest(paths, within, 0.004)
    assert near(told) >= max(near(float(v)) for v in np.linspace(95.0, 145.0, 501)) - 0.01
    assert near(told) > near(float(np.median(paths))) + 0.05


def test_the_likeliest_of_one_value_or_of_nothing_is_that():
    assert likeliest([12.5] * 96, 0.03, 0.004) == 12.5
    assert likeliest([0.0, 0.0, 3.0], 0.03, 0.004) == 0.0


@pytest.mark.parametrize("minutes", [5.0, 15.0, 70.0])
def test_the_water_of_a_hose_left_open_lies_in_the_interval_though_so_long_a_run_is_rare(minutes: float):
    """Every click heard; a run far over 5 r0 might be two with clicks missed, which must not be taken for sure."""
    held = 0
    for seed in (2, 4, 8, 10):
        uses = [*household_uses("ordinary", DAY_S, seed), Use(43_000.0, minutes * 60.0, gal_to_l(8.0), "hose")]
        house = us_system(20.0, pump_gpm=8.0)
        line = simulate(house, uses, duration_s=DAY_S)
        log = heard(line.cut_ins_s, line.cut_outs_s, seed, 0.0)
        no_use = no_use_run_of_day(log)
        water = read_water(log, no_use, rate=KnownRate(gal_to_l(8.0)))
        assert water is not None
        true_l = run_household(house, uses, duration_s=water.to_s)[0].water_l
        true_l -= run_household(house, uses, duration_s=water.from_s)[0].water_l
        held += water.between.low <= true_l <= water.between.high
    assert held == 4


@pytest.mark.parametrize("seed", [31, 32, 33])
def test_a_run_made_of_two_false_clicks_is_not_told_as_water(seed: int):
    """Too few runs for r0; of some a click was missed, and a false pair makes a run of hours."""
    system = us_system(20.0)
    line = simulate(system, list(household_uses("ordinary", DAY_S, seed)), duration_s=DAY_S, seed=seed)
    ins_s, outs_s = list(line.cut_ins_s), list(line.cut_outs_s)
    rests = [(b - a, a) for a, b in zip(outs_s, ins_s[1:], strict=False)]
    length_s, at_s = max(rests)
    true_s = sum(b - a for a, b in zip(ins_s, outs_s, strict=False))
    for number in (2, 5, 8):
        del ins_s[number]
    del outs_s[3]
    clicks = [*((t, "cut-in") for t in [*ins_s, at_s + 0.2 * length_s])]
    clicks += [(t, "cut-out") for t in [*outs_s, at_s + 0.95 * length_s]]
    cycles = pair_cycles([Click(t, k, 0.95) for t, k in sorted(clicks)], start_s=0.0, end_s=DAY_S)  # type: ignore[arg-type]
    log = DayLog(cycles, DAY_S)
    withheld = abstained(Reason("day.run-withheld.too-few-runs", count=5, least=8))
    water = read_water(log, withheld, rate=KnownRate(60.0))
    assert water is not None
    assert max(c.run_s or 0.0 for c in cycles) > 5 * true_s / len(line.cut_ins_s)
    assert water.total.low <= true_s <= water.total.high
    assert water.total.value == pytest.approx(true_s, rel=0.5)


def test_runs_of_two_false_clicks_do_not_make_a_log_trusted():
    def day(false_runs: int) -> DayLog:
        clicks = [(1000.0 * i, "cut-in") for i in range(1, 5)]
        clicks += [(1000.0 * i + 60.0, "cut-out") for i in range(1, 5 - false_runs)]
        clicks += [(1000.0 * i + 900.0, "cut-out") for i in range(5 - false_runs, 5)]
        clicks += [(20_000.0 + 3000.0 * i, "cut-in") for i in range(5)]
        made = [Click(t, k, 0.95) for t, k in sorted(clicks)]  # type: ignore[arg-type]
        return DayLog(pair_cycles(made, start_s=0.0, end_s=DAY_S), DAY_S)

    trusted, false = (day(count) for count in (0, 1))
    assert untrusted_reason(trusted, excluded_runs(trusted, ())) is None
    assert untrusted_reason(false, excluded_runs(false, ())) is not None
